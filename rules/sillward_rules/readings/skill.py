"""How good the forecasts of a site's nights have been: what each source told, against the lows that
were read at spots outdoors.

A thermometer at a spot differs from a forecast for two reasons that no reading tells apart: the
spot is not the open ground that forecasts are for, and the source may be off at this place. What
both together come to on average is taken away at every spot, for every source by itself, as a
correction that is learned from readings takes it away too. What is left is what decides whether a
night is told right.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from statistics import NormalDist
from typing import Self

import numpy as np

from sillward_rules.arrays import Array
from sillward_rules.scores import SURE, MeanDifference, crps_gaussian, mean_difference
from sillward_rules.weather.past_lows import PastLows
from sillward_rules.weather.uncertainty import USUAL_LEAD_H, usual_error_k

DAYS = tuple(range(1, len(USUAL_LEAD_H) + 1))
"""Lead days: 1 is the night that begins on the day of the forecast. Each is judged by the forecasts
near its lead time in `USUAL_LEAD_H`, so that day 1 is an afternoon's forecast of the next dawn."""

LEAST_NIGHTS = 10
"""A spot with fewer nights is left out, and a lead day with fewer is not told of. Judgement: the
mean of 10 errors of 1.5 K is known to 0.5 K."""

ENOUGH_NIGHTS = 30
"""Sources are compared from so many nights on that both have told. Judgement: a month, as for the
errors that are learned."""

TOLD_RANGE = 0.8
"""Chance of the range of a low that is told and judged here."""

_RANGE_SD = NormalDist().inv_cdf((1 + TOLD_RANGE) / 2)


@dataclass(frozen=True, slots=True, eq=False)
class ReadLows:
    """The lows that were read at spots outdoors.

    - night (night,): the number of each night, in order: the ordinal of its evening's date.
    - low_c (night, spot): the low [°C]; NaN where none was read.
    """

    night: np.ndarray
    low_c: Array


@dataclass(frozen=True, slots=True)
class LeadSkill:
    """How good the forecasts of one source have been on one lead day.

    - nights: how many there are that were read at one spot or more. At several spots the errors of
      a night are averaged.
    - bias_k: told less read [K], on average: of the spots and of the source together.
    - mae_k, rmse_k: mean size of the error, and root of its mean square, without that bias [K].
    - crps_k: the continuous ranked probability score of the told low with its spread [K]; lower is
      better.
    - within: the share of nights whose low came within the range that was told with 80 %.
    - range_off: `within` less 0.8, with the interval that holds it; None of too few nights.
    """

    source: str
    day: int
    nights: int
    bias_k: float
    mae_k: float
    rmse_k: float
    crps_k: float
    within: float
    range_off: MeanDifference | None


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two sources over the nights of a lead day that both have told.

    better_k : mean size of the error of `source` less that of `other` [K]: above 0 where the other
    is better.
    """

    source: str
    other: str
    day: int
    better_k: MeanDifference


@dataclass(frozen=True, slots=True)
class Skill:
    """How good all sources have been, and the first of them compared with the others."""

    rows: tuple[LeadSkill, ...]
    comparisons: tuple[Comparison, ...]

    @property
    def better(self) -> Comparison | None:
        """The comparison with the source that is clearly better on the first lead day than the one
        in use, by the most if there are several; None if there is none."""
        clear = [
            found for found in self.comparisons if found.day == DAYS[0] and found.better_k.low > 0
        ]
        return max(clear, key=lambda found: found.better_k.mean, default=None)


def skill(told: Mapping[str, PastLows], read: ReadLows) -> Skill:
    """Return how good the sources have been.

    told : what each source said, the one in use first. Each other one is compared with it; with
    several the intervals are widened so that all hold together with probability `SURE`
    (Bonferroni).
    """
    nights = {source: _Nights.of(lows, read) for source, lows in told.items()}
    rows = tuple(row for source, found in nights.items() for row in _rows(source, found))
    first, *others = nights or [""]
    sure = 1 - (1 - SURE) / max(len(others), 1)
    comparisons = []
    for other in others:
        for day in DAYS:
            gain = nights[first].size_k(day) - nights[other].size_k(day)
            found = mean_difference(gain, sure)
            if found is not None and found.pairs >= ENOUGH_NIGHTS:
                comparisons.append(Comparison(first, other, day, found))
    return Skill(rows, tuple(comparisons))


@dataclass(frozen=True, slots=True, eq=False)
class _Nights:
    """The errors of one source on the nights that were read.

    off_k, left_k (day, night, spot): told less read [K], and the same without what a spot and the
    source are off on average. sd_k (day, night): the told spread [K]. NaN where not known.
    """

    off_k: Array
    left_k: Array
    sd_k: Array

    @classmethod
    def of(cls, told: PastLows, read: ReadLows) -> Self:
        """Compare what a source told with what was read."""
        low_c = np.full((len(DAYS), read.night.size), np.nan)
        sd_k = np.full(low_c.shape, np.nan)
        for row, lead_h in enumerate(USUAL_LEAD_H):
            near = told.near(lead_h)
            _, here, there = np.intersect1d(read.night, told.night[near], return_indices=True)
            chosen = near[there]
            low_c[row, here] = told.low_c[chosen]
            usual = usual_error_k(told.lead_h[chosen])
            sd_k[row, here] = np.where(np.isnan(told.sd_k[chosen]), usual, told.sd_k[chosen])
        off_k = low_c[:, :, None] - read.low_c
        return cls(off_k, off_k - _usual_off(off_k), sd_k)

    def size_k(self, day: int) -> Array:
        """(night,) size of the error on a lead day, averaged over spots [K]."""
        return _averaged(np.abs(self.left_k[day - 1]))


def _usual_off(off_k: Array) -> Array:
    """Return what each spot is off on average, for each night (night, spot) [K].

    It is the mean of all other nights, so that no night is judged by itself, on the first lead day
    that has enough of them. The same is taken away on all days: what a source drifts off with the
    lead time stays. NaN at a spot with fewer than `LEAST_NIGHTS`.
    """
    known = np.isfinite(off_k)
    count = known.sum(axis=1)
    first = np.argmax(count >= LEAST_NIGHTS, axis=0)
    spot = np.arange(off_k.shape[2])
    its_own = np.where(known, off_k, 0.0)[first, :, spot].T
    others = count[first, spot] - known[first, :, spot].T
    enough = count[first, spot] >= LEAST_NIGHTS
    mean = (its_own.sum(axis=0) - its_own) / np.maximum(others, 1)
    return np.asarray(np.where(enough, mean, np.nan))


def _averaged(values: Array) -> Array:
    """Return the mean over spots, the last axis; NaN where none is known."""
    known = np.isfinite(values)
    count = known.sum(axis=-1)
    total = np.where(known, values, 0.0).sum(axis=-1)
    return np.asarray(np.where(count > 0, total / np.maximum(count, 1), np.nan))


def _rows(source: str, nights: _Nights) -> Iterator[LeadSkill]:
    """Yield how good a source has been on each lead day of which enough is known."""
    for day in DAYS:
        left_k, sd_k = nights.left_k[day - 1], nights.sd_k[day - 1][:, None]
        off_k = np.where(np.isfinite(left_k), nights.off_k[day - 1], np.nan)
        within = np.where(np.isnan(left_k), np.nan, np.abs(left_k) <= _RANGE_SD * sd_k)
        of_nights = [
            _averaged(values)
            for values in (
                off_k,
                np.abs(left_k),
                left_k**2,
                crps_gaussian(left_k, 0.0, sd_k),
                within,
            )
        ]
        known = np.isfinite(of_nights[0])
        if known.sum() < LEAST_NIGHTS:
            continue
        bias, size, square, crps, share = (float(values[known].mean()) for values in of_nights)
        yield LeadSkill(
            source,
            day,
            nights=int(known.sum()),
            bias_k=bias,
            mae_k=size,
            rmse_k=square**0.5,
            crps_k=crps,
            within=share,
            range_off=mean_difference(of_nights[4] - TOLD_RANGE),
        )
