"""Limits that the grower has accepted, in place of those that the collection gives."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sillward.ledger.database import Database, Row
from sillward.ledger.records import to_moment, to_text
from sillward.ledger.tables.row_reader import RowReader


@dataclass(frozen=True, slots=True)
class AcceptedLimit:
    """One limit of one plant.

    Args:
        name: the limit, by its name in `Limits`; value in its unit.
        replaced: the value that the collection gave then. While it gives another one, that counts.
        person: who accepted it; None if that is not known.
        because: what it was proposed for, in a few words.
    """

    plant: str
    name: str
    value: float
    replaced: float
    accepted_at: datetime
    person: str | None
    because: str


class AcceptedLimitTable:
    """The accepted limits of each site, by plant and name."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._reader = RowReader(_limit_of, "accepted_limit", "plant")

    def keep(self, site: str, limits: Sequence[AcceptedLimit]) -> None:
        """Write limits, each in place of an earlier one of the plant of this name."""
        self._database.replace_each(
            "accepted_limit",
            [
                (
                    site,
                    limit.plant,
                    limit.name,
                    limit.value,
                    limit.replaced,
                    to_text(limit.accepted_at),
                    limit.person,
                    limit.because,
                )
                for limit in limits
            ],
        )

    def of_site(self, site: str) -> list[AcceptedLimit]:
        """Return the accepted limits of all plants, also of those that are gone."""
        rows = self._database.rows(
            "SELECT * FROM accepted_limit WHERE site = ? ORDER BY plant, name", site
        )
        return self._reader.readable(rows)

    def remove(self, site: str, plant: str) -> int:
        """Remove those of a plant: what the collection gives counts again. Return how many."""
        return self._database.execute(
            "DELETE FROM accepted_limit WHERE site = ? AND plant = ?", site, plant
        )


def _limit_of(row: Row) -> AcceptedLimit:
    if not (math.isfinite(row["value"]) and math.isfinite(row["replaced"])):
        raise ValueError
    return AcceptedLimit(
        row["plant"],
        row["name"],
        row["value"],
        row["replaced"],
        to_moment(row["accepted_at"]),
        row["person"],
        row["because"],
    )
