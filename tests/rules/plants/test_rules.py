"""Rules: reading them, and where they fire."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sillward_rules.planners.scene.scene import Scene
from sillward_rules.plants.limits import RestClass, Rot
from sillward_rules.plants.plant import Plant, Traits
from sillward_rules.plants.rule_firing import (
    Firing,
    classify,
    evaluate,
    evaluate_rule,
    reaches_bound,
)
from sillward_rules.plants.rule_reading import read_rule, standard_rules
from sillward_rules.plants.rules import Rule
from sillward_rules.weather import sun
from sillward_rules.weather.climate import climate_of
from sillward_rules.weather.spot import Spot
from tests.support.core import MENDOZA, OPEN_BENCH, WARM_ROOM, collection, plant, utc, weather

START = utc("2026-05-13T00:00")


def a_rule(**table: object) -> Rule:
    rule, problems = read_rule({"name": "own", "asks": "note", **table})
    assert rule is not None, problems
    return rule


def fired(
    rule: Rule,
    temp: np.ndarray,
    *plants: Plant,
    room: Spot = WARM_ROOM,
    wet_margin_k: float = 0.0,
    **series: object,
) -> Firing:
    household = collection(*plants, spots=(OPEN_BENCH, room))
    scene = Scene(household, weather(START, temp, **series), {}, START)
    # By plant, not by cohort: the order of the answer is that of the question.
    given = scene.collection.plants
    columns = scene.columns_of(plant.home for plant in given)
    return evaluate_rule(
        rule, Traits.of(given), columns, scene.site, scene.climate, wet_margin_k=wet_margin_k
    )


def test_the_standard_rules_use_the_growers_syntax() -> None:
    assert [rule.name for rule in standard_rules()] == [
        "cold night",
        "injury by cold",
        "wet crown overnight",
        "crowns wet overnight",
        "thirsty air",
        "dry air",
        "parched air",
        "hot air and sun",
        "hot dry air",
        "hot dry floor",
        "far too hot",
        "leaves too hot",
        "gusts",
        "heavy rain",
        "rain at rest",
        "hail",
    ]


def test_a_whole_rule_is_read() -> None:
    rule, problems = read_rule(
        {
            "name": "dry noon",
            "watch": "vpd",
            "above": "2.2 kPa",
            "lasting": "2 h",
            "hours": "10:00-17:00",
            "asks": "mist",
            "plants": {"holder": ["mount", "basket"]},
        }
    )

    assert problems == []
    assert rule is not None
    assert (rule.bound.value, rule.bound.limit, rule.direction) == (2.2, None, "above")
    assert rule.plants.holder == ("mount", "basket")


@pytest.mark.parametrize(
    ("change", "key", "words"),
    [
        ({"watch": "moonlight"}, "watch", "is not a quantity (known: temperature"),
        ({"watch": ["vpd"]}, "watch", "is not a quantity"),
        ({"asks": "sing"}, "asks", '"sing" is not a chore (known: carry in, mist, shade'),
        ({"above": "2.2 bar"}, "above", 'write "limit" or a value with its unit'),
        ({"above": 2.2}, "above", "is not a bound"),
        ({"above": ["limit"]}, "above", "is not a bound"),
        ({"below": "limit"}, "below", "exactly one of below and above"),
        ({"lasting": "soon"}, "lasting", '"soon" is not a duration'),
        ({"lasting": 2}, "lasting", "is not text"),
        ({"hours": "teatime"}, "hours", '"teatime" are not hours of the day'),
        ({"hours": "25:00-26:00"}, "hours", "is not a time of day"),
        ({"plants": {"holder": ["bucket"]}}, "plants.holder", "are not holders"),
        ({"plants": {"colour": "blue"}}, "plants.colour", "unknown key"),
        ({"plants": {"name": 3}}, "plants.name", "text or a list of texts"),
        ({"plants": "all"}, "plants", "write for example"),
        ({"colour": "blue"}, "colour", "unknown key"),
        ({"name": " "}, "name", "needs a name"),
        ({"name": "two\nlines"}, "name", "on one line"),
        ({"asks": None}, "asks", "nothing is not a chore"),
        ({"asks": "move"}, "asks", '"move" is out of the heat'),
        (
            {"season": "monsoon"},
            "season",
            '"monsoon" is not a season (known: growing, slowing, rest)',
        ),
        ({"season": ["rest", 3]}, "season", "is not a season"),
        ({"season": {"rest": True}}, "season", "is not a season"),
        ({"plants": {"rot": ["soon"]}}, "plants.rot", "['soon'] is not one of: low, medium, high"),
        ({"plants": {"rest": "wet"}}, "plants.rest", "['wet'] is not one of: none, dry"),
        ({"plants": {"rest": True}}, "plants.rest", "text or a list of texts"),
        ({"while": "windy"}, "while", 'write for example { watch = "wind", below = "0.5 m/s" }'),
        ({"while": {}}, "while.watch", "nothing is not a quantity (known: temperature"),
        ({"while": {}}, "while.below", "exactly one of below and above"),
        ({"while": {"watch": "wind", "below": "limit"}}, "while.below", "no plant has a limit for"),
        ({"while": {"watch": "wind", "below": "5 °C"}}, "while.below", 'such as "12 m/s"'),
        (
            {"while": {"watch": "wind", "above": "1 m/s", "lasting": "2 h"}},
            "while.lasting",
            "watch",
        ),
        ({"while": {"watch": "moonlight", "above": "1 m/s"}}, "while.watch", "is not a quantity"),
    ],
)
def test_what_is_wrong_is_told_with_its_key(change: dict[str, Any], key: str, words: str) -> None:
    good = {"name": "dry noon", "watch": "vpd", "above": "limit", "asks": "mist"}

    rule, problems = read_rule({**good, **change})

    assert rule is None
    assert any(problem.key == key and words in problem.text for problem in problems), problems


def test_all_that_is_wrong_is_told_at_once() -> None:
    _, problems = read_rule({"watch": "x", "asks": "y", "lasting": "z", "hours": "w"})

    assert {problem.key for problem in problems} == {
        "name",
        "watch",
        "asks",
        "below",
        "lasting",
        "hours",
    }


def test_a_limit_that_no_plant_has_is_refused() -> None:
    _, problems = read_rule({"name": "r", "watch": "wind", "above": "limit", "asks": "note"})

    assert "no plant has a limit for wind above" in problems[0].text


def test_lasting_drops_runs_that_are_too_short() -> None:
    rule, _ = read_rule(
        {
            "name": "r",
            "watch": "temperature",
            "above": "30 °C",
            "lasting": "3 h",
            "asks": "note",
        }
    )
    assert rule is not None
    temp = np.full(24, 20.0)
    temp[[3, 4, 10, 11, 12, 20, 21, 22, 23]] = 31.0
    scene = Scene(collection(), weather(START, temp), {}, START)

    firing = evaluate_rule(rule, scene.traits, scene.home, scene.site, scene.climate)

    assert list(np.flatnonzero(firing.fires[:, 0])) == [10, 11, 12, 20, 21, 22, 23]


def test_unknown_hours_never_fire_and_break_a_run() -> None:
    rule, _ = read_rule(
        {"name": "r", "watch": "gust", "above": "5 m/s", "lasting": "2 h", "asks": "note"}
    )
    assert rule is not None
    gust = np.array([9.0, np.nan, 9.0, 9.0, np.nan, 9.0])
    scene = Scene(collection(), weather(START, np.full(6, 20.0), gust_m_s=gust), {}, START)

    firing = evaluate_rule(rule, scene.traits, scene.home, scene.site, scene.climate)

    assert list(np.flatnonzero(firing.fires[:, 0])) == [2, 3]


def cold_night(scene: Scene) -> Firing:
    night = sun.night_at_or_after(scene.site, scene.now)
    return next(firing for firing in scene.carry_firings(night) if firing.rule.name == "cold night")


def test_plants_that_share_spot_and_bound_share_a_class() -> None:
    plants = [plant(f"p{i}", night_low=13.0 + i % 2, vpd_high=1.0 + i // 2) for i in range(6)]
    scene = Scene(collection(*plants), weather(START, np.full(24, 20.0)), {}, START)

    firing = cold_night(scene)

    assert firing.fires.shape == (firing.times.size, 2)
    assert list(firing.member) == [0, 1, 0, 1, 0, 1]


def test_a_plant_without_the_limit_is_left_alone() -> None:
    scene = Scene(
        collection(plant("a", night_low=None), plant("b")),
        weather(START, np.full(24, 5.0)),
        {},
        START,
    )

    firing = cold_night(scene)

    assert list(firing.by_plant(np.asarray(firing.fires.any(axis=0)))) == [False, True]


# -- what stands beside a limit


@pytest.mark.parametrize(
    ("watch", "side", "text", "limit", "more"),
    [
        ("leaf temperature", "below", "limit + 2 °C", "night_low", 2.0),
        ("leaf temperature", "below", "limit+2K", "night_low", 2.0),
        ("leaf temperature", "below", "brief_low - 0.5 degC", "brief_low", -0.5),
        ("temperature", "above", "limit - 3 °C", "day_high", -3.0),
        ("humidity", "below", " limit - 25 % ", "humidity_low", -25.0),
        ("leaf temperature", "above", "night_low", "night_low", 0.0),
        ("ppfd", "above", "light_low + 50 umol m-2 s-1", "light_low", 50.0),
    ],
)
def test_a_bound_is_a_limit_and_so_much_more(
    watch: str, side: str, text: str, limit: str, more: float
) -> None:
    rule, problems = read_rule({"name": "r", "watch": watch, side: text, "asks": "note"})

    assert rule is not None, problems
    assert (rule.bound.value, rule.bound.limit, rule.bound.more) == (None, limit, more)


@pytest.mark.parametrize(
    "text",
    [
        "limit + 2 kPa",
        "limit + 2",
        "limit + °C",
        "limit * 2 °C",
        "humidity_low",
        "12 + 2 °C",
        "night_low + 2 °C + 1 °C",
        "2 °C + limit",
        "limit + 1e3 °C",
        f"limit + {'9' * 400} °C",
    ],
)
def test_what_is_neither_limit_nor_value_is_refused(text: str) -> None:
    rule, problems = read_rule(
        {"name": "r", "watch": "temperature", "below": text, "asks": "carry in"}
    )

    assert rule is None
    (problem,) = problems
    assert problem.key == "below"
    assert 'is not a bound; write "limit" or a value with its unit, such as "12 °C"' in problem.text


def test_a_negative_value_is_a_value_and_no_subtraction() -> None:
    rule, _ = read_rule({"name": "r", "watch": "temperature", "below": "-2 °C", "asks": "carry in"})

    assert rule is not None
    assert (rule.bound.value, rule.bound.limit) == (-2.0, None)


def test_more_than_the_limit_moves_the_bound_of_each_plant() -> None:
    rule = a_rule(watch="temperature", below="limit + 2 °C", asks="carry in")
    firing = fired(
        rule,
        np.array([16.0, 14.9, 12.9, 10.0]),
        plant("a", night_low=13.0),
        plant("b", night_low=9.0),
    )

    # 15 for a, 11 for b.
    assert [list(firing.fires[:, of_class]) for of_class in firing.member] == [
        [False, True, True, True],
        [False, False, False, True],
    ]


# -- while


def test_both_must_hold_at_the_same_hour() -> None:
    rule = a_rule(
        watch="temperature",
        above="30 °C",
        **{"while": {"watch": "gust", "below": "4 m/s"}},
    )
    firing = fired(
        rule, np.array([31.0, 31.0, 20.0, 31.0]), gust_m_s=np.array([2.0, 9.0, 2.0, 4.0])
    )

    assert list(firing.fires[:, 0]) == [True, False, False, False]


def test_a_lasting_run_is_one_of_both() -> None:
    rule = a_rule(
        watch="temperature",
        above="30 °C",
        lasting="2 h",
        **{"while": {"watch": "gust", "below": "4 m/s"}},
    )
    gust = np.array([9.0, 2.0, 9.0, 2.0, 2.0])

    firing = fired(rule, np.full(5, 31.0), gust_m_s=gust)

    assert list(firing.fires[:, 0]) == [False, False, False, True, True]


def test_a_condition_on_a_limit_is_silent_without_it() -> None:
    rule = a_rule(
        watch="gust",
        above="1 m/s",
        **{"while": {"watch": "temperature", "below": "night_low + 4 °C"}},
    )
    firing = fired(rule, np.full(3, 15.0), plant("a", night_low=None), plant("b", night_low=12.0))

    assert list(firing.by_plant(np.asarray(firing.fires.any(axis=0)))) == [False, True]


@pytest.mark.parametrize(
    ("temp", "gust", "known"),
    [
        (31.0, 2.0, True),
        (20.0, 2.0, True),
        (np.nan, 9.0, True),  # it cannot fire, whatever the temperature
        (np.nan, 2.0, False),
        (31.0, np.nan, False),
    ],
)
def test_it_is_known_whether_a_rule_fires_if_what_is_unknown_cannot_matter(
    temp: float, gust: float, known: bool
) -> None:
    rule = a_rule(
        watch="temperature", above="30 °C", **{"while": {"watch": "gust", "below": "4 m/s"}}
    )

    firing = fired(rule, np.full(5, temp), gust_m_s=gust)

    assert (firing.known == known).all()


# -- season and plants


@pytest.mark.parametrize(
    ("season", "fires"),
    [("rest", True), (["growing", "rest"], True), ("growing", False), ([], True)],
)
def test_a_rule_speaks_in_its_seasons(season: object, fires: bool) -> None:
    rule = a_rule(watch="temperature", below="30 °C", season=season)

    firing = fired(rule, np.full(240, 8.0))  # two weeks of 8 °C are rest

    assert firing.fires.any() == fires


def test_each_plant_is_in_the_season_of_its_spot() -> None:
    rule = a_rule(watch="temperature", below="30 °C", season="rest")
    firing = fired(
        rule,
        np.full(240, 8.0),
        plant("out"),
        plant("in", home="room", shelter=None),
        room=replace(WARM_ROOM, night_low_c=22.0, day_low_c=22.0),
    )

    assert list(firing.member >= 0) == [True, False]


@pytest.mark.parametrize(
    ("chosen", "speaks"),
    [
        ({"rot": "high"}, [True, False, False]),
        ({"rot": ["medium", "low"]}, [False, True, True]),
        ({"rest": "dry"}, [False, False, True]),
        ({"rest": ["none"]}, [True, True, False]),
        ({"rest": ["dry"], "rot": ["high"]}, [False, False, False]),
        ({}, [True, True, True]),
    ],
)
def test_plants_are_chosen_by_how_they_rot_and_rest(
    chosen: dict[str, object], speaks: list[bool]
) -> None:
    rule = a_rule(watch="temperature", below="30 °C", plants=chosen)
    unknown, rests = plant("of no known class"), plant("rests", rot="low")
    plants = (
        plant("rots", rot="high"),
        replace(unknown, limits=replace(unknown.limits, rot=None)),
        replace(rests, limits=replace(rests.limits, rest=RestClass("dry", "test"))),
    )

    firing = fired(rule, np.full(24, 15.0), *plants)

    assert list(firing.member >= 0) == speaks


# -- wet crowns


@pytest.mark.parametrize(
    ("watch", "side", "rot", "raised"),
    [
        ("leaf temperature", "below", "high", 1.5),
        ("temperature", "below", "high", 1.5),
        ("leaf temperature", "below", "medium", 0.0),
        ("leaf temperature", "below", "low", 0.0),
        ("leaf temperature", "above", "high", 0.0),
        ("humidity", "below", "high", 0.0),
    ],
)
def test_only_a_lower_bound_on_warmth_rises_with_a_wet_crown(
    watch: str, side: str, rot: Rot, raised: float
) -> None:
    unit = "%" if watch == "humidity" else "°C"
    rule = a_rule(watch=watch, **{side: f"12 {unit}"})
    rain = np.where(np.arange(24) >= 6, 1.0, 0.0)
    rain[:3] = 0.0

    firing = fired(rule, np.full(24, 15.0), plant(rot=rot), wet_margin_k=1.5, rain_mm=rain)

    assert list(firing.bound[[0, 5, 6, 23], 0]) == [12.0, 12.0, 12.0 + raised, 12.0 + raised]
    assert list(firing.limit) == [12.0]


def test_an_unknown_crown_counts_as_wet() -> None:
    rule = a_rule(watch="leaf temperature", below="12 °C")
    firing = fired(rule, np.full(4, 15.0), plant(rot="high"), wet_margin_k=1.5, rain_mm=np.nan)

    assert list(firing.bound[:, 0]) == [13.5] * 4


@given(
    values=st.lists(st.floats(-10, 40) | st.just(float("nan")), min_size=30, max_size=60),
    bound=st.integers(-5, 35),
    direction=st.sampled_from(["below", "above"]),
)
def test_a_rule_that_fires_reaches_its_bound(
    values: list[float], bound: int, direction: str
) -> None:
    rule = a_rule(watch="temperature", **{direction: f"{bound} °C"})
    climate = climate_of(MENDOZA, (OPEN_BENCH,), weather(START, values))
    traits, columns = Traits.of([plant()]), np.zeros(1, dtype=np.int64)
    classes = classify(rule, traits, columns, climate)

    fires = bool(evaluate(classes, MENDOZA, climate, slice(None)).fires.any())

    reached = reaches_bound(rule, traits, columns, climate, slice(None))
    assert reached or not fires
    if direction == "above":
        assert reached == fires
