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

    # The nights come one after the other: each is as probable as what the ones before it taught.
    chance = 1.0
    for number, night in enumerate(nights):
        chance *= _chance(prior, nights[:number], night, tau_k)
    agrees([chance, after.mean_c, after.sd_k])


def _chance(prior: Belief, before: list[Outcome], night: Outcome, tau_k: float) -> float:
    """Return how probable a night was after others, by scipy's quadrature."""
    from scipy.integrate import quad
    from scipy.stats import norm

    def joint(limit_c: float, nights: list[Outcome]) -> float:
        value = norm.pdf(limit_c, prior.mean_c, prior.sd_k)
        for each in nights:
            sign = 1 if each.damaged else -1
            value *= norm.cdf(sign * (limit_c - each.low_c) / tau_k)
        return float(value)

    if not before:
        return prior.chance_of(night, tau_k)
    whole = quad(joint, -10, 30, args=(before,), epsabs=1e-12)[0]
    return float(quad(joint, -10, 30, args=([*before, night],), epsabs=1e-12)[0] / whole)


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
