"""Where plants stood in a night, from moment to moment, and how warm their leaves were there.

Plants are taken in classes: those of one kind that were carried alike and were told the same.
Arrays are (class,), (moment, ...) or (interval, class): an interval lies between two moments, and
in it a plant stands at one spot.
"""

from dataclasses import dataclass

import numpy as np

from sillward_rules.arrays import Array, group_rows
from sillward_rules.replay.grower import Places, Step
from sillward_rules.weather.climate import Climate
from sillward_rules.weather.hourly import between

_NOT_CARRIED = -2
"""Stands for no spot at all where steps are compared; `NO_SPOT` is -1."""


@dataclass(frozen=True, slots=True, eq=False)
class Classes:
    """Plants in classes.

    - of (plant,): the class of each.
    - first (class,): the first plant of each.
    - start (class,): the spot column at which each begins the night.
    - steps: when classes are carried [unix s], which, and to which column; in order.
    """

    of: np.ndarray
    first: np.ndarray
    start: np.ndarray
    steps: tuple[Step, ...]

    @classmethod
    def of_plants(cls, places: Places, *alike: np.ndarray) -> "Classes":
        """Return the classes of plants that stood at the same places all night.

        alike (plant,): in what else the plants of a class agree.
        """
        taken = []
        for step in places.steps:
            to = np.full(places.at_start.shape, _NOT_CARRIED, dtype=np.int64)
            to[step.plants] = step.column
            taken.append(to)
        first, of = group_rows(places.at_start, *taken, *alike)
        steps = tuple(
            Step(step.at, np.flatnonzero(to[first] != _NOT_CARRIED), step.column)
            for step, to in zip(places.steps, taken, strict=True)
        )
        return cls(of, first, places.at_start[first], steps)


@dataclass(frozen=True, slots=True, eq=False)
class Track:
    """The way of the classes through a night.

    - times (moment,): those of the climate, and those at which plants were carried [unix s].
    - place (interval, class): the spot column.
    - leaf_c (moment, spot): the true leaf at every spot [°C].
    - before_c, after_c (interval, class): the leaf where each stood, at both ends [°C].
    """

    times: Array
    place: np.ndarray
    leaf_c: Array
    before_c: Array
    after_c: Array

    @classmethod
    def of(cls, classes: Classes, climate: Climate, rows: np.ndarray) -> "Track":
        """Follow the classes through some rows of the climate."""
        times, leaf = climate.times[rows].astype(np.float64), climate.leaf_c[rows]
        inside = [step.at for step in classes.steps if times[0] < step.at < times[-1]]
        more = np.setdiff1d(np.array(inside), times)
        if more.size:
            leaf = np.concatenate([leaf, between(times, leaf, more)])
            times = np.concatenate([times, more])
            order = np.argsort(times, kind="stable")
            times, leaf = times[order], leaf[order]
        place = np.broadcast_to(classes.start, (times.size - 1, classes.start.size)).copy()
        for step in classes.steps:
            place[np.searchsorted(times, step.at) :, step.plants] = step.column
        before = np.take_along_axis(leaf[:-1], place, axis=1)
        after = np.take_along_axis(leaf[1:], place, axis=1)
        return cls(times, place, leaf, before, after)

    @property
    def lower_c(self) -> Array:
        """(interval, class) the lower of both ends [°C]."""
        return np.minimum(self.before_c, self.after_c)

    @property
    def step_h(self) -> Array:
        """(interval, 1) how long each interval is [h]."""
        return np.diff(self.times)[:, None] / 3600.0

    def within(self, start: float, end: float) -> np.ndarray:
        """(interval,) whether an interval lies between two moments [unix s]."""
        return np.asarray((self.times[:-1] >= start) & (self.times[1:] <= end))

    def interval_of(self, moments: np.ndarray) -> np.ndarray:
        """Return the interval that begins with or holds each of these moments [unix s]."""
        found = np.searchsorted(self.times, moments, side="right") - 1
        return np.clip(found, 0, self.times.size - 2)
