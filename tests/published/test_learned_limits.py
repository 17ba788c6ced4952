"""What damage says of a limit, against quadrature; fits of doses, against published values and
statsmodels."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from sillward_rules.dose_response import Link, fit
from sillward_rules.plants.learned_limit import Belief, Outcome, learned

DOSES = np.tile(np.arange(6.0), 2)
KILLED = (1, 4, 9, 13, 18, 20, 0, 2, 6, 10, 12, 16)
IS_FEMALE = np.repeat([0, 1], 6)


@pytest.mark.published("learned_limit")
def test_limits_learn_from_nights(inputs: dict[str, Any], agrees: Callable[[object], None]) -> None:
    prior, tau_k = Belief(*inputs["prior"]), inputs["tau_k"]
    nights = [Outcome(low_c, damaged=word == "damaged") for low_c, word in inputs["nights"]]

    after = learned(prior, nights, tau_k)

    agrees([_chance(prior, nights, tau_k), after.mean_c, after.sd_k])


def _chance(prior: Belief, nights: list[Outcome], tau_k: float) -> float:
    """Return how probable nights were together: the values of the file hold this integral too."""
    from scipy.special import ndtr

    limit_c, step_k = np.linspace(-10.0, 30.0, 8001, retstep=True)
    weight = np.exp(-(((limit_c - prior.mean_c) / prior.sd_k) ** 2) / 2)
    weight /= prior.sd_k * np.sqrt(2 * np.pi)
    for night in nights:
        sign = 1 if night.damaged else -1
        weight = weight * ndtr(sign * (limit_c - night.low_c) / tau_k)
    return float(weight.sum() * step_k)


@pytest.mark.parametrize("damaged", [True, False])
def test_one_night_has_a_closed_form(damaged: bool) -> None:
    prior, night = Belief(10.0, 2.0), Outcome(8.5, damaged)

    assert prior.chance_of(night, 1.0) == pytest.approx(_chance(prior, [night], 1.0), abs=1e-9)


@pytest.mark.published("dose_response")
def test_doses_of_the_budworms(inputs: dict[str, Any], agrees: Callable[[object], None]) -> None:
    found = fit(DOSES, KILLED, 20, IS_FEMALE, link=inputs["link"])

    assert found is not None
    agrees([*(found.dose_for(share, 1)[0] for share in (0.25, 0.5, 0.75)), found.deviance])


@pytest.mark.parametrize("link", ["logit", "probit"])
def test_fits_are_those_of_statsmodels(link: Link) -> None:
    from statsmodels.genmod.families import Binomial, links
    from statsmodels.genmod.generalized_linear_model import GLM

    design = np.column_stack([IS_FEMALE == 0, IS_FEMALE == 1, DOSES]).astype(float)
    killed = np.array(KILLED)
    family = Binomial(links.Logit() if link == "logit" else links.Probit())
    # With the expected information, as ours: R has that too.
    theirs = GLM(np.column_stack([killed, 20 - killed]), design, family=family).fit(
        cov_type="nonrobust", tol=1e-14
    )

    found = fit(DOSES, KILLED, 20, IS_FEMALE, link=link)

    assert found is not None
    np.testing.assert_allclose([*found.intercepts, found.slope], theirs.params, rtol=1e-6)
    np.testing.assert_allclose(found.covariance, theirs.cov_params(), rtol=1e-4)
    assert found.deviance == pytest.approx(theirs.deviance, rel=1e-8)
