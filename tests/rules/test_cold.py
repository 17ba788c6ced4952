"""Cold at night: what must hold for any leaf under any sky."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sillward_rules import air
from sillward_rules.air import Array
from sillward_rules.cold import night_leaf_temperature
from sillward_rules.surface import LEAF, Shape

repeatable = settings(deadline=None, derandomize=True)

temps = st.floats(-10, 30)
humidities = st.floats(5, 100)
winds = st.floats(0.1, 5)
shares = st.floats(0, 1)


def leaf_c(
    temp_c: float | list[float],
    rh_pct: float | list[float] = 60.0,
    wind_m_s: float | list[float] = 0.2,
    cloud: float | list[float] = 0.0,
    sky_view: float | list[float] = 1.0,
    shape: Shape = LEAF,
) -> Array:
    return night_leaf_temperature(
        temp_c,
        air.vapour_pressure(temp_c, rh_pct),
        wind_m_s,
        cloud,
        sky_view,
        pressure_kpa=101.3,
        shape=shape,
    )


@repeatable
@given(temp_c=temps, rh_pct=humidities, wind_m_s=winds, cloud=shares, sky_view=shares)
def test_leaf_is_never_warmer_than_the_air(
    temp_c: float, rh_pct: float, wind_m_s: float, cloud: float, sky_view: float
) -> None:
    assert float(leaf_c(temp_c, rh_pct, wind_m_s, cloud, sky_view)) <= temp_c


@repeatable
@given(
    temp_c=temps, rh_pct=humidities, wind_m_s=winds, cloud=shares, views=st.tuples(shares, shares)
)
def test_more_sky_is_never_warmer(
    temp_c: float, rh_pct: float, wind_m_s: float, cloud: float, views: tuple[float, float]
) -> None:
    less, more = leaf_c(temp_c, rh_pct, wind_m_s, cloud, sorted(views))

    assert more <= less + 1e-8


@repeatable
@given(temp_c=temps, rh_pct=humidities, wind_m_s=winds, clouds=st.tuples(shares, shares))
def test_more_cloud_is_never_colder(
    temp_c: float, rh_pct: float, wind_m_s: float, clouds: tuple[float, float]
) -> None:
    less, more = leaf_c(temp_c, rh_pct, wind_m_s, sorted(clouds))

    assert more >= less - 1e-8


@repeatable
@given(temp_c=temps, rh_pct=humidities, cloud=shares, speeds=st.tuples(winds, winds))
def test_more_wind_is_never_colder(
    temp_c: float, rh_pct: float, cloud: float, speeds: tuple[float, float]
) -> None:
    less, more = leaf_c(temp_c, rh_pct, sorted(speeds), cloud)

    assert more >= less - 1e-8


@repeatable
@given(temp_c=temps, wetter=st.tuples(humidities, humidities), wind_m_s=winds)
def test_drier_air_is_never_warmer(
    temp_c: float, wetter: tuple[float, float], wind_m_s: float
) -> None:
    dry, moist = leaf_c(temp_c, sorted(wetter), wind_m_s)

    assert dry <= moist + 1e-8


@repeatable
@given(temp_c=temps, rh_pct=humidities, wind_m_s=winds, width_m=st.floats(0.005, 0.2))
def test_wider_leaf_is_never_warmer(
    temp_c: float, rh_pct: float, wind_m_s: float, width_m: float
) -> None:
    narrow = leaf_c(temp_c, rh_pct, wind_m_s, shape=Shape(width_m))
    wide = leaf_c(temp_c, rh_pct, wind_m_s, shape=Shape(2 * width_m))

    assert float(wide) <= float(narrow) + 1e-8


@repeatable
@given(temp_c=temps, rh_pct=humidities, wind_m_s=winds, cloud=shares)
def test_leaf_that_sees_no_sky_has_the_temperature_of_the_air(
    temp_c: float, rh_pct: float, wind_m_s: float, cloud: float
) -> None:
    under_a_roof = leaf_c(temp_c, rh_pct, wind_m_s, cloud, sky_view=0.0)

    assert float(under_a_roof) == pytest.approx(temp_c, abs=1e-8)


def test_air_said_to_hold_more_than_saturation_does_not_warm_the_leaf() -> None:
    saturated = air.saturation_vapour_pressure(8.0)

    leaf = night_leaf_temperature(8.0, [saturated, 1.1 * saturated], 0.2, 0, 1, pressure_kpa=101.3)

    assert leaf[0] == leaf[1] < 8.0


@pytest.mark.parametrize("unknown", range(5))
def test_unknown_in_is_unknown_out(unknown: int) -> None:
    arguments: list[list[float]] = [[10.0] * 2, [0.7] * 2, [0.2] * 2, [0.0] * 2, [1.0] * 2]
    arguments[unknown][0] = np.nan
    temp, vapour, wind, cloud, sky_view = arguments

    leaf = night_leaf_temperature(temp, vapour, wind, cloud, sky_view, pressure_kpa=101.3)

    assert np.isnan(leaf).tolist() == [True, False]


@repeatable
@given(temp_c=temps, rh_pct=humidities, wind_m_s=winds, cloud=shares, sky_view=shares)
def test_scalar_equals_array_of_one(
    temp_c: float, rh_pct: float, wind_m_s: float, cloud: float, sky_view: float
) -> None:
    scalar = leaf_c(temp_c, rh_pct, wind_m_s, cloud, sky_view)

    array = leaf_c([temp_c], [rh_pct], [wind_m_s], [cloud], [sky_view])

    assert scalar.shape == ()
    assert array.shape == (1,)
    assert scalar == array[0]
