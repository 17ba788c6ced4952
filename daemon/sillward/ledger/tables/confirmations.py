"""What the grower answered, and how to undo it."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Any

from sillward.ledger.database import Database, Row
from sillward.ledger.records import to_moment, to_text


class Answer(StrEnum):
    """What a grower may say of a chore, or of a plant."""

    DONE = "done"
    NOT_NEEDED = "not needed"
    LATER = "later"
    MOVED = "moved"


@dataclass(frozen=True, slots=True)
class Confirmation:
    """One answer, about one or more chores by their ids, or about a plant that was moved."""

    id: int
    at: datetime
    chores: tuple[str, ...]
    undo: Mapping[str, Any]
    """The rows of its chores as they were (`chores`), the ids of parts that were made of them
    (`made`), the states of its plants `before` and `after` it, and what the answer was (`what`)."""
    person: str | None = None

    @property
    def answer(self) -> Answer:
        """What was answered."""
        return Answer(self.undo.get("what", Answer.DONE))  # older ones do not say

    @property
    def subjects(self) -> set[str]:
        """The ids of its chores, and of the parts that were made of them."""
        return {*self.chores, *self.undo["made"].values()}

    @property
    def plants(self) -> tuple[str, ...]:
        """The plants whose states it changed."""
        return tuple(self.undo["after"])


class ConfirmationTable:
    """Answers in the order in which they were given."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def insert(
        self, site: str, at: datetime, undo: Mapping[str, Any], person: str | None = None
    ) -> None:
        """Write an answer with what is needed to undo it.

        Its number is no other's, not even of one that was taken back: a page that was drawn before
        may still have that. Each answer, and each taking back, is followed by a deed.
        """
        written: dict[str, object] = {
            "site": site,
            "at": to_text(at),
            "undo": json.dumps(undo),
            "person": person,
        }
        if self._database.reuses_numbers:
            highest = (
                self._database.rows(f"SELECT COALESCE(MAX(id), 0) FROM {table}")[0][0]
                for table in ("confirmation", "deed")
            )
            written["id"] = 1 + max(highest)
        self._database.insert("confirmation", written)

    def last(self, site: str, about: str | None = None) -> Confirmation | None:
        """Return the last answer; None if there is none.

        about: the id of a chore, or a plant, for the last answer about that chore or about a move
            of that plant; or, if it is neither, a part of the id of a chore.
        """
        rows = self._database.rows(
            "SELECT * FROM confirmation WHERE site = ? ORDER BY id DESC", site
        )
        near = None
        for found in map(_confirmation, rows):
            is_moved = found.answer is Answer.MOVED and about in found.plants
            if about is None or is_moved or about in found.subjects:
                return found
            if near is None and any(about in chore_id for chore_id in found.chores):
                near = found
        return near

    def get(self, site: str, number: int) -> Confirmation | None:
        """Return an answer; None if there is none of that number, as when it was taken back."""
        rows = self._database.rows(
            "SELECT * FROM confirmation WHERE site = ? AND id = ?", site, number
        )
        return next(map(_confirmation, rows), None)

    def last_by_chore(self, site: str, since: datetime) -> dict[str, int]:
        """Return the number of the last answer about each chore, of those since a time."""
        rows = self._database.rows(
            "SELECT * FROM confirmation WHERE site = ? AND at >= ? ORDER BY id",
            site,
            to_text(since),
        )
        return {chore: found.id for found in map(_confirmation, rows) for chore in found.subjects}

    def remove(self, confirmation: Confirmation) -> None:
        """Forget an answer."""
        self._database.execute("DELETE FROM confirmation WHERE id = ?", confirmation.id)

    def prune(self, oldest: datetime) -> None:
        """Drop the answers before a time."""
        own, site = self._database.own_rows()
        self._database.execute(
            f"DELETE FROM confirmation WHERE at < ?{own}", to_text(oldest), *site
        )


def _confirmation(row: Row) -> Confirmation:
    undo = json.loads(row["undo"])
    chores = tuple(chore["id"] for chore in undo["chores"])
    return Confirmation(row["id"], to_moment(row["at"]), chores, undo, row["person"])
