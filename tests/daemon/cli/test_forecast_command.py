"""`sillward forecast`: what is held, how far to trust it; and a daemon for more than one site."""

import json
import math
import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from sillward.assembly import app, read_only
from sillward.assembly.app import Options, build
from sillward.assembly.desk_setup import build_desks
from sillward.cli import main, shared
from sillward.errors import SourceError
from sillward.forecast.updater import ForecastUpdater
from sillward.ledger import Ledger, SavedForecast
from tests.support.bodies import body, dumped
from tests.support.fakes import FakeClock, Wire
from tests.support.met_bodies import met_body
from tests.support.paths import EXAMPLES

COURTYARD = EXAMPLES / "courtyard.toml"
COLD_SNAP = EXAMPLES / "recorded" / "cold-snap.json"
MIDNIGHT = datetime(2026, 5, 14, tzinfo=UTC)
NOW = MIDNIGHT + timedelta(hours=20)


@pytest.fixture(autouse=True)
def _clock(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shared, "build", lambda options: app.build(options, clock=lambda: NOW))


def met_days(start: datetime = NOW) -> bytes:
    """A body of MET Norway's with a day and a night."""
    ahead = [*range(60), *range(60, 60 + 6 * 29, 6)]
    temp = [round(15 + 5 * math.cos((hour + start.hour - 19) / 12 * math.pi), 1) for hour in ahead]
    made = met_body(start, air_temperature=temp, relative_humidity=None, low=10.0, high=20.0)
    return dumped(made)


def call(*arguments: object) -> Result:
    return CliRunner().invoke(
        main, ["forecast", "--collection", str(COURTYARD), *map(str, arguments)]
    )


def report() -> dict[str, Any]:
    result = call("--json")
    assert result.exit_code == 0, result.output
    document: dict[str, Any] = json.loads(result.stdout)
    return document


def keep(name: str, made: bytes, at: datetime = NOW, changed: datetime | None = None) -> None:
    built = build(Options(collection=COURTYARD), clock=lambda: NOW)
    ledger = Ledger(built.settings.ledger)
    ledger.forecasts.keep("Courtyard", SavedForecast(name, at, changed or at, made))
    ledger.close()


def updater() -> tuple[ForecastUpdater, Wire, Ledger]:
    """The updater of the same ledger, with a wire of its own."""
    built = build(Options(collection=COURTYARD), clock=lambda: NOW)
    ledger = Ledger(built.settings.ledger)
    made, wire = read_only.forecast_updater(built, ledger), Wire(FakeClock(NOW))
    made.ask, made.pause = wire, lambda _: None
    return made, wire, ledger


def test_before_the_first_forecast_it_says_how_to_get_one() -> None:
    result = call()

    assert result.exit_code == 1
    assert "no forecast is held yet" in result.stderr
    assert "sillward run" in result.stderr


def test_it_shows_source_age_spread_and_tonights_lows() -> None:
    keep("Open-Meteo", COLD_SNAP.read_bytes(), NOW - timedelta(minutes=40))

    lines = call().stdout.splitlines()

    assert lines[0] == "Courtyard, Thu 14 May 17:00"
    assert "Open-Meteo, in use" in lines
    assert "  fresh: fetched Thu 14 May 16:20, 40 min old" in lines
    assert "  reaches Thu 21 May 20:00; no gaps in three days" in lines
    assert "spread: usual errors by lead time" in lines
    assert "tonight, Thu 14 May 18:44 to 08:18" in lines
    assert any(line.startswith("  pergola     leaf 4.0 °C at 08:00, air 5.1 °C") for line in lines)
    assert all(len(line) <= 78 for line in lines)


def test_the_lows_are_those_of_the_dusk_sheet() -> None:
    keep("Open-Meteo", COLD_SNAP.read_bytes())
    sheet = CliRunner().invoke(
        main, ["why", "Blue basket", "--collection", str(COURTYARD), "--recorded", str(COLD_SNAP),
               "--at", NOW.isoformat(), "--json"],
    )  # fmt: skip
    hours = [hour for hour in json.loads(sheet.stdout)["hours"] if hour["at"] < "2026-05-15T10:18"]

    (low,) = [low for low in report()["lows"] if low["spot"] == "pergola"]

    assert low["leaf_c"] == min(hour["leaf_c"] for hour in hours)
    assert low["at"] == min(hours, key=lambda hour: hour["leaf_c"])["at"]


@pytest.mark.parametrize(
    ("hours", "state"), [(0, "fresh"), (5, "fresh"), (7, "old"), (23, "old"), (25, "expired")]
)
def test_the_state_follows_the_age(hours: int, state: str) -> None:
    keep("Open-Meteo", COLD_SNAP.read_bytes(), NOW - timedelta(hours=hours))

    (source,) = report()["sources"]

    assert source["state"] == state
    assert source["age_minutes"] == hours * 60


def test_numbers_that_do_not_move_are_told_by_their_own_age() -> None:
    keep("Open-Meteo", COLD_SNAP.read_bytes(), NOW, NOW - timedelta(hours=13))

    (source,) = report()["sources"]

    assert source["state"] == "old"
    assert source["age_minutes"] == 13 * 60
    assert "worked out Thu 14 May 04:00, 13 h old" in call().stdout


def test_gaps_are_named_with_their_hours() -> None:
    made = body(start=MIDNIGHT - timedelta(days=1), hours=216)
    for row in range(48 + 3, 48 + 7):  # 03:00 to 06:00 UTC of the coming night
        made["hourly"]["temperature_2m"][row] = None
    keep("Open-Meteo", dumped(made))

    (source,) = report()["sources"]

    assert source["gaps"][0] == {
        "of": "temperature",
        "from": "2026-05-15T00:00:00-03:00",
        "to": "2026-05-15T03:00:00-03:00",
        "hours": 4,
    }
    assert "no temperature Fri 15 May 00:00 to 03:00 (4 h)" in call().stdout
    assert "not known: treated as cold" in call().stdout


def test_both_sources_are_shown_and_why_the_second_is_in_use(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("SILLWARD_FORECAST__SOURCE", "open-meteo,met-norway")
    monkeypatch.setenv("SILLWARD_FORECAST__CONTACT", "grower@example.org")
    made, wire, ledger = updater()
    wire.answers["Open-Meteo"] = SourceError("Open-Meteo: cannot be reached")
    wire.answers["Open-Meteo ensemble"] = SourceError("Open-Meteo ensemble: cannot be reached")
    wire.answers["MET Norway"] = SourceError("MET Norway: cannot be reached")
    made.refresh_due()
    ledger.close()
    keep("MET Norway", dumped(met_body(NOW)))

    first, second = report()["sources"]

    assert (first["state"], first["used"]) == ("none", False)
    assert first["failed"] == "Open-Meteo: cannot be reached"
    assert (second["state"], second["used"]) == ("fresh", True)
    text = " ".join(call().stdout.split())
    assert "nothing held" in text
    assert "sunlight is estimated from cloud" in text
    assert "! forecast by MET Norway; Open-Meteo: cannot be reached" in text
    assert "1 call today (UTC)" in text


def test_a_recorded_forecast_needs_no_ledger_and_has_no_next_call() -> None:
    result = call("--recorded", COLD_SNAP, "--at", NOW.isoformat())

    assert result.exit_code == 0
    assert "Open-Meteo (recorded), in use" in result.stdout
    assert "next" not in result.stdout


def test_a_recorded_body_of_another_source_is_read_by_it(tmp_path: Path) -> None:
    file = tmp_path / "met.json"
    file.write_bytes(met_days())

    result = call("--recorded", file, "--at", NOW.isoformat())

    assert result.exit_code == 0, result.output
    assert "MET Norway (recorded), in use" in result.stdout


# -- more than one site


@pytest.fixture
def another(tmp_path: Path) -> Callable[[str], Path]:
    """The courtyard's collection with a channel, under another site's name."""

    def another(name: str) -> Path:
        text = COURTYARD.read_text().replace('name = "Courtyard"', f'name = "{name}"')
        path = tmp_path / f"{name.lower()}.toml"
        path.write_text(f'{text}\n[[channels]]\nname = "phone"\nurl = "json://localhost:9"\n')
        return path

    return another


def test_two_sites_share_ledger_and_keeper_and_one_call(
    another: Callable[[str], Path],
) -> None:
    apps = [build(Options(collection=another(name))) for name in ("Yard", "Roof")]

    first, second = build_desks(apps)

    assert first.context.ledger is second.context.ledger
    assert first.context.updater is second.context.updater
    updater = first.context.updater
    query = updater.store.sources[0].query(updater.sites)
    assert query.params["latitude"].count(",") == 1
    first.context.ledger.close()


def test_two_collections_for_one_site_are_refused(another: Callable[[str], Path]) -> None:
    path = another("Yard")

    result = CliRunner().invoke(main, ["run", "--collection", str(path), "--collection", str(path)])

    assert result.exit_code == 78
    assert "two collections are for one site (Yard)" in result.stderr


# -- what a source does not give is marked


def test_sheet_and_why_mark_what_is_estimated(tmp_path: Path) -> None:
    file = tmp_path / "met.json"
    file.write_bytes(met_days())
    where = ["--collection", str(COURTYARD), "--recorded", str(file), "--at", NOW.isoformat()]

    sheet = CliRunner().invoke(main, ["sheet", "--round", "dusk", *where])
    why = CliRunner().invoke(main, ["why", "Blue basket", *where])

    assert "sunlight is estimated from cloud" in " ".join(sheet.stdout.split())
    assert "Weather data from MET Norway" in sheet.stdout
    assert "note: sunlight is estimated from cloud" in why.stdout


def test_check_shows_the_sources_in_order(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SILLWARD_FORECAST__SOURCE", "met-norway,open-meteo")
    monkeypatch.setenv("SILLWARD_FORECAST__CONTACT", "grower@example.org")

    result = CliRunner().invoke(main, ["check", "--collection", str(COURTYARD)])

    assert re.search(r"^forecast: +MET Norway, then Open-Meteo$", result.stdout, re.MULTILINE)
