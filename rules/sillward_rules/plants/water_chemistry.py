"""Water: blends, and the acid that brings its alkalinity down to an aimed pH.

Arithmetic of dilute water at 25 °C in a closed bottle. Water that stands loses carbon dioxide and
its pH rises again; the feed itself acidifies a little. So it says how much acid to begin with, and
a pH meter in the finished mix has the last word.

Alkalinity is mg/L as CaCO3, as laboratories report it; 50 mg/L are 1 mmol/L of charge. Functions
take scalars or arrays that broadcast and give arrays; impossible numbers are a ValueError.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from sillward_rules.arrays import Array
from sillward_rules.plants.fertiliser import ATOMIC_WEIGHT, Element

CACO3_PER_MEQ = 50.0
"""mg of CaCO3 that stand for 1 mmol of charge: its 100.09 g/mol over two charges, rounded as
laboratories round it."""

CARBONIC_PKA = (6.35, 10.33)
"""Of carbonic acid (with dissolved carbon dioxide) at 25 °C. CRC Handbook, from memory; Whipker and
others 1996 (Commun. Soil Sci. Plant Anal. 27, 959), whose method this is, count the same species.
"""

WATER_PK = 14.0
"""Of the ions of water at 25 °C."""

USUAL_PH = 7.5
"""The pH of water whose own is not known. Judgement: usual for water from the tap. From 7 to 8.5
the acid for pH 6 differs by a tenth."""

AIMED_PH = 6.0
"""What water is aimed at where the grower does not say. Judgement: the middle of the 5.5 to 6.5
that extension offices give for soilless media; 5.8 is usual in their examples."""

MIN_AIMED_PH, MAX_AIMED_PH = 4.5, 8.0
"""Judgement: below it there is no alkalinity left, so that a drop too much makes the water sour;
above it there is hardly anything to neutralise."""


@dataclass(frozen=True, slots=True)
class Water:
    """The water in use, as its laboratory or its meter reports it.

    - ec [mS/cm at 25 °C], alkalinity [mg/L as CaCO3], ph; alkalinity and ph None where not known.
    - rain: the share of rain or of water from reverse osmosis in what is used. Those are taken to
      bring neither salt nor alkalinity.
    - aim_ph: the pH to bring it to.
    """

    ec: float
    alkalinity: float | None = None
    ph: float | None = None
    rain: float = 0.0
    aim_ph: float = AIMED_PH

    def __post_init__(self) -> None:
        if not 0 <= self.rain <= 1:
            msg = "a share of rain is from 0 to 1"
            raise ValueError(msg)

    @property
    def blended(self) -> "Water":
        """The water as it is used, with its share of rain mixed in.

        Salts and alkalinity are as much less as there is less of the water. The pH is kept: rain
        has no buffer, so that even half of it moves the pH of the water by a few tenths only.
        """
        own = 1.0 - self.rain
        alkalinity = None if self.alkalinity is None else self.alkalinity * own
        return replace(self, ec=self.ec * own, alkalinity=alkalinity, rain=0.0)


def meq_per_litre(alkalinity: ArrayLike) -> Array:
    """Return an alkalinity [mg/L as CaCO3] as mmol/L of charge.

    Examples
    --------
    >>> float(meq_per_litre(150))
    3.0
    """
    value = np.asarray(alkalinity, dtype=np.float64)
    if np.any(value < 0):
        msg = "an alkalinity cannot be below 0"
        raise ValueError(msg)
    return np.asarray(value / CACO3_PER_MEQ)


def charge_share(pkas: tuple[float, ...], ph: ArrayLike) -> Array:
    """Return how many protons a molecule of an acid has given off at a pH, on average.

    pkas: of its steps, in order.
    """
    steps = 10.0 ** (np.arange(1, len(pkas) + 1) * np.asarray(ph, np.float64)[..., None])
    forms = steps * 10.0 ** -np.cumsum(pkas)
    given = (forms * np.arange(1, len(pkas) + 1)).sum(axis=-1)
    return np.asarray(given / (1.0 + forms.sum(axis=-1)))


def rain_share_for(alkalinity: ArrayLike, wanted: ArrayLike) -> Array:
    """Return the share of rain with which a water has no more than a wanted alkalinity [mg/L]."""
    own = np.asarray(alkalinity, dtype=np.float64)
    share = 1.0 - np.asarray(wanted, dtype=np.float64) / np.maximum(own, 1e-9)
    return np.asarray(np.clip(share, 0.0, 1.0))


def acid_needed(alkalinity: ArrayLike, ph: ArrayLike | None, aimed_ph: ArrayLike) -> Array:
    """Return the acid that brings water to an aimed pH [mmol/L of protons]; 0 if it is there.

    The carbonate that the water holds is known from its alkalinity and pH, and stays in it; what
    is left of the alkalinity at the aimed pH needs no acid. ph: None for `USUAL_PH`.
    """
    own_ph = np.asarray(USUAL_PH if ph is None else ph, dtype=np.float64)
    aimed = np.asarray(aimed_ph, dtype=np.float64)
    if np.any((own_ph < 3) | (own_ph > 11) | (aimed < 3) | (aimed > 11)):
        msg = "a pH of water is from 3 to 11"
        raise ValueError(msg)
    charge = meq_per_litre(alkalinity)
    held = np.maximum(charge - _of_water(own_ph), 0.0) / charge_share(CARBONIC_PKA, own_ph)
    left = held * charge_share(CARBONIC_PKA, aimed) + _of_water(aimed)
    return np.asarray(np.where(aimed >= own_ph, 0.0, np.maximum(charge - left, 0.0)))


def alkalinity_left(alkalinity: ArrayLike, ph: ArrayLike | None, aimed_ph: ArrayLike) -> Array:
    """Return the alkalinity that water has once it is at the aimed pH [mg/L as CaCO3]."""
    used = acid_needed(alkalinity, ph, aimed_ph)
    return np.asarray(np.asarray(alkalinity, np.float64) - used * CACO3_PER_MEQ)


def _of_water(ph: Array) -> Array:
    """Return what the ions of water add to its alkalinity [mmol/L of charge]."""
    return np.asarray(1000.0 * (10.0 ** (ph - WATER_PK) - 10.0**-ph))


# -- acids


@dataclass(frozen=True, slots=True)
class Acid:
    """An acid as it is sold.

    - pct: how much of its mass is acid [%]; density [g/mL], None for a powder.
    - molar_mass [g/mol]; pkas of its steps, a strong one -3.
    - gives: the nutrient that it brings, and how many atoms of that a molecule has.
    """

    key: str
    name: str
    pct: float
    density: float | None
    molar_mass: float
    pkas: tuple[float, ...]
    gives: tuple[Element, int] | None = None

    def protons(self, ph: ArrayLike) -> Array:
        """Return how many protons a molecule gives to water that ends at this pH."""
        return charge_share(self.pkas, ph)

    def grams(self, meq: ArrayLike, ph: ArrayLike) -> Array:
        """Return how much of the product gives so many mmol of protons at this pH [g]."""
        pure = np.asarray(meq, np.float64) / self.protons(ph) * self.molar_mass / 1000.0
        return np.asarray(pure / (self.pct / 100.0))

    def millilitres(self, meq: ArrayLike, ph: ArrayLike) -> Array:
        """Return the same as a volume [mL]; NaN for a powder."""
        density = np.nan if self.density is None else self.density
        return np.asarray(self.grams(meq, ph) / density)

    def ppm(self, meq: ArrayLike, ph: ArrayLike) -> Array:
        """Return what that brings of its nutrient if it goes into a litre [mg/L]; 0 if of none."""
        millimol = np.asarray(meq, np.float64) / self.protons(ph)
        if self.gives is None:
            return np.zeros_like(millimol)
        element, atoms = self.gives
        return np.asarray(millimol * atoms * ATOMIC_WEIGHT[element])


_PHOSPHORIC, _SULPHURIC, _CITRIC = (2.15, 7.20, 12.35), (-3.0, 1.99), (3.13, 4.76, 6.40)

ACIDS: Mapping[str, Acid] = MappingProxyType(
    {
        acid.key: acid
        for acid in (
            Acid("citric", "citric acid, powder", 91.4, None, 192.12, _CITRIC),
            Acid("phosphoric-75", "phosphoric 75 %", 75, 1.58, 97.99, _PHOSPHORIC, ("P", 1)),
            Acid("phosphoric-85", "phosphoric 85 %", 85, 1.69, 97.99, _PHOSPHORIC, ("P", 1)),
            Acid("nitric-60", "nitric 60 %", 60, 1.37, 63.01, (-1.4,), ("N", 1)),
            Acid("nitric-67", "nitric 67 %", 67, 1.40, 63.01, (-1.4,), ("N", 1)),
            Acid("sulphuric-35", "sulphuric 35 %", 35, 1.26, 98.08, _SULPHURIC, ("S", 1)),
        )
    }
)
"""The acids that growers use, the least harmful first.

Densities at 20 °C and pKa at 25 °C are of the CRC Handbook, from memory. The powder of citric acid
is taken as the monohydrate (91.4 % acid); the anhydrous one needs a tenth less.
"""


# -- stock

GYPSUM_G_PER_LITRE = 2.4
"""How much gypsum, CaSO4.2H2O, dissolves in a litre of pure water at 25 °C; from memory."""

GYPSUM_MMOL = GYPSUM_G_PER_LITRE / 172.17 * 1000.0
"""The same [mmol/L of calcium and of sulphate]: 13.9."""


def gypsum_share(calcium_ppm: ArrayLike, sulphur_ppm: ArrayLike) -> Array:
    """Return how far calcium and sulphate [mg/L of Ca and of S] are towards gypsum.

    The square root of the product of both over that of a saturated solution, 1 where gypsum begins
    to settle. Other salts keep somewhat more of it dissolved, so that it errs to caution.
    """
    calcium = np.asarray(calcium_ppm, np.float64) / ATOMIC_WEIGHT["Ca"]
    sulphate = np.asarray(sulphur_ppm, np.float64) / ATOMIC_WEIGHT["S"]
    return np.asarray(np.sqrt(calcium * sulphate) / GYPSUM_MMOL)
