"""Feed: what a fertiliser adds to the water, how strong that is, how strong it gets as it dries.

Label arithmetic, the common salts, electrical conductivity (EC) and the salt of a drying film. How
much to feed is up to the grower.

Amounts are grams of product for a litre of finished solution, ppm are mg/L, EC is mS/cm at
25 °C. Functions take scalars or arrays that broadcast and give arrays; NaN is unknown and stays
NaN. Impossible numbers are a ValueError.

An estimated EC errs high: too weak a feed costs a little growth, too strong a feed costs roots.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from sillward_rules.arrays import Array

Element: TypeAlias = Literal["N", "P", "K", "Mg", "Ca", "S"]

ELEMENTS: tuple[Element, ...] = ("N", "P", "K", "Mg", "Ca", "S")
"""The nutrients that are counted."""

ATOMIC_WEIGHT: Mapping[str, float] = MappingProxyType(
    {
        "H": 1.008,
        "C": 12.011,
        "N": 14.007,
        "O": 15.999,
        "Mg": 24.305,
        "P": 30.974,
        "S": 32.06,
        "K": 39.098,
        "Ca": 40.078,
    }
)
"""[g/mol]; IUPAC abridged standard atomic weights."""

P_IN_P2O5 = 2 * ATOMIC_WEIGHT["P"] / (2 * ATOMIC_WEIGHT["P"] + 5 * ATOMIC_WEIGHT["O"])
"""Labels count phosphorus as P2O5: the share of it that is P, 0.436."""

K_IN_K2O = 2 * ATOMIC_WEIGHT["K"] / (2 * ATOMIC_WEIGHT["K"] + ATOMIC_WEIGHT["O"])
"""Labels count potassium as K2O: the share of it that is K, 0.830."""

PPM_PER_PCT = 10.0
"""1 g/L of a product that holds 1 % of something gives 10 mg/L of it."""

OUNCE_G = 28.349523125
"""Avoirdupois ounce [g], exact."""

US_GALLON_L = 3.785411784
"""US liquid gallon [L], exact."""

ION_CONDUCTIVITY: Mapping[str, float] = MappingProxyType(
    {
        "K": 73.5,
        "NH4": 73.7,
        "Mg": 53.1,
        "Ca": 59.5,
        "NO3": 71.4,
        "H2PO4": 36.0,
        "SO4": 80.0,
    }
)
"""Limiting equivalent conductivities at 25 °C [S cm2 / equivalent].

Cations: Lange's Handbook of Chemistry, table 8.32. Anions: CRC Handbook, from memory. Ions
conduct best in endless dilution, so sums of these err high: 6 % for 0.01 mol/L KCl, twofold for
5 g/L MgSO4. The growers' rule EC = (meq/L) / 10 errs low in weak solutions: that KCl reads
1.408 mS/cm (Wu, Koch and Pratt 1991, J. Res. NIST 96, 191) and not 1.
"""

EC_PER_100_PPM_N = 0.8
"""EC of a fertiliser whose label does not tell it [mS/cm for 100 ppm N].

Extension offices measured 0.41 to 0.46 for 20-20-20 and 0.69 to 0.76 for 15-0-15 of different
makers (University of Delaware, after UMass Extension); 0.8 is just above (judgement).
"""

EcOrigin: TypeAlias = Literal["label", "estimate"]


def _amount(value: ArrayLike, what: str) -> Array:
    """Return the value as an array; ValueError where it is negative or infinite. NaN passes."""
    amount = np.asarray(value, dtype=np.float64)
    if np.any(amount < 0) or np.any(np.isinf(amount)):
        msg = f"{what} must be a finite number, not below 0"
        raise ValueError(msg)
    return amount


# -- labels


_NUMBER = r"([-+]?[0-9]+(?:\.[0-9]+)?)"
_LABEL = re.compile(rf"\s*{_NUMBER}-{_NUMBER}-{_NUMBER}\s*")


def parse_npk(text: str) -> tuple[float, float, float]:
    """Read a label: the percents of N, P2O5 and K2O.

    Raises
    ------
    ValueError
        If it does not read N-P-K, a number is negative, or they add up to more than 100 %.

    Examples
    --------
    >>> parse_npk("12.5-0-25")
    (12.5, 0.0, 25.0)
    """
    read = _LABEL.fullmatch(text)
    if read is None:
        msg = f'"{text}" is not a label of the form N-P-K, such as 20-20-20'
        raise ValueError(msg)
    n_pct, p2o5_pct, k2o_pct = (float(part) for part in read.groups())
    _check_percents(n_pct, p2o5_pct, k2o_pct)
    return n_pct, p2o5_pct, k2o_pct


def _check_percents(*percents: float) -> None:
    if not all(percent >= 0 for percent in percents):
        msg = "percents on a label must be numbers, not below 0"
        raise ValueError(msg)
    if sum(percents) > 100:
        msg = f"the percents of a label cannot add up to {sum(percents):g}, more than 100"
        raise ValueError(msg)


@dataclass(frozen=True, slots=True)
class FeedEc:
    """EC of a fertiliser in pure water [mS/cm], from its label or estimated."""

    value: Array
    origin: EcOrigin


@dataclass(frozen=True, slots=True)
class Fertiliser:
    """A fertiliser by its label.

    n_pct, p2o5_pct, k2o_pct as in N-P-K; mg_pct and ca_pct of the elements, not their oxides;
    ec_per_100_ppm_n [mS/cm] that the label gives for 100 ppm N. None where it does not say.
    """

    n_pct: float
    p2o5_pct: float
    k2o_pct: float
    mg_pct: float | None = None
    ca_pct: float | None = None
    ec_per_100_ppm_n: float | None = None

    def __post_init__(self) -> None:
        others = (part for part in (self.mg_pct, self.ca_pct) if part is not None)
        _check_percents(self.n_pct, self.p2o5_pct, self.k2o_pct, *others)
        if self.ec_per_100_ppm_n is None:
            return
        if not 0 < self.ec_per_100_ppm_n < np.inf:
            msg = "the EC of a label must be above 0"
            raise ValueError(msg)
        if self.n_pct == 0:
            msg = "an EC per 100 ppm N says nothing of a fertiliser without nitrogen"
            raise ValueError(msg)

    @property
    def label(self) -> str:
        """As on the bag: "20-20-20"."""
        return f"{self.n_pct:g}-{self.p2o5_pct:g}-{self.k2o_pct:g}"

    def pct(self, element: Element) -> float:
        """Return the share of this element in the product [%]; NaN if the label does not say."""
        told = {
            "N": self.n_pct,
            "P": self.p2o5_pct * P_IN_P2O5,
            "K": self.k2o_pct * K_IN_K2O,
            "Mg": self.mg_pct,
            "Ca": self.ca_pct,
        }.get(element)
        return float("nan") if told is None else told

    def ec(self, grams_per_litre: ArrayLike) -> FeedEc:
        """Return the EC of this much of it in pure water; proportional to the amount.

        From the label if that gives one. Otherwise the larger of `EC_PER_100_PPM_N` and the sum of
        all ions that N-P-K, Mg and Ca can stand for, which counts where there is little
        nitrogen and much else.
        """
        grams = _amount(grams_per_litre, "grams per litre")
        hundreds_of_n = ppm(grams, self.n_pct) / 100
        if self.ec_per_100_ppm_n is not None:
            return FeedEc(np.asarray(self.ec_per_100_ppm_n * hundreds_of_n), "label")
        by_nitrogen = EC_PER_100_PPM_N * hundreds_of_n
        return FeedEc(np.asarray(np.maximum(by_nitrogen, self._ion_ec() * grams)), "estimate")

    def _ion_ec(self) -> float:
        """Return the EC of 1 g/L [mS/cm], all nitrogen ionic (urea conducts less), balanced.

        Nitrogen is cation or anion as needed; the rest is balanced with sulphate, the best
        conductor of the usual partners.
        """

        def meq(element: Element, charge: int) -> float:
            pct = self.pct(element)
            return 0.0 if np.isnan(pct) else pct * PPM_PER_PCT / ATOMIC_WEIGHT[element] * charge

        nitrogen, phosphate = meq("N", 1), meq("P", 1)
        cations = {"K": meq("K", 1), "Mg": meq("Mg", 2), "Ca": meq("Ca", 2)}
        unbalanced = max(0.0, abs(sum(cations.values()) - phosphate) - nitrogen)
        carried = (
            nitrogen * max(ION_CONDUCTIVITY["NH4"], ION_CONDUCTIVITY["NO3"])
            + phosphate * ION_CONDUCTIVITY["H2PO4"]
            + sum(amount * ION_CONDUCTIVITY[ion] for ion, amount in cations.items())
            + unbalanced * ION_CONDUCTIVITY["SO4"]
        )
        return carried / 1000


# -- salts


@dataclass(frozen=True, slots=True)
class Salt:
    """A pure salt or urea: formula, name, atoms, and the charge that it releases.

    atoms are pairs of symbol and number; equivalents the charges of each sign per molecule
    (0 for urea, which stays whole); cation and anion name the ions in `ION_CONDUCTIVITY`.
    """

    formula: str
    name: str
    atoms: tuple[tuple[str, int], ...]
    equivalents: int = 0
    cation: str = ""
    anion: str = ""

    @property
    def molar_mass(self) -> float:
        """[g/mol]."""
        return sum(ATOMIC_WEIGHT[symbol] * number for symbol, number in self.atoms)

    def pct(self, element: Element) -> float:
        """Return the share of this element in it [%]."""
        return 100 * dict(self.atoms).get(element, 0) * ATOMIC_WEIGHT[element] / self.molar_mass

    def meq_per_litre(self, grams_per_litre: ArrayLike) -> Array:
        """Return the charges of each sign in solution [meq/L]."""
        grams = _amount(grams_per_litre, "grams per litre")
        return np.asarray(1000 * self.equivalents * grams / self.molar_mass)

    def ec(self, grams_per_litre: ArrayLike) -> Array:
        """Return the EC of this much of it in pure water [mS/cm]; an estimate that errs high."""
        charge = self.meq_per_litre(grams_per_litre)
        if self.equivalents == 0:
            return charge
        both = ION_CONDUCTIVITY[self.cation] + ION_CONDUCTIVITY[self.anion]
        return np.asarray(charge * both / 1000)


SALTS: Mapping[str, Salt] = MappingProxyType(
    {
        salt.formula: salt
        for salt in (
            Salt(
                "MgSO4.7H2O",
                "Epsom salt",
                (("Mg", 1), ("S", 1), ("O", 11), ("H", 14)),
                2,
                "Mg",
                "SO4",
            ),
            Salt(
                "Ca(NO3)2.4H2O",
                "calcium nitrate tetrahydrate",
                (("Ca", 1), ("N", 2), ("O", 10), ("H", 8)),
                2,
                "Ca",
                "NO3",
            ),
            Salt(
                "Mg(NO3)2.6H2O",
                "magnesium nitrate hexahydrate",
                (("Mg", 1), ("N", 2), ("O", 12), ("H", 12)),
                2,
                "Mg",
                "NO3",
            ),
            Salt("KNO3", "potassium nitrate", (("K", 1), ("N", 1), ("O", 3)), 1, "K", "NO3"),
            Salt(
                "KH2PO4",
                "monopotassium phosphate",
                (("K", 1), ("H", 2), ("P", 1), ("O", 4)),
                1,
                "K",
                "H2PO4",
            ),
            Salt("K2SO4", "potassium sulphate", (("K", 2), ("S", 1), ("O", 4)), 2, "K", "SO4"),
            Salt("urea", "urea", (("C", 1), ("O", 1), ("N", 2), ("H", 4))),
        )
    }
)
"""The usual supplements by formula, pure.

The calcium nitrate of fertiliser shops is another salt, with ammonium (15.5-0-0, 19 % Ca): give
that one as a fertiliser.
"""


def salt_named(name: str) -> Salt | None:
    """Return the salt of this formula or name in any spelling: "MgSO4·7H2O", "epsom salt"."""
    wanted = name.strip().lower().replace("·", ".").replace("*", ".")
    for salt in SALTS.values():
        if wanted in (salt.formula.lower(), salt.name.lower()):
            return salt
    return None


def names_of_salts() -> str:
    """Return the names of all salts; shops sell more than one thing as calcium nitrate."""
    names = ", ".join(salt.name for salt in SALTS.values())
    return f"{names}; the calcium nitrate of shops, 15.5-0-0, is a fertiliser"


# -- amounts


def ppm(grams_per_litre: ArrayLike, pct: ArrayLike) -> Array:
    """Return what a product that holds pct [%] of an element gives of it [mg/L]."""
    grams = _amount(grams_per_litre, "grams per litre")
    return np.asarray(PPM_PER_PCT * grams * _amount(pct, "percent"))


def grams_per_litre_for(wanted_ppm: ArrayLike, pct: ArrayLike) -> Array:
    """Return the grams per litre of a product with pct [%] that give wanted_ppm [mg/L].

    Raises ValueError where the product holds none of it.
    """
    share = _amount(pct, "percent")
    if np.any(share == 0):
        msg = "a product without the element cannot give any of it"
        raise ValueError(msg)
    return np.asarray(_amount(wanted_ppm, "ppm") / (PPM_PER_PCT * share))


def ounces(grams_per_litre: ArrayLike, us_gallons: ArrayLike = 100.0) -> Array:
    """Return the same strength in ounces for this many US gallons, as American tables have it.

    Those tables round: they take 75 ppm for 1 oz of pure element in 100 gallons, exact is 74.9.
    """
    litres = _amount(us_gallons, "gallons") * US_GALLON_L
    return np.asarray(_amount(grams_per_litre, "grams per litre") * litres / OUNCE_G)


@dataclass(frozen=True, slots=True, eq=False)
class Mix:
    """What goes into a litre: fertiliser, salts, and the water's own EC [mS/cm].

    Amounts [g/L] and water_ec may be arrays; they broadcast, and so do all results.
    Supplements are pairs of salt and amount.
    """

    fertiliser: Fertiliser
    grams_per_litre: ArrayLike
    water_ec: ArrayLike
    supplements: tuple[tuple[Salt, ArrayLike], ...] = ()

    def __post_init__(self) -> None:
        _amount(self.grams_per_litre, "grams per litre")
        _amount(self.water_ec, "the EC of the water")
        for salt, grams in self.supplements:
            _amount(grams, f"grams per litre of {salt.formula}")

    def weights(self) -> Iterator[tuple[str, Array]]:
        """Yield everything that goes in, by its label or formula [g/L]."""
        yield self.fertiliser.label, np.asarray(self.grams_per_litre, dtype=np.float64)
        for salt, grams in self.supplements:
            yield salt.formula, np.asarray(grams, dtype=np.float64)

    def ppm_of_fertiliser(self, element: Element) -> Array:
        """Return what the fertiliser gives [mg/L]; NaN where its label does not say."""
        grams = np.asarray(self.grams_per_litre, dtype=np.float64)
        return np.asarray(np.where(grams == 0, 0.0, ppm(grams, self.fertiliser.pct(element))))

    def ppm_of_salts(self, element: Element) -> Array:
        """Return what the supplements give [mg/L]."""
        parts = [ppm(grams, salt.pct(element)) for salt, grams in self.supplements]
        return np.asarray(sum(parts, np.zeros(())))

    def ppm(self, element: Element) -> Array:
        """Return what both give [mg/L], without the water's own; NaN if the label does not say."""
        return np.asarray(self.ppm_of_fertiliser(element) + self.ppm_of_salts(element))

    @property
    def ec_of_feed(self) -> FeedEc:
        """The fertiliser's part of the EC, and where it comes from."""
        return self.fertiliser.ec(self.grams_per_litre)

    @property
    def ec_of_salts(self) -> Array:
        """The supplements' part of the EC [mS/cm]; estimated, errs high."""
        parts = [salt.ec(grams) for salt, grams in self.supplements]
        return np.asarray(sum(parts, np.zeros(())))

    @property
    def ec(self) -> Array:
        """EC of the whole [mS/cm]: the parts add up (University of New Hampshire Extension)."""
        water = np.asarray(self.water_ec, dtype=np.float64)
        return np.asarray(water + self.ec_of_feed.value + self.ec_of_salts)

    def grams_within(self, limit_ec: ArrayLike) -> Array:
        """Return the most fertiliser [g/L] with which the whole stays within limit_ec [mS/cm].

        0 where water and salts alone reach it, infinite for a fertiliser without salts.
        """
        water = np.asarray(self.water_ec, dtype=np.float64)
        room = _amount(limit_ec, "the limit") - water - self.ec_of_salts
        of_one_gram = float(self.fertiliser.ec(1.0).value)
        if of_one_gram == 0:
            return np.asarray(np.where(room >= 0, np.inf, np.where(np.isnan(room), np.nan, 0.0)))
        return np.asarray(np.maximum(room, 0.0) / of_one_gram)


# -- drying


def concentration_factor(lost_share: ArrayLike) -> Array:
    """Return how many times stronger a film is when lost_share f of it has dried: 1 / (1 - f).

    Mass balance with no uptake, so it errs high. lost_share is 0 to below 1; else ValueError.

    Examples
    --------
    >>> float(concentration_factor(0.75))
    4.0
    """
    lost = np.asarray(lost_share, dtype=np.float64)
    if np.any(lost < 0) or np.any(lost >= 1):
        msg = "the share of a film that has dried must be at least 0 and below 1"
        raise ValueError(msg)
    return np.asarray(1.0 / (1.0 - lost))


def share_lost_at(factor: ArrayLike) -> Array:
    """Return the share of a film that has dried when it is factor times as strong.

    1 for an infinite factor.

    The inverse of `concentration_factor`. ValueError for a factor below 1.
    """
    times = np.asarray(factor, dtype=np.float64)
    if np.any(times < 1):
        msg = "a drying film only gets stronger: the factor must be at least 1"
        raise ValueError(msg)
    return np.asarray(1.0 - 1.0 / times)


def film_ec(ec: ArrayLike, lost_share: ArrayLike) -> Array:
    """Return the EC of a film [mS/cm] of which lost_share has dried, from a solution of EC ec.

    EC is taken as proportional to salt, as it is in weak solutions; in strong ones it errs high.
    """
    return np.asarray(_amount(ec, "EC") * concentration_factor(lost_share))
