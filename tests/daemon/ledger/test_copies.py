"""Daily copies of the ledger, and the one before a migration."""

import gzip
import logging
import os
import shutil
import sqlite3
from contextlib import closing
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sillward import files
from sillward.errors import LedgerError
from sillward.ledger import Ledger, copies, opening
from sillward.ledger.copies import superfluous
from sillward.ledger.migrations import MIGRATIONS
from sillward.ledger.schema import SCHEMA_VERSION
from tests.support.ledger_files import NOW, a_ledger, copy_of, fill, mode_of, rows_of


def days_of(path: Path) -> list[str]:
    return [str(day) for day in copies.daily_copies(path)]


def test_a_copy_holds_all_that_the_ledger_held(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite3"
    with closing(Ledger(path)) as ledger:
        fill(ledger)
        ledger.copy_daily(NOW)
        held = rows_of(ledger.database.connection)

    copy = tmp_path / "ledger.sqlite3.copy-2026-11-26.gz"
    assert mode_of(copy) == 0o600
    assert copy_of(copy) == held
    assert not list(tmp_path.glob("*draft*"))


def test_a_copy_that_is_unpacked_by_hand_is_a_ledger(tmp_path: Path) -> None:
    with closing(Ledger(tmp_path / "ledger.sqlite3")) as ledger:
        fill(ledger)
        ledger.copy_daily(NOW)
        held = rows_of(ledger.database.connection)
    by_hand = tmp_path / "by-hand.sqlite3"
    packed = tmp_path / "ledger.sqlite3.copy-2026-11-26.gz"
    by_hand.write_bytes(gzip.decompress(packed.read_bytes()))

    with closing(Ledger(by_hand)) as again:
        assert rows_of(again.database.connection) == held


def test_there_is_one_copy_a_day_of_utc_and_the_newest_three_stay(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite3"
    there = timezone(timedelta(hours=-3))
    at = datetime(2026, 11, 20, 22, 30, tzinfo=there)
    with closing(Ledger(path)) as ledger:
        for _ in range(2 * 24 * 6):
            ledger.copy_daily(at)
            at += timedelta(minutes=30)

    assert days_of(path) == ["2026-11-25", "2026-11-26", "2026-11-27"]


def test_the_copy_of_a_day_is_not_written_again(tmp_path: Path) -> None:
    path = a_ledger(tmp_path / "ledger.sqlite3")
    for hour in range(3):
        with closing(Ledger(path)) as ledger:
            ledger.copy_daily(NOW)
            ledger.marks.set(f"later {hour}", NOW, "not in it")
            ledger.copy_daily(NOW + timedelta(hours=hour))

    held = copy_of(tmp_path / "ledger.sqlite3.copy-2026-11-26.gz")
    assert [row[0] for row in held["mark"]] == ["fetch failed"]


def test_a_look_at_every_tick_is_cheap(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    looks: list[Path] = []
    found = copies.daily_copies

    def counted(path: Path) -> dict[date, Path]:
        looks.append(path)
        return found(path)

    monkeypatch.setattr(copies, "daily_copies", counted)
    with closing(Ledger(tmp_path / "ledger.sqlite3")) as ledger:
        ledger.copy_daily(NOW)
        looks.clear()
        for tick in range(119):
            ledger.copy_daily(NOW + timedelta(seconds=30 * tick))

    assert looks == []


def test_another_ledger_beside_it_keeps_its_own_copies(tmp_path: Path) -> None:
    paths = [tmp_path / name for name in ("ledger.sqlite3", "ledger.sqlite3.other")]
    for path in paths:
        with closing(Ledger(path)) as ledger:
            for offset in range(5):
                ledger.copy_daily(NOW + timedelta(days=offset))

    for path in paths:
        assert days_of(path) == ["2026-11-28", "2026-11-29", "2026-11-30"]
    assert len(list(tmp_path.glob("*.gz"))) == 6


# -- clocks that are wrong


def test_a_clock_that_is_wrong_for_days_takes_no_good_copy_away(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite3"
    good = ["2026-11-24", "2026-11-25", "2026-11-26"]
    with closing(Ledger(path)) as ledger:
        for day in good:
            ledger.copy_daily(datetime.fromisoformat(f"{day}T03:00:00+00:00"))
        for wrong in (datetime(1970, 1, 1, tzinfo=UTC), datetime(2099, 6, 1, tzinfo=UTC)):
            for offset in range(6):
                ledger.copy_daily(wrong + timedelta(days=offset))

    kept = days_of(path)
    assert set(good) <= set(kept)
    assert len(kept) == 9


def test_a_copy_of_a_day_to_come_is_taken_last(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite3"
    with closing(Ledger(path)) as ledger:
        ledger.marks.set("old", NOW, "from a day to come")
        ledger.copy_daily(datetime(2099, 6, 1, tzinfo=UTC))
        ledger.marks.set("new", NOW, "from yesterday")
        ledger.copy_daily(NOW - timedelta(days=1))
    path.write_bytes(b"\xa5" * 5000)

    with closing(Ledger.open_or_in_memory(path, clock=lambda: NOW)) as again:
        assert {"old", "new"} <= set(again.marks.all())


@given(st.sets(st.dates(date(1970, 1, 1), date(2100, 1, 1)), max_size=8), st.data())
def test_a_copy_goes_only_for_three_newer_ones_near_it(
    days: set[date], data: st.DataObject
) -> None:
    if days:
        first = data.draw(st.sampled_from(sorted(days)))
        days |= {first + timedelta(days=n) for n in data.draw(st.sets(st.integers(1, 40)))}
    gone = superfluous(sorted(days))

    for day in gone:
        near = [kept_day for kept_day in days - set(gone) if timedelta(0) < kept_day - day]
        assert len(near) >= 3
    assert not set(sorted(days)[-3:]) & set(gone)


# -- when it cannot be


def test_a_copy_that_fails_is_logged_and_tried_again_in_the_next_hour(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    path = tmp_path / "ledger.sqlite3"
    tries = []

    def full(_: int) -> None:
        tries.append(1)
        raise OSError(28, "No space left on device")

    with closing(Ledger(path)) as ledger:
        fill(ledger, 3)
        with monkeypatch.context() as patch, caplog.at_level(logging.ERROR):
            patch.setattr(os, "fsync", full)
            for tick in range(5):
                ledger.copy_daily(NOW + timedelta(seconds=30 * tick))

        assert [record.getMessage() for record in caplog.records] == [
            "ledger.copy_failed reason=[Errno 28] No space left on device"
        ]
        assert len(tries) == 1
        assert days_of(path) == []
        assert not list(tmp_path.glob("*draft*"))
        ledger.copy_daily(NOW + timedelta(hours=1))
    assert days_of(path) == ["2026-11-26"]


def test_a_ledger_that_is_not_sound_is_not_copied_and_said_to_be_damaged(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite3"
    with closing(Ledger(path)) as ledger:
        fill(ledger, 3)
        ledger.copy_daily(NOW - timedelta(days=1))
        ledger.database.connection.execute("UPDATE chore SET chore_json = '{'")
        with pytest.raises(LedgerError, match=r"damaged \(table chore"):
            ledger.copy_daily(NOW)

    assert days_of(path) == ["2026-11-25"]


def test_a_draft_that_a_crash_left_is_no_hindrance(tmp_path: Path) -> None:
    path = a_ledger(tmp_path / "ledger.sqlite3")
    (tmp_path / "ledger.sqlite3.copy-2026-11-26.gz.sillward-draft").write_bytes(b"half")

    with closing(Ledger(path)) as ledger:
        ledger.copy_daily(NOW)
        assert copy_of(tmp_path / "ledger.sqlite3.copy-2026-11-26.gz") == rows_of(
            ledger.database.connection
        )


def test_a_place_for_the_copy_that_is_not_ours_is_left_alone(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    path = tmp_path / "ledger.sqlite3"
    copy = copies.copy_path(path, NOW.date())
    theirs = copies.draft_path(copy)
    theirs.mkdir()

    with closing(Ledger(path)) as ledger:
        ledger.copy_daily(NOW)

    assert theirs.is_dir()
    assert not copy.exists()
    assert any("ledger.copy_failed" in text for text in caplog.messages)


def test_a_ledger_in_memory_has_no_copies(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    with closing(Ledger(":memory:")) as ledger:
        ledger.copy_daily(NOW)

    assert list(tmp_path.iterdir()) == []


# -- before a migration


@pytest.fixture
def old(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A ledger with rows, and a sillward that is one version ahead of it."""
    path = a_ledger(tmp_path / "ledger.sqlite3")
    monkeypatch.setattr(opening, "SCHEMA_VERSION", SCHEMA_VERSION + 1)
    monkeypatch.setitem(MIGRATIONS, SCHEMA_VERSION, "CREATE TABLE newer (what TEXT)")
    return path


def contents(path: Path) -> tuple[int, dict[str, list[tuple[object, ...]]]]:
    with closing(sqlite3.connect(path)) as db:
        return db.execute("PRAGMA user_version").fetchone()[0], rows_of(db)


def test_before_a_migration_the_file_is_copied(old: Path) -> None:
    before = contents(old)

    Ledger(old).close()

    copy = old.with_name(f"ledger.sqlite3.before-{SCHEMA_VERSION + 1}")
    assert contents(copy) == before
    assert mode_of(copy) == 0o600
    assert contents(old)[0] == SCHEMA_VERSION + 1


def test_without_room_for_the_copy_there_is_no_migration(
    old: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = contents(old)

    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(files, "write", full)
        with closing(Ledger.open_or_in_memory(old)) as ledger:
            assert ledger.in_memory
            assert len(ledger.notices.latest("Test court", most=99)) == 40
            assert not ledger.to_file()
            assert contents(old) == before

            patch.undo()
            assert ledger.to_file()
    assert contents(old)[0] == before[0] + 1


def test_a_file_that_is_up_to_date_is_not_copied(tmp_path: Path) -> None:
    path = a_ledger(tmp_path / "ledger.sqlite3")
    Ledger(path).close()
    shutil.copy2(path, tmp_path / "other")
    Ledger(tmp_path / "other").close()

    assert not list(tmp_path.glob("*.before-*"))
