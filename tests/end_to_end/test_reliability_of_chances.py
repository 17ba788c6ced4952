"""A told chance of 10, 30 or 50 % comes true on 10, 30 or 50 % of nights, within sampling error.

Real years, and errors with the usual deviations that wander (AR(1), 12 h), many seeds. Either the
forecast wanders about what came, or what came wanders about the forecast: a forecast that is too
smooth. The low of the one that wanders is 0.3 K lower, so that no table of errors can be right for
both; what past nights teach can.
"""

from functools import cache
from typing import Literal

import numpy as np
import pytest

from sillward_rules.arrays import Array
from sillward_rules.scores import Reliability, reliability
from sillward_rules.weather.uncertainty import (
    USUAL_ERROR_K,
    USUAL_LEAD_H,
    Spread,
    chance_under,
    usual_error_k,
)
from tests.support.harm_curves import LEAD_H, TAUGHT, as_told, expected_of
from tests.support.night_pairs import NightPairs, Truth, lead_of, lows, with_ar1_errors

LIMITS_C = np.arange(-2.0, 20.1, 0.5)
"""Apart so far that a night has at most one chance in each of the bins."""

SAID = (0.1, 0.3, 0.5)
HALF_BIN = 0.02

World = Literal["the forecast wanders", "the truth wanders"]
WORLDS: tuple[World, ...] = ("the forecast wanders", "the truth wanders")
SEEDS: dict[Truth, int] = {"EWR": 3, "JFK": 3, "Hesse": 1}


def told(pairs: NightPairs, *, learning: bool) -> Array:
    """(night, limit) chances that the low falls under the limits, each from the past alone."""
    usual_k = float(usual_error_k(LEAD_H))
    learned = expected_of(pairs) if learning else as_told(pairs)
    chances = []
    for forecast, bias_k, sd_k in zip(pairs.forecast, *learned, strict=True):
        error_k = usual_error_k(lead_of(forecast)) * sd_k / usual_k
        spread = Spread(np.zeros((1, forecast.size)), error_k, "test")
        margin = forecast[:, None] + bias_k - LIMITS_C
        chances.append(chance_under(margin, spread, np.arange(forecast.size)))
    return np.array(chances)


@cache
def table(world: World, *, learning: bool) -> Reliability:
    """What came of chances near those of `SAID`."""
    usual = USUAL_LEAD_H, USUAL_ERROR_K
    chances, came = [], []
    for truth, seeds in SEEDS.items():
        for seed in range(seeds):
            pairs = with_ar1_errors(
                truth, seed, table=usual, truth_errs=world == "the truth wanders"
            )
            chances.append(told(pairs, learning=learning)[TAUGHT:])
            came.append(lows(pairs.came)[TAUGHT:, None] < LIMITS_C)
    edges = sorted(edge for said in SAID for edge in (said - HALF_BIN, said + HALF_BIN))
    found = reliability(np.concatenate(chances), np.concatenate(came), [0.0, *edges, 1.0])
    near = slice(1, None, 2)
    columns = (found.bins, found.told, found.came_true, found.nights, found.low, found.high)
    return Reliability(*(column[near] for column in columns))


@pytest.mark.parametrize("world", WORLDS)
def test_chances_hold_once_past_nights_have_taught(world: World) -> None:
    found = table(world, learning=True)

    assert found.told == pytest.approx(SAID, abs=0.005)
    assert (found.nights > 500).all()
    assert found.agrees.all(), f"{found.came_true} of {found.nights}"


def test_the_usual_error_alone_is_wrong_to_either_side() -> None:
    """It is of lows, and knows of no wandering. What is untaught errs by so much, and no more."""
    too_high, too_low = (table(world, learning=False) for world in WORLDS)

    assert (too_high.high < too_high.told).all()
    assert (too_low.low > too_low.told).all()
    assert np.abs(too_high.came_true - too_high.told).max() < 0.14, "measured: 0.11"
    assert np.abs(too_low.came_true - too_low.told).max() < 0.14, "measured: 0.11"
