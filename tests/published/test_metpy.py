"""Humid air against MetPy, the meteorologists' library (not its wet bulb: see test_wet_bulb.py).

MetPy takes saturation over water from Ambaum 2020, the core from FAO-56: two formulas of the same
curve, apart by 0.23 % at -10 °C and 0.36 % at 45 °C. Every tolerance here follows from that.
"""

from importlib import import_module
from typing import Any

import numpy as np
import pytest

from sillward_rules.physics import air

TEMPS_C = np.arange(-10.0, 46.0)
CURVES_APART = 0.0037

calc: Any
units: Any


@pytest.fixture(scope="module", autouse=True)
def _metpy() -> None:
    """Import it in the process that has these tests, and in no other: it takes most of a second."""
    global calc, units
    calc, units = import_module("metpy.calc"), import_module("metpy.units").units


def test_saturation_vapour_pressure_over_water() -> None:
    theirs = calc.saturation_vapor_pressure(TEMPS_C * units.degC).to("kPa").magnitude

    np.testing.assert_allclose(air.saturation_vapour_pressure(TEMPS_C), theirs, rtol=CURVES_APART)


@pytest.mark.parametrize("rh_pct", [20, 35, 50, 65, 80, 95, 100])
def test_dew_point_of_air(rh_pct: int) -> None:
    """0.37 % of vapour pressure is 0.06 K at 20 °C; at the far ends of the range, where both the
    air and its dew point are at odds, up to 0.15 K."""
    theirs = calc.dewpoint_from_relative_humidity(TEMPS_C * units.degC, rh_pct / 100)

    dew = air.dew_point(air.vapour_pressure(TEMPS_C, rh_pct))

    np.testing.assert_allclose(dew, theirs.to("degC").magnitude, atol=0.15)


def test_dew_point_of_a_vapour_pressure() -> None:
    """From 0.02 K above freezing to 0.05 K at -9 °C."""
    vapour = np.array([0.3, 0.6, 1.0, 2.0, 3.0, 4.0])
    theirs = calc.dewpoint(vapour * units.kPa).to("degC").magnitude

    np.testing.assert_allclose(air.dew_point(vapour), theirs, atol=0.05)


@pytest.mark.parametrize("depression_k", [0.0, 2.0, 5.0, 10.0, 20.0])
def test_relative_humidity_of_a_dew_point(depression_k: float) -> None:
    dew = TEMPS_C - depression_k
    theirs = calc.relative_humidity_from_dewpoint(TEMPS_C * units.degC, dew * units.degC)

    ours = air.relative_humidity(TEMPS_C, air.saturation_vapour_pressure(dew))

    np.testing.assert_allclose(ours, theirs.to("percent").magnitude, atol=0.3)


@pytest.mark.parametrize("pressure_kpa", [80.0, 101.325])
def test_relative_humidity_of_a_mixing_ratio(pressure_kpa: float) -> None:
    ratio = np.array([2.0, 5.0, 10.0, 15.0]) * units("g/kg")
    temps = np.array([10.0, 20.0, 30.0, 35.0])
    pressure = pressure_kpa * units.kPa
    theirs = calc.relative_humidity_from_mixing_ratio(pressure, temps * units.degC, ratio)

    vapour = calc.vapor_pressure(pressure, ratio).to("kPa").magnitude

    ours = air.relative_humidity(temps, vapour)
    np.testing.assert_allclose(ours, theirs.to("percent").magnitude, rtol=CURVES_APART)


@pytest.mark.parametrize("depression_k", [0.0, 1.0, 4.0, 8.0])
def test_vapour_pressure_of_a_psychrometer(depression_k: float) -> None:
    """With FAO's coefficient; MetPy's own default is 0.000621, which it says fits 1000 hPa."""
    dry = np.array([12.0, 20.0, 30.0, 40.0])
    theirs = calc.psychrometric_vapor_pressure_wet(
        95.0 * units.kPa,
        dry * units.degC,
        (dry - depression_k) * units.degC,
        psychrometer_coefficient=air.PSYCHROMETER_VENTILATED / units.kelvin,
    )

    ours = air.vapour_pressure_from_wet_bulb(dry, dry - depression_k, 95.0)

    np.testing.assert_allclose(ours, theirs.to("kPa").magnitude, atol=CURVES_APART * 7.4)


@pytest.mark.parametrize("temp_c", [5.0, 20.0, 40.0])
@pytest.mark.parametrize("rh_pct", [15.0, 50.0, 90.0])
def test_wet_bulb_means_the_humidity_that_metpy_reads_from_a_psychrometer(
    temp_c: float, rh_pct: float
) -> None:
    wet = float(air.wet_bulb(temp_c, air.vapour_pressure(temp_c, rh_pct), 95.0))

    back = calc.relative_humidity_wet_psychrometric(
        95.0 * units.kPa,
        temp_c * units.degC,
        wet * units.degC,
        psychrometer_coefficient=air.PSYCHROMETER_VENTILATED / units.kelvin,
    )

    assert float(back.to("percent").magnitude) == pytest.approx(rh_pct, abs=0.3)
