"""Seasons that are remembered and sizes that are known, in `why`, `check` and JSON."""

import json
from dataclasses import replace
from datetime import date, timedelta

import pytest

from sillward.reports import why
from sillward.reports.plant_words import season, size_document, sized
from sillward.reports.sheet_json import chore_document, sheet_document
from sillward.wording import load_words
from sillward.wording.voice import Voice
from sillward_rules.chore import Chore, ChoreKind, Heavy, Load, Spray
from sillward_rules.explanation import explain_plant
from sillward_rules.plants.care import Care
from sillward_rules.plants.pot import Pot
from sillward_rules.plants.season_memory import SeasonMemory, seen_growing
from sillward_rules.plants.state import PlantState
from sillward_rules.sheet import Round, draw_up
from sillward_rules.weather.season import Season
from tests.rules.planners.test_seasons import DRY, WINTER, YARD, remembered, two_weeks
from tests.support.chores import a_chore
from tests.support.core import MENDOZA, utc

VOICE = Voice(MENDOZA)
NOW = utc("2024-07-10T20:00")
CARRY = replace(
    a_chore("2024-07-10-carry-in-bench-room", NOW + timedelta(hours=2)),
    kind=ChoreKind.CARRY_IN,
    load=Load(timedelta(minutes=41), NOW + timedelta(minutes=75), (Heavy("Palm", 38.4),)),
)


def memory_of(season_: Season, since: date, came_from: Season | None) -> SeasonMemory:
    return SeasonMemory(season_, since, WINTER - timedelta(days=1), came_from)


def why_of(memory: SeasonMemory | None) -> tuple[str, dict[str, object]]:
    """What `why` says of the season, in words and as JSON."""
    air, now = two_weeks(WINTER, 2.0)
    state = {} if memory is None else {DRY: PlantState("bench", care=Care(season=memory))}
    explanation = explain_plant(YARD.plants[0], YARD, air, state, now)
    told = why.text(explanation, [], VOICE)
    (line,) = [line for line in told.splitlines() if line.strip().startswith("season:")]
    return line, why.document(explanation, [], MENDOZA)


def test_why_says_since_when_and_what_the_days_alone_would_say() -> None:
    bare, document = why_of(None)
    assert bare.strip().startswith("season: rest; light today")
    assert "season_since" not in document

    rest, document = why_of(memory_of(Season.REST, date(2024, 5, 20), Season.SLOWING))
    assert "season: rest since Mon 20 May, kept dry, no feed" in rest
    assert (document["season_since"], document["season_today"]) == ("2024-05-20", "rest")
    before = memory_of(Season.GROWING, date(2024, 5, 20), None)
    seen = seen_growing(before, WINTER, Season.GROWING, WINTER)
    assert seen is not None
    assert "growing, as growth was seen" in why_of(seen)[0]


def test_a_plant_says_its_season_in_its_own_words() -> None:
    memory = memory_of(Season.REST, date(2024, 5, 20), Season.SLOWING)
    state = PlantState("bench", care=Care(season=memory))

    told = season(YARD.plants[0], state, NOW, VOICE)

    assert told == "At rest since Mon 20 May: kept dry, no feed"
    assert season(YARD.plants[0], PlantState("bench"), NOW, VOICE) == ""


def test_the_week_says_which_plants_rest_as_json() -> None:
    air, now = two_weeks(WINTER, 2.0)
    known = remembered(Season.REST, WINTER - timedelta(days=1))

    document = sheet_document(draw_up(Round.WEEK, YARD, air, known, now), MENDOZA)

    assert len(document["outlook"]["resting"]) == 2
    json.dumps(document)


def test_what_a_plant_weighs() -> None:
    plant = replace(YARD.plants[0], pot=Pot(30, "peat", dark=True), span_cm=120)

    assert sized(plant) == (
        "30 L of peat in a dark pot, about 38 kg just watered; two people or a trolley to carry "
        "it; 120 cm across"
    )
    assert sized(YARD.plants[0]) == ""
    assert size_document(YARD.plants[0]) == {}
    assert size_document(plant)["weight_kg"] == pytest.approx(38.4)


def test_when_to_begin_in_words_and_as_json() -> None:
    assert load_words.with_begin("by 19:00", CARRY, NOW, VOICE) == (
        "by 19:00 (begin by 18:15, about 40 min)"
    )
    assert load_words.heavy(CARRY.load, VOICE) == (
        "heavy: Palm (about 38 kg): two people or a trolley"
    )
    document = chore_document(CARRY, MENDOZA)
    assert document["takes_min"] == pytest.approx(41)
    assert document["begin_by"] == "2024-07-10T18:15:00-03:00"
    assert document["heavy"] == [{"plant": "Palm", "kg": pytest.approx(38.4)}]
    plain = chore_document(replace(CARRY, load=None), MENDOZA)
    assert not plain.keys() & {"takes_min", "begin_by", "heavy", "litres"}


@pytest.mark.parametrize(
    ("minutes", "words"),
    [
        ((25,), []),
        ((35,), ["Begin carrying in by 18:15: it takes about 35 min"]),
        ((20, 25), ["Begin carrying in by 18:15: it takes about 45 min"]),
    ],
)
def test_a_push_says_when_to_begin_with_a_long_walk(
    minutes: tuple[int, ...], words: list[str]
) -> None:
    chores = [
        replace(CARRY, load=Load(timedelta(minutes=takes), NOW + timedelta(minutes=75 + number)))
        for number, takes in enumerate(minutes)
    ]

    part = load_words.of_push(chores, NOW, VOICE)

    assert [line(0) for line in part.lines] == words


def test_a_walk_hours_later_is_another_walk() -> None:
    late = replace(
        CARRY,
        before=NOW + timedelta(hours=6),
        load=Load(timedelta(minutes=20), NOW + timedelta(hours=5)),
    )
    early = replace(CARRY, load=Load(timedelta(minutes=20), NOW + timedelta(hours=1)))

    assert load_words.of_push([early, late], NOW, VOICE).lines == ()


@pytest.mark.parametrize(
    ("spray", "words"),
    [
        (None, ""),
        (Spray(0.339), "about 0.34 L"),
        (Spray(1.04, 1.0), "about 1 L"),
        (Spray(2.1, 1.5), "about 2.1 L: 2 fillings of 1.5 L"),
    ],
)
def test_how_much_a_spray_takes(spray: Spray | None, words: str) -> None:
    chore: Chore = replace(CARRY, kind=ChoreKind.MIST, spray=spray)

    assert load_words.spray(chore, VOICE) == words
