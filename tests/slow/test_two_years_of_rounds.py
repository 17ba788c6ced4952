"""Two years of a wandering clock in 22 zones: each round once on each local date.

The usual run has the weeks around clock changes:
`tests/daemon/service/test_rounds_by_simulation.py`.
"""

import os
from datetime import UTC, datetime

import pytest

from sillward.config.household import Rounds
from sillward_rules.sheet import Round
from sillward_rules.weather.site import Site
from tests.support.round_simulation import PLANS, check, told_on
from tests.support.wandering_clock import SITES

pytestmark = pytest.mark.slow

START, DAYS = datetime(2026, 1, 1, tzinfo=UTC), 731


@pytest.mark.parametrize("plan", PLANS.values(), ids=PLANS.keys())
@pytest.mark.parametrize("site", SITES, ids=[site.name for site in SITES])
def test_each_round_is_told_once_on_each_date_of_two_years(site: Site, plan: Rounds) -> None:
    seed = int.from_bytes(os.urandom(4), "big")

    seen, told = told_on(site, plan, START, DAYS, seed)

    due = check(site, plan, seen, told)
    what = f"seed {seed}"
    assert due > 0.85 * (2 * 730 + 104), what
    assert sum(not seen[told_round.look].sane for told_round in told) > 50, what
    assert {told_round.round for told_round in told} == set(Round), what
