"""What `why`, a sheet's JSON and `check` say of harm that is weighed against trips."""

import json
import re
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from sillward.cli import main
from sillward.reports import why
from sillward.reports.sheet_json import sheet_document
from sillward.wording.voice import Voice
from sillward_rules.chore import ChoreKind
from sillward_rules.explanation import Explanation, explain_plant
from sillward_rules.plants.collection import Collection, Habits
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.state import PlantState
from sillward_rules.sheet import Round, Sheet, draw_up
from sillward_rules.transitions import next_state
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.spot import Spot
from tests.support.core import (
    MENDOZA,
    OPEN_BENCH,
    WARM_ROOM,
    collection,
    daily_curve,
    fetched,
    plant,
    uncertain,
    utc,
    weather,
)
from tests.support.paths import EXAMPLES

START = utc("2026-05-13T00:00")
DUSK = utc("2026-05-14T20:00")
LOW_C = 9.0
WALL = Spot("wall", sky_view=0.0, wind=1.0, height_m=10.0, night_offset_k=0.0, day_offset_k=0.0)


def sky(low: float = LOW_C) -> Weather:
    return uncertain(fetched(weather(START, daily_curve(low, low + 9.0, 96)), DUSK))


def household(*plants: Plant, caution: float = 60.0) -> Collection:
    habits = Habits(caution=caution)
    return collection(*plants, spots=(OPEN_BENCH, WALL, WARM_ROOM), habits=habits)


def told(made: Collection, air: Weather | None = None) -> tuple[Explanation, Sheet]:
    """The account of the first plant, and the sheet of the evening."""
    by = air or sky()
    return explain_plant(made.plants[0], made, by, {}, DUSK), draw_up(
        Round.DUSK, made, by, {}, DUSK
    )


def weighed(explanation: Explanation, sheet: Sheet) -> str:
    """The sentence of what was weighed; empty where nothing was."""
    text = " ".join(why.text(explanation, [sheet], Voice(MENDOZA)).split())
    found = re.search(r"weighed: .*?: (goes in|may stay out)", text)
    return found.group(0) if found else ""


def carried(sheet: Sheet) -> set[str]:
    return {
        name for chore in sheet.chores if chore.kind is ChoreKind.CARRY_IN for name in chore.plants
    }


# -- why


SENTENCE = re.compile(
    r"weighed: the harm that cover spares it is (?P<harm>[\d.]+) % of a lost leaf; at "
    r"(?P<caution>[\d.]+) trips for a lost leaf( times its worth of (?P<worth>[\d.]+))? that is "
    r"(?P<gain>[\d.]+) trips?, and (carrying it costs (?P<price>[\d.]+) trips? "
    r"\((?P<walk>[a-z ]+)\)|the forecast itself asks for cover): "
    r"(?P<outcome>goes in|may stay out)"
)

ALONE, ALONG, SHARED = (
    "a walk for it alone",
    "one more on a walk that is made anyway",
    "with its share of a walk",
)


def parts(sentence: str) -> dict[str, str]:
    found = SENTENCE.fullmatch(sentence)
    assert found, sentence
    return found.groupdict()


@pytest.mark.parametrize(
    ("plants", "walk", "outcome"),
    [
        ([8.0], ALONE, "goes in"),
        ([7.0], ALONE, "may stay out"),
        ([7.5, 7.5], SHARED, "goes in"),
        ([7.2, 10.0], ALONG, "goes in"),
        ([6.5, 10.0], ALONG, "may stay out"),
        ([6.5, 6.5], ALONE, "may stay out"),
    ],
)
def test_why_says_what_was_weighed_and_what_came_of_it(
    plants: list[float], walk: str, outcome: str
) -> None:
    made = household(*(plant(f"Pot {n}", night_low=limit) for n, limit in enumerate(plants)))

    explanation, sheet = told(made)

    found = parts(weighed(explanation, sheet))
    assert (found["walk"], found["outcome"]) == (walk, outcome)
    assert ("Pot 0" in carried(sheet)) == (outcome == "goes in")
    price = {ALONE: 1.0, ALONG: 0.25, SHARED: 0.62}[walk]
    assert float(found["price"]) == pytest.approx(price, abs=0.01)
    by_itself = float(found["gain"]) > float(found["price"])
    assert by_itself == (outcome == "goes in")


def test_who_goes_in_by_the_forecast_itself_is_told_so() -> None:
    explanation, sheet = told(household(plant("Pot", night_low=10.0)))

    sentence = weighed(explanation, sheet)

    assert sentence.endswith(", and the forecast itself asks for cover: goes in")
    assert carried(sheet) == {"Pot"}


@pytest.mark.parametrize(
    ("limit", "told_of_it"),
    [
        (10.0, "the forecast itself asks for cover: stays in"),
        (8.0, "keeping it in costs 0.25 trips: stays in"),
        (6.8, "keeping it in costs 0.25 trips: may stay out"),
    ],
)
def test_who_is_in_is_weighed_against_being_kept_in(limit: float, told_of_it: str) -> None:
    made = household(plant("Pot", night_low=limit))
    inside = {"Pot": PlantState("room", START, assumed=False)}

    explanation = explain_plant(made.plants[0], made, sky(), inside, DUSK)
    sheet = draw_up(Round.DUSK, made, sky(), inside, DUSK)

    text = " ".join(why.text(explanation, [sheet], Voice(MENDOZA)).split())
    assert told_of_it in text
    assert not carried(sheet)
    stays = [chore for chore in sheet.chores if chore.kind is ChoreKind.STAY_IN]
    assert bool(stays) == told_of_it.endswith("stays in")


def test_another_spot_is_another_walk() -> None:
    made = household(plant("Pot", night_low=7.2), plant("Other", night_low=10.0, home="wall"))

    explanation, sheet = told(made)

    assert parts(weighed(explanation, sheet))["walk"] == ALONE
    assert carried(sheet) == {"Other"}


@pytest.mark.parametrize("caution", [20.0, 60.0, 200.0])
@pytest.mark.parametrize("worth", [1.0, 2.5])
def test_the_numbers_of_a_sentence_follow_from_each_other(caution: float, worth: float) -> None:
    pot = replace(plant("Pot", night_low=7.6), worth=worth)

    explanation, sheet = told(household(pot, caution=caution))

    found = parts(weighed(explanation, sheet))
    assert float(found["caution"]) == caution
    assert float(found["worth"] or 1.0) == worth
    gain = float(found["harm"]) / 100 * caution * worth
    assert float(found["gain"]) == pytest.approx(gain, rel=0.06)
    assert (found["outcome"] == "goes in") == (gain > 1.0)


def test_nothing_is_weighed_where_no_harm_is_expected_or_nothing_is_known() -> None:
    holes = daily_curve(LOW_C, LOW_C + 9.0, 96)
    holes[50:56] = np.nan
    unknown = uncertain(fetched(weather(START, holes), DUSK))
    hardy, tender = household(plant("Pot", night_low=-5.0)), household(plant("Pot", night_low=8.0))

    assert weighed(*told(hardy)) == ""
    assert weighed(*told(tender, unknown)) == ""
    explanation, sheet = told(tender, unknown)
    assert why.document(explanation, [sheet], MENDOZA)["weighing"] is None


@pytest.mark.parametrize(
    ("pot", "caution", "words"),
    [
        (plant("Pot", night_low=-5.0), 60.0, "weighed: no harm to speak of is expected nothing"),
        (plant("Pot", night_low=8.0), 0.0, "not weighed: caution is 0, so only what the forecast"),
    ],
)
def test_a_plant_that_is_left_out_has_its_chance_and_why(
    pot: Plant, caution: float, words: str
) -> None:
    explanation, sheet = told(household(pot, caution=caution))

    text = " ".join(why.text(explanation, [sheet], Voice(MENDOZA)).split())

    limit = f"{pot.limits.night_low.value:g}" if pot.limits.night_low else ""
    assert re.search(rf"the night: not under {limit} °C by the forecast, <?\d+ % chance", text)
    assert words in text


def test_a_leaf_that_is_surely_lost_is_100_percent() -> None:
    explanation, sheet = told(household(plant("Pot", night_low=29.0)))

    found = parts(weighed(explanation, sheet))
    assert (found["harm"], found["gain"], found["outcome"]) == ("100", "60", "goes in")


@pytest.mark.parametrize("limit", [5.0, 7.0, 8.0, 10.0])
def test_the_json_of_why_and_of_the_sheet_have_the_same_numbers(limit: float) -> None:
    pot = replace(plant("Pot", night_low=limit), worth=2.0)
    explanation, sheet = told(household(pot, caution=40.0))

    weighing = why.document(explanation, [sheet], MENDOZA)["weighing"]

    assert set(weighing) == {
        *("expected_harm", "caution", "worth", "gain_trips", "price_trips", "goes_in"),
    }
    assert (weighing["caution"], weighing["worth"]) == (40.0, 2.0)
    assert weighing["gain_trips"] == pytest.approx(80.0 * weighing["expected_harm"], abs=0.01)
    assert weighing["goes_in"] == ("Pot" in carried(sheet))
    reasons: list[dict[str, Any]] = [
        reason
        for chore in sheet_document(sheet, MENDOZA)["chores"]
        if chore["chore"] == "carry-in"
        for reason in chore["because"]
    ]
    assert len(reasons) == weighing["goes_in"]
    for reason in reasons:
        for key in ("expected_harm", "gain_trips", "price_trips"):
            assert reason[key] == weighing[key], key


# -- check


def checked(folder: Path, *changes: tuple[str, str]) -> tuple[str, Any]:
    """What `check` says of the courtyard with words of its file exchanged."""
    text = (EXAMPLES / "courtyard.toml").read_text(encoding="utf-8")
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    path = folder / "yard.toml"
    path.write_text(text, encoding="utf-8")
    arguments = ["check", "--full", "--collection", str(path)]
    plain, as_json = (CliRunner().invoke(main, [*arguments, *more]) for more in ([], ["--json"]))
    assert plain.exit_code == as_json.exit_code == 0, plain.output
    return plain.stdout, json.loads(as_json.stdout)


@pytest.mark.parametrize(
    ("key", "told", "trips"),
    [
        ("", 'a lost leaf is worth 120 trips ("usual")', 120),
        ('caution = "relaxed"\n', 'a lost leaf is worth 30 trips ("relaxed")', 30),
        ("caution = 400\n", 'a lost leaf is worth 400 trips ("careful")', 400),
        ("caution = 75.5\n", "a lost leaf is worth 75.5 trips", 75.5),
        ("caution = 0\n", "none: only what the forecast itself asks for", 0),
    ],
)
def test_check_says_what_a_lost_leaf_is_worth(
    tmp_path: Path, key: str, told: str, trips: float
) -> None:
    text, report = checked(tmp_path, ("[habits]\n", f"[habits]\n{key}"))

    (line,) = [line for line in text.splitlines() if line.startswith("caution:")]
    assert line.removeprefix("caution:").strip() == told
    assert report["caution"] == trips


def test_check_says_how_much_a_plant_counts(tmp_path: Path) -> None:
    name = 'name = "Moth orchid"\n'

    text, report = checked(tmp_path, (name, f"{name}worth = 2.5\n"))

    assert len(re.findall("counts [0-9.]+ times", text)) == 1
    ((_, places),) = re.findall(r"Moth orchid\n(.*?); .*?; (.*)", text)
    assert places.endswith("; counts 2.5 times")
    assert [plant["worth"] for plant in report["plants"] if plant["name"] == "Moth orchid"] == [2.5]
    assert {plant["worth"] for plant in report["plants"]} == {1.0, 2.5}


def test_why_and_the_sheet_agree_on_an_order_that_stands() -> None:
    """Told at 5 °C, open and overdue; the newest forecast alone would leave the plant out."""
    made = household(plant("Pot", night_low=10.0))
    first = draw_up(Round.DUSK, made, sky(5.0), {}, DUSK)
    state, now = next_state({}, first), DUSK + timedelta(hours=3)
    newer = fetched(sky(12.0), now)

    sheet = draw_up(Round.DUSK, made, newer, state, now)
    explanation = explain_plant(made.plants[0], made, newer, state, now)

    assert carried(sheet) == {"Pot"}
    text = " ".join(why.text(explanation, [sheet], Voice(MENDOZA)).split())
    assert "it has been told to go in, and that stands: goes in" in text
    assert "may stay out" not in text
