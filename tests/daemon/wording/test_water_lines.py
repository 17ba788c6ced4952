"""How the watering of pots is told in a push, and in full."""

from dataclasses import replace
from datetime import timedelta

import pytest

from sillward.reports.sheet_json import sheet_document
from sillward.wording import chore_phrases, full_sheet, short_sheet
from sillward.wording.voice import Voice
from sillward_rules.chore import ChoreKind
from sillward_rules.plants.care import Care, Wetting
from sillward_rules.plants.feeds import Feed
from sillward_rules.plants.pot import Pot
from sillward_rules.plants.pot_water import PotWater
from sillward_rules.plants.state import PlantState
from sillward_rules.sheet import Round, Sheet, draw_up
from tests.rules.planners.test_courses import feed
from tests.support.agreement import contradictions
from tests.support.core import plant
from tests.support.summer import HOT, NOW, at_home, garden, sky

NAMES = ("Anemone", "Boat", *(f"Plant with a long name, the {letter}" for letter in "abcdefghijkl"))
MILD = sky(HOT - 8.0)


def a_morning(count: int, *, told: bool = False, feeds: tuple[Feed, ...] = ()) -> Sheet:
    """A mild day on which so many pots are low, told of or not the day before."""
    bare = plant(holder="pot", velamen=False, rot="low", night_low=5.0)
    plants = [replace(bare, name=name, pot=Pot(4.0, "peat")) for name in NAMES[:count]]
    water = Care(water=PotWater(NOW - timedelta(hours=1), 0.3, 0.06))
    if told:
        due = NOW - timedelta(hours=20)
        water = water.wetted(Wetting(ChoreKind.WATER, due, due=due))
    state: dict[str, PlantState] = {name: at_home(care=water) for name in NAMES[:count]}
    return draw_up(Round.MORNING, replace(garden(*plants), feeds=feeds), MILD, state, NOW)


def pushed(sheet: Sheet) -> list[str]:
    message = short_sheet.message(sheet, Voice(garden().site))
    standing = {name: state.spot for name, state in sheet.states.items()}
    assert contradictions(message.title, message.body, sheet.chores, sheet.at, standing) == []
    return [message.title, *message.body.splitlines()]


def test_few_plants_are_told_by_name_each_with_its_litres() -> None:
    title, *lines = pushed(a_morning(2))

    assert title == "Water 2 plants by 09:00"
    assert "Water bench by 09:00: Anemone (1 L), Boat (1 L)" in lines


def test_many_are_told_with_the_litres_of_all() -> None:
    _, *lines = pushed(a_morning(14))

    (line,) = [line for line in lines if line.startswith("Water")]
    assert line.endswith("; 14 L in all")


@pytest.mark.parametrize("told", [True, False])
def test_what_may_be_done_says_so(told: bool) -> None:
    sheet = a_morning(1, told=told)

    (line,) = [line for line in pushed(sheet)[1:] if line.startswith("Water")]
    full = full_sheet.text(sheet, Voice(garden().site), "Weather by nobody")
    assert ("if not done yet" in line) is told
    assert ("if not watered since: 1 L" in full) is told
    assert "into the pot, not the crown" in full


def test_water_with_feed_is_one_line_and_plain_water_for_others_another() -> None:
    sheet = a_morning(2, feeds=(feed("pot feed", "Boat"),))

    title, *lines = pushed(sheet)
    full = full_sheet.text(sheet, Voice(garden().site), "Weather by nobody")
    assert title == "Water 2 plants by 09:00"
    assert "Water bench by 09:00: Anemone (1 L)" in lines
    assert "Water bench by 09:00 with pot feed: Boat (1 L)" in lines
    assert "pot feed, 0.25 g/L" in full
    assert "about 1 L" in full
    water = [
        one for one in sheet_document(sheet, garden().site)["chores"] if one["chore"] == "water"
    ]
    assert {one.get("what"): one["with"].partition(",")[0] for one in water} == {
        None: "plain water",
        "pot feed": "pot feed",
    }


def test_a_crowded_push_tells_pots_with_feed_from_those_without() -> None:
    sheet = a_morning(14, feeds=(feed("pot feed", *NAMES[:6]),))
    line, other = chore_phrases.crowded_lines(
        ChoreKind.WATER, sheet.chores, NOW, Voice(garden().site)
    )

    assert {line.text(0), other.text(0)} == {
        "Water by 09:00: bench 8",
        "Water by 09:00 with pot feed: bench 6",
    }
