"""The root finder: exact, safe on awkward functions, and quick."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from sillward_rules.arrays import Array
from sillward_rules.physics import air
from sillward_rules.physics.root_finding import find_root

repeatable = settings(deadline=None, derandomize=True)

FALLING: dict[str, Callable[[Array, float], Array]] = {
    "line": lambda x, at: at - x,
    "cubic, flat at its root": lambda x, at: -((x - at) ** 3),
    "root of the distance, steep at its root": lambda x, at: (
        -np.sign(x - at) * np.sqrt(np.abs(x - at))
    ),
    "exponential": lambda x, at: np.exp(-0.2 * (x - at)) - 1,
    "kink": lambda x, at: np.where(x < at, 100 * (at - x), 0.01 * (at - x)),
    "step": lambda x, at: np.where(x < at, 1.0, -1.0),
    "fourth power of an absolute temperature": lambda x, at: (at + 273.0) ** 4 - (x + 273.0) ** 4,
}


@pytest.mark.parametrize("excess", FALLING.values(), ids=FALLING.keys())
@repeatable
@given(root=st.floats(-50, 50), below=st.floats(0, 100), above=st.floats(0, 100))
def test_root_is_found_to_a_billionth(
    excess: Callable[[Array, float], Array], root: float, below: float, above: float
) -> None:
    found = find_root(lambda x: np.asarray(excess(x, root)), root - below, root + above)

    assert float(found) == pytest.approx(root, abs=1.1e-9)


@pytest.mark.parametrize("vapour_kpa", [0.3, 1.0, 2.5])
def test_root_is_that_of_another_solver(vapour_kpa: float) -> None:
    """scipy.optimize.brentq on the wet bulb of air at 40 °C."""

    def excess(wet_c: Array) -> Array:
        return vapour_kpa - air.vapour_pressure_from_wet_bulb(40.0, wet_c, 95.0)

    other = brentq(lambda wet_c: float(excess(np.asarray(wet_c))), -40, 40, xtol=1e-12)

    assert float(find_root(excess, -40.0, 40.0)) == pytest.approx(other, abs=1e-9)


def test_smooth_functions_take_a_dozen_evaluations_not_three_dozen() -> None:
    temps = np.linspace(-5, 45, 200)
    vapour = air.vapour_pressure(temps, 30.0)
    asked = []

    def excess(wet_c: Array) -> Array:
        asked.append(wet_c)
        return vapour - air.vapour_pressure_from_wet_bulb(temps, wet_c, 101.3)

    find_root(excess, temps - 50, temps)

    assert len(asked) <= 12


def test_jumps_and_kinks_take_little_more_than_halving() -> None:
    asked = []

    def step(x: Array) -> Array:
        asked.append(x)
        return np.where(x < np.pi, 1.0, -1e6)

    find_root(step, 0.0, 100.0)

    assert len(asked) <= 45


def test_every_element_is_found_as_if_it_were_alone() -> None:
    roots = np.array([3.0, -7.25, 11.1, 0.0])

    def excess_at(at: Array) -> Callable[[Array], Array]:
        return lambda x: np.asarray((at + 90.0) * (at + 90.0) - (x + 90.0) * (x + 90.0))

    together = find_root(excess_at(roots), np.full(4, -40.0), np.array([40.0, 0.0, 90.0, 1.0]))

    alone = [
        find_root(excess_at(roots[[i]]), [-40.0], [high])[0]
        for i, high in enumerate([40.0, 0.0, 90.0, 1.0])
    ]
    assert together.tolist() == alone


def test_root_at_an_end_is_that_end_exactly() -> None:
    found = find_root(lambda x: 0.1 - x, [0.1, -3.0], [5.0, 0.1])

    assert found.tolist() == [0.1, 0.1]


def test_without_a_change_of_sign_the_nearer_end_is_given() -> None:
    found = find_root(lambda x: -x, [2.0, -9.0], [5.0, -4.0])

    assert found.tolist() == [2.0, -4.0]


def test_unknown_bracket_or_excess_is_unknown_and_spoils_no_neighbour() -> None:
    wanted = np.array([1.0, np.nan, 1.0, 1.0])

    found = find_root(lambda x: wanted - x, [0.0, 0.0, np.nan, 0.0], [np.nan, 3.0, 3.0, 3.0])

    assert np.isnan(found).tolist() == [True, True, True, False]
    assert found[3] == pytest.approx(1.0, abs=1e-9)


def test_excess_that_becomes_unknown_on_the_way_is_unknown() -> None:
    found = find_root(lambda x: np.where(np.abs(x) > 2, -x, np.nan), -5.0, 4.0)

    assert np.isnan(found)


def test_far_from_zero_it_ends_at_the_precision_of_numbers() -> None:
    found = find_root(lambda x: 1e12 / 3 - x, 0.0, 1e12)

    assert float(found) == pytest.approx(1e12 / 3, rel=1e-14)


def test_shapes_broadcast_and_scalars_stay_scalars() -> None:
    assert find_root(lambda x: 1.0 - x, 0.0, 3.0).shape == ()
    assert find_root(lambda x: 1.0 - x, np.zeros((2, 1)), np.full(3, 4.0)).shape == (2, 3)
    assert find_root(lambda x: 1.0 - x, np.empty(0), np.empty(0)).shape == (0,)


def test_brackets_are_left_as_they_are() -> None:
    low, high = np.zeros(3), np.full(3, 4.0)

    find_root(lambda x: 1.0 - x, low, high)

    assert low.tolist() == [0, 0, 0]
    assert high.tolist() == [4, 4, 4]
