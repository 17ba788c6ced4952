"""How good forecasts and decisions were, once it is known what happened: proper scores, reliability
and economic value.

Lower is better for the continuous ranked probability score (CRPS), the logarithmic score and the
Brier score; all three are *proper*: to say what one believes is the best strategy. A chance is
0..1; what happened is 0 or 1, or a boolean. NaN is unknown: scores of single nights are NaN there,
sums and tables leave such nights out.
"""

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike

from sillward_rules.arrays import Array, erfc

CHANCE_EDGES = (0.0, 0.05, 0.15, 0.25, 0.35, 0.45, 0.55, 0.65, 0.75, 0.85, 0.95, 1.0)
"""Bounds of the bins of a reliability table. Judgement: tens of percent, as people read chances, in
the middle of their bins; "below 5 %" and "above 95 %" are bins of their own."""

SURE = 0.95
"""Probability with which an interval holds the true value. The convention."""

LEAST_PAIRS = 10
"""Of fewer pairs no interval of their mean difference is given. Judgement: with 10 it rests on one
degree of freedom, and is thirteen standard errors wide."""


def crps_gaussian(observed: ArrayLike, mean: ArrayLike, sd: ArrayLike) -> Array:
    """Return the CRPS of a Gaussian forecast, in the unit of the quantity; shapes broadcast.

    A deviation of 0 is a forecast without doubt: its score is the absolute error.

    References
    ----------
    Gneiting, Raftery, Westveld and Goldman 2005, Mon. Wea. Rev. 133:1098, eq. 5.

    Examples
    --------
    >>> round(float(crps_gaussian(8.0, 10.0, 2.0)), 6)
    1.204883
    """
    off, spread = _error(observed, mean), _deviation(sd)
    scale = np.where(spread > 0, spread, 1.0)
    z = off / scale
    below = erfc(-z / math.sqrt(2.0)) / 2
    density = np.exp(-(z**2) / 2) / math.sqrt(2 * math.pi)
    score = scale * (z * (2 * below - 1) + 2 * density - 1 / math.sqrt(math.pi))
    return np.asarray(np.where(spread == 0, np.abs(off), score + 0 * spread))


def crps_ensemble(observed: ArrayLike, members: ArrayLike, *, fair: bool = False) -> Array:
    """Return the CRPS of an ensemble forecast, in the unit of the quantity.

    It is the mean distance of the members from what was observed, less half their mean distance
    from each other. With `fair` that distance is over pairs of different members: the score then
    does not punish an ensemble for being small, and its mean is that of the distribution the
    members were drawn from. Raise ValueError without members, or if `fair` and only one.

    Parameters
    ----------
    observed : ArrayLike (...)
        What happened.
    members : ArrayLike (member, ...)
        The members; broadcast against `observed` behind the first axis. NaN makes the score NaN.
    fair : bool
        Whether to score the distribution behind the members rather than the members themselves.

    References
    ----------
    Gneiting and Raftery 2007, J. Am. Stat. Assoc. 102:359, eq. 21. Fair: Ferro 2014, Q. J. R.
    Meteorol. Soc. 140:1917.

    Examples
    --------
    >>> round(float(crps_ensemble(9.5, [8, 9, 10, 11, 13])), 6)
    0.54
    """
    drawn = np.sort(np.asarray(members, dtype=np.float64), axis=0)
    count = drawn.shape[0] if drawn.ndim else 0
    if count < (2 if fair else 1):
        msg = "scores: too few members"
        raise ValueError(msg)
    distance = np.abs(drawn - np.asarray(observed, dtype=np.float64)).mean(axis=0)
    # The distances of all pairs, from the order alone: the k-th of n members is the larger one of
    # k - 1 pairs and the smaller one of n - k.
    weights = 2 * np.arange(count) - (count - 1)
    pairs = np.tensordot(weights.astype(np.float64), drawn, axes=1)
    return np.asarray(distance - pairs / (count * (count - 1 if fair else count)))


def log_score_gaussian(observed: ArrayLike, mean: ArrayLike, sd: ArrayLike) -> Array:
    """Return the logarithmic score of a Gaussian forecast: -ln of its density; shapes broadcast.

    Infinite where the deviation is 0 and the forecast wrong, -infinite where it is right.

    References
    ----------
    Good 1952, J. R. Stat. Soc. B 14:107. Gneiting and Raftery 2007, eq. 27.

    Examples
    --------
    >>> round(float(log_score_gaussian(8.0, 10.0, 2.0)), 6)
    2.112086
    """
    off, spread = _error(observed, mean), _deviation(sd)
    scale = np.where(spread > 0, spread, 1.0)
    score = np.log(scale) + math.log(2 * math.pi) / 2 + (off / scale) ** 2 / 2
    certain = np.where(off == 0, -np.inf, np.inf) + 0 * off
    return np.asarray(np.where(spread == 0, certain, score + 0 * spread))


def brier_score(chance: ArrayLike, happened: ArrayLike) -> float:
    """Return the mean squared difference of chances and what happened, 0 to 1.

    chance, happened : one shape. NaN where no night is known.

    References
    ----------
    Brier 1950, Mon. Wea. Rev. 78:1, halved as is now usual.
    """
    told, came = _known(chance, happened)
    return float(((told - came) ** 2).mean()) if told.size else math.nan


@dataclass(frozen=True, slots=True)
class BrierParts:
    """What a Brier score is made of; it is reliability - resolution + uncertainty.

    reliability : how far told chances are from the shares in which they came true; 0 is perfect.
    resolution : how far these shares are from the overall share; higher is better.
    uncertainty : the score of always telling the overall share.
    """

    reliability: float
    resolution: float
    uncertainty: float

    @property
    def score(self) -> float:
        """The Brier score."""
        return self.reliability - self.resolution + self.uncertainty

    @property
    def skill(self) -> float:
        """Share of the uncertainty that the forecasts took away: 1 perfect, 0 none, or worse."""
        return 1 - self.score / self.uncertainty if self.uncertainty else math.nan


def brier_parts(chance: ArrayLike, happened: ArrayLike) -> BrierParts:
    """Return the parts of the Brier score. Each distinct chance is a class of its own.

    So the parts add up to the score exactly. Chances that are all different have no reliability to
    speak of: round them first. chance, happened : one shape. All NaN where no night is known.

    References
    ----------
    Murphy 1973, J. Appl. Meteorol. 12:595.
    """
    told, came = _known(chance, happened)
    if not told.size:
        return BrierParts(math.nan, math.nan, math.nan)
    values, classes = np.unique(told, return_inverse=True)
    count = np.bincount(classes.reshape(-1))
    share = np.bincount(classes.reshape(-1), weights=came) / count
    overall = came.mean()
    return BrierParts(
        reliability=float((count * (values - share) ** 2).sum() / told.size),
        resolution=float((count * (share - overall) ** 2).sum() / told.size),
        uncertainty=float(overall * (1 - overall)),
    )


@dataclass(frozen=True, slots=True, eq=False)
class Reliability:
    """Told chances against what came of them; all arrays (bin,), empty bins left out.

    bins : which of the bins each is, 0 for the first.
    told : mean chance that was told.
    came_true : share of what it was told of for which it happened.
    nights : how many nights they are from.
    low, high : the interval that holds the true share with probability `SURE`, from counting so
    many independent nights.
    """

    bins: np.ndarray
    told: Array
    came_true: Array
    nights: np.ndarray
    low: Array
    high: Array

    @property
    def agrees(self) -> np.ndarray:
        """(bin,) whether the told chance lies within the sampling error of what came true."""
        return np.asarray((self.low <= self.told) & (self.told <= self.high))


def reliability(
    chance: ArrayLike, happened: ArrayLike, edges: ArrayLike = CHANCE_EDGES
) -> Reliability:
    """Return the reliability table of chances. A chance on an edge belongs to the bin above it.

    chance, happened : one shape. edges (edge,) : rising, from at most 0 to at least 1; else
    ValueError.

    References
    ----------
    Wilks, Statistical Methods in the Atmospheric Sciences, ch. 8 (reliability diagrams).
    """
    told, came = _known(chance, happened)
    bins = bin_of(told, edges)
    count = np.bincount(bins)
    total, hits = (np.bincount(bins, weights=each) for each in (told, came))
    return reliability_of_sums(total, hits, count, count)


def bin_of(chance: ArrayLike, edges: ArrayLike = CHANCE_EDGES) -> np.ndarray:
    """Return the bin of each chance, 0 for the first; any shape. Chances are known.

    edges (edge,) : as in `reliability`.
    """
    bounds = np.asarray(edges, dtype=np.float64)
    if bounds.size < 2 or np.any(np.diff(bounds) <= 0) or bounds[0] > 0 or bounds[-1] < 1:
        msg = "scores: the edges do not rise from 0 to 1"
        raise ValueError(msg)
    found = np.searchsorted(bounds, np.asarray(chance, dtype=np.float64), side="right") - 1
    return np.asarray(np.clip(found, 0, bounds.size - 2))


def reliability_of_sums(
    told: ArrayLike, hits: ArrayLike, count: ArrayLike, nights: ArrayLike
) -> Reliability:
    """Return the reliability table of chances that were summed up by bin; all (bin,).

    Parameters
    ----------
    told, hits, count : ArrayLike
        The sum of the chances of each bin, how often it happened, and how many chances there were.
    nights : ArrayLike
        From how many nights they are. Plants of one night share its weather, so that the sampling
        error is that of the nights, not of the plants.
    """
    total, came = np.asarray(told, dtype=np.float64), np.asarray(hits, dtype=np.float64)
    number, days = np.asarray(count), np.asarray(nights)
    used = np.flatnonzero(number)
    share = came[used] / number[used]
    low, high = share_interval(share * days[used], days[used])
    return Reliability(used, total[used] / number[used], share, days[used], low, high)


def share_interval(
    hits: ArrayLike, count: ArrayLike, probability: float = SURE
) -> tuple[Array, Array]:
    """Return the bounds of the true share, of which so many of a count were seen; any shape.

    Wilson's interval, which stays within 0..1 and holds for few nights and for shares near 0. NaN
    where the count is 0.

    References
    ----------
    Wilson 1927, J. Am. Stat. Assoc. 22:209.
    """
    z2 = NormalDist().inv_cdf((1 + probability) / 2) ** 2
    n = np.asarray(count, dtype=np.float64)
    n = np.where(n > 0, n, np.nan)
    share = np.asarray(hits, dtype=np.float64) / n
    middle = (share + z2 / (2 * n)) / (1 + z2 / n)
    half = np.sqrt(z2 * (share * (1 - share) / n + z2 / (4 * n**2))) / (1 + z2 / n)
    return np.asarray(np.maximum(middle - half, 0.0)), np.asarray(np.minimum(middle + half, 1.0))


@dataclass(frozen=True, slots=True)
class MeanDifference:
    """The mean of differences that follow each other in time, in their unit.

    low, high : the interval that holds the true mean with the probability asked for. pairs : how
    many differences it is from.
    """

    mean: float
    low: float
    high: float
    pairs: int

    @property
    def is_clear(self) -> bool:
        """Whether the interval leaves out 0."""
        return self.low > 0 or self.high < 0


def mean_difference(differences: ArrayLike, probability: float = SURE) -> MeanDifference | None:
    """Return the mean of the differences of two scores, and how sure it is; None of too few.

    Nights that follow each other are not independent: the weather that one forecast is worse in
    lasts for days. So the variance of the mean is that of the slowest waves of the series, from
    its first nu cosine terms, with nu = 0.4 n^(2/3), and the interval is that of Student's t with
    nu degrees of freedom. In simulated series with a correlation of 0.7 from one night to the next
    it leaves out the true mean in 5 to 8 of 100 cases where it should in 5; an interval for
    independent nights does in 22 of 100 (`tests/rules/test_scores.py`).

    Parameters
    ----------
    differences : ArrayLike (night,)
        In order of time; NaN is left out.
    probability : float
        Of the interval, 0 to 1.

    References
    ----------
    Lazarus, Lewis, Stock and Watson 2018, J. Bus. Econ. Stat. 36:541 (equal-weighted cosine
    estimator; from memory). Diebold and Mariano 1995, J. Bus. Econ. Stat. 13:253, for comparing
    forecasts by their mean difference in score.
    """
    values = np.asarray(differences, dtype=np.float64)
    values = values[np.isfinite(values)]
    n = values.size
    if n < LEAST_PAIRS:
        return None
    terms = int(0.4 * n ** (2 / 3))
    wave = np.arange(1, terms + 1)[:, None] * np.pi * (np.arange(n) + 0.5) / n
    parts = math.sqrt(2 / n) * (np.cos(wave) @ values)
    standard_error = math.sqrt(float((parts**2).mean()) / n)
    half = student_t((1 + probability) / 2, terms) * standard_error
    mean = float(values.mean())
    return MeanDifference(mean, mean - half, mean + half, n)


def student_t(probability: float, degrees: int) -> float:
    """Return the quantile of Student's t for a probability of 0.5 to 1, below 1.

    degrees : of freedom, 1 or more.

    References
    ----------
    Abramowitz and Stegun 1964, 26.7.3 and 26.7.4 (the distribution as a finite sum of cosines; the
    angle is found by bisection).

    Examples
    --------
    >>> round(student_t(0.975, 10), 3)
    2.228
    """
    low, high = 0.0, math.pi / 2
    for _ in range(60):
        middle = (low + high) / 2
        if _within_angle(middle, degrees) < 2 * probability - 1:
            low = middle
        else:
            high = middle
    return math.sqrt(degrees) * math.tan(low)


def _within_angle(angle: float, degrees: int) -> float:
    """Return the probability that |t| is below sqrt(degrees) tan(angle)."""
    sine, cosine = math.sin(angle), math.cos(angle)
    total, term = 0.0, cosine if degrees % 2 else 1.0
    for step in range(degrees % 2, degrees - 1, 2):
        total += term
        term *= cosine**2 * (step + 1) / (step + 2)
    if degrees % 2:
        return 2 / math.pi * (angle + sine * total)
    return sine * total


@dataclass(frozen=True, slots=True)
class Outcomes:
    """Nights by what was done and what happened.

    hits : acted, and it happened. misses : not acted, and it happened. false_alarms : acted for
    nothing. quiet : not acted, and nothing happened.
    """

    hits: float
    misses: float
    false_alarms: float
    quiet: float

    @property
    def nights(self) -> float:
        """All of them."""
        return self.hits + self.misses + self.false_alarms + self.quiet

    @property
    def base_rate(self) -> float:
        """Share of nights in which it happened; NaN without nights."""
        return _share(self.hits + self.misses, self.nights)

    @property
    def hit_rate(self) -> float:
        """Share of what happened that was acted on; NaN if nothing happened."""
        return _share(self.hits, self.hits + self.misses)

    @property
    def false_alarm_rate(self) -> float:
        """Share of the other nights that were acted on for nothing; NaN if there are none.

        Not the false alarm *ratio*, which is a share of all alarms.
        """
        return _share(self.false_alarms, self.false_alarms + self.quiet)

    def value(self, cost_loss: ArrayLike) -> Array:
        """Return the economic value at cost-loss ratios, any shape.

        It is the share of what a perfect forecast would save that these decisions saved, against
        the better of always acting and never acting. 1 is perfect; below 0 it is better not to
        listen. The highest is at the base rate, and there it is hit rate less false alarm rate.
        NaN for a ratio outside of 0..1, or where nothing can be saved.

        cost_loss : what acting costs, by what it saves if it happens.

        References
        ----------
        Richardson 2000, Q. J. R. Meteorol. Soc. 126:649.
        """
        ratio = np.asarray(cost_loss, dtype=np.float64)
        ratio = np.where((ratio > 0) & (ratio < 1), ratio, np.nan)
        by_habit = np.minimum(ratio, self.base_rate)
        perfect = self.base_rate * ratio
        spent = ((self.hits + self.false_alarms) * ratio + self.misses) / (self.nights or math.nan)
        saving = by_habit - perfect
        return np.asarray((by_habit - spent) / np.where(saving > 0, saving, np.nan))


def count_outcomes(acted: ArrayLike, happened: ArrayLike) -> Outcomes:
    """Count nights by what was done and what happened; both 0 or 1, of one shape."""
    did, came = _known(acted, happened)
    hits = float((did * came).sum())
    return Outcomes(
        hits=hits,
        misses=float(came.sum()) - hits,
        false_alarms=float(did.sum()) - hits,
        quiet=float(((1 - did) * (1 - came)).sum()),
    )


def _error(observed: ArrayLike, mean: ArrayLike) -> Array:
    return np.asarray(np.asarray(observed, dtype=np.float64) - np.asarray(mean, dtype=np.float64))


def _deviation(sd: ArrayLike) -> Array:
    """A deviation below zero is none: NaN."""
    spread = np.asarray(sd, dtype=np.float64)
    return np.where(spread >= 0, spread, np.nan)


def _known(first: ArrayLike, second: ArrayLike) -> tuple[Array, Array]:
    """Both as flat arrays, without the pairs of which one is unknown. ValueError: other shapes."""
    one = np.asarray(first, dtype=np.float64)
    other = np.asarray(second, dtype=np.float64)
    if one.shape != other.shape:
        msg = "scores: as many outcomes as forecasts are needed"
        raise ValueError(msg)
    known = np.isfinite(one) & np.isfinite(other)
    return one[known], other[known]


def _share(part: float, whole: float) -> float:
    return part / whole if whole else math.nan
