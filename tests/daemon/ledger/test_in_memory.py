"""A disk that cannot be written: the ledger goes on in memory, and comes back with everything."""

import os
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sillward.errors import ConfigError, LedgerError
from sillward.ledger import CallSchedule, Ledger, SavedForecast
from sillward.ledger.opening import FileOpener
from sillward.ledger.tables.diary import DiaryEntry, EntryKind
from sillward.ledger.tables.readings import HandReading
from sillward_rules.chore import ChoreKind
from sillward_rules.plants.state import PlantState
from sillward_rules.readings.hourly_readings import Quantity, by_the_hour
from sillward_rules.weather.night_summary import NightForecast
from tests.support.chores import a_chore
from tests.support.ledger_files import (
    DAY,
    NOW,
    SITE,
    a_ledger,
    damaged,
    fill,
    left_by_a_crash,
    mode_of,
    rows_of,
)

KEY = f"{SITE}/{DAY}/dusk/phone"
DAY_BEFORE = NOW - timedelta(days=1)
CHORE = f"{DAY}-carry-in-bench-room"


def reopened(path: Path) -> Ledger:
    return Ledger.open_or_in_memory(path, clock=lambda: NOW)


NOBODY = 65534


@contextmanager
def somebody_without_privileges() -> Iterator[None]:
    """File modes mean nothing to root, under which containers often run tests."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(NOBODY)
    try:
        yield
    finally:
        os.seteuid(0)


def a_night(offset: int, low_c: float = 3.1) -> NightForecast:
    day, low_at = DAY + timedelta(days=offset), NOW + timedelta(days=offset, hours=12)
    return NightForecast(
        day, (low_at - NOW) / timedelta(hours=1), low_c, low_at, None, None, 0.5, 24.8
    )


def nights(count: int) -> list[NightForecast]:
    return [a_night(offset) for offset in range(count)]


# -- a disk that is full


WRITES: dict[str, Callable[[Ledger], object]] = {
    "forecast": lambda ledger: ledger.forecasts.keep(
        SITE, SavedForecast("Other", NOW, NOW, os.urandom(30_000))
    ),
    "call schedule": lambda ledger: ledger.call_schedules.keep(
        "Other", CallSchedule(NOW, reason="x" * 9000)
    ),
    "nights": lambda ledger: ledger.nights.keep(SITE, "Other", NOW, nights(900)),
    "round": lambda ledger: ledger.keep_round(
        SITE, "week", DAY, NOW, notices=[], chores=[],
        states_now={f"new plant {n}": PlantState("room", NOW) for n in range(300)},
    ),
    "put back": lambda ledger: ledger.notices.put_back(
        KEY, NOW, "refused " * 2000, attempt=0
    ),
    "sent": lambda ledger: ledger.mark_sent(KEY, NOW, "perhaps " * 2000),
    "mark": lambda ledger: ledger.marks.set("fetch failed", NOW, "answered 500 " * 2000),
}  # fmt: skip


@pytest.mark.parametrize("write", WRITES.values(), ids=WRITES.keys())
def test_what_a_full_disk_refuses_is_done_in_memory_and_comes_back(
    write: Callable[[Ledger], object], tmp_path: Path
) -> None:
    path = a_ledger(tmp_path / "ledger.sqlite3")
    with closing(reopened(path)) as ledger:
        (pages,) = ledger.database.connection.execute("PRAGMA page_count").fetchone()
        ledger.database.connection.execute(f"PRAGMA max_page_count = {pages}")
        held = rows_of(ledger.database.connection)
        with pytest.raises(LedgerError, match="full"):
            write(ledger)
        assert rows_of(ledger.database.connection) == held  # all or nothing

        ledger.to_memory()
        assert ledger.in_memory
        assert rows_of(ledger.database.connection) == held
        write(ledger)
        done = rows_of(ledger.database.connection)
        assert done != held

        assert ledger.to_file()
        assert not ledger.in_memory
        assert rows_of(ledger.database.connection) == done
        assert "history reset" not in ledger.marks.all()
    with closing(Ledger(path)) as again:
        assert rows_of(again.database.connection) == done


def test_while_the_disk_is_full_it_does_not_go_back_and_keeps_everything(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = a_ledger(tmp_path / "ledger.sqlite3")
    with closing(reopened(path)) as ledger:
        ledger.to_memory()
        ledger.nights.keep(SITE, "Other", NOW, nights(900))
        done = rows_of(ledger.database.connection)
        connected = FileOpener.connect

        def full(self: FileOpener, name: str, **uri: bool) -> sqlite3.Connection:
            db = connected(self, name, **uri)
            (pages,) = db.execute("PRAGMA page_count").fetchone()
            db.execute(f"PRAGMA max_page_count = {pages}")
            return db

        with monkeypatch.context() as patch:
            patch.setattr(FileOpener, "connect", full)
            for _ in range(3):
                assert not ledger.to_file()
                assert ledger.in_memory
                assert rows_of(ledger.database.connection) == done
        with closing(Ledger(path)) as other:  # nothing came by halves
            assert other.nights.since(SITE, DAY, "Other") == []

        assert ledger.to_file()
        assert rows_of(ledger.database.connection) == done


def test_a_commit_that_fails_leaves_no_transaction_open(tmp_path: Path) -> None:
    """Else every later write would fail too, on a disk that has room again."""
    with closing(Ledger(tmp_path / "ledger.sqlite3")) as ledger:
        ledger.database.connection.executescript(
            "CREATE TABLE a (id INTEGER PRIMARY KEY);"
            "CREATE TABLE b (a REFERENCES a (id) DEFERRABLE INITIALLY DEFERRED);"
        )
        with pytest.raises(LedgerError, match="FOREIGN KEY"), ledger.database.transaction():
            ledger.database.connection.execute("INSERT INTO b VALUES (7)")

        ledger.marks.set("works", NOW, "on")


# -- opening where nothing can be written


@pytest.fixture
def folder() -> Iterator[Path]:
    """One that everybody may enter; the usual one is shut to all but its owner."""
    with tempfile.TemporaryDirectory() as name:
        Path(name).chmod(0o755)
        yield Path(name)
        Path(name).chmod(0o755)


def rows_of_file(path: Path) -> dict[str, list[tuple[object, ...]]]:
    with closing(sqlite3.connect(path)) as db:
        return rows_of(db)


@pytest.mark.parametrize("made", [a_ledger, left_by_a_crash], ids=["closed", "crashed"])
def test_in_a_read_only_folder_it_goes_by_what_it_can_read(
    made: Callable[[Path], Path], folder: Path
) -> None:
    path = made(folder / "ledger.sqlite3")
    for file in folder.iterdir():
        file.chmod(0o444)
        if os.geteuid() == 0:  # the ledger of another user is refused
            os.chown(file, NOBODY, NOBODY)
    folder.chmod(0o555)
    before = {file.name: file.read_bytes() for file in folder.iterdir()}

    with somebody_without_privileges(), closing(reopened(path)) as ledger:
        assert ledger.in_memory
        held = rows_of(ledger.database.connection)
        assert "history reset" not in ledger.marks.all()
        ledger.marks.set("works", NOW, "on")
        assert not ledger.to_file()

    assert {file.name: file.read_bytes() for file in folder.iterdir()} == before
    folder.chmod(0o755)
    assert held == rows_of_file(path)


def test_where_nothing_can_be_read_it_begins_anew_and_says_so_until_it_can(folder: Path) -> None:
    path = a_ledger(folder / "ledger.sqlite3")
    folder.chmod(0)
    with somebody_without_privileges():
        ledger = reopened(path)
    folder.chmod(0o755)

    with closing(ledger):
        assert ledger.in_memory
        text = ledger.marks.all()["history reset"].text
        assert text == "the ledger could not be read; begun anew"
        ledger.marks.set("works", NOW, "on")

        assert ledger.to_file()
        assert sorted(ledger.marks.all()) == ["fetch failed", "works"]
        assert len(ledger.notices.latest(SITE, most=99)) == 40


def test_a_first_start_where_nothing_can_be_written_has_lost_nothing(folder: Path) -> None:
    folder.chmod(0o555)
    with somebody_without_privileges(), closing(reopened(folder / "ledger.sqlite3")) as ledger:
        assert ledger.in_memory
        assert ledger.marks.all() == {}


def test_a_folder_in_place_of_the_file_is_the_growers_mistake(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match=r"is a folder; name a file in it, such as .*sqlite3"):
        reopened(tmp_path)


def test_a_file_in_place_of_the_folder_is_the_growers_mistake(tmp_path: Path) -> None:
    (tmp_path / "state").write_text("no folder")

    with pytest.raises(ConfigError, match="state is a file, not a folder"):
        reopened(tmp_path / "state" / "deep" / "ledger.sqlite3")


def test_a_file_that_goes_bad_while_it_runs_is_set_right_on_the_way_back(tmp_path: Path) -> None:
    path = a_ledger(tmp_path / "ledger.sqlite3")
    with closing(reopened(path)) as ledger:
        held = rows_of(ledger.database.connection)
        ledger.to_memory()
        path.write_bytes(b"\xa5\x00" * 3000)

        assert ledger.to_file()

        assert rows_of(ledger.database.connection) == held  # memory knew it all
        assert ledger.marks.all()["history reset"].text.endswith("begun anew")
    assert len(damaged(path)) == 1


def test_a_ledger_without_a_file_stays_as_it_is() -> None:
    with closing(Ledger.open_or_in_memory(":memory:")) as ledger:
        fill(ledger, 2)
        ledger.to_memory()
        assert not ledger.in_memory
        assert ledger.to_file()
        assert len(ledger.notices.latest(SITE)) == 2


# -- two processes


def test_a_chore_that_was_done_in_the_file_meanwhile_stays_done(tmp_path: Path) -> None:
    path = a_ledger(tmp_path / "ledger.sqlite3")
    with closing(reopened(path)) as ledger:
        ledger.to_memory()
        ledger.keep_round(
            SITE, "morning", DAY, NOW, notices=[],
            chores=[a_chore(CHORE, NOW - timedelta(hours=1))],
            states_now={"plant 0": PlantState("bench", NOW - timedelta(hours=3), assumed=True)},
        )  # fmt: skip
        with closing(Ledger(path)) as by_hand:
            acknowledged = PlantState("room", NOW, assumed=False)
            by_hand.confirm(SITE, NOW, {CHORE: None}, {"plant 0": acknowledged})

        assert ledger.to_file()

        (chore,) = [
            stored for stored in ledger.chores.due_since(SITE, DAY_BEFORE) if stored.id == CHORE
        ]
        assert chore.done_at == NOW
        assert chore.before == NOW - timedelta(hours=1)
        assert ledger.plant_states.of_site(SITE)["plant 0"] == acknowledged
        assert ledger.rounds.enqueued_at(SITE, "morning", DAY) == NOW


def test_what_was_told_in_memory_is_not_told_again(tmp_path: Path) -> None:
    path = a_ledger(tmp_path / "ledger.sqlite3")
    with closing(reopened(path)) as ledger:
        ledger.to_memory()
        assert ledger.notices.claim(KEY, NOW + timedelta(minutes=2))
        ledger.mark_sent(KEY, NOW)

        assert ledger.to_file()
        assert {notice.key: notice.state for notice in ledger.notices.latest(SITE, 99)}[
            KEY
        ] == "sent"


def test_what_another_process_sent_meanwhile_stays_sent(tmp_path: Path) -> None:
    path = a_ledger(tmp_path / "ledger.sqlite3")
    with closing(reopened(path)) as ledger:
        ledger.to_memory()
        with closing(Ledger(path)) as by_hand:
            assert by_hand.notices.claim(KEY, NOW + timedelta(minutes=2))
            by_hand.mark_sent(KEY, NOW)

        assert ledger.to_file()
        assert {notice.key: notice.state for notice in ledger.notices.latest(SITE, 99)}[
            KEY
        ] == "sent"


def test_a_mark_that_was_taken_away_in_memory_does_not_come_back(tmp_path: Path) -> None:
    path = a_ledger(tmp_path / "ledger.sqlite3")
    with closing(reopened(path)) as ledger:
        ledger.to_memory()
        ledger.marks.remove("fetch failed")

        assert ledger.to_file()
        assert ledger.marks.all() == {}


def test_nights_of_sources_that_both_sides_met_first_are_not_mixed_up(tmp_path: Path) -> None:
    """Each side gave its new source the same number."""
    path = a_ledger(tmp_path / "ledger.sqlite3")
    with closing(reopened(path)) as ledger:
        ledger.to_memory()
        for source in ("In memory", "In both"):
            ledger.nights.keep(SITE, source, NOW, [a_night(0, 1.0)])
        with closing(Ledger(path)) as other:
            for source in ("In both", "In the file"):
                other.nights.keep(SITE, source, NOW, [a_night(1, 2.0)])

        assert ledger.to_file()

        found = [
            (source, night.night, night.low_c)
            for source, _, night in ledger.nights.since(SITE, DAY)
            if source.startswith("In ")
        ]
        assert sorted(found) == [
            ("In both", DAY, 1.0),
            ("In both", DAY + timedelta(days=1), 2.0),
            ("In memory", DAY, 1.0),
            ("In the file", DAY + timedelta(days=1), 2.0),
        ]
        assert len(ledger.nights.since(SITE, DAY - timedelta(days=99), "Invented source")) == 40


def test_readings_of_both_sides_come_together(tmp_path: Path) -> None:
    """While the daemon was in memory a grower noted a reading, and both met a new sensor."""
    path = a_ledger(tmp_path / "ledger.sqlite3")
    air = Quantity.TEMPERATURE
    at = NOW.replace(minute=0, second=0)

    def keep(ledger: Ledger, sensor: str, value: float, hours: int) -> None:
        time = int((at + timedelta(hours=hours)).timestamp())
        of_hour = by_the_hour(np.array([time]), np.array([value]))
        ledger.readings.keep(SITE, "bench", air, sensor, of_hour)

    with closing(reopened(path)) as daemon:
        keep(daemon, "porch", 9.0, 0)
        daemon.to_memory()
        keep(daemon, "roof", 5.0, 1)
        keep(daemon, "porch", 8.0, 1)
        with closing(Ledger(path)) as grower:
            grower.readings.add_by_hand(SITE, HandReading("bench", air, 7.5, at), at)
            keep(grower, "hall", 14.0, 1)
            keep(grower, "roof", 4.0, 0)
        before = daemon.readings.edition(SITE)
        assert daemon.to_file()

        found = daemon.readings.of_spot(SITE, "bench", air)
        assert {name: hours.last.tolist() for name, hours in found.items()} == {
            "hall": [14.0],
            "porch": [9.0, 8.0],
            "roof": [4.0, 5.0],
        }
        assert [reading.value for reading in daemon.readings.by_hand(SITE)] == [7.5]
        assert daemon.readings.edition(SITE) > before


def test_another_process_may_use_the_file_all_the_while(tmp_path: Path) -> None:
    path = a_ledger(tmp_path / "ledger.sqlite3")
    code = """
import sys
from contextlib import closing
from datetime import UTC, datetime
from sillward.ledger import Ledger
with closing(Ledger(sys.argv[1])) as ledger:
    for number in range(20):
        ledger.marks.set(f"other {number}", datetime(2026, 11, 26, tzinfo=UTC), "kept")
    print("written", flush=True)
    sys.stdin.read()
"""
    with (
        closing(reopened(path)) as ledger,
        subprocess.Popen(
            [sys.executable, "-c", code, str(path)],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=os.environ,
        ) as other,
    ):  # fmt: skip
        assert other.stdout is not None
        assert other.stdout.readline() == b"written\n"
        ledger.to_memory()
        ledger.marks.set("mine", NOW, "kept")
        assert ledger.to_file()
        assert len(ledger.marks.all()) == 22
        other.communicate()
    assert other.returncode == 0
    with closing(Ledger(path)) as again:
        assert len(again.marks.all()) == 22


@pytest.mark.parametrize("umask", [0o000, 0o022])
def test_all_files_are_their_owners_only(umask: int, tmp_path: Path) -> None:
    folder = tmp_path / "state"
    path = folder / "ledger.sqlite3"
    old = os.umask(umask)
    try:
        with closing(reopened(path)) as ledger:
            fill(ledger, 2)
            ledger.copy_daily(NOW)
            path.chmod(0o644)
            ledger.to_memory()
            assert ledger.to_file()
            assert {mode_of(file) for file in folder.iterdir()} == {0o600}
            assert len(list(folder.iterdir())) == 5
    finally:
        os.umask(old)
    assert mode_of(folder) == 0o700


def test_what_somebody_removed_in_the_file_stays_removed(tmp_path: Path) -> None:
    path = a_ledger(tmp_path / "ledger.sqlite3")
    with closing(reopened(path)) as ledger:
        for name in ("fern", "lime"):
            entry = DiaryEntry(name, NOW, NOW, EntryKind.OBSERVATION, "green", None)
            ledger.diary.add(SITE, [entry])
        ledger.to_memory()
        ledger.marks.set("mine", NOW, "kept")
        with closing(Ledger(path)) as other:
            (entry,) = other.diary.of_plant(SITE, "fern")
            other.diary.remove(SITE, entry.id)
        assert ledger.to_file()

        assert ledger.diary.counts(SITE) == {"lime": 1}
        assert ledger.marks.get("mine") is not None


def test_what_the_file_lost_comes_back_whole(tmp_path: Path) -> None:
    path = a_ledger(tmp_path / "ledger.sqlite3")
    with closing(reopened(path)) as ledger:
        before = rows_of(ledger.database.connection)
        ledger.to_memory()
        for file in tmp_path.iterdir():
            file.unlink()
        assert ledger.to_file()

        assert rows_of(ledger.database.connection) == before


# -- any rows on both sides

NAMES = st.sampled_from(["a", "b", "c", "d"])
OPERATIONS = st.lists(
    st.one_of(
        st.tuples(st.just("mark"), NAMES, st.integers(0, 3)),
        st.tuples(st.just("unmark"), NAMES, st.just(0)),
        st.tuples(st.just("nights"), NAMES, st.integers(0, 3)),
        st.tuples(st.just("call schedule"), NAMES, st.integers(0, 3)),
        st.tuples(st.just("state"), NAMES, st.integers(0, 3)),
        st.tuples(st.just("done"), NAMES, st.integers(0, 3)),
    ),
    max_size=12,
)


def do(ledger: Ledger, operation: tuple[str, str, int], *, by_grower: bool) -> None:
    kind, name, number = operation
    at = NOW + timedelta(hours=number)
    if kind == "mark":
        ledger.marks.set(name, at, f"text {number}")
    elif kind == "unmark":
        ledger.marks.remove(name)
    elif kind == "nights":
        ledger.nights.keep(SITE, name, NOW, [a_night(number, float(by_grower))])
    elif kind == "call schedule":
        ledger.call_schedules.keep(name, CallSchedule(at, failures=number + 10 * by_grower))
    elif kind == "state":
        ledger.confirm(
            SITE, at, {"none": None}, {name: PlantState("room", at, assumed=not by_grower)}
        )
    elif by_grower:
        ledger.confirm(SITE, at, {name: None}, {})
    else:
        chore = a_chore(name, at, ChoreKind.MIST, [name])
        ledger.keep_round(SITE, f"{name}{number}{os.urandom(6).hex()}", DAY, NOW, notices=[],
                          chores=[chore], states_now={})  # fmt: skip


def facts(ledger: Ledger) -> dict[str, dict[Any, Any]]:
    """What a ledger says, by what it is about."""
    return {
        "mark": {
            name: mark for name, mark in ledger.marks.all().items() if name != "history reset"
        },
        "night": {
            (source, night.night): night.low_c
            for source, _, night in ledger.nights.since(SITE, DAY)
        },
        "call schedule": {
            name: ledger.call_schedules.get(name)
            for name in "abcd"
            if ledger.call_schedules.get(name)
        },
        "state": ledger.plant_states.of_site(SITE),
        "chore": {
            stored.id: (stored.before, stored.done_at)
            for stored in ledger.chores.due_since(SITE, NOW - timedelta(days=9))
        },
    }


@given(before=OPERATIONS, in_memory=OPERATIONS, in_file=OPERATIONS)
def test_nothing_is_lost_or_doubled_when_two_become_one(
    before: list[tuple[str, str, int]],
    in_memory: list[tuple[str, str, int]],
    in_file: list[tuple[str, str, int]],
) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "ledger.sqlite3"
        with closing(reopened(path)) as ledger:
            for operation in before:
                do(ledger, operation, by_grower=False)
            was = facts(ledger)
            ledger.to_memory()
            for operation in in_memory:
                do(ledger, operation, by_grower=False)
            mine = facts(ledger)
            with closing(Ledger(path)) as other:
                for operation in in_file:
                    do(other, operation, by_grower=True)
                theirs = facts(other)
                is_new = not any(rows_of(other.database.connection).values())

            assert ledger.to_file()

            found = facts(ledger)
            assert rows_of(ledger.database.connection)["archive"] == sorted(
                set(rows_of(ledger.database.connection)["archive"])
            )
    for kind, rows in found.items():
        for key in was[kind].keys() | mine[kind].keys() | theirs[kind].keys() | rows.keys():
            sides = (side[kind].get(key) for side in (was, mine, theirs))
            expected = one_of(kind, *sides, is_new=is_new)
            assert rows.get(key) == expected, (kind, key)


def one_of(kind: str, was: Any, mine: Any, theirs: Any, *, is_new: bool) -> Any:
    """Which of two versions holds, said once more and in another way."""
    if kind == "state" and mine and theirs and not theirs.assumed and theirs.since > mine.since:
        return theirs
    if mine == was:
        return mine if is_new else theirs
    if mine is None:
        return None if theirs == was else theirs
    if kind == "chore" and theirs and theirs[1] and theirs[1] != (was or (None, None))[1]:
        return (mine[0], theirs[1])
    return mine
