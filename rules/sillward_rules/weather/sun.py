"""The sun at a site: rise and set on a local date, nights, position.

The astral library is accurate to about half a minute below 60 degrees of latitude, but it raises
where the sun stays up or down, sometimes also where it does not, and it mixes up dates far from
Greenwich. Here every date has an answer and nothing raises.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from enum import Enum
from functools import lru_cache

import astral
import astral.sun
import numpy as np
from astral.julian import julianday, julianday_to_juliancentury

from sillward_rules.arrays import Array
from sillward_rules.weather.site import Site

HORIZON_DEG = -0.833
"""Elevation of the sun's centre when its upper edge is on a flat horizon [deg]."""

_MAX_EVENT_ERROR_DEG = 0.1
"""An event of astral's further from the horizon than this is wrong, as happens near the midnight
sun; ordinary ones stay within half of it."""

COLD_MORNING = timedelta(hours=2)
"""A night counts for this long after sunrise: the air is coldest after sunrise, not at it, and a
leaf in the shade warms later still. Judgement: by then the sun has warmed both."""

_STEP = timedelta(minutes=10)
_HALF_WITHOUT_EVENTS = timedelta(hours=3)


class Daylight(Enum):
    """What the sun does on a date."""

    RISES_AND_SETS = "rises and sets"
    ALWAYS_UP = "always up"
    ALWAYS_DOWN = "always down"


@dataclass(frozen=True, slots=True)
class DayEvents:
    """Sunrise and sunset of one local date (UTC).

    Where the sun stays up, the "night" is the three hours either side of its lowest point; where
    it stays down, the "day" is the three hours either side of its highest. Both are then stand-ins
    so that rounds and nights still exist, and `daylight` says so.
    """

    day: date
    sunrise: datetime
    sunset: datetime
    daylight: Daylight


@dataclass(frozen=True, slots=True)
class Night:
    """From sunset of `day` to the next sunrise (UTC)."""

    day: date
    start: datetime
    end: datetime

    @property
    def cold_until(self) -> datetime:
        """Until when its cold counts: `COLD_MORNING` after sunrise."""
        return self.end + COLD_MORNING


def elevation(site: Site, at: datetime) -> float:
    """Return the sun's elevation [deg], refraction left out."""
    return float(astral.sun.elevation(_observer(site), at.astimezone(UTC), with_refraction=False))


def positions(site: Site, unix_seconds: np.ndarray) -> tuple[Array, Array]:
    """Return azimuth (clockwise from north) and elevation [deg] at each moment, shape (time,).

    As `astral.sun.zenith_and_azimuth`, for all moments at once.
    """
    of_sun = np.array([_of_sun(second) for second in unix_seconds.tolist()])
    declination, clock_min = np.radians(of_sun.reshape(-1, 2)[:, 0]), of_sun.reshape(-1, 2)[:, 1]
    latitude = math.radians(min(max(site.latitude, -_POLE_DEG), _POLE_DEG))
    solar_min = unix_seconds % _DAY_S / 60.0 + clock_min + 4.0 * site.longitude
    hour_angle = solar_min / 4.0 % 360.0 - 180.0
    sin_declination = np.sin(declination)
    height = math.sin(latitude) * sin_declination
    height += math.cos(latitude) * np.cos(declination) * np.cos(np.radians(hour_angle))
    height = np.minimum(np.maximum(height, -1.0), 1.0)
    aside = math.cos(latitude) * np.sqrt(1.0 - height**2)
    overhead = aside <= _OVERHEAD  # there an azimuth says nothing
    from_pole = (sin_declination - math.sin(latitude) * height) / np.where(overhead, 1.0, aside)
    azimuth = np.degrees(np.arccos(np.minimum(np.maximum(from_pole, -1.0), 1.0)))
    azimuth = np.where(hour_angle > 0, 360.0 - azimuth, azimuth)
    azimuth[overhead] = 180.0 if site.latitude > 0 else 0.0
    return azimuth, 90.0 - np.degrees(np.arccos(height))


_DAY_S = 86400

_POLE_DEG, _OVERHEAD = 89.8, 0.001
"""Nearer to a pole, or to the zenith, astral does not tell directions apart."""


# The hours of forecasts are the same at all sites: room for some weeks of them.
@lru_cache(maxsize=2**12)
def _of_sun(second: float) -> tuple[float, float]:
    """Return the sun's declination [deg] and the equation of time [min] at a moment."""
    century = julianday_to_juliancentury(julianday(datetime.fromtimestamp(second, UTC)))
    return astral.sun.sun_declination(century), astral.sun.eq_of_time(century)


# A forecast spans some twenty days: room for a thousand sites, at half a kilobyte an entry. With
# room for fewer days than one round of all sites needs, every entry would be evicted before its
# next use.
@lru_cache(maxsize=2**15)
def day_events(site: Site, day: date) -> DayEvents:
    """Return sunrise and sunset around the solar noon of this local date."""
    noon = site.middle_of_day(day)
    found = _from_astral(site, day, noon)
    if found is not None:
        return found
    return _by_scanning(site, day, noon)


@lru_cache(maxsize=2**10)
def night_of(site: Site, day: date) -> Night:
    """Return the night that begins on this local date."""
    start = day_events(site, day).sunset
    return Night(day, start, day_events(site, day + timedelta(days=1)).sunrise)


def night_at_or_after(site: Site, at: datetime) -> Night:
    """Return the night that goes on at this moment, or else the next one."""
    day = site.local_date(at) - timedelta(days=2)
    while True:
        night = night_of(site, day)
        if night.end > at:
            return night
        day += timedelta(days=1)


def nights_from(site: Site, at: datetime) -> Iterator[Night]:
    """Yield the night at or after this moment and all that follow."""
    night = night_at_or_after(site, at)
    while True:
        yield night
        night = night_of(site, night.day + timedelta(days=1))


def is_night(
    site: Site, unix_seconds: np.ndarray, *, after: timedelta = timedelta(0)
) -> np.ndarray:
    """Return the mask of the moments from sunset to sunrise, both ends included, shape (time,).

    after : how long after sunrise still counts.
    """
    mask = np.zeros(unix_seconds.shape, dtype=bool)
    if unix_seconds.size == 0:
        return mask
    first, last = float(unix_seconds[0]), float(unix_seconds[-1])
    for night in _nights_within(site, first - after.total_seconds(), last):
        end = (night.end + after).timestamp()
        mask |= (unix_seconds >= night.start.timestamp()) & (unix_seconds <= end)
    return mask


def moments_of_nights(site: Site, hours: np.ndarray, step_s: int) -> Array:
    """Return the full hours and, between them, the moments at which nights are judged [unix s].

    These are sunset, sunrise, the end of the cold morning, and every step from the full hour before
    the first to the one after the last of them. Shape (moment,), in order. hours : (time,), in
    order.
    """
    if hours.size == 0:
        return np.zeros(0)
    first, last = float(hours[0]), float(hours[-1])
    parts = [hours.astype(np.float64)]
    for night in _nights_within(site, first - COLD_MORNING.total_seconds(), last):
        edges = [at.timestamp() for at in (night.start, night.end, night.cold_until)]
        start, end = edges[0] // 3600 * 3600, -(-edges[2] // 3600) * 3600
        parts += [np.arange(start, end, step_s), np.array(edges)]
    every = np.unique(np.concatenate(parts))
    return np.asarray(every[(every >= first) & (every <= last)])


def _nights_within(site: Site, first: float, last: float) -> Iterator[Night]:
    """Yield the nights that go on at some moment of a span [unix s]."""
    for night in nights_from(site, datetime.fromtimestamp(first, UTC)):
        if night.start.timestamp() > last:
            return
        yield night


def _observer(site: Site) -> astral.Observer:
    # Elevation 0: astral takes it as the height above a lower horizon, which a valley is not.
    return astral.Observer(site.latitude, site.longitude, 0.0)


def _from_astral(site: Site, day: date, noon: datetime) -> DayEvents | None:
    """Return astral's answer, if it gives one that belongs to this noon."""
    try:
        sunrise = astral.sun.sunrise(_observer(site), date=day, tzinfo=site.zone).astimezone(UTC)
        sunset = astral.sun.sunset(_observer(site), date=day, tzinfo=site.zone).astimezone(UTC)
    except ValueError:
        return None
    half = timedelta(hours=12)
    if not noon - half < sunrise < noon < sunset < noon + half:
        return None
    if any(
        abs(elevation(site, event) - HORIZON_DEG) > _MAX_EVENT_ERROR_DEG
        for event in (sunrise, sunset)
    ):
        return None
    return DayEvents(day, sunrise, sunset, Daylight.RISES_AND_SETS)


def _by_scanning(site: Site, day: date, noon: datetime) -> DayEvents:
    """Find sunrise and sunset by stepping through the 24 hours around noon and bisection."""
    half = timedelta(hours=12)
    if elevation(site, noon) <= HORIZON_DEG:
        return DayEvents(
            day, noon - _HALF_WITHOUT_EVENTS, noon + _HALF_WITHOUT_EVENTS, Daylight.ALWAYS_DOWN
        )
    sunrise = _crossing(site, noon, -_STEP, noon - half)
    sunset = _crossing(site, noon, _STEP, noon + half)
    if sunrise is None and sunset is None:
        lowest = half - _HALF_WITHOUT_EVENTS
        return DayEvents(day, noon - lowest, noon + lowest, Daylight.ALWAYS_UP)
    return DayEvents(day, sunrise or noon - half, sunset or noon + half, Daylight.RISES_AND_SETS)


def _crossing(site: Site, up: datetime, step: timedelta, limit: datetime) -> datetime | None:
    """Return when the sun crosses the horizon between `up`, where it is above it, and `limit`."""
    inner, outer = up, up + step
    while elevation(site, outer) > HORIZON_DEG:
        inner, outer = outer, outer + step
        if abs(outer - up) > abs(limit - up):
            return None
    for _ in range(12):
        middle = inner + (outer - inner) / 2
        if elevation(site, middle) > HORIZON_DEG:
            inner = middle
        else:
            outer = middle
    return inner
