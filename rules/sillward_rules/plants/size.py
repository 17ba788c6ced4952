"""Size: what a plant weighs, how long carrying takes, and how much water wets it.

From its pot and its span alone. Where the grower has given neither, nothing is known (NaN), and
nothing is told. Sources and what was weighed: docs/decisions.md, "The size of plants".
"""

import math
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import ArrayLike

from sillward_rules.arrays import Array
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.pot import Medium

WET_KG_PER_L: Mapping[Medium, float] = {
    "bark": 0.66,
    "moss": 0.82,
    "peat": 0.98,
    "soil": 1.4,
    "mineral": 1.33,
}
"""Weight of a litre of medium that has been watered through and has drained [kg/L].

Dry weight and water at container capacity. Bark 0.18 + 0.48 and peat 0.11 + 0.87: International
Journal of Agronomy 2012, 978528, table 1. Moss 0.04 + 0.78: it holds up to 20 times its weight,
with 15 to 26 % of air (a seller's page). Mineral 1.05 + 0.28: half pumice, half sand or grit
(judgement), and the 0.28 of water that a grower measured to stay in sand and in perlite. Soil
1.0 + 0.4: half of it loam (judgement)."""

POT_AND_PLANT_KG_PER_L = 0.3
"""The pot and the plant, for each litre of medium [kg/L]. Judgement: a clay pot of 12 L weighs 3 to
4 kg, one of plastic a tenth of that, and a plant about 0.1 kg for each litre that it roots in;
leaning to clay, as a weight that is told too low may hurt."""

HEAVY_KG = 16.0
"""From this weight on two people or a trolley are advised [kg]. The HSE's filter for lifting and
lowering (L23, INDG143) begins a closer look at 16 kg for women and 25 kg for men at elbow height
close to the body, and the revised NIOSH equation allows 23 kg in an ideal lift, some 16 kg once a
load has to be raised or held away from the body. The lower, since we do not know who lifts."""

HIGH_M = 1.8
"""Plants that stand higher than this need a step [m]. Judgement: both hands of a person of usual
height reach about that far with a pot in them."""

BULKY_CM = 80.0
"""From this span on a plant needs a way cleared and goes through a door by itself [cm]. Judgement:
most doors are that wide."""

WALK_MIN = 2.0
"""Shoes, light, doors: a walk by itself [min]. Judgement."""

LIGHT_MIN, BULKY_MIN, HEAVY_MIN = 1.5, 2.5, 6.0
"""Each plant on a walk, there and back [min]: one that is carried in one hand or of unknown size;
one that is bulky or half as heavy as `HEAVY_KG`; one for which somebody or a trolley is fetched.
Judgement: thirty small pots then take the usual `Habits.lead`, 45 minutes."""

FILM_MM = 0.2
"""Water on a wetted leaf, both faces, for each layer of leaf [mm]. Interception models take 0.2 mm
for each unit of leaf area index (Dickinson 1984, from memory)."""

LEAF_LAYERS = 3.0
"""Layers of leaf, and of bare roots, below each other across the span. Judgement: the leaf area
index of dense container plants is 2 to 4."""

RUN_OFF_SHARE = 0.5
"""Share of the spray that drips or drifts past. Judgement: leaves are wetted until they drip."""


def weights_kg(plants: Sequence[Plant]) -> Array:
    """Return what plants weigh with their pots, just watered: (plant,) [kg].

    NaN without a pot: a basket or mount weighs little, but we do not know.
    """
    return np.array(
        [
            math.nan
            if plant.pot is None
            else plant.pot.litres * (WET_KG_PER_L[plant.pot.medium] + POT_AND_PLANT_KG_PER_L)
            for plant in plants
        ],
        dtype=np.float64,
    )


def spans_cm(plants: Sequence[Plant]) -> Array:
    """Return how wide plants are: (plant,) [cm]; NaN where not given."""
    return np.array(
        [math.nan if plant.span_cm is None else plant.span_cm for plant in plants], np.float64
    )


def is_heavy(weight_kg: ArrayLike) -> np.ndarray:
    """Return whether two people or a trolley are advised; false where the weight is unknown."""
    return np.asarray(np.asarray(weight_kg, dtype=np.float64) >= HEAVY_KG)


def handling_min(weight_kg: ArrayLike, span_cm: ArrayLike) -> Array:
    """Return how long each plant of a walk takes, there and back [min].

    Plants of unknown size (NaN in both) count as light.
    """
    weight, span = np.broadcast_arrays(
        np.asarray(weight_kg, dtype=np.float64), np.asarray(span_cm, dtype=np.float64)
    )
    bulky = (span >= BULKY_CM) | (weight >= HEAVY_KG / 2)
    return np.where(is_heavy(weight), HEAVY_MIN, np.where(bulky, BULKY_MIN, LIGHT_MIN))


def walk_min(weight_kg: ArrayLike, span_cm: ArrayLike) -> float:
    """Return how long a walk with these plants takes [min]; NaN if the size of none is known.

    Parameters
    ----------
    weight_kg, span_cm : ArrayLike
        Of every plant on it, shape (plant,); NaN where not known.
    """
    weight = np.asarray(weight_kg, dtype=np.float64)
    span = np.asarray(span_cm, dtype=np.float64)
    if not (np.isfinite(weight) | np.isfinite(span)).any():
        return math.nan
    return float(WALK_MIN + handling_min(weight, span).sum())


def latest_starts(deadline_s: ArrayLike, minutes: ArrayLike) -> Array:
    """Return when each of several walks must begin, one after the other, to be over in time.

    Parameters
    ----------
    deadline_s : ArrayLike
        By when each must be over, shape (walk,), rising [unix s].
    minutes : ArrayLike
        How long each takes, shape (walk,) [min].

    Returns
    -------
    Array
        Shape (walk,), rising [unix s]. A walk that would end after the latest start of the next one
        begins sooner.
    """
    deadline = np.asarray(deadline_s, dtype=np.float64)
    # What is still to walk from each walk on, and from the one after it [s].
    left = np.cumsum(np.asarray(minutes, dtype=np.float64)[::-1])[::-1] * 60.0
    after = np.append(left[1:], 0.0)
    binding = np.minimum.accumulate((deadline + after)[::-1])[::-1]
    return np.asarray(binding - left)


def canopy_m2(span_cm: ArrayLike) -> Array:
    """Return the ground that plants cover, as circles of their span [m2]."""
    return np.asarray(math.pi / 4 * (np.asarray(span_cm, dtype=np.float64) / 100) ** 2)


def spray_l(span_cm: ArrayLike) -> Array:
    """Return what one misting or spraying of plants takes, run-off included [L]; NaN where unknown.

    A film on every layer of leaf over the canopy: 1 mm on 1 m2 is 1 L.
    """
    return np.asarray(canopy_m2(span_cm) * FILM_MM * LEAF_LAYERS / (1.0 - RUN_OFF_SHARE))
