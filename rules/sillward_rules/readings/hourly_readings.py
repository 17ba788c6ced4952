"""Readings of one sensor, summed up by the hour: what is kept of them."""

from collections.abc import Callable
from dataclasses import dataclass, fields
from enum import StrEnum
from typing import Self

import numpy as np

from sillward_rules.arrays import HOUR_S, Array


class Quantity(StrEnum):
    """What a sensor measures, in °C or in % of relative humidity."""

    TEMPERATURE = "temperature"
    HUMIDITY = "humidity"


@dataclass(frozen=True, slots=True, eq=False)
class HourlyReadings:
    """The readings of a sensor by the hour. Arrays are (hour,), in order; hours without any are
    left out.

    - hour: when each hour begins [unix s].
    - low, high, mean, last: of the readings from then until before the next hour [°C or %].
    - low_at, first_at, last_at: when the (first) lowest, the first and the last were taken
      [unix s].
    - count: how many readings there were.
    """

    hour: np.ndarray
    low: Array
    low_at: np.ndarray
    high: Array
    mean: Array
    first_at: np.ndarray
    last: Array
    last_at: np.ndarray
    count: np.ndarray

    def __len__(self) -> int:
        """Return the number of hours."""
        return int(self.hour.size)

    def at(self, rows: np.ndarray | slice) -> Self:
        """Return some of the hours."""
        return self._each(lambda column: column[rows])

    def after(self, other: Self) -> Self:
        """Return these hours behind those of another."""
        pairs = [(getattr(other, each.name), getattr(self, each.name)) for each in fields(self)]
        return type(self)(*(np.concatenate(pair) for pair in pairs))

    def _each(self, change: Callable[[np.ndarray], np.ndarray]) -> Self:
        return type(self)(*(change(getattr(self, each.name)) for each in fields(self)))


def by_the_hour(times: np.ndarray, values: Array) -> HourlyReadings:
    """Sum readings up by the hour. Of several at the same second the first counts.

    times (reading,) : [unix s], whole seconds, in any order. values (reading,) : [°C or %]; NaN is
    no reading.
    """
    known = np.isfinite(values)
    seconds, first = np.unique(times[known].astype(np.int64), return_index=True)
    values = values[known][first]
    hour, starts = np.unique(seconds // HOUR_S * HOUR_S, return_index=True)
    if not hour.size:
        nothing, moments = np.empty(0), np.empty(0, np.int64)
        return HourlyReadings(
            moments, nothing, moments, nothing, nothing, moments, nothing, moments, moments
        )
    ends = np.append(starts[1:], seconds.size)
    count = ends - starts
    low = np.minimum.reduceat(values, starts)
    is_low = np.flatnonzero(values == np.repeat(low, count))
    first_low = is_low[np.searchsorted(is_low, starts)]
    return HourlyReadings(
        hour=hour,
        low=low,
        low_at=seconds[first_low],
        high=np.maximum.reduceat(values, starts),
        mean=np.add.reduceat(values, starts) / count,
        first_at=seconds[starts],
        last=values[ends - 1],
        last_at=seconds[ends - 1],
        count=count,
    )


def joined(known: HourlyReadings, coming: HourlyReadings) -> HourlyReadings:
    """Return all hours of two sets of readings of the same sensor.

    Where both have readings of an hour, one after the other, these are put together. Where their
    times overlap some may be the same readings: count and mean are those of the more, and of those
    that are known if they are as many. Low and high, first and last are those of both in any case.
    So readings that come twice change nothing, and no low is lost.
    """
    hours = np.union1d(known.hour, coming.hour)
    both = np.intersect1d(known.hour, coming.hour)
    mine, theirs = _rows(known, both), _rows(coming, both)
    put_together = _joined_hours(known.at(mine), coming.at(theirs))
    alone = known.at(~np.isin(known.hour, both)), coming.at(~np.isin(coming.hour, both))
    together = put_together.after(alone[0]).after(alone[1])
    return together.at(_rows(together, hours))


def _rows(of: HourlyReadings, hours: np.ndarray) -> np.ndarray:
    """Return the row of each of these hours, all of which are there."""
    order = np.argsort(of.hour)
    return np.asarray(order[np.searchsorted(of.hour[order], hours)])


def _joined_hours(known: HourlyReadings, coming: HourlyReadings) -> HourlyReadings:
    """Return the same hours of two sets of readings put together, row by row."""
    after, before = coming.first_at > known.last_at, coming.last_at < known.first_at
    apart = after | before
    more = coming.count > known.count
    total = known.count + coming.count
    sooner = coming.low_at < known.low_at
    lower = (coming.low < known.low) | ((coming.low == known.low) & sooner)
    later = coming.last_at > known.last_at
    mean = (known.mean * known.count + coming.mean * coming.count) / np.maximum(total, 1)
    return HourlyReadings(
        hour=known.hour,
        low=np.minimum(known.low, coming.low),
        low_at=np.where(lower, coming.low_at, known.low_at),
        high=np.maximum(known.high, coming.high),
        mean=np.where(apart, mean, np.where(more, coming.mean, known.mean)),
        first_at=np.minimum(known.first_at, coming.first_at),
        last=np.where(later, coming.last, known.last),
        last_at=np.maximum(known.last_at, coming.last_at),
        count=np.where(apart, total, np.where(more, coming.count, known.count)),
    )
