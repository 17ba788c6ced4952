"""Rounds with their chores, what is known of each plant, and marks: what was told and done."""

import json
import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import fields
from datetime import date, datetime, timedelta
from typing import Any

from sillward.ledger.forecasts import ForecastTables
from sillward.ledger.records import (
    EventVersion,
    Life,
    Mark,
    Notice,
    StoredChore,
    chore_of,
    iso_to_text,
    plain,
    state_of,
    to_moment,
    to_text,
)
from sillward_rules.plants.state import PlantState

KEPT_DAYS = 60
"""Rounds, notices and chores longer ago are forgotten: well beyond any review. Judgement."""

AHEAD = timedelta(hours=12)
"""A round that was told so far in the future was told by a clock that was wrong. Judgement."""


FOLLOWED_WITHIN = timedelta(days=3)
"""No notice of a round is sent later than this."""


class RoundTables(ForecastTables):
    """The part of the ledger about rounds, chores, plants and marks."""

    # -- rounds and chores

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
        usable: bool = True,
    ) -> None:
        """Write a round with its notices, chores and plant states, in one transaction.

        states holds now; after holds once somebody has been told: from the first notice of the
        round that is sent. usable: whether there was a forecast to go by.
        """
        with self.transaction():
            self._insert_round(site, round_, day, at, after or {}, usable=usable)
            for notice in notices:
                self._insert_notice(notice)
            for chore in chores:
                self._write_chore(site, round_, chore)
            self._write_states(site, states)

    def keep_change(
        self,
        site: str,
        round_: str,
        change: str,
        day: date,
        at: datetime,
        *,
        notices: Sequence[Notice],
        chores: Sequence[dict[str, Any]],
        called_off: Sequence[str],
        after: Mapping[str, PlantState],
        instead_of: Sequence[str] = (),
    ) -> None:
        """Write what has changed about a round, in one transaction.

        change: the name under which it is a round of its own. chores: as they are from now on.
        called_off: ids of those that are not needed any more. What was to hold after the round and
        its earlier changes holds no more; `after` does, once a notice of any of them is sent.
        instead_of: keys of notices that wait, and are not to be sent any more.
        """
        with self.transaction():
            self._insert_round(site, change, day, at, after, usable=True)
            self._db.execute(
                "UPDATE round SET after = ?1 WHERE site = ?2 AND day = ?4 AND followed = 0"
                " AND (round = ?3 OR round LIKE ?3 || ' change %')",
                (_as_json(after), site, round_, str(day)),
            )
            for notice in notices:
                self._insert_notice(notice)
            for chore in chores:
                self._write_chore(site, round_, chore)
            self._db.executemany(
                "UPDATE chore SET called_off_at = ? WHERE site = ? AND id = ?",
                [(to_text(at), site, one) for one in called_off],
            )
            self._db.executemany(
                "UPDATE notice SET state = 'not needed' WHERE key = ? AND state = 'waiting'",
                [(one,) for one in instead_of],
            )

    def put_down(
        self,
        site: str,
        at: datetime,
        notices: Sequence[Notice],
        *,
        reminded: Sequence[str] = (),
        passed_on: Sequence[str] = (),
    ) -> None:
        """Write notices about chores that were told before, and that it was done, at once."""
        with self.transaction():
            for notice in notices:
                self._insert_notice(notice)
            for column, chores in (("reminded_at", reminded), ("passed_on_at", passed_on)):
                self._db.executemany(
                    f"UPDATE chore SET {column} = ? WHERE site = ? AND id = ?",
                    [(to_text(at), site, one) for one in chores],
                )

    def _insert_round(
        self,
        site: str,
        round_: str,
        day: date,
        at: datetime,
        after: Mapping[str, PlantState],
        *,
        usable: bool,
    ) -> None:
        self._db.execute(
            "INSERT INTO round (site, round, day, at, after, usable) VALUES (?, ?, ?, ?, ?, ?)",
            (site, round_, str(day), to_text(at), _as_json(after), int(usable)),
        )

    def _write_chore(self, site: str, round_: str, chore: Mapping[str, Any]) -> None:
        """Write a chore. What was done stays done unless there is now more to do."""
        rows = self._db.execute(
            "SELECT * FROM chore WHERE site = ? AND id = ?", (site, chore["id"])
        ).fetchall()
        done_at = reminded_at = passed_on_at = None
        if rows and set(chore["plants"]) <= set(chore_of(rows[0]).document["plants"]):
            done_at = rows[0]["done_at"]
            if rows[0]["before"] == iso_to_text(chore["before"]):  # nobody is reminded twice of it
                reminded_at, passed_on_at = rows[0]["reminded_at"], rows[0]["passed_on_at"]
        self._replace(
            "chore",
            {
                "site": site,
                "id": chore["id"],
                "kind": chore["chore"],
                "before": iso_to_text(chore["before"]),
                "document": json.dumps(chore),
                "done_at": done_at,
                "round": round_,
                "reminded_at": reminded_at,
                "passed_on_at": passed_on_at,
            },
        )

    def _insert_notice(self, notice: Notice) -> None:
        """Write a notice, unless it has been put down before: its key is its intent."""
        values = [plain(getattr(notice, field.name)) for field in fields(Notice)]
        marks = ", ".join("?" * len(values))
        names = ", ".join(field.name for field in fields(Notice))
        self._db.execute(
            f"INSERT INTO notice ({names}) VALUES ({marks}) ON CONFLICT (key) DO NOTHING", values
        )

    def chores(self, site: str, since: datetime) -> list[StoredChore]:
        """Chores whose deadline is not before `since`, by deadline."""
        rows = self._rows(
            "SELECT * FROM chore WHERE site = ? AND before >= ? ORDER BY before, id",
            site,
            to_text(since),
        )
        return [chore_of(row) for row in rows]

    def chores_of(self, site: str, day: date) -> list[StoredChore]:
        """The chores of a local date, by deadline."""
        rows = self._rows(
            "SELECT * FROM chore WHERE site = ? AND id >= ? AND id < ? ORDER BY before, id",
            site,
            str(day),  # with which ids begin
            str(day + timedelta(days=1)),
        )
        return [chore_of(row) for row in rows]

    def acknowledged(self, site: str, since: date) -> bool:
        """Whether any chore of a day, or of one after it, has been acknowledged."""
        return bool(
            self._rows(
                "SELECT 1 FROM chore WHERE site = ? AND id >= ? AND done_at IS NOT NULL LIMIT 1",
                site,
                str(since),
            )
        )

    def changes(self, site: str, round_: str, day: date) -> int:
        """How often a round has been changed since it was told."""
        return len(
            self._rows(
                "SELECT 1 FROM round WHERE site = ? AND day = ? AND round LIKE ?",
                site,
                str(day),
                f"{round_} change %",
            )
        )

    def disown(self, site: str, now: datetime) -> int:
        """Forget rounds of a site that a clock far ahead has told. Return how many.

        They are told when their day comes; what was sent of them stays known under another key,
        what they asked for is not asked for.
        """
        with self.transaction():
            rows = self._db.execute(
                "DELETE FROM round WHERE site = ? AND at > ? RETURNING round, day, at",
                (site, to_text(now + AHEAD)),
            ).fetchall()
            for row in rows:
                self._db.execute(
                    "UPDATE notice SET key = key || ' told ' || ?, round = round || ' too soon',"
                    " state = CASE state WHEN 'sent' THEN 'sent' ELSE 'not needed' END"
                    " WHERE site = ? AND day = ? AND round = ?",
                    (row["at"], site, row["day"], row["round"]),
                )
                self._db.execute(
                    "DELETE FROM chore WHERE site = ? AND round = ? AND done_at IS NULL"
                    " AND id >= ?",
                    (site, row["round"], row["day"]),
                )
        return len(rows)

    def prune(self, now: datetime) -> None:
        """Forget what is too long ago to matter to anybody."""
        oldest = now - timedelta(days=KEPT_DAYS)
        with self.transaction():
            for table in ("round", "notice"):
                self._db.execute(f"DELETE FROM {table} WHERE day < ?", (str(oldest.date()),))
            self._db.execute("DELETE FROM chore WHERE before < ?", (to_text(oldest),))
            self._db.execute("DELETE FROM answer WHERE at < ?", (to_text(oldest),))
            self._db.execute("DELETE FROM event WHERE id < ?", (str(oldest.date()),))
            # The longest part of a row, and of use until its notices are sent or given up.
            self._db.execute(
                "UPDATE round SET after = '{}' WHERE day < ? AND after != '{}'",
                (str((now - FOLLOWED_WITHIN).date()),),
            )

    def life(self, site: str, since: date) -> Life:
        """How it went since a day: rounds at dusk, and what became of notices."""
        (rounds,) = self._rows(
            "SELECT COUNT(*) AS told, COALESCE(SUM(usable), 0) AS usable FROM round"
            " WHERE site = ? AND round = 'dusk' AND day >= ?",
            site,
            str(since),
        )
        (notices,) = self._rows(
            "SELECT COALESCE(SUM(state = 'sent'), 0) AS sent,"
            " COALESCE(SUM(state = 'expired'), 0) AS lost FROM notice"
            " WHERE site = ? AND day >= ?",
            site,
            str(since),
        )
        return Life(rounds["told"], rounds["usable"], notices["sent"], notices["lost"])

    # -- plants

    def states_after(self, site: str, round_: str, day: date) -> dict[str, PlantState]:
        """What is to be known of each plant once a round, or its last change, has been sent."""
        rows = self._rows(
            "SELECT at, after FROM round WHERE site = ?1 AND day = ?3 AND followed = 0"
            " AND (round = ?2 OR round LIKE ?2 || ' change %') ORDER BY at DESC LIMIT 1",
            site,
            round_,
            str(day),
        )
        states = self.states(site)
        for row in rows:
            states |= self._followed(site, row["at"], json.loads(row["after"]))
        return states

    def _follow(self, site: str, told_at: str, after: Mapping[str, Any]) -> None:
        """Write the state after a round."""
        self._write_states(site, self._followed(site, told_at, after))

    def _followed(self, site: str, told_at: str, after: Mapping[str, Any]) -> dict[str, PlantState]:
        """The state after a round, without what was acknowledged since it was told."""
        known = {
            row["plant"]
            for row in self._rows(
                "SELECT plant FROM plant_state WHERE site = ? AND assumed = 0 AND since > ?",
                site,
                told_at,
            )
        }
        return {plant: state_of(values) for plant, values in after.items() if plant not in known}

    def states(self, site: str) -> dict[str, PlantState]:
        """What is known of each plant."""
        rows = self._rows("SELECT * FROM plant_state WHERE site = ?", site)
        return {row["plant"]: state_of(row) for row in rows}

    def _write_states(self, site: str, states: Mapping[str, PlantState]) -> None:
        for plant, state in states.items():
            values = [plain(getattr(state, field.name)) for field in fields(PlantState)]
            self._db.execute(
                "INSERT OR REPLACE INTO plant_state VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                (site, plant, *values),
            )

    # -- the calendar

    def chores_as_stored(self, site: str, since: datetime) -> list[tuple[object, ...]]:
        """All that a calendar shows of these chores, unread: a cheap way to see a change."""
        return [
            tuple(row)
            for row in self._rows(
                "SELECT id, round, document, done_at, called_off_at FROM chore"
                " WHERE site = ? AND before >= ? ORDER BY id",
                site,
                to_text(since),
            )
        ]

    def versions(
        self, site: str, digests: Mapping[str, str], now: datetime
    ) -> dict[str, EventVersion]:
        """The version of each event of the calendar; a new one where its content is another.

        digests: of the content of each event, by the id of its chore. Nothing is written while
        all is as it was.
        """
        known = self._events(site)
        if any(known[one]["digest"] != digests[one] for one in digests.keys() & known.keys()) or (
            digests.keys() - known.keys()
        ):
            with self.transaction():
                self._db.executemany(
                    "INSERT INTO event (site, id, digest, sequence, changed_at)"
                    " VALUES (?, ?, ?, 0, ?) ON CONFLICT (site, id) DO UPDATE SET"
                    " digest = excluded.digest, sequence = sequence + 1,"
                    " changed_at = MAX(changed_at, excluded.changed_at)"  # clocks are set back
                    " WHERE digest != excluded.digest",
                    [(site, one, digest, to_text(now)) for one, digest in digests.items()],
                )
            known = self._events(site)
        return {
            one: EventVersion(known[one]["sequence"], to_moment(known[one]["changed_at"]))
            for one in digests
        }

    def _events(self, site: str) -> dict[str, sqlite3.Row]:
        return {row["id"]: row for row in self._rows("SELECT * FROM event WHERE site = ?", site)}

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

    def mark_of(self, name: str) -> Mark | None:
        """The mark of this name; None if there is none."""
        rows = self._rows("SELECT * FROM mark WHERE name = ?", name)
        return Mark(name, to_moment(rows[0]["at"]), rows[0]["text"]) if rows else None

    def marks(self) -> dict[str, Mark]:
        """All marks by name."""
        rows = self._rows("SELECT * FROM mark")
        return {row["name"]: Mark(row["name"], to_moment(row["at"]), row["text"]) for row in rows}


def _as_json(states: Mapping[str, PlantState]) -> str:
    return json.dumps(
        {
            plant: {field.name: plain(getattr(state, field.name)) for field in fields(state)}
            for plant, state in states.items()
        }
    )
