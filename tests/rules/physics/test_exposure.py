"""Time and depth under a limit: against fine sums, hand-drawn triangles and a daily curve."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sillward_rules.physics.exposure import exposure

few = settings(derandomize=True, deadline=None)
temperatures = st.lists(st.floats(-10, 30), min_size=2, max_size=30)


def test_a_triangle_under_the_limit_by_hand() -> None:
    # 2 K over, 2 K under, 2 K over: under from the middle of one hour to that of the next, and
    # the triangle's area is half of base (1 h) times depth (2 K).
    hours, degree_hours = exposure(np.array([15.0, 11.0, 15.0]), 13.0)

    assert hours == pytest.approx(1.0)
    assert degree_hours == pytest.approx(1.0)


def test_a_trapezium_under_the_limit_by_hand() -> None:
    # Under by 1 K and by 3 K, at the limit outside.
    hours, degree_hours = exposure(np.array([13.0, 12.0, 10.0, 13.0]), 13.0)

    assert hours == pytest.approx(3.0)
    assert degree_hours == pytest.approx(0.5 + 2.0 + 1.5)


@pytest.mark.parametrize("temp", [[13.0, 13.0, 13.0], [13.0, 20.0, 13.0]])
def test_at_the_limit_is_not_under_it(temp: list[float]) -> None:
    hours, degree_hours = exposure(np.array(temp), 13.0)

    assert hours == 0.0
    assert degree_hours == 0.0


@few
@given(temp=temperatures, limit=st.floats(-5, 25), step=st.sampled_from([0.25, 1.0, 3.0]))
def test_agrees_with_a_fine_sum_along_the_same_lines(
    temp: list[float], limit: float, step: float
) -> None:
    """The same broken line, looked at in the middle of 4000 pieces of every step."""
    pieces = 4000
    middles = (np.arange((len(temp) - 1) * pieces) + 0.5) / pieces
    under = limit - np.interp(middles, np.arange(len(temp)), temp)
    fine = step / pieces

    hours, degree_hours = exposure(np.array(temp), limit, step)

    most = (len(temp) - 1) * fine  # each crossing is known to a piece
    assert hours == pytest.approx(fine * float((under > 0).sum()), abs=most + 1e-9)
    assert degree_hours == pytest.approx(fine * float(np.maximum(under, 0.0).sum()), abs=0.01)


@few
@given(temp=temperatures, limit=st.floats(-5, 25), colder=st.floats(0, 10))
def test_colder_is_never_shorter_nor_less_deep(
    temp: list[float], limit: float, colder: float
) -> None:
    before, after = exposure(np.array(temp), limit), exposure(np.array(temp) - colder, limit)

    assert after[0] >= before[0] - 1e-9
    assert after[1] >= before[1] - 1e-9
    assert 0.0 <= before[0] <= len(temp) - 1


@few
@given(temp=st.lists(st.floats(-10, 30), min_size=3, max_size=20), cut=st.data())
def test_a_night_in_two_parts_adds_up(temp: list[float], cut: st.DataObject) -> None:
    at = cut.draw(st.integers(1, len(temp) - 2))
    whole = exposure(np.array(temp), 10.0)
    first, second = exposure(np.array(temp[: at + 1]), 10.0), exposure(np.array(temp[at:]), 10.0)

    assert whole[0] == pytest.approx(first[0] + second[0])
    assert whole[1] == pytest.approx(first[1] + second[1])


def test_columns_and_limits_are_taken_one_by_one() -> None:
    temp = np.array([[15.0, 5.0], [11.0, 5.0], [15.0, np.nan]])
    limits = np.array([13.0, 6.0])

    hours, degree_hours = exposure(temp, limits)

    assert hours[0] == pytest.approx(1.0)
    assert degree_hours[0] == pytest.approx(1.0)
    assert np.isnan([hours[1], degree_hours[1]]).all()


def test_a_limit_that_changes_with_the_hours() -> None:
    # Constant 12 °C; the limit is 11 for two moments and 13 for two: crossed in the middle.
    hours, degree_hours = exposure(np.full(4, 12.0), np.array([11.0, 11.0, 13.0, 13.0]))

    assert hours == pytest.approx(1.5)
    assert degree_hours == pytest.approx(0.5 * 0.5 * 1.0 + 1.0)


@pytest.mark.parametrize("size", [0, 1])
def test_a_single_moment_lasts_no_time(size: int) -> None:
    hours, degree_hours = exposure(np.full(size, -40.0), 10.0)

    assert hours == 0.0
    assert degree_hours == 0.0


@pytest.mark.parametrize("row", [0, 2, 4])
def test_one_unknown_moment_leaves_the_night_unknown(row: int) -> None:
    temp = np.full(5, 20.0)
    temp[row] = np.nan

    hours, degree_hours = exposure(temp, 10.0)

    assert np.isnan(hours)
    assert np.isnan(degree_hours)


SUNRISE_H, SUNSET_H = 7.0, 17.5
LAG_MAX_H, LAG_MIN_H, DECAY = 2.59, 1.55, 2.2


def wann(clock_h: float, low_c: float, high_c: float) -> float:
    """Daily curve of temperature of Wann, Yen and Gold 1985: a sine by day, a decay at night."""
    day_h = SUNSET_H - SUNRISE_H

    def by_day(at_h: float) -> float:
        phase = math.pi * (at_h - SUNRISE_H - LAG_MIN_H) / (day_h + 2 * (LAG_MAX_H - LAG_MIN_H))
        return low_c + (high_c - low_c) * math.sin(phase)

    if SUNRISE_H + LAG_MIN_H < clock_h <= SUNSET_H:
        return by_day(clock_h)
    since_sunset = (clock_h - SUNSET_H) % 24
    night_h = 24 - day_h + LAG_MIN_H
    return low_c + (by_day(SUNSET_H) - low_c) * math.exp(-DECAY * since_sunset / night_h)


@pytest.mark.parametrize(
    ("high", "low", "limit", "expected"),
    [
        (20, 8, 9, 0.33),
        (20, 8, 10, 5.1),
        (20, 8, 12, 10.5),
        (18, 9, 10, 2.1),
        (18, 9, 12, 10.53),
        (16, 6, 8, 6.48),
    ],
)
def test_hours_under_a_limit_on_a_daily_curve(
    high: float, low: float, limit: float, expected: float
) -> None:
    """Hours as computed apart from this project with the parameters of Wann et al. 1985.

    No measurement: they prove the count, not the curve. The day runs from noon to noon.
    """
    step_h = 1 / 60
    clock = 12.0 + step_h * np.arange(24 * 60 + 1)
    temp = np.array([wann(at % 24, low, high) for at in clock])

    hours, _ = exposure(temp, limit, step_h)

    assert float(hours) == pytest.approx(expected, abs=0.05)
