"""Dew point and wet bulb against ASHRAE's psychrometry, by its values and through psychrolib.

ASHRAE has its own saturation curve (Hyland and Wexler 1983), so nothing here shares a constant
with the core. psychrolib takes saturation over ice below 0 °C, the core over water: comparisons
stay above freezing, and one test states the gap.
"""

from collections.abc import Callable
from typing import Any

import numpy as np
import psychrolib
import pytest

from sillward_rules.arrays import Array
from sillward_rules.physics import air, surface, water_film

Inputs = dict[str, Any]
Agrees = Callable[[object], None]

SEA_LEVEL_KPA = 101.325


@pytest.fixture(autouse=True)
def _in_si() -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)


@pytest.mark.published("dew_point")
def test_dew_point(inputs: Inputs, agrees: Agrees) -> None:
    agrees(air.dew_point(air.vapour_pressure(inputs["temp_c"], inputs["rh_pct"])))


@pytest.mark.published("dew_point_from_psychrometer")
def test_dew_point_from_a_psychrometer(inputs: Inputs, agrees: Agrees) -> None:
    vapour = air.vapour_pressure_from_wet_bulb(
        inputs["dry_c"], inputs["wet_c"], inputs["pressure_kpa"]
    )

    agrees(air.dew_point(vapour))


@pytest.mark.published("humidity_from_psychrometer")
def test_humidity_from_a_psychrometer(inputs: Inputs, agrees: Agrees) -> None:
    vapour = air.vapour_pressure_from_wet_bulb(
        inputs["dry_c"], inputs["wet_c"], inputs["pressure_kpa"]
    )

    agrees(air.relative_humidity(inputs["dry_c"], vapour) / 100)


@pytest.mark.published("wet_bulb")
def test_film_in_wind_takes_the_wet_bulb_temperature(inputs: Inputs, agrees: Agrees) -> None:
    wet = _windy_film(inputs["temp_c"], inputs["rh_pct"], inputs["wind_m_s"])

    agrees(wet)


def test_saturation_over_water_stays_within_an_eighth_of_a_percent() -> None:
    temps = np.arange(0.5, 50.5, 0.5)

    ashrae = np.array([psychrolib.GetSatVapPres(temp) for temp in temps]) / 1000

    np.testing.assert_allclose(air.saturation_vapour_pressure(temps), ashrae, rtol=0.00125)


def test_below_freezing_the_core_stays_over_water() -> None:
    over_ice = psychrolib.GetSatVapPres(-5.0) / 1000

    assert float(air.saturation_vapour_pressure(-5.0)) == pytest.approx(over_ice * 1.048, rel=0.002)


@pytest.mark.parametrize("rh_pct", [5, 10, 20, 30, 40, 50, 60, 70, 80, 90, 95, 100])
def test_dew_point_of_any_air(rh_pct: int) -> None:
    temps = np.arange(1.0, 46.0)
    reference = np.array([psychrolib.GetTDewPointFromRelHum(t, rh_pct / 100) for t in temps])
    above_freezing = reference > 0

    dew = air.dew_point(air.vapour_pressure(temps, rh_pct))

    np.testing.assert_allclose(dew[above_freezing], reference[above_freezing], atol=0.02)


@pytest.mark.parametrize("rh_pct", [10, 20, 30, 40, 50, 60, 70, 80, 90, 95])
@pytest.mark.parametrize("elevation_m", [0, 800, 2000])
def test_wet_bulb_of_any_air(rh_pct: int, elevation_m: int) -> None:
    """At 10 m/s the film's small gain from its surroundings makes up for water vapour leaving
    faster than heat arrives (C&N: 0.147 against 0.135), to 0.12 K at worst at sea level."""
    pressure = float(air.pressure_at(elevation_m))
    temps = np.arange(5.0, 46.0, 2.5)
    reference = np.array(
        [psychrolib.GetTWetBulbFromRelHum(t, rh_pct / 100, 1000 * pressure) for t in temps]
    )
    above_freezing = reference > 0.2

    wet = _windy_film(temps, rh_pct, 10.0, pressure)

    np.testing.assert_allclose(wet[above_freezing], reference[above_freezing], atol=0.15)


@pytest.mark.parametrize(("temp_c", "rh_pct"), [(15, 80), (25, 50), (30, 60)])
@pytest.mark.parametrize("elevation_m", [0, 2000])
def test_psychrometer_reads_the_humidity_back(temp_c: int, rh_pct: int, elevation_m: int) -> None:
    pressure = float(air.pressure_at(elevation_m))
    wet = psychrolib.GetTWetBulbFromRelHum(temp_c, rh_pct / 100, 1000 * pressure)

    vapour = air.vapour_pressure_from_wet_bulb(temp_c, wet, pressure)

    assert float(air.relative_humidity(temp_c, vapour)) == pytest.approx(rh_pct, abs=1.0)


def _windy_film(
    temp_c: object, rh_pct: float, wind_m_s: float, pressure_kpa: float = SEA_LEVEL_KPA
) -> Array:
    temp = np.asarray(temp_c, dtype=np.float64)
    at_film = water_film.FilmAir(
        temp_c=temp,
        vapour_kpa=air.vapour_pressure(temp, rh_pct),
        wind_m_s=np.asarray(float(wind_m_s)),
        net_w_m2=np.asarray(0.0),
        pressure_kpa=pressure_kpa,
    )
    return water_film.film_temperature(at_film, surface.LEAF)
