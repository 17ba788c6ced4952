"""What the grower confirmed, and how to undo it."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sillward.ledger.database import Database
from sillward.ledger.records import to_moment, to_text


@dataclass(frozen=True, slots=True)
class Confirmation:
    """One confirmation, of one or more chores by their ids."""

    id: int
    at: datetime
    chores: tuple[str, ...]
    undo: Mapping[str, Any]
    """The rows of its chores as they were (`chores`), the ids of parts that were made of them
    (`made`), and the states of its plants `before` and `after` it."""


class ConfirmationTable:
    """Confirmations in the order in which they were made."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def insert(self, site: str, at: datetime, undo: Mapping[str, Any]) -> None:
        """Write a confirmation with what is needed to undo it."""
        self._database.insert(
            "confirmation", {"site": site, "at": to_text(at), "undo": json.dumps(undo)}
        )

    def last(self, site: str, about: str | None = None) -> Confirmation | None:
        """Return the last confirmation, or the last of a chore whose id contains `about`."""
        rows = self._database.rows(
            "SELECT * FROM confirmation WHERE site = ? ORDER BY id DESC", site
        )
        for row in rows:
            undo = json.loads(row["undo"])
            chores = tuple(chore["id"] for chore in undo["chores"])
            if about is None or any(about in chore_id for chore_id in chores):
                return Confirmation(row["id"], to_moment(row["at"]), chores, undo)
        return None

    def remove(self, confirmation: Confirmation) -> None:
        """Forget a confirmation."""
        self._database.execute("DELETE FROM confirmation WHERE id = ?", confirmation.id)

    def prune(self, oldest: datetime) -> None:
        """Drop the confirmations before a time."""
        self._database.execute("DELETE FROM confirmation WHERE at < ?", to_text(oldest))
