"""Feeds and courses that pots are given with their watering: into the medium, so without a rinse.

A plant that is given something with its misting that day gets nothing with its watering.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta

import numpy as np

from sillward_rules.chore import Errand, Grounds
from sillward_rules.planners.day_films import DayFilms
from sillward_rules.planners.feeding import NOTHING, FeedPlan, growing_weather, strongest
from sillward_rules.planners.pot_watering import lowest_share
from sillward_rules.planners.scene.places import Places
from sillward_rules.planners.scene.pot_levels import levels_of
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.planners.solutions import Given, Solution, solutions_due
from sillward_rules.plants.feeds import WEAK_FEED

TOO_DRY = 0.5
"""A pot with less than this share of the water at which it is usually watered gets plain water, and
its feed with the next watering. Common practice, no source: "never feed a dry pot"; salts that meet
dry roots burn them. The bound is a judgement."""


@dataclass(frozen=True, slots=True, eq=False)
class PotFeeds:
    """What plants may be given with the watering of a day.

    - solutions: every feed and course that the grower has told of.
    - which (cohort,): the number of the solution that each gets, or `NOTHING`.
    """

    solutions: tuple[Solution, ...]
    which: np.ndarray

    def without(self, cohorts: np.ndarray) -> "PotFeeds":
        """Return it without these cohorts (cohort,), which get plain water."""
        return PotFeeds(self.solutions, np.where(cohorts, NOTHING, self.which))


def plan_pot_feeds(
    scene: Scene,
    places: Places,
    films: DayFilms,
    given: Given,
    plan: FeedPlan,
    waterings: Sequence[Errand],
) -> PotFeeds:
    """Return what plants are given with their watering: what is due, in growing weather.

    Only what the grower has told of: a weak feed of which nothing is known stays on leaves and
    bare roots, from where it is rinsed.

    plan: what they are given with their mistings. waterings: of the pots on that day.
    """
    nobody = np.full(plan.which.shape, NOTHING)
    watered = np.zeros(plan.which.shape, dtype=bool)
    watered[_cohorts(scene, (one.grounds for one in waterings if not one.turn))] = True
    if not watered.any():
        return PotFeeds((), nobody)
    able = watered & (plan.which == NOTHING) & ~_too_dry(scene)
    able &= growing_weather(scene, films, places.column) & _warm_roots(scene, places, films)
    solutions = tuple(
        replace(one, due=one.due & able)
        for one in solutions_due(scene, films, given)
        if one.what or scene.collection.feed is not None
    )
    if not solutions:
        return PotFeeds((), nobody)
    bearable = [one.due & np.isfinite(strongest(scene, one.ec)) for one in solutions]
    last = np.where(bearable, [one.last for one in solutions], np.inf)
    which = np.where(np.any(bearable, axis=0), last.argmin(axis=0), NOTHING)
    return PotFeeds(solutions, which)


def with_feeds(
    scene: Scene, waterings: Sequence[Errand], feeds: PotFeeds, flushed: Sequence[Errand] = ()
) -> list[Errand]:
    """Return the waterings, each with what it gives; without pots that are flushed that day."""
    wet = set(_cohorts(scene, (one.grounds for one in flushed)))
    if not wet and not (feeds.which != NOTHING).any():
        return list(waterings)
    told: list[Errand] = []
    for errand in waterings:
        if errand.turn:  # what dries later that day gets plain water
            told.append(errand)
            continue
        by_what: dict[str, list[int]] = {}
        cohorts = _cohorts(scene, [errand.grounds])
        for index, cohort in enumerate(cohorts):
            if cohort not in wet:
                by_what.setdefault(_name(feeds, cohort), []).append(index)
        told += [_part(errand, indices, what) for what, indices in by_what.items()]
    return told


def _part(errand: Errand, indices: Sequence[int], what: str) -> Errand:
    grounds = errand.grounds
    groups = [grounds.groups[index] for index in indices]
    some = Grounds(groups, lambda: [grounds.reasons[index] for index in indices])
    return replace(errand, grounds=some, what=what)


def _name(feeds: PotFeeds, cohort: int) -> str:
    number = int(feeds.which[cohort])
    return "" if number == NOTHING else feeds.solutions[number].what or WEAK_FEED


def _cohorts(scene: Scene, grounds: Iterable[Grounds]) -> list[int]:
    return [cohort for one in grounds for cohort in scene.cohorts_of(one).tolist()]


def _too_dry(scene: Scene) -> np.ndarray:
    """(cohort,) whether the pot has so little water left that a feed could burn roots.

    Also if the grower has found it dry since it was last counted.
    """
    seen = [any(look.word == "dry" for look in one.state.care.looks) for one in scene.cohorts]
    dry = np.array(seen, dtype=bool)
    levels = levels_of(scene)
    if levels is not None:
        dry[levels.cohorts] |= levels.now.share < TOO_DRY * lowest_share(levels)
    return dry


def _warm_roots(scene: Scene, places: Places, films: DayFilms) -> np.ndarray:
    """(cohort,) whether the day gets as warm as roots want, to take anything up.

    What is in a pot waits there until then.
    """
    rows = scene.rows(films.events.sunrise, films.events.sunset + timedelta(hours=1))
    if not rows.size:
        return np.zeros(places.column.shape, dtype=bool)
    warmest = scene.climate.temp_c[rows].max(axis=0)[places.column]
    return np.asarray(warmest >= scene.min_warmth(lambda warmth: warmth.root_from_c))
