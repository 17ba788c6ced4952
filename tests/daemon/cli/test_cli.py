"""The command line: every command, its exit status, its streams, and the machine-readable sheet."""

import functools
import itertools
import json
import re
import sqlite3
import webbrowser
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from click.testing import Result

from sillward.assembly import app, examples, read_only
from sillward.assembly.app import Options
from sillward.assembly.examples import DEMOS
from sillward.charts import process
from sillward.cli import main, shared
from sillward.config.loader import load_household
from sillward.config.settings import load_settings
from sillward.ledger import Ledger, SavedForecast
from sillward.text import terminal
from sillward.wording import full_sheet, short_sheet
from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.planners.walks import PLANT_PRICE, WALK_PRICE
from sillward_rules.plants.collection import DEFAULT_CAUTION
from sillward_rules.plants.rule_reading import standard_rules
from sillward_rules.plants.state import PlantState
from sillward_rules.sheet import Round, Sheet, draw_up
from sillward_rules.transitions import all_confirmed, next_state
from tests.support.bodies import body, dumped
from tests.support.chores import a_chore
from tests.support.commands import call
from tests.support.paths import COLLECTIONS, EXAMPLES
from tests.support.slow import some_slow

COURTYARD = EXAMPLES / "courtyard.toml"
GOOD = COLLECTIONS / "good.toml"
ZONE = ZoneInfo("America/Argentina/Mendoza")

COMMANDS = ("demo", "check", "sheet", "why", "send", "run", "done", "status")
"""The contract's commands."""

TODAY = datetime(2026, 11, 25, 12, tzinfo=UTC)
"""The wall clock of these tests: outside every recorded forecast."""

ROUNDS = [round_.value for round_ in Round]


@pytest.fixture(autouse=True)
def _wall_clock(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shared, "build", functools.partial(app.build, clock=lambda: TODAY))


def recorded(weather: str) -> tuple[object, ...]:
    return ("--collection", COURTYARD, "--recorded", EXAMPLES / "recorded" / f"{weather}.json")


def document(result: Result) -> Any:
    """The one JSON document on standard output."""
    assert result.exit_code == 0, result.stderr
    return json.loads(result.stdout)


def refused(result: Result, status: int) -> str:
    """What standard error says of a call that ends with this status; the answer is empty."""
    assert (result.exit_code, result.stdout) == (status, ""), result.output
    assert result.stderr.strip()
    return result.stderr


# -- help


@pytest.mark.parametrize("command", [*COMMANDS, "groups"])
def test_every_command_has_help(command: str) -> None:
    result = call(command, "--help")

    assert result.exit_code == 0
    assert result.stdout.startswith(f"Usage: main {command}")
    assert len(result.stdout.splitlines()) > 4
    assert call(command, "-h").stdout == result.stdout


def test_the_help_of_all_names_every_command_with_a_word_on_it() -> None:
    lines = call("--help").stdout.split("Look:")[1].split("Exit status:")[0].splitlines()
    told = dict(line.split(maxsplit=1) for line in lines if line.startswith("  ") and line.strip())

    assert set(told) == set(main.commands) >= set(COMMANDS)
    assert all(len(text) > 10 for text in told.values())
    assert "..." not in " ".join(told.values())


def test_every_option_has_help() -> None:
    for name, command in main.commands.items():
        for parameter in command.params:
            if parameter.param_type_name == "option":
                assert getattr(parameter, "help", None), (name, parameter.name)


def test_the_version_is_told() -> None:
    assert re.search(r"\d+\.\d+", call("--version").stdout)


@pytest.mark.parametrize(
    "arguments",
    [
        ["water"],
        ["sheet", "--round", "noon"],
        ["demo", "monsoon"],
        ["send"],
        ["why"],
        ["done"],
        ["sheet", "--colection", "x"],
    ],
)
def test_a_wrong_call_ends_with_2(arguments: list[str]) -> None:
    refused(call(*arguments), 2)


# -- demo


@pytest.mark.parametrize("weather", DEMOS)
def test_the_demo_shows_three_rounds_and_touches_nothing(weather: str, tmp_path: Path) -> None:
    before = sorted(tmp_path.rglob("*"))

    result = call("demo", weather)

    assert result.exit_code == 0
    assert result.stderr == ""
    for round_ in ROUNDS:
        assert f"The {round_} push, as a phone shows it" in result.stdout
        assert f"Courtyard: {round_} round, " in result.stdout
    assert result.stdout.count("A forecast is not a promise") == 3
    assert sorted(tmp_path.rglob("*")) == before


def test_the_demo_is_the_cold_snap_unless_told_otherwise() -> None:
    assert call("demo").stdout == call("demo", "cold-snap").stdout


def test_the_demo_needs_no_settings(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SILLWARD_LOG_LEVEL", "wrong")
    monkeypatch.setenv("SILLWARD_COLLECTION", "nowhere.toml")

    assert call("demo").exit_code == 0


# -- the machine-readable sheet

KINDS = {
    *("carry-in", "carry-out", "stay-in", "mist", "feed", "flush", "stop-wetting"),
    *("shade", "cover", "secure", "damp-down", "water", "course", "leach"),
}
HOURS = range(0, 24, 3)
"""Every second one is in the slow set."""
WETTINGS = {"mist", "feed", "flush", "water", "course", "leach"}
SHEET_KEYS = {"schema", "round", "at", "site", "forecast", "chores", "warnings"}
CHORE_KEYS = {
    *("id", "chore", "plants", "from", "to", "not_before", "before", "because", "chance"),
}
KEYS_BESIDE = {
    "carry-in": {"confirmed", "overdue_since"},
    "carry-out": {"if_taken_in"},
    "stay-in": {"confirmed"},
    "water": {"with", "if_not_watered"},
}
WHERE_KNOWN = {"what", "takes_min", "begin_by", "heavy", "litres"}
"""Keys that are there only where the sizes of plants, or the name of a feed, say something."""
REASON_KEYS = {"plant", "quantity", "value", "unit", "limit", "at"}
WEIGHING_KEYS = {"expected_harm", "gain_trips", "price_trips"}
KEYS_BESIDE_REASON = {"origin", "hours", "degree_hours", "chance", "until", "above", "litres"}


def local_time(text: object) -> datetime:
    """An ISO 8601 time with offset, in the site's zone."""
    assert isinstance(text, str)
    at = datetime.fromisoformat(text)
    assert at.tzinfo is not None
    assert at.utcoffset() == at.astimezone(ZONE).utcoffset()
    assert at.isoformat(timespec="seconds") == text
    return at


def is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def check_reason(reason: dict[str, Any]) -> None:
    assert set(reason) - KEYS_BESIDE_REASON - WEIGHING_KEYS == REASON_KEYS
    assert set(reason) & WEIGHING_KEYS in (set(), WEIGHING_KEYS)
    assert 0 <= reason.get("chance", 0) <= 1
    for key in ("plant", "quantity", "unit"):
        assert isinstance(reason[key], str), key
        assert reason[key].strip(), key
    for key in ("value", "limit"):
        assert reason[key] is None or is_number(reason[key]), key
    assert isinstance(reason.get("origin", ""), str)
    local_time(reason["at"])
    if "expected_harm" in reason:
        check_weighing(reason)


def check_weighing(reason: dict[str, Any]) -> None:
    """Harm is a share, and gain and price are in trips; the worth of the plants is not given."""
    assert reason["unit"] == "°C"
    assert 0 <= reason["expected_harm"] <= 1
    assert PLANT_PRICE <= reason["price_trips"] <= PLANT_PRICE + WALK_PRICE
    at_least, at_most = (DEFAULT_CAUTION * (reason["expected_harm"] + off) for off in (-6e-5, 6e-5))
    assert at_least - 0.006 <= reason["gain_trips"] <= at_most + 0.006


def check_chore(chore: dict[str, Any], plants: set[str], spots: set[str]) -> None:
    wetting = chore["chore"] in WETTINGS
    assert set(chore) - WHERE_KNOWN == CHORE_KEYS | KEYS_BESIDE.get(
        chore["chore"], {"with"} if wetting else set()
    )
    assert re.fullmatch(r"[a-z0-9-]+", chore["id"])
    assert chore["chore"] in KINDS
    assert chore["plants"]
    assert len(set(chore["plants"])) == len(chore["plants"])
    assert set(chore["plants"]) <= plants
    assert {chore["from"], chore["to"]} <= spots
    moves = chore["chore"] in ("carry-in", "carry-out")
    assert (chore["from"] != chore["to"]) == moves
    before = local_time(chore["before"])
    if chore["not_before"] is not None:
        assert local_time(chore["not_before"]) <= before
    assert chore["chance"] is None or 0 <= chore["chance"] <= 1
    for reason in chore["because"]:
        check_reason(reason)
        if chore["chore"] == "carry-in" and reason["value"] is not None and reason["unit"] == "°C":
            # By the forecast itself, or for the risk that is weighed.
            assert reason["value"] < reason["limit"] or reason["gain_trips"] >= PLANT_PRICE
    assert {reason["plant"] for reason in chore["because"]} == set(chore["plants"])


def check_sheet(sheet: dict[str, Any], round_: str, collection: Path) -> None:
    """Hold a document against the contract of schema 1."""
    known = load_household(collection).collection
    assert set(sheet) - {"outlook"} == SHEET_KEYS
    assert (sheet["schema"], sheet["round"], sheet["site"]) == (1, round_, known.site.name)
    assert type(sheet["schema"]) is int
    local_time(sheet["at"])
    forecast = sheet["forecast"]
    assert set(forecast) - {"issued", "fetched"} == {"source", "age_minutes"}
    assert {"issued", "fetched"} & set(forecast)
    assert isinstance(forecast["source"], str)
    assert forecast["source"]
    assert type(forecast["age_minutes"]) is int
    assert forecast["age_minutes"] >= 0
    for key in {"issued", "fetched"} & set(forecast):
        local_time(forecast[key])
    plants = {plant.name for plant in known.plants}
    spots = {spot.name for spot in known.spots}
    for chore in sheet["chores"]:
        check_chore(chore, plants, spots)
    ids = [chore["id"] for chore in sheet["chores"]]
    assert len(set(ids)) == len(ids)
    assert all(isinstance(text, str) and text.strip() for text in sheet["warnings"])


CASES = list(itertools.product(DEMOS, ROUNDS))


@pytest.mark.parametrize(("weather", "round_"), CASES)
def test_the_sheet_as_json_keeps_the_contract(weather: str, round_: str) -> None:
    result = call("sheet", *recorded(weather), "--round", round_, "--json")

    sheet = document(result)
    check_sheet(sheet, round_, COURTYARD)
    assert datetime.fromisoformat(sheet["at"]).date() >= DEMOS[weather]


@pytest.mark.parametrize("weather", DEMOS)
@pytest.mark.parametrize(
    "hour", [pytest.param(hour, marks=[pytest.mark.slow] * (hour % 6 > 0)) for hour in HOURS]
)
def test_the_sheet_keeps_the_contract_at_any_hour(weather: str, hour: int) -> None:
    at = f"{DEMOS[weather]}T{hour:02}:20"
    for round_ in ROUNDS:
        result = call("sheet", *recorded(weather), "--round", round_, "--json", "--at", at)

        check_sheet(document(result), round_, COURTYARD)


def test_no_number_is_anything_but_json() -> None:
    """NaN and Infinity are words that Python writes and nobody else reads."""

    def refuse(word: str) -> Any:
        raise AssertionError(word)

    for weather, round_ in CASES:
        result = call("sheet", *recorded(weather), "--round", round_, "--json")
        json.loads(result.stdout, parse_constant=refuse)


def test_the_cold_snap_asks_for_carrying_in_before_dark() -> None:
    sheet = document(call("sheet", *recorded("cold-snap"), "--round", "dusk", "--json"))

    first = sheet["chores"][0]
    assert first["chore"] == "carry-in"
    assert "Blue basket" in first["plants"]
    assert first["before"].startswith("2026-05-14T1")
    reason = next(reason for reason in first["because"] if reason["plant"] == "Blue basket")
    assert (reason["quantity"], reason["unit"], reason["limit"]) == ("leaf temperature", "°C", 14)
    assert reason["value"] < 14


def test_the_sheet_in_words_is_the_same_sheet() -> None:
    sheet = document(call("sheet", *recorded("cold-snap"), "--round", "dusk", "--json"))
    text = call("sheet", *recorded("cold-snap"), "--round", "dusk").stdout

    for chore in sheet["chores"]:
        assert f"[{chore['id']}]" in text


# -- when is now


@pytest.mark.parametrize(
    ("round_", "hour"), [("dusk", "17:14"), ("morning", "08:33"), ("week", "17:14")]
)
def test_a_recorded_forecast_is_looked_at_on_its_own_day(round_: str, hour: str) -> None:
    result = call("sheet", *recorded("cold-snap"), "--round", round_, "--json")

    assert document(result)["at"].startswith(f"2026-05-14T{hour}")
    assert result.stderr == (
        f"sillward: no --at given: taking 2026-05-14 {hour}, when it was recorded\n"
    )


def test_a_recorded_forecast_with_a_time_needs_no_word() -> None:
    result = call("sheet", *recorded("cold-snap"), "--at", "2026-05-14T17:00", "--json")

    assert document(result)["at"] == "2026-05-14T17:00:00-03:00"
    assert result.stderr == ""


def recorded_now(tmp_path: Path) -> tuple[object, ...]:
    """A recorded forecast that is good for the tests' own day."""
    path = tmp_path / "now.json"
    path.write_bytes(dumped(body(start=TODAY - timedelta(hours=36))))
    return ("--collection", GOOD, "--recorded", path)


def test_a_recorded_forecast_of_today_is_looked_at_now(tmp_path: Path) -> None:
    result = call("sheet", *recorded_now(tmp_path), "--json")

    assert document(result)["at"] == "2026-11-25T09:00:00-03:00"
    assert result.stderr == ""


def test_a_clock_that_runs_does_not_make_now_another_time(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    ticks = (TODAY + timedelta(microseconds=n) for n in itertools.count())
    monkeypatch.setattr(shared, "build", functools.partial(app.build, clock=lambda: next(ticks)))

    result = call("sheet", *recorded_now(tmp_path), "--json")

    assert result.stderr == ""


@pytest.mark.parametrize(
    ("text", "at"),
    [
        ("2026-05-14T17:00", "2026-05-14T17:00:00-03:00"),
        ("2026-05-14 17:00:30", "2026-05-14T17:00:30-03:00"),
        ("2026-05-14T20:00Z", "2026-05-14T17:00:00-03:00"),
        ("2026-05-14T22:00+02:00", "2026-05-14T17:00:00-03:00"),
        ("2026-05-14", "2026-05-14T00:00:00-03:00"),
    ],
)
def test_a_time_without_offset_is_the_sites(text: str, at: str) -> None:
    result = call("sheet", *recorded("cold-snap"), "--at", text, "--json")

    assert document(result)["at"] == at


@pytest.mark.parametrize(
    "text", ["", "now", "17:00", "2026-13-01", "2026-05-14T25:00", "0001-01-01", "9999-12-31T23:59"]
)
def test_a_time_that_is_none_ends_with_2(text: str) -> None:
    said = refused(call("sheet", *recorded("cold-snap"), "--at", text), 2)

    assert said == (
        f'sillward: --at "{text}" is not an ISO time; write for example 2026-05-14T17:00-03:00\n'
    )


@pytest.mark.parametrize(
    "text", ["1971-01-01T00:00", "2026-05-01", "2026-05-30", "2199-12-31T23:59"]
)
@pytest.mark.parametrize("round_", ROUNDS)
def test_a_time_far_from_the_forecast_still_makes_a_sheet(text: str, round_: str) -> None:
    result = call("sheet", *recorded("cold-snap"), "--round", round_, "--at", text, "--json")

    check_sheet(document(result), round_, COURTYARD)


def test_a_night_that_nobody_knows_is_a_cold_one_and_says_so() -> None:
    at = "2026-05-30T17:00"
    sheet = document(call("sheet", *recorded("cold-snap"), "--round", "dusk", "--at", at, "--json"))

    carried = {
        name
        for chore in sheet["chores"]
        if chore["chore"] == "carry-in"
        for name in chore["plants"]
    }
    assert len(carried) == 15, "all but the one that lives indoors"
    assert any("treated as cold" in text for text in sheet["warnings"])


@pytest.mark.parametrize("round_", ["morning", "week"])
def test_a_day_that_nobody_knows_is_named(round_: str) -> None:
    at = "2026-05-30T09:00"
    result = call("sheet", *recorded("cold-snap"), "--round", round_, "--at", at, "--json")

    assert document(result)["warnings"]


# -- a recorded forecast that cannot be used


def with_body(tmp_path: Path, content: bytes) -> Result:
    path = tmp_path / "body.json"
    path.write_bytes(content)
    return call("sheet", "--collection", COURTYARD, "--recorded", path)


def test_a_recorded_file_that_is_missing_ends_with_1(tmp_path: Path) -> None:
    path = tmp_path / "none.json"

    said = refused(call("sheet", "--collection", COURTYARD, "--recorded", path), 1)

    assert said == f"sillward: {path}: cannot be read: No such file or directory\n"


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"<html>502 Bad Gateway</html>", "is a web page, not a forecast"),
        (b"", "is not whole JSON"),
        (b'{"latitude": 1', "is not whole JSON"),
        (b'{"error": true, "reason": "too much"}', 'is an error: "too much"'),
        (
            dumped(body() | {"latitude": 12.0}),
            "is for another place: 12, -68.875, not -32.89, -68.85",
        ),
    ],
)
def test_a_recorded_file_that_cannot_be_used_ends_with_1_and_a_reason(
    tmp_path: Path, content: bytes, told: str
) -> None:
    assert refused(with_body(tmp_path, content), 1) == f"sillward: Open-Meteo: the answer {told}\n"


def test_a_folder_in_place_of_the_recorded_file_ends_with_1(tmp_path: Path) -> None:
    call_ = call("sheet", "--collection", COURTYARD, "--recorded", tmp_path)

    assert "cannot be read" in refused(call_, 1)


# -- a collection or a setting that is wrong

ALL_THAT_READ = [
    ["check"],
    ["sheet"],
    ["why", "Old cattleya"],
    ["send", "--round", "dusk"],
    ["run"],
    ["done", "x"],
    ["status"],
    ["try-channel"],
]


@pytest.mark.parametrize("command", ALL_THAT_READ, ids=lambda words: str(words[0]))
def test_a_wrong_collection_ends_with_78_and_every_reason(command: list[str]) -> None:
    said = refused(call(*command, "--collection", COLLECTIONS / "ten-mistakes.toml"), 78)

    lines = said.splitlines()
    assert len(lines) == 10
    assert all(re.match(r"sillward: ten-mistakes\.toml:\d+: ", line) for line in lines)


@pytest.mark.parametrize("command", ALL_THAT_READ, ids=lambda words: str(words[0]))
def test_a_wrong_setting_ends_with_78(monkeypatch: pytest.MonkeyPatch, command: list[str]) -> None:
    monkeypatch.setenv("SILLWARD_FORECAST__SOURCE", "tea leaves")

    said = refused(call(*command, "--collection", COURTYARD), 78)

    assert said.startswith("sillward: SILLWARD_FORECAST__SOURCE: ")
    assert "tea leaves" not in said


@pytest.mark.parametrize("command", ALL_THAT_READ, ids=lambda words: str(words[0]))
def test_no_collection_ends_with_78(command: list[str]) -> None:
    assert "there is no collection" in refused(call(*command), 78)


def test_telling_nobody_ends_with_78() -> None:
    said = refused(call("send", "--round", "dusk", *recorded("cold-snap")), 78)

    assert said == "sillward: courtyard.toml: channels: there are none, so nobody would be told\n"


def test_a_channel_that_cannot_work_ends_with_78_and_no_url(tmp_path: Path) -> None:
    text = GOOD.read_text(encoding="utf-8").replace("ntfys://push", "smoke-signal://push")
    path = tmp_path / "garden.toml"
    path.write_text(text, encoding="utf-8")

    said = refused(call("check", "--collection", path), 78)

    assert said.startswith('sillward: garden.toml: channels[0] "phone": its url is not one that')
    assert "secret-topic" not in said


# -- check


def test_check_tells_every_limit_of_every_plant_and_whose_it_is() -> None:
    result = call("check", "--full", "--collection", COURTYARD)

    assert result.exit_code == 0
    household = load_household(COURTYARD)
    lines = result.stdout.splitlines()
    for plant in household.collection.plants:
        block = lines[lines.index(plant.name) :]
        block = block[: block.index("")]
        for key in ("night_low", "brief_low", "day_high", "humidity_low", "vpd_high", "salt_high"):
            limit = getattr(plant.limits, key)
            first = next(n for n, line in enumerate(block) if line.split()[0] == key)
            told = " ".join(" ".join(block[first : first + 6]).split())
            assert told.startswith(f"{key} {limit.value:g} "), told
            assert f" {limit.origin}" in told
    assert lines[-1] == "understood: 16 plants; no channels, so nobody will be told anything"


def test_check_tells_how_each_channel_is_answered(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "page-passphrase").write_text("three brave geese", encoding="utf-8")
    monkeypatch.setenv("SILLWARD_CREDENTIALS", str(tmp_path))

    def said() -> str:
        return " ".join(call("check", "--collection", GOOD).stdout.split())

    assert "links:" not in said()
    monkeypatch.setenv("SILLWARD_PAGE__ADDRESS", "127.0.0.1:8123")
    assert "links: none in messages, because SILLWARD_PAGE__URL is not set" in said()
    monkeypatch.setenv("SILLWARD_PAGE__URL", "https://plants.example")
    assert "links: begin with https://plants.example" in said()
    assert "phone is answered: by buttons" in said()
    assert document(call("check", "--collection", GOOD, "--json"))["answered_by"]["phone"] == (
        "buttons"
    )


def test_check_as_json_tells_the_same() -> None:
    report = document(call("check", "--collection", COURTYARD, "--json"))

    assert report["schema"] == 1
    assert report["site"] == "Courtyard"
    assert len(report["plants"]) == 16
    strap_leaf = report["plants"][0]
    assert strap_leaf["groups"] == ["vanda strap-leaf", "aerides"]
    assert strap_leaf["limits"]["night_low"] == {
        "value": 13.0,
        "unit": "°C",
        "origin": "your own limit",
    }
    for plant in report["plants"]:
        for name, limit in plant["limits"].items():
            assert limit["origin"], (plant["name"], name)
            assert limit["unit"] or name in ("rot", "rest", "grows")
    assert report["rules"] == [*(rule.name for rule in standard_rules()), "hot dry wind"]


@pytest.mark.parametrize(
    ("night_low", "wrong"),
    [
        ("5", "night_low 5 °C is below brief_low 10 °C, which injures within hours"),
        ("11.4", "night_low 11.4 °C is less than 1.5 °C above brief_low 10 °C"),
        ("11.5", None),
    ],
)
def test_check_warns_of_a_comfort_limit_at_the_limit_of_injury(
    tmp_path: Path, night_low: str, wrong: str | None
) -> None:
    path = tmp_path / "yard.toml"
    path.write_text(
        f"""
        [site]
        name = "Yard"
        latitude = -32.89
        longitude = -68.85
        elevation = 780
        zone = "America/Argentina/Mendoza"
        [spots.bench]
        [spots.room]
        indoors = true
        night_low = 16
        [[plants]]
        name = "Strap-leaf"
        group = "vanda strap-leaf"
        holder = "basket"
        home = "bench"
        shelter = "room"
        limits.night_low = {night_low}
        [[channels]]
        name = "phone"
        url = "json://localhost"
        """,
        encoding="utf-8",
    )

    said = " ".join(call("check", "--collection", path).stdout.split())
    warnings = document(call("check", "--collection", path, "--json"))["warnings"]

    if wrong is None:
        assert said.endswith("all is well: 1 plant")
        assert warnings == []
        return
    assert f"! Strap-leaf: {wrong}" in said
    assert said.endswith(
        "set both under limits, brief_low at least 1.5 °C lower understood: 1 plant; 1 warning"
    )
    (warning,) = warnings
    assert warning["plant"] == "Strap-leaf"
    assert warning["text"].startswith(wrong)


def test_check_says_what_a_spot_leaves_open() -> None:
    report = document(call("check", "--collection", GOOD, "--json"))
    text = call("check", "--collection", GOOD).stdout

    assert report["open"]["pergola"] == []
    assert "spot pergola (outdoors)" in text
    assert report["channels"] == ["phone"]


def test_check_never_prints_a_channel_url() -> None:
    for extra in ([], ["--json"]):
        assert "secret-topic" not in call("check", "--collection", GOOD, *extra).output


def test_a_check_needs_no_channel_url_unless_it_is_to_be_strict(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "yard.toml"
    path.write_text(COURTYARD.read_text(encoding="utf-8") + '[[channels]]\nname = "phone"\n')

    result = call("check", "--collection", path)

    assert result.exit_code == 0
    assert 'note: channel "phone" has no url' in " ".join(result.stderr.split())
    assert "SILLWARD_CHANNELS__PHONE" in result.stderr
    assert "no url yet" in result.stdout
    strict = call("check", "--strict", "--collection", path)
    assert strict.exit_code == 78
    assert 'channels[0] "phone": has no url' in strict.stderr
    monkeypatch.setenv("SILLWARD_CHANNELS__PHONE", "json://127.0.0.1:9/")
    assert call("check", "--strict", "--collection", path).exit_code == 0
    assert call("check", "--collection", path).stderr == ""


# -- the week's mail to look at


def test_the_digest_can_be_looked_at_without_sending(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    opened: list[str] = []

    def browser(address: str) -> bool:
        opened.append(address)
        return True

    monkeypatch.setattr(webbrowser, "open", browser)
    page = tmp_path / "mine.html"

    result = call("digest", *recorded("wet-autumn"), "--out", page, "--open")

    assert result.exit_code == 0
    assert result.stdout.startswith(f"{page}: Week: ")
    told = page.read_text(encoding="utf-8")
    assert "Courtyard" in told
    assert "cid:" not in told
    assert "data:image/png;base64," in told
    assert opened == [page.as_uri()]
    assert not load_settings().ledger_file.exists()  # nothing is remembered


@pytest.fixture
def no_charts(monkeypatch: pytest.MonkeyPatch) -> None:
    """None are drawn, which takes seconds."""
    monkeypatch.setattr(process, "drawn", lambda *_, **__: None)


@pytest.mark.usefixtures("no_charts")
def test_a_digest_without_a_browser_says_where_the_page_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(webbrowser, "open", lambda _: False)
    page = tmp_path / "mine.html"

    result = call("digest", *recorded("mild-week"), "--out", page, "--open")

    assert result.exit_code == 1
    assert f"open {page} in one" in result.stderr


@pytest.mark.usefixtures("no_charts")
def test_a_digest_that_cannot_be_written_says_so(tmp_path: Path) -> None:
    result = call("digest", *recorded("mild-week"), "--out", tmp_path / "no" / "such.html")

    assert result.exit_code == 1
    assert "cannot be written" in result.stderr


# -- why and groups


def test_why_tells_the_hours_behind_a_decision() -> None:
    result = call("why", "Blue basket", *recorded("cold-snap"))

    assert result.exit_code == 0
    assert "leaf temperature below 14 °C: your own limit" in result.stdout
    assert "cold night" in result.stdout
    assert len([line for line in result.stdout.splitlines() if re.match(r"[ *]\d\d:00", line)]) > 20


def test_why_as_json_tells_the_same() -> None:
    report = document(call("why", "Blue basket", *recorded("cold-snap"), "--json"))

    assert (report["schema"], report["plant"], report["spot"]) == (1, "Blue basket", "pergola")
    assert report["limits"]["night_low"]["value"] == 14
    (deciding,) = [hour for hour in report["hours"] if hour["deciding"]]
    # Full hours, and the moment of the low where that is another.
    hours = [local_time(hour["at"]) for hour in report["hours"]]
    full = [at for at in hours if at.minute == 0]
    assert all(b - a == timedelta(hours=1) for a, b in itertools.pairwise(full))
    assert {*hours} - {*full} <= {local_time(deciding["at"])}
    assert deciding["leaf_c"] == min(hour["leaf_c"] for hour in report["hours"])


def test_why_tells_the_chance_of_the_night_and_where_it_is_from() -> None:
    mild = recorded("mild-week")

    cold = " ".join(call("why", "Blue basket", *mild).stdout.split())
    close = " ".join(call("why", "Wax vine", *mild).stdout.split())
    safe = " ".join(call("why", "Cork-slab laelia", *mild).stdout.split())

    assert re.search(
        r"under 14 °C \(straight.*\), >95 % chance \(usual errors by lead time\)", cold
    )
    told = r"the night: not under 10 °C by the forecast, (\d+) % chance that it is \(usual errors"
    found = re.search(told, close)
    assert found is not None
    report = document(call("why", "Wax vine", *mild, "--json"))
    assert int(found.group(1)) == round(100 * report["cold"]["chance"])
    assert (report["cold"]["hours"], report["cold"]["degree_hours"]) == (0, 0)
    assert report["cold"]["spread"] == "usual errors by lead time"
    assert "the night: not under 8 °C by the forecast, <5 % chance that it is" in safe


@pytest.mark.parametrize("weather", some_slow(DEMOS, {"mild-week", "wet-autumn"}))
def test_why_as_json_has_an_answer_for_every_plant(weather: str) -> None:
    for plant in load_household(COURTYARD).collection.plants:
        report = document(call("why", plant.name, *recorded(weather), "--json"))

        assert report["plant"] == plant.name
        assert report["hours"]


@pytest.mark.parametrize("weather", some_slow(DEMOS, {"mild-week", "wet-autumn"}))
def test_why_has_an_answer_for_every_plant(weather: str) -> None:
    for plant in load_household(COURTYARD).collection.plants:
        result = call("why", plant.name, *recorded(weather))

        assert result.exit_code == 0
        assert result.stdout.startswith(f"{plant.name} at its home, {plant.home} ")


def test_why_finds_a_plant_by_a_part_of_its_name() -> None:
    result = call("why", "CATTLEYA", *recorded("cold-snap"))

    assert result.stdout.startswith("Old cattleya at its home, pergola ")


def test_why_for_no_plant_names_those_that_there_are() -> None:
    said = refused(call("why", "Dragon lily", *recorded("cold-snap"), "--at", "2026-05-14"), 2)

    assert said.startswith('sillward: "Dragon lily" is not a plant here (Strap-leaf by the door, ')
    assert said.endswith("Dancing ladies and 11 more)\n")


def test_why_for_half_a_name_names_those_that_fit() -> None:
    said = refused(call("why", "orchid", *recorded("cold-snap"), "--at", "2026-05-14"), 2)

    assert said == 'sillward: "orchid" is more than one plant here (Boat orchid, Moth orchid)\n'


def test_groups_lists_what_has_all_the_words() -> None:
    everything = call("groups").stdout.splitlines()
    some = call("groups", "dendrobium", "warm").stdout.splitlines()

    assert 0 < len(some) < 5
    rows = [line for line in everything if not line.startswith(" ")]
    assert len(rows) > 50
    assert all("night" in line and "°C" in line for line in rows)
    assert some[0].startswith("dendrobium warm evergreen")


def test_groups_without_a_match_says_so() -> None:
    result = call("groups", "zeppelin")

    assert result.stdout == "no group has all these words; `sillward groups` lists them all\n"


# -- without a ledger


def test_status_without_a_ledger_ends_with_1(tmp_path: Path) -> None:
    for extra in ([], ["--json"]):
        said = refused(call("status", "--collection", COURTYARD, *extra), 1)

        assert said.endswith("there is no ledger yet; nothing has run so far\n")
    assert not (tmp_path / "ledger.sqlite3").exists()


def test_done_without_a_ledger_ends_in_words() -> None:
    result = call("done", "carry-in", "--collection", COURTYARD)

    assert result.exit_code in (1, 2)
    assert result.stdout == ""
    assert result.stderr.startswith("sillward: ")


def told_two_days(folder: Path) -> Ledger:
    """A plant told to go in at dusk, with its way out again, and out the next morning."""
    ledger = Ledger(folder / "ledger.sqlite3")
    pot, bench, room = "Blue basket", "pergola", "sunroom"

    def chore(kind: ChoreKind, day: str, way: tuple[str, str], before: str) -> Chore:
        at = datetime.fromisoformat(f"{day}T{before}-03:00")
        return a_chore(f"{day}-{kind.value}-{'-to-'.join(way)}", at, kind, [pot], way)

    into = chore(ChoreKind.CARRY_IN, "2026-05-14", (bench, room), "17:25")
    out = chore(ChoreKind.CARRY_OUT, "2026-05-15", (room, bench), "14:00")
    dusk, morning = (datetime.fromisoformat(f"2026-05-{at}:00-03:00") for at in ("14T17", "15T08"))
    ledger.keep_round(
        "Courtyard", "dusk", dusk.date(), dusk, notices=[], chores=[into, out],
        states_now={pot: PlantState(room, dusk + timedelta(minutes=25), assumed=True)},
    )  # fmt: skip
    ledger.keep_round(
        "Courtyard", "morning", morning.date(), morning, notices=[], chores=[out],
        states_now={pot: PlantState(bench, morning + timedelta(hours=1), assumed=True)},
    )  # fmt: skip
    return ledger


def test_what_was_done_last_night_moves_no_plant_that_has_gone_out_since(tmp_path: Path) -> None:
    ledger = told_two_days(tmp_path)

    result = call("done", "carry-in", "--collection", COURTYARD, "--at", "2026-05-15T13:00")

    assert " ".join(result.stdout.split()) == (
        "done: 2026-05-14-carry-in-pergola-to-sunroom (Blue basket); "
        "Blue basket is at pergola by what was told later"
    )
    assert ledger.plant_states.of_site("Courtyard")["Blue basket"].spot == "pergola"
    assert all(not chore.open for chore in ledger.chores.of_day("Courtyard", date(2026, 5, 14)))


def test_what_was_said_to_be_done_can_be_taken_back(tmp_path: Path) -> None:
    told_two_days(tmp_path).close()
    evening = ("--collection", COURTYARD, "--at", "2026-05-14T18:00")
    with closing(Ledger(tmp_path / "ledger.sqlite3")) as ledger:
        before = (
            ledger.plant_states.of_site("Courtyard"),
            ledger.chores.of_day("Courtyard", date(2026, 5, 14)),
        )

    done = call("done", "blue", "basket", *evening)
    undone = call("done", "--undo", *evening)
    nothing = refused(call("done", "--undo", *evening), 2)

    name = "2026-05-14-carry-in-pergola-to-sunroom"
    assert done.stdout.startswith(f"done: {name} (Blue basket)")
    assert undone.stdout == f"not done after all: {name}\n"
    assert "nothing was acknowledged so far" in nothing
    with closing(Ledger(tmp_path / "ledger.sqlite3")) as ledger:
        after = (
            ledger.plant_states.of_site("Courtyard"),
            ledger.chores.of_day("Courtyard", date(2026, 5, 14)),
        )
    assert after == before


def test_a_kind_does_not_stand_for_what_is_to_be_done_tomorrow(tmp_path: Path) -> None:
    ledger = told_two_days(tmp_path)
    evening = ("--collection", COURTYARD, "--at", "2026-05-14T18:00")

    said = refused(call("done", "carry-out", *evening), 2)

    assert "is not a chore you were told of" in said
    assert all(chore.open for chore in ledger.chores.of_day("Courtyard", date(2026, 5, 15)))
    by_id = call("done", "2026-05-15-carry-out-sunroom-to-pergola", *evening)
    assert by_id.stdout.startswith("done: ")


@pytest.mark.parametrize(
    "command", [["status"], ["done", "x"], ["sheet"]], ids=lambda words: words[0]
)
def test_a_file_that_is_not_a_ledger_ends_with_78(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: list[str]
) -> None:
    (tmp_path / "ledger.sqlite3").write_bytes(b"this is no database, whatever its name says" * 99)
    monkeypatch.setenv("SILLWARD_FORECAST__BASE_URL", "http://[::1")

    assert "is not a ledger" in refused(call(*command, "--collection", COURTYARD), 78)


def test_looking_with_a_recorded_forecast_leaves_no_ledger(tmp_path: Path) -> None:
    for arguments in (["sheet"], ["why", "Blue basket"]):
        assert call(*arguments, *recorded("cold-snap")).exit_code == 0
    assert call("check", "--collection", COURTYARD).exit_code == 0

    assert list(tmp_path.rglob("*.sqlite3*")) == []


def test_looking_does_not_change_a_ledger_that_is_there(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite3"
    sqlite3.connect(path).close()
    path.write_bytes(b"")

    call("sheet", *recorded("cold-snap"))

    assert path.read_bytes() == b""


# -- what a person reads

Drawn = Callable[[str], list[Sheet]]


@functools.cache
def sheets_of(weather: str) -> tuple[Sheet, ...]:
    """Every round of every day of a recorded forecast, each plant where the last one put it."""
    demo = examples.demo(weather)
    collection, told = demo.household.collection, demo.household.rounds
    states: dict[str, PlantState] = {}
    sheets = []
    for offset in range(6):
        day: date = DEMOS[weather] + timedelta(days=offset)
        moments = {
            Round.MORNING: told.morning.on(demo.site, day),
            Round.DUSK: told.dusk.on(demo.site, day),
            Round.WEEK: told.week.moment.on(demo.site, day),
        }
        for round_, at in moments.items():
            weather_then = read_only.fetched_weather(demo, at)
            sheet = draw_up(round_, collection, weather_then, states, at)
            states = all_confirmed(next_state(states, sheet))
            sheets.append(sheet)
    return tuple(sheets)


@pytest.mark.parametrize("weather", DEMOS)
def test_a_push_is_short_and_whole(weather: str) -> None:
    voice = examples.demo(weather).household.voice
    for sheet in sheets_of(weather):
        push = short_sheet.message(sheet, voice)

        assert len(push.title) + 1 + len(push.body) <= 300, push
        assert push.title.strip()
        assert push.body.strip()
        assert "\n" not in push.title
        assert "see app" not in f"{push.title} {push.body}".lower()


@pytest.mark.parametrize("weather", DEMOS)
def test_the_first_line_of_a_push_has_the_deadline(weather: str) -> None:
    """The first order is in the title with its hour; on days without one, the first misting."""
    household = examples.demo(weather).household
    site = household.collection.site
    for sheet in sheets_of(weather):
        title = short_sheet.message(sheet, household.voice).title
        orders = [chore for chore in sheet.chores if chore.kind is ChoreKind.CARRY_IN]
        chores = orders or [chore for chore in sheet.chores if chore.kind is ChoreKind.MIST]

        if sheet.round is Round.WEEK:
            assert title.startswith(("Week: ", "Hot "))
        elif chores:
            first = min(chores, key=lambda chore: chore.before).before.astimezone(site.zone)
            assert f"{first:%H:%M}" in title or "now" in title, title


@pytest.mark.parametrize("weather", DEMOS)
def test_no_line_of_the_full_text_is_wider_than_a_screen(weather: str) -> None:
    demo = examples.demo(weather)
    for sheet in sheets_of(weather):
        text = full_sheet.text(sheet, demo.household.voice, demo.sources[0].attribution)

        assert max(len(line) for line in text.splitlines()) <= 78
        assert text.endswith("decide for yourself.\n")
        assert "Weather data by Open-Meteo.com" in text


@pytest.mark.parametrize("weather", DEMOS)
def test_every_plant_of_a_chore_is_in_the_full_text(weather: str) -> None:
    demo = examples.demo(weather)
    for sheet in sheets_of(weather):
        text = " ".join(
            full_sheet.text(sheet, demo.household.voice, demo.sources[0].attribution).split()
        )

        for chore in sheet.chores:
            if sheet.round is not Round.WEEK:  # the week tells numbers, the day tells names
                assert all(name in text for name in chore.plants), (sheet.round, chore.id)


def test_with_many_spots_each_night_is_a_sentence_of_its_own(tmp_path: Path) -> None:
    text = COURTYARD.read_text(encoding="utf-8")
    for number in range(5):
        text += f"\n[spots.terrace{number}]\nsky_view = 0.5\nwind = 0.3\nnight_offset = 0\n"
        text += f'\n[[plants]]\nname = "Guest {number}"\ngroup = "cattleya"\nholder = "pot"\n'
        text += f'home = "terrace{number}"\nshelter = "sunroom"\n'
    path = tmp_path / "courtyard.toml"
    path.write_text(text, encoding="utf-8")
    weather = EXAMPLES / "recorded" / "cold-snap.json"

    result = call("sheet", "--collection", path, "--recorded", weather, "--round", "week")

    nights = [line for line in result.stdout.splitlines() if "  plants in: " in line]
    assert len(nights) == 7
    assert all("pergola" in line for line in nights)


def test_long_names_make_neither_long_pushes_nor_wide_lines(tmp_path: Path) -> None:
    text = COURTYARD.read_text(encoding="utf-8")
    for name in ("Strap-leaf by the door", "Old cattleya", "Grey curls", "Boat orchid"):
        text = text.replace(f'"{name}"', f'"{(name + " ") * 9:.79}x"')
    text = text.replace('"wall bench"', f'"{"wall bench, " * 9:.79}x"')
    path = tmp_path / "courtyard.toml"
    path.write_text(text, encoding="utf-8")
    built = app.build(
        Options(path, "2026-05-14T17:00", EXAMPLES / "recorded" / "cold-snap.json"),
        clock=lambda: TODAY,
    )
    for round_ in Round:
        now = built.clock()
        weather = read_only.fetched_weather(built, now)
        sheet = draw_up(round_, built.household.collection, weather, {}, now)
        push = short_sheet.message(sheet, built.household.voice)

        assert len(push.title) + 1 + len(push.body) <= 300
        assert push.body
        credit = built.sources[0].attribution
        lines = full_sheet.text(sheet, built.household.voice, credit).splitlines()
        assert max(len(line) for line in lines) <= 78


def test_nothing_is_misted_at_a_spot_before_it_is_carried_there() -> None:
    torn = []
    for sheet in itertools.chain.from_iterable(sheets_of(weather) for weather in DEMOS):
        out = {
            name: chore
            for chore in sheet.chores
            if chore.kind.value == "carry-out"
            for name in chore.plants
        }
        for chore in sheet.chores:
            if chore.kind.value in ("mist", "feed") and sheet.round is Round.MORNING:
                torn += [
                    (chore.id, name)
                    for name in chore.plants
                    if name in out
                    and out[name].to_spot == chore.from_spot
                    and (chore.not_before or chore.before) < (out[name].not_before or sheet.at)
                ]

    assert torn == []


def test_no_plant_is_twice_in_a_chore_at_any_hour_of_the_hot_day() -> None:
    for hour in range(24):
        at = f"2026-01-21T{hour:02}:00"
        sheet = document(
            call("sheet", *recorded("dry-summer"), "--round", "morning", "--json", "--at", at)
        )
        for chore in sheet["chores"]:
            assert len(set(chore["plants"])) == len(chore["plants"]), (at, chore["id"])


def test_forecast_shows_what_is_held_at_another_hour_too() -> None:
    kept = Ledger(load_settings().ledger_file)
    fetched_at = datetime(2026, 5, 14, 17, tzinfo=UTC)
    cold_snap = (EXAMPLES / "recorded" / "cold-snap.json").read_bytes()
    kept.forecasts.keep("Courtyard", SavedForecast("Open-Meteo", fetched_at, fetched_at, cold_snap))
    kept.close()

    held = call("forecast", "--collection", COURTYARD, "--at", "2026-05-14T17:00")

    assert held.exit_code == 0, held.output
    assert "fresh: fetched Thu 14 May 14:00, 3 h old" in held.stdout


def test_who_looks_by_hand_is_told_once_what_went_wrong(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SILLWARD_FORECAST__BASE_URL", "http://localhost:9")

    told = refused(call("sheet", "--collection", COURTYARD), 1)

    assert told == "sillward: Open-Meteo: cannot be reached\n"


def test_sheets_follow_a_narrow_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(terminal, "sheet_columns", lambda: 44)

    for words in (("sheet", "--round", "week"), ("why", "blue", "basket")):
        lines = call(*words, *recorded("cold-snap")).stdout.splitlines()
        assert max(map(len, lines)) == 44
