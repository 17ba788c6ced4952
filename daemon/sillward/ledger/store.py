"""The ledger: one SQLite file that remembers forecasts, rounds, notices, chores and plants.

Facts are kept, never schedules. A round's chores and notices are written in one transaction with
the round itself; a notice is claimed before it is sent and marked after, so that a crash in
between costs at most one repeat and never a loss.
"""

import json
import os
from collections.abc import Mapping, Sequence
from dataclasses import fields
from datetime import date, datetime, timedelta
from typing import Any

from sillward.ledger.forecasts import ForecastTables
from sillward.ledger.records import (
    Mark,
    Notice,
    StoredChore,
    chore_of,
    iso_to_text,
    notice_of,
    plain,
    state_of,
    to_moment,
    to_text,
)
from sillward_rules.collection import PlantState


class Ledger(ForecastTables):
    """The ledger of one file. Used from one thread at a time; every write is a transaction."""

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
