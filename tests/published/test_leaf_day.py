"""Leaves by day: free convection, and how far a leaf with shut stomata warms in the sun."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from sillward_rules.physics import air, leaf, surface
from sillward_rules.physics.surface import Shape

Inputs = dict[str, Any]
Agrees = Callable[[object], None]

PRESSURE_KPA = 101.3


@pytest.mark.published("free_heat_conductance")
def test_free_heat_conductance(inputs: Inputs, agrees: Agrees) -> None:
    plate = Shape(inputs["length_m"])

    agrees(surface.free_heat_conductance(inputs["difference_k"], plate, surface.SEA_LEVEL_KPA))


@pytest.mark.published("leaf_in_sunlight")
def test_leaf_in_sunlight(inputs: Inputs, agrees: Agrees) -> None:
    warmed = leaf.leaf_temperature(
        inputs["temp_c"],
        air.vapour_pressure(inputs["temp_c"], inputs["rh_pct"]),
        inputs["wind_m_s"],
        0.0,
        1.0,
        inputs["sunlight_w_m2"],
        pressure_kpa=PRESSURE_KPA,
        shape=Shape(0.7 * inputs["width_m"]),
    )

    agrees(warmed)


@pytest.mark.parametrize("temp_c", [10.0, 25.0, 40.0])
@pytest.mark.parametrize("wind_m_s", [0.3, 1.0, 3.0])
@pytest.mark.parametrize("sunlight_w_m2", [50.0, 150.0])
def test_in_weak_sun_the_leaf_follows_the_linearised_balance(
    temp_c: float, wind_m_s: float, sunlight_w_m2: float
) -> None:
    """Campbell and Norman 1998, eq. 14.6 (from memory) for a leaf that does not transpire: warming
    is net radiation at air temperature over heat capacity times the conductance for heat and
    radiation, 4 eps sigma T^3 / cp of which is radiative. It overstates a little, the more the
    warmer the leaf, for radiation rises faster than the line."""
    black, heat_capacity, emissivity = 5.67e-8, 29.3, 0.96
    radiative = 4 * emissivity * black * (temp_c + 273.15) ** 3 / heat_capacity
    convective = 1.4 * 0.135 * np.sqrt(wind_m_s / 0.035)
    absorbed = 0.5 * 1.2 * sunlight_w_m2
    linear = absorbed / (2 * heat_capacity * (convective + radiative))

    under_a_roof_of_glass = leaf.leaf_temperature(
        temp_c, 0.5, wind_m_s, 0.0, 0.0, sunlight_w_m2, pressure_kpa=PRESSURE_KPA
    )

    assert float(under_a_roof_of_glass) - temp_c == pytest.approx(linear, rel=0.01)
    assert float(under_a_roof_of_glass) - temp_c < linear


@pytest.mark.parametrize("temp_c", [20.0, 35.0])
@pytest.mark.parametrize("width_m", [0.05, 0.1])
@pytest.mark.parametrize("wind_m_s", [0.2, 0.5, 1.0, 2.0])
def test_warming_in_full_sun_is_of_the_measured_size(
    temp_c: float, width_m: float, wind_m_s: float
) -> None:
    """A study of tobacco from 1967 (known from its abstract) found leaves up to 18 °C above the
    air by day; a few kelvin is what anyone measures in a breeze (common practice, no source)."""
    vapour = air.vapour_pressure(temp_c, 40.0)

    warmed = leaf.leaf_temperature(
        temp_c,
        vapour,
        wind_m_s,
        0,
        1,
        950.0,
        pressure_kpa=PRESSURE_KPA,
        shape=Shape(0.7 * width_m),
    )

    assert 3.0 <= float(warmed) - temp_c <= 18.0


@pytest.mark.parametrize(("width_m", "difference_k"), [(0.05, 58), (0.2, 14)])
def test_free_convection_stays_below_forced_at_the_calmest_wind_assumed(
    width_m: float, difference_k: float
) -> None:
    """Why `film` may leave it out: at 0.1 m/s the surface must be this far from the air."""
    plate = Shape(0.7 * width_m)

    forced = float(surface.heat_conductance(surface.CALM_WIND_M_S, plate, 101.3))
    here, further = surface.free_heat_conductance([difference_k, difference_k + 1.0], plate, 101.3)

    assert here < forced < further
