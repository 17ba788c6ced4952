"""Shade, cover, secured baskets, damp floors: what rules ask for where a plant stands."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from sillward_rules.arrays import HOUR_S, Array
from sillward_rules.chore import ChoreKind, Errand, Reason
from sillward_rules.planners.errands import make_errands
from sillward_rules.planners.places import Places
from sillward_rules.planners.scene import Scene
from sillward_rules.plants.rule_firing import Firing
from sillward_rules.plants.rules import QUANTITIES
from sillward_rules.plants.state import LONG_STAY
from sillward_rules.weather.hourly import moment

KINDS: Mapping[str, ChoreKind] = {
    "shade": ChoreKind.SHADE,
    "secure": ChoreKind.SECURE,
    "cover": ChoreKind.COVER,
    "damp down": ChoreKind.DAMP_DOWN,
}
"""What a rule asks for, and the chore it becomes."""

AHEAD = timedelta(hours=1)
"""Done this long before the hour that fires: its value stands for the hour before it."""

RAMP_DAYS = 7
"""Over so many days the light may rise to what the plant stands. Common practice: a week or two."""

RAMP_START = 0.3
"""Share of that light on the first of these days. Judgement."""


OF_THE_SPOT = frozenset({ChoreKind.SHADE, ChoreKind.DAMP_DOWN})
"""What is no matter for plants that have left the spot for the day."""

AT_NIGHT = ("secure", "cover")
"""What the dusk round tells: the night has no sun to shade from."""


def protect(
    scene: Scene,
    places: Places,
    end: datetime,
    asked: Sequence[str] = tuple(KINDS),
    *,
    moved: np.ndarray | None = None,
) -> list[Errand]:
    """Errands for plants where they stand, in the first hour it counts.

    places : where, from when on and until when: what goes out later is safe until then, and what
    is in by then needs nothing. asked : what rules may ask for. moved (cohort,) : who is out of
    the day's sun and heat by then. Nothing is asked for on a forecast that is too old.
    """
    made: list[Errand] = []
    standing = places.column
    for asks in asked:
        firsts = first_hours(scene, asks, places, end)
        due = firsts.due
        if moved is not None and KINDS[asks] in OF_THE_SPOT:
            due = np.where(moved, np.inf, due)
        start = due - AHEAD.total_seconds() if KINDS[asks] is ChoreKind.DAMP_DOWN else None
        if start is not None:
            start = np.where(np.isfinite(start), np.maximum(start, firsts.begin), 0.0)
        cohorts = np.flatnonzero(np.isfinite(due))
        here = (standing, standing)
        made += _there(
            scene,
            places,
            make_errands(scene, KINDS[asks], cohorts, here, (start, due), firsts.reason),
        )
    return made


def _there(scene: Scene, places: Places, made: Sequence[Errand]) -> list[Errand]:
    """The same errands, with when the last of their plants is where they are done."""

    def since(errand: Errand) -> datetime:
        which = [scene.cohort_of[names[0]] for names in errand.grounds.groups]
        return moment(float(places.since[which].max()))

    return [replace(errand, out_from=since(errand)) for errand in made]


@dataclass(frozen=True, slots=True, eq=False)
class FirstHours:
    """By when what rules of a kind ask for must be done, and by which of them.

    due, begin, until (cohort,) [unix s], due infinite for never. firings: those that fire; hours
    (firing, cohort) the hour at which each does first [unix s], infinite for never.
    """

    scene: Scene
    begin: Array
    until: Array
    due: Array
    firings: tuple[Firing, ...]
    hours: Array
    rows: np.ndarray

    def reason(self, cohort: int) -> Reason:
        """The reason of the rule whose hour comes first, with those of the others."""
        hours = self.hours[:, cohort]
        times = self.scene.climate.times[self.rows]
        there = (times >= self.begin[cohort]) & _begun(times, self.until[cohort])
        later = self.rows[there]
        first, *others = (
            reason_of(self.scene, self.firings[number], cohort, later)
            for number in np.argsort(hours, kind="stable")[: int(np.isfinite(hours).sum())].tolist()
        )
        return replace(first, also=tuple(others))


def first_hours(scene: Scene, asks: str, places: Places, end: datetime) -> FirstHours:
    """The hours at which rules that ask for this fire first, for plants while they stand there."""
    standing, until = places.column, places.until
    begin = np.maximum(places.since, scene.now.timestamp())
    rows = scene.rows(moment(float(begin.min())), end) if begin.size else np.arange(0)
    asked = [] if scene.stale or not rows.size else scene.rules_asking(asks, standing)
    firings = tuple(one for one in asked if one.fires[rows].any())
    hours = np.full((len(firings), standing.size), np.inf)
    for number, firing in enumerate(firings):
        first = next_hours(scene.climate.times[rows], firing.fires[rows], firing, begin)
        hours[number] = np.where(_begun(first, until), first, np.inf)
    due = np.maximum(hours.min(axis=0, initial=np.inf) - AHEAD.total_seconds(), begin)
    return FirstHours(scene, begin, until, due, firings, hours, rows)


def _begun(times: Array, until: Array | float) -> np.ndarray:
    """Whether the hours that end at these times have begun by then [unix s]."""
    return np.asarray(times - HOUR_S < until)


def next_hours(times: np.ndarray, when: np.ndarray, firing: Firing, begin: Array) -> Array:
    """(cohort,) the first of these times, from `begin` on, at which it holds; infinite for never.

    when (time, class) : whether it holds, for the classes of a firing.
    """
    # The next row at or after each row; past the end for none.
    places = np.where(when, np.arange(times.size)[:, None], times.size)
    coming = np.minimum.accumulate(places[::-1], axis=0)[::-1]
    coming = np.concatenate([coming, np.full((1, coming.shape[1]), times.size)])
    first = coming[np.searchsorted(times, begin), firing.member]
    known = (first < times.size) & (firing.member >= 0)
    return np.where(known, times[np.minimum(first, times.size - 1)], np.inf)


def reason_of(scene: Scene, firing: Firing, cohort: int, rows: np.ndarray) -> Reason:
    """The worst hour of a rule that fires in some of these rows."""
    of_class = int(firing.member[cohort])
    fired = rows[firing.fires[rows, of_class]]
    values = firing.values[fired, of_class]
    worst = int(np.argmin(values) if firing.rule.direction == "below" else np.argmax(values))
    return Reason(
        plant=scene.cohorts[cohort].names[0],
        quantity=firing.rule.quantity,
        value=round(float(values[worst]), 2),
        unit=QUANTITIES[firing.rule.quantity].unit,
        # Its own limit, whatever the rule asks for beyond it.
        limit=round(float(firing.bound[fired[worst], of_class]) - firing.rule.bound.more, 6),
        at=moment(scene.climate.times[fired[worst]]),
        origin=firing.rule.origin_for(scene.traits.plants[cohort]),
        rule=firing.rule.name,
        above=firing.rule.direction == "above",
    )


def get_used_to_light(scene: Scene, places: Places, end: datetime) -> list[Errand]:
    """Shade for plants that came out into more light after a long stay in a dim shelter.

    On each day of the ramp they may have some more of the light that they stand in the end; the
    shade is due before the light at their spot goes beyond that.
    """
    if scene.stale:
        return []

    def rows_of(cohort: int) -> np.ndarray:
        rows = scene.rows(max(moment(places.since[cohort]), scene.now), end)
        begun = _begun(scene.climate.times[rows], places.until[cohort])
        return np.asarray(rows[begun])

    days = _days_of_ramp(scene, places)
    high = scene.traits.limits["light_high"]
    share = RAMP_START + (1 - RAMP_START) * (days - 1) / RAMP_DAYS
    allowed = share * high
    due = np.full(days.shape, np.inf)
    for cohort in np.flatnonzero((days > 0) & np.isfinite(high)).tolist():
        rows = rows_of(cohort)
        light = scene.climate.ppfd[rows, places.column[cohort]]
        over = np.flatnonzero(light > allowed[cohort])
        if over.size:
            first = scene.climate.times[rows[over[0]]] - AHEAD.total_seconds()
            due[cohort] = max(first, places.since[cohort], scene.now.timestamp())

    def reason(cohort: int) -> Reason:
        rows = rows_of(cohort)
        light = scene.climate.ppfd[rows, places.column[cohort]]
        brightest = int(np.nanargmax(light))
        limit = scene.traits.plants[cohort].limits.light_high
        origin = limit.origin if limit else ""
        return Reason(
            plant=scene.cohorts[cohort].names[0],
            quantity="ppfd",
            value=round(float(light[brightest])),
            unit="umol m-2 s-1",
            limit=round(float(allowed[cohort])),
            at=moment(scene.climate.times[rows[brightest]]),
            origin=f"day {days[cohort]} of {RAMP_DAYS} in brighter light; {origin}",
            above=True,
        )

    here = (places.column, places.column)
    cohorts = np.flatnonzero(np.isfinite(due))
    shade = make_errands(scene, ChoreKind.SHADE, cohorts, here, (None, due), reason)
    return _there(scene, places, shade)


def _days_of_ramp(scene: Scene, places: Places) -> np.ndarray:
    """(cohort,) which day in brighter light this is, from 1; 0 for who is used to it."""
    inside = scene.covered(scene.standing)
    days = np.zeros(places.column.shape, dtype=np.int64)
    for cohort in scene.cohorts:
        index, state = cohort.index, cohort.state
        if places.column[index] != scene.home[index]:
            continue
        out = moment(places.since[index])
        since = state.brighter_since
        if inside[index] and state.since is not None and out - state.since >= LONG_STAY:
            since = out  # it goes out today
        if since is not None:
            passed = (scene.site.local_date(out) - scene.site.local_date(since)).days
            days[index] = passed + 1 if 0 <= passed < RAMP_DAYS else 0
    return days
