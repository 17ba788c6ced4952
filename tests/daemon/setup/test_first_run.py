"""The first run: dialogues from beginning to end, and the files that come of them."""

import contextlib
import functools
import io
import json
import os
import re
import stat
import tempfile
import tomllib
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from sillward.assembly import app
from sillward.cli import main, shared
from sillward.config.json_schema import collection_schema
from sillward.config.loader import load_household
from sillward.config.models import NightLow, Text
from sillward.config.validation import problem_with
from sillward.errors import NotOursError
from sillward.forecast.geocoding import Atlas
from sillward.setup import (
    first_run,
    plant_questions,
    prompts,
    site_questions,
    spot_questions,
    writing,
)
from sillward.setup.answers import (
    BREEZES,
    COVERS,
    IndoorAnswer,
    OutdoorAnswer,
    PlantAnswer,
    SiteAnswer,
    SpotAnswer,
)
from sillward.setup.collection_text import SCHEMA_FILE, collection_text
from sillward.setup.dialogue import Conversation
from sillward.setup.toml_text import number_text
from sillward.text.units import Units
from sillward_rules.plants.group_names import alias_named
from sillward_rules.plants.groups import standard_groups
from tests.daemon.forecast.test_geocoding import MENDOZA
from tests.support.bodies import body, dumped
from tests.support.cases import for_each
from tests.support.loopback_server import serving, whole

NOON = datetime(2026, 5, 14, 15, tzinfo=UTC)
"""The wall clock of these tests."""

ZONE = "America/Argentina/Mendoza"
AROUND = {"timezone": ZONE, "elevation": 780.0}

PLACE = ["-32.89, -68.85", "", "Yard"]
"""Coordinates, height and zone as they were looked up, a name for the site."""

SPOTS = ["bench", "2", "3", "sunroom", "14"]
"""One outdoors: half open, sheltered. One indoors."""

PLANT = ["Blue vanda", "", "", "", "", ""]
"""Its name holds its kind; all else as it is offered."""

END = ["", "", ""]
"""No other plant, no phone yet, and the file is written."""

WHOLE = [*PLACE, *SPOTS, *PLANT, *END]


@pytest.fixture(autouse=True)
def _wall_clock(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shared, "build", functools.partial(app.build, clock=lambda: NOON))


@pytest.fixture(autouse=True)
def provider(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A server that has forecasts and heights for the site, and one that knows Mendoza."""
    forecast = dumped(body() | AROUND)
    places = json.dumps({"results": [MENDOZA, {**MENDOZA, "country": "Elsewhere"}]}).encode()
    with serving(whole(forecast)) as weather, serving(whole(places)) as search:
        monkeypatch.setenv("SILLWARD_FORECAST__BASE_URL", weather.address)
        monkeypatch.setenv("SILLWARD_FORECAST__BASE_URLS__OPEN_METEO_GEOCODING", search.address)
        yield


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "garden" / "yard.toml"


def call(*arguments: object, answers: list[str] | bytes | io.BytesIO | None = None) -> Result:
    """Call sillward. However it ends, it is with an exit status and never with a traceback."""
    typed: Any = answers
    if answers is None or isinstance(answers, list):
        typed = "".join(f"{answer}\n" for answer in answers or [])
    result = CliRunner().invoke(main, [str(argument) for argument in arguments], input=typed)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def answered(path: Path, answers: list[str]) -> Any:
    """The document that comes of these answers, and that all of them were taken in turn."""
    result = call("new", path, answers=answers)
    assert result.exit_code == 0, result.output
    assert call("check", "--collection", path).exit_code == 0
    document = tomllib.loads(path.read_text(encoding="utf-8"))
    assert list(Draft202012Validator(collection_schema()).iter_errors(document)) == []
    return document


# -- whole dialogues


def test_a_complete_dialogue_becomes_a_collection(path: Path) -> None:
    document = answered(path, WHOLE)

    assert document == {
        "site": {
            "name": "Yard",
            "latitude": -32.89,
            "longitude": -68.85,
            "elevation": 780,
            "zone": ZONE,
        },
        "spots": {
            "bench": {"sky_view": 0.5, "rain": 1, "wind": 0.2},
            "sunroom": {"indoors": True, "night_low": 14},
        },
        "plants": [
            {
                "name": "Blue vanda",
                "group": "vanda strap-leaf",
                "holder": "basket",
                "home": "bench",
                "shelter": "sunroom",
            }
        ],
    }


def test_tonights_sheet_and_what_to_do_next_are_shown(path: Path) -> None:
    result = call("new", path, answers=WHOLE)

    told = result.stdout.split("Written: ")[1]
    assert "Yard: dusk round, " in told
    assert "Weather data by Open-Meteo.com" in told
    for step in ("check", "run"):
        assert f"sillward {step} --collection {path}" in told
    assert "SILLWARD_CHANNELS__PHONE" in told
    assert result.stderr == ""


def test_a_room_that_does_not_keep_its_plants_is_told_at_once(path: Path) -> None:
    """The vanda needs 16 °C, and the sunroom holds 14 °C."""
    told = call("new", path, answers=WHOLE).stdout.split("Written: ")[1]

    warning = told.partition("! sunroom: ")[2]
    assert warning.startswith("holds 14 °C, too cold for")
    assert "Blue vanda" in warning.partition("Next:")[0]


def test_the_file_goes_through_the_sheet(path: Path) -> None:
    answered(path, WHOLE)

    result = call("sheet", "--round", "dusk", "--collection", path)

    assert result.exit_code == 0
    assert "Blue vanda" in result.stdout


def test_who_answers_nothing_but_what_must_be_gets_a_collection(path: Path) -> None:
    answers = ["-32.89 -68.85", *[""] * 7, "Cattleya", *[""] * 8]

    document = answered(path, answers)

    assert document["site"]["name"] == "Home"
    assert document["spots"]["house"] == {"indoors": True}
    assert document["plants"][0]["shelter"] == "house"
    assert "look, then fill in" in path.read_text(encoding="utf-8")


def test_several_spots_and_plants_hybrids_and_limits_of_ones_own(path: Path) -> None:
    spots = ["bench, balcony", "1", "1", "3", "2", "house,cellar", "12,5", "-2 °C"]
    # "mo" may be a mount or moss.
    plants = ["Cross", "cattleya x cattleya rupicolous", "mo", "mount", "balcony", "-", "13,5"]
    plants += ["Unheard of", "-", "pot", "bench", "cellar", "", "4"]
    plants += ["Moth", "phalaenopsis", "pot", "house", ""]

    document = answered(path, [*PLACE, *spots, *plants, *END])

    assert [spot.get("sky_view") for spot in document["spots"].values()] == [1, 0.3, None, None]
    assert [spot.get("rain") for spot in document["spots"].values()] == [1, 0, None, None]
    assert document["spots"]["house"]["night_low"] == 12.5
    assert document["spots"]["cellar"]["night_low"] == -2
    assert document["plants"] == [
        {
            "name": "Cross",
            "parents": ["cattleya", "cattleya rupicolous"],
            "holder": "mount",
            "home": "balcony",
            "limits": {"night_low": 13.5},
        },
        {
            "name": "Unheard of",
            "holder": "pot",
            "home": "bench",
            "shelter": "cellar",
            "limits": {"night_low": 4},
        },
        {"name": "Moth", "group": "phalaenopsis", "holder": "pot", "home": "house"},
    ]


def test_a_town_is_looked_up_and_credited(path: Path) -> None:
    document = answered(path, ["Mendoza", "2", "", "", *WHOLE[3:]])

    assert document["site"] == {
        "name": "Mendoza",
        "latitude": -32.8908,
        "longitude": -68.8272,
        "elevation": 827,
        "zone": ZONE,
    }
    text = path.read_text(encoding="utf-8")
    assert "Mendoza, Elsewhere: the middle of the place" in text
    assert "GeoNames" in text
    assert "Open-Meteo" in text


def test_none_of_the_hits_may_be_the_place(path: Path) -> None:
    document = answered(path, ["Mendoza", "3", *WHOLE])

    assert document["site"]["latitude"] == -32.89


def test_without_the_network_everything_is_typed(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(site_questions, "machine_zone", lambda longitude: None)
    with serving(whole(b"", status="404 Not Found")) as server:
        monkeypatch.setenv("SILLWARD_FORECAST__BASE_URL", server.address)
        monkeypatch.setenv("SILLWARD_FORECAST__BASE_URLS__OPEN_METEO_GEOCODING", server.address)
        answers = ["Mendoza", PLACE[0], "", "780 m", "", ZONE, "Yard", *WHOLE[3:]]
        result = call("new", path, answers=answers)

    assert result.exit_code == 0, result.output
    assert "search for places: answered 404; write coordinates" in result.stdout
    assert "height and time zone cannot be looked up: Open-Meteo: answered 404" in result.stdout
    assert "No sheet yet: Open-Meteo: answered 404" in result.stdout
    assert load_household(path).collection.site.elevation_m == 780


# -- going back, and the whole before it is written


def test_back_returns_to_the_question_before_with_what_was_answered(path: Path) -> None:
    # From the name of the plant to the name of the site, which is changed; the rest is kept.
    back = ["Vanda", *["back"] * 7, "Patio", *[""] * 5]

    result = call("new", path, answers=[*PLACE, *SPOTS, *back, *WHOLE[8:]])

    assert result.exit_code == 0, result.output
    assert "A name for the site [Yard]: Patio" in result.stdout
    assert "[Vanda]: Blue vanda" in result.stdout
    collection = load_household(path).collection
    assert collection.site.name == "Patio"
    assert [spot.name for spot in collection.spots] == ["bench", "sunroom"]


def test_before_the_first_question_there_is_none(path: Path) -> None:
    result = call("new", path, answers=["back", *WHOLE])

    assert result.exit_code == 0
    assert "this is the first question" in result.stdout


def test_the_whole_file_is_shown_before_it_is_written(path: Path) -> None:
    result = call("new", path, answers=[*WHOLE[:-1], "stop"])

    assert result.exit_code == 1
    assert "stopped; nothing was written" in result.stderr
    assert not path.parent.exists()
    shown = result.stdout.split("the file ----------\n")[1].split("\n----------")[0]
    assert tomllib.loads(shown)["plants"][0]["name"] == "Blue vanda"

    call("new", path, answers=WHOLE)
    assert path.read_text(encoding="utf-8") == f"{shown}\n"


def test_an_answer_is_changed_at_the_end_and_the_others_stay(path: Path) -> None:
    # The place is another one, so that its height and zone are asked for again.
    changed = ["change", "1", "-30, -68.85", "", "write"]

    result = call("new", path, answers=[*WHOLE[:-1], *changed])

    assert result.exit_code == 0, result.output
    assert "  1 Where is it: -32.89, -68.85" in result.stdout
    collection = load_household(path).collection
    assert (collection.site.latitude, collection.site.name) == (-30.0, "Yard")


def test_the_answers_to_change_say_what_they_are_about_and_stand_for(path: Path) -> None:
    plants = ["Lemon", "vanda", "0", "paph", "1", "", "", "", "", "Moth", "phalaenopsis", *[""] * 4]
    answers = [*PLACE, *SPOTS, *plants, "", "", "change", "6", "1", "write"]

    result = call("new", path, answers=answers)

    assert result.exit_code == 0, result.output
    listed = result.stdout.split("its end")[1].split("Which answer?")[0].splitlines()
    rows = [row[5:] for row in listed if re.match(r" +[0-9]+ ", row)]
    for row in (
        "What is above bench: half open: a pergola, a tree, the foot of a wall",
        "bench: And the wind: walls or hedges all around",
        "Lemon: What is it: paph",
        "Lemon: Which: paphiopedilum mottled-leaf",
        "Lemon: It grows in: pot",
        "Moth: Carried to: sunroom",
        "Another one: Moth",
        "Another one: no more; choose this to add one",
    ):
        assert row in rows
    assert len([row for row in rows if row.startswith("Lemon: What is it")]) == 1
    # The sixth is the wind.
    spot = load_household(path).collection.spots[0]
    assert spot.wind == BREEZES[0].wind


def test_a_stranger_is_asked_no_more_than_before(path: Path) -> None:
    """There were 19 questions before there were a phone and a last look at the file."""
    assert len(WHOLE) == 17
    assert call("new", path, answers=WHOLE).exit_code == 0


# -- °F


@pytest.mark.parametrize(
    ("zone", "locale", "questions", "unit"),
    [
        ("America/New_York", {}, 1, "°F"),
        ("Pacific/Guam", {}, 1, "°F"),
        (ZONE, {"LANG": "en_US.UTF-8"}, 0, "°C"),
        (ZONE, {"LC_MEASUREMENT": "en_US.UTF-8"}, 1, "°C"),
        ("Europe/Berlin", {"LC_ALL": "de_DE"}, 0, "°C"),
    ],
)
def test_degrees_are_asked_about_where_both_are_likely(
    zone: str, locale: dict[str, str], questions: int, unit: str
) -> None:
    conversation = Conversation(lambda: site_questions.ask_temperature_unit(zone, locale))
    for _ in range(questions):
        assert conversation.question is not None
        conversation.take("", conversation.question.read(conversation.offered))

    assert conversation.question is None
    assert conversation.result == unit


def test_fahrenheit_is_asked_for_shown_and_told(path: Path) -> None:
    zone = ["no", "", "America/New_York", "F", "Yard"]
    answers = [PLACE[0], *zone, *SPOTS[:4], "57", *PLANT[:5], "50", *END]

    document = answered(path, answers)

    assert document["spots"]["sunroom"]["night_low"] == 13.889
    assert document["plants"][0]["limits"]["night_low"] == 10
    assert document["notices"] == {"temperature": "°F"}
    text = path.read_text(encoding="utf-8")
    assert "night_low = 13.889  # °C (57 °F)" in text
    assert "# °C (50 °F), your own; beats the group's 60.8 °F" in text


@pytest.mark.parametrize(
    ("text", "unit", "celsius"),
    [
        ("57", "°F", 13.889),
        ("57 F", "°C", 13.889),
        ("57,2 °f", "°C", 14.0),
        ("14°C", "°F", 14.0),
        ("−2 ℃", "°F", -2.0),
        ("14°", "°C", 14.0),
        ("-40 F", "°C", -40.0),
    ],
)
def test_temperatures_are_read_in_either_unit(text: str, unit: Any, celsius: float) -> None:
    assert prompts.temperature(text, unit) == celsius


@for_each(range(-40, 120))
def test_degrees_fahrenheit_are_told_again_as_they_were_typed(typed: int) -> None:
    celsius = prompts.temperature(str(typed), "°F")

    assert Units("°F").bare(float(number_text(celsius, 3)), "°C") == str(typed)


@pytest.mark.parametrize(
    ("text", "unit", "told"),
    [
        ("warm", "°F", "write a number, in °F"),
        ("", "°C", "write a number, in °C"),
        ("99", "°F", "99 °F is 37.2 °C: must be at most 30 °C"),
        ("57", "°C", "must be at most 30 °C"),
    ],
)
def test_what_is_no_temperature_is_refused(text: str, unit: Any, told: str) -> None:
    with pytest.raises(ValueError, match=told):
        prompts.temperature(text, unit, NightLow)


def test_heights_may_be_in_feet(path: Path) -> None:
    result = call("new", path, answers=[PLACE[0], "no", "2,559 ft", "2559 ft", "", *WHOLE[2:]])

    assert "without a comma for thousands" in result.stdout
    document = tomllib.loads(path.read_text(encoding="utf-8"))
    assert document["site"]["elevation"] == pytest.approx(780, abs=0.1)


# -- a list of plants


def test_a_list_leaves_only_the_spots_to_be_asked_about(path: Path, tmp_path: Path) -> None:
    file = tmp_path / "plants.csv"
    file.write_text(
        "Name;Group;Holder;Home;Shelter;Price\n"
        "Moth 1;moth orchid;pot;Bench;sunroom;3\nMoth 2;moth orchid;pot;bench;sunroom;4\n",
        encoding="cp1252",
    )

    result = call("new", path, "--plants", file, answers=[*PLACE, "", "", "", "", "14", *END[1:]])

    assert result.exit_code == 0, result.output
    assert "plants.csv: 2 plants; left out: Price\n" in result.stderr
    assert f"({SCHEMA_FILE} beside it lets editors explain each key)" in result.stdout
    document = tomllib.loads(path.read_text(encoding="utf-8"))
    assert list(document["spots"]) == ["Bench", "sunroom"]
    assert document["plants"] == [
        {
            "name": "Moth",
            "count": 2,
            "group": "phalaenopsis",
            "holder": "pot",
            "home": "Bench",
            "shelter": "sunroom",
        }
    ]


def test_a_list_for_a_file_that_is_there_is_printed_and_nothing_is_written(
    path: Path, tmp_path: Path
) -> None:
    answered(path, WHOLE)
    before = path.read_bytes()
    file = tmp_path / "plants.csv"
    file.write_text("name,group,home,shelter\nFern,fernn,bench,\n", encoding="utf-8")

    result = call("new", path, "--plants", file, answers=["fern", "1"])

    assert result.exit_code == 0, result.output
    assert '"fernn" (line 2: Fern)' in result.stderr
    assert tomllib.loads(result.stdout)["plants"][0]["name"] == "Fern"
    assert path.read_bytes() == before


def test_every_spot_of_a_list_must_be_one(path: Path, tmp_path: Path) -> None:
    file = tmp_path / "plants.csv"
    file.write_text('name,group,home\nMoth,moth orchid,"attic, left"\n', encoding="utf-8")
    rooms = ["house", '"attic, left", house', "12", ""]

    result = call(
        "new", path, "--plants", file, answers=[*PLACE, "bench", "", "", *rooms, "", *END[1:]]
    )

    assert result.exit_code == 0, result.output
    assert 'your list has plants at attic, left: outdoors (write "back")' in result.stdout
    assert load_household(path).collection.plants[0].home == "attic, left"


def test_a_list_that_cannot_be_read_is_told_at_once(path: Path, tmp_path: Path) -> None:
    result = call("new", path, "--plants", tmp_path / "none.csv")

    assert result.exit_code == 78
    assert "none.csv: cannot be read: No such file" in result.stderr


# -- wrong answers


@pytest.mark.parametrize(
    ("before", "wrong", "told"),
    [
        ([], "", "must not be empty"),
        ([], "132, 68", "degrees north, must be at most 90"),
        ([], "32, -200", "degrees east, must be at least -180"),
        ([], "32°53'24\"", "with a point, such as -32.89, -68.85"),
        ([], "-32,89, -68,85", "with a point, such as -32.89, -68.85"),
        (PLACE[:1], "perhaps", "write one of: yes, no"),
        (PLACE[:2], "a\x1b[31mb", "must be plain text on one line"),
        (PLACE[:2], "a" * 81, "is too long"),
        (PLACE, "\u202ebench", "must be plain text on one line"),
        (PLACE, "bench, wall, bench", 'there is a spot "bench" already'),
        ([*PLACE, "bench"], "4", "write a number from 1 to 3"),
        ([*PLACE, "bench"], "roof", "write a number from 1 to 3"),
        ([*PLACE, *SPOTS[:3]], "bench", 'there is a spot "bench" already'),
        ([*PLACE, *SPOTS[:4]], "cold", "write a number, in °C"),
        ([*PLACE, *SPOTS[:4]], "77", "must be at most 60 °C"),
        ([*PLACE, *SPOTS], "", "must not be empty"),
        ([*PLACE, *SPOTS, "Blue vanda"], "xyzzy", "no group has these words"),
        ([*PLACE, *SPOTS, *PLANT[:2]], "bucket", "write one of: basket, mount, moss, pot"),
        ([*PLACE, *SPOTS, *PLANT[:3]], "shed", "write one of: bench, sunroom"),
        ([*PLACE, *SPOTS, *PLANT[:4]], "bench", "write one of: sunroom, -"),
        ([*PLACE, *SPOTS, *PLANT[:5]], "55", "must be at most 30 °C"),
        ([*PLACE, *SPOTS, *PLANT], "Blue vanda", "there is already a plant of this name"),
        (WHOLE[:-2], "ntfy://secret", "write url, and then paste it"),
        (WHOLE[:-1], "perhaps", "write one of: write, change, stop"),
    ],
)
def test_a_wrong_answer_is_refused_at_once_and_asked_again(
    path: Path, before: list[str], wrong: str, told: str
) -> None:
    after = WHOLE[len(before) :]
    if "no group" in told:
        after = ["blue vanda", *after[1:]]

    result = call("new", path, answers=[*before, wrong, *after])

    assert result.exit_code == 0, result.output
    assert told in result.stdout
    assert load_household(path).collection.plants[0].name == "Blue vanda"


def test_bytes_that_are_no_text_are_refused(path: Path) -> None:
    result = call("new", path, answers=b"\xff\xfe\n")

    assert result.exit_code == 1
    assert "not UTF-8 text" in result.stdout
    assert not path.exists()


def test_zero_searches_again(path: Path) -> None:
    answers = [*PLACE, *SPOTS, "Lemon", "vanda", "0", "citrus", "1,2", "", "", "", "", *END]

    assert answered(path, answers)["plants"][0]["parents"] == [
        "citrus tender",
        "citrus hardier",
    ]


def test_a_word_in_place_of_a_number_searches_again_and_a_typing_error_is_offered_right(
    path: Path,
) -> None:
    plant = ["Lemon", "paph", "cattleyya", "", "", "", "", ""]

    result = call("new", path, answers=[*PLACE, *SPOTS, *plant, *END])

    assert result.exit_code == 0, result.output
    assert "no group has these words; did you mean cattleya?" in result.stdout
    assert "[cattleya]" in result.stdout
    assert load_household(path).collection.plants[0].groups == ("cattleya",)


def test_what_the_answers_come_to_is_told_before_the_file_is_written(path: Path) -> None:
    plants = ["Lemon", "citrus tender", "", "", "-", "", *PLANT]

    result = call("new", path, answers=[*PLACE, *SPOTS, *plants, *END[:-1], "stop"])

    told = result.stdout.split("its end")[1]
    assert "2 plants: 1 citrus tender, 1 vanda strap-leaf" in told
    assert "Outdoors without a shelter (1): Lemon" in told
    assert not path.exists()


def test_there_must_be_a_spot(path: Path) -> None:
    result = call("new", path, answers=[*PLACE, "-", "-", *WHOLE[3:]])

    assert result.exit_code == 0
    assert "there must be at least one spot" in result.stdout


def test_plants_that_never_leave_the_house(path: Path) -> None:
    document = answered(path, [*PLACE, "-", "house", "15", "Moth", "phalaenopsis", *[""] * 2, *END])

    assert document["plants"][0] == {
        "name": "Moth",
        "group": "phalaenopsis",
        "holder": "pot",
        "home": "house",
    }


# -- the end before the end


@pytest.mark.parametrize("many", range(len(WHOLE)))
def test_answers_that_end_early_write_nothing(path: Path, many: int) -> None:
    result = call("new", path, answers=WHOLE[:many])

    assert result.exit_code == 1
    assert "stopped; nothing was written" in result.stderr
    assert not path.parent.exists()


class Interrupted(io.BytesIO):
    """Answers, and then Ctrl-C in place of the next."""

    def read1(self, size: int | None = -1, /) -> bytes:
        answers = super().read1(size)
        if not answers:
            raise KeyboardInterrupt
        return answers


@pytest.mark.parametrize("many", range(len(WHOLE)))
def test_ctrl_c_writes_nothing(path: Path, many: int) -> None:
    answers = Interrupted("".join(f"{answer}\n" for answer in WHOLE[:many]).encode())

    result = call("new", path, answers=answers)

    assert result.exit_code == 1
    assert "stopped; nothing was written" in result.stderr
    assert not path.parent.exists()


def test_ctrl_c_while_something_is_looked_up_writes_nothing(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(Atlas, "places_named", interrupted)

    result = call("new", path, answers=["Mendoza"])

    assert result.exit_code == 1
    assert "stopped; nothing was written" in result.stderr
    assert not path.parent.exists()


# -- the file


def test_only_its_owner_may_read_it(path: Path) -> None:
    answered(path, WHOLE)

    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert sorted(file.name for file in path.parent.iterdir()) == [SCHEMA_FILE, path.name]


def test_without_a_name_it_is_where_commands_look_for_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SILLWARD_COLLECTION", str(tmp_path / "mine.toml"))

    result = call("new", answers=WHOLE)

    assert "  sillward check\n" in result.stdout
    assert call("check").exit_code == 0


def test_a_file_that_is_there_is_never_overwritten(path: Path) -> None:
    path.parent.mkdir()
    path.write_text("mine", encoding="utf-8")
    other = path.with_name("other.toml")

    result = call("new", path, answers=["", str(path.parent), str(other), *WHOLE])

    assert result.exit_code == 0
    assert f"{path}: already exists" in result.stdout
    assert "write the name of a file" in result.stdout
    assert f"{path.parent}: is a folder" in result.stdout
    assert path.read_text(encoding="utf-8") == "mine"
    assert load_household(other).collection.site.name == "Yard"


def test_where_a_service_has_a_collection_no_other_is_asked_for(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SILLWARD_SERVICE", "sillward")
    monkeypatch.setenv("SILLWARD_COLLECTION", str(path))
    without = call("check")
    path.parent.mkdir()
    path.write_text("mine", encoding="utf-8")

    result = call("new")

    assert "there is no collection; `sudo sillward new` writes one" in without.stderr
    assert result.exit_code == 78
    assert f"to change it: sudo nano {path}" in result.stderr
    assert "sudo sillward new --plants plants.csv" in result.stderr
    assert path.read_text(encoding="utf-8") == "mine"


@pytest.mark.parametrize(
    ("typed", "names"),
    [
        ("Terrasse; Balkon", ["Terrasse", "Balkon"]),
        ('"a;b"', ["a;b"]),
        ("a;b, c", ["a;b", "c"]),
        ("-", []),
    ],
)
def test_names_of_spots_have_commas_or_semicolons_between(typed: str, names: list[str]) -> None:
    assert spot_questions.split_names(typed) == names
    assert spot_questions.split_names(spot_questions.joined_names(names)) == names


def test_force_overwrites_when_all_is_answered_and_not_before(path: Path) -> None:
    path.parent.mkdir()
    mine = '[site]\nname = "Mine, and half done"\n'
    path.write_text(mine, encoding="utf-8")

    assert call("new", path, "--force", answers=WHOLE[:-1]).exit_code == 1
    assert path.read_text(encoding="utf-8") == mine
    assert call("new", path, "--force", answers=WHOLE).exit_code == 0
    assert load_household(path).collection.site.name == "Yard"
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


@pytest.mark.parametrize("text", ["mine", "[tool.other]\nname = 1\n", "site = [", "\x00"])
def test_force_overwrites_nothing_but_a_collection(text: str, path: Path) -> None:
    path.parent.mkdir()
    path.write_text(text, encoding="utf-8")
    other = path.with_name("other.toml")

    result = call("new", path, "--force", answers=[str(other), *WHOLE])

    assert f"{path}: holds something else" in result.stdout
    assert path.read_text(encoding="utf-8") == text
    with pytest.raises(NotOursError):
        writing.write(path, collection_text(SITE, [HOUSE], [MOTH]), force=True)
    assert path.read_text(encoding="utf-8") == text


def test_a_file_that_comes_meanwhile_is_not_overwritten(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def meanwhile(*answers: Any, **options: Any) -> str:
        if not path.parent.exists():
            path.parent.mkdir()
            path.write_text("theirs", encoding="utf-8")
        return collection_text(*answers, **options)

    monkeypatch.setattr(first_run, "collection_text", meanwhile)
    other = path.with_name("other.toml")

    result = call("new", path, answers=[*WHOLE, str(other)])

    assert result.exit_code == 0, result.output
    assert path.read_text(encoding="utf-8") == "theirs"
    assert load_household(other).collection.site.name == "Yard"
    names = [file.name for file in path.parent.iterdir()]
    assert sorted(names) == ["other.toml", SCHEMA_FILE, "yard.toml"]


def test_a_link_that_leads_nowhere_is_a_file_that_is_there(path: Path) -> None:
    path.parent.mkdir()
    path.symlink_to(path.with_name("nowhere"))

    result = call("new", path, answers=[str(path.with_name("other.toml")), *WHOLE])

    assert "already exists" in result.stdout
    assert path.is_symlink()


@pytest.mark.parametrize("name", ["file/yard.toml", "a" * 300, "~nobody-at-all/yard.toml"])
def test_a_place_that_cannot_be_is_refused_at_once(tmp_path: Path, path: Path, name: str) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    target = name if name.startswith("~") else tmp_path / name
    busy = tmp_path / "file"

    result = call("new", busy, answers=[str(target), str(path), *WHOLE])

    assert result.exit_code == 0, result.output
    assert result.stdout.count("Another file: ") == 2
    assert load_household(path).collection.site.name == "Yard"


def test_a_disk_that_is_full_costs_no_answers(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write = writing.write

    def full(target: Path, text: str, *, force: bool) -> None:
        if target == path:
            raise OSError(28, "No space left on device")
        write(target, text, force=force)

    monkeypatch.setattr(writing, "write", full)
    other = path.with_name("other.toml")

    result = call("new", path, answers=[*WHOLE, str(other)])

    assert f"{path}: cannot be written: No space left on device" in result.stdout
    assert load_household(other).collection.site.name == "Yard"


def test_what_is_cut_off_while_it_is_written_leaves_nothing(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "link", interrupted)

    with pytest.raises(KeyboardInterrupt):
        writing.write(path, collection_text(SITE, [HOUSE], [MOTH]))

    assert list(path.parent.iterdir()) == []


def test_editors_find_the_schema_beside_it(path: Path) -> None:
    answered(path, WHOLE)

    first = path.read_text(encoding="utf-8").splitlines()[0]
    assert first == f"#:schema ./{SCHEMA_FILE}"
    beside = path.with_name(SCHEMA_FILE).read_text(encoding="utf-8")
    assert json.loads(beside) == collection_schema()


@pytest.mark.parametrize(
    ("old", "replaced"),
    [(b'{"$id": "urn:sillward:collection"}', True), (b"mine", False), (b"\xff\xfe", False)],
)
def test_a_schema_of_an_older_version_is_replaced_and_what_is_none_is_left(
    path: Path, old: bytes, replaced: bool
) -> None:
    path.parent.mkdir()
    beside = path.with_name(SCHEMA_FILE)
    beside.write_bytes(old)

    answered(path, WHOLE)

    assert (beside.read_bytes() != old) is replaced


# -- whatever is typed

SITE = SiteAnswer("Yard", -32.89, -68.85, 780.0, ZONE)
HOUSE = IndoorAnswer("house", None)
MOTH = PlantAnswer("Moth", ("phalaenopsis",), "pot", "house", None, None, 16.0)

HOSTILE = [
    'the "best" one',
    "back\\slash \\u0041",
    "🌵 on the sill",
    "東の棚",
    "[[plants]]",
    'x"\n',
    "a = 1 # b",
    "'''",
    '"""',
    "1.5",
    "-x",
    "Ünïcødé",
    "#",
]


@pytest.mark.parametrize("name", HOSTILE)
def test_whatever_is_typed_arrives_as_it_was(path: Path, name: str) -> None:
    name = name.strip()
    answers = [*PLACE[:2], name, name, "", "", "house", "", name, "vanda", *[""] * 5, *END]

    document = answered(path, answers)

    assert document["site"]["name"] == name
    assert list(document["spots"]) == [name, "house"]
    assert (document["plants"][0]["name"], document["plants"][0]["home"]) == (name, name)


names = st.text(min_size=1, max_size=80).filter(lambda name: problem_with(Text, name) is None)


@settings(deadline=None, max_examples=30)
@given(
    st.lists(names, min_size=4, max_size=4, unique=True),
    names,
    st.floats(-90, 90),
    st.floats(-180, 180),
    st.floats(-430, 6000),
    st.none() | st.floats(-30, 30),
)
def test_every_draft_is_a_collection(
    four: list[str],
    found: str,
    latitude: float,
    longitude: float,
    elevation_m: float,
    night_low_c: float | None,
) -> None:
    name, outdoors, indoors, plant = four
    site = SiteAnswer(name, latitude, longitude, elevation_m, ZONE, found)
    spots: list[SpotAnswer] = [OutdoorAnswer(outdoors, COVERS[0], BREEZES[0])]
    spots.append(IndoorAnswer(indoors, night_low_c))
    mine = PlantAnswer(plant, ("vanda terete",), "pot", outdoors, indoors, night_low_c, 16.0)

    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "yard.toml"
        file.write_text(collection_text(site, spots, [mine]), encoding="utf-8")
        collection = load_household(file).collection

    assert (collection.site.name, collection.plants[0].name) == (name, plant)
    assert [spot.name for spot in collection.spots] == [outdoors, indoors]
    assert collection.site.latitude == pytest.approx(latitude, abs=1e-4)
    if night_low_c is not None:
        limit = collection.plants[0].limits.night_low
        assert limit is not None
        assert limit.value == pytest.approx(night_low_c, abs=0.06)


# -- coordinates, groups and zones


@pytest.mark.parametrize(
    ("text", "read"),
    [
        ("-32.89, -68.85", (-32.89, -68.85)),
        ("−32.89 −68.85", (-32.89, -68.85)),
        ("32.89 S, 68.85 W", (-32.89, -68.85)),
        ("52.5°n;13.4°e", (52.5, 13.4)),
        ("-32 S 0 E", (-32.0, 0.0)),
        ("0,0", (0.0, 0.0)),
        ("Mendoza", None),
        ("1012 AB", None),
        ("5500", None),
        ("100 Mile House", None),
    ],
)
def test_coordinates_and_names_are_told_apart(text: str, read: tuple[float, float] | None) -> None:
    assert site_questions.coordinates(text) == read


@given(st.text(max_size=30))
def test_any_text_is_coordinates_a_name_or_told_to_be_wrong(text: str) -> None:
    found: tuple[float, float] | None = None
    with contextlib.suppress(ValueError):
        found = site_questions.coordinates(text)
    assert found is None or (abs(found[0]) <= 90 and abs(found[1]) <= 180)


@pytest.mark.parametrize(
    ("words", "first"),
    [
        ("vanda terete", "vanda terete"),
        ("Cattleyas", "cattleya"),
        ("my old cattleya", "cattleya"),
    ],
)
def test_groups_are_found_by_what_growers_say(words: str, first: str) -> None:
    assert plant_questions.search_groups(words)[0].name == first


def test_enter_takes_the_tenderest_of_what_is_found() -> None:
    assert plant_questions.search_groups("lady slipper")[0].name == "paphiopedilum mottled-leaf"


@pytest.mark.parametrize("words", ["paph", "dendrobium", "orchid", "vanda"])
def test_enter_takes_the_tenderest_of_what_a_name_may_mean(words: str) -> None:
    alias = alias_named(words)
    assert alias is not None
    meant = [standard_groups()[name] for name in alias.groups]

    found = plant_questions.search_groups(words)

    assert {group.name for group in found[: len(meant)]} == {*alias.groups}
    lows = [plant_questions.night_low_of([group]) for group in found[: len(meant)]]
    assert lows == sorted(lows, key=lambda low: -(low or 0.0))


def test_what_nobody_has_is_not_found() -> None:
    assert (
        plant_questions.search_groups("xyzzy") == plant_questions.search_groups("xyzzy plugh") == []
    )


@pytest.mark.parametrize(
    ("zone", "longitude", "offered"),
    [
        (ZONE, -68.85, ZONE),
        (f":{ZONE}", -68.85, ZONE),
        ("Asia/Urumqi", 87.6, "Asia/Urumqi"),
        ("Pacific/Auckland", -176.5, "Pacific/Auckland"),
        ("Europe/Berlin", -68.85, None),
        ("UTC", 0.0, None),
        ("Etc/GMT+5", -75.0, None),
        ("Mars/Olympus", 0.0, None),
        ("../../etc/passwd", 0.0, None),
    ],
)
def test_the_zone_of_the_machine_is_offered_where_it_fits(
    zone: str, longitude: float, offered: str | None
) -> None:
    assert site_questions.machine_zone(longitude, {"TZ": zone}) == offered


def test_the_zone_of_the_machine_is_read_from_its_link(tmp_path: Path) -> None:
    link = tmp_path / "localtime"
    link.symlink_to(tmp_path / "zoneinfo" / "America" / "Argentina" / "Mendoza")

    assert site_questions.machine_zone(-68.85, {}, link) == ZONE
    assert site_questions.machine_zone(-68.85, {}, tmp_path / "none") is None
