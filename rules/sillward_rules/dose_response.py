"""Dose and response: probit and logit fits of how many were affected at each dose.

The model is g(P) = a_s + b x, with g the probit or the logit, x the dose, b one slope for all and
a_s an intercept for each *stratum*: a kind, a sex, a cultivar. It is fitted by maximum likelihood,
with iteratively reweighted least squares.

References
----------
McCullagh and Nelder 1989, Generalized Linear Models, section 2.5 (the algorithm; from memory).
Checked against statsmodels, and against the budworms of Venables and Ripley.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from statistics import NormalDist
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from sillward_rules.arrays import Array, erfc

Link: TypeAlias = Literal["probit", "logit"]

MOST_STEPS = 50
"""Steps after which a fit counts as impossible. Judgement: what converges does so within ten."""

CONVERGED = 1e-10
"""A fit is found when the deviance changes by less than this share."""

LEAST = 1e-10
"""Chances are kept this far from 0 and 1 while a fit is looked for."""

MOST_DOUBT = 100.0
"""A parameter with a standard error of more than so many times itself, or a dose that far from the
middle on the scale of the link, means that the fit runs off to infinity: some dose divides those
that were affected from those that were not. Judgement: real doses are known better."""


@dataclass(frozen=True, slots=True, eq=False)
class DoseResponse:
    """A fit. Doses are in the unit in which they were given.

    - intercepts (stratum,), slope: on the scale of the link.
    - covariance: of the intercepts and, last, the slope.
    - deviance: twice the distance from a model that reproduces every share.
    """

    link: Link
    intercepts: Array
    slope: float
    covariance: Array
    deviance: float

    def dose_for(self, share: float, stratum: int = 0) -> tuple[float, float]:
        """Return the dose that affects this share (0..1), and its standard error.

        The error is that of the delta method.
        """
        wanted = _QUANTILES[self.link](share)
        dose = (wanted - float(self.intercepts[stratum])) / self.slope
        gradient = np.zeros(self.intercepts.size + 1)
        gradient[stratum], gradient[-1] = -1.0 / self.slope, -dose / self.slope
        return dose, math.sqrt(float(gradient @ self.covariance @ gradient))


def fit(
    dose: ArrayLike,
    affected: ArrayLike,
    total: ArrayLike,
    stratum: ArrayLike = 0,
    *,
    link: Link = "probit",
) -> DoseResponse | None:
    """Fit shares to doses.

    Parameters
    ----------
    dose : ArrayLike (row,)
        In any unit.
    affected, total : ArrayLike (row,)
        How many were affected, of how many; total above 0.
    stratum : ArrayLike (row,)
        Whole numbers from 0 on, without gaps.

    Returns
    -------
    DoseResponse or None
        None where no fit exists, as when every dose above some value affected all and none below
        it did, or there are fewer rows than parameters.

    Raises
    ------
    ValueError
        If shares are outside 0..1 or a total is not above 0.
    """
    x, hit, of = np.broadcast_arrays(
        *(np.asarray(each, np.float64) for each in (dose, affected, total))
    )
    if not ((of > 0) & (hit >= 0) & (hit <= of)).all():
        msg = "there must be some in each row, and no more affected than there are"
        raise ValueError(msg)
    strata = np.broadcast_to(np.asarray(stratum), x.shape)
    design = np.column_stack([strata[:, None] == np.arange(strata.max(initial=0) + 1), x])
    if x.size < design.shape[1]:
        return None
    return _reweighted(link, design.astype(np.float64), hit / of, of)


def _reweighted(link: Link, design: Array, share: Array, of: Array) -> DoseResponse | None:
    """Return the fit of shares (row,) of so many (row,) by iteratively reweighted least squares."""
    inverse, slope_of = _LINKS[link]
    effect = np.array([_QUANTILES[link](float(p)) for p in (share * of + 0.5) / (of + 1.0)])
    before = math.inf
    for _ in range(MOST_STEPS):
        chance = np.clip(inverse(effect), LEAST, 1.0 - LEAST)
        steep = slope_of(effect)
        weight = of * steep**2 / (chance * (1.0 - chance))
        working = effect + (share - chance) / np.maximum(steep, LEAST)
        information = (design * weight[:, None]).T @ design
        try:
            found = np.linalg.solve(information, design.T @ (weight * working))
        except np.linalg.LinAlgError:
            return None
        effect = design @ found
        if (np.abs(effect) > MOST_DOUBT).any():
            return None
        now = _deviance(share, np.clip(inverse(effect), LEAST, 1.0 - LEAST), of)
        if abs(before - now) <= CONVERGED * (abs(now) + CONVERGED):
            covariance = np.linalg.inv(information)
            doubt = np.sqrt(np.diag(covariance))
            if abs(found[-1]) < LEAST or (doubt > MOST_DOUBT * (1.0 + np.abs(found))).any():
                return None
            return DoseResponse(
                link,
                np.asarray(found[:-1], np.float64),
                float(found[-1]),
                np.asarray(covariance, np.float64),
                now,
            )
        before = now
    return None


def _deviance(share: Array, chance: Array, of: Array) -> float:
    def part(seen: Array, expected: Array) -> Array:
        return np.asarray(seen * np.log(np.where(seen > 0, seen, 1.0) / expected) * (seen > 0))

    return float(2.0 * (of * (part(share, chance) + part(1.0 - share, 1.0 - chance))).sum())


def _normal_cdf(effect: Array) -> Array:
    return np.asarray(erfc(-effect / math.sqrt(2.0)) / 2.0)


def _normal_pdf(effect: Array) -> Array:
    return np.asarray(np.exp(-(effect**2) / 2.0) / math.sqrt(2.0 * math.pi))


def _logistic(effect: Array) -> Array:
    return np.asarray(1.0 / (1.0 + np.exp(-effect)))


def _logistic_pdf(effect: Array) -> Array:
    return _logistic(effect) * _logistic(-effect)


_LINKS: dict[Link, tuple[Callable[[Array], Array], Callable[[Array], Array]]] = {
    "probit": (_normal_cdf, _normal_pdf),
    "logit": (_logistic, _logistic_pdf),
}
"""The inverse of each link, and its slope."""

_QUANTILES: dict[Link, Callable[[float], float]] = {
    "probit": NormalDist().inv_cdf,
    "logit": lambda share: math.log(share / (1.0 - share)),
}
"""Each link, of one share."""
