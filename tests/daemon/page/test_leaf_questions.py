"""The question how leaves are while a course runs, and its answer."""

from dataclasses import replace
from datetime import timedelta

import pytest

from sillward.ledger.tables.diary import EntryKind
from sillward.page.keys import key_of
from sillward.page.leaf_questions import leaf_questions
from sillward.service import looks
from sillward_rules.plants.course_progress import CourseProgress, Dose
from sillward_rules.plants.feeds import Course
from sillward_rules.plants.fertiliser import SALTS
from sillward_rules.plants.rules import PlantFilter
from sillward_rules.plants.sightings import leaf_looked_at
from sillward_rules.plants.state import PlantState
from tests.support.core import collection, plant, utc
from tests.support.pages import Visitor

NOW = utc("2026-01-20T10:00")
TODAY = NOW.date()
COURSE = Course("magnesium", SALTS["MgSO4.7H2O"], 0.5, 0.1, 3, plants=PlantFilter(name=("Left",)))
OF = replace(collection(plant("Left"), plant("Right")), courses=(COURSE,))


def state(days: int) -> PlantState:
    doses = tuple(Dose(NOW - timedelta(days=ago)) for ago in (days, 2))
    known = CourseProgress("magnesium", TODAY - timedelta(days=days), doses)
    bare = PlantState("bench")
    return replace(bare, care=bare.care.with_course(known))


def given(before: PlantState, days_ago: int) -> PlantState:
    known = before.care.course("magnesium")
    assert known is not None
    dosed = known.given(Dose(NOW - timedelta(days=days_ago)))
    return replace(before, care=before.care.with_course(dosed))


@pytest.mark.parametrize(("days", "asked"), [(13, []), (14, [14]), (40, [40])])
def test_leaves_are_asked_about_from_two_weeks_on(days: int, asked: list[int]) -> None:
    questions = leaf_questions(OF, {"Left": state(days), "Right": state(days)}, NOW)

    assert [(one.plant, one.course, one.days) for one in questions] == [
        ("Left", "magnesium", days) for days in asked
    ]


def test_a_look_answers_for_two_weeks_and_the_end_of_a_course_for_good() -> None:
    looked = leaf_looked_at(state(40), NOW - timedelta(days=13))
    over = replace(OF, courses=(replace(COURSE, until=TODAY - timedelta(days=1)),))

    assert leaf_questions(OF, {"Left": looked}, NOW) == []
    (again,) = leaf_questions(OF, {"Left": given(looked, days_ago=13)}, NOW + timedelta(days=1))
    assert again.days == 14
    assert leaf_questions(OF, {"Left": looked}, NOW + timedelta(days=30))[0].days == 32
    assert leaf_questions(over, {"Left": state(40)}, NOW) == []


def test_a_press_is_kept_in_the_diary() -> None:
    visitor = Visitor()

    assert visitor.post("/look", plant=key_of("Blue basket"), word="better").status_code == 303
    assert visitor.post("/look", plant=key_of("Blue basket"), word="dry").status_code == 400
    assert visitor.post("/look", plant="nobody", word="better").status_code == 400

    with visitor.desk.open() as context:
        (entry,) = context.ledger.diary.of_plant(context.site.name, "Blue basket", 1)
    assert (entry.kind, entry.what, entry.amount) == (EntryKind.LOOK, "leaf", "better")


def test_the_words_of_leaves_are_words_of_a_look() -> None:
    assert [looks.WORDS[word] for word in ("better", "same", "worse")] == ["leaf"] * 3
