"""The schema of a collection: what an editor is told agrees with what `check` takes."""

import json
import re
import tomllib
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from hypothesis import example, given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from sillward.cli import main
from sillward.config import json_schema, models, patterns
from sillward_rules.plants import rule_grammar
from sillward_rules.plants.collection import CAUTION, Habits
from sillward_rules.plants.fertiliser import parse_npk
from sillward_rules.plants.rule_reading import read_rule
from sillward_rules.plants.rules import QUANTITIES
from sillward_rules.weather import time_expressions
from sillward_rules.weather.time_expressions import Moment
from tests.support.documents import first_collection, key_tables, text_of
from tests.support.paths import COLLECTIONS, EXAMPLES, ROOT

FILES = sorted(COLLECTIONS.glob("*.toml"))
SCHEMA = json_schema.collection_schema()

ONLY_CHECK_KNOWS = {
    "channel-name-twice",
    "home-is-shelter",
    "longitude-not-finite",  # JSON has no such number
    "plant-name-twice",
    "rule-for-unknown-plant",
    "unknown-group",
    "unknown-group-far",
    "unknown-home-spot",
    "unknown-shelter-spot",
    "unknown-zone",
}
"""Mistakes that are none of shape: what is twice, what leads nowhere."""


def errors(document: object, table: str | None = None) -> list[str]:
    """What an editor marks in a document, or in one of its tables."""
    part = SCHEMA if table is None else {"$defs": SCHEMA["$defs"], "$ref": f"#/$defs/{table}"}
    return [error.message for error in Draft202012Validator(part).iter_errors(document)]


def read(path: Path) -> Any:
    return tomllib.loads(path.read_text(encoding="utf-8"))


# -- files


def test_it_is_a_schema_and_the_command_prints_it() -> None:
    Draft202012Validator.check_schema(SCHEMA)

    result = CliRunner().invoke(main, ["schema"])

    assert result.exit_code == 0
    assert json.loads(result.stdout) == SCHEMA
    assert SCHEMA["$schema"].endswith("/2020-12/schema")


@pytest.mark.parametrize("name", ["courtyard", "three-hundred-plants"])
def test_the_examples_are_good(name: str) -> None:
    assert errors(read(EXAMPLES / f"{name}.toml")) == []


def test_the_collection_that_the_readme_shows_is_good() -> None:
    assert errors(tomllib.loads(first_collection())) == []


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_a_mistake_of_shape_is_marked_and_nothing_else(path: Path) -> None:
    good = path.stem in {"good", *ONLY_CHECK_KNOWS}

    assert (errors(read(path)) == []) is good


def test_every_mistake_is_marked() -> None:
    path = next(path for path in FILES if path.stem == "ten-mistakes")

    assert len(errors(read(path))) == 9  # and one that only `check` knows: the group


@pytest.mark.parametrize(
    ("table", "document"),
    [
        ("SpotTable", {"indoors": True, "night_low": 14, "night_offset": 2}),
        ("SpotTable", {"humidity": 50}),
        ("PlantTable", {"name": "a", "parents": []}),
        ("PlantTable", {"name": "a", "group": "aloe", "parents": ["aloe"]}),
        ("PlantTable", {"name": "a", "names": ["b"], "group": "aloe"}),
        ("PlantTable", {"group": "aloe"}),
        ("PlantTable", {"names": ["a"], "count": 2}),
        ("PlantTable", {"name": "a", "count": 0}),
        ("PlantTable", {"name": "a", "but": {"a": {}}}),
        ("PlantTable", {"name": "a", "shelter": True}),
        ("DefaultsTable", {"name": "a"}),
        ("FeedTable", {"npk": "20-20-20", "water_ec": 0.1}),
        ("FeedTable", {"npk": "20-20-20", "water_ec": 0.1, "ppm_n": 50, "grams_per_litre": 1}),
        ("FeedTable", {"npk": "20/20/20", "water_ec": 0.1, "ppm_n": 50}),
        ("NoticesTable", {"quiet": "night"}),
        ("NoticesTable", {"remind": "soon"}),
    ],
)
def test_keys_that_do_not_go_together_are_marked(table: str, document: object) -> None:
    assert len(errors(document, table)) == 1


@pytest.mark.parametrize(
    ("table", "document"),
    [
        ("SpotTable", {}),
        ("SpotTable", {"indoors": True, "night_low": 14, "humidity": 50}),
        ("PlantTable", {"name": "a", "holder": "pot", "home": "b", "limits": {"night_low": 5}}),
        ("PlantTable", {"name": "a", "count": 2, "but": {"a 2": {"home": "c", "pot": False}}}),
        ("NoticesTable", {"remind": "never", "quiet": "sunset+1h to sunrise-10min"}),
        ("FeedTable", {"npk": "12.5-0-25", "water_ec": 0, "ppm_n": 50, "salts": {"KNO3": 0.1}}),
    ],
)
def test_keys_that_go_together_are_not(table: str, document: object) -> None:
    assert errors(document, table) == []


SITE = {"name": "s", "latitude": 0, "longitude": 0, "elevation": 0, "zone": "UTC"}
PLANT = {"name": "a", "holder": "pot", "home": "b", "group": "aloe", "pot": {"medium": "bark"}}
DEFAULTS = [
    ("holder", {"holder": "pot"}),
    ("home", {"home": "b"}),
    ("group", {"limits": {"night_low": 5}}),
    ("pot", {"pot": {"litres": 2}}),
]


@pytest.mark.parametrize(("key", "default"), DEFAULTS, ids=[key for key, _ in DEFAULTS])
def test_what_a_plant_needs_may_be_a_default(key: str, default: dict[str, Any]) -> None:
    whole = {**PLANT, "pot": {"litres": 2, "medium": "bark"}}
    plant = PLANT if key == "pot" else {name: whole[name] for name in whole if name != key}

    assert len(errors({"site": SITE, "spots": {"b": {}}, "plants": [plant]})) == 1
    assert errors({"site": SITE, "spots": {"b": {}}, "plants": [plant], "defaults": default}) == []


# -- words on every key


def properties() -> Iterator[tuple[str, str, dict[str, Any]]]:
    for table, definition in SCHEMA["$defs"].items():
        for key, node in definition.get("properties", {}).items():
            yield table, key, node


def test_every_key_and_every_table_has_a_description() -> None:
    told = {f"{table}.{key}": node.get("description") for table, key, node in properties()}
    told |= {name: SCHEMA["$defs"][name].get("description") for name in SCHEMA["$defs"]}

    assert len(told) > 90
    assert [name for name, text in told.items() if not text] == []


def test_every_number_has_its_unit() -> None:
    unit = re.compile(
        r"degrees|metres|°C|\bK\b|%|kPa|umol|mS/cm|m/s|\bmm\b|, c?m\b|mg/L|g/L|, L\b|pH"
        r"|0\.\.1|times"
    )
    numbers = [
        (f"{table}.{key}", node["description"])
        for table, key, node in properties()
        if node.get("type") == "number"
    ]

    assert len(numbers) > 35
    assert [name for name, text in numbers if not unit.search(text)] == []


TABLES = {
    "site": "SiteTable",
    "spots": "SpotTable",
    "plants": "PlantTable",
    "pot": "PotTable",
    "limits": "LimitsTable",
    "rules": "RuleTable",
    "habits": "HabitsTable",
    "water": "WaterTable",
    "feed": "FeedTable",
    "feeds": "NamedFeedTable",
    "courses": "CourseTable",
    "rounds": "RoundsTable",
    "notices": "NoticesTable",
    "channels": "ChannelTable",
    "page": "PageTable",
    "mqtt": "MqttTable",
    "sensors": "SensorTable",
}


@pytest.mark.parametrize("name", TABLES)
def test_the_schema_and_the_manual_know_the_same_keys(name: str) -> None:
    known = set(SCHEMA["$defs"][TABLES[name]]["properties"])

    assert key_tables(text_of("docs/collection.md"))[name] == known


def test_every_table_of_the_file_is_in_the_schema() -> None:
    assert {*SCHEMA["properties"], "limits", "pot"} == {*TABLES, "defaults"}


def test_the_defaults_are_keys_of_plants() -> None:
    tables = {name: SCHEMA["$defs"][name]["properties"] for name in ("DefaultsTable", "PlantTable")}
    of_several = {"name", "names", "count", "but"}

    assert tables["PlantTable"].keys() - tables["DefaultsTable"].keys() == of_several
    assert all(tables["PlantTable"][key] == node for key, node in tables["DefaultsTable"].items())


def test_defaults_that_are_told_are_those_of_the_core() -> None:
    habits = Habits()
    told = 0
    for key, node in SCHEMA["$defs"]["HabitsTable"]["properties"].items():
        match = re.search(r"\(([^()]+)\)$", node["description"])
        if match is None:
            continue
        text = match[1].strip('"')
        unit = {"out_margin": "_k", "wet_margin": "_k"}
        default: object = getattr(habits, key + unit.get(key, ""))
        if isinstance(default, timedelta):
            assert time_expressions.parse_duration(text) == default, key
        elif isinstance(default, Moment):
            assert text == default.text, key
        elif key == "caution":
            assert CAUTION[text] == default
        else:
            assert float(text) == default, key
        told += 1
    assert told == 14


# -- texts


PARSERS: dict[str, tuple[Callable[[str], object], list[str], list[str]]] = {
    patterns.DURATION: (
        time_expressions.parse_duration,
        ["45 min", "2 h", "1h30min", "7 d", " 1.5h ", "1 d 2 h 3 min"],
        ["", "min", "45", "an hour", "30min1h", "2 hours", "-2 h"],
    ),
    patterns.MOMENT: (
        time_expressions.parse_moment,
        ["17:30", "7:05", "sunset", "Sunset - 90 MIN", "sunrise+1h", "SUNRISE + 1h30min"],
        ["25:00", "17:60", "teatime", "sunset90min", "1730", "sunset-"],
    ),
    patterns.WEEKLY: (
        time_expressions.parse_weekly,
        ["sun 18:00", "Saturday  sunset-2h", "mon 7:00", " wednesday 12:00 "],
        ["sun", "someday 18:00", "sun18:00", "18:00"],
    ),
    patterns.HOURS: (
        time_expressions.parse_hours,
        ["day", "Night", "any", "10:00-17:00", "7:00 - 9:30", "sunrise+1h to sunset-2h"],
        ["noon", "10:00", "10:00 - sunset", "day to night"],
    ),
    patterns.QUIET: (
        lambda text: models.NoticesTable(quiet=text),
        ["22:30-06:30", "sunset+2h to 7:00"],
        ["night", "22:30"],
    ),
    patterns.NPK: (parse_npk, ["20-20-20", "12.5-0-25", " 0-10-10 "], ["20", "20/20/20", "NPK"]),
}


@pytest.mark.parametrize("shape", PARSERS)
def test_shapes_take_what_growers_write_and_refuse_what_the_parser_refuses(shape: str) -> None:
    parse, good, bad = PARSERS[shape]

    for text in good:
        assert re.search(shape, text), text
        parse(text)
    assert [text for text in bad if re.search(shape, text)] == []


WORDS = (
    "7", "30", "1.5", "0", " ", " ", "d", "h", "min", "sunset", "Sunrise", "-", "+", " to ", "day",
    "any", "NIGHT", "17:30", "9:05", "24:00", "sun ", "Sat ", "monday ", "20", "never",
)  # fmt: skip


@given(st.lists(st.sampled_from(WORDS), max_size=8).map("".join))
@example("1d2h3min")
@example("sunset+7h30min to 9:05")
def test_no_shape_refuses_what_its_parser_takes(text: str) -> None:
    for shape, (parse, _, _) in PARSERS.items():
        try:
            parse(text)
        except ValueError:
            continue
        assert re.search(shape, text, re.ASCII), (shape, text)


BOUNDS = (
    "limit", "limit + 2 °C", "limit - 1 K", "limit+1 kPa", "night_low + 4 °C", "night_low",
    "gust_high - 1 m/s", "rain_high", "8 m/s", "-3 °C", "5 degC", "5 C", "2.2 kPa", "60 %", "60%",
    "3 h", "12 mm", "800 W/m²", "800 W/m2", "500 umol m-2 s-1", "light_low", "5", "5 km/h", "",
    "limit + 2", "°C", "vpd_high + 1 m/s", "rot",
)  # fmt: skip


@pytest.mark.parametrize("quantity", QUANTITIES)
@pytest.mark.parametrize("direction", ["below", "above"])
def test_bounds_are_marked_as_rules_refuse_them(quantity: str, direction: str) -> None:
    for text in BOUNDS:
        rule = {"name": "mine", "watch": quantity, direction: text, "asks": "note"}
        taken = read_rule(rule)[0] is not None

        assert (errors(rule, "RuleTable") == []) is taken, text


@pytest.mark.parametrize(
    ("table", "keys"),
    [
        ("RuleTable", rule_grammar.RULE_KEYS),
        ("ConditionTable", rule_grammar.CONDITION_KEYS),
        ("ChosenTable", rule_grammar.CHOICE_KEYS),
    ],
)
def test_every_key_of_a_rule_is_described(table: str, keys: dict[str, object]) -> None:
    assert set(SCHEMA["$defs"][table]["properties"]) == set(keys)


def test_the_standard_rules_are_good() -> None:
    for rule in read(ROOT / "rules" / "sillward_rules" / "plants" / "standard_rules.toml")["rules"]:
        assert errors(rule, "RuleTable") == [], rule["name"]


@pytest.mark.parametrize(
    "change",
    [
        {"below": "1 m/s"},
        {"while": {"watch": "wind"}},
        {"while": {"watch": "wind", "below": "1 K"}},
        {"season": "winter"},
        {"plants": {"holder": "bucket"}},
        {"plants": {"colour": "red"}},
        {"lasting": "long"},
        {"asks": "sing"},
        {"name": ""},
        {"when": "now"},
    ],
)
def test_a_rule_that_is_refused_is_marked(change: dict[str, Any]) -> None:
    rule = {"name": "mine", "watch": "gust", "above": "8 m/s", "asks": "note"}
    assert errors(rule, "RuleTable") == []

    assert read_rule(rule | change)[0] is None
    assert errors(rule | change, "RuleTable")
