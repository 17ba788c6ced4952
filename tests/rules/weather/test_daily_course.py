"""Hours that are drawn through the lows of nights and the highs of days."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sillward_rules.arrays import HOUR_S, Array
from sillward_rules.weather.daily_course import NIGHT_DECAY, course_between_lows


def course(
    hours: Array,
    lows: tuple[float, ...] = (10.0, 12.0, 8.0),
    highs: tuple[float, ...] = (30.0, 20.0, np.nan),
    low_h: tuple[float, ...] = (5.83, 29.83, 53.83),
) -> Array:
    """Two days from 06:00 to 18:00 between three nights; hours and lows are hours of the first."""
    days = np.arange(0.0, 24.0 * len(lows), 24.0)
    return course_between_lows(
        np.asarray(hours) * HOUR_S,
        low_at=np.array(low_h) * HOUR_S,
        low_c=np.array(lows),
        sunrise=(days + 6.0) * HOUR_S,
        sunset=(days + 18.0) * HOUR_S,
        high_c=np.array(highs),
    )


def test_every_low_is_reached_at_its_time_and_is_the_lowest_of_its_night() -> None:
    hours = np.arange(5.83, 53.84, 0.25)

    drawn = course(hours)

    assert course(np.array([5.83, 29.83, 53.83])) == pytest.approx([10.0, 12.0, 8.0])
    first_night = drawn[(hours >= 18) & (hours <= 29.84)]
    assert first_night.min() == first_night[-1] == pytest.approx(12.0)
    assert np.all(np.diff(first_night) < 0)


def test_the_high_comes_after_noon() -> None:
    hours = np.arange(6.0, 18.0, 0.01)

    drawn = course(hours)

    assert drawn.max() == pytest.approx(30.0, abs=0.01)
    assert hours[np.argmax(drawn)] == pytest.approx(12 + 1.86 - 0.17, abs=0.01)


def test_a_tenth_of_the_fall_comes_with_the_low_itself() -> None:
    dusk, before, low = course(np.array([18.0, 29.82, 29.83]))

    share = np.exp(-NIGHT_DECAY * (29.82 - 18) / (29.83 + 0.17 - 18))
    assert before == pytest.approx(low + (dusk - low) * share)
    assert share == pytest.approx(0.114, abs=0.001)


def test_a_low_in_the_evening_lasts_until_sunrise() -> None:
    drawn = course(np.array([22.0, 24.0, 28.0, 29.8, 31.0]), low_h=(5.83, 22.0, 53.83))

    assert drawn[:4] == pytest.approx([12.0] * 4)
    assert drawn[4] > 12.0


def test_a_low_after_sunrise_delays_the_warming_and_not_the_high() -> None:
    hours = np.arange(30.0, 42.0, 0.01)

    drawn = course(hours, low_h=(5.83, 31.0, 53.83))

    assert np.all(np.diff(drawn[(hours > 31) & (hours < 37.6)]) > 0)
    assert hours[np.argmax(drawn)] == pytest.approx(24 + 12 + 1.86 - 0.17, abs=0.01)


def test_outside_the_lows_and_next_to_an_unknown_one_nothing_is_known() -> None:
    hours = np.array([5.0, 6.0, 20.0, 30.0, 50.0, 54.0])

    assert np.isnan(course(hours)).tolist() == [True, False, False, False, False, True]
    unknown = course(hours, lows=(10.0, np.nan, 8.0))
    assert np.isnan(unknown).tolist() == [True, False, True, True, True, True]
    unknown_high = course(hours, highs=(np.nan, 20.0, np.nan))
    assert np.isnan(unknown_high).tolist() == [True, True, True, False, False, True]
    assert np.isnan(course(hours, lows=(10.0,), highs=(20.0,), low_h=(5.83,))).all()


@given(
    st.lists(st.tuples(st.floats(-20, 25), st.floats(0, 25)), min_size=2, max_size=6),
    st.floats(-1.0, 8.0),
)
def test_no_hour_is_below_the_lows_or_above_the_highs(
    days: list[tuple[float, float]], early_h: float
) -> None:
    """Of days that are never colder than the nights next to them."""
    lows = np.array([low for low, _ in days])
    highs = np.maximum(lows, np.append(lows[1:], -99.0)) + [rise for _, rise in days]
    low_h = 5.83 - early_h + 24.0 * np.arange(len(days))
    hours = np.arange(0.0, 24.0 * len(days), 0.5)

    drawn = course(hours, tuple(lows), tuple(highs), tuple(low_h))

    known = drawn[np.isfinite(drawn)]
    assert known.min() >= lows.min() - 1e-9
    assert known.max() <= highs.max() + 1e-9
    inside = (hours >= low_h[0]) & (hours <= low_h[-1])
    assert np.isfinite(drawn).tolist() == inside.tolist()
