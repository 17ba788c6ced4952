"""What the grower sees of a plant, and what that changes of what is known of it (`PlantState`).

    the plant grows                        seen_growing, not_seen_growing
    a course is over                       course_ended
    how the leaves are                     leaf_looked_at, leaf_look_taken_back
    how wet its pot is                     looked_at, look_taken_back
    it has been repotted                   repotted, repotting_taken_back

What is told of chores and moves is in `sillward_rules.transitions`.
"""

from collections.abc import Iterable
from dataclasses import replace
from datetime import date, datetime, timedelta

from sillward_rules.plants import salt_balance, season_memory
from sillward_rules.plants.care import ALL_KNOWN
from sillward_rules.plants.course_progress import CourseProgress
from sillward_rules.plants.pot_water import PotLook
from sillward_rules.plants.salt_balance import Repotting
from sillward_rules.plants.state import PlantState
from sillward_rules.weather.season import Season

LOOK_LASTS = timedelta(days=5)
"""A look that was counted so long ago matters little by now. Judgement: in summer a pot is watered
within that time, and what was lost since is most of what is known."""


def seen_growing(
    state: PlantState, day: date, today: date, *, rests_dry: bool, by_root: bool
) -> PlantState:
    """Return the state of a plant of which the grower saw a new growth or root on a day.

    Its rest is over, whatever the weather says. One that rests dry is not watered freely yet by a
    new growth, which lives on the old bulb and rots in water; by a root it grows (common practice:
    wait for roots).

    rests_dry: as in `Plant`. by_root: whether it was a root.
    """
    season = Season.SLOWING if rests_dry and not by_root else Season.GROWING
    memory = season_memory.seen_growing(state.care.season, day, season, today)
    return replace(state, care=replace(state.care, season=memory))


def not_seen_growing(state: PlantState, day: date, others: Iterable[date]) -> PlantState:
    """Return the state of a plant that was not seen to grow on a day after all.

    others: the days on which it was.
    """
    memory = season_memory.not_seen_growing(state.care.season, day, others)
    return replace(state, care=replace(state.care, season=memory))


def course_ended(state: PlantState, course: str, at: datetime | None) -> PlantState:
    """Return the state of a plant once the grower says that a course is over for it.

    at: None once that is taken back.
    """
    known = state.care.course(course) or CourseProgress(course)
    return replace(state, care=state.care.with_course(replace(known, ended_at=at)))


def leaf_looked_at(state: PlantState, now: datetime) -> PlantState:
    """Return the state of a plant once the grower has said how its leaves are."""
    care = state.care
    for known in care.courses:
        if known.looked_at is None or known.looked_at < now:
            care = care.with_course(replace(known, looked_at=now))
    return replace(state, care=care)


def leaf_look_taken_back(state: PlantState, at: datetime, last: datetime | None) -> PlantState:
    """Return the state of a plant of which nobody has said at that time how its leaves are.

    last: when that was said before, if ever.
    """
    care = state.care
    for known in care.courses:
        if known.looked_at == at:
            care = care.with_course(replace(known, looked_at=last))
    return replace(state, care=care)


def looked_at(state: PlantState, look: PotLook) -> PlantState:
    """Return the state of a plant once the grower has said how wet its pot is."""
    return replace(state, care=state.care.looked(look))


def look_taken_back(state: PlantState, look: PotLook, *, is_corrected: bool = False) -> PlantState:
    """Return the state of a plant without a look at its pot.

    If a morning has counted it lately, nothing is known of the pot any more, unless the pot was
    filled since.

    is_corrected: whether another look has told since how wet the pot is.
    """
    care = state.care
    left = tuple(one for one in care.looks if one != look)
    if left != care.looks:
        return replace(state, care=replace(care, looks=left))
    counted = care.water is not None and look.told_at <= care.water.at < look.told_at + LOOK_LASTS
    filled = any(one.fills and one.at > look.at for one in care.wettings)
    if not counted or filled or is_corrected:
        return state
    return replace(state, care=replace(care, water=None))


def repotted(state: PlantState, at: datetime, now: datetime) -> PlantState:
    """Return the state of a plant that has been repotted: its roots are in fresh medium.

    Nothing follows from it if what was given since is not all known any more: the balance of salts
    is then too high rather than too low. The same goes for one before another.
    """
    care, last = state.care, state.care.repotting
    if at < now - ALL_KNOWN or (last is not None and not last.void and at <= last.at):
        return state
    salt, repotting = salt_balance.fresh(at), Repotting(at, care.salt)
    return replace(state, care=replace(care, salt=salt, repotting=repotting))


def repotting_taken_back(state: PlantState, at: datetime) -> PlantState:
    """Return the state of a plant that was not repotted at that time after all."""
    care, last = state.care, state.care.repotting
    if last is None or last.void or last.at != at:
        return state
    salt, void = salt_balance.taken_back(last, care.salt), Repotting(at, None, void=True)
    return replace(state, care=replace(care, salt=salt, repotting=void))
