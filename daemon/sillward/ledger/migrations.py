"""The migrations that bring a ledger file of an older version up to date."""

import json
import re
import sqlite3
import zlib
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from typing import Any

from sillward.ledger.chore_codec import encode
from sillward_rules.chore import Chore, ChoreKind, Grounds, Reason

MIGRATIONS = {
    1: "ALTER TABLE plant_state ADD COLUMN brighter_since TEXT",
    # Old forecasts are kept: after an update without a network there is nothing else.
    2: """
ALTER TABLE forecast RENAME TO old_forecast;
CREATE TABLE forecast (
    site TEXT NOT NULL, source TEXT NOT NULL, fetched_at TEXT NOT NULL, changed_at TEXT NOT NULL,
    body BLOB NOT NULL, last_modified TEXT, etag TEXT, PRIMARY KEY (site, source)
) STRICT;
INSERT INTO forecast (site, source, fetched_at, changed_at, body)
    SELECT site, source, fetched_at, fetched_at, compressed(body) FROM old_forecast;
DROP TABLE old_forecast;
CREATE TABLE poll (
    source TEXT PRIMARY KEY, next_at TEXT NOT NULL, failures INTEGER NOT NULL, day TEXT,
    calls INTEGER NOT NULL, reason TEXT, not_before TEXT
) STRICT;
CREATE TABLE archive (
    id INTEGER PRIMARY KEY, site TEXT NOT NULL, source TEXT NOT NULL, UNIQUE (site, source)
) STRICT;
CREATE TABLE night (
    archive INTEGER NOT NULL, night INTEGER NOT NULL, fetched_at INTEGER NOT NULL,
    low_at INTEGER NOT NULL, low INTEGER NOT NULL, dew_point INTEGER, wind INTEGER, cloud INTEGER,
    high INTEGER, sd INTEGER, PRIMARY KEY (archive, night, fetched_at)
) STRICT, WITHOUT ROWID;
""",
    3: """
ALTER TABLE round ADD COLUMN usable INTEGER NOT NULL DEFAULT 1;
ALTER TABLE notice ADD COLUMN stage TEXT NOT NULL DEFAULT 'told';
ALTER TABLE chore ADD COLUMN round TEXT NOT NULL DEFAULT '';
ALTER TABLE chore ADD COLUMN reminded_at TEXT;
ALTER TABLE chore ADD COLUMN passed_on_at TEXT;
ALTER TABLE chore ADD COLUMN called_off_at TEXT;
""",
    4: """
CREATE TABLE event (
    site TEXT NOT NULL, id TEXT NOT NULL, digest TEXT NOT NULL, sequence INTEGER NOT NULL,
    changed_at TEXT NOT NULL, PRIMARY KEY (site, id)
) STRICT
""",
    # What was told for this night and is not confirmed is open from now on.
    5: """
ALTER TABLE plant_state ADD COLUMN asked TEXT;
UPDATE plant_state SET asked = json_object('from_spot', came_from, 'to_spot', spot, 'before', since)
    WHERE assumed = 1 AND came_from IS NOT NULL AND EXISTS (
        SELECT 1 FROM chore WHERE chore.site = plant_state.site AND kind = 'carry-in'
        AND done_at IS NULL AND called_off_at IS NULL AND before = since
        AND json_extract(document, '$.to') = spot AND json_extract(document, '$.from') = came_from
    );
CREATE TABLE answer (
    id INTEGER PRIMARY KEY, site TEXT NOT NULL, at TEXT NOT NULL, undo TEXT NOT NULL
) STRICT
""",
    # The queries of every tick use an index.
    6: """
CREATE INDEX IF NOT EXISTS round_at ON round (site, at);
CREATE INDEX IF NOT EXISTS notice_state ON notice (site, state, expires_at);
CREATE INDEX IF NOT EXISTS notice_day ON notice (site, day, next_at);
CREATE INDEX IF NOT EXISTS chore_before ON chore (site, before, id)
""",
    # The number of a change was part of the name of its round ("dusk change 2"), and chores were
    # kept as the public sheet shows them, with the time of a change among their keys. Some tables
    # and columns get the names that the code has for them.
    7: """
ALTER TABLE round RENAME TO old_round;
CREATE TABLE round (
    site TEXT NOT NULL, round TEXT NOT NULL, day TEXT NOT NULL,
    change_number INTEGER NOT NULL DEFAULT 0, enqueued_at TEXT NOT NULL,
    states_once_delivered TEXT NOT NULL, delivered INTEGER NOT NULL DEFAULT 0,
    had_forecast INTEGER NOT NULL DEFAULT 1, PRIMARY KEY (site, round, day, change_number)
) STRICT;
INSERT INTO round (
    site, round, day, change_number, enqueued_at, states_once_delivered, delivered, had_forecast
) SELECT site, without_change(round), day, change_in(round), at, after, followed, usable
    FROM old_round;
DROP TABLE old_round;
CREATE INDEX round_at ON round (site, enqueued_at);
ALTER TABLE notice ADD COLUMN change_number INTEGER NOT NULL DEFAULT 0;
UPDATE notice SET round = without_change(round), change_number = change_in(round);
ALTER TABLE chore RENAME COLUMN document TO chore_json;
ALTER TABLE chore ADD COLUMN changed_at TEXT;
UPDATE chore SET changed_at = changed_in(chore_json), chore_json = chore_of_7(chore_json);
ALTER TABLE answer RENAME TO confirmation;
UPDATE confirmation SET undo = undo_of_7(undo);
ALTER TABLE poll RENAME TO call_schedule;
ALTER TABLE event RENAME TO calendar_event
""",
    8: "ALTER TABLE plant_state ADD COLUMN cold TEXT",
    9: """
ALTER TABLE night ADD COLUMN warming INTEGER;
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
CREATE TABLE reading_edition (site TEXT PRIMARY KEY, number INTEGER NOT NULL) STRICT
""",
    10: """
ALTER TABLE chore ADD COLUMN done_by TEXT;
ALTER TABLE chore ADD COLUMN declined_at TEXT;
ALTER TABLE chore ADD COLUMN later_until TEXT;
ALTER TABLE confirmation ADD COLUMN person TEXT;
ALTER TABLE plant_state ADD COLUMN declined TEXT;
CREATE TABLE deed (
    id INTEGER PRIMARY KEY, site TEXT NOT NULL, at TEXT NOT NULL, person TEXT, what TEXT NOT NULL,
    about TEXT NOT NULL
) STRICT;
CREATE TABLE diary (
    id INTEGER PRIMARY KEY, site TEXT NOT NULL, plant TEXT NOT NULL, seen_at TEXT NOT NULL,
    entered_at TEXT NOT NULL, person TEXT, kind TEXT NOT NULL, text TEXT NOT NULL, photo TEXT
) STRICT;
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
CREATE INDEX diary_plant ON diary (site, plant, seen_at);
CREATE INDEX diary_photo ON diary (photo)
""",
    11: """
ALTER TABLE plant_state ADD COLUMN care TEXT;
ALTER TABLE diary ADD COLUMN what TEXT;
ALTER TABLE diary ADD COLUMN amount TEXT;
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
CREATE INDEX diary_seen ON diary (site, seen_at);
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
) STRICT
""",
    12: """
CREATE TABLE kept_collection (
    site TEXT PRIMARY KEY, file TEXT NOT NULL, digest TEXT NOT NULL, since TEXT NOT NULL,
    tables BLOB NOT NULL
) STRICT
""",
}
"""The statements that bring a file of each version to the next one, as they were then."""

_CHANGE = re.compile(r" change (\d+)", re.ASCII)


def _without_change(round_: str) -> str:
    return _CHANGE.sub("", round_)


def _change_in(round_: str) -> int:
    found = _CHANGE.search(round_)
    return 0 if found is None else int(found[1])


def _changed_in(document: str) -> str | None:
    changed: str | None = json.loads(document).get("changed")
    return changed


def _chore_of_7(document: str) -> str:
    """Return a chore of the public sheet, as version 7 kept it, in the form of version 8."""
    return encode(_public_chore(json.loads(document)))


def _undo_of_7(undo: str) -> str:
    """Return the undo of a confirmation with its rows of chores in the form of version 8."""
    rows_before = json.loads(undo)
    for row in rows_before["chores"]:
        document = row.pop("document")
        row["chore_json"], row["changed_at"] = _chore_of_7(document), _changed_in(document)
    return json.dumps(rows_before)


def _public_chore(document: dict[str, Any]) -> Chore:
    """Return the chore that a document of the public sheet describes.

    Its reasons are listed plant by plant; those after the first of a plant are `Reason.also`.
    """
    reasons: dict[str, list[Reason]] = {}
    for reason in map(_public_reason, document["because"]):
        reasons.setdefault(reason.plant, []).append(reason)
    overdue = document.get("overdue_since")
    start = document.get("not_before")
    plants = tuple(document["plants"])
    unconfirmed = plants if document.get("confirmed") is False else document.get("if_taken_in", ())
    return Chore(
        id=document["id"],
        kind=ChoreKind(document["chore"]),
        plants=plants,
        from_spot=document["from"],
        to_spot=document["to"],
        not_before=None if start is None else datetime.fromisoformat(start),
        before=datetime.fromisoformat(document["before"]),
        grounds=Grounds.of(
            *(
                ((plant,), replace(first, also=tuple(others)))
                for plant, (first, *others) in reasons.items()
            )
        ),
        unconfirmed=unconfirmed,
        overdue_since=None if overdue is None else datetime.fromisoformat(overdue),
    )


def _public_reason(document: dict[str, Any]) -> Reason:
    until = document.get("until")
    return Reason(
        plant=document["plant"],
        quantity=document["quantity"],
        value=document["value"],
        unit=document["unit"],
        limit=document["limit"],
        at=datetime.fromisoformat(document["at"]),
        origin=document["origin"],
        hours=document.get("hours"),
        degree_hours=document.get("degree_hours"),
        above=document.get("above", False),
        chance=document.get("chance"),
        until=None if until is None else datetime.fromisoformat(until),
        there=document.get("there"),
    )


_FUNCTIONS: dict[str, Callable[..., bytes | str | int | None]] = {
    "compressed": zlib.compress,
    "without_change": _without_change,
    "change_in": _change_in,
    "changed_in": _changed_in,
    "chore_of_7": _chore_of_7,
    "undo_of_7": _undo_of_7,
}
"""The functions that the statements call, by their names there."""


def migrate(db: sqlite3.Connection, version: int, target: int) -> None:
    """Bring a file from one version to another, in the transaction that is open."""
    for name, function in _FUNCTIONS.items():
        db.create_function(name, 1, function, deterministic=True)
    for older in range(version, target):
        run(db, MIGRATIONS[older])


def run(db: sqlite3.Connection, statements: str) -> None:
    """Run some statements in the transaction that is open: `executescript` would end it."""
    for statement in statements.split(";"):
        db.execute(statement)
