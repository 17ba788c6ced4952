"""Marks: when something last happened."""

import sqlite3
from datetime import datetime

from sillward.ledger.database import Database
from sillward.ledger.records import Mark, to_moment, to_text


class MarkTable:
    """Moments that are remembered by name, each with a text."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def set(self, name: str, at: datetime, text: str) -> None:
        """Remember the last time that something happened."""
        self._database.execute(
            "INSERT OR REPLACE INTO mark VALUES (?, ?, ?)", name, to_text(at), text
        )

    def remove(self, name: str) -> None:
        """Forget a mark, if it is there."""
        self._database.execute("DELETE FROM mark WHERE name = ?", name)

    def get(self, name: str) -> Mark | None:
        """Return the mark of this name; None if there is none."""
        rows = self._database.rows("SELECT * FROM mark WHERE name = ?", name)
        return _mark_of(rows[0]) if rows else None

    def all(self) -> dict[str, Mark]:
        """Return all marks by name."""
        return {row["name"]: _mark_of(row) for row in self._database.rows("SELECT * FROM mark")}


def _mark_of(row: sqlite3.Row) -> Mark:
    return Mark(row["name"], to_moment(row["at"]), row["text"])
