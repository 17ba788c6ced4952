"""Rules: declarative bounds on a quantity, with the hours and plants they apply to.

A rule says that something is needed. When, where to and how much is up to the planners.
`rule_reading` reads rules, `rule_firing` says where they fire.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from typing import Literal

import numpy as np

from sillward_rules.plants.plant import Plant, Traits
from sillward_rules.weather.time_expressions import Hours

Direction = Literal["below", "above"]


@dataclass(frozen=True, slots=True)
class Quantity:
    """Something a rule can watch: its series in a climate, its unit, the limits that bound it."""

    series: str
    unit: str
    limit_below: str | None = None
    limit_above: str | None = None


QUANTITIES: Mapping[str, Quantity] = {
    "temperature": Quantity("temp_c", "°C", "night_low", "day_high"),
    "leaf temperature": Quantity("leaf_c", "°C", "night_low", "leaf_high"),
    "humidity": Quantity("rh_pct", "%", "humidity_low"),
    "vpd": Quantity("vpd_kpa", "kPa", None, "vpd_high"),
    "leaf vpd": Quantity("leaf_vpd_kpa", "kPa", None, "vpd_high"),
    "wet-bulb depression": Quantity("wet_bulb_k", "K"),
    "wind": Quantity("wind_m_s", "m/s"),
    "gust": Quantity("gust_m_s", "m/s", None, "gust_high"),
    "rain": Quantity("rain_mm", "mm", None, "rain_high"),
    "hail": Quantity("hail_pct", "%"),
    "crown wetness": Quantity("crown_wet_h", "h"),
    "rain wetness": Quantity("rain_wet_h", "h"),
    "light": Quantity("light_w_m2", "W/m2"),
    "ppfd": Quantity("ppfd", "umol m-2 s-1", "light_low", "light_high"),
}

ASKS = ("carry in", "mist", "shade", "secure", "cover", "damp down", "move", "note")
"""Chores that a rule can ask for; a note is a line on the sheet and no chore."""


@dataclass(frozen=True, slots=True)
class Bound:
    """What a quantity is compared with: a value, or the plant's own limit plus `more`."""

    value: float | None = None
    limit: str | None = None
    more: float = 0.0


@dataclass(frozen=True, slots=True)
class PlantFilter:
    """Which plants a rule applies to. An empty field excludes none."""

    holder: tuple[str, ...] = ()
    group: tuple[str, ...] = ()
    home: tuple[str, ...] = ()
    name: tuple[str, ...] = ()
    rot: tuple[str, ...] = ()
    rest: tuple[str, ...] = ()

    def among(self, traits: Traits) -> np.ndarray:
        """(plant,) whether the rule applies to each of these plants."""
        chosen = np.ones(len(traits.plants), dtype=bool)
        for words, column in (
            (self.holder, traits.holder),
            (self.rot, traits.rot),
            (self.rest, traits.rest),
        ):
            if words:
                chosen &= np.isin(column, words)
        if self.group or self.home or self.name:
            chosen &= np.array([self._is_called(plant) for plant in traits.plants], dtype=bool)
        return chosen

    def includes(self, plant: Plant) -> bool:
        """Return whether it applies to a plant."""
        return (
            (not self.holder or plant.roots_as_in in self.holder)
            and (not self.rot or plant.rot in self.rot)
            and (not self.rest or ("dry" if plant.rests_dry else "none") in self.rest)
            and self._is_called(plant)
        )

    def _is_called(self, plant: Plant) -> bool:
        return (
            (not self.group or bool(set(self.group) & set(plant.groups)))
            and (not self.home or plant.home in self.home)
            and (not self.name or plant.name in self.name)
        )


@dataclass(frozen=True, slots=True)
class Condition:
    """A bound on a quantity (a key of QUANTITIES)."""

    quantity: str
    direction: Direction
    bound: Bound


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule. `quantity` is a key of QUANTITIES, `asks` one of ASKS."""

    name: str
    quantity: str
    direction: Direction
    bound: Bound
    hours: Hours
    asks: str
    lasting: timedelta = timedelta(0)
    plants: PlantFilter = PlantFilter()
    season: tuple[str, ...] = ()
    """Seasons (values of `Season`) in which the rule applies; empty for all."""
    also: Condition | None = None
    """A second condition that must hold at the same hour."""

    def origin_for(self, plant: Plant) -> str:
        """Return where the bound for this plant comes from: its limit, or the rule itself."""
        limit = getattr(plant.limits, self.bound.limit) if self.bound.limit else None
        return limit.origin if limit else f'rule "{self.name}"'
