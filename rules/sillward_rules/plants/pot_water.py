"""The water in a pot: how much of what a plant can take up is left, and how surely that is known.

A pot is a bucket that holds what its medium gives to roots, between draining freely and wilting.
`Buckets` follows many of them at once, as a Kalman filter of two numbers each: the share of the
water that is left, and the plant's own loss as a multiple of what is worked out for plants of its
kind and size. Doubt about that factor makes the share less sure with all that is lost. A watering
makes the share sure again. A look does so in part, and where it tells of another loss than was
worked out, the factor learns from it.

What is told of a plant between two mornings is kept as it was said (`PotLook`, and `Wetting` in
`plants.care`), because only the weather says what it means.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Literal, TypeAlias, get_args

import numpy as np

from sillward_rules.arrays import Array, filled
from sillward_rules.plants.pot import Medium

AVAILABLE: Mapping[Medium, float] = {
    "bark": 0.18,
    "moss": 0.4,
    "peat": 0.3,
    "soil": 0.22,
    "mineral": 0.15,
}
"""Water that roots can take up, as a share of the volume of a medium that has drained. Easily
available water and buffer of De Boodt and Verdonck 1972, as container studies list them (Raviv and
Lieth, Soilless Culture; from memory): pine bark 15 to 25 %, peat 25 to 35 %, pumice, perlite and
expanded clay 10 to 20 %. Sphagnum moss as judgement: it holds most of what it soaks up loosely.
Soil, a mix with loam, as judgement: between mineral and peat."""

PotWord: TypeAlias = Literal["dry", "moist", "wet"]

POT_WORDS: tuple[PotWord, ...] = get_args(PotWord)

LOOKS: Mapping[PotWord, tuple[float, float]] = {
    "dry": (0.15, 0.12),
    "moist": (0.55, 0.18),
    "wet": (0.92, 0.08),
}
"""The share of its water that a pot has left by a look, and the standard deviation of that.
Judgement: a finger and a lifted pot tell a third of the range apart, and wet best of all."""

TEACHING: frozenset[PotWord] = frozenset({"dry", "moist"})
"""Looks that teach what the plant itself drinks. That a pot is wet is due more often to a watering
or rain than to a plant that drinks little."""

SURPRISE_SD = 2.5
"""A look that is so many standard deviations from what was worked out begins anew. Judgement: one
look in a hundred is that far off by itself, a forgotten watering is commoner."""

WETTER_SD = 1.0
"""A look that is wetter than was worked out by more standard deviations than this teaches nothing.
Judgement: as like as not somebody has watered, and to take that for a plant that drinks little
would leave it dry."""

ANEW = 1e6
"""The variance with which nothing but a look counts."""

LATE_LOOK_SD = 0.1
"""A look that is told only after a morning has been counted is this much less sure. Judgement."""

FULL_SD = 0.06
"""After a watering the pot is full to within this (standard deviation, as a share). Judgement: bark
that was dry sheds water for a while, and a hand is not always patient."""

WAKING_SHARE = 0.25
"""A plant that has come out of a dry rest is given this share of what its pot holds at a time,
until it has roots. Judgement: enough to wet what roots there are; "a little" in handbooks."""

FACTOR_SD = 0.35
"""Standard deviation of the plant's own loss, as a multiple of what is worked out. Judgement: plant
factors have classes a third apart (WUCOLS), and a canopy's size is guessed or grows."""

FACTOR_RANGE = (0.3, 3.0)
"""The plant's own loss stays within these multiples. Judgement."""

WEATHER_SD, WEATHER_H = 0.15, 10.0
"""The loss of a day is off by this share from the weather alone, over so many hours that count.
Judgement: forecast evapotranspiration is within 10 to 20 % on the next day."""

RAIN_SD = 0.5
"""What rain brings is off by this share of it. Judgement: showers miss, leaves lead water into a
pot or keep it out."""

UNSEEN_SD = 0.5
"""The loss of hours without weather is off by this share of it. Judgement."""

MOST_SD = 0.35
"""A share is never less sure than this: between nothing and all, 0.29 is no knowledge at all."""


@dataclass(frozen=True, slots=True)
class PotWater:
    """The water of a pot at a moment. Rounded, so that plants that went through the same stay
    alike.

    - share, sd: the share of its available water that is left, and the standard deviation.
    - factor, factor_sd: the plant's own loss, as a multiple of what is worked out.
    - covariance: of the two; never above 0, as more loss is less water.
    - seen_at: when it was last filled or looked at; None if that is not known.
    - lost: whether nothing is known any more since `at` but the plant's own loss.
    """

    at: datetime
    share: float
    sd: float
    factor: float = 1.0
    factor_sd: float = FACTOR_SD
    covariance: float = 0.0
    seen_at: datetime | None = None
    lost: bool = False

    def lost_at(self, now: datetime) -> "PotWater":
        """Return it once nothing is known any more."""
        if self.lost:
            return self
        return PotWater(now, 0.0, MOST_SD, self.factor, self.factor_sd, lost=True)


@dataclass(frozen=True, slots=True)
class PotLook:
    """What a grower saw or felt of the water in a pot.

    - at: when; told_at: when it was said.
    """

    word: PotWord
    at: datetime
    told_at: datetime


@dataclass(slots=True, eq=False)
class Buckets:
    """The water of many pots; arrays (pot,), changed in place. Fields as in `PotWater`.

    share is NaN where nothing is known; whatever happens to such a pot, it stays unknown until it
    is filled or looked at.
    """

    share: Array
    variance: Array
    factor: Array
    factor_variance: Array
    covariance: Array

    @classmethod
    def of(cls, known: list[PotWater | None]) -> "Buckets":
        """Return the buckets of these pots; None is not known."""
        none = PotWater(datetime.min.replace(tzinfo=UTC), 0.0, MOST_SD, lost=True)
        all_ = [one or none for one in known]

        def column(values: list[float]) -> Array:
            return np.array(values, dtype=np.float64)

        return cls(
            column([np.nan if one.lost else one.share for one in all_]),
            column([one.sd for one in all_]) ** 2,
            column([one.factor for one in all_]),
            column([one.factor_sd for one in all_]) ** 2,
            column([one.covariance for one in all_]),
        )

    def copy(self) -> "Buckets":
        """Return buckets that change by themselves."""
        return self._each(np.copy)

    def twice(self) -> "Buckets":
        """Return them twice, to go on in two ways at once: arrays (2, pot)."""
        return self._each(lambda column: np.stack([column, column]))

    def way(self, number: int) -> "Buckets":
        """Return one of two ways, (pot,). It changes with them until the next hour passes."""
        return self._each(lambda column: np.asarray(column[number]))

    def either(self, second: np.ndarray) -> "Buckets":
        """Return for each pot one of two ways: the second where (pot,) says so."""
        return self._each(lambda column: np.where(second, column[1], column[0]))

    def _each(self, of: Callable[[Array], Array]) -> "Buckets":
        return Buckets(
            of(self.share),
            of(self.variance),
            of(self.factor),
            of(self.factor_variance),
            of(self.covariance),
        )

    @property
    def sd(self) -> Array:
        """(pot,) the standard deviation of the share."""
        return np.sqrt(self.variance)

    def lose(self, nominal: Array, noise: Array, slope: Array | float = 0.0) -> None:
        """Take away what was lost.

        nominal (pot,) : the loss of a plant with a factor of 1, as a share of the available water.
        noise (pot,) : the variance that the weather adds to it. Nothing runs below empty.
        slope (pot,) : how much less is lost where so much less is left, for a factor of 1: pots
        that dry out end alike, however they began.
        """
        most = np.where(np.isnan(self.share), np.inf, self.share)
        lost = np.minimum(self.factor * nominal, most)
        per_factor = lost / self.factor
        stays = np.maximum(1.0 - self.factor * slope, 0.0)
        self.share -= lost
        self.variance = (
            stays**2 * self.variance
            - 2.0 * stays * per_factor * self.covariance
            + per_factor**2 * self.factor_variance
            + noise
        )
        self.covariance = stays * self.covariance - per_factor * self.factor_variance
        self._bound()

    def gain(self, water: Array) -> None:
        """Add rain (pot,), as a share of the available water; what is too much runs off."""
        gained = np.minimum(water, 1.0 - np.where(np.isnan(self.share), 1.0, self.share))
        self.share += gained
        self.variance += (RAIN_SD * gained) ** 2
        self._bound()

    def fill(self, pots: np.ndarray) -> None:
        """Water these pots (indices) until it runs through."""
        self.share[pots] = 1.0
        self.variance[pots] = FULL_SD**2
        self.covariance[pots] = 0.0

    def pour(self, pots: np.ndarray, share: float) -> None:
        """Give these pots (indices) so much water, as a share; what is too much runs off."""
        self.share[pots] = np.minimum(filled(self.share[pots], 0.0) + share, 1.0)
        self.variance[pots] += FULL_SD**2
        self._bound()

    def look(
        self,
        pots: np.ndarray,
        share: Array,
        sd: Array,
        *,
        teaches: bool = True,
        all_told: bool = True,
    ) -> None:
        """Take a look at these pots (indices) into account: what it showed, and how surely.

        teaches: whether it says anything of the plant's own loss. One that contradicts what was
        worked out (`SURPRISE_SD`) never does: something happened of which nobody has told, and it
        alone counts.

        all_told: whether every watering is known. Otherwise a pot that is wetter than was worked
        out has been watered, and its plant drinks no less. One that is wetter by far
        (`WETTER_SD`) teaches nothing in any case.
        """
        off = share - self.share[pots]
        total = self.variance[pots] + sd**2
        anew = ~(np.abs(off) <= SURPRISE_SD * np.sqrt(total))  # also where nothing is known
        self.share[pots[anew]], self.variance[pots[anew]] = share[anew], ANEW
        self.covariance[pots[anew]] = 0.0
        off, total = np.where(anew, 0.0, off), np.where(anew, ANEW + sd**2, total)
        gain = self.variance[pots] / total
        learns = teaches & (off <= (WETTER_SD * np.sqrt(total) if all_told else 0.0))
        gain_of_factor = self.covariance[pots] / total * learns
        self.share[pots] = np.clip(self.share[pots] + gain * off, 0.0, 1.0)
        self.factor[pots] = np.clip(self.factor[pots] + gain_of_factor * off, *FACTOR_RANGE)
        self.factor_variance[pots] -= gain_of_factor * self.covariance[pots]  # none if not taught
        self.covariance[pots] *= 1.0 - gain
        self.variance[pots] *= 1.0 - gain
        self._bound()

    def _bound(self) -> None:
        np.minimum(self.variance, MOST_SD**2, out=self.variance)
        most = np.sqrt(self.variance * self.factor_variance)
        np.maximum(self.covariance, -most, out=self.covariance)
        np.minimum(self.covariance, 0.0, out=self.covariance)

    def at(self, now: datetime) -> list[PotWater | None]:
        """Return each of them as it is kept; None where nothing is known."""
        columns = (
            np.round(self.share, 3),
            np.round(self.sd, 3),
            np.round(self.factor, 2),
            np.round(np.sqrt(self.factor_variance), 3),
            np.round(self.covariance, 4),
        )
        rows = zip(*(column.tolist() for column in columns), strict=True)
        return [None if np.isnan(row[0]) else PotWater(now, *row) for row in rows]
