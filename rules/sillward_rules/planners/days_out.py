"""A day outside: from when on a plant may go out, and until when that is worth it."""

import math
from datetime import date, datetime, timedelta

import numpy as np

from sillward_rules.arrays import Array, group_rows, split_by_keys
from sillward_rules.chore import Reason
from sillward_rules.light_dataclass import dataclass
from sillward_rules.planners.scene.crossings import interpolate_crossing
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import moment, rows_from_to

GAIN = timedelta(hours=3)
"""What a day outside must bring a plant to be worth two trips: this many hours of daylight that are
warm enough for the plant to make use of."""

WARM_K = 8.0
"""An hour counts in full from this far above a plant's night limit on [K], below in proportion.
Common practice, no source: growers keep days some 8 K warmer than the nights that a plant is given.
Judgement on its use: four hours that come to 4 K above the limit after a night of 4 degrees are not
worth two trips, a day of seven such hours is. With 6 K the former would be, with 12 K no clear
winter's day on a mild coast would. Light is left out: these are hours of daylight, and how much of
it reaches the shelter is not known."""


@dataclass(frozen=True, slots=True, eq=False)
class _Hours:
    """A home from an hour before sunrise to the end of the next night, and its warmest moment.

    times [unix s], leaf_c [°C] (time,): the leaf, or the air where that is colder, because a leaf
    in the sun says little of its pot. early_c (time,): the same on the early side of the forecast
    [°C]. warmest_c, warmest_at: the highest leaf_c by day.
    """

    times: np.ndarray
    leaf_c: Array
    early_c: Array
    warmest_c: float | None
    warmest_at: datetime


class DaysOut:
    """A day outside, worked out once for every home and every limit that plants have there."""

    def __init__(self, scene: Scene, day: date) -> None:
        self.scene = scene
        self.events = sun.day_events(scene.site, day)
        self._night_end = sun.night_of(scene.site, day).cold_until
        self._hours: dict[int, _Hours] = {}
        self._above_from: dict[tuple[int, float], datetime | None] = {}

    def hours_of(self, cohorts: np.ndarray) -> tuple[Array, Array]:
        """Return when each cohort may go out, and when it is too cold for it again [unix s].

        Infinite for never.
        """
        home, limit = self.scene.home[cohorts], self.scene.lowest_limit_c[cohorts]
        first, groups = group_rows(home, limit)
        out, cold = np.empty(first.shape), np.empty(first.shape)
        for numbers in split_by_keys(np.arange(first.size), home[first]):
            hours, bound = self._at(int(home[first[numbers[0]]])), limit[first[numbers]]
            out[numbers] = self._out_from(hours, bound)
            cold[numbers] = _cold_again(hours, out[numbers], bound)
        return out[groups], cold[groups]

    def latest(self, cohorts: np.ndarray, back: Array) -> Array:
        """Return until when going out is worth it [unix s], if each must be back by then.

        back : of these cohorts [unix s]. -inf where it is never worth it.
        """
        worth = self.scene.habits.worth_going_out
        if worth is not None:
            return np.asarray(back - worth.total_seconds())
        home, limit = self.scene.home[cohorts], self.scene.lowest_limit_c[cohorts]
        first, groups = group_rows(home, limit, back)
        until = np.empty(first.shape)
        for numbers in split_by_keys(np.arange(first.size), home[first]):
            rows = first[numbers]
            until[numbers] = _worth_until(self._at(int(home[rows[0]])), limit[rows], back[rows])
        return np.asarray(until[groups])

    def warmest(self, cohort: int) -> Reason:
        """Return how warm the day gets at a cohort's home: why it may go out, or why not."""
        home = int(self.scene.home[cohort])
        hours = self._at(home)
        limit = self.scene.traits.plants[cohort].limits.night_low
        key = home, math.inf if limit is None else limit.value
        if key not in self._above_from:
            self._above_from[key] = _above_from(hours, math.nan if limit is None else limit.value)
        return Reason(
            plant=self.scene.cohorts[cohort].names[0],
            quantity="leaf temperature",
            value=hours.warmest_c,
            unit="°C",
            limit=limit.value if limit else None,
            at=hours.warmest_at,
            origin=limit.origin if limit else "",
            crosses_at=self._above_from[key],
        )

    def _at(self, column: int) -> _Hours:
        if column not in self._hours:
            self._hours[column] = self._hours_at(column)
        return self._hours[column]

    def _hours_at(self, column: int) -> _Hours:
        scene, events = self.scene, self.events
        start = events.sunrise - timedelta(hours=1)
        rows = rows_from_to(scene.by_night.times, start, self._night_end)
        times = scene.by_night.times[rows]
        leaf = np.minimum(scene.by_night.leaf_c[rows, column], scene.by_night.temp_c[rows, column])
        if scene.forecast_expired:
            leaf = np.full(leaf.shape, np.nan)
        early = leaf + scene.early_k[rows, column] * ~scene.holds_itself[column]
        by_day = leaf[times <= events.sunset.timestamp()]
        value, at = None, events.sunrise
        if np.isfinite(by_day).any():
            index = int(np.nanargmax(by_day))
            value, at = round(float(by_day[index]), 2), moment(times[index])
        return _Hours(times, leaf, early, value, at)

    def _out_from(self, hours: _Hours, limit: Array) -> Array:
        """Return when the leaf has been above each limit by the margin for long enough [unix s].

        On the early side of the forecast it must be above the limit itself.

        limit (class,) : [°C]; NaN for none. By day, and not before now; infinite for never.
        """
        habits, size = self.scene.habits, hours.times.size
        if not size:
            return np.full(limit.shape, np.inf)
        bound = np.where(np.isnan(limit), -np.inf, limit)
        surely_c = np.minimum(hours.leaf_c - habits.out_margin_k, hours.early_c)
        warm = surely_c >= bound[:, None]
        ends = np.searchsorted(hours.times, hours.times + habits.out_after.total_seconds())
        cold = np.where(warm, size, np.arange(size))
        next_cold = np.minimum.accumulate(cold[:, ::-1], axis=1)[:, ::-1]
        by_day = hours.times <= self.events.sunset.timestamp()
        lasts = (next_cold > ends) & (ends < size) & by_day
        since = _crossings(hours.times, surely_c, np.argmax(lasts, axis=1), bound)
        since = np.maximum(since, self.events.sunrise.timestamp())
        out = np.maximum(since + habits.out_after.total_seconds(), self.scene.now.timestamp())
        return np.where(lasts.any(axis=1), out, np.inf)


def _above_from(hours: _Hours, limit: float) -> datetime | None:
    """Return from when on the leaf is above a limit until the warmest moment of the day.

    None where it is not, or is so from the start.
    """
    rows = np.flatnonzero(hours.times <= hours.warmest_at.timestamp())
    under = rows[~(hours.leaf_c[rows] >= limit)]
    if not under.size or under[-1] == rows[-1]:
        return None
    last = under[-1:]
    return moment(_crossings(hours.times, hours.leaf_c, last + 1, np.array([limit]))[0])


def _worth_until(hours: _Hours, limit: Array, back: Array) -> Array:
    """Return the latest start from which on `GAIN` is gathered until back [unix s].

    All (class,). limit : [°C]; NaN lets every hour count in full. An hour of which nothing is known
    counts nothing. -inf where the whole day does not bring so much.
    """
    times, classes = hours.times.astype(np.float64), np.arange(limit.size)
    if times.size < 2:
        return np.full(limit.shape, -np.inf)
    share = np.nan_to_num(np.clip((hours.leaf_c - limit[:, None]) / WARM_K, 0.0, 1.0), nan=0.0)
    share[np.isnan(limit)] = 1.0
    gained = np.zeros(share.shape)
    gained[:, 1:] = np.cumsum((share[:, 1:] + share[:, :-1]) / 2 * np.diff(times), axis=1)

    def interpolate(at: Array, known: Array, sought: Array) -> Array:
        """Return `sought` where `known`, both (class, row), has risen to `at` (class,)."""
        row = np.clip(np.sum(known <= at[:, None], axis=1) - 1, 0, times.size - 2)
        here, rise = known[classes, row], sought[classes, row + 1] - sought[classes, row]
        run = known[classes, row + 1] - here
        part = np.clip((at - here) / np.where(run > 0, run, 1.0), 0.0, 1.0)
        return np.asarray(sought[classes, row] + part * rise)

    clock = np.broadcast_to(times, gained.shape)
    back = np.where(np.isfinite(back), back, times[0])
    wanted = interpolate(back, clock, gained) - GAIN.total_seconds()
    return np.where(wanted >= 0, interpolate(wanted, gained, clock), -np.inf)


def _cold_again(hours: _Hours, since: Array, limit: Array) -> Array:
    """Return when the leaf falls under each limit after these moments [unix s].

    On the early side of the forecast. All (class,). Infinite where it does not by the next morning.
    """
    if not hours.times.size:
        return np.full(limit.shape, np.inf)
    cold = (hours.early_c < limit[:, None]) & (hours.times > since[:, None])
    falls = _crossings(hours.times, hours.early_c, np.argmax(cold, axis=1), limit)
    return np.where(cold.any(axis=1), falls, np.inf)


def _crossings(times: np.ndarray, leaf_c: Array, rows: np.ndarray, bound: Array) -> Array:
    """Return when a leaf (time,) [°C] crossed each bound on the way to its row [unix s].

    All (class,). The row's own moment where that is not known.
    """
    before = np.maximum(rows - 1, 0)
    bound = np.where(np.isfinite(bound), bound, np.nan)  # infinite where there is no limit
    return interpolate_crossing(
        times[before],
        times[rows],
        leaf_c[before] - bound,
        leaf_c[rows] - bound,
        otherwise=1.0,
    )
