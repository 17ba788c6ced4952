"""When rules first fire for plants where they stand, and the reason that this gives a chore."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from sillward_rules.arrays import HOUR_S, Array
from sillward_rules.chore import Errand, Reason
from sillward_rules.planners.scene.places import Places
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.plants.rule_firing import Firing
from sillward_rules.plants.rules import QUANTITIES
from sillward_rules.weather.hourly import moment

LEAD = timedelta(hours=1)
"""What guards plants by day is due this long before the hour that fires. The value of an hour is
for the time that ends with it."""


def with_out_from(scene: Scene, places: Places, errands: Sequence[Errand]) -> list[Errand]:
    """Return the same errands, each with the time from which all of its plants are there."""

    def out_from(errand: Errand) -> datetime:
        return moment(float(places.since[scene.cohorts_of(errand.grounds)].max()))

    return [replace(errand, out_from=out_from(errand)) for errand in errands]


@dataclass(frozen=True, slots=True, eq=False)
class FirstHours:
    """By when something that rules ask for must be done, and which of the rules asks for it.

    - begin, until (cohort,): from when and until when the plants are there [unix s].
    - due (cohort,): by when it must be done [unix s]; infinite for never.
    - firings: the rules that fire.
    - hours (firing, cohort): the hour at which each first fires [unix s]; infinite for never.
    - rows: the rows of the climate in this span.
    """

    scene: Scene
    begin: Array
    until: Array
    due: Array
    firings: tuple[Firing, ...]
    hours: Array
    rows: np.ndarray

    def reason(self, cohort: int) -> Reason:
        """Return the reason of the rule whose hour comes first, with those of the others."""
        hours = self.hours[:, cohort]
        times = self.scene.climate.times[self.rows]
        there = (times >= self.begin[cohort]) & have_begun(times, self.until[cohort])
        later = self.rows[there]
        first, *others = (
            worst_reason(self.scene, self.firings[number], cohort, later)
            for number in np.argsort(hours, kind="stable")[: int(np.isfinite(hours).sum())].tolist()
        )
        return replace(first, also=tuple(others))


def find_first_hours(scene: Scene, asks: str, places: Places, end: datetime) -> FirstHours:
    """Find when rules that ask for this first fire, for plants while they stand in their places."""
    standing, until = places.column, places.until
    begin = np.maximum(places.since, scene.now.timestamp())
    rows = scene.rows(moment(float(begin.min())), end) if begin.size else np.arange(0)
    asking: list[Firing] = []
    if rows.size and not scene.forecast_expired:
        span = slice(int(rows[0]), int(rows[-1]) + 1)
        if scene.may_ask(asks, standing, span):
            asking = scene.rules_asking(asks, standing)
    firings = tuple(firing for firing in asking if firing.fires[rows].any())
    hours = np.full((len(firings), standing.size), np.inf)
    for number, firing in enumerate(firings):
        first = next_hours(scene.climate.times[rows], firing.fires[rows], firing, begin)
        hours[number] = np.where(have_begun(first, until), first, np.inf)
    due = np.maximum(hours.min(axis=0, initial=np.inf) - LEAD.total_seconds(), begin)
    return FirstHours(scene, begin, until, due, firings, hours, rows)


def have_begun(times: Array, until: Array | float) -> np.ndarray:
    """Return whether the hours that end at these times have begun by then [unix s]."""
    return np.asarray(times - HOUR_S < until)


def next_hours(times: np.ndarray, when: np.ndarray, firing: Firing, begin: Array) -> Array:
    """(cohort,) the first of these times, from `begin` on, at which a mask is true [unix s].

    when (time, class) : the mask, for the classes of a firing. Infinite for never.
    """
    # The next row at or after each row; past the end for none.
    rows = np.where(when, np.arange(times.size)[:, None], times.size)
    coming = np.minimum.accumulate(rows[::-1], axis=0)[::-1]
    coming = np.concatenate([coming, np.full((1, coming.shape[1]), times.size)])
    first = coming[np.searchsorted(times, begin), firing.member]
    known = (first < times.size) & (firing.member >= 0)
    return np.where(known, times[np.minimum(first, times.size - 1)], np.inf)


def worst_reason(scene: Scene, firing: Firing, cohort: int, rows: np.ndarray) -> Reason:
    """Return the worst hour of a rule that fires for a cohort in some of these rows."""
    of_class = int(firing.member[cohort])
    fired = rows[firing.fires[rows, of_class]]
    values = firing.values[fired, of_class]
    worst = int(np.argmin(values) if firing.rule.direction == "below" else np.argmax(values))
    return Reason(
        plant=scene.cohorts[cohort].names[0],
        quantity=firing.rule.quantity,
        value=round(float(values[worst]), 2),
        unit=QUANTITIES[firing.rule.quantity].unit,
        # The plant's own limit, without what the rule adds to it.
        limit=round(float(firing.bound[fired[worst], of_class]) - firing.rule.bound.more, 6),
        at=moment(scene.climate.times[fired[worst]]),
        origin=firing.rule.origin_for(scene.traits.plants[cohort]),
        rule=firing.rule.name,
        above=firing.rule.direction == "above",
    )
