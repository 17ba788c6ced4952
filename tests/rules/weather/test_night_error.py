"""What past nights teach about the next: bias, doubt, and nothing that is not there."""

import math
from typing import NamedTuple

import numpy as np
import pytest
from numpy.typing import ArrayLike

from sillward_rules.arrays import Array
from sillward_rules.weather import night_error
from sillward_rules.weather.night_error import (
    AIR_NIGHTS,
    BIAS_K,
    CUT_OFF,
    MOST_KIND,
    UNTAUGHT,
    UNTAUGHT_ALIKE,
    USUAL_AIR,
    Circumstances,
    NightError,
)

NIGHTS = 1500


class Course(NamedTuple):
    """What was expected of each night before it came: (night,)."""

    bias_k: Array
    sd_k: Array
    own: Array
    share: Array
    unsure_k2: Array


def learn(
    error_k: Array,
    usual_k: float,
    low_c: ArrayLike = math.nan,
    members_k: ArrayLike = 0.0,
    wind_m_s: ArrayLike = math.nan,
    above_dew_point_k: ArrayLike = math.nan,
    *,
    start: NightError = UNTAUGHT,
) -> tuple[Course, NightError]:
    """Go through nights in order. Return what was expected of each, and the end."""
    given = (usual_k, low_c, members_k, wind_m_s, above_dew_point_k)
    columns = [np.broadcast_to(np.asarray(of, dtype=np.float64), error_k.shape) for of in given]
    state, told = start, []
    for error, *of_night in zip(error_k.tolist(), *(of.tolist() for of in columns), strict=True):
        night = Circumstances(*of_night)
        told.append(state.expect(night))
        state = state.after(night, error)
    return Course(*np.array(told, dtype=np.float64).T), state


def air(rng: np.random.Generator) -> tuple[Array, Array]:
    """Wind [m/s] and air less dew point [K] of many nights."""
    return rng.uniform(0.0, 9.0, NIGHTS), rng.uniform(0.0, 14.0, NIGHTS)


def by_deviations(values: Array) -> Array:
    """How far each is from their mean, in deviations, as far as counts."""
    off = (values - values.mean()) / values.std()
    return np.asarray(np.clip(off, -MOST_KIND, MOST_KIND))


# -- the filter


def starting_with(bias_k: float, bias_sd_k: float, spreads: tuple[float, ...]) -> NightError:
    """A state that has nothing to learn about the variance."""
    variance = np.diag([bias_sd_k**2, 0.0, 0.0, 0.0])
    bias, nothing = np.array([bias_k, 0.0, 0.0, 0.0]), np.zeros((3, 3))
    return NightError(
        bias, variance, np.array(spreads), nothing, UNTAUGHT.air, UNTAUGHT.air_variance
    )


@pytest.mark.parametrize(
    ("drift_k", "bias_k", "variance"),
    [
        # Conjugate normal distribution, computed apart from this project: mean and deviation after
        # four errors, prior 0 and 1.5 K, errors of 2 K.
        (0.0, -0.778846, 0.832050**2),
        # Scalar Kalman filter, likewise: q = 0.04, r = 4, first variance 2.25.
        (0.2, -0.796849, 0.748263),
    ],
)
def test_the_bias_follows_a_kalman_filter(
    monkeypatch: pytest.MonkeyPatch, drift_k: float, bias_k: float, variance: float
) -> None:
    monkeypatch.setattr(night_error, "_DRIFT", np.diag([drift_k**2, 0.0, 0.0, 0.0]))
    start = starting_with(0.0, 1.5, (1.0, 0.0, 1.0))

    _, state = learn(np.array([-1.2, -0.4, -2.0, -0.9]), 2.0, start=start)

    assert state.bias[0] == pytest.approx(bias_k, abs=1e-6)
    assert state.bias_variance[0, 0] == pytest.approx(variance, abs=1e-6)
    assert state.nights == 4


ERRORS_K = np.array([-1.2, -0.4, -2.0, -0.9])


def gains(
    monkeypatch: pytest.MonkeyPatch, errors_k: Array, drift: float, first: float
) -> list[float]:
    """Which share of each error its night teaches, for errors of 2 K: (night,)."""
    monkeypatch.setattr(night_error, "_DRIFT", np.diag([drift, 0.0, 0.0, 0.0]))
    state, found = starting_with(0.0, math.sqrt(first), (1.0, 0.0, 1.0)), []
    for error in errors_k.tolist():
        night = Circumstances(2.0)
        off = error - state.expect(night).bias_k
        after = state.after(night, error)
        found.append((after.bias[0] - state.bias[0]) / off)
        state = after
    return found


def test_what_is_predicted_is_bias_and_noise_together(monkeypatch: pytest.MonkeyPatch) -> None:
    """The predictive deviation of that conjugate normal distribution, computed likewise."""
    monkeypatch.setattr(night_error, "_DRIFT", np.zeros((4, 4)))
    _, state = learn(ERRORS_K, 2.0, start=starting_with(0.0, 1.5, (1.0, 0.0, 1.0)))

    assert state.expect(Circumstances(2.0)).sd_k == pytest.approx(2.166174, abs=1e-6)


def test_the_last_gain_and_the_steady_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """Scalar Kalman filter, q = 0.04, r = 4, first variance 2.25: computed apart. The steady gain
    follows from the variance P = (q + sqrt(q² + 4 q r)) / 2 before a night."""
    errors = np.append(ERRORS_K, np.tile([0.3, -0.5, 0.4], 150))
    found = gains(monkeypatch, errors, 0.04, 2.25)

    assert found[3] == pytest.approx(0.187066, abs=1e-6)
    assert found[-1] == pytest.approx(0.095125, abs=1e-6)


def test_with_its_steady_variance_it_is_a_decaying_average(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Of a tenth; computed by hand: -0.12, -0.148, -0.3332, -0.38988."""
    gain, noise = 0.1, 4.0
    monkeypatch.setattr(
        night_error, "_DRIFT", np.diag([noise * gain**2 / (1 - gain), 0.0, 0.0, 0.0])
    )
    start = starting_with(0.0, math.sqrt(gain * noise), (1.0, 0.0, 1.0))

    _, state = learn(ERRORS_K, 2.0, start=start)

    assert state.bias[0] == pytest.approx(-0.389880, abs=1e-6)


def test_all_parts_are_those_of_a_regression_on_all_nights(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Without drift: Bayesian linear regression in closed form, by numpy.linalg."""
    monkeypatch.setattr(night_error, "_DRIFT", np.zeros((4, 4)))
    rng = np.random.default_rng(14)
    error = rng.normal(-1.0, 1.5, 50)
    start = NightError(
        np.zeros(4),
        np.diag([2.25, 0.16, 0.16, 0.16]),
        np.array([1.0, 0.0, 1.0]),
        np.zeros((3, 3)),
        UNTAUGHT.air,
        UNTAUGHT.air_variance,
    )
    wind, kinds, state = rng.uniform(1.0, 8.0, 50), [], start
    for of_night, off in zip(wind.tolist(), error.tolist(), strict=True):
        night = Circumstances(2.0, wind_m_s=of_night)
        kinds.append(state.kind(night))
        state = state.after(night, off)

    design = np.array(kinds)
    precision = np.linalg.inv(start.bias_variance) + design.T @ design / 4.0
    np.testing.assert_allclose(state.bias_variance, np.linalg.inv(precision), atol=1e-9)
    np.testing.assert_allclose(
        state.bias, np.linalg.solve(precision, design.T @ error / 4.0), atol=1e-9
    )


def test_before_the_first_night_the_usual_error_holds_and_the_bias_is_in_doubt() -> None:
    expected = UNTAUGHT.expect(Circumstances(1.3))

    assert expected.bias_k == 0
    assert expected.sd_k == pytest.approx(np.hypot(1.3, BIAS_K[0]), abs=0.01)
    assert expected.share == 1.0


def test_nothing_is_known_of_a_night_beforehand() -> None:
    rng = np.random.default_rng(1)
    (wind, dry), error = air(rng), rng.normal(size=NIGHTS)
    other = error.copy()
    other[700:] += 5.0

    first, second = (learn(of, 1.3, 8.0 - wind, 0.5, wind, dry)[0] for of in (error, other))

    for one, another in zip(first, second, strict=True):
        np.testing.assert_array_equal(one[:701], another[:701])
        assert (one[701:] != another[701:]).any()


def test_a_night_that_nobody_knows_teaches_nothing() -> None:
    state = UNTAUGHT.after(Circumstances(1.3), 0.8)

    assert state.after(Circumstances(1.3), np.nan) is state


# -- what is learned


def test_a_bias_that_depends_on_the_night_is_found() -> None:
    rng = np.random.default_rng(2)
    wind, dry = air(rng)
    error = -1.0 + 0.5 * by_deviations(wind) + 0.3 * by_deviations(dry) + rng.normal(size=NIGHTS)

    _, state = learn(error, 1.3, np.nan, 0.0, wind, dry)

    assert state.bias == pytest.approx([-1.0, -0.5, 0.3, 0.0], abs=0.25)


def test_forecasts_that_stray_too_far_from_the_last_nights_are_drawn_back() -> None:
    """A forecast of a low that wanders, with an error of its own: what came is nearer to usual."""
    rng = np.random.default_rng(9)
    came = 8.0 + 2.0 * rng.normal(size=NIGHTS)
    forecast = came + rng.normal(0.0, 1.3, NIGHTS)

    expected, state = learn(came - forecast, 1.3, forecast)

    # Of the forecast's variance 1.3² / (2² + 1.3²) is error: 0.3 K for each kelvin off the usual.
    assert state.bias[3] == pytest.approx(-0.3 * 3, abs=0.3)
    off = came - forecast - expected.bias_k
    assert off[100:].std() < 0.93 * 1.3


def test_a_bias_that_changes_is_followed() -> None:
    rng = np.random.default_rng(3)
    error = np.where(np.arange(NIGHTS) < 800, -1.5, 1.5) + rng.normal(0.0, 1.0, NIGHTS)

    expected, _ = learn(error, 1.3)

    assert expected.bias_k[799] == pytest.approx(-1.5, abs=0.5)
    assert expected.bias_k[-1] == pytest.approx(1.5, abs=0.5)


def test_the_doubt_of_calm_nights_is_found() -> None:
    rng = np.random.default_rng(4)
    wind, dry = air(rng)
    calm = -by_deviations(wind)
    error = rng.normal(0.0, 1.3 * np.sqrt(0.6 + 0.9 * np.maximum(calm, 0.0)))

    expected, _ = learn(error, 1.3, np.nan, 0.0, wind, dry)

    late = np.arange(NIGHTS) > 500
    assert expected.sd_k[late & (calm < 0)].mean() == pytest.approx(1.3 * 0.6**0.5, abs=0.12)
    assert expected.sd_k[late & (calm > 1)].mean() == pytest.approx(1.3 * 1.75**0.5, abs=0.25)


def test_how_far_members_can_be_trusted_is_found() -> None:
    rng = np.random.default_rng(5)
    members = rng.gamma(4.0, 0.25, NIGHTS)
    error = rng.normal(0.0, np.sqrt(0.5 + 2.0 * members**2))

    expected, state = learn(error, 1.0, np.nan, members)

    assert expected.share[-1] == pytest.approx(2.0, abs=0.5)
    assert state.spreads[0] == pytest.approx(0.5, abs=0.25)


@pytest.mark.parametrize("actual_k", [0.8, 1.3, 2.4])
def test_told_deviations_hold(actual_k: float) -> None:
    """Whatever the usual error was said to be, what is left is as large as it is told."""
    error = np.random.default_rng(6).normal(0.7, actual_k, NIGHTS)

    expected, _ = learn(error, 1.3)

    in_deviations = (error - expected.bias_k) / expected.sd_k
    assert in_deviations[100:].std() == pytest.approx(1.0, abs=0.08)


def test_one_false_reading_teaches_little() -> None:
    error = np.random.default_rng(7).normal(0.0, 1.0, 200)
    false = error.copy()
    false[150] = -24.0

    right, wrong = (learn(of, 1.3)[0] for of in (error, false))

    assert abs(wrong.bias_k[151] - right.bias_k[151]) < CUT_OFF * 0.12
    assert wrong.sd_k[151] < 1.1 * right.sd_k[151]


def test_nights_without_error_leave_some_doubt() -> None:
    _, state = learn(np.zeros(NIGHTS), 1.3)

    assert state.expect(Circumstances(1.3)).sd_k > 0.4


# -- kinds of night


def test_a_night_of_which_nothing_is_known_is_of_no_kind() -> None:
    assert UNTAUGHT.kind(Circumstances(1.3, low_c=30.0)).tolist() == [1.0, 0.0, 0.0, 0.0]
    assert UNTAUGHT.kind(Circumstances(1.3, wind_m_s=2.0)).tolist() == [1.0, 1.0, 0.0, 0.0]
    extreme = Circumstances(1.3, wind_m_s=60.0, above_dew_point_k=60.0)
    assert UNTAUGHT.kind(extreme).tolist() == [1.0, -MOST_KIND, MOST_KIND, 0.0]


def test_calm_and_dry_are_measured_by_what_is_usual_there() -> None:
    """In a valley with 1 m/s on average, 2 m/s is a windy night."""
    rng = np.random.default_rng(8)
    wind, dry = rng.uniform(0.2, 1.8, 800), rng.uniform(8.0, 16.0, 800)

    _, state = learn(np.zeros(800), 1.3, np.nan, 0.0, wind, dry)

    assert state.air == pytest.approx([1.0, 12.0], abs=0.3)
    assert np.sqrt(state.air_variance) == pytest.approx([0.46, 2.3], rel=0.15)
    assert state.kind(Circumstances(1.3, wind_m_s=2.0))[1] == -MOST_KIND


def test_warm_is_measured_by_the_lows_that_came() -> None:
    state = UNTAUGHT.after(Circumstances(1.3, low_c=9.0), -1.0)

    assert state.low_c == 8.0
    assert state.kind(Circumstances(1.3, low_c=9.5))[3] == pytest.approx(0.5)
    assert state.after(Circumstances(1.3), 0.5).low_c == 8.0
    assert 8.0 < state.after(Circumstances(1.3, low_c=11.0), 0.0).low_c < 9.0


def test_unknown_air_leaves_what_is_usual_as_it_is() -> None:
    _, state = learn(np.zeros(AIR_NIGHTS), 1.3)

    assert state.air.tolist() == list(USUAL_AIR)
    np.testing.assert_array_equal(state.air_variance, UNTAUGHT.air_variance)


# -- nights between


def test_nights_that_were_not_read_widen_the_doubt_about_the_bias() -> None:
    _, state = learn(np.full(60, -1.0), 1.3)

    soon, late = (state.expect(Circumstances(1.3, days=days)).unsure_k2 for days in (1, 60))

    assert late == pytest.approx(soon + 59 * night_error.DRIFT_K[0] ** 2)


def test_a_bias_may_be_the_same_on_all_nights() -> None:
    rng = np.random.default_rng(12)
    wind, dry = air(rng)
    error = -1.0 + 0.5 * by_deviations(wind) + rng.normal(size=NIGHTS)

    _, state = learn(error, 1.3, np.nan, 0.0, wind, dry, start=UNTAUGHT_ALIKE)

    calm, windy = (state.expect(Circumstances(1.3, wind_m_s=of)).bias_k for of in (0.5, 8.0))
    assert calm == windy == pytest.approx(-1.0, abs=0.3)
