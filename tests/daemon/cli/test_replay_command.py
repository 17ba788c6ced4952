"""`sillward replay` and `sillward season`: what they show, compare, draw, keep and refuse."""

import functools
import json
import re
from collections.abc import Sequence
from contextlib import closing
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import pytest

from sillward.assembly import app
from sillward.assembly.accepted import with_accepted_limits
from sillward.cli import shared
from sillward.cli.progress import Progress
from sillward.config.settings import load_settings
from sillward.ledger import Ledger
from sillward.replay.run import LostProcessError, run
from sillward.service.accepted_limits import LimitChange, accept
from sillward_rules.replay.engine import Plan
from sillward_rules.replay.records import ReplayResult
from sillward_rules.weather.hourly import Weather
from tests.support.commands import call
from tests.support.past_weather import past_weather
from tests.support.paths import EXAMPLES

COURTYARD = ("--collection", str(EXAMPLES / "courtyard.toml"))
DEMO = ("--demo", "--from", "2024-11-22", "--to", "2024-11-24")
"""Near the beginning of its weather, so that there is not much before it to replay."""

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)


@pytest.fixture(autouse=True)
def _here(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Processes of their own take longer to start than such replays; test_run.py has them."""
    monkeypatch.setattr("sillward.replay.run.usable_cores", lambda: 1)
    monkeypatch.setattr(shared, "build", functools.partial(app.build, clock=lambda: NOW))
    here = tmp_path / "here"
    here.mkdir()
    monkeypatch.chdir(here)


def shown(*arguments: str) -> str:
    result = call(*arguments)
    assert result.exit_code == 0, result.output
    return result.stdout


def refused(*arguments: str, status: int = 2) -> str:
    result = call(*arguments)
    assert (result.exit_code, result.stdout) == (status, ""), result.output
    assert len(result.stderr.splitlines()) == 1, result.stderr
    return result.stderr


def archive(path: Path, weather: Weather, *, forecasts: bool = False) -> str:
    """Weather as a CSV file of past weather; forecasts: with those of the day before, 1 K off."""
    columns = {
        "temperature_2m (°C)": weather.temp_c,
        "dew_point_2m (°C)": weather.dew_point_c,
        **({"temperature_2m_previous_day1 (°C)": weather.temp_c + 1.0} if forecasts else {}),
    }
    cells = (np.round(series, 2).tolist() for series in columns.values())
    rows = zip(weather.times.tolist(), *cells, strict=True)
    lines = [",".join(["time (unix)", *columns])]
    path.write_text("\n".join([*lines, *(",".join(map(str, row)) for row in rows)]), "utf-8")
    return str(path)


@pytest.fixture(scope="module")
def years(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Three years of invented weather in Mendoza."""
    return archive(
        tmp_path_factory.mktemp("past") / "years.csv", past_weather(date(2020, 1, 1), 1096)
    )


@pytest.fixture(scope="module")
def april(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, ...]:
    """The courtyard in a week that has four nights with a day before and after them."""
    folder = tmp_path_factory.mktemp("past")
    file = archive(folder / "april.csv", past_weather(date(2021, 4, 20), 7))
    return (*COURTYARD, "--archive", file)


# -- a replay


def test_the_demo_needs_no_file_no_network_and_no_ledger() -> None:
    said = shown("replay", *DEMO)

    assert said.startswith("Courtyard, Fri 22 Nov 2024 to Sun 24 Nov 2024: 16 plants\n")
    assert "seed 1" in said
    assert re.search(r"^nights +3$", said, re.MULTILINE)
    assert re.search(r"^2024-11 +[MLIn.]{3} +\d+$", said, re.MULTILINE)
    assert not load_settings().ledger_file.exists()
    assert list(Path().iterdir()) == []


def test_json_is_the_same_each_time_and_another_seed_is_another_year(
    april: tuple[str, ...],
) -> None:
    first, again, other = (
        json.loads(shown("replay", *april, "--json", "--seed", seed)) for seed in ("1", "1", "2")
    )

    assert first == again
    assert first["seed"] == 1
    assert first["totals"]["nights"] == len(first["nights"]) == 4
    assert first["nights"] != other["nights"]
    assert first["schema"] == 1


def test_with_perfect_forecasts_nothing_is_missed_and_no_seed_is_told(
    april: tuple[str, ...],
) -> None:
    document = json.loads(shown("replay", *april, "--json", "--errors", "none"))

    assert document["forecasts"] == "perfect forecasts"
    assert document["seed"] is None
    assert document["totals"]["misses"] == document["totals"]["late"] == 0


def test_on_days_away_nothing_is_done(april: tuple[str, ...]) -> None:
    away = "2021-04-19..2021-04-30"

    document = json.loads(shown("replay", *april, "--json", "--away", away))

    assert document["totals"]["away"] == 4
    assert document["totals"]["carried_in"] == 0
    assert document["totals"]["not_done"] > 0


def test_one_command_answers_what_a_higher_limit_costs_and_saves(april: tuple[str, ...]) -> None:
    said = shown("replay", *april, "--set", "plants.lime.limits.night_low=12")

    assert "changed: plants.lime.limits.night_low=12\n" in said
    assert "both are judged by the higher one" in said
    hours = next(line.split() for line in said.splitlines() if line.startswith("hours under"))
    assert int(hours[-1]) < 0
    assert "The change costs" in said
    assert "It saves" in said


def test_forecasts_of_those_days_are_used_where_the_file_has_them(tmp_path: Path) -> None:
    file = archive(tmp_path / "runs.csv", past_weather(date(2021, 4, 20), 6), forecasts=True)

    document = json.loads(shown("replay", *COURTYARD, "--archive", file, "--json"))

    assert document["forecasts"] == "the forecasts that were made then"
    assert document["seed"] is None
    assert document["totals"]["nights"] == 3


def test_a_change_that_is_none_changes_nothing(april: tuple[str, ...]) -> None:
    said = shown("replay", *april, "--set", "habits.lead=45 min")

    assert "The change makes no difference to the work or the cold.\n" in said
    assert "judged by the higher" not in said


def test_limits_that_were_accepted_count_in_the_other_collection_too(
    tmp_path: Path, april: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    built = app.build(app.Options(collection=EXAMPLES / "courtyard.toml"))
    of_site = built.household.collection
    plant = next(one for one in of_site.plants if one.limits.night_low)
    assert plant.limits.night_low is not None
    was = plant.limits.night_low.value
    path = tmp_path / "ledger.sqlite3"
    with closing(Ledger(path)) as ledger:
        change = LimitChange("night_low", was, was - 30, was)
        accept(ledger, of_site.site.name, plant.name, [change], NOW, None, "after damage")
    monkeypatch.setenv("SILLWARD_LEDGER", str(path))
    built = app.build(built.options)
    ours = replace(built, household=with_accepted_limits(built))
    monkeypatch.setattr(shared, "build", lambda _: ours)
    copy = tmp_path / "copy.toml"
    copy.write_bytes((EXAMPLES / "courtyard.toml").read_bytes())

    said = shown("replay", *april, "--to", "2021-04-21", "--against", str(copy))

    assert "The change makes no difference to the work or the cold.\n" in said


def test_another_collection_is_compared_whole(tmp_path: Path, april: tuple[str, ...]) -> None:
    other = tmp_path / "other.toml"
    text = (EXAMPLES / "courtyard.toml").read_text(encoding="utf-8")
    other.write_text(text.replace("limits.night_low = 14", "limits.night_low = -9"), "utf-8")

    document = json.loads(shown("replay", *april, "--json", "--against", str(other)))

    assert document["changes"] == [f"--against {other}"]
    trips = document["differences"]["carried_in"]
    assert trips["after"] != trips["before"]
    assert document["before"]["plants"] == document["after"]["plants"] == 16


def test_the_chart_is_a_calendar_of_the_nights(april: tuple[str, ...]) -> None:
    said = shown("replay", *april, "--chart", "nights.svg")

    assert said.endswith("nights.svg: Wed 21 Apr 2021 to Sat 24 Apr 2021\n")
    assert Path("nights.svg").read_bytes().startswith(b"<?xml")


def test_with_json_only_the_document_is_on_standard_output(april: tuple[str, ...]) -> None:
    result = call("replay", *april, "--chart", "nights.png", "--json")

    assert json.loads(result.stdout)["site"] == "Courtyard"
    assert result.stderr == "nights.png: Wed 21 Apr 2021 to Sat 24 Apr 2021\n"
    assert Path("nights.png").read_bytes().startswith(b"\x89PNG")


def test_your_own_collection_takes_a_file_of_past_weather(april: tuple[str, ...]) -> None:
    said = shown("replay", *april)

    assert said.startswith("Courtyard, Wed 21 Apr 2021 to Sat 24 Apr 2021: 16 plants\n")
    assert "note: the file has no" in said


@pytest.mark.parametrize(
    ("options", "status", "words"),
    [
        ((), 2, "name a file of past weather with --archive, or try --demo"),
        (("--demo", "--archive", "x.csv"), 2, "--demo: has its own"),
        (("--demo", *COURTYARD), 2, "--demo: has its own"),
        (("--demo", "--from", "yesterday"), 2, '--from "yesterday" is not a date'),
        (("--demo", "--to", "2031-01-01"), 2, "reaches for the nights from 2024-11-2"),
        (("--demo", "--away", "July"), 2, '--away "July" is not a date'),
        (("--demo", "--errors", "recorded"), 2, "has no forecasts of past days"),
        (("--demo", "--errors", "learned"), 2, "too few nights"),
        (("--demo", "--set", "habits.lead"), 2, "write KEY=VALUE"),
        (("--demo", "--set", "plants.Nobody.home=pergola"), 2, '"Nobody" is not a plant here'),
        (("--demo", "--set", "habits.lead=soon"), 2, "courtyard.toml: habits: lead"),
        (("--demo", "--against", "none.toml"), 78, "none.toml: cannot be read"),
        (("--demo", "--chart", "nights.pdf"), 2, '--chart "nights.pdf": a chart is a .png or an'),
        ((*COURTYARD, "--archive", "none.csv"), 1, "none.csv: cannot be read"),
    ],
)
def test_what_is_wrong_is_told_in_a_line(options: tuple[str, ...], status: int, words: str) -> None:
    assert words in refused("replay", *options, status=status)


def test_another_place_cannot_be_compared_with(tmp_path: Path, april: tuple[str, ...]) -> None:
    other = tmp_path / "other.toml"
    text = (EXAMPLES / "courtyard.toml").read_text(encoding="utf-8")
    other.write_text(text.replace("latitude = -32.89", "latitude = 41.2"), "utf-8")

    assert "is for another place" in refused("replay", *april, "--against", str(other))


def test_an_interrupted_replay_prints_what_it_had(
    monkeypatch: pytest.MonkeyPatch, april: tuple[str, ...]
) -> None:
    counted: list[int] = []

    def interrupt(progress: Progress) -> None:
        counted.append(1)
        if len(counted) == 2:
            raise KeyboardInterrupt

    monkeypatch.setattr(Progress, "one_more", interrupt)

    result = call("replay", *april)

    assert result.exit_code == 1
    assert "interrupted: 2 of 4 nights: Wed 21 Apr 2021 to Thu 22 Apr 2021" in result.stdout
    assert re.search(r"^nights +2 of 4 only$", result.stdout, re.MULTILINE)


def test_a_replay_that_lost_a_process_prints_what_it_had_and_says_why(
    monkeypatch: pytest.MonkeyPatch, april: tuple[str, ...]
) -> None:
    def lost(plans: Sequence[Plan], on_night: object) -> list[ReplayResult]:
        results = run(plans, processes=1)
        parts = [replace(one, nights=one.nights[:3]) for one in results]
        raise LostProcessError(parts)

    monkeypatch.setattr("sillward.cli.replay.run", lost)

    result = call("replay", *april)

    assert result.exit_code == 1
    assert "interrupted: 3 of 4 nights" in result.stdout
    assert "a process was ended from outside" in result.stderr


# -- the season


def test_the_season_is_shown_for_each_limit(years: str) -> None:
    said = shown("season", *COURTYARD, "--archive", years, "--quick")

    assert said.startswith("Courtyard: nights from 01 Jan 2020 to 30 Dec 2022\n")
    assert "3 years of nights: too few for odds" in " ".join(said.split())
    assert "pergola, limit 14 °C: Blue basket" in said
    assert "walks expected" not in said
    assert not load_settings().ledger_file.exists()


def test_the_walks_come_from_a_replay_of_it_all(tmp_path: Path) -> None:
    weeks = archive(tmp_path / "weeks.csv", past_weather(date(2021, 4, 29), 36))

    document = json.loads(shown("season", *COURTYARD, "--archive", weeks, "--json"))

    walks = document["walks_by_month"]
    assert walks[4] > 0  # May is whole
    assert walks[:4] + walks[5:] == [None] * 11


def test_an_interrupted_season_shows_no_walks_and_keeps_nothing(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    weeks = archive(tmp_path / "weeks.csv", past_weather(date(2021, 4, 29), 36))
    counted: list[int] = []

    def interrupt(progress: Progress) -> None:
        counted.append(1)
        if len(counted) == 4:
            raise KeyboardInterrupt

    monkeypatch.setattr(Progress, "one_more", interrupt)

    result = call("season", *COURTYARD, "--archive", weeks, "--keep", "--json")

    assert result.exit_code == 1
    assert result.stderr == "interrupted: walks are left out; nothing is kept\n"
    assert json.loads(result.stdout)["walks_by_month"] is None
    assert not load_settings().ledger_file.exists()


def test_kept_it_is_in_the_ledger_for_the_week_sheet(years: str) -> None:
    result = call("season", *COURTYARD, "--archive", years, "--quick", "--keep", "--json")

    assert result.exit_code == 0, result.output
    assert re.fullmatch(
        r"kept for the week sheet: when nights are safe for \d+ limits\n", result.stderr
    )
    with closing(Ledger(load_settings().ledger_file)) as ledger:
        kept = json.loads(ledger.marks.all()["season, Courtyard"].text)
    document = json.loads(result.stdout)
    safe = [limit for limit in document["limits"] if limit["safe"] in ("all year", "from until")]
    assert [part["limit_c"] for part in kept] == [limit["limit_c"] for limit in safe]


@pytest.mark.parametrize(
    ("options", "words"),
    [(("--archive", "none.csv"), "none.csv: cannot be read")],
)
def test_a_season_of_nothing_is_told(options: tuple[str, ...], words: str) -> None:
    assert words in refused("season", *COURTYARD, *options, status=1)
