"""How strong feeds and courses may be for their plants, and which are too strong to be given.

A mix is too strong beyond the salt limit of a plant. A film of it gets stronger as it dries, so
that one just within the limit passes it, on most mornings, before it is taken up: what can be given
is less.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Literal

import numpy as np

from sillward_rules.arrays import Array
from sillward_rules.planners.day_films import DayFilms
from sillward_rules.planners.feeding import RINSE_AT, FeedPlan, find_windows, strongest
from sillward_rules.planners.mist import DayPlans
from sillward_rules.planners.scene.places import Places
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.plants.collection import Collection, Habits
from sillward_rules.plants.feeds import Course, Feed
from sillward_rules.plants.plant import Traits
from sillward_rules.remark import CourseTooStrong, FeedTooStrong
from sillward_rules.weather.season import Season

MOST_LOSS = 1 - 1 / RINSE_AT
"""The share of a film that has dried when the rinse is due, however weak the mix is."""

ROOT_LOSS, LEAF_LOSS = 0.29 / 15, MOST_LOSS / 45
"""The share of a film that dries in a minute, in bare velamen and on a leaf, on the drier mornings
on which plants are fed [1/min]. By the recorded weathers of the packaged example: in a dry summer
a film in velamen that may get 1.4 times as strong (0.29 lost in 15 min) can be given whenever any
can, one that may get 1.3 times as strong half as often, with 1.2 never. A film on a leaf lasts long
enough on the most humid mornings alone, and loses up to half even then."""

TooStrong = FeedTooStrong | CourseTooStrong

Why = Literal["nobody", "days", "strong", "rest", "pots"]
"""Why something goes with no misting of a week: it is for no plant, it is not its time of the year,
it is too strong, its plants rest, or get it with the water of their pots."""


@dataclass(frozen=True, slots=True)
class NotGiven:
    """Why something goes with no misting of a week, and its days of each year if those are why."""

    why: Why
    days: str = ""


Seen = tuple[Sequence[np.ndarray], Sequence[np.ndarray]]
"""For each feed and then each course those that are too strong, and those that dry too strong, each
(plant,) of some traits."""


def all_given(collection: Collection) -> list[Feed | Course]:
    """Return every feed and course, in the order in which they are numbered."""
    return [*collection.all_feeds, *collection.courses]


def meant_for(collection: Collection, traits: Traits) -> list[np.ndarray]:
    """Return for each feed and course which plants it is for, (plant,) of these traits."""
    chosen = [one.plants.among(traits) for one in all_given(collection)]
    named = len(collection.feeds)
    if len(collection.all_feeds) > named:  # the feed of all that have no other
        for own in chosen[:named]:
            chosen[named] = chosen[named] & ~own
    return chosen


def bearable_ec(one: Feed | Course, traits: Traits, habits: Habits) -> Array:
    """Return the EC up to which something can be given on a usual morning [mS/cm], (plant,).

    That is the plant's limit for what is poured into pots, and less for a film. NaN without limit.
    """
    poured = np.array([plant.pot is not None for plant in traits.plants], dtype=bool)
    poured |= traits.holder == "pot"
    after = one.rinse_after if isinstance(one, Course) else None
    root, leaf = (
        min(MOST_LOSS, loss * (uptake if after is None else after) / timedelta(minutes=1))
        for loss, uptake in ((ROOT_LOSS, habits.velamen_uptake), (LEAF_LOSS, habits.leaf_uptake))
    )
    lost = np.where(poured, 0.0, np.where(traits.velamen, root, leaf))
    return np.asarray(traits.limits["salt_high"] * (1 - lost))


def too_strong_for(collection: Collection, day: date) -> list[TooStrong]:
    """Return which plants something is too strong for, whatever the weather, from a day on.

    Also those for which it is seldom weak enough; without the courses that are over by their date.
    """
    traits, habits = collection.traits, collection.habits
    limit = traits.limits["salt_high"]
    beyond, dries = [], []
    for one, chosen in zip(all_given(collection), meant_for(collection, traits), strict=True):
        over = isinstance(one, Course) and one.until is not None and one.until < day
        chosen = chosen & (not over)
        beyond.append(chosen & (one.ec > limit))
        dries.append(chosen & (one.ec <= limit) & (one.ec > bearable_ec(one, traits, habits)))
    names = {name: index for index, kind in enumerate(collection.names) for name in kind}

    def names_of(kinds: Sequence[int]) -> tuple[str, ...]:
        return tuple(plant.name for plant in collection.plants if names[plant.name] in kinds)

    return _remarks(collection, traits, (beyond, dries), names_of)


def dry_too_strong(
    scene: Scene, places: Places, planned: DayPlans, films: DayFilms, plan: FeedPlan
) -> list[np.ndarray]:
    """Return for each feed and course who is not given it on a day as its film dries too strong.

    That is (cohort,) each; a weaker mix could have been given.
    """
    found = []
    for number, solution in enumerate(plan.solutions):
        may = strongest(scene, solution.ec)
        due = solution.due & np.isfinite(may) & (may < RINSE_AT) & (plan.which != number)
        for ec, could in ((solution.ec, False), (0.0, True)):
            if due.any():
                asked = replace(solution, due=due, ec=ec)
                opens, _, _ = find_windows(scene, places, planned, films, asked)
                due = due & (np.isfinite(opens) == could)
        found.append(due)
    return found


def too_strong_in_week(
    scene: Scene, days: Sequence[date], dried: Sequence[np.ndarray], fed: Sequence[np.ndarray]
) -> list[TooStrong]:
    """Return which plants something is too strong for in a week; none that rest.

    - dried: for each feed and course, who is due on a day of these on which its film dries too
      strong; fed: who is given it on one of them; each (cohort,).
    """
    wakes = scene.seasons_to_feed != Season.REST
    limit = scene.traits.limits["salt_high"]
    beyond = [
        chosen & wakes & (one.ec > limit) & any(runs_on(one, day) for day in days)
        for one, chosen in zip(
            all_given(scene.collection), meant_for(scene.collection, scene.traits), strict=True
        )
    ]
    dries = [due & ~given for due, given in zip(dried, fed, strict=True)]
    return _remarks(scene.collection, scene.traits, (beyond, dries), scene.names)


def why_not(
    scene: Scene, days: Sequence[date], dried: Sequence[np.ndarray], fed: Sequence[np.ndarray]
) -> dict[str, NotGiven]:
    """Return why feeds and courses go with no misting of a week, by name; not the weather.

    days, dried and fed as in `too_strong_in_week`.
    """
    limit, found = scene.traits.limits["salt_high"], dict[str, NotGiven]()
    potted = np.array([plant.pot is not None for plant in scene.traits.plants], dtype=bool)
    rest = scene.seasons_to_feed == Season.REST
    every, meant = all_given(scene.collection), meant_for(scene.collection, scene.traits)
    for one, chosen, dries, given in zip(every, meant, dried, fed, strict=True):
        reasons: tuple[tuple[Why, bool], ...] = (
            ("nobody", not chosen.any()),
            ("days", not any(runs_on(one, day) for day in days)),
            ("rest", bool(rest[chosen].all())),
            ("strong", bool((dries | (one.ec > limit) | rest)[chosen].all())),
            ("pots", bool((chosen & potted).any())),
        )
        why = next((word for word, holds in reasons if holds), None)
        if why is not None and not given.any():
            of_year = str(one.days) if why == "days" and isinstance(one, Feed) else ""
            found[one.name] = NotGiven(why, of_year)
    return found


def runs_on(one: Feed | Course, day: date) -> bool:
    """Return whether something is given at that time, whoever has ended it."""
    return one.runs_on(day, None) if isinstance(one, Course) else one.runs_on(day)


def _remarks(
    collection: Collection,
    traits: Traits,
    seen: Seen,
    names_of: Callable[[Sequence[int]], tuple[str, ...]],
) -> list[TooStrong]:
    """Return what is too strong for whom, by what they bear.

    names_of : the plants of some rows of the traits.
    """
    remarks: list[TooStrong] = []
    limits = traits.limits["salt_high"]
    for dries, masks in enumerate(seen):
        for one, mask in zip(all_given(collection), masks, strict=True):
            bears = bearable_ec(one, traits, collection.habits)
            alike: dict[tuple[float, float], list[int]] = {}
            for row in np.flatnonzero(mask).tolist():
                alike.setdefault((float(limits[row]), float(bears[row])), []).append(row)
            for (limit, bearable), rows in sorted(alike.items()):
                kind = CourseTooStrong if isinstance(one, Course) else FeedTooStrong
                most = one.grams_within(bearable)
                remarks.append(
                    kind(names_of(rows), one.name, one.ec, limit, most, dries=bool(dries))
                )
    return remarks
