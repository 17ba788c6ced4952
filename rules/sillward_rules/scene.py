"""The scene: everything the planners look at, worked out once for a moment."""

from datetime import datetime, timedelta
from functools import cached_property

import numpy as np

from sillward_rules import sun
from sillward_rules.collection import Collection, PlantState, State
from sillward_rules.plant import Plant
from sillward_rules.rule import Firing, fire
from sillward_rules.spot import Climate, climate_of
from sillward_rules.sun import Night
from sillward_rules.weather import Weather


class Scene:
    """Collection, climate and state at a moment. Immutable; derived parts are computed once."""

    def __init__(
        self, collection: Collection, weather: Weather, state: State, now: datetime
    ) -> None:
        self.collection = collection
        self.weather = weather
        self.now = now
        self.site = collection.site
        self.habits = collection.habits
        self.plants = collection.plants
        self.climate: Climate = climate_of(collection.site, collection.spots, weather)
        columns = {spot.name: index for index, spot in enumerate(collection.spots)}
        self.home = np.array([columns[plant.home] for plant in self.plants], dtype=np.int64)
        self.state: dict[str, PlantState] = _completed(self, state)

    def rules_asking(self, asks: str, columns: np.ndarray) -> list[Firing]:
        """Hold every rule that asks for this chore against the climate at these columns."""
        return [
            fire(rule, self.plants, columns, self.site, self.climate)
            for rule in self.collection.rules
            if rule.asks == asks
        ]

    @cached_property
    def carry_firings(self) -> list[Firing]:
        """Rules asking for "carry in", where the plants stand, or would stand if let out."""
        places = [
            plant.home if self.under_cover(plant) else self.state[plant.name].spot
            for plant in self.plants
        ]
        columns = np.array([self.climate.column(place) for place in places], dtype=np.int64)
        return self.rules_asking("carry in", columns)

    def covers(self, plant: Plant, spot: str) -> bool:
        """Whether a spot is cover for this plant: its shelter, or indoors, but not its home."""
        indoors = self.collection.spot(spot).indoors
        return spot != plant.home and (spot == plant.shelter or indoors)

    def under_cover(self, plant: Plant) -> bool:
        """Whether the plant stands under cover now."""
        return self.covers(plant, self.state[plant.name].spot)

    @cached_property
    def standing(self) -> dict[str, str]:
        """Where each plant stands now: spot by plant."""
        return {name: state.spot for name, state in self.state.items()}

    def rows(self, start: datetime, end: datetime) -> np.ndarray:
        """Rows of the climate from start to end, both included."""
        times = self.climate.times
        return np.flatnonzero((times >= start.timestamp()) & (times <= end.timestamp()))


def full_hours(start: datetime, end: datetime) -> int:
    """How many full hours lie from start to end, both included."""
    first = -(-start.timestamp() // 3600)
    return max(0, int(end.timestamp() // 3600 - first) + 1)


def _completed(scene: Scene, state: State) -> dict[str, PlantState]:
    """The state with every plant in it; where nothing is known, the advice is taken as followed.

    A plant without history is at home, except on a morning after a night that was too cold
    for it: then it was carried in. A plant recorded at a spot that no longer exists has no
    history.
    """
    known = {spot.name for spot in scene.collection.spots}
    missing = {
        plant.name
        for plant in scene.plants
        if plant.name not in state or state[plant.name].spot not in known
    }
    carried = _carried_in_last_night(scene) if missing else set()

    def standing(plant: Plant) -> PlantState:
        if plant.name not in missing:
            return state[plant.name].at(scene.now)
        inside = plant.name in carried and plant.shelter is not None
        return PlantState(plant.shelter if inside and plant.shelter else plant.home)

    return {plant.name: standing(plant) for plant in scene.plants}


def _carried_in_last_night(scene: Scene) -> set[str]:
    today = scene.site.local_date(scene.now)
    night: Night = sun.night_of(scene.site, today - timedelta(days=1))
    if not night.end <= scene.now < scene.site.middle_of_day(today):
        return set()
    rows = scene.rows(night.start, night.end)
    cold = np.zeros(len(scene.plants), dtype=bool)
    for firing in scene.rules_asking("carry in", scene.home):
        cold |= firing.by_plant(firing.fires[rows].any(axis=0))
    return {scene.plants[index].name for index in np.flatnonzero(cold)}
