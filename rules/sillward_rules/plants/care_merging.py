"""What is known of a plant's care from two sides, put together.

    with_answers(made, known)       what a round has worked out, once the grower has said more
    merged(base, ours, theirs)      two that went apart, of which the one before is known
    without_answer(care, ...)       an answer that is taken back, whatever has happened since

What the grower has said decides: a watering that was confirmed stays confirmed, and one that was
taken back is gone. What a morning had worked out without knowing that is worked out again, from
what was there before.
"""

from collections.abc import Callable, Hashable, Iterable
from dataclasses import replace
from typing import TypeVar

from sillward_rules.plants.care import Care, Wetting, in_order
from sillward_rules.plants.course_progress import CourseProgress
from sillward_rules.plants.pot_water import PotWater
from sillward_rules.plants.salt_balance import SaltBalance
from sillward_rules.plants.season_memory import SeasonMemory

_T = TypeVar("_T")
_Dated = TypeVar("_Dated", SaltBalance, PotWater)
_H = TypeVar("_H", bound=Hashable)


# -- a round that was made before the grower said more


def with_answers(made: Care, known: Care) -> Care:
    """Return the care that a round has worked out, with what the grower has said since.

    A round adds waterings that are only told. All that is confirmed is as it is known by now, so
    that an answer that was taken back since is gone too.
    """
    told = (one for one in made.wettings if not one.confirmed)
    after = replace(made, wettings=_each_chore_once({*known.wettings, *told}))
    courses = {one.name: one for one in made.courses}
    for said in known.courses:
        courses[said.name] = _course_with_answers(courses.get(said.name, said), said)
    after = replace(after, courses=_by_name(courses.values()))
    if any(one.fills and one not in after.wettings for one in made.wettings):
        after = replace(after, water=known.water, looks=known.looks)
    for look in known.looks:
        if look not in after.looks and (after.water is None or look.told_at > after.water.at):
            after = after.looked(look)
    if known.with_salt(after.salt).is_repotted_since(after):
        after = replace(after, salt=known.salt, repotting=known.repotting)
    season = of_two(None, made.season, known.season, _season_seen)
    return replace(after, season=season)


def _course_with_answers(made: CourseProgress, said: CourseProgress) -> CourseProgress:
    """Return a course as it is known by now, with what a round has told and when it began.

    Only the grower ends a course, and only the grower looks.
    """
    after = replace(said, began=max(filter(None, (made.began, said.began)), default=None))
    known = {dose.due for dose in said.doses}
    for dose in made.doses:
        if not dose.confirmed and dose.due not in known:
            after = after.given(dose)
    return after


def _season_seen(mine: SeasonMemory, other: SeasonMemory) -> SeasonMemory:
    """Return a season, or the other one if the grower saw growth that it knows nothing of."""
    seen = other.is_seen(mine.counted) and mine.seen_until != other.seen_until
    return other if seen else mine


# -- two that went apart


def merged(base: Care, ours: Care, theirs: Care) -> Care:
    """Return our care with what has become another in theirs since both were the base.

    Where both have changed the same, a confirmed watering stays, and what was counted, said or seen
    later holds.
    """
    wettings = _each_chore_once(_members(base.wettings, ours.wettings, theirs.wettings))
    names = {one.name for one in (*ours.courses, *theirs.courses)}
    courses = (
        _merged_course(*(one.course(name) or CourseProgress(name) for one in (base, ours, theirs)))
        for name in names
    )
    after = replace(
        ours,
        wettings=wettings,
        season=of_two(base.season, ours.season, theirs.season, _season_seen),
        courses=_by_name(courses),
    )
    if theirs.is_repotted_since(ours):
        after = replace(after, salt=theirs.salt, repotting=theirs.repotting)
    elif not ours.is_repotted_since(theirs):
        after = replace(after, salt=of_two(base.salt, ours.salt, theirs.salt, _later))
    after = after.told_to_flush(theirs.flush_told)
    return _with_water(after, base, ours, theirs)


def _with_water(after: Care, base: Care, ours: Care, theirs: Care) -> Care:
    """Return a merged care with the water of the pot, and the looks that are not counted in it.

    Where one side was counted without what the other has said, it is counted anew from the base.
    """
    water = of_two(base.water, ours.water, theirs.water, _later)
    looks = {*base.looks, *ours.looks, *theirs.looks}
    if theirs.water == base.water:
        looks -= {*base.looks}.difference(theirs.looks)  # taken back
    for one, other in ((ours, theirs), (theirs, ours)):
        if one.water != base.water and _said_since(base, other):
            water = base.water
    left = replace(after, water=water, looks=())
    for look in looks:
        if water is None or look.told_at > water.at:
            left = left.looked(look)
    return left


def _said_since(base: Care, care: Care) -> bool:
    """Return whether something was said of the pot, or taken back, that no morning has counted."""
    counted = base.water
    fills, before = ({one for one in side.wettings if one.fills} for side in (care, base))
    if any(counted is None or one.known_at > counted.at for one in fills ^ before):
        return True
    looks = {*care.looks}.difference(base.looks)
    return bool(looks) or (care.water == counted and care.looks != base.looks)


def _later(ours: _Dated, theirs: _Dated) -> _Dated:
    return theirs if theirs.at > ours.at else ours


def _merged_course(
    base: CourseProgress, ours: CourseProgress, theirs: CourseProgress
) -> CourseProgress:
    doses = _members(base.doses, ours.doses, theirs.doses)
    sure = {dose.due for dose in doses if dose.confirmed}
    kept = (dose for dose in doses if dose.confirmed or dose.due not in sure)
    return CourseProgress(
        ours.name,
        of_two(base.began, ours.began, theirs.began, max),
        tuple(sorted(kept, key=lambda dose: dose.at)),
        max(ours.earlier + theirs.earlier - base.earlier, 0),
        of_two(base.looked_at, ours.looked_at, theirs.looked_at, max),
        of_two(base.ended_at, ours.ended_at, theirs.ended_at, max),
    )


def of_two(
    base: _T | None, ours: _T | None, theirs: _T | None, of_both: Callable[[_T, _T], _T]
) -> _T | None:
    """Return what only one side has changed as it is there.

    of_both: gives it where both have, and both know something.
    """
    if theirs == base:
        return ours
    if ours == base:
        return theirs
    return ours or theirs if ours is None or theirs is None else of_both(ours, theirs)


def _by_name(courses: Iterable[CourseProgress]) -> tuple[CourseProgress, ...]:
    return tuple(sorted(courses, key=lambda one: one.name))


def _members(base: Iterable[_H], ours: Iterable[_H], theirs: Iterable[_H]) -> set[_H]:
    """Return what is in ours, with what theirs has added and without what it has removed."""
    before, there = set(base), set(theirs)
    return (set(ours) | (there - before)) - (before - there)


def _each_chore_once(wettings: Iterable[Wetting]) -> tuple[Wetting, ...]:
    """Return waterings in order, of those of one chore the one that was confirmed first."""
    left: list[Wetting] = []
    for one in sorted(in_order(wettings), key=lambda one: not one.confirmed):
        if not any(one.is_of_same_chore(other) for other in left):
            left.append(one)
    return in_order(left)


# -- an answer that is taken back


def without_answer(care: Care, before: Care, after: Care) -> Care:
    """Return the care of a plant without what an answer has changed about it.

    before, after: as it was before the answer, and just after it.
    """
    left = merged(after, care, before)
    undone = (one for one in after.wettings if one.confirmed and one not in before.wettings)
    salt, was = left.salt, before.salt
    repotted = left.is_repotted_since(before)
    if salt is None or salt == after.salt or repotted or all(one.at > salt.at for one in undone):
        return left
    if was is None:
        return replace(left, salt=None)
    # It is settled already. What was washed out by it cannot be worked out anew.
    ec, doubt = max(salt.ec, was.ec), max(salt.doubt, was.doubt)
    return replace(left, salt=replace(salt, ec=ec, doubt=doubt, assumed=was.assumed))
