"""A ledger moved to a server and back: each row as it was, and the source as it was."""

import gzip
from collections.abc import Callable
from contextlib import closing
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sillward.errors import LedgerError, UsageError
from sillward.ledger import Ledger, moving, schema
from sillward.ledger.address import PostgresAddress
from sillward.ledger.house import LEDGER, SHARED
from sillward.ledger.places import move
from sillward.ledger.server_ledgers import ServerLedgers
from sillward.ledger.tables.diary import DiaryEntry, EntryKind
from sillward.ledger.tables.readings import HandReading
from sillward_rules.readings.hourly_readings import Quantity, by_the_hour
from sillward_rules.weather.night_summary import NightForecast
from tests.support.ledger_files import NOW, a_ledger, fill, rows_of


def clock() -> datetime:
    return NOW


def fill_all(ledger: Ledger, site: str) -> None:
    """Rows in the tables that refer to each other, with gaps in their numbers."""
    fill(ledger)
    for table in (ledger.diary,):
        first, *_ = table.add(site, [entry(text) for text in ("a", "b", "c")])
        table.remove(site, first.id)
    night = NightForecast(NOW.date(), 9.0, 3.21, NOW, 1.0, 0.5, 0.1, 20.0, 1.5, 0.3)
    for source in ("First source", "Second source"):
        ledger.nights.keep(site, source, NOW, [night])
    times = int(NOW.timestamp()) + 60 * np.arange(90)
    hours = by_the_hour(times, np.asarray(10.0 + times % 7, np.float64))
    for sensor in ("hall/1", "hall/2"):
        ledger.readings.keep(site, "bench", Quantity.TEMPERATURE, sensor, hours)
        ledger.readings.set_aside(
            site, "bench", Quantity.TEMPERATURE, sensor, "stuck", [NOW], ["99"], NOW
        )
    by_hand = HandReading("bench", Quantity.TEMPERATURE, 3.2, NOW)
    ledger.readings.add_by_hand(site, by_hand, NOW)
    ledger.marks.set("tick", NOW, "")


def entry(text: str) -> DiaryEntry:
    return DiaryEntry("Strap", NOW, NOW, EntryKind.OBSERVATION, text)


def content(path: Path) -> dict[str, list[tuple[object, ...]]]:
    with closing(Ledger(path)) as ledger:
        return rows_of(ledger.database.connection)


def test_a_ledger_goes_to_a_server_and_comes_back_as_it_was(
    tmp_path: Path, postgres: PostgresAddress
) -> None:
    path = tmp_path / "ledger.sqlite3"
    with closing(Ledger(path)) as ledger:
        fill_all(ledger, "Test court")
    before = path.read_bytes()

    moved = move(path, postgres, clock)

    assert path.read_bytes() == before
    assert moved.rows["set_aside"] == moved.rows["diary"] == 2
    back = move(postgres, tmp_path / "back.sqlite3", clock)
    assert content(tmp_path / "back.sqlite3") == content(path)
    assert back == moved


def test_numbers_go_on_above_those_that_came(tmp_path: Path, postgres: PostgresAddress) -> None:
    path = tmp_path / "ledger.sqlite3"
    with closing(Ledger(path)) as ledger:
        fill_all(ledger, "Test court")
        highest = max(row["id"] for row in ledger.database.rows("SELECT id FROM diary"))
    move(path, postgres, clock)

    with closing(Ledger(postgres)) as there:
        (added,) = there.diary.add("Test court", [entry("d")])

    assert added.id == highest + 1


def test_a_copy_can_be_moved(tmp_path: Path, postgres: PostgresAddress) -> None:
    path = a_ledger(tmp_path / "ledger.sqlite3")
    copy = tmp_path / "ledger.sqlite3.copy-2026-05-14.gz"
    with closing(Ledger(path)) as ledger:
        copy.write_bytes(gzip.compress(ledger.database.connection.serialize()))

    moved = move(copy, postgres, clock)

    assert moved.rows["notice"] == len(content(path)["notice"]) > 0


@pytest.mark.parametrize("part", ["all", "household"])
def test_a_server_that_is_not_empty_is_refused(
    tmp_path: Path, postgres: PostgresAddress, part: str
) -> None:
    source = a_folder(tmp_path / "from", "court") if part == "household" else tmp_path / "one"
    if part == "all":
        a_ledger(source)
    move(source, postgres, clock)

    with pytest.raises(UsageError, match=r"has rows.* already"):
        move(source, postgres, clock)


def a_folder(folder: Path, *names: str) -> Path:
    for name in names:
        with closing(Ledger(folder / name / LEDGER)) as ledger:
            fill_all(ledger, name)
            ledger.database.execute("UPDATE notice SET key = ? || key", name)
            for table, described in schema.tables().items():
                if "site" in described.columns:
                    ledger.database.execute(f"UPDATE {table} SET site = ?", name)
            ledger.database.execute("DELETE FROM forecast")
            ledger.database.execute("DELETE FROM call_schedule")
    with closing(Ledger(folder / SHARED)) as shared:
        fill(shared)
        for table in ("notice", "round", "chore", "plant_state", "archive", "night"):
            shared.database.execute(f"DELETE FROM {table}")
    return folder


def test_a_folder_of_households_goes_to_one_server_and_back(
    tmp_path: Path, postgres: PostgresAddress
) -> None:
    folder = a_folder(tmp_path / "from", "court", "hill")

    move(folder, postgres, clock)

    with closing(ServerLedgers(postgres, clock)) as server:
        for name in ("court", "hill"):
            with closing(Ledger(folder / name / LEDGER)) as file:
                there = server.of_household(name)
                assert there.marks.all() == file.marks.all()
                assert there.nights.since(name, NOW.date()) == file.nights.since(name, NOW.date())
                assert there.readings.sensors(name) == file.readings.sensors(name)
    move(postgres, tmp_path / "back", clock)
    for name in ("court/ledger.sqlite3", "hill/ledger.sqlite3", "shared.sqlite3"):
        came, went = content(tmp_path / "back" / name), content(folder / name)
        assert {table: len(rows) for table, rows in came.items()} == {
            table: len(rows) for table, rows in went.items()
        }
        assert came["chore"] == went["chore"]
        assert came["forecast"] == went["forecast"]


def test_who_leaves_is_forgotten_and_nobody_else(tmp_path: Path, postgres: PostgresAddress) -> None:
    move(a_folder(tmp_path / "from", "court", "hill"), postgres, clock)
    with closing(ServerLedgers(postgres, clock)) as server:
        server.turns.keep(["court", "hill"], NOW.date())
        counts = {name: _count_of(server, name) for name in ("court", "hill")}

        assert server.forget("court") == sum(counts["court"].values()) + 1

        assert set(_count_of(server, "court").values()) == {0}
        assert _count_of(server, "hill") == counts["hill"]
        assert [turn.site for turn in server.turns.claim(NOW, NOW, 9)] == ["hill"]


def _count_of(server: ServerLedgers, name: str) -> dict[str, int]:
    part = moving.of_household(name, on_server=True)
    database = server.shared().database
    return {table: len(list(moving.rows(database, table, part))) for table in part.tables}


def test_a_move_that_is_stopped_leaves_nothing_that_looks_like_a_ledger(
    tmp_path: Path, postgres: PostgresAddress, monkeypatch: pytest.MonkeyPatch
) -> None:
    move(a_folder(tmp_path / "from", "court", "hill"), postgres, clock)
    before = moving.move
    calls: list[int] = []

    def stopped(*args: Any) -> moving.Moved:
        calls.append(1)
        if len(calls) == 2:
            raise KeyboardInterrupt
        return before(*args)

    with monkeypatch.context() as patch:
        patch.setattr(moving, "move", stopped)
        with pytest.raises(KeyboardInterrupt):
            move(postgres, tmp_path / "back", clock)
    assert not list((tmp_path).glob("back*"))

    (tmp_path / "back.moving").mkdir()  # as after a kill
    with pytest.raises(UsageError, match="an interrupted move"):
        move(postgres, tmp_path / "back", clock)
    (tmp_path / "back.moving").rmdir()
    move(postgres, tmp_path / "back", clock)
    assert (tmp_path / "back" / "hill" / LEDGER).exists()


def test_no_path_is_made_of_a_name_that_no_household_can_have(
    tmp_path: Path, postgres: PostgresAddress
) -> None:
    move(a_folder(tmp_path / "from", "court"), postgres, clock)
    with closing(Ledger(postgres)) as there:
        there.database.execute("UPDATE diary SET site = '../escaped'")

    with pytest.raises(LedgerError, match="not a valid household name"):
        move(postgres, tmp_path / "to" / "back", clock)

    assert not (tmp_path / "to").exists()


def test_what_does_not_arrive_as_it_was_is_not_moved_at_all(
    tmp_path: Path, postgres: PostgresAddress
) -> None:
    path = tmp_path / "ledger.sqlite3"
    with closing(Ledger(path)) as ledger:
        fill(ledger)
        ledger.diary.add("Test court", [entry("nul \0 nul")])  # a server keeps no such text

    with pytest.raises(LedgerError, match="diary: what was written"):
        move(path, postgres, clock)

    with closing(Ledger(postgres)) as there:
        assert there.database.rows("SELECT COUNT(*) FROM notice")[0][0] == 0


def test_a_ledger_that_is_in_use_is_refused(tmp_path: Path, postgres: PostgresAddress) -> None:
    path = tmp_path / "ledger.sqlite3"
    with closing(Ledger(path)), pytest.raises(LedgerError, match="stop sillward first"):
        move(path, postgres, clock)
    with closing(Ledger(postgres)), pytest.raises(LedgerError, match="1 other process"):
        move(path, postgres, clock)


@pytest.mark.parametrize(
    ("make", "why"),
    [
        (lambda path: path.write_bytes(b"Dear diary" * 99), "not a database"),
        (lambda path: None, "No such file"),
        (lambda path: path.mkdir(), "holds no ledgers"),
    ],
)
def test_what_is_no_ledger_is_not_moved(
    tmp_path: Path, postgres: PostgresAddress, make: Callable[[Path], object], why: str
) -> None:
    make(tmp_path / "source")

    with pytest.raises((LedgerError, UsageError), match=why):
        move(tmp_path / "source", postgres, clock)


def test_nothing_that_is_there_is_written_over(tmp_path: Path, postgres: PostgresAddress) -> None:
    path = a_ledger(tmp_path / "ledger.sqlite3")
    before = path.read_bytes()

    with pytest.raises(UsageError, match="already exists"):
        move(postgres, path, clock)
    with pytest.raises(UsageError, match="something in this folder"):
        move(postgres, tmp_path, clock)

    assert path.read_bytes() == before
