"""`sillward course`, as a grower calls it."""

import functools
import json
import os
from contextlib import closing
from dataclasses import replace
from datetime import timedelta
from functools import partial
from pathlib import Path

import pytest

from sillward.assembly import app, examples
from sillward.cli import shared
from sillward.config.loader import load_household
from sillward.config.settings import load_settings
from sillward.ledger import Deed, Ledger
from sillward.ledger.tables.diary import DiaryEntry, EntryKind
from sillward.reports.course import told_of_plant
from sillward_rules.plants.course_progress import CourseProgress, Dose
from sillward_rules.plants.state import PlantState
from tests.support import commands
from tests.support.collection_files import courtyard_with_one_feed

DUSK = examples.demo("cold-snap").clock()
BLUE, OLD = "Blue basket", "Old cattleya"
COURSES = f"""
[[courses]]
name = "magnesium"
salt = "Epsom salt"
grams_per_litre = 0.5
water_ec = 0.1
times = 3
rinse_after = "20 min"
never_with = ["lime"]
plants = {{ name = ["{BLUE}", "{OLD}"] }}

[[courses]]
name = "calcium for roots"
salt = "Ca(NO3)2.4H2O"
grams_per_litre = 0.3
water_ec = 0.1
every = "14 d"
until = 2030-01-01
plants = {{ name = "{OLD}" }}
"""


@pytest.fixture(autouse=True)
def _dusk(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """It is Thursday 14 May, dusk."""
    path = tmp_path / "yard.toml"
    text = courtyard_with_one_feed()
    path.write_text(text + COURSES, encoding="utf-8")
    monkeypatch.setattr(shared, "build", functools.partial(app.build, clock=lambda: DUSK))
    monkeypatch.setenv("SILLWARD_COLLECTION", str(path))


call = partial(commands.call, "course")
said = partial(commands.said, "course")


def given() -> None:
    """Two mistings of this week, one of them confirmed by Inés, and one look at the leaf."""
    confirmed = DUSK - timedelta(days=4)
    doses = (Dose(confirmed, confirmed=True), Dose(DUSK - timedelta(days=1), due=DUSK))
    state = PlantState("pergola")
    progress = CourseProgress("magnesium", DUSK.date() - timedelta(days=30), doses, earlier=5)
    with closing(Ledger(load_settings().ledger)) as ledger:
        ledger.plant_states.keep(
            "Courtyard", {BLUE: replace(state, care=state.care.with_course(progress))}
        )
        about = {"chore": "x", "kind": "course", "plants": [BLUE], "of": "magnesium"}
        ledger.deeds.insert("Courtyard", Deed(confirmed, "Inés", "done", about))
        look = DiaryEntry(BLUE, DUSK, DUSK, EntryKind.LOOK, "", None, None, "leaf", "better")
        ledger.diary.add("Courtyard", [look])


def test_it_tells_how_far_each_course_has_come() -> None:
    given()

    told = said()

    assert "magnesium: 0.5 g/L Epsom salt (0.5 g in 1 L): 49 ppm Mg, about 0.6 mS/cm;" in told
    assert "3 times in 7 days plain water 20 min later never mix it with lime" in told
    assert (
        f"{BLUE}: given 7 times, 2 of 3 in the last 7 days (1 not confirmed),"
        " last Wed 13 May by Inés, next from Fri 15 May; on dry mornings it dries past"
        " 1 mS/cm before it is taken up, at most 0.47 g/L leaves: Thu 14 May better" in told
    )
    assert f"{OLD}: not given so far, next from Thu 14 May" in told
    assert "calcium for roots: 0.3 g/L calcium nitrate tetrahydrate" in told
    assert "gloves" in told


def test_the_page_of_a_plant_has_its_feed_and_courses() -> None:
    given()
    path = Path(os.environ["SILLWARD_COLLECTION"])
    household = load_household(path)
    of = household.collection
    blue = next(plant for plant in of.plants if plant.name == BLUE)
    with closing(Ledger(load_settings().ledger)) as ledger:
        told = told_of_plant(blue, of, ledger, DUSK, household.voice)

    (course,) = told.values()
    assert list(told) == ["Course, magnesium"]
    assert course.startswith("Given 7 times, 2 of 3 in the last 7 days (1 not confirmed)")
    assert course.endswith("leaves: Thu 14 May better")


def test_salts_that_settle_together_are_told_never_to_be_mixed() -> None:
    (calcium,) = json.loads(call("calcium", "--json").stdout)["courses"]

    assert calcium["never_with"] == ["the feed", "magnesium"]
    assert (calcium["times"], calcium["days"], calcium["until"]) == (1, 14, "2030-01-01")


def test_the_document_has_numbers_dates_and_who_confirmed() -> None:
    given()

    (course,) = json.loads(call("magnesium", "--json").stdout)["courses"]

    blue, old = course["plants"]
    assert (blue["given"], blue["given_lately"], blue["not_confirmed_lately"]) == (7, 2, 1)
    assert [row["person"] for row in blue["confirmed"]] == ["Inés"]
    assert [row["leaf"] for row in blue["looks"]] == ["better"]
    assert (old["given"], old["last_at"], old["state"]) == (0, None, "runs")


def test_a_course_is_ended_for_one_plant_or_for_all_and_goes_on_after_all() -> None:
    assert said("--end", "magn", "--plant", "blue") == f"magnesium is over for {BLUE}"
    assert said("magnesium", "--end", "--by", "Ana") == f"magnesium is over for {OLD}"
    assert said("--end", "magnesium") == f"magnesium is over already for {BLUE}, {OLD}"
    assert f"{BLUE}: not given so far, ended Thu 14 May" in said("magnesium")
    with closing(Ledger(load_settings().ledger)) as ledger:
        deeds = ledger.deeds.latest("Courtyard", 9)
    assert [(deed.what, deed.person, deed.about["plants"]) for deed in deeds] == [
        ("course ended", "Ana", [OLD]),
        ("course ended", None, [BLUE]),
    ]

    assert said("--resume", "magnesium") == f"magnesium goes on for {BLUE}, {OLD}"
    assert said("--resume", "magnesium") == f"magnesium is not ended for {BLUE}, {OLD}"


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("--end",), "say which course"),
        (("--end", "--resume", "magnesium"), "choose one of --end and --resume"),
        (("potassium",), '"potassium" is not a course here (magnesium, calcium for roots)'),
        (("m",), '"m" is more than one course here'),
        (("--end", "magnesium", "--plant", "wax"), "has no part in magnesium"),
    ],
)
def test_what_cannot_be_meant_is_refused(words: tuple[str, ...], why: str) -> None:
    result = call(*words)

    assert (result.exit_code, result.stdout) == (2, "")
    assert why in " ".join(result.stderr.split())


def test_without_courses_it_says_where_they_stand() -> None:
    path = Path(os.environ["SILLWARD_COLLECTION"])
    path.write_text(courtyard_with_one_feed(), encoding="utf-8")

    assert said() == "There are no courses; a table under [[courses]] describes one."


def test_ending_a_course_for_machines_prints_how_far_it_has_come_by_then() -> None:
    (ended,) = json.loads(call("magnesium", "--end", "--json").stdout)["courses"]

    assert {plant["state"] for plant in ended["plants"]} == {"ended"}
