"""Rules: reading them, and where they fire."""

from typing import Any

import numpy as np
import pytest

from sillward_rules.rule import fire, read_rule, standard_rules
from sillward_rules.scene import Scene
from tests.rules.support import collection, plant, utc, weather

START = utc("2026-05-13T00:00")


def test_the_standard_rules_use_the_growers_syntax() -> None:
    assert [rule.name for rule in standard_rules()] == [
        "cold night",
        "injury by cold",
        "wet crown overnight",
        "thirsty air",
        "dry air",
        "parched air",
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
        ({"watch": "moonlight"}, "watch", "is no quantity (known: temperature"),
        ({"watch": ["vpd"]}, "watch", "is no quantity"),
        ({"asks": "sing"}, "asks", '"sing" is no chore (known: carry in, mist, shade'),
        ({"above": "2.2 bar"}, "above", 'write "limit" or a value with its unit'),
        ({"above": 2.2}, "above", "is no bound"),
        ({"above": ["limit"]}, "above", "is no bound"),
        ({"below": "limit"}, "below", "exactly one of below and above"),
        ({"lasting": "soon"}, "lasting", '"soon" is no duration'),
        ({"lasting": 2}, "lasting", "is no text"),
        ({"hours": "teatime"}, "hours", '"teatime" are no hours'),
        ({"hours": "25:00-26:00"}, "hours", "is no time of day"),
        ({"plants": {"holder": ["bucket"]}}, "plants.holder", "are no holders"),
        ({"plants": {"colour": "blue"}}, "plants.colour", "unknown key"),
        ({"plants": {"name": 3}}, "plants.name", "text or a list of texts"),
        ({"plants": "all"}, "plants", "write for example"),
        ({"colour": "blue"}, "colour", "unknown key"),
        ({"name": " "}, "name", "needs a name"),
    ],
)
def test_what_is_wrong_is_told_with_its_key(change: dict[str, Any], key: str, words: str) -> None:
    good = {"name": "dry noon", "watch": "vpd", "above": "limit", "asks": "mist"}

    rule, problems = read_rule({**good, **change})

    assert rule is None
    assert any(one.key == key and words in one.text for one in problems), problems


def test_all_that_is_wrong_is_told_at_once() -> None:
    _, problems = read_rule({"watch": "x", "asks": "y", "lasting": "z", "hours": "w"})

    assert {one.key for one in problems} == {"name", "watch", "asks", "below", "lasting", "hours"}


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

    firing = fire(rule, scene.traits, scene.home, scene.site, scene.climate)

    assert list(np.flatnonzero(firing.fires[:, 0])) == [10, 11, 12, 20, 21, 22, 23]


def test_unknown_hours_never_fire_and_break_a_run() -> None:
    rule, _ = read_rule(
        {"name": "r", "watch": "gust", "above": "5 m/s", "lasting": "2 h", "asks": "note"}
    )
    assert rule is not None
    gust = np.array([9.0, np.nan, 9.0, 9.0, np.nan, 9.0])
    scene = Scene(collection(), weather(START, np.full(6, 20.0), gust_m_s=gust), {}, START)

    firing = fire(rule, scene.traits, scene.home, scene.site, scene.climate)

    assert list(np.flatnonzero(firing.fires[:, 0])) == [2, 3]


def test_plants_that_share_spot_and_bound_share_a_class() -> None:
    plants = [plant(f"p{i}", night_low=13.0 + i % 2, vpd_high=1.0 + i // 2) for i in range(6)]
    scene = Scene(collection(*plants), weather(START, np.full(24, 20.0)), {}, START)

    firing = next(one for one in scene.carry_firings if one.rule.name == "cold night")

    assert firing.fires.shape == (24, 2)
    assert list(firing.member) == [0, 1, 0, 1, 0, 1]


def test_a_plant_without_the_limit_is_left_alone() -> None:
    scene = Scene(
        collection(plant("a", night_low=None), plant("b")),
        weather(START, np.full(24, 5.0)),
        {},
        START,
    )

    firing = next(one for one in scene.carry_firings if one.rule.name == "cold night")

    assert list(firing.by_plant(np.asarray(firing.fires.any(axis=0)))) == [False, True]
