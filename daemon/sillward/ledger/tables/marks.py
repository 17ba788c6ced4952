"""Named moments: when something last happened, or when a state began that lasts."""

from datetime import datetime

from sillward.ledger.database import Database, Row
from sillward.ledger.records import Mark, to_moment, to_text


class MarkTable:
    """Moments by their names, each with a text; see `Mark`."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def set(self, name: str, at: datetime, text: str) -> None:
        """Set the moment of this name, in place of an earlier one."""
        self._database.replace("mark", {"name": name, "at": to_text(at), "text": text})

    def remove(self, name: str) -> None:
        """Remove the moment of this name, if there is one."""
        self._database.execute("DELETE FROM mark WHERE name = ?", name)

    def get(self, name: str) -> Mark | None:
        """Return the moment of this name; None if there is none."""
        rows = self._database.rows("SELECT * FROM mark WHERE name = ?", name)
        return _mark_of(rows[0]) if rows else None

    def all(self) -> dict[str, Mark]:
        """Return all moments by name."""
        return {row["name"]: _mark_of(row) for row in self._database.rows("SELECT * FROM mark")}


def _mark_of(row: Row) -> Mark:
    return Mark(row["name"], to_moment(row["at"]), row["text"])
