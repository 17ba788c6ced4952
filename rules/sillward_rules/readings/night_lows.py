"""The low of each night at a spot, from what was read there."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np

from sillward_rules.readings.hourly_readings import HourlyReadings
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import moment
from sillward_rules.weather.site import Site
from sillward_rules.weather.sun import Night

MAX_GAP = timedelta(hours=2)
"""A night with a longer time without a reading between sunset and sunrise has no low: it may have
been missed. Judgement: forecasts are bridged over as long a gap."""

BY_HAND = "by hand"
"""Stands for the sensor of readings that a person took."""

AT_DAWN = timedelta(minutes=60), timedelta(minutes=15)
"""A single reading this long before sunrise, or after it, stands for the low of the night.
Judgement: on clear nights the air cools by half a kelvin in the last hour, and warms by no more in
the first quarter of an hour of sun. A reading that is too warm by that makes a spot seem warmer,
which counts only from some nights on."""


@dataclass(frozen=True, slots=True)
class NightLow:
    """The lowest temperature that was read at a spot in a night.

    - night: the local date of its evening.
    - low_c: [°C].
    - at: when it was read first; None where a minimum thermometer was read later.
    - sensor: the name of the sensor, or `BY_HAND`.
    """

    night: date
    low_c: float
    at: datetime | None
    sensor: str


def lows_of_sensor(site: Site, hours: HourlyReadings, sensor: str) -> list[NightLow]:
    """Return the low of every night that a sensor has covered, in order.

    A night's low is looked for from its sunset until its cold is over, as that of a forecast is.
    It does not matter to the low whether the sun then shines on the sensor.
    """
    if not len(hours):
        return []
    found = []
    end = moment(hours.last_at[-1])
    for night in sun.nights_from(site, moment(hours.first_at[0])):
        if night.end > end:
            break
        low = low_so_far(hours, night, night.cold_until)
        if low is not None and _covers(hours, night):
            found.append(NightLow(night.day, low[0], low[1], sensor))
    return found


def low_so_far(
    hours: HourlyReadings, night: Night, until: datetime
) -> tuple[float, datetime] | None:
    """Return the lowest reading from sunset to a moment [°C], and when it was taken first.

    None if there is none. Hours count as wholes, the one with the sunset in it included.
    """
    rows = _between(hours, night.start, until)
    if rows.start >= rows.stop:
        return None
    row = rows.start + int(np.argmin(hours.low[rows]))
    return float(hours.low[row]), moment(hours.low_at[row])


def _between(hours: HourlyReadings, start: datetime, end: datetime) -> slice:
    """Return the rows of the hours that have readings from start to end, or reach over these."""
    first = np.searchsorted(hours.last_at, start.timestamp(), side="left")
    after = np.searchsorted(hours.first_at, end.timestamp(), side="right")
    return slice(int(first), int(after))


def _covers(hours: HourlyReadings, night: Night) -> bool:
    """Return whether no time longer than `MAX_GAP` is without a reading in a night."""
    start, end = night.start.timestamp(), night.end.timestamp()
    rows = _between(hours, night.start, night.end)
    if rows.start >= rows.stop:
        return False
    # Within an hour readings may be far apart too, but by less than an hour.
    ends = np.append(hours.first_at[rows], end)
    starts = np.append(start, hours.last_at[rows])
    return bool((ends - starts).max() <= MAX_GAP.total_seconds())


def low_by_hand(site: Site, at: datetime, low_c: float, night: date | None) -> NightLow | None:
    """Return the low that a reading by hand stands for; None if it says nothing of one.

    night : the date of the evening, if a minimum thermometer showed the low of that night.
    """
    if night is not None:
        return NightLow(night, low_c, None, BY_HAND)
    near = sun.night_at_or_after(site, at - AT_DAWN[1] - timedelta(seconds=1))
    if near.end - AT_DAWN[0] <= at <= near.end + AT_DAWN[1]:
        return NightLow(near.day, low_c, at, BY_HAND)
    return None


def one_for_each_night(lows: Iterable[NightLow]) -> list[NightLow]:
    """Return one low for each night, in order.

    Where several sensors have one, that of the sensor with the most nights counts, so that what is
    learned does not go back and forth between two that differ. Of one sensor's the lowest counts.
    """
    lows = list(lows)
    nights = Counter(sensor for sensor, _ in {(low.sensor, low.night) for low in lows})
    best: dict[date, NightLow] = {}
    for low in sorted(lows, key=lambda low: (-nights[low.sensor], low.sensor, low.low_c)):
        best.setdefault(low.night, low)
    return [best[night] for night in sorted(best)]


def lows_at_spot(
    site: Site,
    sensors: Mapping[str, HourlyReadings],
    by_hand: Sequence[tuple[datetime, float, date | None]] = (),
) -> list[NightLow]:
    """Return the low of each night at a spot, in order; of nights that are not known, none.

    sensors : the temperatures of each sensor there, by its name. by_hand : when each reading was
    taken, its temperature [°C], and the night of which it is the low, or None.
    """
    found = [low for name, hours in sensors.items() for low in lows_of_sensor(site, hours, name)]
    found += [low for reading in by_hand if (low := low_by_hand(site, *reading)) is not None]
    return one_for_each_night(found)
