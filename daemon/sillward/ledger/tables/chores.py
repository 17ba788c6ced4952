"""The chores of the rounds that were enqueued.

A row whose chore cannot be read is logged and left out, so that it costs no other chore its place;
`unreadable` names it.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any

from sillward.ledger.chore_codec import decode, encode, unpacked
from sillward.ledger.database import Database
from sillward.ledger.records import StoredChore, chore_of, to_moment, to_text
from sillward.ledger.tables.confirmations import Answer
from sillward.ledger.tables.row_reader import RowReader
from sillward_rules.chore import Chore, ChoreKind, only


class ChoreTable:
    """Chores by site and id, with what has become of each.

    An id begins with the local date of its round, so that ids are compared with dates.
    """

    def __init__(self, database: Database) -> None:
        self._database = database
        self._reader = RowReader(chore_of, "chore", "id")

    def due_since(self, site: str, since: datetime) -> list[StoredChore]:
        """Return the chores whose deadline is not before a time, by deadline."""
        rows = self._database.rows(
            "SELECT * FROM chore WHERE site = ? AND before >= ? ORDER BY before, id",
            site,
            to_text(since),
        )
        return self._reader.readable(rows)

    def due_before(self, oldest: datetime) -> dict[str, list[StoredChore]]:
        """Return, by site, the chores whose deadline was before a time."""
        found: dict[str, list[StoredChore]] = {}
        own, site = self._database.own_rows()
        rows = self._database.rows(
            f"SELECT * FROM chore WHERE before < ?{own}", to_text(oldest), *site
        )
        for row in rows:
            found.setdefault(row["site"], []).extend(self._reader.readable([row]))
        return found

    def about(self, site: str, plant: str, since: datetime | None = None) -> list[StoredChore]:
        """Return the chores of a plant whose deadline is not before a time, or all that are kept,
        by deadline."""
        rows = self._database.rows(
            "SELECT * FROM chore WHERE site = ? AND before >= ? ORDER BY before, id",
            site,
            "" if since is None else to_text(since),
        )
        named = [row for row in rows if _may_name(row["chore_json"], plant)]
        return [chore for chore in self._reader.readable(named) if plant in chore.plants]

    def of_day(self, site: str, day: date) -> list[StoredChore]:
        """Return the chores of a local date, by deadline."""
        return self.of_days(site, day, day)

    def of_days(self, site: str, first: date, last: date) -> list[StoredChore]:
        """Return the chores of local dates, both included, by deadline."""
        rows = self._database.rows(
            "SELECT * FROM chore WHERE site = ? AND id >= ? AND id < ? ORDER BY before, id",
            site,
            str(first),
            str(last + timedelta(days=1)),
        )
        return self._reader.readable(rows)

    def unreadable(self, site: str, since: datetime) -> dict[str, datetime]:
        """Return the ids of open chores that cannot be read, with their deadlines, by deadline.

        Only deadlines that are not before `since` are looked at.
        """
        rows = self._database.rows(
            "SELECT * FROM chore WHERE site = ? AND before >= ? AND done_at IS NULL"
            " AND called_off_at IS NULL AND declined_at IS NULL ORDER BY before, id",
            site,
            to_text(since),
        )
        return {
            row["id"]: to_moment(row["before"]) for row in rows if not self._reader.can_read(row)
        }

    def any_answered_since(self, site: str, since: date) -> bool:
        """Whether any chore of a day, or of one after it, has been answered."""
        return bool(
            self._database.rows(
                "SELECT 1 FROM chore WHERE site = ? AND id >= ?"
                " AND COALESCE(done_at, declined_at, later_until) IS NOT NULL LIMIT 1",
                site,
                str(since),
            )
        )

    def stored_since(self, site: str, since: datetime) -> list[tuple[object, ...]]:
        """Return the columns that a calendar depends on, not decoded, for a quick comparison."""
        return [
            tuple(row)
            for row in self._database.rows(
                "SELECT id, round, chore_json, done_at, called_off_at, declined_at FROM chore"
                " WHERE site = ? AND before >= ? ORDER BY id",
                site,
                to_text(since),
            )
        ]

    def write(
        self, site: str, round_: str, chore: Chore, *, changed_at: datetime | None = None
    ) -> None:
        """Write a chore of a round.

        One that was done stays done unless plants have joined it. Carrying in at another hour is
        needed again, because the plants are known to be out; what was declined is written only if
        it is needed after all. The row of the answer is kept then, under an id of its own.
        """
        row = self.row(site, chore.id)
        kept: dict[str, object] = {}
        if row is not None:
            plants = _plants_in(row["chore_json"])
            joined = not set(chore.plants) <= plants
            same_hour = row["before"] == to_text(chore.before)
            is_out = chore.kind is ChoreKind.CARRY_IN and not same_hour
            asked_again = row["done_at"] and is_out
            if plants and (row["declined_at"] or asked_again):
                self._set_apart(row)
            elif not joined:
                kept = {name: row[name] for name in ("done_at", "done_by")}
                if same_hour:  # no second reminder of the same hour
                    kept |= {
                        name: row[name] for name in ("reminded_at", "passed_on_at", "later_until")
                    }
        self._database.replace(
            "chore",
            _columns(chore)
            | {
                "site": site,
                "round": round_,
                "changed_at": None if changed_at is None else to_text(changed_at),
            }
            | kept,
        )

    def _set_apart(self, row: Mapping[str, Any]) -> None:
        """Keep the row of a chore that was answered, under another id."""
        answer = Answer.DONE if row["done_at"] else Answer.NOT_NEEDED
        apart = self._free_id(row["site"], _id_apart(row["id"], answer))
        self._database.replace(
            "chore", {**row, **_columns(replace(decode(row["chore_json"]), id=apart))}
        )

    def call_off(self, site: str, ids: Sequence[str], at: datetime) -> None:
        """Mark chores as not needed any more."""
        self._mark("called_off_at", site, ids, at)

    def mark_reminded(self, site: str, ids: Sequence[str], at: datetime) -> None:
        """Note that a reminder of these chores was enqueued."""
        self._mark("reminded_at", site, ids, at)

    def mark_passed_on(self, site: str, ids: Sequence[str], at: datetime) -> None:
        """Note that these chores were passed on to another channel."""
        self._mark("passed_on_at", site, ids, at)

    def _mark(self, column: str, site: str, ids: Sequence[str], at: datetime) -> None:
        self._database.execute_each(
            f"UPDATE chore SET {column} = ? WHERE site = ? AND id = ?",
            [(to_text(at), site, chore_id) for chore_id in ids],
        )

    # -- answered, for all plants or for some

    def row(self, site: str, chore_id: str) -> dict[str, Any] | None:
        """Return the columns of a chore as they are stored; None if it is not there."""
        rows = self._database.rows("SELECT * FROM chore WHERE site = ? AND id = ?", site, chore_id)
        return dict(rows[0]) if rows else None

    def get(self, site: str, chore_id: str) -> StoredChore | None:
        """Return a chore; None if it is not there, or cannot be read."""
        rows = self._database.rows("SELECT * FROM chore WHERE site = ? AND id = ?", site, chore_id)
        return next(iter(self._reader.readable(rows)), None)

    def close(
        self,
        row: Mapping[str, Any],
        answer: Answer,
        at: datetime,
        plants: Sequence[str] | None,
        person: str | None = None,
    ) -> str | None:
        """Mark a chore as done, or as not needed, for some of its plants, or for all with None.

        What is closed for some plants becomes a chore of its own, whose id is returned; the rest
        stays open.
        """
        whole = decode(row["chore_json"])
        rest = [] if plants is None else [name for name in whole.plants if name not in plants]
        closed = {
            **row,
            "done_at": None if answer is Answer.NOT_NEEDED else to_text(at),
            "declined_at": to_text(at) if answer is Answer.NOT_NEEDED else None,
            "done_by": person,
        }
        if plants is None or not rest:
            self._database.replace("chore", closed)
            return None
        apart = self._free_id(row["site"], _id_apart(whole.id, answer))
        part = replace(only(whole, plants), id=apart)
        self._database.replace("chore", {**row, **_columns(only(whole, rest))})
        self._database.replace("chore", {**closed, **_columns(part)})
        return part.id

    def put_off(self, site: str, chore_id: str, until: datetime) -> None:
        """Note until when the grower has put a chore off."""
        self._mark("later_until", site, [chore_id], until)

    def _free_id(self, site: str, base: str) -> str:
        free, number = base, 1
        while self.row(site, free) is not None:
            number += 1
            free = f"{base}-{number}"
        return free

    def reopen(
        self, before: Mapping[str, Any], part: str | None, answer: Answer, at: datetime
    ) -> None:
        """Open a chore again, as it was before it was confirmed or declined at a time.

        If the rest of the chore has been changed since, only the part is opened again.

        Args:
            before: the row of the chore before the answer.
            part: the id of the chore that `close` made of it, or None if it made none.
        """
        site = before["site"]
        if part is not None:
            closed, rest = self.row(site, part), self.row(site, before["id"])
            if rest is not None and closed is not None and _is_rest(rest, closed, before):
                whole = decode(before["chore_json"])
                reopened = replace(
                    decode(rest["chore_json"]), plants=whole.plants, grounds=whole.grounds
                )
                self._database.replace("chore", {**rest, **_columns(reopened)})
                self._database.execute("DELETE FROM chore WHERE site = ? AND id = ?", site, part)
                return
        closed_at = "declined_at" if answer is Answer.NOT_NEEDED else "done_at"
        own_id, apart = part or before["id"], _id_apart(before["id"], answer)
        # If it was told again since, its answer is kept under an id that begins with its own.
        rows = self._database.rows(
            f"SELECT * FROM chore WHERE site = ? AND {closed_at} = ?"
            " AND (id = ? OR substr(id, 1, ?) = ?) ORDER BY CASE WHEN id = ? THEN 0 ELSE 1 END",
            site,
            to_text(at),
            own_id,
            len(apart),
            apart,
            own_id,
        )
        if rows:
            self._open_again(dict(rows[0]), before)

    def _open_again(self, row: Mapping[str, Any], before: Mapping[str, Any]) -> None:
        """Open a chore again for the plants that are not in an open one of its day and kind."""
        chore = decode(row["chore_json"])
        open_now = {
            name
            for other in self.of_day(row["site"], date.fromisoformat(chore.day))
            if other.open and other.kind is chore.kind
            for name in other.plants
        }
        left = [name for name in chore.plants if name not in open_now]
        if not left:
            self._database.execute(
                "DELETE FROM chore WHERE site = ? AND id = ?", row["site"], row["id"]
            )
            return
        answers = {name: before.get(name) for name in ("done_at", "declined_at", "done_by")}
        part = {} if len(left) == len(chore.plants) else _columns(only(chore, left))
        self._database.replace("chore", {**row, **part, **answers})

    def restore_hour(self, before: Mapping[str, Any]) -> None:
        """Put a chore off no longer than it was before; a reminder is due again."""
        self._database.execute(
            "UPDATE chore SET later_until = ?, reminded_at = ? WHERE site = ? AND id = ?",
            before.get("later_until"),
            before["reminded_at"],
            before["site"],
            before["id"],
        )

    # -- forgotten

    def remove_of_round(self, site: str, round_: str, first_day: str) -> None:
        """Remove the chores of a round, on a day and after it, that are not confirmed."""
        self._database.execute(
            "DELETE FROM chore WHERE site = ? AND round = ? AND done_at IS NULL"
            " AND declined_at IS NULL AND id >= ?",
            site,
            round_,
            first_day,
        )

    def prune(self, oldest: datetime) -> None:
        """Drop the chores whose deadline was before a time."""
        own, site = self._database.own_rows()
        self._database.execute(f"DELETE FROM chore WHERE before < ?{own}", to_text(oldest), *site)


def _id_apart(chore_id: str, answer: Answer) -> str:
    """Return the id under which an answer is kept beside the chore that it was about."""
    return f"{chore_id}-not-needed" if answer is Answer.NOT_NEEDED else f"{chore_id}-done"


def _may_name(chore_json: str, plant: str) -> bool:
    """Whether a stored chore has a plant's name in it, or cannot be read: quicker than to decode
    it."""
    try:
        return json.dumps(plant, ensure_ascii=False) in unpacked(
            chore_json
        )  # as `encode` writes it
    except ValueError:
        return True


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
    """Whether a chore is what was left when a part of it was done, and unchanged since."""
    of_rest, of_done, of_whole = (
        list(decode(row["chore_json"]).plants) for row in (rest, done, whole)
    )
    kept = ("before", "done_at", "called_off_at", "declined_at")
    same = all(rest[key] == whole.get(key) for key in kept)
    return same and sorted(of_rest + of_done) == sorted(of_whole)
