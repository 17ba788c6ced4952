"""`sillward skill`: what it says of forecasts that were held against thermometers."""

import functools
import json
from collections.abc import Sequence
from contextlib import closing
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sillward.assembly import app, demo_readings
from sillward.cli import shared
from sillward.config.settings import load_settings
from sillward.ledger import Ledger
from sillward.ledger.tables.readings import HandReading
from sillward_rules.readings.hourly_readings import Quantity
from sillward_rules.weather.night_summary import NightForecast
from tests.support import commands
from tests.support.paths import EXAMPLES

COURTYARD = ("--collection", str(EXAMPLES / "courtyard.toml"))
NOW = datetime(2026, 6, 20, 18, tzinfo=UTC)
SOURCES = ("Open-Meteo", "MET Norway")


@pytest.fixture(autouse=True)
def _at_that_time(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shared, "build", functools.partial(app.build, clock=lambda: NOW))
    monkeypatch.setenv("SILLWARD_FORECAST__SOURCE", "open-meteo,met-norway")
    monkeypatch.setenv("SILLWARD_FORECAST__CONTACT", "grower@example.org")


call = partial(commands.call, "skill")


def shown(*words: str) -> str:
    result = call(*words)
    assert result.exit_code == 0, result.output
    return result.stdout


def nights_of_the_ledger(
    nights: int, *, errors_k: Sequence[float] = (2.0, 0.5), spots: Sequence[str] = ("pergola",)
) -> None:
    """So many nights until yesterday, told by two sources with such errors, read by hand."""
    rng = np.random.default_rng(5)
    with closing(Ledger(load_settings().ledger)) as ledger:
        for ago in range(nights, 0, -1):
            low_at = NOW - timedelta(days=ago, hours=-15.5)  # the next morning
            night = (low_at - timedelta(hours=15)).date()
            came_c = float(rng.normal(5.0, 3.0))
            for source, sd_k in zip(SOURCES, errors_k, strict=True):
                low_c = came_c + float(rng.normal(0.0, sd_k))
                told = NightForecast(night, 18.0, low_c, low_at, None, None, None, None)
                ledger.nights.keep("Courtyard", source, low_at - timedelta(hours=18), [told])
            for spot in spots:
                read = HandReading(spot, Quantity.TEMPERATURE, came_c - 1.0, low_at, night)
                ledger.readings.add_by_hand("Courtyard", read, low_at)


def test_the_better_source_is_proposed_with_the_setting_that_puts_it_first() -> None:
    nights_of_the_ledger(60)

    said = shown(*COURTYARD)

    lines = said.splitlines()
    assert lines[0].startswith("Courtyard: forecasts of the low against the thermometer at pergola")
    assert "Open-Meteo, in use: the first night is off by 1." in said
    assert "MET Norway: off by 1." in said
    assert "SILLWARD_FORECAST__SOURCE=met-norway,open-meteo" in said
    assert "its stated range is too narrow" in said
    assert load_settings().forecast.sources == ("open-meteo", "met-norway"), "never switched"


def test_a_source_that_is_not_clearly_better_is_not_proposed() -> None:
    nights_of_the_ledger(60, errors_k=(1.0, 1.05))

    said = shown(*COURTYARD)

    assert "MET Norway: no clear difference in 60 nights" in said
    assert "SILLWARD_FORECAST__SOURCE" not in said


def test_the_document_has_the_numbers_of_the_page() -> None:
    nights_of_the_ledger(40, spots=("pergola", "wall bench", "sunroom"))

    document = json.loads(shown(*COURTYARD, "--json"))

    assert document["spots"] == ["pergola", "wall bench"], "outdoors"
    assert (document["nights"], document["in_use"]) == (40, "Open-Meteo")
    assert document["better"] == "MET Norway"
    first, second = document["skill"]
    assert (first["source"], first["day"], first["nights"]) == ("Open-Meteo", 1, 40)
    assert second["rmse_k"] < 0.8 < 1.5 < first["rmse_k"]
    assert first["bias_k"] == pytest.approx(1.0, abs=1.0)
    (compared,) = document["compared"]
    assert compared["low_k"] < compared["other_better_by_k"] < compared["high_k"]


@pytest.mark.parametrize(
    ("nights", "words"),
    [
        (0, "no spot outdoors has readings yet"),
        (1, "1 night read and told so far; from 10 on"),
        (9, "9 nights read and told so far; from 10 on"),
    ],
)
def test_of_few_nights_it_says_what_is_missing(nights: int, words: str, tmp_path: Path) -> None:
    nights_of_the_ledger(nights)

    said = shown(*COURTYARD, "--chart", str(tmp_path / "skill.png"))

    assert words in " ".join(said.split())
    assert list(tmp_path.glob("skill*")) == []


def test_a_new_source_is_compared_from_thirty_nights_on() -> None:
    nights_of_the_ledger(20)

    assert "MET Norway: compared from 30 nights on that both have told" in shown(*COURTYARD)


def test_fahrenheit_is_for_people_and_kelvin_for_machines(tmp_path: Path) -> None:
    nights_of_the_ledger(40)
    text = (EXAMPLES / "courtyard.toml").read_text(encoding="utf-8")
    yard = tmp_path / "yard.toml"
    yard.write_text(f'{text}\n[notices]\ntemperature = "F"\n', encoding="utf-8")

    said, told = shown("--collection", str(yard)), shown("--collection", str(yard), "--json")

    assert "°C" not in said
    assert "°F" in said
    assert told == shown(*COURTYARD, "--json")


def test_the_demo_needs_nothing_and_shows_what_is_worth_knowing(tmp_path: Path) -> None:
    result = call("--demo", "--json", "--chart", str(tmp_path / "skill.svg"))

    document: dict[str, Any] = json.loads(result.stdout)
    assert document["nights"] == 365
    assert [row["day"] for row in document["skill"]] == [*range(1, 8)] * 2
    assert (document["in_use"], document["better"]) == tuple(demo_readings.KEYS)
    assert (tmp_path / "skill.svg").read_bytes().startswith(b"<?xml")
    assert "skill.svg: Courtyard" in result.stderr


def test_what_cannot_go_together_ends_with_2() -> None:
    assert "leave out the other" in call("--demo", *COURTYARD).stderr
    assert call("--demo", *COURTYARD).exit_code == 2
    refused = call("--demo", "--chart", "skill.gif")
    assert (refused.exit_code, refused.stdout) == (2, "")
