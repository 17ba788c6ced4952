"""Care from two sides: a round and what was said since, two ledgers, an answer taken back."""

from dataclasses import replace
from datetime import timedelta

import pytest

from sillward_rules.chore import ChoreKind
from sillward_rules.plants.care import NO_CARE, Care, Wetting
from sillward_rules.plants.care_merging import merged, with_answers, without_answer
from sillward_rules.plants.course_progress import CourseProgress
from sillward_rules.plants.pot_water import PotLook, PotWater
from sillward_rules.plants.salt_balance import SaltBalance
from tests.support.core import utc

NOON = utc("2026-01-14T15:00")
HOUR, DAY = timedelta(hours=1), timedelta(days=1)


def told(kind: ChoreKind, hours: float = 0, of: str = "") -> Wetting:
    due = NOON + hours * HOUR
    return Wetting(kind, due, due=due, of=of)


def done(one: Wetting) -> Wetting:
    return replace(one, at=one.at - HOUR, confirmed=True)


WATER, MIST, FEED, COURSE = (
    told(ChoreKind.WATER),
    told(ChoreKind.MIST, 1),
    told(ChoreKind.FEED, 2, "orchids"),
    told(ChoreKind.COURSE, 3, "magnesium"),
)
ALL_TOLD = NO_CARE.wetted(WATER).wetted(MIST).wetted(FEED).wetted(COURSE)
COUNTED = PotWater(NOON - DAY, 0.4, 0.1)
LOOK = PotLook("dry", NOON - 2 * HOUR, NOON - 2 * HOUR)


# -- a round, and what was said since it was made


def test_answers_since_are_kept_beside_all_that_was_told() -> None:
    made = NO_CARE.wetted(MIST).wetted(COURSE)
    known = NO_CARE.wetted(WATER).wetted(done(MIST))

    after = with_answers(made, known)

    assert after.wettings == (done(MIST), WATER, COURSE)
    assert after.courses == made.courses


def test_an_answer_that_was_taken_back_since_is_gone() -> None:
    known = replace(ALL_TOLD, water=COUNTED)
    made = known.wetted(done(WATER)).wetted(done(COURSE))
    made = made.counted(replace(COUNTED, at=NOON, share=1.0))

    assert with_answers(made, known) == known


# -- two ledgers


@pytest.mark.parametrize("one", [WATER, FEED, COURSE])
def test_what_one_ledger_knows_of_a_watering_reaches_the_other(one: Wetting) -> None:
    base, said = ALL_TOLD, ALL_TOLD.wetted(done(one))

    assert merged(base, base, said) == said
    assert merged(base, said, base) == said  # the file knows nothing of it
    assert merged(said, base, said) == base  # taken back in memory
    assert merged(said, said, base) == base  # and in the file


def test_a_course_that_was_ended_in_memory_stays_ended_and_looks_are_the_latest() -> None:
    base = Care(courses=(CourseProgress("magnesium"),))
    ours = Care(courses=(CourseProgress("magnesium", looked_at=NOON, ended_at=NOON),))
    theirs = Care(courses=(CourseProgress("magnesium", looked_at=NOON - HOUR),))

    assert merged(base, ours, theirs) == ours
    assert merged(base, theirs, ours) == ours


def test_a_chore_that_both_sides_confirm_is_one_watering() -> None:
    later = replace(done(FEED), at=FEED.at)

    after = merged(ALL_TOLD, ALL_TOLD.wetted(later), ALL_TOLD.wetted(done(FEED)))

    assert after == ALL_TOLD.wetted(done(FEED))


def test_a_pot_that_was_counted_without_an_answer_is_counted_anew() -> None:
    base = replace(ALL_TOLD, water=COUNTED)
    ours = base.looked(LOOK).counted(replace(COUNTED, at=NOON + DAY, share=0.1))
    theirs = base.wetted(done(WATER))

    for after in (merged(base, ours, theirs), merged(base, theirs, ours)):
        assert after.water == COUNTED
        assert done(WATER) in after.wettings


def test_looks_of_both_sides_come_together() -> None:
    base, other = Care(water=COUNTED, looks=(LOOK,)), replace(LOOK, at=NOON)

    assert merged(base, base, replace(base, looks=())).looks == ()
    assert merged(base, base.looked(other), base).looks == (LOOK, other)
    assert merged(base, base, base.looked(other)).looks == (LOOK, other)


# -- an answer that is taken back


@pytest.mark.parametrize("one", [WATER, MIST, FEED, COURSE])
@pytest.mark.parametrize("other", [WATER, MIST, FEED, COURSE])
def test_an_answer_is_taken_back_whatever_else_was_said_since(one: Wetting, other: Wetting) -> None:
    after = ALL_TOLD.wetted(done(one))

    assert without_answer(after, ALL_TOLD, after) == ALL_TOLD
    if other != one:
        since = after.wetted(done(other))
        assert without_answer(since, ALL_TOLD, after) == ALL_TOLD.wetted(done(other))


def test_a_pot_is_not_full_by_a_watering_that_is_taken_back_a_morning_later() -> None:
    before = replace(ALL_TOLD, water=COUNTED)
    after = before.wetted(done(WATER))
    since = after.counted(replace(COUNTED, at=NOON + DAY, share=0.95))

    assert without_answer(since, before, after) == before


def test_a_pot_that_a_morning_has_counted_stays_so_if_a_misting_is_taken_back() -> None:
    before = replace(ALL_TOLD, water=COUNTED, looks=(LOOK,))
    after = before.wetted(done(MIST))
    counted = replace(COUNTED, at=NOON + DAY, share=0.2)

    left = without_answer(after.counted(counted), before, after)

    assert (left.water, left.looks, left.wettings) == (counted, (), ALL_TOLD.wettings)


def test_a_flush_that_is_taken_back_once_it_is_settled_has_washed_nothing_out() -> None:
    flush = told(ChoreKind.LEACH)
    before = replace(NO_CARE.wetted(flush), salt=SaltBalance(NOON - DAY, 2.0, 0.3, assumed=True))
    after = before.wetted(done(flush))
    since = replace(after, salt=SaltBalance(NOON + DAY, 0.5, 0.1))

    left = without_answer(since, before, after)

    assert left.salt == SaltBalance(NOON + DAY, 2.0, 0.3, assumed=True)
    assert without_answer(replace(after, salt=before.salt), before, after) == before
