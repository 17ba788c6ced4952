"""Checks of a ledger file: by SQLite, of its tables, and by the code that reads its rows."""

import sqlite3
import struct
from collections.abc import Callable
from datetime import datetime

from sillward.errors import one_line
from sillward.ledger.records import call_schedule_of, chore_of, forecast_of, notice_of, state_of
from sillward.ledger.schema import APPLICATION_ID, SCHEMA_VERSION, tables

MIN_OUR_TABLES = 3
"""A database without an application id is a ledger if it has this many tables with names of a
ledger's: the first ledgers had no id. Judgement: one or two such names (round, mark) occur in other
databases too."""

_UNAVAILABLE = {
    sqlite3.SQLITE_PERM, sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED, sqlite3.SQLITE_NOMEM,
    sqlite3.SQLITE_READONLY, sqlite3.SQLITE_INTERRUPT, sqlite3.SQLITE_IOERR, sqlite3.SQLITE_FULL,
    sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PROTOCOL, sqlite3.SQLITE_NOLFS, sqlite3.SQLITE_AUTH,
}  # fmt: skip
"""SQLite's errors (primary codes) that say nothing about the content of the file."""


def _moments_of(*names: str) -> Callable[[sqlite3.Row], object]:
    return lambda row: [datetime.fromisoformat(row[name]) for name in names]


_READERS: dict[str, Callable[[sqlite3.Row], object]] = {
    "forecast": forecast_of,
    "call_schedule": call_schedule_of,
    "round": _moments_of("enqueued_at", "day"),
    "notice": notice_of,
    "chore": chore_of,
    "plant_state": state_of,
    "mark": _moments_of("at"),
    "calendar_event": _moments_of("changed_at"),
}
"""The functions that read the rows of each table. A row that they cannot read would fail at every
tick."""


def is_damage(error: sqlite3.Error) -> bool:
    """Whether an error while reading is due to the content of the file."""
    code: int | None = getattr(error, "sqlite_errorcode", None)  # none: text that is no UTF-8
    return code is None or code & 0xFF not in _UNAVAILABLE


def fault_of(db: sqlite3.Connection) -> str | None:
    """Return what is wrong with the content of an open ledger, in words; None if it is sound.

    An empty file, a file of another version or program are sound if they are so to SQLite. Rows
    must come as sqlite3.Row. Raise sqlite3.Error if the file cannot be read just now.
    """
    try:
        db.execute("BEGIN")  # one view of the file while another process writes
        try:
            return _first_fault(db)
        finally:
            if db.in_transaction:
                db.execute("ROLLBACK")
    except sqlite3.Error as error:
        if not is_damage(error):
            raise
        return one_line(error, 200)
    except UnicodeDecodeError:  # SQLite names a damaged table in what it says of it
        return "names in it are not text"


def _first_fault(db: sqlite3.Connection) -> str | None:
    # Not quick_check: it does not compare an index with its table, and a notice that its index has
    # lost can be sent twice.
    (verdict,) = db.execute("PRAGMA integrity_check(1)").fetchone()
    if verdict != "ok":
        return one_line(verdict, 200)
    found = tables_of(db)
    (version,) = db.execute("PRAGMA user_version").fetchone()
    if is_foreign(db):
        return None
    if version < 0 or (version == 0 and found):
        return f"version {version} with {len(found)} tables"
    return _unlike_schema(db, found) or _unreadable(db) if version == SCHEMA_VERSION else None


def is_foreign(db: sqlite3.Connection) -> bool:
    """Whether a sound file is the database of another program, by what is in it."""
    (owner,) = db.execute("PRAGMA application_id").fetchone()
    return not is_marked_ours(db) and bool(owner or tables_of(db))


def is_marked_ours(db: sqlite3.Connection) -> bool:
    """Whether a database says that it is a ledger, by its application id or its tables."""
    (owner,) = db.execute("PRAGMA application_id").fetchone()
    return owner == APPLICATION_ID or len(tables().keys() & tables_of(db)) >= MIN_OUR_TABLES


def is_bare(db: sqlite3.Connection) -> bool:
    """Whether there is no row in any of its tables."""
    return not any(
        db.execute(f"SELECT 1 FROM {quoted(name)} LIMIT 1").fetchone() for name in tables_of(db)
    )


def tables_of(db: sqlite3.Connection, schema: str = "main") -> dict[str, list[str]]:
    """Return the columns of each table of a database, by the name of the table."""
    names = [
        row[0]
        for row in db.execute(f"SELECT name FROM {schema}.sqlite_schema WHERE type = 'table'")
        if not row[0].startswith("sqlite_")
    ]
    return {
        name: [row[1] for row in db.execute(f"PRAGMA {schema}.table_info({quoted(name)})")]
        for name in names
    }


def quoted(name: str) -> str:
    """Return a name quoted for SQL, whatever is in it."""
    return '"' + name.replace('"', '""') + '"'


def _unlike_schema(db: sqlite3.Connection, found: dict[str, list[str]]) -> str | None:
    for name, table in tables().items():
        if set(table.columns) - set(found.get(name, ())):
            return f"table {name} is not as it was made"
    return None


def _unreadable(db: sqlite3.Connection) -> str | None:
    for name in tables():
        reader = _READERS.get(name)
        if reader is None:
            continue
        for row in db.execute(f"SELECT * FROM {quoted(name)}"):
            try:
                reader(row)
            except (ValueError, TypeError, KeyError, IndexError) as error:
                return one_line(f"table {name}: {error}", 200)
    return None


# -- the write-ahead log

_LOG_HEADER = struct.Struct(">8I")
_FRAME_HEADER = struct.Struct(">6I")
_LOG_MAGIC = 0x377F0682  # the last bit says which byte order the checksums have


def is_log_damaged(log: bytes) -> bool:
    """Whether changes were lost in a -wal file.

    SQLite itself stops at the first frame that is damaged and says nothing of what came after. A
    transaction that was cut off by a crash is no damage: nothing that ends one comes after it.
    Source: "WAL-mode File Format", sqlite.org/walformat.html (from memory).
    """
    if not log:
        return False
    if len(log) < _LOG_HEADER.size:
        return True
    magic, _, page_size, _, *salts, sum_1, sum_2 = _LOG_HEADER.unpack_from(log)
    order = ">" if magic & 1 else "<"
    sums = _checksum(struct.unpack_from(f"{order}6I", log), (0, 0))
    if magic & ~1 != _LOG_MAGIC or sums != (sum_1, sum_2):
        return True
    words, sound = struct.Struct(f"{order}{page_size // 4}I"), True
    step = _FRAME_HEADER.size + page_size
    for start in range(_LOG_HEADER.size, len(log) - step + 1, step):
        _, pages, *frame_salts, sum_1, sum_2 = _FRAME_HEADER.unpack_from(log, start)
        ours = frame_salts == salts  # others are left over from before the last checkpoint
        if sound:
            sums = _checksum(struct.unpack_from(f"{order}2I", log, start), sums)
            sums = _checksum(words.unpack_from(log, start + _FRAME_HEADER.size), sums)
            sound = ours and sums == (sum_1, sum_2)
        if not sound and ours and pages:
            return True
    return False


def _checksum(words: tuple[int, ...], sums: tuple[int, int]) -> tuple[int, int]:
    first, second = sums
    for even, odd in zip(words[::2], words[1::2], strict=True):
        first = (first + even + second) & 0xFFFFFFFF
        second = (second + odd + first) & 0xFFFFFFFF
    return first, second
