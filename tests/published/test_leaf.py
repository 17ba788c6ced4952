"""Leaves and roots: conductances, the sky above, and how far a leaf cools at night."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from sillward_rules.physics import air, leaf, surface
from sillward_rules.physics.surface import Shape

Inputs = dict[str, Any]
Agrees = Callable[[object], None]

PRESSURE_KPA = 101.3


@pytest.mark.published("heat_conductance")
def test_heat_conductance(inputs: Inputs, agrees: Agrees) -> None:
    plate = Shape(inputs["length_m"], turbulence=1.0)

    agrees(surface.heat_conductance(inputs["wind_m_s"], plate, PRESSURE_KPA))


@pytest.mark.published("vapour_conductance")
def test_vapour_conductance(inputs: Inputs, agrees: Agrees) -> None:
    plate = Shape(inputs["length_m"], turbulence=1.0)

    agrees(surface.vapour_conductance(inputs["wind_m_s"], plate, PRESSURE_KPA))


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

    plate = float(surface.heat_conductance(wind_m_s, surface.ROOT, PRESSURE_KPA))

    assert plate == pytest.approx(cylinder, rel=0.02)


def test_flat_plate_theory_gives_nearly_the_coefficient_of_the_leaf() -> None:
    """Nu = 0.60 Re^0.5 (Monteith and Unsworth, appendix A.5, from memory) against C&N's 0.135."""
    molar_density, diffusivity, viscosity = 41.6, 2.15e-5, 1.51e-5
    theory = 0.60 * molar_density * diffusivity / np.sqrt(viscosity)

    coefficient = float(surface.heat_conductance(1.0, Shape(1.0, turbulence=1.0), PRESSURE_KPA))

    assert coefficient == pytest.approx(theory, rel=0.03)


@pytest.mark.parametrize("elevation_m", [0, 780, 2850, 4000])
def test_flat_plate_theory_says_how_conductances_go_with_pressure(elevation_m: float) -> None:
    """Nu = 0.664 Re^1/2 Pr^1/3 and, for free convection, 0.54 (Gr Pr)^1/4 (Monteith and Unsworth,
    appendix A.5; C&N eq. 7.27 and 7.30; from memory), with diffusivities that go inversely with
    pressure and a molar density that goes with it (C&N eq. 3.10, table 3.1; from memory)."""
    pressure = float(air.pressure_at(elevation_m))

    def by_theory(kpa: float) -> tuple[float, float]:
        density = kpa * 1000 / (8.314 * 293.15)
        diffusivity, viscosity = (at_20_c * 101.3 / kpa for at_20_c in (21.4e-6, 15.1e-6))
        prandtl, length, wind, apart = viscosity / diffusivity, 0.035, 0.5, 4.0
        forced = 0.664 * np.sqrt(wind * length / viscosity) * prandtl ** (1 / 3)
        grashof = 9.8 * length**3 * apart / (293.15 * viscosity**2)
        free = 0.54 * (grashof * prandtl) ** 0.25
        return tuple(sherwood * density * diffusivity / length for sherwood in (forced, free))

    plate = Shape(0.035, turbulence=1.0)
    forced, free = by_theory(pressure)
    at_sea = by_theory(101.3)

    for here, sea, theory, theory_at_sea in (
        (
            surface.heat_conductance(0.5, plate, pressure),
            surface.heat_conductance(0.5, plate, PRESSURE_KPA),
            forced,
            at_sea[0],
        ),
        (
            surface.vapour_conductance(0.5, plate, pressure),
            surface.vapour_conductance(0.5, plate, PRESSURE_KPA),
            forced,
            at_sea[0],
        ),
        (
            surface.free_heat_conductance(4.0, plate, pressure),
            surface.free_heat_conductance(4.0, plate, PRESSURE_KPA),
            free,
            at_sea[1],
        ),
    ):
        assert float(here / sea) == pytest.approx(theory / theory_at_sea, rel=1e-3)


def test_leaves_get_colder_in_the_thin_air_of_2850_m() -> None:
    high = float(air.pressure_at(2850))
    vapour = air.vapour_pressure(10.0, 60.0)

    at_sea, above = (
        10.0 - float(leaf.leaf_temperature(10.0, vapour, 0.5, 0, 1, pressure_kpa=pressure_kpa))
        for pressure_kpa in (PRESSURE_KPA, high)
    )

    assert 1.08 < above / at_sea < 1.19
