"""How far a course has come: single mistings are kept for weeks and counted after that."""

from datetime import timedelta

from sillward_rules.plants.course_progress import KEPT, CourseProgress, Dose
from tests.support.core import utc

NOON = utc("2026-01-20T12:00")
DAY = timedelta(days=1)


def test_old_mistings_are_counted_and_no_longer_kept() -> None:
    course = CourseProgress("magnesium")
    for day in range(0, 60, 2):
        course = course.given(Dose(NOON + day * DAY, confirmed=True))

    assert course.total == 30
    assert course.doses[0].at > course.doses[-1].at - KEPT
    assert course.earlier == 30 - len(course.doses) > 0


def test_what_lies_ahead_is_left_out() -> None:
    told = CourseProgress("magnesium").given(Dose(NOON, due=NOON))

    assert told.at(NOON - DAY).doses == ()
    assert told.at(NOON) is told


def test_an_answer_takes_the_place_of_its_own_misting_alone() -> None:
    told = CourseProgress("magnesium").given(Dose(NOON - 2 * DAY, due=NOON - 2 * DAY))
    told = told.given(Dose(NOON, due=NOON))

    done = told.given(Dose(NOON - timedelta(minutes=9), confirmed=True, due=NOON))

    assert [dose.confirmed for dose in done.doses] == [False, True]
    assert done.total == 2
    assert told.not_given(NOON).total == 1
    assert done.not_given(NOON) is done, "it was done"
