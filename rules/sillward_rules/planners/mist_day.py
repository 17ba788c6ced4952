"""A day of misting for one kind of roots at one spot: how often, when, in which hours.

`MistDay` finds the best hours. Where the grower has no time for them it finds the plan that leaves
roots dry least.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import combinations, pairwise

import numpy as np

from sillward_rules.planners.day_films import SpotFilms
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.plants.plant import Holder
from sillward_rules.trips import MIN_WINDOW

DRY_TOLERANCE_KPA_H: Mapping[Holder, float] = {
    "mount": 9.0,
    "basket": 12.0,
    "moss": 24.0,
    "pot": 48.0,
}
"""How much drying roots stand between two mistings: deficit times hours dry [kPa h].

Judgement: at the 3 to 4 kPa of a hot dry noon a bare root on a mount may hang dry for two and a
half hours, and in milder air the longer the more slowly it dries. Moss and pots hold water of
their own: moss for most of such a day, a pot for longer."""

TOO_DRY_WINDOW = timedelta(hours=1)
"""Where no film lasts long enough even at dawn, plants are misted within this time all the same."""

REPEAT_SLACK = timedelta(hours=1)
"""A repeated misting may come this much before or after its hour, so that trips can be joined."""

GRID = timedelta(minutes=30)
"""Step in which the grower's hours are searched for a plan."""

MAX_CHOICES = 12
"""More moments than this are thinned out, because all combinations of them are tried."""


@dataclass(frozen=True, slots=True)
class Misting:
    """One misting: its window, and how long its film lasts.

    - at: the moment whose film is shown to the grower; for the first misting of a day, an hour
      after the window, when the film would be too short.
    - film_h: how long the film on a leaf lasts that is wetted then [h]; infinite if it outlasts the
      day.
    - takes: whether a film of this window lasts the uptake time, so that feed can be taken up.
    """

    opens: datetime
    closes: datetime
    at: datetime
    film_h: float
    takes: bool


@dataclass(frozen=True, slots=True)
class Plan:
    """The mistings of a day, and the longest dry time that the grower's hours leave too long."""

    mistings: tuple[Misting, ...] = ()
    missed: tuple[datetime, ...] = ()
    """When mistings would be due for which the grower has no hour."""
    dry: tuple[datetime, datetime] | None = None


def uptake(scene: Scene, *, velamen: bool) -> timedelta:
    """Return how long the film on a leaf must last.

    Where bare velamen takes water and feed up, the leaf need only stay wet until the rinse.
    """
    return scene.habits.velamen_uptake if velamen else scene.habits.leaf_uptake


@dataclass(frozen=True, slots=True)
class Roots:
    """What matters about a plant for its misting."""

    holder: Holder
    velamen: bool


class MistDay:
    """Plans the day of one kind of roots at one spot.

    - last: until when they may be wetted.
    - need: until when they need water; not after `last`.
    - misted_at: when the grower says that they were misted today, or None.
    """

    def __init__(
        self,
        scene: Scene,
        films: SpotFilms,
        roots: Roots,
        *,
        last: datetime,
        need: datetime,
        misted_at: datetime | None,
    ) -> None:
        self.scene = scene
        self.films = films
        self.roots = roots
        self.tolerance = DRY_TOLERANCE_KPA_H[roots.holder]
        self.life = films.velamen if roots.velamen else films.leaf
        self.last = last
        self.need = need
        self.misted_at = misted_at
        self.max_mistings = scene.habits.mistings_most

    def plan(self, start: datetime) -> Plan:
        """Return the day's mistings: at their best hours, or in the hours that the grower has."""
        if math.isnan(self.films.at(self.films.leaf, start)):
            return Plan()
        first = self._first(start)
        begun = self.misted_at is not None or self._rains_in_window(first)
        repeats = self._repeats(self.misted_at or first.opens)
        best = _without_overlap([*([] if begun else [first]), *repeats])
        if not self.scene.habits.hours or not best:
            return Plan(best)
        slots = self._slots(start)
        fitted = [self._fitted(misting, slots) for misting in best]
        if all(fitted):
            return Plan(tuple(misting for misting in fitted if misting is not None))
        return self._least_bad(start, first, best, slots)

    # -- the best hours

    def _first(self, start: datetime) -> Misting:
        """Return the first misting; its window is open while a film lasts long enough."""
        end, takes = self._window(start)
        closes = min(end, self.last)
        # The film is shown for an hour after the window, or for its start if it never opens.
        at = closes + timedelta(hours=1) if takes else start
        return Misting(start, closes, at, self.films.at(self.films.leaf, at), takes)

    def _window(self, start: datetime) -> tuple[datetime, bool]:
        """Return until when a misting from `start` on lasts long enough, and if it ever does."""
        films = self.films
        enough = films.enough(uptake(self.scene, velamen=self.roots.velamen), self.roots.velamen)
        first = films.index(start)
        if not enough[first]:
            return start + TOO_DRY_WINDOW, False
        after = first + int(enough[first:].argmin())
        end = films.events.sunset if enough[after] else films.starts_at(after)
        if end < start + MIN_WINDOW:
            return start + TOO_DRY_WINDOW, False
        return end, True

    def _rains_in_window(self, first: Misting) -> bool:
        """Whether rain wets the plants in the window of the first misting."""
        if not self.films.rains:
            return False
        window = slice(self.films.index(first.opens), self.films.index(first.closes))
        return bool(self.films.rained_on[window].any())

    def _repeats(self, at: datetime) -> list[Misting]:
        """Return the mistings after one at this moment."""
        repeats: list[Misting] = []
        while len(repeats) < self.max_mistings - 1:
            wet_until = self._wet_until(at)
            due = None if wet_until is None else self.films.dried_out(wet_until, self.tolerance)
            if wet_until is None or due is None or due > self.need:
                return repeats
            rained = self._last_rain(at, due)
            if rained is not None:
                at = rained
                continue
            # Not before the last one has dried, however early the trip.
            opens = max(due - REPEAT_SLACK, wet_until, self.scene.now)
            closes = min(max(due, self.scene.now) + REPEAT_SLACK, self.last)  # overdue is due now
            if opens + MIN_WINDOW > closes:
                return repeats
            repeats.append(self._repeat(opens, closes, due))
            at = max(due, self.scene.now)
        return repeats

    def _repeat(self, opens: datetime, closes: datetime, at: datetime) -> Misting:
        return Misting(opens, closes, at, self.films.at(self.films.leaf, at), takes=False)

    def _wet_until(self, at: datetime) -> datetime | None:
        """Return until when roots wetted now stay wet; None: not known, or beyond the day."""
        hours = self.films.at(self.life, at)
        return at + timedelta(hours=hours) if math.isfinite(hours) else None

    def _last_rain(self, start: datetime, end: datetime) -> datetime | None:
        """Return the end of the last rain that wets the roots between these moments, or None."""
        if not self.films.rains:
            return None
        first, after = self.films.index(start) + 1, self.films.index(end)
        rained = np.flatnonzero(self.films.rained_on[first:after])
        return self.films.starts_at(first + int(rained[-1])) if rained.size else None

    def _rains(self, start: datetime, end: datetime) -> list[datetime]:
        """Return the ends of the rains that wet the roots between these moments."""
        rained = self.films.rained_on
        stops = np.flatnonzero(rained[:-1] & ~rained[1:])
        ends = [self.films.starts_at(int(step)) for step in stops]
        return [at for at in ends if start <= at <= end]

    # -- the hours that the grower has

    def _slots(self, start: datetime) -> list[tuple[datetime, datetime]]:
        """Return the grower's hours from this moment to the last wetting."""
        films = self.films
        free = (films.starts >= start.timestamp()) & (films.starts <= self.last.timestamp())
        free &= films.day_air.free & ~films.rained_on  # no misting in the rain
        edges = np.flatnonzero(np.diff(np.concatenate([[False], free, [False]])))
        spans = zip(edges[::2], edges[1::2] - 1, strict=True)
        slots = [(films.starts_at(int(first)), films.starts_at(int(last))) for first, last in spans]
        return [(opens, closes) for opens, closes in slots if opens + MIN_WINDOW <= closes]

    def _fitted(
        self, misting: Misting, slots: Sequence[tuple[datetime, datetime]]
    ) -> Misting | None:
        """Return the misting within the first slot that leaves it a window; None if none does."""
        for opens, closes in slots:
            start, end = max(opens, misting.opens), min(closes, misting.closes)
            if start + MIN_WINDOW <= end:
                at = misting.at if misting.takes else min(max(misting.at, start), end)
                film = self.films.at(self.films.leaf, at)
                return Misting(start, end, at, film, misting.takes)
        return None

    def _least_bad(
        self,
        start: datetime,
        first: Misting,
        best: Sequence[Misting],
        slots: Sequence[tuple[datetime, datetime]],
    ) -> Plan:
        """Return the plan within the slots whose driest time is shortest, and what it misses."""
        choices = [at for slot in slots for at in _grid(*slot)]
        while len(choices) > MAX_CHOICES:
            choices = choices[::2]
        left = self.max_mistings - (self.misted_at is not None)
        size = min(left, len(best) + 1, len(choices))
        plans = (plan for count in range(size + 1) for plan in combinations(choices, count))
        chosen = min(plans, key=lambda plan: self._cost(start, plan))
        mistings = []
        for at in chosen:
            opens, closes = next(slot for slot in slots if slot[0] <= at <= slot[1])
            opens, closes = max(opens, at - GRID), min(closes, at + GRID)
            takes = first.takes and at == chosen[0] and opens + MIN_WINDOW <= first.closes
            closes = min(closes, first.closes) if takes else closes
            film = self.films.at(self.films.leaf, at)
            mistings.append(Misting(opens, closes, at, film, takes))
        dry, dose = self._driest(start, chosen)
        missed = tuple(
            misting.at
            for misting in best
            if not misting.takes and self._fitted(misting, slots) is None
        )
        apart = _without_overlap(mistings)
        if dose <= self.tolerance or dry is None:
            return Plan(apart)
        return Plan(apart, missed, dry)

    def _cost(self, start: datetime, plan: Sequence[datetime]) -> tuple[float, int]:
        """Return how far the driest time exceeds the tolerance [kPa h], and the number of trips."""
        _, dose = self._driest(start, plan)
        return max(0.0, dose - self.tolerance), len(plan)

    def _driest(
        self, start: datetime, plan: Sequence[datetime]
    ) -> tuple[tuple[datetime, datetime] | None, float]:
        """Return the time between mistings in which roots dry most, and by how much [kPa h]."""
        spans = []
        dry_from: datetime | None = start
        done = [] if self.misted_at is None else [self.misted_at]
        for at in (*sorted((*plan, *done, *self._rains(start, self.need))), None):
            if dry_from is not None:
                until = self.need if at is None else min(at, self.need)
                spans.append((self.films.dose(dry_from, until), dry_from, until))
            if at is not None:
                dry_from = self._wet_until(at)
        known = [span for span in spans if np.isfinite(span[0])]
        if not known:
            return None, 0.0
        dose, opens, closes = max(known)
        return (opens, closes), dose


def _without_overlap(mistings: Sequence[Misting]) -> tuple[Misting, ...]:
    """Return the mistings with windows that do not overlap."""
    apart: list[Misting] = []
    for misting, following in pairwise([*mistings, None]):
        if misting is None:
            continue
        opens, closes = misting.opens, misting.closes
        if apart:
            opens = max(opens, apart[-1].closes)
        if following is not None and following.opens < closes:
            closes = max(following.opens, opens + MIN_WINDOW)
        if opens + MIN_WINDOW <= closes:
            same = (opens, closes) == (misting.opens, misting.closes)
            apart.append(misting if same else replace(misting, opens=opens, closes=closes))
    return tuple(apart)


def _grid(opens: datetime, closes: datetime) -> list[datetime]:
    """Return moments from opens to closes, both included."""
    count = int((closes - opens) / GRID)
    return sorted({*(opens + GRID * number for number in range(count + 1)), closes})
