"""`sillward calendar`, and the setting: what is printed, what is written, what is refused."""

import functools
import stat
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path

import pytest

from sillward.assembly import app
from sillward.cli import shared
from sillward.config.settings import load_settings
from sillward.ledger import Ledger
from sillward_rules.plants.state import PlantState
from tests.support import commands
from tests.support.chores import a_chore
from tests.support.ical_rules import events_in
from tests.support.paths import EXAMPLES

COURTYARD = EXAMPLES / "courtyard.toml"
RECORDED = ("--recorded", EXAMPLES / "recorded" / "cold-snap.json")
NOW = datetime(2026, 5, 14, 20, 30, tzinfo=UTC)


@pytest.fixture(autouse=True)
def _wall_clock(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shared, "build", functools.partial(app.build, clock=lambda: NOW))


call = partial(commands.call, "calendar", "--collection", COURTYARD)


def summaries(content: bytes) -> list[str]:
    return [event.text("SUMMARY") for event in events_in(content)]


def a_told_chore() -> str:
    """One is in the ledger; return its id."""
    chore_id = "2026-05-14-carry-in-pergola-to-sunroom"
    ledger = Ledger(load_settings().ledger_file)
    chore = a_chore(
        chore_id,
        datetime(2026, 5, 14, 21, tzinfo=UTC),
        plants=["Old cattleya"],
        way=("pergola", "sunroom"),
        at=datetime(2026, 5, 15, 10, tzinfo=UTC),
        values=[4.0],
        limit=12.0,
    )
    ledger.keep_round(
        "Courtyard",
        "dusk",
        NOW.date(),
        NOW,
        notices=[],
        chores=[chore],
        states_now={"Old cattleya": PlantState("pergola")},
    )
    ledger.close()
    return chore_id


def test_a_stored_forecast_shows_the_trips_to_come() -> None:
    result = call(*RECORDED)

    told = summaries(result.stdout_bytes)
    assert result.exit_code == 0
    assert told[0].startswith("Carry in (expected): ")
    assert any(summary.startswith("Put out (expected): ") for summary in told)
    assert not load_settings().ledger_file.exists()


def test_every_recorded_week_is_a_sound_calendar() -> None:
    for recorded in sorted((EXAMPLES / "recorded").glob("*.json")):
        assert events_in(call("--recorded", recorded).stdout_bytes) is not None


def test_what_was_told_is_shown_without_a_forecast_too() -> None:
    a_told_chore()

    result = call()

    assert result.exit_code == 0
    assert summaries(result.stdout_bytes) == ["Carry in: Old cattleya, pergola to sunroom"]
    assert result.stderr.endswith("; upcoming trips are not known\n")


def test_what_is_done_has_the_next_number() -> None:
    chore_id = a_told_chore()
    (first,) = events_in(call().stdout_bytes)
    (same,) = events_in(call().stdout_bytes)
    ledger = Ledger(load_settings().ledger_file)
    ledger.confirm("Courtyard", NOW, {chore_id: None}, {})
    ledger.close()

    (done,) = events_in(call().stdout_bytes)

    assert [event.raw("SEQUENCE") for event in (first, same, done)] == ["0", "0", "1"]
    assert done.raw("UID") == first.raw("UID")


def test_another_hour_is_a_trial_that_knows_nothing_of_the_ledger() -> None:
    a_told_chore()

    result = call(*RECORDED, "--at", (NOW - timedelta(hours=8)).isoformat())

    assert "Carry in: Old cattleya, pergola to sunroom" not in summaries(result.stdout_bytes)


def test_it_is_written_where_it_is_asked_for(tmp_path: Path) -> None:
    path = tmp_path / "plants.ics"

    result = call(*RECORDED, "--out", path)

    assert (result.exit_code, result.stdout) == (0, "")
    assert summaries(path.read_bytes())
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_what_is_no_calendar_is_refused_in_words(tmp_path: Path) -> None:
    precious = tmp_path / "plants.toml"
    precious.write_text("[site]")

    result = call(*RECORDED, "--out", precious)

    assert result.exit_code == 1
    assert result.stderr.endswith(
        f"sillward: calendar {precious}: holds something else; name another file, or remove it\n"
    )
    assert precious.read_text() == "[site]"


def test_help_says_that_it_is_no_alert() -> None:
    assert "never for alerts" in commands.call("calendar", "--help").stdout


# -- the setting


def test_it_is_off_by_default_and_a_home_is_understood(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    assert load_settings().calendar is None

    monkeypatch.setenv("SILLWARD_CALENDAR", "~/plants.ics")

    assert load_settings().calendar == tmp_path / "plants.ics"


@pytest.mark.parametrize(
    ("place", "words"), [("", "is a folder"), ("none/x.ics", "there is no folder")]
)
def test_check_tells_of_a_place_where_it_cannot_be(
    place: str, words: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("SILLWARD_CALENDAR", str(tmp_path / place))

    result = commands.call("check", "--collection", COURTYARD)

    assert result.exit_code == 78
    assert words in result.stderr


def test_check_writes_nothing(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("SILLWARD_CALENDAR", str(tmp_path / "x.ics"))

    result = commands.call("check", "--collection", COURTYARD)

    assert result.exit_code == 0
    assert not (tmp_path / "x.ics").exists()
