"""The water in pots, as a filter: nothing is lost from sight, and doubt grows with what is lost."""

from datetime import timedelta

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from sillward_rules.plants.pot_water import (
    FACTOR_RANGE,
    LOOKS,
    MOST_SD,
    SURPRISE_SD,
    Buckets,
    PotWater,
)
from tests.support.core import utc

NOW = utc("2026-01-20T10:00")
SHARES = st.floats(0.0, 1.0)
STEPS = st.lists(
    st.tuples(st.sampled_from(["lose", "rain", "fill", "dry", "moist", "wet"]), st.floats(0, 0.6)),
    max_size=30,
)


def one(share: float = 1.0, sd: float = 0.06) -> Buckets:
    return Buckets.of([PotWater(NOW, share, sd)])


def step(buckets: Buckets, what: str, amount: float) -> None:
    """Let one thing happen to a single pot."""
    if what == "lose":
        buckets.lose(np.array([amount]), np.array([(0.1 * amount) ** 2]))
    elif what == "rain":
        buckets.gain(np.array([amount]))
    elif what == "fill":
        buckets.fill(np.array([0]))
    else:
        share, sd = LOOKS[what]  # type: ignore[index]
        buckets.look(np.array([0]), np.array([share]), np.array([sd]))


@given(SHARES, STEPS)
def test_it_is_never_below_empty_or_above_full_and_never_less_sure_than_nothing(
    share: float, steps: list[tuple[str, float]]
) -> None:
    buckets = one(share)
    for what, amount in steps:
        step(buckets, what, amount)

        assert 0.0 <= buckets.share[0] <= 1.0
        assert 0.0 <= buckets.sd[0] <= MOST_SD + 1e-12
        assert FACTOR_RANGE[0] <= buckets.factor[0] <= FACTOR_RANGE[1]
        assert buckets.covariance[0] <= 0.0
        of_both = buckets.variance[0] * buckets.factor_variance[0]
        assert buckets.covariance[0] ** 2 <= of_both * (1 + 1e-9) + 1e-15


@given(SHARES, STEPS)
def test_without_a_look_or_a_watering_doubt_never_shrinks(
    share: float, steps: list[tuple[str, float]]
) -> None:
    buckets = one(share)
    for what, amount in steps:
        if what in ("lose", "rain"):
            before = float(buckets.sd[0])
            step(buckets, what, amount)
            assert buckets.sd[0] >= before - 1e-12


@given(SHARES, st.lists(st.tuples(st.booleans(), st.floats(0, 0.6)), max_size=20))
def test_no_water_appears_or_disappears(share: float, steps: list[tuple[bool, float]]) -> None:
    """What is left is what there was, with what came, without what went and what ran off."""
    buckets = one(share)
    expected = share
    for rains, amount in steps:
        step(buckets, "rain" if rains else "lose", amount)
        expected = min(expected + amount, 1.0) if rains else max(expected - amount, 0.0)

    assert buckets.share[0] == pytest.approx(expected, abs=1e-12)


@given(SHARES, st.floats(0, 0.5), st.floats(0, 0.5))
def test_a_look_makes_it_more_sure_and_moves_it_towards_what_was_seen(
    share: float, lost: float, sd: float
) -> None:
    buckets = one(share, sd)
    step(buckets, "lose", lost)
    before, doubt = float(buckets.share[0]), float(buckets.sd[0])
    seen, sd_of_look = LOOKS["moist"]
    assume(abs(seen - before) < SURPRISE_SD * np.hypot(doubt, sd_of_look))

    step(buckets, "moist", 0.0)

    assert min(before, seen) - 1e-9 <= buckets.share[0] <= max(before, seen) + 1e-9
    assert buckets.sd[0] <= doubt + 1e-12


@pytest.mark.parametrize(("word", "lost", "sign"), [("dry", 0.5, 1), ("moist", 0.75, -1)])
def test_looks_teach_how_much_the_plant_itself_drinks(word: str, lost: float, sign: int) -> None:
    """A pot that is drier than was worked out says that its plant drinks more, and so for less."""
    buckets = one()
    for _ in range(5):
        step(buckets, "fill", 0.0)
        for _ in range(5):
            step(buckets, "lose", lost / 5)
        step(buckets, word, 0.0)

    assert sign * (buckets.factor[0] - 1.0) > 0.15
    assert buckets.factor_variance[0] < 0.35**2


def test_a_look_that_contradicts_everything_counts_alone_and_teaches_nothing() -> None:
    """Somebody has watered and not said so."""
    buckets = one(0.2, 0.1)

    step(buckets, "wet", 0.0)

    assert buckets.share[0] == pytest.approx(LOOKS["wet"][0])
    assert buckets.sd[0] == pytest.approx(LOOKS["wet"][1], abs=1e-3)
    assert buckets.factor[0] == 1.0


@pytest.mark.parametrize("days", [4, 5, 6, 10])
def test_a_pot_that_somebody_watered_teaches_nothing_of_its_plant(days: int) -> None:
    """It was told to be watered, and nobody has said that it was."""
    buckets, moist = one(), [np.array([value]) for value in LOOKS["moist"]]
    for _ in range(days):
        step(buckets, "lose", min(0.15, 0.3 * float(buckets.share[0])))
    before = float(buckets.share[0])

    buckets.look(np.array([0]), *moist, all_told=False)

    assert before < 0.54
    assert buckets.share[0] > before
    assert buckets.factor[0] == 1.0
    assert buckets.factor_variance[0] == pytest.approx(0.35**2)


def test_a_drier_look_teaches_even_where_a_watering_is_in_doubt() -> None:
    buckets, dry = one(), [np.array([value]) for value in LOOKS["dry"]]
    step(buckets, "lose", 0.5)

    buckets.look(np.array([0]), *dry, all_told=False)

    assert buckets.factor[0] > 1.1


def test_pots_that_dry_out_end_alike_and_surely_dry() -> None:
    """What is left is lost the more slowly the less there is: doubt about it goes too."""
    pots = Buckets.of([PotWater(NOW, 1.0, 0.3), PotWater(NOW, 0.4, 0.06)])
    for _ in range(60):
        pots.lose(0.15 * pots.share, 0.01 * (0.15 * pots.share) ** 2, 0.15)

    assert pots.share.max() < 0.01
    assert pots.sd.max() < 0.03


def test_nothing_is_known_until_it_is_filled_or_looked_at() -> None:
    buckets = Buckets.of([None, None, None])

    buckets.lose(np.full(3, 0.2), np.full(3, 0.01))
    buckets.gain(np.full(3, 0.1))
    assert np.isnan(buckets.share).all()
    assert buckets.at(NOW) == [None, None, None]

    buckets.fill(np.array([0]))
    buckets.look(np.array([1]), np.array([0.15]), np.array([0.12]))
    filled, seen, unknown = buckets.at(NOW)
    assert filled is not None
    assert filled.share == 1.0
    assert seen is not None
    assert (seen.share, seen.sd) == (0.15, 0.12)
    assert unknown is None


def test_it_is_rounded_so_that_plants_that_went_through_the_same_stay_alike() -> None:
    first, second = one(0.7), one(0.7 + 1e-7)
    for buckets in (first, second):
        step(buckets, "lose", 0.123456)

    assert first.at(NOW) == second.at(NOW)
    assert first.at(NOW) != first.at(NOW + timedelta(days=1))
