"""Shade, cover, secured baskets, damp floors: what rules ask for where a plant stands."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from sillward_rules.arrays import HOUR_S, Array
from sillward_rules.chore import ChoreKind, Errand, Reason
from sillward_rules.planners.scene.errands import make_errands
from sillward_rules.planners.scene.places import Places
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.plants.rule_firing import Firing
from sillward_rules.plants.rules import QUANTITIES
from sillward_rules.weather.hourly import moment

KINDS: Mapping[str, ChoreKind] = {
    "shade": ChoreKind.SHADE,
    "secure": ChoreKind.SECURE,
    "cover": ChoreKind.COVER,
    "damp down": ChoreKind.DAMP_DOWN,
}
"""What a rule asks for, and the chore it becomes."""

AHEAD = timedelta(hours=1)
"""Chores are done this long before the hour that fires: its value is for the hour before it."""

OF_THE_SPOT = frozenset({ChoreKind.SHADE, ChoreKind.DAMP_DOWN})
"""Chores that do not matter to plants that have left the spot for the day."""

AT_NIGHT = ("secure", "cover")
"""What the dusk round tells: at night there is no sun to shade from."""


def protect(
    scene: Scene,
    places: Places,
    end: datetime,
    asked: Sequence[str] = tuple(KINDS),
    *,
    moved: np.ndarray | None = None,
) -> list[Errand]:
    """Return errands for plants where they stand, due before the first hour that fires.

    places : where they stand, and from when until when: a plant that goes out later is safe until
    then, and one that is in by then needs nothing. asked : what rules may ask for. moved (cohort,)
    : whether it is out of the day's sun and heat by then. No errands on a forecast that is too old.
    """
    errands: list[Errand] = []
    here = (places.column, places.column)
    for asks in asked:
        kind = KINDS[asks]
        firsts = find_first_hours(scene, asks, places, end)
        due = firsts.due
        if moved is not None and kind in OF_THE_SPOT:
            due = np.where(moved, np.inf, due)
        start = due - AHEAD.total_seconds() if kind is ChoreKind.DAMP_DOWN else None
        if start is not None:
            start = np.where(np.isfinite(start), np.maximum(start, firsts.begin), 0.0)
        cohorts = np.flatnonzero(np.isfinite(due))
        made = make_errands(scene, kind, cohorts, here, (start, due), firsts.reason)
        errands += with_out_from(scene, places, made)
    return errands


def with_out_from(scene: Scene, places: Places, errands: Sequence[Errand]) -> list[Errand]:
    """Return the same errands, each with when the last of its plants is where it is done."""

    def out_from(errand: Errand) -> datetime:
        cohorts = [scene.cohort_of[names[0]] for names in errand.grounds.groups]
        return moment(float(places.since[cohorts].max()))

    return [replace(errand, out_from=out_from(errand)) for errand in errands]


@dataclass(frozen=True, slots=True, eq=False)
class FirstHours:
    """By when what rules of a kind ask for must be done, and which of them asks for it.

    begin, until, due (cohort,) : from when and until when plants are there, and by when it must be
    done [unix s]; due is infinite for never. firings : of the rules that fire. hours (firing,
    cohort) : the hour at which each fires first [unix s], infinite for never. rows : of the climate
    in this span.
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
    """Find when rules that ask for this fire first, for plants while they stand in their places."""
    standing, until = places.column, places.until
    begin = np.maximum(places.since, scene.now.timestamp())
    rows = scene.rows(moment(float(begin.min())), end) if begin.size else np.arange(0)
    asking = [] if scene.stale or not rows.size else scene.rules_asking(asks, standing)
    firings = tuple(firing for firing in asking if firing.fires[rows].any())
    hours = np.full((len(firings), standing.size), np.inf)
    for number, firing in enumerate(firings):
        first = next_hours(scene.climate.times[rows], firing.fires[rows], firing, begin)
        hours[number] = np.where(have_begun(first, until), first, np.inf)
    due = np.maximum(hours.min(axis=0, initial=np.inf) - AHEAD.total_seconds(), begin)
    return FirstHours(scene, begin, until, due, firings, hours, rows)


def have_begun(times: Array, until: Array | float) -> np.ndarray:
    """Whether the hours that end at these times have begun by then [unix s]."""
    return np.asarray(times - HOUR_S < until)


def next_hours(times: np.ndarray, when: np.ndarray, firing: Firing, begin: Array) -> Array:
    """(cohort,) the first of these times, from `begin` on, at which a mask holds [unix s].

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
