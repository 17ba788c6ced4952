"""What all sources share in reading a body: JSON, the place, plausible values, moisture."""

import json
import math
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, NoReturn

import numpy as np

from sillward.errors import SourceError, one_line
from sillward_rules.arrays import Array
from sillward_rules.physics import air
from sillward_rules.weather.doubt import Doubt
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.plausibility import moisture_doubts
from sillward_rules.weather.site import Site


@dataclass(frozen=True, slots=True)
class Variable:
    """A variable of an API: its unit there, and the range outside which it is impossible."""

    unit: str
    low: float
    high: float


# Ranges: a little beyond the records that the World Meteorological Organization keeps
# (temperature -89 to 57 °C; gust 113 m/s), from memory; sustained wind is lower.
TEMPERATURE = (-90.0, 60.0)
HUMIDITY = (0.0, 105.0)
DEW_POINT = (-100.0, 40.0)
PRESSURE = (400.0, 1100.0)
WIND = (0.0, 90.0)
GUST = (0.0, 120.0)
RAIN = (0.0, 400.0)
BEAM = (0.0, 1500.0)

MAX_DEGREES_AWAY = 0.6
"""How far the place of a forecast may be from the site [°]. Judgement: the middle of a grid cell
may be some tens of km away."""

MIN_AHEAD = timedelta(hours=24)
"""How far ahead a forecast must reach at least. Judgement: over the coming night and its end."""

NO_RAIN = "nothing is said of rain: wet leaves are not seen, and what rots easily counts as wet"
"""A remark on a forecast that has no precipitation at all."""

LAST_SECOND = 2**33
"""A bound for unix seconds: no forecast is for the years after 2242."""


@dataclass(frozen=True, slots=True)
class Reading:
    """Reads the bodies of one source; errors name it.

    subject: what a body is called, with which a sentence begins.
    """

    source: str
    subject: str = "the answer"

    def refuse(self, text: str, *, passing: bool = False) -> NoReturn:
        """Raise SourceError for an answer of no use; with `passing` the next may be better."""
        msg = f"{self.source}: {self.subject} {text}"
        raise SourceError(msg, passing=passing)

    def document(self, body: bytes) -> Any:
        """Return the JSON document of a body. Raise SourceError if it is none."""
        try:
            return json.loads(body, parse_int=_bounded_int)
        except (ValueError, RecursionError):
            if body[:200].lstrip().startswith(b"<"):
                self.refuse("is a web page, not a forecast")
            # Some servers fail in the middle of an answer that has begun with status 200.
            self.refuse("is not whole JSON", passing=True)

    def check_place(self, latitude: object, longitude: object, site: Site) -> None:
        """Raise SourceError unless these coordinates are the site's, or near it."""
        if not (is_number(latitude) and is_number(longitude)):
            self.refuse("does not say for which place it is")
        north, east = float(latitude), float(longitude)  # type: ignore[arg-type]
        if not (math.isfinite(north) and math.isfinite(east)):
            self.refuse("is for no place on earth")
        across = abs((east - site.longitude + 180.0) % 360.0 - 180.0)
        across *= math.cos(math.radians(site.latitude))
        if max(abs(north - site.latitude), across) > MAX_DEGREES_AWAY:
            here = f"{site.latitude:g}, {site.longitude:g}"
            self.refuse(f"is for another place: {north:g}, {east:g}, not {here}")

    def check_present(self, weather: Weather, now: datetime) -> None:
        """Raise SourceError unless the forecast covers the present hour and a day from it.

        A forecast that ends sooner must not replace a longer one.
        """
        if not weather.reaches(now):
            self.refuse("does not cover the present hour")
        if not weather.reaches(now + MIN_AHEAD):
            self.refuse(f"ends at {at(weather.times[-1])} already")

    def check_unit(self, name: str, unit: object, expected: str) -> None:
        """Raise SourceError unless a unit is the expected one."""
        if unit != expected:
            self.refuse(f'gives {name} in "{one_line(unit, 20)}", not in {expected}')


def is_number(value: object) -> bool:
    """Whether a value of a document is a number, not a boolean."""
    return type(value) in (int, float)


def plausible(
    values: Array, name: str, variable: Variable, times: np.ndarray, remarks: list[str]
) -> Array:
    """Return the values (time,), with NaN for impossible ones.

    They are named in the remarks, the first three singly.
    """
    with np.errstate(invalid="ignore"):
        impossible = (values < variable.low) | (values > variable.high) | np.isinf(values)
    for row in np.flatnonzero(impossible)[:3]:
        remarks.append(
            f"{name} of {values[row]:g} {variable.unit} at {at(times[row])} is impossible: ignored"
        )
    if impossible.sum() > 3:
        remarks.append(f"{impossible.sum() - 3} more impossible values of {name}: ignored")
    return np.where(impossible, np.nan, values)


def moisture(
    temp_c: Array,
    dew_point_c: Array | None,
    humidity_pct: Array | None,
    times: np.ndarray,
    remarks: list[str],
) -> tuple[Array, tuple[Doubt, ...]]:
    """Return the dew point (time,) [°C], and the doubts about the temperature that it raises.

    Where the dew point is missing it is computed from humidity. One above the temperature is
    impossible, and ignored.
    """
    unknown = np.full(temp_c.shape, np.nan)
    dew = unknown if dew_point_c is None else dew_point_c
    humidity = unknown if humidity_pct is None else humidity_pct
    doubts = tuple(moisture_doubts(temp_c, dew, humidity))
    above = np.isfinite(dew) & (dew > temp_c + 0.5)
    if above.any():
        when = at(times[np.flatnonzero(above)[0]])
        hours = "1 hour" if above.sum() == 1 else f"{above.sum()} hours"
        remarks.append(f"dew point above the temperature in {hours}, first {when}: ignored")
    dew = np.where(above, np.nan, np.minimum(dew, temp_c))
    if humidity_pct is None:
        return dew, doubts
    vapour = air.vapour_pressure(temp_c, np.clip(humidity_pct, 1.0, 100.0))
    return np.where(np.isfinite(dew), dew, air.dew_point(vapour)), doubts


def at(second: int) -> str:
    """Return a time [unix s] as remarks show it."""
    return f"{datetime.fromtimestamp(int(second), UTC):%Y-%m-%d %H:%M} UTC"


def _bounded_int(digits: str) -> int | float:
    """Return a whole number; one too long for any quantity becomes a float, perhaps infinite."""
    return int(digits) if len(digits) <= 18 else float(digits)
