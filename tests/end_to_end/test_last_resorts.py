"""When something is broken for good: what `run` does all the same, and whom `stopped` tells."""

import json
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import pytest

from sillward.ledger import Ledger
from sillward.ledger.schema import SCHEMA_VERSION
from tests.support.installation import Installation, an_installation, wait_for

STOPPED = "sillward has stopped"


@pytest.fixture
def installation(tmp_path: Path) -> Iterator[Installation]:
    with an_installation(tmp_path) as installation:
        yield installation


def channel(installation: Installation) -> str:
    return f"json://127.0.0.1:{installation.sink.port}/push"


# -- stopped


def settings_broken(installation: Installation, patch: pytest.MonkeyPatch) -> None:
    patch.setenv("SILLWARD_LOG_LEVEL", "LOUD")
    patch.setenv("SILLWARD_FORECAST", "[")


def collection_missing(installation: Installation, patch: pytest.MonkeyPatch) -> None:
    (installation.folder / "collection.toml").unlink()


def collection_broken(installation: Installation, patch: pytest.MonkeyPatch) -> None:
    (installation.folder / "collection.toml").write_bytes(b"\xff\x00[[")


def ledger_corrupt(installation: Installation, patch: pytest.MonkeyPatch) -> None:
    Ledger(installation.ledger).close()
    installation.ledger.write_bytes(b"\xa5garbage" * 2000)


Harm = Callable[[Installation, pytest.MonkeyPatch], None]

BREAKS: list[Harm] = [settings_broken, collection_missing, collection_broken, ledger_corrupt]


@pytest.mark.parametrize("harm", BREAKS)
def test_stopped_tells_channels_and_heartbeat_whatever_is_broken(
    harm: Harm, installation: Installation, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SILLWARD_CHANNELS__PHONE", channel(installation))
    address = f"http://127.0.0.1:{installation.forecast_port}/trouble"
    monkeypatch.setenv("SILLWARD_HEARTBEAT__TROUBLE_URL", address)
    harm(installation, monkeypatch)

    result = installation.call("stopped", "--why", "exit-code")

    assert (result.returncode, result.stdout) == (0, "phone: told\nheartbeat: told\n")
    (push,) = installation.sink.pushes
    assert push["title"] == STOPPED
    assert "exit-code" in push["message"]
    assert installation.asked == ["/trouble"]


def test_stopped_is_tried_again_if_nobody_could_be_told(
    installation: Installation, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SILLWARD_CHANNELS__PHONE", channel(installation))
    installation.sink.close()

    result = installation.call("stopped")

    assert (result.returncode, result.stdout) == (1, "phone: channel phone: cannot be reached\n")


def test_stopped_is_not_tried_again_if_one_of_two_was_told(
    installation: Installation, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SILLWARD_CHANNELS__PHONE", channel(installation))
    monkeypatch.setenv("SILLWARD_CHANNELS__BELL", "json://127.0.0.1:9/push")

    result = installation.call("stopped")

    assert result.returncode == 0
    assert result.stdout == "bell: channel bell: cannot be reached\nphone: told\n"


def test_stopped_without_anybody_to_tell_says_so_and_is_not_tried_again(
    installation: Installation,
) -> None:
    result = installation.call("stopped")

    assert result.returncode == 78
    assert "nobody can be told" in result.stderr
    assert installation.sink.pushes == []


# -- run


def test_run_does_not_start_on_a_folder(installation: Installation) -> None:
    installation.ledger.mkdir()

    result = installation.call("run")

    assert result.returncode == 78
    assert "is a folder" in result.stderr
    assert installation.sink.pushes == []


def test_run_does_not_start_on_the_ledger_of_a_newer_sillward(installation: Installation) -> None:
    with closing(Ledger(installation.ledger)):
        pass
    with closing(sqlite3.connect(installation.ledger)) as database, database:
        database.execute(f"PRAGMA user_version = {SCHEMA_VERSION + 1}")

    result = installation.call("run")

    assert result.returncode == 78
    assert "written by a newer sillward" in result.stderr


def test_run_goes_on_from_a_corrupt_ledger_and_says_what_is_lost(
    installation: Installation,
) -> None:
    Ledger(installation.ledger).close()
    installation.ledger.write_bytes(b"\xa5garbage" * 2000)

    daemon = installation.start()

    assert wait_for(lambda: len(installation.sink.pushes) == 2)
    assert installation.stop(daemon) == 0
    assert {title.split()[0] for title in installation.sink.titles} == {"Carry", "Sillward"}
    assert "Sillward has lost some of its records" in installation.sink.titles
    assert [path.read_bytes()[:8] for path in installation.folder.glob("*.damaged-*")] == [
        b"\xa5garbage"
    ]
    assert json.loads(installation.call("status", "--json").stdout)["troubles"] == []


def is_told_that_nothing_can_be_written(installation: Installation) -> bool:
    """The round arrives all the same, and the monitor of the heartbeat is told of trouble."""
    told = wait_for(lambda: len(installation.sink.pushes) == 2 and "/trouble" in installation.asked)
    titles = [title.split()[0] for title in installation.sink.titles]
    return told and titles == ["Carry", "Sillward"] and installation.sink.titles[1] == UNWRITTEN


UNWRITTEN = "Sillward cannot save anything"

_SHORT_OF_ROOM = """
import resource, sys
from sillward import cli
from sillward.service import daemon
most = int(sys.argv[1])
resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))
daemon.TICK_S = 0.2
cli.main(sys.argv[2:])
"""
"""A limit on the size of files stands in for a disk that is full."""


@pytest.mark.parametrize("room", [None, pytest.param(30_000, marks=pytest.mark.slow), 60_000])
def test_run_goes_on_without_room_for_its_ledger_and_says_so(
    room: int | None, installation: Installation, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Full before there is a ledger (None), and at two moments while a round is told: room is what
    its write-ahead log may take [bytes].
    """
    if room is not None:
        Ledger(installation.ledger).close()
    most = room or 10_000
    address = f"http://127.0.0.1:{installation.forecast_port}/trouble"
    monkeypatch.setenv("SILLWARD_HEARTBEAT__TROUBLE_URL", address)
    monkeypatch.setenv("SILLWARD_LOG_LEVEL", "ERROR")  # the limit is the log's too
    # Nor may it cut bytecode short: Python does not notice, and all others would read it.
    monkeypatch.setenv("PYTHONDONTWRITEBYTECODE", "1")

    daemon = installation.start("-c", _SHORT_OF_ROOM, str(most), "run")

    assert is_told_that_nothing_can_be_written(installation)
    assert installation.stop(daemon) == 0
    assert len(installation.sink.pushes) == 2
    assert installation.logged("ledger.afloat")
    (installation.folder / "log").write_bytes(b"")  # what status prints goes there too
    looked = installation.start("-c", _SHORT_OF_ROOM, "4000", "status")
    assert looked.wait(10) == 1


def test_run_goes_on_where_there_can_be_no_ledger(
    installation: Installation, monkeypatch: pytest.MonkeyPatch
) -> None:
    address = f"http://127.0.0.1:{installation.forecast_port}/trouble"
    monkeypatch.setenv("SILLWARD_HEARTBEAT__TROUBLE_URL", address)
    monkeypatch.setattr(
        Installation, "ledger", Path("/proc/sillward/ledger.sqlite3")
    )  # root neither

    daemon = installation.start()

    assert is_told_that_nothing_can_be_written(installation)
    assert installation.stop(daemon) == 0
    assert installation.call("status").returncode == 1
