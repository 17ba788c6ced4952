"""Small builders that the tests of the core share."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime
from typing import TypeVar
from zoneinfo import ZoneInfo

import numpy as np

from sillward_rules.arrays import Array
from sillward_rules.plants.collection import Collection, Habits
from sillward_rules.plants.limits import Limit, Limits, Rot, RotClass
from sillward_rules.plants.plant import Holder, Plant
from sillward_rules.plants.rule_reading import standard_rules
from sillward_rules.plants.rules import Rule
from sillward_rules.remark import Remark
from sillward_rules.sheet import Sheet
from sillward_rules.weather.hourly import SERIES, Weather
from sillward_rules.weather.indoor_response import Form, IndoorResponse
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import Spot
from sillward_rules.weather.uncertainty import Spread

Kind = TypeVar("Kind", bound=Remark)

MENDOZA = Site("Test court", -32.89, -68.85, 780, ZoneInfo("America/Argentina/Mendoza"))

OPEN_BENCH = Spot(
    "bench", sky_view=0.0, wind=1.0, height_m=10.0, night_offset_k=0.0, day_offset_k=0.0
)
"""A spot that changes nothing of the forecast: leaf, spot and forecast temperature are one."""

WARM_ROOM = Spot("room", indoors=True, night_low_c=16.0, day_low_c=20.0, humidity_pct=50.0)

HALL_FOLLOWS = IndoorResponse(
    form=Form.FOLLOWS,
    lag_nights=0,
    outdoors_at_c=5.0,
    level_c=12.6,
    gain=0.3,
    variances=(0.04, 0.0, 0.001),
    noise_k=0.5,
    freedom=20.0,
    coldest_c=1.0,
    warmest_c=9.0,
    recent_c=5.0,
    recent_night=date(2026, 5, 12),
    nights=20,
    last_night=date(2026, 5, 12),
    usual_c=12.6,
    usual_outdoors_c=5.0,
)
"""A hall that follows the weather a little: 12.6 °C at 5 °C outdoors, by twenty nights."""


def plant(
    name: str = "Test strap",
    *,
    night_low: float | None = 13.0,
    vpd_high: float | None = 1.4,
    day_high: float | None = 35.0,
    rot: Rot = "high",
    holder: Holder = "basket",
    velamen: bool = True,
    home: str = "bench",
    shelter: str | None = "room",
) -> Plant:
    """A plant with limits of its own."""

    def limit(value: float | None) -> Limit | None:
        return None if value is None else Limit(value, "test")

    limits = Limits(
        night_low=limit(night_low),
        vpd_high=limit(vpd_high),
        day_high=limit(day_high),
        rot=RotClass(rot, "test"),
    )
    return Plant(name, home, shelter, holder, limits, velamen=velamen)


def collection(
    *plants: Plant,
    spots: Sequence[Spot] = (OPEN_BENCH, WARM_ROOM),
    site: Site = MENDOZA,
    rules: Sequence[Rule] | None = None,
    habits: Habits | None = None,
) -> Collection:
    """A collection of these plants under the standard rules."""
    chosen = standard_rules() if rules is None else tuple(rules)
    return Collection(site, tuple(spots), plants or (plant(),), chosen, habits or Habits())


def weather(start: datetime, temp_c: Sequence[float] | Array, **series: object) -> Weather:
    """Weather from hourly temperatures; what is not given is dry, clear, calm and dark.

    A series may be an array or one value for all hours. The forecast is known to be right, so that
    the numbers alone decide; see `uncertain`.
    """
    temp = np.asarray(temp_c, dtype=np.float64)
    given: dict[str, Array] = {
        "temp_c": temp,
        "dew_point_c": np.full(temp.shape, -5.0),
        "wind_m_s": np.full(temp.shape, 1.0),
        "gust_m_s": np.full(temp.shape, 2.0),
        "cloud": np.zeros(temp.shape),
        "rain_mm": np.zeros(temp.shape),
        "direct_w_m2": np.zeros(temp.shape),
        "diffuse_w_m2": np.zeros(temp.shape),
        "hail_pct": np.zeros(temp.shape),
    }
    for name, values in series.items():
        assert name in SERIES, name
        given[name] = np.broadcast_to(np.asarray(values, dtype=np.float64), temp.shape).copy()
    times = int(start.timestamp()) + 3600 * np.arange(temp.size, dtype=np.int64)
    spread = Spread(np.zeros((1, temp.size)), np.zeros(temp.size), "known to be right")
    return Weather(times=times, source="test", fetched_at=start, spread=spread, **given)  # type: ignore[arg-type]


def uncertain(of: Weather) -> Weather:
    """The same weather with the usual errors of a forecast."""
    return replace(of, spread=None)


def fetched(of: Weather, at: datetime) -> Weather:
    """The same weather, fetched at this time."""
    return replace(of, fetched_at=at)


def daily_curve(low: float, high: float, hours: int, *, warmest_utc: int = 19) -> Array:
    """A smooth daily curve of temperature [°C] for hours from midnight UTC on."""
    phase = 2 * np.pi * (np.arange(hours) - warmest_utc) / 24
    return np.asarray((low + high) / 2 + (high - low) / 2 * np.cos(phase))


def warned(sheet: Sheet, kind: type[Kind]) -> list[Kind]:
    """The sheet's warnings of a kind, in their order."""
    return [remark for remark in sheet.warnings if isinstance(remark, kind)]


def utc(text: str) -> datetime:
    """A UTC time from its ISO text."""
    return datetime.fromisoformat(text).replace(tzinfo=UTC)
