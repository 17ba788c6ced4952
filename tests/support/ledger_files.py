"""Ledger files with rows, and what may happen to them."""

import gzip
import shutil
import sqlite3
import stat
from contextlib import closing
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from sillward.ledger import CallSchedule, Ledger, Notice, NoticeState, SavedForecast
from sillward_rules.plants.state import PlantState
from sillward_rules.weather.night_summary import NightForecast
from tests.support.chores import a_chore

NOW = datetime(2026, 11, 26, 20, 0, tzinfo=UTC)
SITE = "Test court"
DAY = date(2026, 11, 26)


def fill(ledger: Ledger, days: int = 40) -> None:
    """Some of everything."""
    for offset in range(days):
        day, at = DAY - timedelta(days=offset), NOW - timedelta(days=offset)
        notice = Notice(
            key=f"{SITE}/{day}/dusk/phone",
            site=SITE,
            round="dusk",
            day=str(day),
            channel="phone",
            title="Carry in 2 plants by 17:15",
            body="17:15 bench > room: Test strap\nLeaf 3.1 °C at 07:00",
            state=NoticeState.WAITING,
            attempts=0,
            next_at=at,
            expires_at=at + timedelta(hours=12),
        )
        chore = a_chore(f"{day}-carry-in-bench-room", at)
        ledger.keep_round(
            SITE, "dusk", day, at, notices=[notice], chores=[chore],
            states_now={f"plant {offset}": PlantState("room", at, assumed=True)},
        )  # fmt: skip
        night = NightForecast(day, 12.0, 3.1, at + timedelta(hours=12), None, 0.6, 0.25, 24.8)
        ledger.nights.keep(SITE, "Invented source", at, [night])
    ledger.forecasts.keep(SITE, SavedForecast("Invented source", NOW, NOW, b"12.5," * 3000))
    ledger.call_schedules.keep("Invented source", CallSchedule(NOW))
    ledger.marks.set("fetch failed", NOW, "answered 500")


def a_ledger(path: Path) -> Path:
    """A ledger with rows, closed."""
    with closing(Ledger(path)) as ledger:
        fill(ledger)
    return path


def left_by_a_crash(path: Path) -> Path:
    """A ledger with rows in the file and rows in its -wal, as a killed process leaves it."""
    source = path.with_name("before-the-crash") / path.name
    with closing(Ledger(source)) as ledger:
        fill(ledger, 20)
        ledger.database.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        fill_later(ledger)
        for end in ("", "-wal", "-shm"):
            shutil.copy2(f"{source}{end}", f"{path}{end}")
    shutil.rmtree(source.parent)
    return path


def fill_later(ledger: Ledger) -> None:
    """Thirty marks, each a transaction of its own."""
    for number in range(30):
        ledger.marks.set(f"mark {number:02}", NOW, "kept")


def rows_of(db: sqlite3.Connection) -> dict[str, list[tuple[object, ...]]]:
    """Every row of every table, sorted; without the mark that tells of what was lost."""
    names = [
        name
        for (name,) in map(tuple, db.execute("SELECT name FROM sqlite_schema WHERE type='table'"))
    ]
    found = {
        name: sorted(map(tuple, db.execute(f"SELECT * FROM {name}")), key=repr) for name in names
    }
    found["mark"] = [row for row in found["mark"] if row[0] != "history reset"]
    return found


def damaged(path: Path) -> list[Path]:
    """What was set aside; -shm and an empty -wal are made at each opening, and hold nothing."""
    found = path.parent.glob(f"{path.name}.damaged-*")
    return sorted(
        file
        for file in found
        if not file.name.endswith("-shm")
        and not (file.name.endswith("-wal") and file.stat().st_size == 0)
    )


def mode_of(path: Path) -> int:
    """The permissions of a file."""
    return stat.S_IMODE(path.stat().st_mode)


def copy_of(path: Path) -> dict[str, list[tuple[object, ...]]]:
    """What is in a daily copy."""
    plain = path.with_suffix(".plain")
    plain.write_bytes(gzip.decompress(path.read_bytes()))
    with closing(sqlite3.connect(plain)) as db:
        return rows_of(db)
