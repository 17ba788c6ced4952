"""The scene: everything the planners look at, worked out once for a moment."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property

import numpy as np

from sillward_rules import sun
from sillward_rules.climate import Climate, climate_of
from sillward_rules.collection import Collection, PlantState, State
from sillward_rules.plant import Plant
from sillward_rules.rule import Firing, fire
from sillward_rules.weather import Weather

Standing = Sequence[str]
"""The spot at which each cohort stands."""


@dataclass(frozen=True, slots=True)
class Cohort:
    """Plants that are alike in all that planners look at, history included.

    index: its place among the scene's cohorts. plant: the first of them, speaks for all.
    """

    index: int
    plant: Plant
    names: tuple[str, ...]
    state: PlantState


class Scene:
    """Collection, climate and state at a moment. Immutable; derived parts are computed once.

    What is decided is decided by cohort, so the work does not grow with the number of plants
    that are alike.
    """

    def __init__(
        self, collection: Collection, weather: Weather, state: State, now: datetime
    ) -> None:
        self.collection = collection
        self.weather = weather
        self.now = now
        self.site = collection.site
        self.habits = collection.habits
        self.climate: Climate = climate_of(collection.site, collection.spots, weather)
        self.columns = {spot.name: index for index, spot in enumerate(collection.spots)}
        self.spots = {spot.name: spot for spot in collection.spots}
        self.cohorts: tuple[Cohort, ...] = _cohorts(self, state)

    @cached_property
    def plants(self) -> tuple[Plant, ...]:
        """A plant of each cohort."""
        return tuple(cohort.plant for cohort in self.cohorts)

    @cached_property
    def home(self) -> np.ndarray:
        """(cohort,) spot column of each home."""
        return self.columns_of(plant.home for plant in self.plants)

    @cached_property
    def standing(self) -> list[str]:
        """Where each cohort stands now."""
        return [cohort.state.spot for cohort in self.cohorts]

    @cached_property
    def states(self) -> dict[str, PlantState]:
        """The completed state of every plant, by name."""
        return {name: cohort.state for cohort in self.cohorts for name in cohort.names}

    def columns_of(self, spots: Iterable[str]) -> np.ndarray:
        """Spot columns of these spots."""
        return np.array([self.columns[spot] for spot in spots], dtype=np.int64)

    def rules_asking(self, asks: str, columns: np.ndarray) -> list[Firing]:
        """Hold every rule that asks for this chore against the climate at these (cohort,) columns.

        What is told for cold nights leans on wet crowns: there the bound rises for plants that
        rot easily.
        """
        return _fired(self, self.plants, asks, columns)

    @cached_property
    def carry_firings(self) -> list[Firing]:
        """Rules asking for "carry in", where the plants stand, or would stand if let out."""
        places = [
            cohort.plant.home if self.covers(cohort.plant, cohort.state.spot) else cohort.state.spot
            for cohort in self.cohorts
        ]
        return self.rules_asking("carry in", self.columns_of(places))

    def covers(self, plant: Plant, spot: str) -> bool:
        """Whether a spot is cover for this plant: its shelter, or indoors, but not its home."""
        return spot != plant.home and (spot == plant.shelter or self.spots[spot].indoors)

    def rows(self, start: datetime, end: datetime) -> np.ndarray:
        """Rows of the climate from start to end, both included."""
        first, last = np.searchsorted(
            self.climate.times, (np.ceil(start.timestamp()), np.floor(end.timestamp()) + 1)
        )
        return np.arange(first, max(first, last))


def full_hours(start: datetime, end: datetime) -> int:
    """How many full hours lie from start to end, both included."""
    first = -(-start.timestamp() // 3600)
    return max(0, int(end.timestamp() // 3600 - first) + 1)


def _fired(scene: Scene, plants: Sequence[Plant], asks: str, columns: np.ndarray) -> list[Firing]:
    return [
        fire(
            rule,
            plants,
            columns,
            scene.site,
            scene.climate,
            wet_margin_k=scene.habits.wet_margin_k,
        )
        for rule in scene.collection.rules
        if rule.asks == asks
    ]


def _cohorts(scene: Scene, state: State) -> tuple[Cohort, ...]:
    """The kinds of the collection, parted where their plants have different histories.

    A plant without history is at home, except on a morning after a night that was too cold
    for it: then it was carried in. A plant recorded at a spot that no longer exists has no
    history.
    """
    kinds = scene.collection.kinds
    known = {name: one.at(scene.now) for name, one in state.items() if one.spot in scene.columns}
    carried = _carried_in_last_night(scene, [kind[0] for kind in kinds], known)
    cohorts: list[Cohort] = []
    for kind, inside in zip(kinds, carried, strict=True):
        first = kind[0]
        unknown = PlantState(first.shelter if inside and first.shelter else first.home)
        for one, names in _parted(kind, known, unknown).items():
            cohorts.append(Cohort(len(cohorts), first, tuple(names), one))
    return tuple(cohorts)


def _parted(
    kind: Sequence[Plant], known: Mapping[str, PlantState], unknown: PlantState
) -> dict[PlantState, list[str]]:
    if not known:
        return {unknown: [plant.name for plant in kind]}
    parts: dict[PlantState, list[str]] = {}
    for plant in kind:
        parts.setdefault(known.get(plant.name, unknown), []).append(plant.name)
    return parts


def _carried_in_last_night(
    scene: Scene, plants: Sequence[Plant], known: Mapping[str, PlantState]
) -> np.ndarray:
    """(kind,) whether plants without history were carried in: this is the morning after cold."""
    cold = np.zeros(len(plants), dtype=bool)
    today = scene.site.local_date(scene.now)
    night = sun.night_of(scene.site, today - timedelta(days=1))
    all_known = len(known) >= len(scene.collection.plants)
    if all_known or not night.end <= scene.now < scene.site.middle_of_day(today):
        return cold
    rows = scene.rows(night.start, night.end)
    home = scene.columns_of(plant.home for plant in plants)
    for firing in _fired(scene, plants, "carry in", home):
        cold |= firing.by_plant(firing.fires[rows].any(axis=0))
    return cold
