"""Humid air and wind against the worked examples and tables of FAO-56.

Allen, Pereira, Raes and Smith, Crop evapotranspiration, FAO Irrigation and Drainage Paper 56, 1998.
"""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from sillward_rules.physics import air
from sillward_rules.weather.at_spots import wind_at_height

Inputs = dict[str, Any]
Agrees = Callable[[object], None]


@pytest.mark.published("saturation_vapour_pressure")
def test_saturation_vapour_pressure(inputs: Inputs, agrees: Agrees) -> None:
    agrees(air.saturation_vapour_pressure(inputs["temp_c"]))


@pytest.mark.published("mean_saturation")
def test_mean_saturation_of_a_day(inputs: Inputs, agrees: Agrees) -> None:
    extremes = [inputs["low_c"], inputs["high_c"]]

    agrees(air.saturation_vapour_pressure(extremes).mean())


@pytest.mark.published("saturation_slope")
def test_slope_of_the_saturation_curve(inputs: Inputs, agrees: Agrees) -> None:
    agrees(air.saturation_slope(inputs["temp_c"]))


@pytest.mark.published("pressure_at_elevation")
def test_pressure_at_an_elevation(inputs: Inputs, agrees: Agrees) -> None:
    agrees(air.pressure_at(inputs["elevation_m"]))


@pytest.mark.published("psychrometric_constant")
def test_psychrometric_constant(inputs: Inputs, agrees: Agrees) -> None:
    agrees(air.psychrometric_constant(inputs["pressure_kpa"]))


@pytest.mark.published("psychrometric_constant_at_elevation")
def test_psychrometric_constant_at_an_elevation(inputs: Inputs, agrees: Agrees) -> None:
    agrees(air.psychrometric_constant(air.pressure_at(inputs["elevation_m"])))


@pytest.mark.published("psychrometer")
def test_vapour_pressure_from_a_psychrometer(inputs: Inputs, agrees: Agrees) -> None:
    pressure = air.pressure_at(inputs["elevation_m"])

    vapour = air.vapour_pressure_from_wet_bulb(
        inputs["dry_c"], inputs["wet_c"], pressure, coefficient=inputs["coefficient"]
    )

    agrees(vapour)


@pytest.mark.published("vapour_pressure_from_humidity_extremes")
def test_vapour_pressure_from_the_extremes_of_humidity(inputs: Inputs, agrees: Agrees) -> None:
    agrees(_vapour_pressure_of_day(inputs))


@pytest.mark.published("vapour_pressure_from_mean_humidity")
def test_vapour_pressure_from_the_mean_humidity(inputs: Inputs, agrees: Agrees) -> None:
    extremes = [inputs["low_c"], inputs["high_c"]]

    agrees(air.vapour_pressure(extremes, inputs["rh_mean_pct"]).mean())


@pytest.mark.published("deficit_of_a_day")
def test_vapour_pressure_deficit_of_a_day(inputs: Inputs, agrees: Agrees) -> None:
    extremes = [inputs["low_c"], inputs["high_c"]]

    agrees(air.vapour_pressure_deficit(extremes, _vapour_pressure_of_day(inputs)).mean())


@pytest.mark.published("leaf_to_air_deficit")
def test_leaf_to_air_deficit(inputs: Inputs, agrees: Agrees) -> None:
    vapour = air.vapour_pressure(inputs["temp_c"], inputs["rh_pct"])

    agrees(air.vapour_pressure_deficit(inputs["leaf_c"], vapour))


@pytest.mark.published("wind_factor_to_two_metres")
def test_wind_factor_to_two_metres(inputs: Inputs, agrees: Agrees) -> None:
    open_wind = np.array(1.0)

    at_two = wind_at_height(open_wind, 2.0)

    agrees(at_two / wind_at_height(open_wind, inputs["height_m"]))


@pytest.mark.published("wind_share_of_ten_metres")
def test_share_of_the_wind_at_ten_metres(inputs: Inputs, agrees: Agrees) -> None:
    agrees(wind_at_height(np.array(1.0), inputs["height_m"]))


@pytest.mark.published("wind_at_two_metres")
def test_wind_at_two_metres(inputs: Inputs, agrees: Agrees) -> None:
    agrees(wind_at_height(np.array(inputs["wind_10m_m_s"]), inputs["height_m"]))


def _vapour_pressure_of_day(inputs: Inputs) -> float:
    """FAO-56 eq. 17: the coldest hour is the most humid one."""
    cold = air.vapour_pressure(inputs["low_c"], inputs["rh_high_pct"])
    warm = air.vapour_pressure(inputs["high_c"], inputs["rh_low_pct"])
    return float(cold + warm) / 2
