"""The leaf's balance: what must hold for any leaf under any sky, by day and at night."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sillward_rules.arrays import Array
from sillward_rules.physics import air, surface
from sillward_rules.physics.leaf import leaf_temperature
from sillward_rules.physics.surface import LEAF, Shape

repeatable = settings(deadline=None, derandomize=True)

temps = st.floats(-10, 45)
humidities = st.floats(5, 100)
winds = st.floats(0, 5)
shares = st.floats(0, 1)
suns = st.floats(0, 1100)


def leaf_c(
    temp_c: float | list[float],
    rh_pct: float | list[float] = 60.0,
    wind_m_s: float | list[float] = 0.2,
    cloud: float | list[float] = 0.0,
    sky_view: float | list[float] = 1.0,
    sunlight_w_m2: float | list[float] = 0.0,
    shape: Shape = LEAF,
    wet: bool = False,
) -> Array:
    return leaf_temperature(
        temp_c,
        air.vapour_pressure(temp_c, rh_pct),
        wind_m_s,
        cloud,
        sky_view,
        sunlight_w_m2,
        pressure_kpa=101.3,
        shape=shape,
        wet=wet,
    )


@repeatable
@given(temp_c=temps, rh_pct=humidities, wind_m_s=winds, cloud=shares, sky_view=shares)
def test_unlit_leaf_is_never_warmer_than_the_air(
    temp_c: float, rh_pct: float, wind_m_s: float, cloud: float, sky_view: float
) -> None:
    assert float(leaf_c(temp_c, rh_pct, wind_m_s, cloud, sky_view)) <= temp_c


@repeatable
@given(
    temp_c=temps,
    rh_pct=humidities,
    wind_m_s=winds,
    cloud=shares,
    views=st.tuples(shares, shares),
    sun_w_m2=suns,
)
def test_more_sky_is_never_warmer_by_day_or_night(
    temp_c: float,
    rh_pct: float,
    wind_m_s: float,
    cloud: float,
    views: tuple[float, float],
    sun_w_m2: float,
) -> None:
    less, more = leaf_c(temp_c, rh_pct, wind_m_s, cloud, sorted(views), sun_w_m2)

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

    assert float(under_a_roof) == temp_c


def test_air_said_to_hold_more_than_saturation_does_not_warm_the_leaf() -> None:
    saturated = air.saturation_vapour_pressure(8.0)

    leaf = leaf_temperature(8.0, [saturated, 1.1 * saturated], 0.2, 0, 1, pressure_kpa=101.3)

    assert leaf[0] == leaf[1] < 8.0


@repeatable
@given(
    temp_c=temps,
    rh_pct=humidities,
    wind_m_s=winds,
    cloud=shares,
    sky_view=shares,
    suns_w_m2=st.tuples(suns, st.floats(1, 300)),
)
def test_more_sun_is_warmer(
    temp_c: float,
    rh_pct: float,
    wind_m_s: float,
    cloud: float,
    sky_view: float,
    suns_w_m2: tuple[float, float],
) -> None:
    less, more = leaf_c(temp_c, rh_pct, wind_m_s, cloud, sky_view, [suns_w_m2[0], sum(suns_w_m2)])

    assert more > less


@repeatable
@given(temp_c=temps, rh_pct=humidities, wind_m_s=winds, cloud=shares, sun_w_m2=st.floats(1, 1100))
def test_sunlit_leaf_that_sees_no_sky_is_warmer_than_the_air(
    temp_c: float, rh_pct: float, wind_m_s: float, cloud: float, sun_w_m2: float
) -> None:
    assert float(leaf_c(temp_c, rh_pct, wind_m_s, cloud, 0.0, sun_w_m2)) > temp_c


@repeatable
@given(
    temp_c=temps,
    rh_pct=humidities,
    sun_w_m2=suns,
    sky_view=shares,
    speeds=st.tuples(winds, winds),
)
def test_wind_draws_the_leaf_toward_the_air(
    temp_c: float, rh_pct: float, sun_w_m2: float, sky_view: float, speeds: tuple[float, float]
) -> None:
    leaves = leaf_c(temp_c, rh_pct, sorted(speeds), 0.0, sky_view, sun_w_m2)
    calm, windy = np.abs(leaves - temp_c)

    assert windy <= calm + 1e-8


@repeatable
@given(temp_c=temps, rh_pct=humidities, wind_m_s=winds, sun_w_m2=suns, sky_view=shares)
def test_what_the_leaf_takes_in_it_gives_off(
    temp_c: float, rh_pct: float, wind_m_s: float, sun_w_m2: float, sky_view: float
) -> None:
    """The balance once more, flux by flux and face by face."""
    leaf = float(leaf_c(temp_c, rh_pct, wind_m_s, 0.3, sky_view, sun_w_m2))
    vapour = float(air.vapour_pressure(temp_c, rh_pct))
    sky = float(surface.sky_emissivity(temp_c, vapour, 0.3))
    black = surface.STEFAN_BOLTZMANN * (temp_c + air.KELVIN) ** 4
    above = surface.EMISSIVITY * black * (sky_view * sky + 1 - sky_view)
    below = surface.EMISSIVITY * black
    sunlight = 0.5 * sun_w_m2 + 0.5 * 0.2 * sun_w_m2
    radiated = surface.EMISSIVITY * surface.STEFAN_BOLTZMANN * (leaf + air.KELVIN) ** 4
    forced = 1.4 * 0.135 * np.sqrt(wind_m_s / LEAF.length_m)
    free = 0.05 * (abs(leaf - temp_c) / LEAF.length_m) ** 0.25
    dewfall = max(vapour - float(air.saturation_vapour_pressure(leaf)), 0.0) / 101.3
    latent = float(surface.latent_heat(temp_c))
    given_off = 2 * radiated
    for face in (max(forced, free), max(forced, free / 2)):
        given_off += 29.3 * face * (leaf - temp_c) - latent * face * 0.147 / 0.135 * dewfall

    assert above + below + sunlight == pytest.approx(given_off, abs=1e-5)


def test_leaf_in_still_air_is_cooled_by_air_that_rises_by_itself() -> None:
    still, faint = leaf_c(35.0, 30.0, [0.0, 0.001], sunlight_w_m2=900.0)
    vacuum = leaf_c(35.0, 30.0, 1e-9, sunlight_w_m2=900.0, shape=Shape(1e9))

    assert still == faint
    assert still < float(vacuum) - 10


def test_hours_and_spots_broadcast() -> None:
    hours = np.linspace(5, 35, 4)[:, None]
    views = np.array([0.0, 0.5, 1.0])

    together = leaf_temperature(
        hours, 0.6, 0.3, 0.2, views, [[0.0], [9.0], [0.0], [800.0]], pressure_kpa=95.0
    )

    assert together.shape == (4, 3)
    alone = leaf_temperature(35.0, 0.6, 0.3, 0.2, 1.0, 800.0, pressure_kpa=95.0)
    assert together[3, 2] == pytest.approx(float(alone), abs=1e-8)


@pytest.mark.parametrize("unknown", range(6))
def test_unknown_in_is_unknown_out(unknown: int) -> None:
    arguments = [[number] * 2 for number in (10.0, 0.7, 0.2, 0.0, 1.0, 300.0)]
    arguments[unknown][0] = np.nan
    temp, vapour, wind, cloud, sky_view, sun = arguments

    leaf = leaf_temperature(temp, vapour, wind, cloud, sky_view, sun, pressure_kpa=101.3)

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
    # NumPy rounds powers of scalars and of arrays apart; the root finder answers to 1e-9 K.
    assert float(scalar) == pytest.approx(array[0], abs=1e-8)


@repeatable
@given(temp_c=temps, rh_pct=humidities, wind_m_s=winds, cloud=shares, sky_view=shares)
def test_a_wet_leaf_is_never_warmer_than_a_dry_one_nor_below_where_dew_and_sky_end(
    temp_c: float, rh_pct: float, wind_m_s: float, cloud: float, sky_view: float
) -> None:
    dry = float(leaf_c(temp_c, rh_pct, wind_m_s, cloud, sky_view))
    wet = float(leaf_c(temp_c, rh_pct, wind_m_s, cloud, sky_view, wet=True))
    dew_point = float(air.dew_point(air.vapour_pressure(temp_c, rh_pct)))

    assert wet <= dry + 1e-8
    assert wet >= min(dew_point, dry) - 1e-8
    if dry < dew_point:  # the dry leaf is wet with dew, and the same
        assert wet == pytest.approx(dry, abs=1e-6)
