"""The chores that were told.

A row whose chore cannot be read is logged and left out, so that it costs no other chore its place;
`unreadable` names it.
"""

import logging
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from sqlite3 import Row
from typing import Any

from sillward.ledger.chore_codec import decode, encode
from sillward.ledger.database import Database
from sillward.ledger.records import StoredChore, chore_of, to_moment, to_text
from sillward_rules.chore import Chore
from sillward_rules.revision import only

log = logging.getLogger(__name__)


class ChoreTable:
    """Chores by site and id, with what has become of each."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._logged: set[tuple[str, str]] = set()
        """Site and id of the unreadable chores that have been logged: once is enough."""

    def due_since(self, site: str, since: datetime) -> list[StoredChore]:
        """Return the chores whose deadline is not before a time, by deadline."""
        rows = self._database.rows(
            "SELECT * FROM chore WHERE site = ? AND before >= ? ORDER BY before, id",
            site,
            to_text(since),
        )
        return self._readable(rows)

    def of_day(self, site: str, day: date) -> list[StoredChore]:
        """Return the chores of a local date, by deadline."""
        rows = self._database.rows(
            "SELECT * FROM chore WHERE site = ? AND id >= ? AND id < ? ORDER BY before, id",
            site,
            str(day),  # with which ids begin
            str(day + timedelta(days=1)),
        )
        return self._readable(rows)

    def unreadable(self, site: str, since: datetime) -> dict[str, datetime]:
        """Return the ids of open chores that cannot be read, with their deadlines, by deadline.

        Only deadlines that are not before `since` are looked at.
        """
        rows = self._database.rows(
            "SELECT * FROM chore WHERE site = ? AND before >= ? AND done_at IS NULL"
            " AND called_off_at IS NULL ORDER BY before, id",
            site,
            to_text(since),
        )
        return {row["id"]: to_moment(row["before"]) for row in rows if _chore_or_none(row) is None}

    def _readable(self, rows: Iterable[Row]) -> list[StoredChore]:
        """Return the chores of these rows, without those that cannot be read."""
        chores = []
        for row in rows:
            chore = _chore_or_none(row)
            if chore is not None:
                chores.append(chore)
            elif (row["site"], row["id"]) not in self._logged:
                self._logged.add((row["site"], row["id"]))
                log.error("ledger.unreadable_chore site=%s id=%s", row["site"], row["id"])
        return chores

    def any_confirmed_since(self, site: str, since: date) -> bool:
        """Whether any chore of a day, or of one after it, has been confirmed."""
        return bool(
            self._database.rows(
                "SELECT 1 FROM chore WHERE site = ? AND id >= ? AND done_at IS NOT NULL LIMIT 1",
                site,
                str(since),
            )
        )

    def stored_since(self, site: str, since: datetime) -> list[tuple[object, ...]]:
        """Return all that a calendar shows of these chores, unread: a cheap way to see a change."""
        return [
            tuple(row)
            for row in self._database.rows(
                "SELECT id, round, chore_json, done_at, called_off_at FROM chore"
                " WHERE site = ? AND before >= ? ORDER BY id",
                site,
                to_text(since),
            )
        ]

    def write(
        self, site: str, round_: str, chore: Chore, *, changed_at: datetime | None = None
    ) -> None:
        """Write a chore of a round. What was done stays done unless there is now more to do."""
        row = self.row(site, chore.id)
        done_at = reminded_at = passed_on_at = None
        if row is not None and set(chore.plants) <= _plants_in(row["chore_json"]):
            done_at = row["done_at"]
            if row["before"] == to_text(chore.before):  # nobody is reminded twice of it
                reminded_at, passed_on_at = row["reminded_at"], row["passed_on_at"]
        self._database.replace(
            "chore",
            _columns(chore)
            | {
                "site": site,
                "done_at": done_at,
                "round": round_,
                "reminded_at": reminded_at,
                "passed_on_at": passed_on_at,
                "changed_at": None if changed_at is None else to_text(changed_at),
            },
        )

    def call_off(self, site: str, ids: Sequence[str], at: datetime) -> None:
        """Mark chores as not needed any more."""
        self._mark("called_off_at", site, ids, at)

    def mark_reminded(self, site: str, ids: Sequence[str], at: datetime) -> None:
        """Note that somebody was reminded of these chores."""
        self._mark("reminded_at", site, ids, at)

    def mark_passed_on(self, site: str, ids: Sequence[str], at: datetime) -> None:
        """Note that somebody else was told of these chores."""
        self._mark("passed_on_at", site, ids, at)

    def _mark(self, column: str, site: str, ids: Sequence[str], at: datetime) -> None:
        self._database.execute_each(
            f"UPDATE chore SET {column} = ? WHERE site = ? AND id = ?",
            [(to_text(at), site, chore_id) for chore_id in ids],
        )

    # -- done, wholly or for some plants

    def row(self, site: str, chore_id: str) -> dict[str, Any] | None:
        """Return the columns of a chore as they are stored; None if it is not there."""
        rows = self._database.rows("SELECT * FROM chore WHERE site = ? AND id = ?", site, chore_id)
        return dict(rows[0]) if rows else None

    def mark_done(
        self, row: Mapping[str, Any], at: datetime, plants: Sequence[str] | None
    ) -> str | None:
        """Mark a chore as done for some of its plants, or (None) for all.

        What is done for some becomes a chore of its own, whose id is returned; the others stay to
        be done.
        """
        whole = decode(row["chore_json"])
        rest = [] if plants is None else [name for name in whole.plants if name not in plants]
        if plants is None or not rest:
            self._database.replace("chore", {**row, "done_at": to_text(at)})
            return None
        part = replace(only(whole, plants), id=self._free_id(row["site"], f"{whole.id}-done"))
        self._database.replace("chore", {**row, **_columns(only(whole, rest))})
        self._database.replace("chore", {**row, **_columns(part), "done_at": to_text(at)})
        return part.id

    def _free_id(self, site: str, base: str) -> str:
        free, number = base, 1
        while self.row(site, free) is not None:
            number += 1
            free = f"{base}-{number}"
        return free

    def reopen(self, before: Mapping[str, Any], part: str | None) -> None:
        """Have a chore open as it was before it was done.

        part: the chore that was made for the plants for which it was done, if it was done for some.
        Where the rest has become another chore since, that part alone is opened again.
        """
        site = before["site"]
        if part is not None:
            done, rest = self.row(site, part), self.row(site, before["id"])
            if rest is not None and done is not None and _is_rest(rest, done, before):
                whole = decode(before["chore_json"])
                reopened = replace(
                    decode(rest["chore_json"]), plants=whole.plants, grounds=whole.grounds
                )
                self._database.replace("chore", {**rest, **_columns(reopened)})
                self._database.execute("DELETE FROM chore WHERE site = ? AND id = ?", site, part)
                return
        self._database.execute(
            "UPDATE chore SET done_at = ? WHERE site = ? AND id = ?",
            before["done_at"],
            site,
            part or before["id"],
        )

    # -- forgotten

    def remove_of_round(self, site: str, round_: str, first_day: str) -> None:
        """Remove what a round asked for on a day and after it, and nobody has done."""
        self._database.execute(
            "DELETE FROM chore WHERE site = ? AND round = ? AND done_at IS NULL AND id >= ?",
            site,
            round_,
            first_day,
        )

    def prune(self, oldest: datetime) -> None:
        """Drop the chores whose deadline was before a time."""
        self._database.execute("DELETE FROM chore WHERE before < ?", to_text(oldest))


def _chore_or_none(row: Row) -> StoredChore | None:
    """Return the chore of a row, or None if it cannot be read."""
    try:
        return chore_of(row)
    except (ValueError, KeyError, TypeError, AttributeError):
        return None


def _plants_in(chore_json: str) -> set[str]:
    """Return the plants of a stored chore; none if it cannot be read."""
    try:
        return set(decode(chore_json).plants)
    except (ValueError, KeyError, TypeError, AttributeError):
        return set()


def _columns(chore: Chore) -> dict[str, object]:
    """The columns that follow from the chore itself."""
    return {
        "id": chore.id,
        "kind": chore.kind.value,
        "before": to_text(chore.before),
        "chore_json": encode(chore),
    }


def _is_rest(rest: Mapping[str, Any], done: Mapping[str, Any], whole: Mapping[str, Any]) -> bool:
    """Whether a chore is what was left of a whole when a part of it was done, and nothing else."""
    of_rest, of_done, of_whole = (
        list(decode(row["chore_json"]).plants) for row in (rest, done, whole)
    )
    same = all(rest[key] == whole[key] for key in ("before", "done_at", "called_off_at"))
    return same and sorted(of_rest + of_done) == sorted(of_whole)
