"""When something is broken for good: what `run` does all the same, and whom `stopped` tells."""

import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from sillward.ledger import Ledger
from sillward.ledger.schema import SCHEMA_VERSION
from tests.end_to_end.house import House, a_house, wait_for

STOPPED = "sillward has stopped"


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    with a_house(tmp_path) as house:
        yield house


def channel(house: House) -> str:
    return f"json://127.0.0.1:{house.sink.port}/push"


# -- stopped


def settings_broken(house: House, patch: pytest.MonkeyPatch) -> None:
    patch.setenv("SILLWARD_LOG_LEVEL", "LOUD")
    patch.setenv("SILLWARD_FORECAST", "[")


def collection_missing(house: House, patch: pytest.MonkeyPatch) -> None:
    (house.folder / "collection.toml").unlink()


def collection_broken(house: House, patch: pytest.MonkeyPatch) -> None:
    (house.folder / "collection.toml").write_bytes(b"\xff\x00[[")


def ledger_corrupt(house: House, patch: pytest.MonkeyPatch) -> None:
    house.ledger.write_bytes(b"\xa5garbage" * 2000)


BREAKS = [settings_broken, collection_missing, collection_broken, ledger_corrupt]


@pytest.mark.parametrize("harm", BREAKS)
def test_stopped_tells_channels_and_heartbeat_whatever_is_broken(
    harm: object, house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SILLWARD_CHANNELS__PHONE", channel(house))
    address = f"http://127.0.0.1:{house.forecast_port}/trouble"
    monkeypatch.setenv("SILLWARD_HEARTBEAT__TROUBLE_URL", address)
    assert callable(harm)
    harm(house, monkeypatch)

    result = house.call("stopped", "--why", "exit-code")

    assert (result.returncode, result.stdout) == (0, "phone: told\nheartbeat: told\n")
    (push,) = house.sink.pushes
    assert push["title"] == STOPPED
    assert "exit-code" in push["message"]
    assert house.asked == ["/trouble"]


def test_stopped_is_tried_again_if_nobody_could_be_told(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SILLWARD_CHANNELS__PHONE", channel(house))
    house.sink.close()

    result = house.call("stopped")

    assert (result.returncode, result.stdout) == (1, "phone: channel phone: cannot be reached\n")


def test_stopped_is_not_tried_again_if_one_of_two_was_told(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SILLWARD_CHANNELS__PHONE", channel(house))
    monkeypatch.setenv("SILLWARD_CHANNELS__BELL", "json://127.0.0.1:9/push")

    result = house.call("stopped")

    assert result.returncode == 0
    assert result.stdout == "bell: channel bell: cannot be reached\nphone: told\n"


def test_stopped_without_anybody_to_tell_says_so_and_is_not_tried_again(house: House) -> None:
    result = house.call("stopped")

    assert result.returncode == 78
    assert "nobody can be told" in result.stderr
    assert house.sink.pushes == []


# -- run


def test_run_does_not_start_on_a_folder(house: House) -> None:
    house.ledger.mkdir()

    result = house.call("run")

    assert result.returncode == 78
    assert "is a folder" in result.stderr
    assert house.sink.pushes == []


def test_run_does_not_start_on_the_ledger_of_a_newer_sillward(house: House) -> None:
    with closing(Ledger(house.ledger)):
        pass
    with closing(sqlite3.connect(house.ledger)) as database, database:
        database.execute(f"PRAGMA user_version = {SCHEMA_VERSION + 1}")

    result = house.call("run")

    assert result.returncode == 78
    assert "written by a newer sillward" in result.stderr


def test_run_goes_on_from_a_corrupt_ledger_and_says_what_is_lost(house: House) -> None:
    ledger_corrupt(house, pytest.MonkeyPatch())

    daemon = house.start()

    assert wait_for(lambda: len(house.sink.pushes) == 2)
    assert house.stop(daemon) == 0
    assert {title.split()[0] for title in house.sink.titles} == {"In", "sillward"}
    assert "sillward lost part of its memory" in house.sink.titles
    assert [one.read_bytes()[:8] for one in house.folder.glob("*.damaged-*")] == [b"\xa5garbage"]
    assert json.loads(house.call("status", "--json").stdout)["troubles"] == []


_QUICK = """
import resource, sys
from sillward import cli, daemon
most = int(sys.argv[1])
resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))
daemon.TICK_S = 0.2
cli.main(["run"])
"""
"""A limit on the size of files stands in for a disk that is full."""

EMPTY_BYTES = 110_000
"""About what a ledger has before the first forecast."""


@pytest.mark.parametrize("most", [2_000, EMPTY_BYTES, EMPTY_BYTES + 20_000, EMPTY_BYTES + 50_000])
def test_run_goes_on_without_room_for_its_ledger_and_says_so(
    most: int, house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    address = f"http://127.0.0.1:{house.forecast_port}/trouble"
    monkeypatch.setenv("SILLWARD_HEARTBEAT__TROUBLE_URL", address)
    monkeypatch.setenv("SILLWARD_LOG_LEVEL", "ERROR")  # the limit is on the log too

    daemon = house.start("-c", _QUICK, str(most))

    assert wait_for(lambda: "/trouble" in house.asked)
    assert wait_for(lambda: len(house.sink.pushes) >= 2), house.sink.pushes
    assert house.stop(daemon) == 0
    print(house.sink.titles)


def test_run_goes_on_where_there_can_be_no_ledger(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Even root makes no folder there."""
    monkeypatch.setenv("SILLWARD_LEDGER", "/proc/sillward/ledger.sqlite3")
