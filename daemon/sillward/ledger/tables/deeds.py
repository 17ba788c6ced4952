"""The log of deeds: who answered what, and when. Nothing is worked out from it."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sillward.ledger.database import Database, Row
from sillward.ledger.records import to_moment, to_text
from sillward.ledger.tables.row_reader import RowReader


@dataclass(frozen=True, slots=True)
class Deed:
    """Something that a person did.

    Args:
        person: the name of who did it, or None where that is not known.
        what: what was done, in a word or two: "done", "not needed", "later", "moved", ...
        about: what it was done to, as plain values by their names.
    """

    at: datetime
    person: str | None
    what: str
    about: Mapping[str, Any]


class DeedTable:
    """Deeds in the order in which they were done."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._reader = RowReader(_deed_of, "deed", "id")

    def insert(self, site: str, deed: Deed) -> None:
        """Write a deed."""
        self._database.insert(
            "deed",
            {
                "site": site,
                "at": to_text(deed.at),
                "person": deed.person,
                "what": deed.what,
                "about": json.dumps(deed.about),
            },
        )

    def latest(self, site: str, limit: int) -> list[Deed]:
        """Return the last deeds at a site, at most `limit` of them, the last one first."""
        rows = self._database.rows(
            "SELECT * FROM deed WHERE site = ? ORDER BY id DESC LIMIT ?", site, limit
        )
        return self._reader.readable(rows)

    def prune(self, oldest: datetime) -> None:
        """Drop the deeds before a time."""
        own, site = self._database.own_rows()
        self._database.execute(f"DELETE FROM deed WHERE at < ?{own}", to_text(oldest), *site)


def _deed_of(row: Row) -> Deed:
    about = json.loads(row["about"])
    if not isinstance(about, dict):
        raise TypeError(about)
    return Deed(to_moment(row["at"]), row["person"], row["what"], about)
