"""The root finder: exact, safe on awkward functions, and quick."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import ArrayLike
from scipy.optimize import brentq

from sillward_rules.arrays import Array
from sillward_rules.physics import air
from sillward_rules.physics.root_finding import find_root

repeatable = settings(deadline=None, derandomize=True)

Falling = Callable[[Array, float], tuple[Array, Array]]

FALLING: dict[str, Falling] = {
    "line": lambda x, at: (at - x, np.full(x.shape, -1.0)),
    "root of the distance, steep at its root": lambda x, at: (
        -np.sign(x - at) * np.sqrt(np.abs(x - at)),
        -0.5 / np.sqrt(np.abs(x - at)),
    ),
    "exponential": lambda x, at: (np.exp(-0.2 * (x - at)) - 1, -0.2 * np.exp(-0.2 * (x - at))),
    "kink": lambda x, at: (
        np.where(x < at, 100 * (at - x), 0.01 * (at - x)),
        np.where(x < at, -100.0, -0.01),
    ),
    "step": lambda x, at: (np.where(x < at, 1.0, -1.0), np.zeros(x.shape)),
    "fourth power of an absolute temperature": lambda x, at: (
        (at + 273.0) ** 4 - (x + 273.0) ** 4,
        -4 * (x + 273.0) ** 3,
    ),
}


@pytest.mark.filterwarnings("ignore:divide by zero")  # the steep one, where it is steepest
@pytest.mark.parametrize("excess", FALLING.values(), ids=FALLING.keys())
@repeatable
@given(
    root=st.floats(-50, 50),
    below=st.floats(0, 100),
    above=st.floats(0, 100),
    share=st.floats(0, 1),
)
def test_root_is_found_to_a_billionth(
    excess: Falling, root: float, below: float, above: float, share: float
) -> None:
    low, high = root - below, root + above
    start = min(max(low + share * (high - low), low), high)

    found = find_root(lambda x: excess(x, root), low, high, start)

    assert float(found) == pytest.approx(root, abs=1.1e-9)


def test_a_root_where_the_slope_is_none_is_found_slowly_but_found() -> None:
    def cubic(x: Array) -> tuple[Array, Array]:
        return -((x - 1.5) ** 3), -3 * (x - 1.5) ** 2

    assert float(find_root(cubic, -40.0, 40.0, 20.0)) == pytest.approx(1.5, abs=1e-8)


@pytest.mark.parametrize("vapour_kpa", [0.3, 1.0, 2.5])
def test_root_is_that_of_another_solver(vapour_kpa: float) -> None:
    """scipy.optimize.brentq on the wet bulb of air at 40 °C."""

    def excess(wet_c: Array) -> tuple[Array, Array]:
        read = air.vapour_pressure_from_wet_bulb(40.0, wet_c, 95.0)
        slope = air.saturation_slope(wet_c) + air.PSYCHROMETER_VENTILATED * 95.0
        return vapour_kpa - read, -slope

    other = brentq(lambda wet_c: float(excess(np.asarray(wet_c))[0]), -40, 40, xtol=1e-12)

    assert float(find_root(excess, -40.0, 40.0, 40.0)) == pytest.approx(other, abs=1e-9)


def test_smooth_functions_take_few_evaluations() -> None:
    temps = np.linspace(-5, 45, 200)
    vapour = air.vapour_pressure(temps, 30.0)
    asked = []

    def excess(wet_c: Array) -> tuple[Array, Array]:
        asked.append(wet_c)
        slope = air.saturation_slope(wet_c) + air.PSYCHROMETER_VENTILATED * 101.3
        return vapour - air.vapour_pressure_from_wet_bulb(temps, wet_c, 101.3), -slope

    find_root(excess, temps - 50, temps, temps)

    assert len(asked) <= 7


def test_jumps_take_little_more_than_halving() -> None:
    asked = []

    def step(x: Array) -> tuple[Array, Array]:
        asked.append(x)
        return np.where(x < np.pi, 1.0, -1e6), np.full(x.shape, -1.0)

    find_root(step, 0.0, 100.0, 50.0)

    assert len(asked) <= 55


def line(at: ArrayLike) -> Callable[[Array], tuple[Array, Array]]:
    """A line that falls to 0 at these places."""
    return lambda x: (np.asarray(at) - x, np.full(x.shape, -1.0))


def test_every_element_is_found_as_if_it_were_alone() -> None:
    roots = np.array([3.0, -7.25, 11.1, 0.0])

    def excess_at(at: Array) -> Callable[[Array], tuple[Array, Array]]:
        return lambda x: ((at + 90.0) ** 2 - (x + 90.0) ** 2, -2.0 * (x + 90.0))

    high = np.array([40.0, 0.0, 90.0, 1.0])
    together = find_root(excess_at(roots), np.full(4, -40.0), high, high)

    alone = [find_root(excess_at(roots[[i]]), [-40.0], high[[i]], high[[i]])[0] for i in range(4)]
    assert together.tolist() == alone


def test_a_start_that_is_the_root_is_returned_exactly() -> None:
    found = find_root(line(0.1), [0.1, -3.0], [5.0, 0.1], [0.1, 0.1])

    assert found.tolist() == [0.1, 0.1]


def test_without_a_change_of_sign_the_nearer_end_is_given() -> None:
    found = find_root(line(0.0), [2.0, -9.0], [5.0, -4.0], [3.0, -5.0])

    assert found.tolist() == [2.0, -4.0]


def test_unknown_bracket_or_excess_is_unknown_and_spoils_no_neighbour() -> None:
    wanted, low = np.array([1.0, np.nan, 1.0, 1.0]), [0.0, 0.0, np.nan, 0.0]

    found = find_root(line(wanted), low, [np.nan, 3.0, 3.0, 3.0], 2.0)

    assert np.isnan(found).tolist() == [True, True, True, False]
    assert found[3] == pytest.approx(1.0, abs=1e-9)


def test_excess_that_becomes_unknown_on_the_way_is_unknown() -> None:
    found = find_root(
        lambda x: (np.where(np.abs(x) > 2, -x, np.nan), np.full(x.shape, -1.0)), -5.0, 4.0, 3.0
    )

    assert np.isnan(found)


def test_far_from_zero_it_ends_at_the_precision_of_numbers() -> None:
    found = find_root(line(1e12 / 3), 0.0, 1e12, 1.0)

    assert float(found) == pytest.approx(1e12 / 3, rel=1e-14)


def test_shapes_broadcast_and_scalars_stay_scalars() -> None:
    assert find_root(line(1.0), 0.0, 3.0, 2.0).shape == ()
    assert find_root(line(1.0), np.zeros((2, 1)), np.full(3, 4.0), 2.0).shape == (2, 3)
    assert find_root(line(1.0), np.empty(0), np.empty(0), np.empty(0)).shape == (0,)


def test_brackets_are_left_as_they_are() -> None:
    low, high = np.zeros(3), np.full(3, 4.0)

    find_root(line(1.0), low, high, 2.0)

    assert low.tolist() == [0, 0, 0]
    assert high.tolist() == [4, 4, 4]
