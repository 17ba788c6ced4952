"""Named moments: when something last happened, or when a state began that lasts."""

from datetime import datetime

from sillward.ledger.database import Database, Row
from sillward.ledger.records import Mark, to_moment, to_text


class MarkTable:
    """Moments by their names, each with a text; see `Mark`.

    Where a database holds those of many households, each has its own: their names begin with that
    of the household there, which has no "/" in it.
    """

    def __init__(self, database: Database) -> None:
        self._database = database

    @property
    def _prefix(self) -> str:
        household = self._database.household
        return "" if household is None else f"{household}/"

    def set(self, name: str, at: datetime, text: str) -> None:
        """Set the moment of this name, in place of an earlier one."""
        self._database.replace("mark", self._values(name, at, text))

    def set_at_once(self, name: str, at: datetime, text: str) -> None:
        """Set it without waiting for what others write."""
        self._database.put("mark", self._values(name, at, text))

    def _values(self, name: str, at: datetime, text: str) -> dict[str, object]:
        return {"name": f"{self._prefix}{name}", "at": to_text(at), "text": text}

    def remove(self, name: str) -> None:
        """Remove the moment of this name, if there is one."""
        self._database.execute("DELETE FROM mark WHERE name = ?", f"{self._prefix}{name}")

    def get(self, name: str) -> Mark | None:
        """Return the moment of this name; None if there is none."""
        rows = self._database.rows("SELECT * FROM mark WHERE name = ?", f"{self._prefix}{name}")
        return self._mark_of(rows[0]) if rows else None

    def all(self) -> dict[str, Mark]:
        """Return all moments by name."""
        prefix = self._prefix
        rows = self._database.rows(
            "SELECT * FROM mark WHERE substr(name, 1, ?) = ?", len(prefix), prefix
        )
        marks = map(self._mark_of, rows)
        return {mark.name: mark for mark in marks}

    def _mark_of(self, row: Row) -> Mark:
        name = row["name"].removeprefix(self._prefix)
        return Mark(name, to_moment(row["at"]), row["text"])
