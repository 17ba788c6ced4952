"""Leaves and roots: conductances, the sky above, and how far a leaf cools at night."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from sillward_rules import air, leaf, surface
from sillward_rules.surface import Shape

Inputs = dict[str, Any]
Agrees = Callable[[object], None]

PRESSURE_KPA = 101.3


@pytest.mark.published("heat_conductance")
def test_heat_conductance(inputs: Inputs, agrees: Agrees) -> None:
    plate = Shape(inputs["length_m"], turbulence=1.0)

    agrees(surface.heat_conductance(inputs["wind_m_s"], plate))


@pytest.mark.published("vapour_conductance")
def test_vapour_conductance(inputs: Inputs, agrees: Agrees) -> None:
    plate = Shape(inputs["length_m"], turbulence=1.0)

    agrees(surface.vapour_conductance(inputs["wind_m_s"], plate))


@pytest.mark.published("molar_psychrometric_constant")
def test_molar_psychrometric_constant(inputs: Inputs, agrees: Agrees) -> None:
    agrees(surface.HEAT_CAPACITY / surface.latent_heat(inputs["temp_c"]))


@pytest.mark.published("clear_sky_emissivity")
def test_emissivity_of_a_clear_sky(inputs: Inputs, agrees: Agrees) -> None:
    agrees(surface.sky_emissivity(inputs["temp_c"], inputs["vapour_kpa"], cloud=0.0))


@pytest.mark.published("cloudy_sky_emissivity")
def test_emissivity_of_a_cloudy_sky(inputs: Inputs, agrees: Agrees) -> None:
    """The vapour pressure is the one at which Brutsaert's clear sky has the emissivity given."""
    temp_c = 10.0
    vapour = (temp_c + air.KELVIN) * (inputs["clear_emissivity"] / 1.723) ** 7

    agrees(surface.sky_emissivity(temp_c, vapour, inputs["cloud"]))


@pytest.mark.published("night_leaf_depression")
def test_night_leaf_depression(inputs: Inputs, agrees: Agrees) -> None:
    at_night = leaf.leaf_temperature(
        inputs["temp_c"],
        air.vapour_pressure(inputs["temp_c"], inputs["rh_pct"]),
        inputs["wind_m_s"],
        inputs["cloud"],
        inputs["sky_view"],
        pressure_kpa=PRESSURE_KPA,
        shape=Shape(0.7 * inputs["width_m"]),
    )

    agrees(at_night - inputs["temp_c"])


@pytest.mark.parametrize("temp_c", [5.0, 10.0, 15.0])
@pytest.mark.parametrize("rh_pct", [60.0, 75.0, 90.0])
@pytest.mark.parametrize("wind_m_s", [0.2, 0.35, 0.5])
def test_leaf_under_a_clear_calm_sky_is_one_to_three_kelvin_colder(
    temp_c: float, rh_pct: float, wind_m_s: float
) -> None:
    """As measured by Leuning and Cremer 1988, Agricultural and Forest Meteorology 42:121
    (abstract read): leaves open to a clear sky, 1 to 3 °C below the air beside them."""
    vapour = air.vapour_pressure(temp_c, rh_pct)

    at_night = leaf.leaf_temperature(temp_c, vapour, wind_m_s, 0, 1, pressure_kpa=PRESSURE_KPA)

    assert -3.0 <= float(at_night) - temp_c <= -1.0


@pytest.mark.parametrize("wind_m_s", [0.2, 0.3, 0.5, 1.0])
def test_plate_law_of_a_root_is_near_the_cylinder_law(wind_m_s: float) -> None:
    """Cylinder: Nu = 0.32 + 0.51 Re^0.52 for Re 0.1 to 1000, Monteith and Unsworth, Principles of
    Environmental Physics, appendix A.5 (formula and air at 20 °C written down from memory)."""
    molar_density, diffusivity, viscosity = 41.6, 2.15e-5, 1.51e-5
    diameter = surface.ROOT.length_m
    reynolds = wind_m_s * diameter / viscosity
    cylinder = (0.32 + 0.51 * reynolds**0.52) * molar_density * diffusivity / diameter

    plate = float(surface.heat_conductance(wind_m_s, surface.ROOT))

    assert plate == pytest.approx(cylinder, rel=0.02)


def test_flat_plate_theory_gives_nearly_the_coefficient_of_the_leaf() -> None:
    """Nu = 0.60 Re^0.5 (Monteith and Unsworth, appendix A.5, from memory) against C&N's 0.135."""
    molar_density, diffusivity, viscosity = 41.6, 2.15e-5, 1.51e-5
    theory = 0.60 * molar_density * diffusivity / np.sqrt(viscosity)

    coefficient = float(surface.heat_conductance(1.0, Shape(1.0, turbulence=1.0)))

    assert coefficient == pytest.approx(theory, rel=0.03)
