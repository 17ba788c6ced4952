"""Humid air: what must hold for any air at all."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sillward_rules.physics import air

repeatable = settings(deadline=None, derandomize=True)

temps = st.floats(-30, 50)
humidities = st.floats(1, 100)


@repeatable
@given(temp_c=temps)
def test_dew_point_undoes_the_saturation_curve(temp_c: float) -> None:
    dew = air.dew_point(air.saturation_vapour_pressure(temp_c))

    assert float(dew) == pytest.approx(temp_c, abs=1e-9)


@repeatable
@given(temp_c=temps, rh_pct=humidities)
def test_saturating_at_the_dew_point_gives_the_vapour_pressure_back(
    temp_c: float, rh_pct: float
) -> None:
    vapour = air.vapour_pressure(temp_c, rh_pct)

    assert float(air.saturation_vapour_pressure(air.dew_point(vapour))) == pytest.approx(
        float(vapour), rel=1e-9
    )


@repeatable
@given(temp_c=temps, rh_pct=humidities)
def test_dew_point_is_never_above_the_air(temp_c: float, rh_pct: float) -> None:
    assert float(air.dew_point(air.vapour_pressure(temp_c, rh_pct))) <= temp_c + 1e-9


@repeatable
@given(temp_c=temps, rh_pct=humidities)
def test_humidity_survives_the_way_through_vapour_pressure(temp_c: float, rh_pct: float) -> None:
    back = air.relative_humidity(temp_c, air.vapour_pressure(temp_c, rh_pct))

    assert float(back) == pytest.approx(rh_pct, rel=1e-9)


@repeatable
@given(temp_c=temps, rh_pct=st.floats(0, 100))
def test_deficit_is_never_negative(temp_c: float, rh_pct: float) -> None:
    vapour = air.vapour_pressure(temp_c, rh_pct)

    assert float(air.vapour_pressure_deficit(temp_c, vapour)) >= 0


@repeatable
@given(temp_c=temps, rh_pct=st.floats(0, 100), warmer_k=st.floats(0.01, 20))
def test_a_warmer_leaf_has_the_larger_deficit(
    temp_c: float, rh_pct: float, warmer_k: float
) -> None:
    vapour = air.vapour_pressure(temp_c, rh_pct)

    at_air, at_leaf = air.vapour_pressure_deficit([temp_c, temp_c + warmer_k], vapour)

    assert at_leaf > at_air


@repeatable
@given(temp_c=st.floats(-30, 49))
def test_slope_is_the_derivative_of_the_curve(temp_c: float) -> None:
    low, high = air.saturation_vapour_pressure([temp_c - 0.01, temp_c + 0.01])

    assert (high - low) / 0.02 == pytest.approx(float(air.saturation_slope(temp_c)), rel=1e-6)


@repeatable
@given(dry_c=st.floats(1, 45), pressure_kpa=st.floats(60, 105))
def test_equal_thermometers_mean_saturated_air(dry_c: float, pressure_kpa: float) -> None:
    vapour = air.vapour_pressure_from_wet_bulb(dry_c, dry_c, pressure_kpa)

    assert float(vapour) == float(air.saturation_vapour_pressure(dry_c))


@repeatable
@given(temp_c=temps, rh_pct=humidities, pressure_kpa=st.floats(60, 105))
def test_wet_bulb_lies_between_dew_point_and_air(
    temp_c: float, rh_pct: float, pressure_kpa: float
) -> None:
    vapour = air.vapour_pressure(temp_c, rh_pct)

    wet = float(air.wet_bulb(temp_c, vapour, pressure_kpa))

    assert float(air.dew_point(vapour)) - 1e-9 <= wet <= temp_c
    if rh_pct < 99.9:
        assert float(air.dew_point(vapour)) < wet < temp_c


@repeatable
@given(
    temp_c=temps,
    rh_pct=humidities,
    pressure_kpa=st.floats(60, 105),
    coefficient=st.floats(0.0006, 0.0012),
)
def test_psychrometer_gives_back_the_vapour_of_its_wet_bulb(
    temp_c: float, rh_pct: float, pressure_kpa: float, coefficient: float
) -> None:
    vapour = air.vapour_pressure(temp_c, rh_pct)

    wet = air.wet_bulb(temp_c, vapour, pressure_kpa, coefficient=coefficient)
    back = air.vapour_pressure_from_wet_bulb(temp_c, wet, pressure_kpa, coefficient=coefficient)

    assert float(back) == pytest.approx(float(vapour), abs=1e-9)


@pytest.mark.parametrize("surplus", [1.0, 1.1])
def test_wet_bulb_of_saturated_air_is_the_air(surplus: float) -> None:
    vapour = surplus * air.saturation_vapour_pressure(21.3)

    assert float(air.wet_bulb(21.3, vapour, 95.0)) == 21.3


def test_wet_bulb_of_many_airs_at_once() -> None:
    temp = np.array([[10.0], [30.0]])
    pressure = np.array([101.3, 90.0, np.nan])

    wet = air.wet_bulb(temp, 0.9, pressure)

    assert wet.shape == (2, 3)
    assert np.isnan(wet).tolist() == [[False, False, True]] * 2
    assert wet[1, 1] == pytest.approx(float(air.wet_bulb(30.0, 0.9, 90.0)), abs=1e-8)


@pytest.mark.parametrize("vapour_kpa", [0.0, -0.1])
def test_wet_bulb_of_air_without_vapour_is_unknown(vapour_kpa: float) -> None:
    assert np.isnan(air.wet_bulb(20.0, vapour_kpa, 101.3))


@repeatable
@given(elevation_m=st.floats(-400, 5000), higher_m=st.floats(1, 1000))
def test_pressure_falls_with_elevation(elevation_m: float, higher_m: float) -> None:
    low, high = air.pressure_at([elevation_m, elevation_m + higher_m])

    assert high < low


def test_surface_below_the_dew_point_has_no_deficit() -> None:
    vapour = air.saturation_vapour_pressure(12.0)

    assert float(air.vapour_pressure_deficit(8.0, vapour)) == 0


def test_oversaturated_air_reads_a_hundred_percent() -> None:
    assert float(air.relative_humidity(10.0, air.saturation_vapour_pressure(12.0))) == 100


@pytest.mark.parametrize("vapour_kpa", [0.0, -0.1, np.nan])
def test_dew_point_of_air_without_vapour_is_unknown(vapour_kpa: float) -> None:
    assert np.isnan(air.dew_point(vapour_kpa))


def test_unknown_in_is_unknown_out() -> None:
    unknown = np.nan

    results = [
        air.saturation_vapour_pressure(unknown),
        air.saturation_slope(unknown),
        air.vapour_pressure(unknown, 50.0),
        air.vapour_pressure(20.0, unknown),
        air.relative_humidity(unknown, 1.0),
        air.relative_humidity(20.0, unknown),
        air.vapour_pressure_deficit(unknown, 1.0),
        air.vapour_pressure_deficit(20.0, unknown),
        air.pressure_at(unknown),
        air.psychrometric_constant(unknown),
        air.vapour_pressure_from_wet_bulb(20.0, unknown, 101.3),
        air.wet_bulb(unknown, 1.0, 101.3),
        air.wet_bulb(20.0, unknown, 101.3),
        air.wet_bulb(20.0, 1.0, unknown),
    ]

    assert np.isnan(results).all()


@repeatable
@given(temp_c=temps, rh_pct=humidities)
def test_scalar_equals_array_of_one(temp_c: float, rh_pct: float) -> None:
    scalar = air.dew_point(air.vapour_pressure(temp_c, rh_pct))

    array = air.dew_point(air.vapour_pressure([temp_c], [rh_pct]))

    assert scalar.shape == ()
    assert array.shape == (1,)
    assert scalar == array[0]
