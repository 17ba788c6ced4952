"""The ledger: one SQLite file that remembers forecasts, rounds, notices, chores and plants.

Facts are kept, never schedules. A round's chores and notices are written in one transaction with
the round itself; a notice is claimed before it is sent and marked after, so that a crash in
between costs at most one repeat and never a loss.
"""

import json
import os
import sqlite3
import zlib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import fields
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

from sillward.errors import LedgerError
from sillward.ledger.records import (
    NIGHT_COLUMNS,
    Mark,
    Notice,
    Poll,
    StoredChore,
    StoredForecast,
    chore_of,
    columns_of,
    forecast_of,
    iso_to_text,
    night_of,
    night_values,
    notice_of,
    plain,
    poll_of,
    state_of,
    to_moment,
    to_text,
)
from sillward_rules.collection import PlantState
from sillward_rules.nightly import NightForecast

SCHEMA_VERSION = 3

ARCHIVE_DAYS = 400
"""Nights longer ago leave the archive. Judgement: a year, and a month to hold it against."""

ARCHIVE_ROWS = 800_000
"""Most forecasts of a night in the archive: at 45 bytes each they stay under 50 MB. Names of site
and source are not in these rows: a long one makes them no longer. Judgement: one site with two
sources that change every hour and reach eight nights ahead makes 154,000."""

_SCHEMA = """
CREATE TABLE forecast (
    site TEXT NOT NULL, source TEXT NOT NULL, fetched_at TEXT NOT NULL, changed_at TEXT NOT NULL,
    body BLOB NOT NULL, last_modified TEXT, etag TEXT, PRIMARY KEY (site, source)
) STRICT;
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
CREATE TABLE round (
    site TEXT NOT NULL, round TEXT NOT NULL, day TEXT NOT NULL, at TEXT NOT NULL,
    after TEXT NOT NULL, followed INTEGER NOT NULL DEFAULT 0, PRIMARY KEY (site, round, day)
) STRICT;
CREATE TABLE notice (
    key TEXT PRIMARY KEY, site TEXT NOT NULL, round TEXT NOT NULL, day TEXT NOT NULL,
    channel TEXT NOT NULL, title TEXT NOT NULL, body TEXT NOT NULL,
    state TEXT NOT NULL CHECK (state IN ('waiting', 'sending', 'sent', 'expired', 'not needed')),
    attempts INTEGER NOT NULL DEFAULT 0, next_at TEXT NOT NULL, expires_at TEXT NOT NULL,
    sent_at TEXT, last_error TEXT, perhaps_sent INTEGER NOT NULL DEFAULT 0, owner INTEGER
) STRICT;
CREATE TABLE chore (
    site TEXT NOT NULL, id TEXT NOT NULL, kind TEXT NOT NULL, before TEXT NOT NULL,
    document TEXT NOT NULL, done_at TEXT, PRIMARY KEY (site, id)
) STRICT;
CREATE TABLE plant_state (
    site TEXT NOT NULL, plant TEXT NOT NULL, spot TEXT NOT NULL, since TEXT,
    assumed INTEGER NOT NULL, misted_at TEXT, fed_at TEXT, rinsed_at TEXT,
    came_from TEXT, brighter_since TEXT,
    PRIMARY KEY (site, plant)
) STRICT;
CREATE TABLE mark (name TEXT PRIMARY KEY, at TEXT NOT NULL, text TEXT NOT NULL) STRICT;
"""

_MIGRATIONS = {
    1: "ALTER TABLE plant_state ADD COLUMN brighter_since TEXT",
    # Old forecasts are kept: who updates while the network is down goes on with what is there.
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
}
"""What brings a file of this version to the next one: statements, written out as they were then."""


class Ledger:
    """The ledger of one file. Used from one thread at a time; every write is a transaction."""

    def __init__(self, path: Path | str) -> None:
        """Open or create the file. Raise LedgerError if it cannot be used."""
        self._path = str(path)
        with self._translated():
            if self._path != ":memory:":
                _make_private(Path(path))
            self._db = sqlite3.connect(
                self._path, isolation_level=None, timeout=5, check_same_thread=False
            )
        try:
            with self._translated():
                self._db.row_factory = sqlite3.Row
                self._db.execute("PRAGMA journal_mode=WAL")
                # A lost "sent" mark costs a repeat: one sync for each write is worth it.
                self._db.execute("PRAGMA synchronous=FULL")
            self._migrate()
        except LedgerError:
            self._db.close()
            raise

    def close(self) -> None:
        """Close the file."""
        self._db.close()

    def _migrate(self) -> None:
        with self.transaction():  # two processes may open a new file at once
            version = self._db.execute("PRAGMA user_version").fetchone()[0]
            if version > SCHEMA_VERSION:
                msg = f"{self._path}: written by a newer sillward (version {version}); update first"
                raise LedgerError(msg)
            if version == 0:
                self._run(_SCHEMA)
            else:
                self._db.create_function("compressed", 1, zlib.compress)
                for older in range(version, SCHEMA_VERSION):
                    self._run(_MIGRATIONS[older])
            self._db.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")

    def _run(self, statements: str) -> None:
        for statement in statements.split(";"):  # executescript would end the transaction
            self._db.execute(statement)

    @contextmanager
    def _translated(self) -> Iterator[None]:
        try:
            yield
        except (sqlite3.Error, OSError) as error:
            msg = f"ledger {self._path}: {error}"
            raise LedgerError(msg) from error

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """All writes within happen, or none. Raise LedgerError if they cannot."""
        with self._translated():
            self._db.execute("BEGIN IMMEDIATE")
            try:
                yield
            except BaseException:
                self._db.execute("ROLLBACK")
                raise
            self._db.execute("COMMIT")

    def _rows(self, query: str, *values: object) -> list[sqlite3.Row]:
        with self._translated():
            return self._db.execute(query, values).fetchall()

    # -- forecasts

    def keep_forecast(self, site: str, stored: StoredForecast) -> None:
        """Keep a validated forecast as the last good one of its source for the site.

        The body is tens of kB of text that repeats itself: it lies compressed in the file.
        """
        values = columns_of(stored) | {"site": site, "body": zlib.compress(stored.body)}
        with self.transaction():
            self._replace("forecast", values)

    def confirm_forecast(self, site: str, source: str, fetched_at: datetime) -> None:
        """The source said at this time that the forecast at hand is still its last."""
        with self.transaction():
            self._db.execute(
                "UPDATE forecast SET fetched_at = ? WHERE site = ? AND source = ?",
                (to_text(fetched_at), site, source),
            )

    def forecast(self, site: str, source: str) -> StoredForecast | None:
        """The last good forecast of a source; None if there is none or its body is damaged."""
        rows = self._rows("SELECT * FROM forecast WHERE site = ? AND source = ?", site, source)
        return forecast_of(rows[0]) if rows else None

    def keep_poll(self, source: str, poll: Poll) -> None:
        """Keep when a source is to be asked again."""
        with self.transaction():
            self._replace("poll", columns_of(poll) | {"source": source})

    def poll(self, source: str) -> Poll | None:
        """When a source is to be asked again; None if it never was asked."""
        rows = self._rows("SELECT * FROM poll WHERE source = ?", source)
        return poll_of(rows[0]) if rows else None

    def _replace(self, table: str, values: Mapping[str, object]) -> None:
        marks = ", ".join("?" * len(values))
        names = ", ".join(values)
        self._db.execute(
            f"INSERT OR REPLACE INTO {table} ({names}) VALUES ({marks})", tuple(values.values())
        )

    # -- the archive of nights

    def keep_nights(
        self, site: str, source: str, fetched_at: datetime, nights: Sequence[NightForecast]
    ) -> None:
        """Put what a forecast said of its nights into the archive.

        Kept are whole seconds and hundredths of each value; lead_h follows from the times.
        """
        with self.transaction():
            self._db.execute(
                "INSERT INTO archive (site, source) VALUES (?, ?) ON CONFLICT DO NOTHING",
                (site, source),
            )
            (archive,) = self._db.execute(
                "SELECT id FROM archive WHERE site = ? AND source = ?", (site, source)
            ).fetchone()
            self._db.executemany(
                f"INSERT OR REPLACE INTO night (archive, {', '.join(NIGHT_COLUMNS)})"
                " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                [(archive, *night_values(night, fetched_at)) for night in nights],
            )

    def nights(
        self, site: str, since: date, source: str | None = None
    ) -> list[tuple[str, datetime, NightForecast]]:
        """What was forecast, by a source or by all, for the nights from a date on.

        Source, time of fetching and forecast: by night, then by source, then as they came.
        """
        rows = self._rows(
            f"SELECT archive.source, {', '.join(NIGHT_COLUMNS)} FROM night"
            " JOIN archive ON archive.id = night.archive WHERE archive.site = ?1"
            " AND (?2 IS NULL OR archive.source = ?2) AND night.night >= ?3"
            " ORDER BY night.night, archive.source, night.fetched_at",
            site,
            source,
            since.toordinal(),
        )
        return [(source, *night_of(*values)) for source, *values in rows]

    def prune_archive(self, now: datetime) -> None:
        """Drop nights that are too long ago, and the oldest of too many."""
        oldest = now.astimezone(UTC).date().toordinal() - ARCHIVE_DAYS
        with self.transaction():
            self._db.execute("DELETE FROM night WHERE night < ?", (oldest,))
            (count,) = self._db.execute("SELECT COUNT(*) FROM night").fetchone()
            self._db.execute(
                "DELETE FROM night WHERE (archive, night, fetched_at) IN ("
                "SELECT archive, night, fetched_at FROM night ORDER BY night, fetched_at LIMIT ?)",
                (max(0, count - ARCHIVE_ROWS),),
            )

    # -- rounds, notices, chores

    def round_told_at(self, site: str, round_: str, day: date) -> datetime | None:
        """When a round of a day was worked out and put down for sending, if it was."""
        rows = self._rows(
            "SELECT at FROM round WHERE site = ? AND round = ? AND day = ?", site, round_, str(day)
        )
        return to_moment(rows[0][0]) if rows else None

    def round_followed(self, site: str, round_: str, day: date) -> bool:
        """Whether a notice of this round reached somebody."""
        rows = self._rows(
            "SELECT followed FROM round WHERE site = ? AND round = ? AND day = ?",
            site,
            round_,
            str(day),
        )
        return bool(rows and rows[0][0])

    def keep_round(
        self,
        site: str,
        round_: str,
        day: date,
        at: datetime,
        *,
        notices: Sequence[Notice],
        chores: Sequence[dict[str, Any]],
        states: Mapping[str, PlantState],
        after: Mapping[str, PlantState] | None = None,
    ) -> None:
        """Write a round with its notices, chores and plant states, in one transaction.

        states holds now; after holds once somebody has been told: from the first notice of the
        round that is sent.
        """
        then = {
            plant: {field.name: plain(getattr(state, field.name)) for field in fields(state)}
            for plant, state in (after or {}).items()
        }
        with self.transaction():
            self._db.execute(
                "INSERT INTO round (site, round, day, at, after) VALUES (?, ?, ?, ?, ?)",
                (site, round_, str(day), to_text(at), json.dumps(then)),
            )
            for notice in notices:
                self._insert_notice(notice)
            for chore in chores:
                self._write_chore(site, chore)
            self._write_states(site, states)

    def _write_chore(self, site: str, chore: Mapping[str, Any]) -> None:
        """Write a chore. What was done stays done unless there is now more to do."""
        rows = self._db.execute(
            "SELECT * FROM chore WHERE site = ? AND id = ?", (site, chore["id"])
        ).fetchall()
        done_at = None
        if rows and set(chore["plants"]) <= set(chore_of(rows[0]).document["plants"]):
            done_at = rows[0]["done_at"]
        before = iso_to_text(chore["before"])
        values = (site, chore["id"], chore["chore"], before, json.dumps(chore), done_at)
        self._db.execute("INSERT OR REPLACE INTO chore VALUES (?, ?, ?, ?, ?, ?)", values)

    def _insert_notice(self, notice: Notice) -> None:
        values = [plain(getattr(notice, field.name)) for field in fields(Notice)]
        marks = ", ".join("?" * len(values))
        names = ", ".join(field.name for field in fields(Notice))
        self._db.execute(f"INSERT INTO notice ({names}) VALUES ({marks})", values)

    def waiting(self, site: str, now: datetime, longest: timedelta) -> list[Notice]:
        """Notices of a site that are due for a try, oldest first.

        One that is due later than the longest pause from now was put back before the clock was
        set back: it is due too.
        """
        rows = self._rows(
            "SELECT * FROM notice WHERE site = ? AND state = 'waiting'"
            " AND (next_at <= ? OR next_at > ?) ORDER BY next_at, key",
            site,
            to_text(now),
            to_text(now + longest),
        )
        return [notice_of(row) for row in rows]

    def claim(self, key: str, until: datetime) -> bool:
        """Take a waiting notice for sending. False if somebody else has it.

        The claim is this process's until that time; see `release_claims`.
        """
        with self.transaction():
            cursor = self._db.execute(
                "UPDATE notice SET state = 'sending', attempts = attempts + 1, owner = ?,"
                " next_at = ?, perhaps_sent = 1 WHERE key = ? AND state = 'waiting'",
                (os.getpid(), to_text(until), key),
            )
            return cursor.rowcount == 1

    def sent(self, key: str, at: datetime, doubt: str | None = None) -> None:
        """Mark a claimed notice as sent. From now on its round's advice counts as followed.

        doubt: why nobody can say for sure that it arrived.
        """
        with self.transaction():
            self._db.execute(
                "UPDATE notice SET state = 'sent', sent_at = ?, last_error = ? WHERE key = ?",
                (to_text(at), doubt, key),
            )
            rows = self._db.execute(
                "UPDATE round SET followed = 1 FROM notice WHERE notice.key = ? AND followed = 0"
                " AND round.site = notice.site AND round.round = notice.round"
                " AND round.day = notice.day RETURNING round.site, round.at, round.after",
                (key,),
            ).fetchall()
            for row in rows:
                self._follow(row["site"], row["at"], json.loads(row["after"]))

    def _follow(self, site: str, told_at: str, after: Mapping[str, Any]) -> None:
        """Write the state after a round, but leave what was acknowledged since it was told."""
        known = {
            row["plant"]
            for row in self._db.execute(
                "SELECT plant FROM plant_state WHERE site = ? AND assumed = 0 AND since > ?",
                (site, told_at),
            )
        }
        states = {plant: state_of(values) for plant, values in after.items() if plant not in known}
        self._write_states(site, states)

    def put_back(
        self, key: str, next_at: datetime, error: str, *, perhaps_sent: bool = False
    ) -> None:
        """Put a claimed notice back for another try."""
        with self.transaction():
            self._db.execute(
                "UPDATE notice SET state = 'waiting', next_at = ?, last_error = ?,"
                " perhaps_sent = ? WHERE key = ?",
                (to_text(next_at), error, int(perhaps_sent), key),
            )

    def expire(self, now: datetime) -> list[Notice]:
        """Give up notices whose time is over; return them.

        One that was given up while the clock was wrong gets its chance back.
        """
        with self.transaction():
            self._db.execute(
                "UPDATE notice SET state = 'waiting' WHERE state = 'expired' AND expires_at > ?",
                (to_text(now),),
            )
            rows = self._db.execute(
                "UPDATE notice SET state = 'expired' WHERE state = 'waiting' AND expires_at <= ?"
                " RETURNING *",
                (to_text(now),),
            ).fetchall()
        return [notice_of(row) for row in rows]

    def withdraw(self, site: str, round_: str, since: date) -> dict[str, bool]:
        """Leave unsent what still waits of a round, for it is not true any more.

        Return for each channel whether something of it, from that day on, has arrived or may have.
        """
        told = (site, round_, str(since))
        with self.transaction():
            rows = self._db.execute(
                "SELECT channel, MAX(state = 'sent' OR perhaps_sent) AS reached FROM notice"
                " WHERE site = ? AND round = ? AND day >= ? GROUP BY channel",
                told,
            ).fetchall()
            self._db.execute(
                "UPDATE notice SET state = 'not needed' WHERE state IN ('waiting', 'expired')"
                " AND site = ? AND round = ? AND day >= ?",
                told,
            )
        return {row["channel"]: bool(row["reached"]) for row in rows}

    def release_claims(self, now: datetime) -> int:
        """Put back claims whose process is gone or whose time is over. Return how many.

        Call it while this process is sending nothing. Another process that is at work keeps
        what it has.
        """
        with self.transaction():
            rows = self._db.execute(
                "SELECT key, owner, next_at FROM notice WHERE state = 'sending'"
            ).fetchall()
            free = [
                row["key"]
                for row in rows
                if row["owner"] == os.getpid()
                or not _alive(row["owner"])
                or row["next_at"] <= to_text(now)
            ]
            self._db.executemany(
                "UPDATE notice SET state = 'waiting', next_at = ? WHERE key = ?",
                [(to_text(now), key) for key in free],
            )
        return len(free)

    def notices(self, site: str, most: int = 20) -> list[Notice]:
        """The latest notices, newest first."""
        rows = self._rows(
            "SELECT * FROM notice WHERE site = ? ORDER BY day DESC, next_at DESC LIMIT ?",
            site,
            most,
        )
        return [notice_of(row) for row in rows]

    def of_round(self, site: str, round_: str, day: date) -> list[Notice]:
        """The notices of one round of a day."""
        rows = self._rows(
            "SELECT * FROM notice WHERE site = ? AND round = ? AND day = ? ORDER BY channel",
            site,
            round_,
            str(day),
        )
        return [notice_of(row) for row in rows]

    def chores(self, site: str, since: datetime) -> list[StoredChore]:
        """Chores whose deadline is not before `since`, by deadline."""
        rows = self._rows(
            "SELECT * FROM chore WHERE site = ? AND before >= ? ORDER BY before, id",
            site,
            to_text(since),
        )
        return [chore_of(row) for row in rows]

    def finish(
        self, site: str, chore_id: str, at: datetime, states: Mapping[str, PlantState]
    ) -> None:
        """Mark a chore as done, together with the state that follows from it."""
        with self.transaction():
            self._db.execute(
                "UPDATE chore SET done_at = ? WHERE site = ? AND id = ?",
                (to_text(at), site, chore_id),
            )
            self._write_states(site, states)

    # -- plants

    def states(self, site: str) -> dict[str, PlantState]:
        """What is known of each plant."""
        rows = self._rows("SELECT * FROM plant_state WHERE site = ?", site)
        return {row["plant"]: state_of(row) for row in rows}

    def _write_states(self, site: str, states: Mapping[str, PlantState]) -> None:
        for plant, state in states.items():
            values = [plain(getattr(state, field.name)) for field in fields(PlantState)]
            self._db.execute(
                "INSERT OR REPLACE INTO plant_state VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                (site, plant, *values),
            )

    # -- marks

    def mark(self, name: str, at: datetime, text: str) -> None:
        """Remember the last time something happened."""
        with self.transaction():
            self._db.execute(
                "INSERT OR REPLACE INTO mark VALUES (?, ?, ?)", (name, to_text(at), text)
            )

    def unmark(self, name: str) -> None:
        """Forget a mark, if it is there."""
        with self.transaction():
            self._db.execute("DELETE FROM mark WHERE name = ?", (name,))

    def marks(self) -> dict[str, Mark]:
        """All marks by name."""
        rows = self._rows("SELECT * FROM mark")
        return {row["name"]: Mark(row["name"], to_moment(row["at"]), row["text"]) for row in rows}


def _make_private(path: Path) -> None:
    """Create folder and file so that only their owner can read them."""
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    os.close(os.open(path, os.O_RDWR | os.O_CREAT, 0o600))


def _alive(pid: int | None) -> bool:
    """Whether a process of this number runs on this machine."""
    if pid is None:
        return False
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        pass
    return True
