"""Scores of forecasts and decisions: what makes them proper, and what they do with nothing."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sillward_rules.scores import (
    CHANCE_EDGES,
    LEAST_PAIRS,
    Outcomes,
    brier_parts,
    brier_score,
    count_outcomes,
    crps_ensemble,
    crps_gaussian,
    log_score_gaussian,
    mean_difference,
    reliability,
    share_interval,
)

QUICK = settings(deadline=None, derandomize=True)
TEMPS = st.floats(-30, 40)
SPREADS = st.floats(0.05, 8)


# -- scores of temperatures


@QUICK
@given(TEMPS, TEMPS, SPREADS, st.floats(-20, 20))
def test_only_the_distance_counts(observed: float, mean: float, sd: float, shift: float) -> None:
    for score in (crps_gaussian, log_score_gaussian):
        here, there = (float(score(observed + by, mean + by, sd)) for by in (0.0, shift))
        assert here == pytest.approx(there, rel=1e-6, abs=1e-9)


@pytest.mark.parametrize("score", [crps_gaussian, log_score_gaussian])
def test_the_truth_scores_best(score: type) -> None:
    """Over many nights of a Gaussian no other mean or deviation scores better than its own."""
    observed = np.random.default_rng(1).normal(10.0, 2.0, 20_000)
    own = score(observed, 10.0, 2.0).mean()

    for mean, sd in ((9.5, 2.0), (10.5, 2.0), (10.0, 1.6), (10.0, 2.5)):
        assert score(observed, mean, sd).mean() > own


def test_the_ensemble_score_of_many_members_is_that_of_their_distribution() -> None:
    middles = (np.arange(2000) + 0.5) / 2000
    members = 10.0 + 2.0 * np.sqrt(2) * _inverse_erf(2 * middles - 1)

    assert crps_ensemble(8.0, members) == pytest.approx(
        float(crps_gaussian(8.0, 10.0, 2.0)), abs=1e-3
    )


def _inverse_erf(values: np.ndarray) -> np.ndarray:
    from scipy.special import erfinv

    return np.asarray(erfinv(values))


def test_the_fair_score_does_not_depend_on_the_number_of_members() -> None:
    rng = np.random.default_rng(2)
    observed = rng.normal(size=40_000)
    few, many = (rng.normal(size=(count, observed.size)) for count in (4, 40))

    means = [crps_ensemble(observed, members, fair=True).mean() for members in (few, many)]

    assert means == pytest.approx([crps_gaussian(observed, 0.0, 1.0).mean()] * 2, abs=0.01)
    assert crps_ensemble(observed, few).mean() > means[0] + 0.1


def test_a_forecast_without_doubt_is_scored_by_its_error() -> None:
    assert crps_gaussian([9.0, 7.0], 8.0, 0.0).tolist() == [1.0, 1.0]
    assert crps_ensemble([9.0, 7.0], [[8.0, 8.0]]).tolist() == [1.0, 1.0]
    assert log_score_gaussian([8.0, 9.0], 8.0, 0.0).tolist() == [-np.inf, np.inf]


def test_unknown_stays_unknown() -> None:
    for score in (crps_gaussian, log_score_gaussian):
        assert np.isnan(score([np.nan, 1.0, 1.0], [1.0, np.nan, 1.0], [1.0, 1.0, np.nan])).all()
        assert np.isnan(score(1.0, 1.0, -0.1)), "no deviation is below zero"
        assert np.isnan(score(np.nan, 1.0, 0.0))
    assert np.isnan(crps_ensemble([1.0, np.nan], [[np.nan, 1.0], [2.0, 2.0]])).all()


def test_an_ensemble_without_members_is_refused() -> None:
    with pytest.raises(ValueError, match="too few members"):
        crps_ensemble(1.0, [])
    with pytest.raises(ValueError, match="too few members"):
        crps_ensemble(1.0, [1.0], fair=True)


# -- chances


CHANCES = st.lists(
    st.tuples(st.sampled_from([0.0, 0.1, 0.25, 0.5, 0.9, 1.0]), st.integers(0, 1)),
    min_size=1,
    max_size=60,
)


@QUICK
@given(CHANCES)
def test_the_parts_add_up_to_the_score(nights: list[tuple[float, int]]) -> None:
    chance, happened = np.array(nights).T

    parts = brier_parts(chance, happened)

    assert parts.score == pytest.approx(brier_score(chance, happened), abs=1e-12)
    assert min(parts.reliability, parts.resolution, parts.uncertainty) >= 0


def test_telling_the_overall_share_has_no_skill() -> None:
    happened = [1, 0, 0, 0, 1]

    assert brier_parts([0.4] * 5, happened).skill == pytest.approx(0.0)
    assert brier_parts(happened, happened).skill == pytest.approx(1.0)
    assert np.isnan(brier_parts([0.1, 0.2], [0, 0]).skill), "nothing was uncertain"


def test_unknown_nights_are_left_out() -> None:
    chance, happened = [0.2, np.nan, 0.9, 0.5], [0, 1, np.nan, 1]

    assert brier_score(chance, happened) == pytest.approx((0.04 + 0.25) / 2)
    assert reliability(chance, happened).nights.tolist() == [1, 1]
    assert np.isnan(brier_score([np.nan], [1]))
    assert np.isnan(brier_parts([], []).score)
    assert reliability([], []).nights.size == 0


def test_the_bins_of_the_table_are_tens_of_percent() -> None:
    chance = np.array([0.0, 0.049, 0.05, 0.1, 0.149, 0.15, 0.949, 0.95, 1.0])

    table = reliability(chance, np.ones(chance.size))

    assert table.nights.tolist() == [2, 3, 1, 1, 2]
    assert table.told[1] == pytest.approx((0.05 + 0.1 + 0.149) / 3)
    assert CHANCE_EDGES[0] == 0.0
    assert CHANCE_EDGES[-1] == 1.0


def test_chances_that_hold_agree_and_others_do_not() -> None:
    rng = np.random.default_rng(3)
    chance = rng.choice([0.1, 0.3, 0.5], 3000)
    drawn = rng.uniform(size=chance.size)

    assert reliability(chance, drawn < chance).agrees.all()
    assert not reliability(chance, drawn < chance + 0.15).agrees.any()


def test_the_interval_holds_the_true_share_as_often_as_it_says() -> None:
    rng = np.random.default_rng(4)
    for share in (0.05, 0.3, 0.5):
        low, high = share_interval(rng.binomial(80, share, 4000), 80)
        assert ((low <= share) & (share <= high)).mean() == pytest.approx(0.95, abs=0.03)
    assert np.isnan(share_interval(0, 0)).all()


@pytest.mark.parametrize("edges", [[0.0], [0.0, 0.5, 0.5, 1.0], [0.1, 1.0], [0.0, 0.9]])
def test_edges_that_leave_chances_out_are_refused(edges: list[float]) -> None:
    with pytest.raises(ValueError, match="edges"):
        reliability([0.5], [1], edges)


def test_as_many_outcomes_as_forecasts_are_needed() -> None:
    with pytest.raises(ValueError, match="as many"):
        brier_score([0.1, 0.2], [1])


# -- decisions


def test_nights_are_counted() -> None:
    outcomes = count_outcomes([1, 1, 0, 0, 0, np.nan], [True, False, True, False, False, True])

    assert outcomes == Outcomes(hits=1, misses=1, false_alarms=1, quiet=2)
    assert outcomes.nights == 5
    assert outcomes.base_rate == pytest.approx(0.4)


@QUICK
@given(*[st.integers(1, 500)] * 4)
def test_the_value_is_highest_at_the_base_rate(
    hits: int, misses: int, false_alarms: int, quiet: int
) -> None:
    outcomes = Outcomes(hits, misses, false_alarms, quiet)
    best = float(outcomes.value(outcomes.base_rate))

    assert best == pytest.approx(outcomes.hit_rate - outcomes.false_alarm_rate)
    assert np.all(outcomes.value(np.linspace(0.01, 0.99, 50)) <= best + 1e-9)


def test_a_perfect_forecast_has_full_value_and_habit_has_none() -> None:
    ratios = np.array([0.05, 0.3, 0.8])
    perfect = Outcomes(hits=30, misses=0, false_alarms=0, quiet=70)
    always = Outcomes(hits=30, misses=0, false_alarms=70, quiet=0)

    assert perfect.value(ratios) == pytest.approx(np.ones(3))
    assert float(always.value(0.05)) == pytest.approx(0.0)
    assert float(always.value(0.8)) < 0


def test_where_nothing_can_be_saved_there_is_no_value() -> None:
    none = Outcomes(0, 0, 0, 0)

    assert np.isnan(none.value([0.0, 0.5, 1.0])).all()
    assert np.isnan([none.base_rate, none.hit_rate, none.false_alarm_rate]).all()
    assert np.isnan(Outcomes(0, 0, 3, 7).value(0.2)), "it never happens"
    assert np.isnan(Outcomes(3, 1, 2, 7).value([0.0, 1.0, -0.1, np.nan])).all()


# -- differences that follow each other in time


@pytest.mark.parametrize("kept", [0.0, 0.3, 0.7])
def test_the_interval_of_a_mean_holds_though_nights_are_alike(kept: float) -> None:
    """Wherever what an interval of independent nights says is far from true."""
    rng = np.random.default_rng(9)
    count, nights = 800, 90
    series = rng.standard_normal((count, nights))
    for night in range(1, nights):
        series[:, night] = kept * series[:, night - 1] + (1 - kept**2) ** 0.5 * series[:, night]

    found = [mean_difference(one) for one in series]

    missed = sum(each is None or each.is_clear for each in found) / count
    as_independent = np.abs(series.mean(axis=1)) > 1.99 * series.std(axis=1, ddof=1) / nights**0.5
    assert 0.03 <= missed <= 0.09
    assert as_independent.mean() > 0.15 or kept < 0.5


def test_a_clear_difference_is_seen_and_unknown_nights_are_left_out() -> None:
    rng = np.random.default_rng(2)
    values = 0.5 + rng.standard_normal(100)
    with_gaps = np.insert(values, [3, 50, 50], np.nan)

    found = mean_difference(with_gaps)

    assert found == mean_difference(values)
    assert found is not None
    assert found.pairs == 100
    assert found.is_clear
    assert found.low < 0.5 < found.high
    wider = mean_difference(values, 0.999)
    assert wider is not None
    assert wider.low < found.low < found.high < wider.high


def test_of_few_differences_nothing_is_said() -> None:
    assert mean_difference(np.ones(LEAST_PAIRS - 1)) is None
    assert mean_difference(np.full(40, np.nan)) is None
    same = mean_difference(np.full(LEAST_PAIRS, 0.25))
    assert same is not None
    assert (same.mean, same.low, same.high) == pytest.approx((0.25, 0.25, 0.25))
