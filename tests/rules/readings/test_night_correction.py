"""The correction of a spot's nights: filter, kinds of night, doubt, and thermometers that move."""

from datetime import date

import numpy as np
import pytest

from sillward_rules.arrays import Array
from sillward_rules.readings.night_correction import (
    CUT_OFF,
    DRIFT,
    FACTOR_COUNTS_AS,
    LEAST_FACTOR,
    NOISE_SD_K,
    PRIOR_SD_K,
    STEP_NIGHTS,
    Filter,
    Nights,
    learn,
)
from sillward_rules.weather.learned_nights import USUAL_SHARE

FIRST = date(2026, 4, 1).toordinal()
ERRORS = np.array([-1.2, -0.4, -2.0, -0.9])


def nights(
    error_k: Array,
    share: Array | float = USUAL_SHARE,
    told_sd_k: float = 1.3,
    said_k: float = 0.0,
    every: int = 1,
) -> Nights:
    day = FIRST + every * np.arange(error_k.size)
    full = np.full(error_k.size, 1.0)
    return Nights(day, error_k, said_k * full, share * full, told_sd_k * full)


# -- the filter, against values that were computed apart from this project


def followed(errors: Array, drift: float, noise: float, first: float) -> tuple[Filter, list[float]]:
    state, gains = Filter(np.zeros(2), np.diag([first, 0.0])), []
    kind = np.array([1.0, 0.0])
    for error in errors.tolist():
        state = state.drifted(np.array([drift, 0.0]))
        variance = state.variance[0, 0]
        gains.append(variance / (variance + noise))
        state = state.after(kind, error, noise)
    return state, gains


def test_without_drift_it_is_the_conjugate_normal_distribution() -> None:
    """Prior 0 and 1.5 K, errors of 2 K. Source: conjugate normal, in closed form."""
    state, _ = followed(ERRORS, 0.0, 4.0, 2.25)

    assert state.mean[0] == pytest.approx(-0.778846, abs=1e-6)
    assert np.sqrt(state.variance[0, 0]) == pytest.approx(0.832050, abs=1e-6)
    _, predicted = state.expected(np.array([1.0, 0.0]), 4.0)
    assert np.sqrt(predicted) == pytest.approx(2.166174, abs=1e-6)


def test_with_drift_it_is_a_kalman_filter() -> None:
    """q 0.04, r 4, first variance 2.25. Source: scalar Kalman filter, computed apart."""
    state, gains = followed(ERRORS, 0.04, 4.0, 2.25)

    assert state.mean[0] == pytest.approx(-0.796849, abs=1e-6)
    assert state.variance[0, 0] == pytest.approx(0.748263, abs=1e-6)
    assert gains[-1] == pytest.approx(0.187066, abs=1e-6)


def test_in_the_end_it_is_a_decaying_average() -> None:
    """Source: the steady gain follows from P = (q + sqrt(q² + 4 q r)) / 2."""
    _, gains = followed(np.zeros(400), 0.04, 4.0, 2.25)

    assert gains[-1] == pytest.approx(0.095125, abs=1e-6)


def test_a_decaying_average_of_a_tenth() -> None:
    """With its steady variance from the start the filter is the average itself."""
    gain, noise = 0.1, 4.0
    steady = gain * noise  # after an update: P (1 - K) = K r
    drift = noise * gain**2 / (1 - gain)
    state, _ = followed(ERRORS, drift, noise, steady)

    assert state.mean[0] == pytest.approx(-0.389880, abs=1e-6)


def test_both_parts_are_the_same_as_in_a_regression_on_all_nights() -> None:
    """Without drift: Bayesian linear regression in closed form, numpy.linalg."""
    rng = np.random.default_rng(3)
    kinds = np.column_stack([np.ones(50), rng.uniform(-0.5, 0.5, 50)])
    errors = rng.normal(-1.0, 1.5, 50)
    state = Filter(np.zeros(2), np.diag([2.25, 0.49]))
    for kind, error in zip(kinds, errors.tolist(), strict=True):
        state = state.after(kind, error, 2.25)

    precision = np.diag([1 / 2.25, 1 / 0.49]) + kinds.T @ kinds / 2.25
    np.testing.assert_allclose(state.variance, np.linalg.inv(precision), rtol=1e-9)
    np.testing.assert_allclose(
        state.mean, np.linalg.solve(precision, kinds.T @ errors / 2.25), rtol=1e-9
    )


# -- what is learned


def test_nothing_is_learned_from_nothing() -> None:
    assert learn(nights(np.empty(0))).learned is None


def test_one_night_teaches_a_third() -> None:
    """The first gain is that of the prior against the noise."""
    learned = learn(nights(np.array([-3.0]))).learned

    assert learned is not None
    gain = PRIOR_SD_K**2 / (PRIOR_SD_K**2 + NOISE_SD_K**2)
    assert learned.level_k == pytest.approx(-3.0 * gain)
    assert learned.nights == 1


@pytest.mark.parametrize("noise_sd_k", [0.8, 1.3, 2.0, 2.8])
def test_in_95_of_100_spots_the_truth_lies_where_it_is_said_to_lie(noise_sd_k: float) -> None:
    """Spots that drift as assumed, whatever their noise is. Checked after 10 and 60 nights."""
    rng = np.random.default_rng(int(10 * noise_sd_k))
    for count in (10, 60):
        within = 0
        for _ in range(100):
            steps = rng.normal(0.0, np.sqrt(DRIFT) * noise_sd_k, count)
            steps[0] = rng.normal(0.0, PRIOR_SD_K)
            level = np.cumsum(steps)
            learned = learn(nights(level + rng.normal(0.0, noise_sd_k, count))).learned
            assert learned is not None
            if not learned.asks:
                within += abs(learned.level_k - level[-1]) <= 1.96 * learned.sd_k
            else:  # found a step where there was none: on the safe side at least
                within += learned.level_k <= level[-1] + 1.96 * learned.sd_k
        # Binomial: 95 +/- 2.2 of 100, and some less where noise is larger than was assumed.
        assert within >= 88


def test_a_correction_that_changes_is_followed() -> None:
    rng = np.random.default_rng(4)
    level = np.repeat([-1.0, 0.0], 100)
    learned = learn(nights(level + rng.normal(0.0, 1.0, 200)))

    assert learned.level_k[99] == pytest.approx(-1.0, abs=0.6)
    assert learned.level_k[-1] == pytest.approx(0.0, abs=0.6)


def test_nights_that_were_not_read_widen_the_doubt() -> None:
    rng = np.random.default_rng(5)
    errors = rng.normal(-1.0, 1.0, 60)

    sds = [learn(nights(errors, every=every)).level_sd_k[-1] for every in (1, 5)]

    assert sds[1] > 1.3 * sds[0]


def test_what_calm_adds_is_used_once_it_has_won() -> None:
    rng = np.random.default_rng(6)
    share = rng.choice([0.1, 1.0], 120)
    noise = rng.normal(0.0, 1.0, 120)
    depends = learn(nights(-1.0 - 2.0 * (share - USUAL_SHARE) + noise, share)).learned
    does_not = learn(nights(-1.0 + noise, share)).learned

    assert depends is not None
    assert does_not is not None
    assert depends.calm_k == pytest.approx(-2.0, abs=0.8)
    calm, windy = depends.correction_k(np.array([1.0, 0.1]))
    assert calm - windy < -1.0
    assert abs(does_not.calm_k) < 0.6


def test_nothing_is_known_of_a_night_beforehand() -> None:
    rng = np.random.default_rng(7)
    error, share = rng.normal(-0.5, 1.2, 90), rng.uniform(0.0, 1.0, 90)
    other = error.copy()
    other[60:] += 2.0

    one, another = learn(nights(error, share)), learn(nights(other, share))

    np.testing.assert_array_equal(one.expected_k[:61], another.expected_k[:61])
    np.testing.assert_array_equal(one.expected_sd_k[:61], another.expected_sd_k[:61])
    assert (one.expected_k[61:] != another.expected_k[61:]).all()


def test_one_false_reading_teaches_little() -> None:
    rng = np.random.default_rng(8)
    right = rng.normal(-0.5, 1.0, 80)
    wrong = right.copy()
    wrong[70] = -25.0

    levels = [learn(nights(errors)).level_k[70] for errors in (right, wrong)]

    assert abs(levels[1] - levels[0]) < CUT_OFF * 1.2 * 0.2


def test_unknown_wind_is_no_kind_of_night() -> None:
    errors = np.random.default_rng(9).normal(-0.5, 1.0, 40)

    unknown, usual = (learn(nights(errors, share)).learned for share in (np.nan, USUAL_SHARE))

    assert unknown == usual


# -- the doubt


def test_how_far_off_forecasts_are_is_learned_by_the_kind_of_night() -> None:
    rng = np.random.default_rng(10)
    share = rng.choice([0.1, 1.0], 400)
    error = rng.normal(0.0, np.where(share > USUAL_SHARE, 2.4, 1.0))
    learned = learn(nights(error, share, told_sd_k=1.3)).learned

    assert learned is not None
    assert learned.calm_factor == pytest.approx(2.4 / 1.3, abs=0.35)
    assert learned.other_factor == pytest.approx(1.0 / 1.3, abs=0.2)
    factors = learned.factor(np.array([1.0, 0.1, np.nan]))
    assert factors.tolist() == [learned.calm_factor, learned.other_factor, learned.calm_factor]


def test_before_anything_is_known_of_it_the_told_doubt_holds() -> None:
    learned = learn(nights(np.array([-1.0]))).learned

    assert learned is not None
    assert learned.calm_factor == 1.0
    assert learned.other_factor == pytest.approx(1.0, abs=1.0 / FACTOR_COUNTS_AS)


def test_perfect_forecasts_keep_some_doubt() -> None:
    learned = learn(nights(np.zeros(400), told_sd_k=3.0)).learned

    assert learned is not None
    assert learned.other_factor == LEAST_FACTOR


def test_told_deviations_hold() -> None:
    rng = np.random.default_rng(11)
    error = rng.normal(0.7, 1.6, 1000)
    course = learn(nights(error))

    in_deviations = (error - course.expected_k) / course.expected_sd_k
    assert in_deviations[100:].std() == pytest.approx(1.0, abs=0.06)


# -- a thermometer that is moved


def moved(by_k: float, count: int = 60, at: int = 40) -> Nights:
    rng = np.random.default_rng(12)
    errors = rng.normal(-1.0, 1.2, count)
    errors[at:] += by_k
    return nights(errors)


@pytest.mark.parametrize("by_k", [-4.0, 4.0])
def test_a_step_is_found_and_asked_about(by_k: float) -> None:
    course = learn(moved(by_k))
    (step,) = course.steps
    learned = course.learned

    assert step.day == pytest.approx(FIRST + 40, abs=1)
    assert step.before_k == pytest.approx(-1.0, abs=0.7)
    assert step.after_k == pytest.approx(-1.0 + by_k, abs=1.0)
    assert not step.explained
    assert learned is not None
    assert learned.asks
    assert learned.since == date.fromordinal(step.day)
    # The coldest of all that may be true counts until someone answers.
    assert learned.level_k == min(step.before_k, course.level_k[-1])


def test_once_it_is_explained_what_is_read_since_counts() -> None:
    explained = [date.fromordinal(FIRST + 40)]
    learned = learn(moved(4.0), explained).learned

    assert learned is not None
    assert not learned.asks
    assert learned.level_k == pytest.approx(3.0, abs=1.2)
    assert learned.nights == pytest.approx(20, abs=1)


def test_an_answer_to_another_step_does_not_count() -> None:
    learned = learn(moved(4.0), [date.fromordinal(FIRST + 3)]).learned

    assert learned is not None
    assert learned.asks


@pytest.mark.parametrize("by_k", [-1.0, 1.5])
def test_small_steps_are_followed(by_k: float) -> None:
    course = learn(moved(by_k, count=140))

    assert course.steps == ()
    assert course.level_k[-1] == pytest.approx(-1.0 + by_k, abs=0.7)


def test_a_few_odd_nights_are_no_step() -> None:
    errors = moved(0.0).error_k.copy()
    errors[30 : 30 + min(STEP_NIGHTS) - 3] += 5.0

    assert learn(nights(errors)).steps == ()


def test_nights_without_a_move_seldom_show_a_step() -> None:
    rng = np.random.default_rng(13)
    found = sum(len(learn(nights(rng.normal(0.0, 1.6, 300))).steps) for _ in range(30))

    assert found == 0


def test_the_whole_of_it_is_told_with_what_the_grower_said() -> None:
    learned = learn(nights(np.full(30, -0.5), said_k=-1.0)).learned

    assert learned is not None
    assert learned.total_k == pytest.approx(-1.0 + learned.level_k)
