"""`sillward status` after an update, and for health checks."""

import json
import socket
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from click.testing import Result

from sillward.cli.status import _require_life
from sillward.config.settings import Settings, load_settings
from sillward.errors import SourceError
from sillward.ledger import Ledger
from sillward.ledger.address import PostgresAddress
from sillward.ledger.house import open_shared
from sillward.service.health import DAEMON_GONE_AFTER, TICK_MARK
from sillward.service.ledger_upkeep import MACHINE_KEPT, LedgerUpkeep
from sillward.service.updates import UPDATED_MARK, VERSION_MARK, running_version
from tests.support import commands
from tests.support.paths import EXAMPLES

NOW = datetime(2026, 5, 14, 20, tzinfo=UTC)


def call(*words: str) -> Result:
    path = str(EXAMPLES / "courtyard.toml")
    return commands.call("status", "--collection", path, "--at", NOW.isoformat(), *words)


def test_in_the_week_after_an_update_a_line_says_what_is_new() -> None:
    with closing(Ledger(load_settings().ledger)) as ledger:
        ledger.marks.set(VERSION_MARK, NOW - timedelta(days=1), running_version())
        ledger.marks.set(UPDATED_MARK, NOW - timedelta(days=1), "0.0.9")

    text = " ".join(call().stdout.split())
    document = json.loads(call("--json").stdout)

    assert f"new version {running_version()} in place of 0.0.9 since Wed 13 May 17:00: " in text
    assert document["update"]["before"] == "0.0.9"
    assert document["update"]["news"] in text
    assert "is installed" not in text


def test_without_an_update_nothing_is_said_of_one() -> None:
    with closing(Ledger(load_settings().ledger)) as ledger:
        ledger.marks.set(VERSION_MARK, NOW - timedelta(days=1), running_version())

    assert "version" not in call().stdout
    assert json.loads(call("--json").stdout)["update"] is None


def test_that_the_daemon_must_be_started_again_is_a_trouble() -> None:
    with closing(Ledger(load_settings().ledger)) as ledger:
        ledger.marks.set(VERSION_MARK, NOW - timedelta(days=1), "0.0.9")
        ledger.marks.set(TICK_MARK, NOW, "")

    result = call()

    assert result.exit_code == 1
    assert "`sillward run` is still version 0.0.9" in result.stdout


def test_a_health_check_asks_for_nothing_but_a_tick_of_late() -> None:
    settings = load_settings()
    assert commands.call("status", "--alive").exit_code == 1  # no ledger, none made
    assert not settings.has_ledger

    with closing(Ledger(settings.ledger)) as ledger:
        ledger.marks.set(TICK_MARK, NOW, "")
    _require_life(settings, lambda: NOW + DAEMON_GONE_AFTER)
    with pytest.raises(SourceError, match="nothing for half an hour"):
        _require_life(settings, lambda: NOW + DAEMON_GONE_AFTER + timedelta(seconds=1))


def test_a_health_check_of_a_worker_asks_for_a_tick_on_its_own_machine(
    postgres: PostgresAddress, tmp_path: Path
) -> None:
    settings = Settings(collections=tmp_path, ledger=postgres)
    with closing(open_shared(postgres)) as shared:
        LedgerUpkeep(shared, "another machine").mark_and_prune(NOW)
        with pytest.raises(SourceError, match="nothing for half an hour"):
            _require_life(settings, lambda: NOW)
        LedgerUpkeep(shared, socket.gethostname()).mark_and_prune(NOW)
    _require_life(settings, lambda: NOW + DAEMON_GONE_AFTER)
    with pytest.raises(SourceError, match="nothing for half an hour"):
        _require_life(settings, lambda: NOW + DAEMON_GONE_AFTER + timedelta(seconds=1))


def test_the_sign_of_life_of_a_machine_that_is_gone_is_forgotten(tmp_path: Path) -> None:
    with closing(Ledger(tmp_path / "shared.sqlite3")) as shared:
        LedgerUpkeep(shared, "gone").mark_and_prune(NOW)
        LedgerUpkeep(shared, "here").mark_and_prune(NOW + MACHINE_KEPT + timedelta(days=1))
        ticks = [name for name in shared.marks.all() if name.startswith(TICK_MARK)]
    assert ticks == ["tick", "tick, here"]
