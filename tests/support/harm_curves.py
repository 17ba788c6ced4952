"""Needless trips against harm: of fixed margins on the forecast, and of a rule on expected harm.

Both decide every evening for every plant, whether it goes in. A trip is needless if the air of the
night stays at or above the plant's comfort limit. The harm of a plant that stays out is its dose of
cold from what really came.
"""

from dataclasses import dataclass
from functools import cache
from typing import NamedTuple

import numpy as np

from sillward_rules.arrays import Array
from sillward_rules.physics.cold_harm import night_dose, span_k
from sillward_rules.plants.groups import standard_groups
from sillward_rules.readings.night_correction import Nights, learn
from sillward_rules.weather.uncertainty import MEMBER_ERROR_K, usual_error_k
from tests.support.night_pairs import NightPairs, lows

LEAD_H = 12.0
"""From the evening's forecast to the low."""

DEVIATIONS = np.linspace(-4.0, 4.0, 33)
"""At which the Gaussian error is looked at; out to four, as careful rules act on rare harm."""

TAUGHT = 40
"""The first nights teach and are not counted."""

SHARES = (0.5, 0.35, 0.25, 0.15)
"""At what harm trips are compared: shares of the harm left by the bare forecast, its mean error
taken out. Margins of half a kelvin to two leave about that."""


@cache
def plants() -> tuple[Array, Array]:
    """Comfort limits of all standard groups, each pair of limits once, and the span to injury."""
    limits = {
        (group.limits.night_low.value, group.limits.brief_low.value)
        for group in standard_groups().values()
        if group.limits.night_low is not None and group.limits.brief_low is not None
    }
    comfort, injury = np.array(sorted(limits)).T
    return comfort, span_k(comfort, injury)


def usual_of(pairs: NightPairs) -> Array:
    """(night,) the error that a forecast does not show itself [K]."""
    return np.where(pairs.members_k > 0, MEMBER_ERROR_K, usual_error_k(LEAD_H))


class Expected(NamedTuple):
    """What is expected of the error of each night, and its standard deviation: (night,) [K]."""

    bias_k: Array
    sd_k: Array


def nights_of(pairs: NightPairs) -> Nights:
    """The pairs as readings at a spot of which its grower has said nothing."""
    none = np.zeros(len(pairs.days))
    return Nights(
        day=np.array([day.toordinal() for day in pairs.days]),
        error_k=pairs.error_k,
        said_k=none,
        low_c=lows(pairs.forecast),
        wind_m_s=pairs.wind_m_s,
        above_dew_point_k=pairs.above_dew_point_k,
        usual_k=usual_of(pairs),
        members_k=pairs.members_k,
    )


def expected_of(pairs: NightPairs) -> Expected:
    """What was expected of each night from the nights before it alone."""
    course = learn(nights_of(pairs))
    return Expected(course.expected_k, course.expected_sd_k)


def as_told(pairs: NightPairs) -> Expected:
    """The same with nothing learned: no bias, the usual error or the members' and their own."""
    usual = usual_of(pairs)
    return Expected(np.zeros(usual.shape), np.hypot(usual, pairs.members_k))


@dataclass(frozen=True)
class Decisions:
    """All that can be said of plants and nights, each (night, plant).

    above_k : forecast low above the comfort limit. expected : dose that is expected. dose : dose
    that came. cold : whether the night fell under the comfort limit.
    """

    above_k: Array
    expected: Array
    dose: Array
    cold: np.ndarray

    def of(self, nights: np.ndarray) -> "Decisions":
        """Those of some nights."""
        return Decisions(
            self.above_k[nights], self.expected[nights], self.dose[nights], self.cold[nights]
        )


def decisions(pairs: NightPairs, expected: Expected) -> Decisions:
    """Score every plant on every night; plants for which nearly all nights are alike are left out.

    Those are plants under whose limit fewer than one night in twenty falls, or all but so many.
    """
    comfort, span = plants()
    low = lows(pairs.came)
    share = (low[:, None] < comfort).mean(axis=0)
    near = (share > 0.05) & (share < 0.95)
    comfort, span = comfort[near], span[near]
    weights = np.exp(-(DEVIATIONS**2) / 2)
    weights /= weights.sum()
    off = expected.bias_k[:, None] + np.outer(expected.sd_k, DEVIATIONS)  # (night, draw)
    doses, beliefs = [], []
    for forecast, came, errors in zip(pairs.forecast, pairs.came, off, strict=True):
        doses.append(night_dose(comfort - came[:, None], span))
        draws = comfort - (forecast[:, None] + errors)[:, :, None]  # (hour, draw, plant)
        beliefs.append(weights @ night_dose(draws, span))
    return Decisions(
        lows(pairs.forecast)[:, None] - comfort,
        np.array(beliefs),
        np.array(doses),
        low[:, None] < comfort,
    )


def trips_at(harms: Array, order_by: Array, of: Decisions) -> Array:
    """Needless trips of a rule that leaves so much harm in all, (harm,).

    order_by (night, plant) : what goes in first as the rule is made more careful is the smallest.
    On straight lines between one more trip and the next.
    """
    order = np.argsort(order_by, axis=None, kind="stable")
    left = of.dose.sum() - np.cumsum(of.dose.reshape(-1)[order])
    needless = np.cumsum(~of.cold.reshape(-1)[order])
    return np.asarray(np.interp(harms, left[::-1], needless[::-1]))


def harm_levels(of: Decisions, bias_k: float) -> Array:
    """The harm at which rules are compared, (share,)."""
    bare = of.dose[of.above_k + bias_k >= 0].sum()
    return np.asarray(bare * np.array(SHARES))


@dataclass(frozen=True)
class Comparison:
    """Needless trips at equal harm, (share,)."""

    by_margin: Array
    by_harm: Array

    @property
    def fewer(self) -> float:
        """Share of needless trips that the rule on expected harm spares, over all levels."""
        return 1.0 - float(self.by_harm.sum() / self.by_margin.sum())


def compare(of: Decisions, bias_k: float) -> Comparison:
    """Compare a rule on expected harm with the best fixed margin. bias_k : mean error [K]."""
    levels = harm_levels(of, bias_k)
    return Comparison(trips_at(levels, of.above_k, of), trips_at(levels, -of.expected, of))
