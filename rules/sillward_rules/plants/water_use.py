"""How much water a plant in a pot uses: by its group, its canopy and its pot.

The classes of groups are in water_use.toml, with their sources.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources

import numpy as np

from sillward_rules.arrays import Array
from sillward_rules.plants.plant import Plant, Traits
from sillward_rules.plants.pot_water import AVAILABLE
from sillward_rules.plants.size import canopy_m2
from sillward_rules.weather.season import Season

SPAN_OF_POT = 1.5
"""Where its span is not given, a canopy is this much wider than its pot. Judgement: container
shrubs of a 11 L pot are sold at 1.5 to 2.5 times its width."""

SURFACE_FACTOR = 0.7
"""A moist surface of medium evaporates this share of what grass transpires, less as it dries:
160 mL a day from a shaded 11.4 L container of 508 cm2 at a reference of 4 to 5 mm (Beeson 2010,
HortScience 45:1260)."""

OPEN_SIDES = 2.0
"""In baskets and moss the sides evaporate too: so many times the surface. Judgement."""

IN_SEASON: Mapping[Season, float] = {Season.GROWING: 1.0, Season.SLOWING: 0.8, Season.REST: 0.5}
"""What a plant transpires of what it does in growth, besides what cool weather leaves of it.
Judgement: stomata close in part while it does not grow."""

_MARGIN_SD = {"low": 1.0, "medium": 1.0, "high": 0.5}
"""A plant is watered when its water may have run low, so many standard deviations from what is
expected, by how easily it rots. Judgement: too late costs roots, too soon a crown."""


@dataclass(frozen=True, slots=True)
class WaterUse:
    """A class of plants by the water that they use.

    - factor: of the reference evapotranspiration over the canopy.
    - depletion: share of the available water that may be used up.
    - span_of_pot: how many times as wide as its pot a plant is, where its span is not given.
    """

    name: str
    title: str
    factor: float
    depletion: float
    span_of_pot: float = SPAN_OF_POT


@cache
def water_uses() -> Mapping[str, WaterUse]:
    """Return the class of each culture group by name, as shipped."""
    return {group: use for use, groups in _classes().values() for group in groups}


@cache
def _classes() -> Mapping[str, tuple[WaterUse, tuple[str, ...]]]:
    file = resources.files("sillward_rules.plants").joinpath("water_use.toml")
    tables = tomllib.loads(file.read_text(encoding="utf-8"))
    return {
        name: (
            WaterUse(
                name,
                table["title"],
                table["factor"],
                table["depletion"],
                table.get("span_of_pot", SPAN_OF_POT),
            ),
            tuple(table["groups"]),
        )
        for name, table in tables.items()
    }


def water_use_of(plant: Plant) -> WaterUse:
    """Return the class of a plant; a hybrid takes the thirstiest of its parents.

    Without a known group, that of epiphytes for bare roots and for what grows on no soil, else that
    of shrubs.
    """
    known = [water_uses()[group] for group in plant.groups if group in water_uses()]
    if known:
        return max(known, key=lambda use: use.factor)
    epiphyte = plant.velamen or plant.roots_as_in != "pot"
    return _classes()["epiphyte" if epiphyte else "shrub"][0]


def pot_width_cm(litres: float) -> float:
    """Return the width of a pot that is as wide as it is high [cm]."""
    return float((4.0 * litres * 1000.0 / np.pi) ** (1.0 / 3.0))


def span_cm(plant: Plant) -> float:
    """Return how wide a plant in a pot is [cm]: as told, or by its pot."""
    if plant.span_cm is not None:
        return plant.span_cm
    width_cm = pot_width_cm(plant.pot.litres if plant.pot else 0.0)
    return water_use_of(plant).span_of_pot * width_cm


@dataclass(frozen=True, slots=True, eq=False)
class Pots:
    """What the water of pots depends on, (pot,) for those of some plants that have one.

    - plants: their positions among these plants.
    - capacity_l: the available water that each holds [L].
    - canopy_l, surface_l: what 1 mm of reference evapotranspiration takes from the leaves and from
      the surface of the medium [L].
    - catch_l: what 1 mm of rain brings [L].
    - depletion: as in `WaterUse`. margin_sd: how much doubt counts, in standard deviations.
    - dark: whether sun heats its outside.
    """

    plants: np.ndarray
    capacity_l: Array
    canopy_l: Array
    surface_l: Array
    catch_l: Array
    depletion: Array
    margin_sd: Array
    dark: np.ndarray

    @classmethod
    def of(cls, traits: Traits) -> "Pots":
        """Return the pots of these plants."""
        made: Pots = traits.memo.of("pots", lambda: _pots_of(traits.plants))
        return made


def _pots_of(plants: tuple[Plant, ...]) -> Pots:
    potted = [(index, plant, plant.pot) for index, plant in enumerate(plants) if plant.pot]
    uses = [water_use_of(plant) for _, plant, _ in potted]
    surface = canopy_m2([pot_width_cm(pot.litres) for _, _, pot in potted])
    sides = np.array([1.0 if plant.holder == "pot" else OPEN_SIDES for _, plant, _ in potted])
    return Pots(
        plants=np.array([index for index, _, _ in potted], dtype=np.int64),
        capacity_l=np.array([pot.litres * AVAILABLE[pot.medium] for _, _, pot in potted]),
        # 1 mm on 1 m2 is 1 L.
        canopy_l=np.array([use.factor for use in uses])
        * canopy_m2([span_cm(plant) for _, plant, _ in potted]),
        surface_l=SURFACE_FACTOR * surface * sides,
        catch_l=surface,
        depletion=np.array([use.depletion for use in uses]),
        margin_sd=np.array([_MARGIN_SD[plant.rot] for _, plant, _ in potted]),
        dark=np.array([pot.dark for _, _, pot in potted], dtype=bool),
    )
