"""Crowns under rain and dew: by hand, against a plain loop, and what must always hold."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sillward_rules.physics.crown_wetness import (
    AXIL_FACTOR,
    POOL_MM,
    WET_FROM_MM,
    crown_water,
    hours_wet,
    hours_wet_by_rain,
)

few = settings(derandomize=True, deadline=None)
rains = st.one_of(st.just(0.0), st.floats(0, 3))
rates = st.floats(-0.05, 0.6)
hours = st.lists(st.tuples(rains, rates), min_size=1, max_size=30)


def water(rain: list[float], rate: list[float], **more: float) -> list[float]:
    return [float(water_mm) for water_mm in crown_water(np.array(rain), np.array(rate), **more)]


# -- water


def test_rain_fills_and_a_crown_dries_slower_than_an_open_leaf() -> None:
    # 0.6 mm of rain in air that takes 0.15 mm/h: a crown gives up 0.15 / 1.5 = 0.1 an hour.
    levels = water([0.6, 0.0, 0.0, 0.0], [0.15] * 4)

    assert AXIL_FACTOR == 1.5
    assert levels == pytest.approx([0.5, 0.4, 0.3, 0.2])


def test_dew_is_caught_in_full() -> None:
    assert water([0.0, 0.0], [-0.03, -0.03]) == pytest.approx([0.03, 0.06])


def test_what_is_too_much_runs_over() -> None:
    levels = water([20.0, 0.0], [0.0, 0.3])

    assert levels == pytest.approx([POOL_MM, POOL_MM - 0.3 / AXIL_FACTOR])
    assert water([20.0], [0.0], pool_mm=0.2) == pytest.approx([0.2])


def test_a_dry_crown_owes_nothing() -> None:
    assert water([0.0, 0.0, 0.3], [0.6, 0.6, 0.0]) == pytest.approx([0.0, 0.0, 0.3])


@pytest.mark.parametrize(("rain", "rate"), [(math.nan, 0.15), (0.0, math.nan)])
def test_after_an_unknown_hour_the_pool_may_be_full(rain: float, rate: float) -> None:
    levels = water([0.0, rain, 0.0], [0.15, rate, 0.15])

    assert levels[0] == 0.0
    assert math.isnan(levels[1])
    assert levels[2] == pytest.approx(POOL_MM - 0.1)


@few
@given(hours=hours, pool=st.floats(0.1, 2), factor=st.floats(1, 3))
def test_agrees_with_a_plain_account(
    hours: list[tuple[float, float]], pool: float, factor: float
) -> None:
    held, account = 0.0, []
    for rain, rate in hours:
        held += rain
        held -= rate / factor if rate > 0 else rate
        held = min(max(held, 0.0), pool)
        account.append(held)

    levels = water(
        [rain for rain, _ in hours], [rate for _, rate in hours], pool_mm=pool, factor=factor
    )

    assert levels == pytest.approx(account, abs=1e-12)


@few
@given(hours=hours, more=st.floats(0, 1), slower=st.floats(0, 0.3), row=st.integers(0, 29))
def test_more_rain_slower_drying_or_less_known_never_leaves_less_water(
    hours: list[tuple[float, float]], more: float, slower: float, row: int
) -> None:
    rain, rate = (np.array(series) for series in zip(*hours, strict=True))
    level = crown_water(rain, rate)
    unknown = rain.copy()
    unknown[row % rain.size] = np.nan

    assert (crown_water(rain + more, rate) >= level - 1e-12).all()
    assert (crown_water(rain, rate - slower) >= level - 1e-12).all()
    holes = crown_water(unknown, rate)
    assert (np.isnan(holes) | (holes >= level - 1e-12)).all()


def test_spots_are_kept_apart() -> None:
    rain = np.array([[0.5, 0.0], [np.nan, 0.0], [0.0, 0.2]])
    rate = np.array([[0.0, 0.0], [0.1, 0.3], [0.0, 0.0]])

    both = crown_water(rain, rate)

    for column in range(2):
        np.testing.assert_array_equal(
            both[:, column], crown_water(rain[:, column], rate[:, column])
        )


# -- hours


def test_hours_are_counted_from_the_last_dry_one() -> None:
    levels = np.array([0.0, 0.5, 0.4, WET_FROM_MM / 2, 0.3])

    assert list(hours_wet(levels)) == [0.0, 1.0, 2.0, 0.0, 1.0]


def test_wet_from_the_start_is_wet_since_then() -> None:
    assert list(hours_wet(np.array([0.5, 0.5]))) == [1.0, 2.0]


def test_an_unknown_hour_is_unknown_and_wet_for_those_after_it() -> None:
    counted = hours_wet(np.array([0.0, 0.5, np.nan, 0.5, 0.0]))

    np.testing.assert_array_equal(counted, [0.0, 1.0, np.nan, 3.0, 0.0])


def test_dew_alone_is_no_rain() -> None:
    wet = np.array([0.0, 1.0, 2.0, 3.0])

    assert list(hours_wet_by_rain(wet, np.zeros(4))) == [0.0] * 4


def test_rain_on_dew_makes_the_whole_wet_run_one_of_rain() -> None:
    wet = np.array([0.0, 1.0, 2.0, 3.0, 0.0, 1.0])
    rain = np.array([0.0, 0.0, 1.0, 0.0, 0.0, 0.0])

    # From the rain on; the dew of the next run has no rain in it.
    assert list(hours_wet_by_rain(wet, rain)) == [0.0, 0.0, 2.0, 3.0, 0.0, 0.0]


def test_rain_that_dried_before_is_forgotten() -> None:
    wet = np.array([1.0, 0.0, 1.0, 2.0])
    rain = np.array([5.0, 0.0, 0.0, 0.0])

    assert list(hours_wet_by_rain(wet, rain)) == [1.0, 0.0, 0.0, 0.0]


def test_an_unknown_hour_of_wetness_is_unknown_for_rain_too() -> None:
    wet = np.array([0.0, np.nan, 0.0])

    np.testing.assert_array_equal(hours_wet_by_rain(wet, np.zeros(3)), wet)


def test_rain_that_nobody_knows_of_is_not_taken_for_dew() -> None:
    rain, rate = np.array([0.0, np.nan, 0.0, 0.0]), np.full(4, 0.01)
    wet = hours_wet(crown_water(rain, rate))

    assert list(wet[2:]) == [2.0, 3.0]
    assert not (hours_wet_by_rain(wet, rain)[2:] == 0.0).any()


@few
@given(hours=hours)
def test_rain_has_a_part_in_no_more_hours_than_are_wet(hours: list[tuple[float, float]]) -> None:
    rain, rate = (np.array(series) for series in zip(*hours, strict=True))
    wet = hours_wet(crown_water(rain, rate))
    by_rain = hours_wet_by_rain(wet, rain)

    assert ((by_rain == 0.0) | (by_rain == wet)).all()
    assert (wet <= np.arange(1, wet.size + 1)).all()


def test_no_hours_at_all() -> None:
    nothing = np.empty((0, 2))

    assert crown_water(nothing, nothing).shape == (0, 2)
    assert hours_wet(nothing).shape == (0, 2)
    assert hours_wet_by_rain(nothing, nothing).shape == (0, 2)
