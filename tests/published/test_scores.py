"""Scores against published numbers and against the libraries of the field.

scoringrules and properscoring score forecasts; scikit-learn has the Brier score and the calibration
curve, statsmodels Wilson's interval. They are imported where they are asked: each takes a third of
a second to a second and a half.
"""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from sillward_rules import scores

NIGHTS = 400


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(1884)


@pytest.mark.published("crps_of_a_gaussian")
def test_crps_of_a_gaussian(inputs: dict[str, Any], agrees: Callable[[object], None]) -> None:
    agrees(scores.crps_gaussian(**inputs))


@pytest.mark.published("crps_of_an_ensemble")
def test_crps_of_an_ensemble(inputs: dict[str, Any], agrees: Callable[[object], None]) -> None:
    agrees(scores.crps_ensemble(**inputs))


@pytest.mark.published("log_score_of_a_gaussian")
def test_log_score_of_a_gaussian(inputs: dict[str, Any], agrees: Callable[[object], None]) -> None:
    agrees(scores.log_score_gaussian(**inputs))


@pytest.mark.published("brier")
def test_brier_score_and_its_parts(
    inputs: dict[str, Any], agrees: Callable[[object], None]
) -> None:
    parts = scores.brier_parts(**inputs)

    agrees([scores.brier_score(**inputs), parts.reliability, parts.resolution, parts.uncertainty])


@pytest.mark.published("outcome_rates")
def test_rates_of_outcomes(inputs: dict[str, Any], agrees: Callable[[object], None]) -> None:
    outcomes = scores.Outcomes(**inputs)

    agrees([outcomes.hit_rate, outcomes.false_alarm_rate])


@pytest.mark.published("economic_value")
def test_economic_value(inputs: dict[str, Any], agrees: Callable[[object], None]) -> None:
    ratios = inputs.pop("cost_loss")

    agrees(scores.Outcomes(**inputs).value(ratios))


# -- the libraries


def gaussian_forecasts(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """What was observed, the mean and the deviation of as many forecasts."""
    mean, sd = rng.normal(8.0, 6.0, NIGHTS), rng.uniform(0.2, 4.0, NIGHTS)
    return mean + sd * rng.standard_normal(NIGHTS), mean, sd


def test_gaussian_scores_are_those_of_scoringrules(rng: np.random.Generator) -> None:
    import scoringrules

    observed, mean, sd = gaussian_forecasts(rng)

    crps = scores.crps_gaussian(observed, mean, sd)
    logarithmic = scores.log_score_gaussian(observed, mean, sd)

    np.testing.assert_allclose(crps, scoringrules.crps_normal(observed, mean, sd), rtol=1e-9)
    np.testing.assert_allclose(logarithmic, scoringrules.logs_normal(observed, mean, sd), rtol=1e-9)


def test_ensemble_scores_are_those_of_scoringrules(rng: np.random.Generator) -> None:
    import scoringrules

    observed, mean, sd = gaussian_forecasts(rng)
    members = mean + sd * rng.standard_normal((20, NIGHTS))

    for fair, theirs in ((False, "nrg"), (True, "fair")):
        ours = scores.crps_ensemble(observed, members, fair=fair)
        expected = scoringrules.crps_ensemble(observed, members, m_axis=0, estimator=theirs)
        np.testing.assert_allclose(ours, expected, rtol=1e-9)


def test_scores_are_those_of_properscoring(rng: np.random.Generator) -> None:
    import properscoring

    observed, mean, sd = gaussian_forecasts(rng)
    members = mean + sd * rng.standard_normal((20, NIGHTS))
    by_ensemble = properscoring.crps_ensemble(observed, members, axis=0)

    np.testing.assert_allclose(
        scores.crps_gaussian(observed, mean, sd),
        properscoring.crps_gaussian(observed, mean, sd),
        rtol=1e-9,
    )
    np.testing.assert_allclose(scores.crps_ensemble(observed, members), by_ensemble, rtol=1e-9)


def test_brier_score_and_reliability_are_those_of_scikit_learn(rng: np.random.Generator) -> None:
    from sklearn.calibration import calibration_curve
    from sklearn.metrics import brier_score_loss

    chance = rng.uniform(size=5 * NIGHTS)
    happened = (rng.uniform(size=chance.size) < chance**1.5).astype(float)
    shares, told = calibration_curve(happened, chance, n_bins=10, strategy="uniform")

    table = scores.reliability(chance, happened, np.linspace(0, 1, 11))

    assert scores.brier_score(chance, happened) == pytest.approx(brier_score_loss(happened, chance))
    np.testing.assert_allclose(table.came_true, shares, rtol=1e-12)
    np.testing.assert_allclose(table.told, told, rtol=1e-12)


def test_the_interval_of_a_share_is_that_of_statsmodels() -> None:
    from statsmodels.stats.proportion import proportion_confint

    hits = np.array([0, 1, 3, 20, 50, 100, 999])
    count = np.array([10, 10, 30, 40, 50, 1000, 1000])

    for probability in (0.8, 0.95, 0.99):
        theirs = proportion_confint(hits, count, alpha=1 - probability, method="wilson")
        np.testing.assert_allclose(
            scores.share_interval(hits, count, probability), theirs, rtol=1e-9, atol=1e-15
        )
