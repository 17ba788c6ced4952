"""How far off a forecast may be: the table, the members, and the chance of a cold night."""

import math
from datetime import timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from sillward_rules.arrays import Array
from sillward_rules.weather.uncertainty import (
    CORRELATION_H,
    DRAWN_MEMBERS,
    ERROR_AT_ISSUE_K,
    MEMBER_ERROR_K,
    MIN_MEMBERS,
    USUAL_ERROR_K,
    Spread,
    chance_under,
    from_members,
    from_sd,
    percent,
    usual_error_k,
    usual_spread,
)
from tests.support.core import utc

HOURS = 13
ALL = np.arange(HOURS)
TIMES = int(utc("2026-05-14T21:00").timestamp()) + 3600 * np.arange(HOURS, dtype=np.int64)
CURVE = 4.0 + 3.0 * np.cos(np.pi * ALL / (HOURS - 1))
"""A night that cools by 6 K; its margin over a limit of 0 is at least 1 K."""

SLOW = settings(deadline=None, derandomize=True)


def alone(error_k: float, hours: int = HOURS) -> Spread:
    """No members beside the forecast itself."""
    return Spread(np.zeros((1, hours)), np.full(hours, error_k), "test")


def of(deviations: Array, error_k: float = 0.0) -> Spread:
    return Spread(deviations, np.full(deviations.shape[1], error_k), "test")


def chance(margin: Array, spread: Spread, rows: np.ndarray | None = None) -> float:
    hours = np.arange(margin.size) if rows is None else rows
    (one,) = chance_under(margin[:, None], spread, hours)
    return float(one)


# -- the usual errors


def test_the_first_night_is_as_good_as_the_met_office_says() -> None:
    # Met Office, accuracy page: 86.5 % of the first night's minima within 2 K at 119 stations.
    within = 1 - 2 * chance(np.array([2.0]), alone(float(usual_error_k(18.0)), 1))

    assert within == pytest.approx(0.865, abs=0.015)


def test_the_third_night_is_as_good_as_the_melbourne_forecasts() -> None:
    # Stern 2008: mean error of day 3 about 1.6 K; of a Gaussian it is sqrt(2 / pi) sigma.
    assert math.sqrt(2 / math.pi) * float(usual_error_k(66.0)) == pytest.approx(1.6, abs=0.05)


def test_errors_grow_from_the_issue_on_and_are_flat_outside_the_table() -> None:
    nights = usual_error_k(24.0 * np.arange(1, 8) - 6.0)
    between = float(usual_error_k(30.0))

    assert nights.tolist() == list(USUAL_ERROR_K)
    assert between == pytest.approx((1.3 + 1.7) / 2)
    assert usual_error_k([-40.0, 0.0]).tolist() == [ERROR_AT_ISSUE_K, ERROR_AT_ISSUE_K]
    assert float(usual_error_k(9.0)) == pytest.approx((ERROR_AT_ISSUE_K + 1.3) / 2)
    assert usual_error_k([163.0, 400.0]).tolist() == [3.1, 3.1]


def test_the_usual_spread_counts_from_the_model_run() -> None:
    issued = utc("2026-05-14T06:00")
    day_4 = int(issued.timestamp()) + 3600 * np.array([90, 91], dtype=np.int64)

    spread = usual_spread(day_4, issued)

    assert spread.sd_k.tolist() == pytest.approx([2.2, 2.2 + 0.3 / 24])
    assert spread.knows(np.array([0, 1]))
    late = usual_spread(day_4, issued + timedelta(days=3))
    assert late.sd_k.tolist() == pytest.approx([1.3, 1.3 + 0.4 / 24])


def test_the_usual_spread_is_the_usual_error_at_every_hour() -> None:
    issued = utc("2026-05-14T06:00")
    leads = np.arange(-30, 200)
    times = int(issued.timestamp()) + 3600 * leads.astype(np.int64)

    spread = usual_spread(times, issued)

    assert spread.error_k.tolist() == usual_error_k(leads).tolist()
    assert not spread.deviations.any()


# -- the side of a forecast that a share of its courses is below


@pytest.mark.parametrize(
    # NIST/SEMATECH e-Handbook, 1.3.6.7.1, table of the standard normal (from memory).
    ("share", "score"),
    [(0.5, 0.0), (0.1, -1.2816), (0.0228, -2.0), (0.8413, 1.0)],
)
def test_the_error_alone_is_gaussian(share: float, score: float) -> None:
    spread = Spread(np.zeros((1, 3)), np.array([0.0, 1.0, 2.5]), "test")

    assert spread.quantile(share) == pytest.approx([0.0, score, 2.5 * score], abs=5e-3)


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
@pytest.mark.parametrize("error_k", [0.0, 0.4, 1.0, 3.0])
def test_with_members_it_is_that_of_their_errors_together(share: float, error_k: float) -> None:
    random = np.random.default_rng(5)
    members = random.normal(0, 1.5, (30, 1)) + random.choice([-2.0, 1.0], (30, 1))
    members = members - members.mean()
    courses = members[random.integers(0, 30, 200_000), 0] + error_k * random.standard_normal(
        200_000
    )

    (found,) = Spread(members, np.full(1, error_k), "test").quantile(share)

    below = float((courses < found).mean())
    assert below == pytest.approx(share, abs=0.035)


def test_hours_with_too_few_members_or_no_error_have_no_side() -> None:
    members = np.tile(np.linspace(-2.0, 2.0, 6)[:, None], 4)
    members[:2, 1] = np.nan  # four are left
    members[:1, 2] = np.nan  # five are
    error = np.array([1.0, 1.0, 1.0, np.nan])

    found = Spread(members, error, "test").quantile(0.1)

    assert np.isfinite(found).tolist() == [True, False, True, False]
    assert MIN_MEMBERS == 5
    alone = Spread(np.zeros((1, 2)), np.array([1.0, np.nan]), "test").quantile(0.1)
    assert np.isfinite(alone).tolist() == [True, False]


# -- the Gaussian


@pytest.mark.parametrize(
    ("margin_sd", "expected"),
    [
        # NIST/SEMATECH e-Handbook, 1.3.6.7.1, table of the standard normal (from memory).
        (0.0, 0.5),
        (-1.0, 0.8413),
        (1.0, 0.1587),
        (-1.2816, 0.9),
        (1.6449, 0.05),
        (-1.96, 0.975),
        (3.0, 0.00135),
    ],
)
def test_one_hour_is_a_gaussian(margin_sd: float, expected: float) -> None:
    assert chance(np.array([1.5 * margin_sd]), alone(1.5, 1)) == pytest.approx(expected, abs=5e-5)


def test_a_worked_case_of_the_fact_sheet() -> None:
    # Threshold 10 °C, deviation 1.5 K: P(T < 10) is .2525 for a mean of 11, .0228 for one of 13.
    both = chance_under(np.array([[1.0, 3.0]]), alone(1.5, 1), np.array([0]))

    assert both.tolist() == pytest.approx([0.2525, 0.0228], abs=5e-5)


def test_without_any_error_the_forecast_is_right() -> None:
    assert chance(np.array([2.0, -0.1]), alone(0.0, 2)) == 1.0
    assert chance(np.array([2.0, 0.1]), alone(0.0, 2)) == 0.0
    assert chance(np.array([2.0, 0.0]), alone(0.0, 2)) == 0.0  # on the limit is not under it


# -- hours that belong together


def test_hours_that_err_alike_have_the_chance_of_the_coldest_one() -> None:
    night = chance(CURVE, alone(1.3))

    assert night == pytest.approx(chance(CURVE[-1:], alone(1.3, 1)))
    assert night == pytest.approx(0.5 * math.erfc(1.0 / 1.3 / math.sqrt(2)))


def test_of_hours_as_cold_the_one_that_is_less_sure_counts() -> None:
    error = np.array([1.0, 2.0, 1.0])
    spread = Spread(np.zeros((1, 3)), error, "test")

    assert chance(np.full(3, 2.0), spread) == pytest.approx(0.1587, abs=5e-5)  # one deviation
    assert chance(np.array([0.5, 2.0, 2.0]), spread) == pytest.approx(0.3085, abs=5e-5)  # a half


def test_members_that_err_alike_have_it_too() -> None:
    shared = np.linspace(-3.0, 3.0, 61)[:, None] * np.ones(HOURS)

    night = chance(CURVE, of(shared, 0.5))

    assert night == pytest.approx(chance(CURVE[-1:], of(shared[:, -1:], 0.5)))


def test_hours_that_err_by_themselves_have_more_than_any_of_them() -> None:
    flat = np.full(HOURS, 2.0)
    own = np.random.default_rng(3).standard_normal((4000, HOURS))

    night = chance(flat, of(own))

    single = max(chance(flat[row : row + 1], of(own[:, row : row + 1])) for row in ALL)
    assert night > 5 * single
    # Independent hours: 1 - (1 - 0.02275)^13.
    assert night == pytest.approx(1 - (1 - 0.02275) ** HOURS, abs=0.03)


def correlated(draws: int, sd_k: Array, seed: int) -> Array:
    """Gaussian departures (draw, hour), by the Cholesky root of their covariance."""
    apart = np.abs(ALL[:, None] - ALL[None, :])
    root = np.linalg.cholesky(np.exp(-apart / CORRELATION_H) * np.outer(sd_k, sd_k))
    return np.asarray(np.random.default_rng(seed).standard_normal((draws, HOURS)) @ root.T)


@pytest.mark.parametrize("limit", [-1.5, 0.0, 1.0, 2.5, 4.0])
def test_counted_nights_agree_with_the_chance(limit: float) -> None:
    """Nights drawn one by one, with the error of each; the members are other draws."""
    sd = np.linspace(0.6, 1.4, HOURS)
    counter = np.random.default_rng(17)
    error = MEMBER_ERROR_K * counter.standard_normal((100_000, 1))
    curves = CURVE + correlated(100_000, sd, seed=5) + error
    counted = float((curves.min(axis=1) < limit).mean())

    spread = of(correlated(4000, sd, seed=6), MEMBER_ERROR_K)

    assert chance(CURVE - limit, spread) == pytest.approx(counted, abs=0.015)


@pytest.mark.parametrize("limit", [-1.5, 0.0, 1.0, 2.5])
def test_members_drawn_from_a_deviation_agree_with_counted_nights(limit: float) -> None:
    sd = np.linspace(0.8, 1.8, HOURS)
    counted = float(((CURVE + correlated(100_000, sd, seed=8)).min(axis=1) < limit).mean())

    # 64 members: one of them is 1.6 %.
    assert chance(CURVE - limit, from_sd(TIMES, sd, "test")) == pytest.approx(counted, abs=0.05)


# -- what must always hold

margins = arrays(np.float64, 6, elements=st.floats(-8.0, 8.0))
members = st.integers(MIN_MEMBERS, 9).flatmap(
    lambda count: arrays(np.float64, (count, 6), elements=st.floats(-6.0, 6.0))
)
errors = st.floats(0.1, 5.0)


@SLOW
@given(margins, members, errors, st.floats(0.0, 10.0))
def test_a_chance_is_one_and_grows_with_the_limit(
    margin: Array, deviations: Array, error: float, higher: float
) -> None:
    low = chance(margin, of(deviations, error))
    high = chance(margin - higher, of(deviations, error))

    assert 0.0 <= low <= high <= 1.0


@SLOW
@given(margins, errors, st.floats(1.0, 10.0))
def test_with_more_spread_the_chance_is_nearer_to_a_half(
    margin: Array, error: float, times: float
) -> None:
    sure, unsure = chance(margin, alone(error, 6)), chance(margin, alone(error * times, 6))

    assert abs(unsure - 0.5) <= abs(sure - 0.5) + 1e-12
    assert (unsure - 0.5) * (sure - 0.5) >= 0


@SLOW
@given(margins, members, errors)
def test_one_more_member_far_below_never_lowers_the_chance(
    margin: Array, deviations: Array, error: float
) -> None:
    more = np.vstack([deviations, np.full(6, -60.0)])

    assert chance(margin, of(more, error)) >= chance(margin, of(deviations, error)) - 1e-12


@SLOW
@given(margins, members, errors, st.randoms(use_true_random=False))
def test_the_order_of_the_members_is_no_matter(
    margin: Array, deviations: Array, error: float, random: object
) -> None:
    order = list(range(deviations.shape[0]))
    random.shuffle(order)  # type: ignore[attr-defined]

    shuffled = chance(margin, of(deviations[order], error))

    assert shuffled == pytest.approx(chance(margin, of(deviations, error)), abs=1e-12)


@SLOW
@given(margins, members, errors, st.floats(-50.0, 50.0))
def test_hours_that_do_not_count_are_no_matter(
    margin: Array, deviations: Array, error: float, other: float
) -> None:
    rows = np.array([1, 2, 4])
    elsewhere = np.setdiff1d(np.arange(6), rows)
    changed, moved = margin.copy(), deviations.copy()
    changed[elsewhere], moved[:, elsewhere] = np.nan, other

    assert chance(changed, of(moved, error), rows) == chance(margin, of(deviations, error), rows)


def test_classes_do_not_touch_each_other() -> None:
    spread = of(correlated(50, np.ones(HOURS), seed=2), 1.0)
    margin = np.stack([CURVE, CURVE - 1.0, np.where(ALL == 3, np.nan, CURVE)], axis=1)

    together = chance_under(margin, spread, ALL)

    apart = [chance(CURVE, spread), chance(CURVE - 1.0, spread)]
    assert together[:2].tolist() == pytest.approx(apart)
    assert np.isnan(together[2])


# -- what is not known


def test_unknown_deviations_errors_and_no_hours_make_no_chance() -> None:
    deviations = np.tile(np.linspace(-1.0, 1.0, 8)[:, None], HOURS)
    gap = deviations.copy()
    gap[:, 4] = np.nan
    error = np.full(HOURS, 1.0)
    error[4] = np.nan

    for spread in (of(gap, 1.0), Spread(deviations, error, "test")):
        assert not spread.knows(ALL)
        assert math.isnan(chance(CURVE, spread))
        assert chance(CURVE, spread, ALL[5:]) > 0.1
    assert math.isnan(chance(CURVE, of(deviations), ALL[:0]))


def test_a_member_with_a_gap_is_left_out_while_enough_are_whole() -> None:
    deviations = np.tile(np.linspace(-1.0, 1.0, MIN_MEMBERS + 1)[:, None], HOURS)
    deviations[0, 4] = np.nan

    assert chance(CURVE, of(deviations, 1.0)) == chance(CURVE, of(deviations[1:], 1.0))
    deviations[1, 7] = np.nan
    assert math.isnan(chance(CURVE, of(deviations, 1.0)))


# -- where a spread comes from


def test_members_become_departures_from_their_mean_at_the_hours_of_the_weather() -> None:
    hours = TIMES[[6, 2, 3, 4, 5]]  # in any order, and not all
    values = np.array([8.0, 9.0, 10.0, 11.0, 12.0])[:, None] + np.array([5.0, 0.0, 1.0, 2.0, 3.0])

    spread = from_members(TIMES, hours, values, "5 members of a test")

    assert spread.origin == "5 members of a test"
    assert spread.deviations[:, 6].tolist() == [-2.0, -1.0, 0.0, 1.0, 2.0]
    known = np.asarray(np.isfinite(spread.deviations).all(axis=0))
    assert np.flatnonzero(known).tolist() == [2, 3, 4, 5, 6]
    assert spread.sd_k[3] == pytest.approx(math.sqrt(2.0 + MEMBER_ERROR_K**2))
    assert np.isnan(spread.sd_k[0])


def test_fewer_than_five_members_say_nothing() -> None:
    values = np.tile(np.linspace(8.0, 12.0, MIN_MEMBERS)[:, None], HOURS)
    values[0, 3], values[1, 3] = np.nan, np.inf

    spread = from_members(TIMES, TIMES, values, "test")

    assert np.isnan(spread.deviations[:, 3]).all()
    assert np.isfinite(spread.deviations[:, 4]).all()
    assert not from_members(TIMES, TIMES, values[1:], "test").knows(ALL[:3])
    assert not from_members(TIMES, TIMES, values[:0], "test").knows(ALL)


def test_a_first_night_with_usual_members_is_near_the_table() -> None:
    spread = of(correlated(2000, np.full(HOURS, 0.8), seed=4), MEMBER_ERROR_K)

    assert spread.sd_k.mean() == pytest.approx(USUAL_ERROR_K[0], abs=0.05)


def test_drawn_members_have_the_given_deviation_and_correlation() -> None:
    times = TIMES[0] + 3600 * np.arange(192, dtype=np.int64)
    sd = np.linspace(0.5, 3.0, 192)

    spread = from_sd(times, sd, "a published deviation")

    assert spread.deviations.shape == (DRAWN_MEMBERS, 192)
    assert spread.sd_k.tolist() == pytest.approx(sd.tolist())
    assert np.abs(spread.deviations.mean(axis=0)).max() < 1e-9
    unit = spread.deviations / sd
    for apart in (1, 6, 12):
        found = float((unit[:, apart:] * unit[:, :-apart]).mean())
        assert found == pytest.approx(math.exp(-apart / CORRELATION_H), abs=0.06)
    again = from_sd(times, sd, "a published deviation")
    assert np.array_equal(spread.deviations, again.deviations)


def test_one_hour_of_drawn_members_is_gaussian() -> None:
    spread = from_sd(TIMES, np.full(HOURS, 2.0), "test")

    for row in (0, 5, 12):
        for margin, expected in ((0.0, 0.5), (-2.0, 0.8413), (2.0, 0.1587)):
            found = chance(np.full(HOURS, margin), spread, np.array([row]))
            assert found == pytest.approx(expected, abs=1 / DRAWN_MEMBERS)


def test_an_hour_without_deviation_is_not_known() -> None:
    sd = np.ones(HOURS)
    sd[2], sd[3] = np.nan, np.inf

    spread = from_sd(TIMES, sd, "test")

    assert spread.knows(ALL[4:])
    assert not spread.knows(ALL[2:3])
    assert not spread.knows(ALL[3:4])


@pytest.mark.parametrize(
    ("build", "what"),
    [
        (lambda: Spread(np.zeros((3, 4)), np.ones(5), ""), "hours are not those of the error"),
        (lambda: Spread(np.zeros(4), np.ones(4), ""), "hours are not those of the error"),
        (lambda: Spread(np.zeros((3, 2)), np.array([1.0, -1.0]), ""), "below zero"),
        (lambda: from_members(TIMES, TIMES, np.zeros((5, 2)), ""), "another length"),
        (lambda: from_members(TIMES, TIMES, np.zeros(HOURS), ""), "another length"),
        (lambda: from_sd(TIMES, np.ones(2), ""), "another length"),
        (lambda: from_sd(TIMES, np.full(HOURS, -0.1), ""), "below zero"),
    ],
)
def test_what_does_not_fit_is_refused(build: object, what: str) -> None:
    with pytest.raises(ValueError, match=what):
        build()  # type: ignore[operator]


@pytest.mark.parametrize(
    ("value", "words"),
    [
        *((0.0, "<5 %"), (0.04, "<5 %"), (0.05, "5 %"), (0.684, "68 %")),
        *((0.95, "95 %"), (0.96, ">95 %"), (1.0, ">95 %")),
    ],
)
def test_chances_in_words(value: float, words: str) -> None:
    assert percent(value) == words
