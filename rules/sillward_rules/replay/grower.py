"""The grower of a replay: does each chore at its hour and says so, or is away and does nothing.

Where plants really stand follows from that alone; what the tool believes of them is its own.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime

import numpy as np

from sillward_rules.plants.collection import Collection


@dataclass(frozen=True, slots=True, eq=False)
class Step:
    """Plants that were carried to a spot: when [unix s], which (plant,), and its column."""

    at: float
    plants: np.ndarray
    column: int


@dataclass(slots=True)
class Places:
    """Where plants really stand. Arrays are (plant,), in the order of the collection.

    - column: the spot column of each now.
    - at_start: the same when the night began, and steps: what has changed since.
    """

    index: dict[str, int]
    column: np.ndarray
    at_start: np.ndarray
    steps: list[Step] = field(default_factory=list)

    @classmethod
    def at_home(cls, collection: Collection) -> "Places":
        """Return the places of plants that all stand at home."""
        columns = {spot.name: number for number, spot in enumerate(collection.spots)}
        home = np.array([columns[plant.home] for plant in collection.plants], dtype=np.int64)
        index = {plant.name: number for number, plant in enumerate(collection.plants)}
        return cls(index, home, home.copy())

    def rows(self, names: Iterable[str]) -> np.ndarray:
        """Return the positions of plants."""
        index = self.index
        return np.array([index[name] for name in names], dtype=np.int64)

    def carry(self, names: Iterable[str], column: int, at: datetime) -> np.ndarray:
        """Carry plants to a spot; return the positions of those that were elsewhere."""
        rows = self.rows(names)
        moved: np.ndarray = rows[self.column[rows] != column]
        if moved.size:
            self.column[moved] = column
            self.steps.append(Step(at.timestamp(), moved, column))
        return moved

    def begin_night(self) -> None:
        """Forget what has changed: a night begins."""
        self.at_start = self.column.copy()
        self.steps = []
