"""Invented weather on the wire: bodies in the shapes of the real sources, which read them."""

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from sillward.assembly.examples import examples
from sillward.errors import SourceError
from sillward.net.http import Answer, Query
from sillward_rules.arrays import Array
from sillward_rules.physics import air
from sillward_rules.weather import sun
from sillward_rules.weather.site import Site
from tests.support.bodies import body, dumped
from tests.support.fakes import FakeClock
from tests.support.met_bodies import met_body

DAWN_H, WARMEST_H = 7.0, 15.5
"""Hours of the day, on the site's clock, at which it is usually coldest and warmest."""

PAST, AHEAD = timedelta(days=7), timedelta(days=9)


@dataclass
class Sky:
    """Weather from a first day on.

    days: low at dawn and high [°C] of that day and those after it; what comes before is like the
        first, what comes after like the last.
    coldest_h, warmest_h: the hours of the lows and highs.
    gusts [m/s], rain [mm in the hour that ends there], hail: by hours from the first midnight, on
        the site's clock.
    unknown: the first and last of the hours that are missing, counted in the same way.
    told: what the source makes of its temperatures.
    """

    days: Sequence[tuple[float, float]]
    dew_c: float = 0.0
    wind_m_s: float = 1.0
    cloud_pct: float = 10.0
    gusts: Mapping[int, float] = field(default_factory=dict)
    rain: Mapping[int, float] = field(default_factory=dict)
    hail: frozenset[int] = frozenset()
    unknown: tuple[float, float] | None = None
    coldest_h: float = DAWN_H
    warmest_h: float = WARMEST_H
    told: Callable[[Array], Array] | None = None

    def body(self, site: Site, day: date, now: datetime, edition: int) -> dict[str, Any]:
        """As Open-Meteo would give it at this moment; no two editions are quite alike."""
        start = datetime.combine((now - PAST).astimezone(UTC).date(), time(0), tzinfo=UTC)
        times = start.timestamp() + 3600 * np.arange((PAST + AHEAD) // timedelta(hours=1))
        hours = (times - _midnight(site, day)) / 3600
        temp = self._temperatures(hours) + 0.0001 * edition
        height = np.sin(np.radians(np.maximum(0.0, sun.positions(site, times - 1800)[1])))
        clear = 1.0 - 0.75 * self.cloud_pct / 100
        dew = np.minimum(temp, self.dew_c)
        humidity = air.relative_humidity(temp, air.saturation_vapour_pressure(dew))
        given: dict[str, list[Any]] = {
            "temperature_2m": (temp if self.told is None else self.told(temp)).tolist(),
            "relative_humidity_2m": humidity.tolist(),
            "dew_point_2m": dew.tolist(),
            "wind_gusts_10m": [self.gusts.get(round(hour), 2 * self.wind_m_s) for hour in hours],
            "precipitation": [self.rain.get(round(hour), 0.0) for hour in hours],
            "direct_radiation": (800 * clear * height**1.3).tolist(),
            "diffuse_radiation": (120 * height**0.6).tolist(),
            "weather_code": [96 if round(hour) in self.hail else 1 for hour in hours],
        }
        if self.unknown is not None:
            first, last = self.unknown
            lost = (hours >= first) & (hours < last)
            given |= {name: _without(values, lost) for name, values in given.items()}
        made = body(
            start,
            times.size,
            cloud_cover=self.cloud_pct,
            wind_speed_10m=self.wind_m_s,
            **given,
        )
        return made | {"latitude": site.latitude, "longitude": site.longitude}

    def met_body(self, site: Site, day: date, now: datetime) -> dict[str, Any]:
        """As MET Norway would give it: hours from now on, without a past."""
        start = now.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
        spaced = np.concatenate([np.arange(60), 60 + 6 * np.arange(29)])
        hours = (start.timestamp() - _midnight(site, day)) / 3600 + spaced
        temp = self._temperatures(hours)
        made = met_body(
            start,
            air_temperature=temp.tolist(),
            dew_point_temperature=np.minimum(temp, self.dew_c).tolist(),
            relative_humidity=None,
            air_temperature_percentile_10=None,
            air_temperature_percentile_90=None,
            low=None,
            high=None,
        )
        place = [site.longitude, site.latitude, site.elevation_m]
        return made | {"geometry": {"type": "Point", "coordinates": place}}

    def _temperatures(self, hours: Array) -> Array:
        """A cosine from each dawn to the warmest hour and on to the next dawn."""
        knots, values = [], []
        for offset in range(-12, 13):
            low, high = self.days[min(max(offset, 0), len(self.days) - 1)]
            knots += [24 * offset + self.coldest_h, 24 * offset + self.warmest_h]
            values += [low, high]
        at, value = np.array(knots), np.array(values)
        rows = np.clip(np.searchsorted(at, hours, side="right") - 1, 0, at.size - 2)
        share = (hours - at[rows]) / (at[rows + 1] - at[rows])
        eased = (1 - np.cos(np.pi * share)) / 2
        return np.asarray(value[rows] + eased * (value[rows + 1] - value[rows]))


def _midnight(site: Site, day: date) -> float:
    return datetime.combine(day, time(0), tzinfo=site.zone).timestamp()


def _without(values: Sequence[Any], lost: np.ndarray) -> list[Any]:
    return [None if gone else value for value, gone in zip(values, lost, strict=True)]


@dataclass
class Recording:
    """A stored body of the examples: nearly the same whenever it is asked for."""

    path: Path

    def body(self, site: Site, day: date, now: datetime, edition: int) -> dict[str, Any]:
        """The body, for any moment; no two editions are quite alike."""
        made: dict[str, Any] = json.loads(self.path.read_text(encoding="utf-8"))
        warmer = [temp_c + 0.0001 * edition for temp_c in made["hourly"]["temperature_2m"]]
        made["hourly"]["temperature_2m"] = warmer
        return made


def recording(name: str) -> Recording:
    """One of the packaged examples' forecasts."""
    return Recording(examples() / "recorded" / f"{name}.json")


@dataclass
class Wire:
    """What the sources are answered, by their names.

    failing: why they give nothing.
    off: by how much the servers' clocks are ahead of ours.
    """

    site: Site
    day: date
    clock: FakeClock
    sky: Sky | Recording
    other: Sky | None = None
    failing: str | None = None
    off: timedelta | None = None
    asked: int = 0

    def ahead_by(self, **time: float) -> None:
        """Set the servers' clocks ahead of ours."""
        self.off = timedelta(**time)

    def __call__(self, query: Query, *, source: str, **_: object) -> Answer:
        self.asked += 1
        if self.failing is not None:
            msg = f"{source}: {self.failing}"
            raise SourceError(msg)
        now = self.clock()
        headers = {}
        if self.off is not None:
            headers["date"] = f"{now.astimezone(UTC) + self.off:%a, %d %b %Y %H:%M:%S} GMT"
        if source == "MET Norway":
            assert self.other is not None
            return Answer(200, headers, dumped(self.other.met_body(self.site, self.day, now)))
        return Answer(200, headers, dumped(self.sky.body(self.site, self.day, now, self.asked)))
