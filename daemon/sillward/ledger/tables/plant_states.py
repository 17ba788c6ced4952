"""The states of the plants: where each stands, since when, and when it was last misted and fed."""

from collections.abc import Mapping
from dataclasses import fields
from functools import lru_cache
from operator import itemgetter
from typing import Any

from sillward.ledger.database import Database
from sillward.ledger.records import column_value, state_of
from sillward_rules.plants.state import PlantState


class PlantStateTable:
    """The states of the plants of each site, by name."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def of_site(self, site: str) -> dict[str, PlantState]:
        """Return what is known of each plant of a site."""
        rows = self._database.rows("SELECT * FROM plant_state WHERE site = ?", site)
        return {row["plant"]: _state_of(_values_in(row)) for row in rows}

    def keep(self, site: str, states: Mapping[str, PlantState]) -> None:
        """Write the states of these plants; those of others stay."""
        rows: dict[int, dict[str, object]] = {}  # by state: many plants share one
        for plant, state in states.items():
            if id(state) not in rows:
                rows[id(state)] = {name: column_value(getattr(state, name)) for name in _FIELDS}
            values = rows[id(state)]
            self._database.replace("plant_state", {"site": site, "plant": plant, **values})

    def forget(self, site: str, plant: str) -> None:
        """Forget what is known of a plant."""
        self._database.execute("DELETE FROM plant_state WHERE site = ? AND plant = ?", site, plant)

    def confirmed_since(self, site: str, since: str) -> set[str]:
        """Return the plants whose place has been confirmed since a time (as it is stored)."""
        rows = self._database.rows(
            "SELECT plant FROM plant_state WHERE site = ? AND assumed = 0 AND since > ?",
            site,
            since,
        )
        return {row["plant"] for row in rows}


_FIELDS = tuple(field.name for field in fields(PlantState))
_values_in = itemgetter(*_FIELDS)


# Plants that were told the same have equal rows, and share one state as they did before. A tick
# reads the states of a household several times.
@lru_cache(maxsize=2**9)
def _state_of(values: tuple[Any, ...]) -> PlantState:
    return state_of(dict(zip(_FIELDS, values, strict=True)))
