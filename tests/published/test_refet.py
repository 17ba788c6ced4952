"""Humid air and wind against RefET, the evapotranspiration library of the ASCE standard.

Same formulas by other hands (ASCE-EWRI 2005 takes FAO-56's), so what differs is rounding of
printed constants; each tolerance says which.
"""

import numpy as np
import pytest
import refet
import refet.calcs

from sillward_rules.physics import air
from sillward_rules.weather.at_spots import wind_at_height

TEMPS_C = np.arange(-30.0, 51.0)
ELEVATIONS_M = np.arange(-400.0, 4500.0, 100.0)


def test_saturation_vapour_pressure() -> None:
    theirs = refet.calcs.sat_vapor_pressure(TEMPS_C)

    np.testing.assert_allclose(air.saturation_vapour_pressure(TEMPS_C), theirs, rtol=1e-12)


@pytest.mark.parametrize("method", ["asce", "refet"])
def test_slope_of_the_saturation_curve(method: str) -> None:
    """FAO print 4098 for 17.27 x 237.3 = 4098.17, ASCE 2503 for 4098.17 x 0.6108 = 2503.16."""
    theirs = refet.calcs.es_slope(TEMPS_C, method)

    np.testing.assert_allclose(air.saturation_slope(TEMPS_C), theirs, rtol=1e-4)


def test_pressure_of_an_elevation() -> None:
    theirs = refet.calcs.air_pressure(ELEVATIONS_M, "asce")

    np.testing.assert_allclose(air.pressure_at(ELEVATIONS_M), theirs, rtol=1e-12)


def test_pressure_of_an_elevation_with_the_exponent_unrounded() -> None:
    """9.8 / (0.0065 x 286.9) = 5.255 where FAO print 5.26."""
    theirs = refet.calcs.air_pressure(ELEVATIONS_M, "refet")

    np.testing.assert_allclose(air.pressure_at(ELEVATIONS_M), theirs, rtol=6e-4)


def test_vapour_pressure_of_a_specific_humidity_and_back() -> None:
    temps, pressure = np.array([5.0, 20.0, 35.0]), 85.0
    vapour = air.vapour_pressure(temps, 45.0)
    specific = refet.calcs.specific_humidity(vapour, pressure)

    theirs = refet.calcs.actual_vapor_pressure(specific, pressure)

    np.testing.assert_allclose(air.relative_humidity(temps, theirs), 45.0, rtol=1e-9)


def test_vapour_pressure_deficit() -> None:
    vapour = 1.2
    theirs = refet.calcs.vpd(refet.calcs.sat_vapor_pressure(TEMPS_C), vapour)

    ours = air.vapour_pressure_deficit(TEMPS_C, vapour)

    assert (ours == 0).any()
    np.testing.assert_allclose(ours, theirs, rtol=1e-12)


@pytest.mark.parametrize("height_m", [1.0, 1.5, 3.0, 10.0])
def test_wind_at_two_metres(height_m: float) -> None:
    """FAO print 4.87 for ln(67.8 x 2 - 5.42) = 4.8689."""
    theirs = refet.calcs.wind_height_adjust(3.0, height_m)
    at_height = wind_at_height(np.array(1.0), height_m)

    ours = 3.0 * wind_at_height(np.array(1.0), 2.0) / at_height

    assert float(ours) == pytest.approx(theirs, rel=3e-4)


@pytest.mark.parametrize("elevation_m", [0.0, 100.0, 1208.5, 3000.0])
def test_psychrometric_constant_within_a_day_of_evapotranspiration(elevation_m: float) -> None:
    """The inputs other than the elevation are those of FAO-56's example 18 and play no part."""
    day = refet.Daily(
        tmin=12.3,
        tmax=21.5,
        ea=1.409,
        rs=22.07,
        uz=2.78,
        zw=10.0,
        elev=elevation_m,
        lat=50.8,
        doy=187,
        method="asce",
    )

    ours = air.psychrometric_constant(air.pressure_at(elevation_m))

    assert float(ours) == pytest.approx(float(np.squeeze(day.psy)), rel=1e-12)
