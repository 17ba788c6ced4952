"""A day outside: from when on a plant may go out, and until when that is worth it."""

import math
from datetime import date, datetime, timedelta

import numpy as np

from sillward_rules.arrays import Array, group_rows
from sillward_rules.chore import Reason
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


class DaysOut:
    """A day outside, worked out once for all homes and all limits that plants have there.

    In the steps of `Scene.by_night`, from an hour before sunrise to the end of the next night.
    Arrays (class,) are of plants that share a home and a limit, and come with their spot columns.
    """

    def __init__(self, scene: Scene, day: date) -> None:
        self.scene = scene
        self.events = sun.day_events(scene.site, day)
        start, end = self.events.sunrise - timedelta(hours=1), sun.night_of(scene.site, day)
        rows = rows_from_to(scene.by_night.times, start, end.cold_until)
        self._times = scene.by_night.times[rows]
        """(row,) [unix s]."""
        self._by_day = self._times <= self.events.sunset.timestamp()
        leaf = np.minimum(scene.by_night.leaf_c[rows], scene.by_night.temp_c[rows]).T
        self._leaf_c = np.full(leaf.shape, np.nan) if scene.forecast_expired else leaf
        """(spot, row) the leaf, or the air where that is colder, because a leaf in the sun says
        little of its pot [°C]."""
        self._early_c = self._leaf_c + (scene.early_k[rows] * ~scene.holds_itself).T
        """(spot, row) the same on the early side of the forecast [°C]."""
        self._warmest: dict[int, tuple[float | None, datetime]] = {}
        self._above_from: dict[tuple[int, float], datetime | None] = {}

    def hours_of(self, cohorts: np.ndarray) -> tuple[Array, Array]:
        """Return when each cohort may go out, and when it is too cold for it again [unix s].

        Infinite for never.
        """
        home, limit = self.scene.home[cohorts], self.scene.lowest_limit_c[cohorts]
        first, groups = group_rows(home, limit)
        column, bound = home[first], limit[first]
        out = self._out_from(column, bound)
        return out[groups], self._cold_again(column, out, bound)[groups]

    def latest(self, cohorts: np.ndarray, back: Array) -> Array:
        """Return until when going out is worth it [unix s], if each must be back by then.

        back : of these cohorts [unix s]. -inf where it is never worth it.
        """
        worth = self.scene.habits.worth_going_out
        if worth is not None:
            return np.asarray(back - worth.total_seconds())
        home, limit = self.scene.home[cohorts], self.scene.lowest_limit_c[cohorts]
        first, groups = group_rows(home, limit, back)
        until = self._worth_until(home[first], limit[first], back[first])
        return np.asarray(until[groups])

    def warmest(self, cohort: int) -> Reason:
        """Return how warm the day gets at a cohort's home: why it may go out, or why not."""
        home = int(self.scene.home[cohort])
        value, at = self._warmest_of(home)
        limit = self.scene.traits.plants[cohort].limits.night_low
        key = home, math.inf if limit is None else limit.value
        if key not in self._above_from:
            self._above_from[key] = self._find_above_from(
                home, math.nan if limit is None else limit.value
            )
        return Reason(
            plant=self.scene.cohorts[cohort].names[0],
            quantity="leaf temperature",
            value=value,
            unit="°C",
            limit=limit.value if limit else None,
            at=at,
            origin=limit.origin if limit else "",
            crosses_at=self._above_from[key],
        )

    def _warmest_of(self, home: int) -> tuple[float | None, datetime]:
        """Return the highest temperature of a home by day [°C], and when; None if not known."""
        if home not in self._warmest:
            value, at, by_day = None, self.events.sunrise, self._leaf_c[home, self._by_day]
            if np.isfinite(by_day).any():
                index = int(np.nanargmax(by_day))
                value, at = round(float(by_day[index]), 2), moment(self._times[index])
            self._warmest[home] = value, at
        return self._warmest[home]

    def _find_above_from(self, home: int, limit: float) -> datetime | None:
        """Return from when on the leaf is above a limit until the warmest moment of the day.

        None where it is not, or is so from the start.
        """
        rows = np.flatnonzero(self._times <= self._warmest_of(home)[1].timestamp())
        under = rows[~(self._leaf_c[home, rows] >= limit)]
        if not under.size or under[-1] == rows[-1]:
            return None
        column, bound = np.array([home]), np.array([limit])
        return moment(self._crossings(self._leaf_c, column, under[-1:] + 1, bound)[0])

    def _out_from(self, column: np.ndarray, limit: Array) -> Array:
        """Return when the leaf has been above each limit by the margin for long enough [unix s].

        On the early side of the forecast it must be above the limit itself.

        limit (class,) : [°C]; NaN for none. By day, and not before now; infinite for never.
        """
        habits, times = self.scene.habits, self._times
        if not times.size:
            return np.full(limit.shape, np.inf)
        bound = np.where(np.isnan(limit), -np.inf, limit)
        surely_c = np.minimum(self._leaf_c - habits.out_margin_k, self._early_c)
        warm = surely_c[column] >= bound[:, None]
        ends = np.searchsorted(times, times + habits.out_after.total_seconds())
        cold = np.where(warm, times.size, np.arange(times.size))
        next_cold = np.minimum.accumulate(cold[:, ::-1], axis=1)[:, ::-1]
        lasts = (next_cold > ends) & ((ends < times.size) & self._by_day)
        since = self._crossings(surely_c, column, np.argmax(lasts, axis=1), bound)
        since = np.maximum(since, self.events.sunrise.timestamp())
        out = np.maximum(since + habits.out_after.total_seconds(), self.scene.now.timestamp())
        return np.where(lasts.any(axis=1), out, np.inf)

    def _worth_until(self, column: np.ndarray, limit: Array, back: Array) -> Array:
        """Return the latest start from which on `GAIN` is gathered until back [unix s].

        All (class,). limit : [°C]; NaN lets every hour count in full. An hour of which nothing is
        known counts nothing. -inf where the whole day does not bring so much.
        """
        times, classes = self._times.astype(np.float64), np.arange(limit.size)
        if times.size < 2:
            return np.full(limit.shape, -np.inf)
        share = np.clip((self._leaf_c[column] - limit[:, None]) / WARM_K, 0.0, 1.0)
        share = np.where(np.isnan(share), 0.0, share)
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

    def _cold_again(self, column: np.ndarray, since: Array, limit: Array) -> Array:
        """Return when the leaf falls under each limit after these moments [unix s].

        On the early side of the forecast. All (class,). Infinite where it does not by the next
        morning.
        """
        if not self._times.size:
            return np.full(limit.shape, np.inf)
        cold = self._early_c[column] < limit[:, None]
        cold &= self._times > since[:, None]
        falls = self._crossings(self._early_c, column, np.argmax(cold, axis=1), limit)
        return np.where(cold.any(axis=1), falls, np.inf)

    def _crossings(
        self, leaf_c: Array, column: np.ndarray, rows: np.ndarray, bound: Array
    ) -> Array:
        """Return when a leaf (spot, row) [°C] crossed each bound on the way to its row [unix s].

        All (class,). The row's own moment where that is not known.
        """
        before = np.maximum(rows - 1, 0)
        bound = np.where(np.isfinite(bound), bound, np.nan)  # infinite where there is no limit
        return interpolate_crossing(
            self._times[before],
            self._times[rows],
            leaf_c[column, before] - bound,
            leaf_c[column, rows] - bound,
            otherwise=1.0,
        )
