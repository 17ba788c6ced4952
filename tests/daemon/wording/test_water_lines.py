"""How the watering of pots is told in a push, and in full."""

from dataclasses import replace
from datetime import timedelta

import pytest

from sillward.reports.sheet_json import sheet_document
from sillward.wording import full_sheet, short_sheet
from sillward.wording.message_length import MAX_CHARACTERS
from sillward.wording.push import Line, Part, composed
from sillward.wording.voice import Voice
from sillward_rules.chore import ChoreKind
from sillward_rules.plants.care import Care, Wetting
from sillward_rules.plants.feeds import Feed
from sillward_rules.plants.pot import Pot
from sillward_rules.plants.pot_water import PotWater
from sillward_rules.plants.state import PlantState
from sillward_rules.remark import Plain, Remark
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
    told = message.title, message.body
    assert contradictions(*told, sheet.chores, sheet.at, standing, sheet.warnings) == []
    return [message.title, *message.body.splitlines()]


def test_few_plants_are_told_by_name_each_with_its_litres() -> None:
    title, *lines = pushed(a_morning(2))

    assert title == "Water 2 plants by 09:00"
    assert "Water bench by 09:00: Anemone (1 L), Boat (1 L)" in lines


def test_many_are_told_with_the_litres_of_all() -> None:
    _, *lines = pushed(a_morning(14))

    (line,) = [line for line in lines if line.startswith("Water")]
    assert line.startswith("Water bench by 09:00: Anemone (1 L), Boat (1 L), ")
    assert line.endswith("; 14 L in all")


def crowded(sheet: Sheet, *remarks: Remark) -> list[str]:
    """The lines of a day on which other things leave little room."""
    talk = (Plain("the neighbour came by and said this or that about the weather " * 2),) * 3
    return pushed(replace(sheet, warnings=(*remarks, *talk)))


def test_on_a_crowded_day_pots_still_have_their_names_and_litres() -> None:
    _, *lines = crowded(a_morning(6))

    assert "Water by 09:00: Anemone (1 L), Boat (1 L) and 4 more" in lines
    assert lines[-1].startswith("+")


def test_an_order_for_an_hour_is_worth_more_than_names() -> None:
    """Lines with hours get shorter before one is left out, and are no shorter than they must be."""
    at = [NOW + timedelta(hours=hours) for hours in range(3)]
    first, second = (
        Line(lambda _: "Water: A and B", frozenset("AB"), at[0], ("Water: 2", "2")),
        Line(lambda _: "Shade: C", frozenset("C"), at[1]),
    )
    last = Line(lambda _: "Keep dry: all day and night, and the day after", frozenset("D"))
    parts = [Part((lambda _: "all of it at length" * 20,), lambda: [first, second, last])]
    full = "Water: A and B\nShade: C\n+1 more line (1 plant): `sillward sheet`"

    def body(room: int) -> str:
        voice = Voice(garden().site)
        return composed("T", parts, voice, spare=MAX_CHARACTERS - len("T\n") - room).body

    assert body(len(full)) == full
    assert body(len(full) - 1) == full.replace("A and B", "2")
    assert body(len(full) - len("ater: A and B")) == full.replace("Water: A and B", "2")


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
    lines = crowded(a_morning(14, feeds=(feed("pot feed", *NAMES[:6]),)))

    assert "Water by 09:00 with pot feed: Anemone (1 L), Boat (1 L) and 4 more" in lines
    assert f"Water by 09:00: {NAMES[6]} (1 L) and 7 more" in lines
