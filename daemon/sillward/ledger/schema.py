"""The tables of the ledger, in a file or on a server (`postgres.as_postgres` has what differs)."""

import sqlite3
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass
from functools import cache

SCHEMA_VERSION = 13

APPLICATION_ID = 0x53494C57  # "SILW"
"""In the header of the file (bytes 68 to 71): whose database it is. Source: "Database File Format",
sqlite.org/fileformat.html (from memory)."""

SCHEMA = """
CREATE TABLE forecast (
    site TEXT NOT NULL, source TEXT NOT NULL, fetched_at TEXT NOT NULL, changed_at TEXT NOT NULL,
    body BLOB NOT NULL, last_modified TEXT, etag TEXT, PRIMARY KEY (site, source)
) STRICT;
CREATE TABLE call_schedule (
    source TEXT PRIMARY KEY, next_at TEXT NOT NULL, failures INTEGER NOT NULL, day TEXT,
    calls INTEGER NOT NULL, reason TEXT, not_before TEXT
) STRICT;
CREATE TABLE archive (
    id INTEGER PRIMARY KEY, site TEXT NOT NULL, source TEXT NOT NULL, UNIQUE (site, source)
) STRICT;
CREATE TABLE night (
    archive INTEGER NOT NULL, night INTEGER NOT NULL, fetched_at INTEGER NOT NULL,
    low_at INTEGER NOT NULL, low INTEGER NOT NULL, dew_point INTEGER, wind INTEGER, cloud INTEGER,
    high INTEGER, sd INTEGER, warming INTEGER, PRIMARY KEY (archive, night, fetched_at)
) STRICT, WITHOUT ROWID;
CREATE TABLE round (
    site TEXT NOT NULL, round TEXT NOT NULL, day TEXT NOT NULL,
    change_number INTEGER NOT NULL DEFAULT 0, enqueued_at TEXT NOT NULL,
    states_once_delivered TEXT NOT NULL, delivered INTEGER NOT NULL DEFAULT 0,
    had_forecast INTEGER NOT NULL DEFAULT 1, PRIMARY KEY (site, round, day, change_number)
) STRICT;
CREATE TABLE notice (
    key TEXT PRIMARY KEY, site TEXT NOT NULL, round TEXT NOT NULL, day TEXT NOT NULL,
    channel TEXT NOT NULL, title TEXT NOT NULL, body TEXT NOT NULL,
    state TEXT NOT NULL CHECK (state IN ('waiting', 'sending', 'sent', 'expired', 'not needed')),
    attempts INTEGER NOT NULL DEFAULT 0, next_at TEXT NOT NULL, expires_at TEXT NOT NULL,
    sent_at TEXT, last_error TEXT, perhaps_sent INTEGER NOT NULL DEFAULT 0, owner INTEGER,
    stage TEXT NOT NULL DEFAULT 'told', change_number INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE TABLE chore (
    site TEXT NOT NULL, id TEXT NOT NULL, kind TEXT NOT NULL, before TEXT NOT NULL,
    chore_json TEXT NOT NULL, done_at TEXT, round TEXT NOT NULL DEFAULT '', reminded_at TEXT,
    passed_on_at TEXT, called_off_at TEXT, changed_at TEXT, done_by TEXT, declined_at TEXT,
    later_until TEXT, PRIMARY KEY (site, id)
) STRICT;
CREATE TABLE plant_state (
    site TEXT NOT NULL, plant TEXT NOT NULL, spot TEXT NOT NULL, since TEXT,
    assumed INTEGER NOT NULL, misted_at TEXT, fed_at TEXT, rinsed_at TEXT,
    came_from TEXT, brighter_since TEXT, asked TEXT, cold TEXT, declined TEXT, care TEXT,
    PRIMARY KEY (site, plant)
) STRICT;
CREATE TABLE mark (name TEXT PRIMARY KEY, at TEXT NOT NULL, text TEXT NOT NULL) STRICT;
CREATE TABLE calendar_event (
    site TEXT NOT NULL, id TEXT NOT NULL, digest TEXT NOT NULL, sequence INTEGER NOT NULL,
    changed_at TEXT NOT NULL, PRIMARY KEY (site, id)
) STRICT;
CREATE TABLE confirmation (
    id INTEGER PRIMARY KEY, site TEXT NOT NULL, at TEXT NOT NULL, undo TEXT NOT NULL, person TEXT
) STRICT;
CREATE TABLE sensor (
    id INTEGER PRIMARY KEY, site TEXT NOT NULL, spot TEXT NOT NULL, quantity TEXT NOT NULL,
    name TEXT NOT NULL, UNIQUE (site, spot, quantity, name)
) STRICT;
CREATE TABLE reading_hour (
    sensor INTEGER NOT NULL, hour INTEGER NOT NULL, low INTEGER NOT NULL, low_at INTEGER NOT NULL,
    high INTEGER NOT NULL, mean INTEGER NOT NULL, first_at INTEGER NOT NULL, last INTEGER NOT NULL,
    last_at INTEGER NOT NULL, count INTEGER NOT NULL, PRIMARY KEY (sensor, hour)
) STRICT, WITHOUT ROWID;
CREATE TABLE hand_reading (
    id INTEGER PRIMARY KEY, site TEXT NOT NULL, spot TEXT NOT NULL, quantity TEXT NOT NULL,
    night INTEGER, at INTEGER NOT NULL, value INTEGER NOT NULL, entered_at INTEGER NOT NULL
) STRICT;
CREATE TABLE set_aside (
    sensor INTEGER NOT NULL, hour INTEGER NOT NULL, reason TEXT NOT NULL, count INTEGER NOT NULL,
    first_at INTEGER NOT NULL, last_at INTEGER NOT NULL, example TEXT NOT NULL,
    noted_at INTEGER NOT NULL, PRIMARY KEY (sensor, hour, reason)
) STRICT, WITHOUT ROWID;
CREATE TABLE reading_edition (site TEXT PRIMARY KEY, number INTEGER NOT NULL) STRICT;
CREATE TABLE deed (
    id INTEGER PRIMARY KEY, site TEXT NOT NULL, at TEXT NOT NULL, person TEXT, what TEXT NOT NULL,
    about TEXT NOT NULL
) STRICT;
CREATE TABLE diary (
    id INTEGER PRIMARY KEY, site TEXT NOT NULL, plant TEXT NOT NULL, seen_at TEXT NOT NULL,
    entered_at TEXT NOT NULL, person TEXT, kind TEXT NOT NULL, text TEXT NOT NULL, photo TEXT,
    what TEXT, amount TEXT
) STRICT;
CREATE TABLE coldest_night (
    site TEXT NOT NULL, plant TEXT NOT NULL, year INTEGER NOT NULL, night TEXT NOT NULL,
    low REAL NOT NULL, read INTEGER NOT NULL, limit_c REAL, spots TEXT NOT NULL,
    known INTEGER NOT NULL, PRIMARY KEY (site, plant, year)
) STRICT, WITHOUT ROWID;
CREATE TABLE plant_year (
    site TEXT NOT NULL, plant TEXT NOT NULL, year INTEGER NOT NULL, kind TEXT NOT NULL,
    what TEXT NOT NULL, count INTEGER NOT NULL,
    PRIMARY KEY (site, plant, year, kind, what)
) STRICT, WITHOUT ROWID;
CREATE TABLE absence (
    id INTEGER PRIMARY KEY, site TEXT NOT NULL, first_day TEXT NOT NULL, last_day TEXT NOT NULL,
    person TEXT NOT NULL, channel TEXT NOT NULL, note TEXT NOT NULL, entered_at TEXT NOT NULL,
    briefed_at TEXT, ended_at TEXT, parted_at TEXT
) STRICT;
CREATE TABLE device (
    site TEXT NOT NULL, name TEXT NOT NULL, person TEXT, endpoint TEXT NOT NULL,
    p256dh TEXT NOT NULL, auth TEXT NOT NULL, added_at TEXT NOT NULL, gone_at TEXT,
    PRIMARY KEY (site, name)
) STRICT, WITHOUT ROWID;
CREATE TABLE accepted_limit (
    site TEXT NOT NULL, plant TEXT NOT NULL, name TEXT NOT NULL, value REAL NOT NULL,
    replaced REAL NOT NULL, accepted_at TEXT NOT NULL, person TEXT, because TEXT NOT NULL,
    PRIMARY KEY (site, plant, name)
) STRICT;
CREATE TABLE harmful_night (
    site TEXT NOT NULL, plant TEXT NOT NULL, night TEXT NOT NULL, low REAL NOT NULL,
    sd REAL NOT NULL, read INTEGER NOT NULL, known INTEGER NOT NULL, limit_c REAL,
    noted_at TEXT NOT NULL, asked_at TEXT, answered_at TEXT, damaged INTEGER, person TEXT,
    looked_at TEXT, given TEXT NOT NULL, PRIMARY KEY (site, plant, night)
) STRICT;
CREATE TABLE kept_collection (
    site TEXT PRIMARY KEY, file TEXT NOT NULL, digest TEXT NOT NULL, since TEXT NOT NULL,
    tables BLOB NOT NULL
) STRICT;
CREATE INDEX round_at ON round (site, enqueued_at);
CREATE INDEX notice_state ON notice (site, state, expires_at);
CREATE INDEX notice_day ON notice (site, day, next_at);
CREATE INDEX chore_before ON chore (site, before, id);
CREATE INDEX diary_plant ON diary (site, plant, seen_at);
CREATE INDEX diary_photo ON diary (photo);
CREATE INDEX diary_seen ON diary (site, seen_at);
"""


@dataclass(frozen=True, slots=True)
class Table:
    """The columns of a table in order, and those of them that are its key."""

    columns: Sequence[str]
    key: Sequence[str]


@cache
def tables() -> dict[str, Table]:
    """Return the tables of the ledger by name, as SQLite reads them from `SCHEMA`."""
    with closing(sqlite3.connect(":memory:")) as db:
        db.executescript(SCHEMA)
        names = [
            name for (name,) in db.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")
        ]
        found = {name: db.execute(f"PRAGMA table_info({name})").fetchall() for name in names}
    return {
        name: Table(
            [column[1] for column in columns],
            [column[1] for column in sorted(columns, key=lambda column: column[5]) if column[5]],
        )
        for name, columns in found.items()
    }


@cache
def in_place(table: str) -> str:
    """Return the end of an INSERT whose row takes the place of the one that has its key."""
    columns, key = tables()[table].columns, tables()[table].key
    values = ", ".join(f"{name} = excluded.{name}" for name in columns if name not in key)
    return f"ON CONFLICT ({', '.join(key)}) DO UPDATE SET {values}"
