"""Limits that learn: which nights count, and what no night can do."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sillward_rules.plants.learned_limit import (
    GROUP_SD_K,
    MAX_UNHARMED,
    OWN_SD_K,
    Belief,
    Outcome,
    combined,
    counted,
    learned,
    prior_of,
)
from sillward_rules.plants.limits import Limit, Limits

PRIOR = Belief(5.0, 3.0)


def test_only_the_coldest_nights_without_damage_count() -> None:
    unharmed = [Outcome(low_c, damaged=False) for low_c in (9.0, 4.0, 8.0, 6.0, 5.0)]
    damage = Outcome(3.0, damaged=True)

    found = counted([*unharmed, damage])

    assert found[0] == damage
    assert [each.low_c for each in found[1:]] == [4.0, 5.0, 6.0]
    assert len(found) == 1 + MAX_UNHARMED


def test_without_nights_nothing_is_learned() -> None:
    assert learned(PRIOR, []) is PRIOR


def test_the_order_of_nights_does_not_matter() -> None:
    nights = [Outcome(4.0, damaged=True), Outcome(6.0, damaged=False, sd_k=1.0)]

    first, second = learned(PRIOR, nights), learned(PRIOR, nights[::-1])

    assert first.mean_c == pytest.approx(second.mean_c)
    assert first.sd_k == pytest.approx(second.sd_k)


def test_a_night_that_is_not_well_known_teaches_less() -> None:
    known = PRIOR.after(Outcome(8.0, damaged=True))
    doubted = PRIOR.after(Outcome(8.0, damaged=True, sd_k=3.0))

    assert PRIOR.mean_c < doubted.mean_c < known.mean_c


@given(st.floats(-60, 60), st.booleans(), st.floats(0.1, 6.0))
def test_any_night_leaves_a_belief_that_can_be(low_c: float, damaged: bool, sd_k: float) -> None:
    prior = Belief(5.0, sd_k)
    night = Outcome(low_c, damaged)

    after, both = prior.after(night), learned(prior, [night, Outcome(5.0, damaged)])

    assert math.isfinite(after.mean_c)
    assert 0 < after.sd_k <= sd_k + 1e-9
    assert math.isfinite(both.mean_c)
    assert both.sd_k > 0
    if damaged:
        assert after.mean_c >= prior.mean_c - 1e-9
    else:
        assert after.mean_c <= prior.mean_c + 1e-9


def test_two_beliefs_are_weighed_by_how_sure_they_are() -> None:
    both = combined(Belief(5.0, 1.0), Belief(8.0, 2.0))

    assert both.mean_c == pytest.approx((5.0 * 4 + 8.0) / 5)
    assert both.sd_k < 1.0


def test_what_is_believed_at_first_is_the_limit_of_injury() -> None:
    night, brief = Limit(10.0, "group"), Limit(5.0, "group")

    assert prior_of(Limits(night_low=night, brief_low=brief), own=False) == Belief(5.0, GROUP_SD_K)
    assert prior_of(Limits(night_low=night), own=True) == Belief(6.0, OWN_SD_K)
    assert prior_of(Limits(), own=False) is None
