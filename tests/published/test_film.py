"""Wet leaves and roots: rates, film temperatures, and films that dry over a whole day."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from sillward_rules.arrays import Array
from sillward_rules.physics import air, water_film
from sillward_rules.physics.surface import ROOT, Shape

Inputs = dict[str, Any]
Agrees = Callable[[object], None]

MINUTES_PER_DAY = 1440
STEP_H = 1 / 60
NIGHT_NET_W_M2 = -15.0


@pytest.mark.published("film_evaporation")
def test_evaporation_of_a_wet_leaf(inputs: Inputs, agrees: Agrees) -> None:
    agrees(water_film.evaporation(_steady_air(inputs), _leaf(inputs)))


@pytest.mark.published("film_temperature")
def test_temperature_of_a_wet_leaf(inputs: Inputs, agrees: Agrees) -> None:
    agrees(water_film.film_temperature(_steady_air(inputs), _leaf(inputs)))


@pytest.mark.published("root_evaporation")
def test_evaporation_of_a_wet_root(inputs: Inputs, agrees: Agrees) -> None:
    root = Shape(inputs["length_m"], turbulence=1.0)

    agrees(water_film.evaporation(_steady_air(inputs), root))


@pytest.mark.published("root_store")
def test_how_long_a_velamen_store_lasts(inputs: Inputs, agrees: Agrees) -> None:
    rate = water_film.evaporation(_steady_air(inputs), ROOT)
    steady = np.full(12 * 60, float(rate))

    agrees(water_film.drying_times(steady, STEP_H, inputs["depth_mm"])[0])


@pytest.mark.published("steady_drying_time")
def test_drying_time_at_an_unchanging_rate(inputs: Inputs, agrees: Agrees) -> None:
    steady = np.full(24, float(inputs["rate_mm_h"]))

    agrees(60 * water_film.drying_times(steady, 1.0, inputs["depth_mm"])[0])


@pytest.mark.published("drying_over_a_day")
def test_drying_time_over_a_day(inputs: Inputs, agrees: Agrees) -> None:
    dries_in_h = water_film.drying_times(_evaporation_of_days(inputs), STEP_H, inputs["depth_mm"])

    agrees(dries_in_h[60 * inputs["start_h"]])


@pytest.mark.published("latest_wetting")
def test_latest_hour_to_wet_and_be_dry_by_sunset(inputs: Inputs, agrees: Agrees) -> None:
    dries_in_h = water_film.drying_times(_evaporation_of_days(inputs), STEP_H, inputs["depth_mm"])
    starts = np.arange(0, MINUTES_PER_DAY, 5)

    dry_at_h = starts / 60 + dries_in_h[starts]

    agrees(starts[dry_at_h <= inputs["sunset_h"]].max() / 60)


def _leaf(inputs: Inputs) -> Shape:
    return Shape(inputs["length_m"], turbulence=inputs["turbulence"])


def _steady_air(inputs: Inputs) -> water_film.FilmAir:
    temp = np.asarray(float(inputs["temp_c"]))
    return water_film.FilmAir(
        temp_c=temp,
        vapour_kpa=air.vapour_pressure(temp, inputs["rh_pct"]),
        wind_m_s=np.asarray(float(inputs["wind_m_s"])),
        net_w_m2=np.asarray(float(inputs["net_w_m2"])),
        pressure_kpa=inputs["pressure_kpa"],
    )


def _evaporation_of_days(inputs: Inputs) -> Array:
    """Two equal days in steps of a minute, each taken at its middle."""
    hour = (np.arange(2 * MINUTES_PER_DAY) + 0.5) / 60 % 24
    low, high = inputs["low_c"], inputs["high_c"]
    curve = _daily_curve(hour)
    coldest, warmest = 0.0253274, 0.9974285  # extremes of the curve
    temp = low + (high - low) * (curve - coldest) / (warmest - coldest)
    sunrise, sunset = inputs["sunrise_h"], inputs["sunset_h"]
    sunlit = np.sin(np.pi * (hour - sunrise) / (sunset - sunrise))
    by_day = (hour > sunrise) & (hour < sunset)
    days = water_film.FilmAir(
        temp_c=temp,
        vapour_kpa=np.minimum(inputs["vapour_kpa"], air.saturation_vapour_pressure(temp)),
        wind_m_s=np.full(hour.shape, float(inputs["wind_m_s"])),
        net_w_m2=np.where(by_day, inputs["peak_net_w_m2"] * sunlit, NIGHT_NET_W_M2),
        pressure_kpa=101.3,
    )
    return water_film.evaporation(days, Shape(inputs["length_m"]))


def _daily_curve(hour: Array) -> Array:
    """Campbell and Norman 1998, eq. 2.2: share of the daily range, hours from solar midnight."""
    angle = 2 * np.pi * hour / 24
    return np.asarray(0.44 - 0.46 * np.sin(angle + 0.9) + 0.11 * np.sin(2 * angle + 0.9))
