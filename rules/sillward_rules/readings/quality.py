"""Which readings can be used, and why others cannot.

`sift` looks at single readings, of a file or of a sensor that lives. What takes a forecast or
another sensor to see, a value that is stuck, sun on the sensor, the same sensor at two spots, is
looked for among readings by the hour.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

import numpy as np

from sillward_rules.arrays import HOUR_S, Array
from sillward_rules.readings.hourly_readings import HourlyReadings, Quantity
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import at_hours, moment
from sillward_rules.weather.site import Site

BOUNDS: Mapping[Quantity, tuple[float, float]] = {
    Quantity.TEMPERATURE: (-40.0, 60.0),
    Quantity.HUMIDITY: (0.0, 100.0),
}
"""Values outside these are faults of the sensor or of its unit [°C, %]. Judgement: where tender
plants are grown in pots it gets no colder, and shade gets no warmer."""

SATURATED_PCT = 105.0
"""Up to this a humidity above 100 % is read as 100 [%]. Judgement: hygrometers for the home are
good to 3 to 5 %, and in saturated air, which is common at night, they show as much more."""

JUMP_K = 10.0
"""Air does not change by more than this within `JUMP_WITHIN` [K]. Judgement: the wind that follows
a front takes it down by half as much. Humidity has no such limit: a mister or a door moves it."""

JUMP_WITHIN = timedelta(minutes=10)
"""Two readings further apart are not held against each other, and a jump that lasts for as long is
believed. Judgement, with `JUMP_K`."""

CLOCK_AHEAD = timedelta(minutes=5)
"""A reading may be dated so far in the future. Judgement: clocks of loggers drift by a minute in a
month; a clock in another zone is off by an hour at least."""

STUCK_FOR = timedelta(hours=6)
STUCK_WHILE_K = 3.0
"""A sensor that shows the same value for longer than this, while the forecast moves by more than
this [K], is stuck. Judgement: air under the sky keeps within 0.5 K for some hours at most, in fog
or rain, and then the forecast is as even."""

SUN_K = 8.0
"""By day a sensor that is warmer than the forecast at its spot by more than this is in the sun [K].
Judgement: a courtyard in the shade is up to 5 K warmer than open country, and thermometers without
a shield were found to read 2 to 10 K too high in the sun."""

OTHER_UNIT_FAR_K = 15.0
OTHER_UNIT_NEAR_K = 6.0
"""A value that is further from the forecast than the first, and in the other unit nearer than the
second, is likely in that unit [K]. Judgement: sun on a thermometer makes 10 K, a spot of its own
5 K."""

OTHER_UNIT_H = 6
"""Hours of a sensor that show it. Judgement: sun on a sensor lasts for some, and hardly makes so
much."""

TWIN_H = 24
TWIN_RANGE = 1.0
TWIN_VALUES = 8
"""Two sensors that show the same for so many hours in a row, while that changes by this [K or %]
and has so many different means by the hour, are one. Judgement: two of a kind side by side differ
by a tenth within any hour or two; of two that show whole degrees a day may be alike by chance."""

_SAME = 0.006
"""Values by the hour are kept in hundredths: within this they are the same."""


class Reason(StrEnum):
    """Why readings are not used, in the grower's words."""

    IMPOSSIBLE = "outside of what can be"
    CLOCK_AHEAD = "dated in the future"
    JUMP = "a jump that nothing after it confirms"
    STUCK = "the same value for hours while the weather changed"
    SUN = "warmer than shade can be: sun on the sensor"
    TWIN = "the same values as another sensor"
    UNIT = "far from the forecast, and near it in another unit: °C or °F?"


def as_can_be(values: Array, quantity: Quantity) -> Array:
    """Return values (any shape) [°C or %] with humidities slightly above 100 % as 100 %."""
    if quantity is not Quantity.HUMIDITY:
        return values
    return np.where((values > 100.0) & (values <= SATURATED_PCT), 100.0, values)


@dataclass(frozen=True, slots=True, eq=False)
class Sifted:
    """Which of some readings can be used. Masks are (reading,).

    - kept: those that can.
    - undecided: those that are a jump, with too little after them to tell whether it is one. A
      sensor that lives shows more soon; at the end of a file they are set aside.
    - set_aside: the others, by the reason. A value that is NaN is no reading and in none of these.
    """

    kept: np.ndarray
    undecided: np.ndarray
    set_aside: Mapping[Reason, np.ndarray]


def sift(times: np.ndarray, values: Array, quantity: Quantity, now: datetime) -> Sifted:
    """Return which readings of one sensor can be used.

    times (reading,) : when they were taken [unix s], in order.
    values (reading,) : [°C or %]; NaN is no reading.
    now : the time of a clock that is right.
    """
    low, high = BOUNDS[quantity]
    known = ~np.isnan(values)
    ahead = known & (times > (now + CLOCK_AHEAD).timestamp())
    possible = known & (values >= low) & (values <= high)
    set_aside = {Reason.IMPOSSIBLE: known & ~possible, Reason.CLOCK_AHEAD: possible & ahead}
    kept = possible & ~ahead
    undecided = np.zeros(values.shape, bool)
    if quantity is Quantity.TEMPERATURE:
        rows = np.flatnonzero(kept)
        jumps, at_the_end = _jumps(times[rows], values[rows])
        set_aside[Reason.JUMP] = np.zeros(values.shape, bool)
        set_aside[Reason.JUMP][rows[jumps]] = True
        undecided[rows[at_the_end]] = True
        kept[rows[jumps | at_the_end]] = False
    return Sifted(kept, undecided, set_aside)


def _jumps(times: np.ndarray, values: Array) -> tuple[np.ndarray, np.ndarray]:
    """Return which readings are a jump that what follows does not confirm, and which may be one.

    Readings are cut into pieces where one jumps away from the reading before. A piece that begins
    with a jump from a reading shortly before must last, or be near the last one that is believed.
    """
    jumps, undecided = np.zeros(values.shape, bool), np.zeros(values.shape, bool)
    cuts = np.flatnonzero(np.abs(np.diff(values)) > JUMP_K) + 1
    if not cuts.size:
        return jumps, undecided
    within_s = JUMP_WITHIN.total_seconds()
    believed = float(values[cuts[0] - 1])
    for first, end in zip(cuts.tolist(), [*cuts[1:].tolist(), values.size], strict=True):
        is_sudden = times[first] - times[first - 1] <= within_s
        is_short = times[end - 1] - times[first] < within_s
        if not (is_sudden and is_short and abs(values[first] - believed) > JUMP_K):
            believed = float(values[end - 1])
        elif end == values.size:
            undecided[first:end] = True
        else:
            jumps[first:end] = True
    return jumps, undecided


# -- by the hour, beside a forecast or another sensor. Masks are (hour,)


def stuck(hours: HourlyReadings, times: np.ndarray, temp_c: Array) -> np.ndarray:
    """Return the hours of a thermometer that shows the same while the weather changes.

    times, temp_c (time,) : the forecast, at each full hour [unix s, °C]; NaN is unknown. What it
    does not know convicts nobody. A heated room does not follow it: leave such spots out.
    """
    alike = _next_hour(hours.hour) & (np.diff(hours.low, prepend=np.nan) == 0.0)
    found = np.zeros(len(hours), bool)
    for first, end in _runs(alike, hours.low == hours.high):
        span = hours.last_at[end - 1] - hours.first_at[first]
        if span <= STUCK_FOR.total_seconds():
            continue
        told = at_hours(times, temp_c, hours.hour[first:end])
        told = told[np.isfinite(told)]
        found[first:end] = bool(told.size) and np.ptp(told) > STUCK_WHILE_K
    return found


def in_the_sun(site: Site, hours: HourlyReadings, times: np.ndarray, temp_c: Array) -> np.ndarray:
    """Return the hours, all of which lie by day, in which a thermometer had sun on it.

    times, temp_c (time,) : the forecast at the spot, at each full hour [unix s, °C]; NaN is
    unknown. What the same thermometer shows from sunset to sunrise is not in doubt.
    """
    told = np.maximum(
        at_hours(times, temp_c, hours.hour), at_hours(times, temp_c, hours.hour + HOUR_S)
    )
    warm = hours.high > told + SUN_K  # false where the forecast is unknown
    return np.array(
        [warm[row] and _is_day(site, float(hours.hour[row])) for row in range(len(hours))], bool
    )


def in_another_unit(
    hours: HourlyReadings, times: np.ndarray, temp_c: Array, fewest: int = OTHER_UNIT_H
) -> np.ndarray:
    """Return the hours of a thermometer that are likely in °F, taken as °C, or the other way round.

    times, temp_c (time,) : the forecast at the spot, at each full hour [unix s, °C]; NaN is
    unknown. fewest : of so many hours it is believed, if they are most of those with a forecast.
    """
    told = at_hours(times, temp_c, hours.hour)
    others = (hours.mean - 32.0) / 1.8, hours.mean * 1.8 + 32.0
    apart = np.minimum(*(np.abs(other - told) for other in others))
    found = (np.abs(hours.mean - told) > OTHER_UNIT_FAR_K) & (apart < OTHER_UNIT_NEAR_K)
    is_clear = bool(found.sum() >= fewest and 2 * found.sum() > np.isfinite(told).sum())
    return np.asarray(found & is_clear)


def _is_day(site: Site, hour: float) -> bool:
    """Whether the sun is up for the whole of an hour."""
    start, end = moment(hour), moment(hour + HOUR_S)
    return min(sun.elevation(site, start), sun.elevation(site, end)) >= sun.HORIZON_DEG


def twins(hours: HourlyReadings, other: HourlyReadings) -> np.ndarray:
    """Return the hours in which a sensor shows what another one does, for a day or longer.

    Both are of the same quantity, at different spots.
    """
    common, mine, theirs = np.intersect1d(
        hours.hour, other.hour, assume_unique=True, return_indices=True
    )
    same = np.ones(common.shape, bool)
    for name in ("low", "high", "mean"):
        same &= np.abs(getattr(hours, name)[mine] - getattr(other, name)[theirs]) < _SAME
    found = np.zeros(len(hours), bool)
    for first, end in _runs(_next_hour(common), same):
        rows = mine[first:end]
        moved = hours.high[rows].max() - hours.low[rows].min()
        differ = np.unique(hours.mean[rows]).size >= TWIN_VALUES
        found[rows] = end - first >= TWIN_H and moved >= TWIN_RANGE and differ
    return found


def _runs(continues: np.ndarray, holds: np.ndarray) -> Iterator[tuple[int, int]]:
    """Yield the first row, and the row after the last, of each run of rows in which all hold.

    continues (row,) : whether a row may be in a run with the row before.
    """
    if holds.any():
        goes_on = continues[1:] & holds[1:] & holds[:-1]
        begins = holds & ~np.append(False, goes_on)
        ends = holds & ~np.append(goes_on, False)
        yield from zip(np.flatnonzero(begins), np.flatnonzero(ends) + 1, strict=True)


def _next_hour(hour: np.ndarray) -> np.ndarray:
    """Return for each hour (hour,) [unix s] whether it is the next after the one before."""
    return np.asarray(np.diff(hour, prepend=-1) == HOUR_S)
