"""The correction of a spot's nights: kinds of night, doubt, and thermometers that move.

The filter itself is tested with `weather.night_error`.
"""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from sillward_rules.arrays import Array
from sillward_rules.readings.night_correction import (
    KIND_NIGHTS,
    STEP_NIGHTS,
    CorrectionCourse,
    Nights,
    learn,
    nights_at,
)
from sillward_rules.remark import ThermometerMoved, ThermometerTooWarm
from sillward_rules.weather.climate import climate_of
from sillward_rules.weather.learned_nights import ENOUGH_NIGHTS, LearnedNights
from sillward_rules.weather.night_error import BIAS_K, CUT_OFF, DRIFT_K, Circumstances
from sillward_rules.weather.night_summary import nights_of
from tests.support.core import MENDOZA, OPEN_BENCH, daily_curve, utc, weather

FIRST = date(2026, 4, 1).toordinal()
START = utc("2026-05-13T00:00")
TOLD_K = 1.3


def nights(
    error_k: Array,
    wind_m_s: Array | float = np.nan,
    *,
    usual_k: float = TOLD_K,
    said_k: float = 0.0,
    every: int = 1,
) -> Nights:
    full = np.full(error_k.size, 1.0)
    return Nights(
        day=FIRST + every * np.arange(error_k.size),
        error_k=error_k,
        said_k=said_k * full,
        low_c=np.nan * full,
        wind_m_s=wind_m_s * full,
        above_dew_point_k=np.nan * full,
        usual_k=usual_k * full,
        members_k=0.0 * full,
    )


def taught(course: CorrectionCourse) -> LearnedNights:
    assert course.learned is not None
    return course.learned


# -- what is learned


def test_nothing_is_learned_from_nothing() -> None:
    assert learn(nights(np.empty(0))).learned is None


def test_one_night_teaches_a_half() -> None:
    """The first gain is that of the prior against the usual error."""
    learned = taught(learn(nights(np.array([-3.0]))))

    variance = BIAS_K[0] ** 2 + DRIFT_K[0] ** 2
    assert learned.usual.bias_k == pytest.approx(-3.0 * variance / (variance + TOLD_K**2))
    assert learned.nights == 1


@pytest.mark.parametrize("noise_sd_k", [0.8, 1.3, 2.0])
@pytest.mark.parametrize("count", [10, 60])
def test_in_95_of_100_spots_the_truth_lies_where_it_is_said_to_lie(
    noise_sd_k: float, count: int
) -> None:
    """Spots that drift as assumed, whatever their noise is."""
    rng = np.random.default_rng(int(10 * noise_sd_k) + count)
    within = 0
    for _ in range(100):
        steps = rng.normal(0.0, DRIFT_K[0], count)
        steps[0] = rng.normal(0.0, BIAS_K[0])
        level = np.cumsum(steps)
        learned = taught(learn(nights(level + rng.normal(0.0, noise_sd_k, count))))
        within += abs(learned.usual.bias_k - level[-1]) <= 1.96 * learned.sd_k
    # Binomial: 95 +/- 2.2 of 100.
    assert within >= 89


def test_a_correction_that_changes_is_followed() -> None:
    rng = np.random.default_rng(4)
    level = np.repeat([-1.0, 0.0], 100)
    learned = learn(nights(level + rng.normal(0.0, 1.0, 200)))

    assert learned.level_k[99] == pytest.approx(-1.0, abs=0.4)
    assert learned.level_k[-1] == pytest.approx(0.0, abs=0.4)


def test_nights_that_were_not_read_widen_the_doubt() -> None:
    rng = np.random.default_rng(5)
    errors = rng.normal(-1.0, 1.0, 60)

    sds = [learn(nights(errors, every=every)).level_sd_k[-1] for every in (1, 5)]

    assert sds[1] > 1.3 * sds[0]


def test_the_kind_of_night_is_used_once_it_has_won() -> None:
    rng = np.random.default_rng(6)
    wind = rng.choice([1.0, 7.0], 120)
    noise = rng.normal(0.0, 1.0, 120)
    depends = learn(nights(np.where(wind < 4.0, -2.0, 0.0) + noise, wind))
    early = learn(nights(depends.nights.error_k[: KIND_NIGHTS - 1], wind[: KIND_NIGHTS - 1]))

    assert taught(depends).error.by_kind
    assert not taught(early).error.by_kind
    calm, windy = (
        taught(depends).error.expect(Circumstances(TOLD_K, wind_m_s=of)).bias_k for of in (1.0, 7.0)
    )
    assert calm == pytest.approx(-2.0, abs=0.5)
    assert windy == pytest.approx(0.0, abs=0.5)


def test_the_course_tells_of_nights_as_they_have_been_lately() -> None:
    """Not of a night of no kind, which no night of a calm winter may be like."""
    rng = np.random.default_rng(7)
    wind = np.where(np.arange(160) < 120, rng.choice([1.0, 7.0], 160), 1.0)
    course = learn(nights(np.where(wind < 4.0, -3.0, 0.0) + rng.normal(0.0, 0.8, 160), wind))

    learned = taught(course)
    assert learned.error.by_kind
    assert learned.usual.bias_k == pytest.approx(-1.5, abs=0.7)
    assert course.level_k[-1] == pytest.approx(-3.0, abs=0.5)
    assert course.level_k[-1] == pytest.approx(learned.total_k, abs=0.25)


def test_what_does_not_depend_on_it_is_hardly_told_worse() -> None:
    rng = np.random.default_rng(16)
    error = rng.normal(-1.0, 1.2, 400)
    wind = rng.uniform(0.5, 8.0, 400)

    off = [error[30:] - learn(nights(error, given)).expected_k[30:] for given in (np.nan, wind)]

    assert off[1].std() < 1.01 * off[0].std()


def test_nothing_is_known_of_a_night_beforehand() -> None:
    rng = np.random.default_rng(7)
    error, wind = rng.normal(-0.5, 1.2, 90), rng.uniform(0.0, 8.0, 90)
    other = error.copy()
    other[60:] += 2.0

    one, another = learn(nights(error, wind)), learn(nights(other, wind))

    np.testing.assert_array_equal(one.expected_k[:61], another.expected_k[:61])
    np.testing.assert_array_equal(one.expected_sd_k[:61], another.expected_sd_k[:61])
    assert (one.expected_k[61:] != another.expected_k[61:]).all()


def test_one_false_reading_teaches_little() -> None:
    rng = np.random.default_rng(8)
    right = rng.normal(-0.5, 1.0, 80)
    wrong = right.copy()
    wrong[70] = -25.0

    levels = [learn(nights(errors)).level_k[70] for errors in (right, wrong)]

    assert abs(levels[1] - levels[0]) < CUT_OFF * 1.3 * 0.12


@pytest.mark.parametrize("actual_k", [0.8, 1.3, 2.4])
def test_told_deviations_hold(actual_k: float) -> None:
    error = np.random.default_rng(11).normal(0.7, actual_k, 1000)
    course = learn(nights(error))

    in_deviations = (error - course.expected_k) / course.expected_sd_k
    assert in_deviations[100:].std() == pytest.approx(1.0, abs=0.1)


# -- nights as the archive has them


@pytest.mark.parametrize("offset_k", [-2.0, 2.0])
@pytest.mark.parametrize(
    ("wind_m_s", "low", "high"),
    [(1.0, 0.0, 0.0), (1.0, 0.0, 1.0), (6.0, 0.7, 0.2), (np.nan, 0.0, 0.0)],
)
def test_what_is_learned_from_is_what_the_climate_says(
    offset_k: float, wind_m_s: float, low: float, high: float
) -> None:
    """Else what high cloud leaves of the grower's own offset would be learned, and count twice."""
    curve = daily_curve(6.0, 18.0, 72, warmest_utc=20)
    cloud = 1.0 - (1.0 - low) * (1.0 - high)
    air = weather(
        START, curve, wind_m_s=wind_m_s, cloud=cloud, cloud_low=low, cloud_middle=0.0,
        cloud_high=high,
    )  # fmt: skip
    spot = replace(OPEN_BENCH, night_offset_k=offset_k)
    told = nights_of(MENDOZA, air, START - timedelta(days=2))[1]
    climate = climate_of(MENDOZA, (spot,), air)
    row = int(np.searchsorted(climate.times, told.low_at.timestamp()))

    found = nights_at(spot, [told.night], np.array([5.0]), [told])

    assert found.low_c[0] == pytest.approx(float(climate.temp_c[row, 0]), abs=1e-6)
    assert found.said_k[0] == pytest.approx(float(climate.offset_k[row, 0]), abs=1e-6)


# -- a thermometer that is moved


def moved(by_k: float, count: int = 60, at: int = 40) -> Nights:
    rng = np.random.default_rng(12)
    errors = rng.normal(-1.0, 1.2, count)
    errors[at:] += by_k
    return nights(errors)


@pytest.mark.parametrize("by_k", [-5.0, 5.0])
def test_a_step_is_found_and_asked_about(by_k: float) -> None:
    course = learn(moved(by_k))
    (step,), learned = course.steps, taught(course)

    assert step.day == pytest.approx(FIRST + 40, abs=1)
    assert step.before_k == pytest.approx(-1.0, abs=0.7)
    assert step.after_k == pytest.approx(-1.0 + by_k, abs=1.0)
    assert not step.explained
    assert learned.asks
    assert learned.since == date.fromordinal(step.day)
    assert learned.step_k == pytest.approx(by_k, abs=1.0)
    # The coldest of all that may be true counts until someone answers.
    level = course.level_k[-1]
    assert learned.bias_k(learned.usual) == pytest.approx(min(0.0, step.before_k, level))
    assert learned.total_k == pytest.approx(min(0.0, step.before_k, level), abs=0.01)
    question = learned.question_at("bench")
    assert isinstance(question, ThermometerMoved)
    assert (question.spot, question.since) == ("bench", learned.since)
    assert question.warmer_k == pytest.approx(by_k, abs=1.0)


def test_once_it_is_explained_what_is_read_since_counts() -> None:
    learned = taught(learn(moved(5.0), [date.fromordinal(FIRST + 40)]))

    assert not learned.asks
    assert learned.question_at("bench") is None
    assert learned.usual.bias_k == pytest.approx(4.0, abs=1.2)
    assert learned.nights == pytest.approx(20, abs=1)


def test_an_answer_to_another_step_does_not_count() -> None:
    assert taught(learn(moved(5.0), [date.fromordinal(FIRST + 3)])).asks


@pytest.mark.parametrize("by_k", [-1.0, 1.5])
def test_small_steps_are_followed(by_k: float) -> None:
    course = learn(moved(by_k, count=200))

    assert course.steps == ()
    assert course.level_k[-1] == pytest.approx(-1.0 + by_k, abs=0.7)


def test_a_few_odd_nights_are_no_step() -> None:
    errors = moved(0.0).error_k.copy()
    errors[30 : 30 + min(STEP_NIGHTS) - 3] += 6.0

    assert learn(nights(errors)).steps == ()


def test_nights_without_a_move_show_no_step() -> None:
    rng = np.random.default_rng(13)
    found = sum(len(learn(nights(rng.normal(0.0, 1.6, 300))).steps) for _ in range(10))

    assert found == 0


@pytest.mark.parametrize(("count", "counts"), [(ENOUGH_NIGHTS - 1, False), (ENOUGH_NIGHTS, True)])
def test_a_spot_is_known_to_be_warmer_only_from_some_nights_on(count: int, counts: bool) -> None:
    warm, cold = (taught(learn(nights(np.full(count, off_k)))) for off_k in (2.0, -2.0))

    assert warm.read_k > 1.5
    assert warm.total_k == pytest.approx(warm.read_k if counts else 0.0)
    assert warm.bias_k(warm.usual) == pytest.approx(warm.usual.bias_k if counts else 0.0)
    assert ("counts from 7 nights on" in str(warm)) != counts
    assert cold.total_k == cold.read_k < -1.5
    assert "counts from" not in str(cold)


@pytest.mark.parametrize(("said_k", "believed"), [(0.0, False), (6.0, True)])
def test_a_thermometer_that_hangs_in_the_house_is_not_believed(
    said_k: float, believed: bool
) -> None:
    learned = taught(learn(nights(np.full(40, 8.0 - said_k), said_k=said_k)))

    assert learned.read_k == pytest.approx(8.0, abs=0.3)
    assert learned.total_k == pytest.approx(8.0 if believed else said_k, abs=0.3)
    question = learned.question_at("bench")
    assert (question is None) == believed
    if question is not None:
        assert isinstance(question, ThermometerTooWarm)
        assert question.warmer_k == learned.read_k


def test_the_whole_of_it_is_told_with_what_the_grower_said() -> None:
    learned = taught(learn(nights(np.full(30, -0.5), said_k=-1.0)))

    assert learned.total_k == pytest.approx(-1.0 + learned.usual.bias_k)
    assert str(learned) == (
        "learned from 30 nights: 1.5 K colder than the forecast, give or take 0.2 K"
    )
