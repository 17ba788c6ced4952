"""The coldest night of each plant in each year, kept for good: neither the chores that say where it
stood nor readings are kept so long."""

import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from sillward.ledger.database import Database, Row
from sillward.ledger.tables.row_reader import RowReader


@dataclass(frozen=True, slots=True)
class ColdNight:
    """A night of a plant: the lowest temperature where it stood [°C], and its limit [°C].

    night: the date of its evening.
    is_read: whether a thermometer showed it; else it was expected.
    spots: where it stood, or one of these; empty if that is not kept. is_known: whether anybody has
    said or told where it was; else it is taken to have been at its home.
    """

    night: date
    low_c: float
    is_read: bool
    limit_c: float | None
    spots: tuple[str, ...] = ()
    is_known: bool = True


class ColdestNightTable:
    """One night for each plant and year."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._reader = RowReader(_night_of, "coldest_night", "plant")

    def keep(self, site: str, nights: Mapping[str, Iterable[ColdNight]]) -> None:
        """Write the nights of some plants, one for each year, in place of those that were kept."""
        if nights:
            with self._database.transaction():
                for plant, of_plant in nights.items():
                    self._keep_of(site, plant, of_plant)

    def _keep_of(self, site: str, plant: str, nights: Iterable[ColdNight]) -> None:
        rows = [
            (
                site,
                plant,
                night.night.year,
                str(night.night),
                night.low_c,
                night.is_read,
                night.limit_c,
                json.dumps(night.spots),
                night.is_known,
            )
            for night in nights
        ]
        self._database.execute(
            "DELETE FROM coldest_night WHERE site = ? AND plant = ?", site, plant
        )
        self._database.execute_each(
            "INSERT INTO coldest_night VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)", rows
        )

    def of_plant(self, site: str, plant: str) -> list[ColdNight]:
        """Return the coldest nights of a plant, in order."""
        rows = self._database.rows(
            "SELECT * FROM coldest_night WHERE site = ? AND plant = ? ORDER BY year", site, plant
        )
        return self._reader.readable(rows)


def _night_of(row: Row) -> ColdNight:
    if not math.isfinite(row["low"]):
        raise ValueError
    return ColdNight(
        date.fromisoformat(row["night"]),
        row["low"],
        bool(row["read"]),
        row["limit_c"],
        tuple(map(str, json.loads(row["spots"]))),
        bool(row["known"]),
    )
