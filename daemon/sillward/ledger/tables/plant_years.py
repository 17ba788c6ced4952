"""How often each plant was given what in each year: the water and feed that somebody confirmed.

Chores are forgotten after some weeks. Before that they are counted here, so that a plant's years
can still be told; what has not been forgotten yet is counted from the chores themselves.
"""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from sillward.ledger.database import Database
from sillward.ledger.records import StoredChore
from sillward_rules.chore import WETTINGS


@dataclass(frozen=True, slots=True, order=True)
class Given:
    """What a plant was given in a year.

    kind, what: of the chores, as they are spelled in the ledger; what is the name of the feed.
    """

    year: int
    kind: str
    what: str
    count: int


class PlantYearTable:
    """Counts by plant and year."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def count(self, site: str, chores: Iterable[StoredChore]) -> None:
        """Count chores that are about to be forgotten, those with water that were done."""
        counts: Counter[tuple[str, int, str, str]] = Counter()
        for chore in chores:
            for given in given_by(chore):
                counts.update((plant, given.year, given.kind, given.what) for plant in chore.plants)
        self._database.execute_each(
            "INSERT INTO plant_year (site, plant, year, kind, what, count)"
            " VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT (site, plant, year, kind, what)"
            " DO UPDATE SET count = plant_year.count + excluded.count",
            [(site, *key, count) for key, count in counts.items()],
        )

    def of_plant(self, site: str, plant: str) -> list[Given]:
        """Return what a plant was given by chores that are forgotten, by year."""
        rows = self._database.rows(
            "SELECT year, kind, what, count FROM plant_year WHERE site = ? AND plant = ?"
            " ORDER BY year, kind, what",
            site,
            plant,
        )
        return [Given(*row) for row in rows]


def given_by(chore: StoredChore) -> list[Given]:
    """Return what each plant of a chore was given by it: nothing if nobody confirmed it."""
    if chore.done_at is None or chore.kind not in WETTINGS:
        return []
    return [Given(int(chore.day[:4]), chore.kind.value, chore.chore.what, 1)]
