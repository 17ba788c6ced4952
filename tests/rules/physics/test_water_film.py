"""The water film: what must hold for any air, and how films dry over a series of steps."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sillward_rules.arrays import Array
from sillward_rules.physics import air, water_film
from sillward_rules.physics.surface import LEAF, ROOT, Shape

repeatable = settings(deadline=None, derandomize=True)

temps = st.floats(0, 45)
humidities = st.floats(5, 98)
winds = st.floats(0.1, 5)
nets = st.floats(-60, 300)


def film_air(
    temp_c: object, rh_pct: object, wind_m_s: object = 0.5, net_w_m2: object = 0.0
) -> water_film.FilmAir:
    temp, humidity, wind, net = (
        np.asarray(value, dtype=np.float64) for value in (temp_c, rh_pct, wind_m_s, net_w_m2)
    )
    return water_film.FilmAir(
        temp, air.vapour_pressure(temp, humidity), wind, net, pressure_kpa=101.3
    )


@repeatable
@given(temp_c=temps, rh_pct=humidities, wind_m_s=winds, share=st.floats(1.05, 3))
def test_evaporation_rises_with_wind(
    temp_c: float, rh_pct: float, wind_m_s: float, share: float
) -> None:
    calm, windy = water_film.evaporation(
        film_air(temp_c, rh_pct, wind_m_s=[wind_m_s, wind_m_s * share]), LEAF
    )

    assert windy > calm


@repeatable
@given(temp_c=temps, rh_pct=humidities, wind_m_s=winds, more_k=st.floats(0.1, 20))
def test_unlit_film_lasts_less_long_in_warmer_air_that_holds_the_same_vapour(
    temp_c: float, rh_pct: float, wind_m_s: float, more_k: float
) -> None:
    """True with any net radiation that stays as it is; without any it is plain: warmer air has
    more heat to give and the same vapour to take up against. At a fixed relative humidity it is
    weaker, for warmer air then holds more vapour."""
    vapour = air.vapour_pressure(temp_c, rh_pct)
    temps_c = np.array([temp_c, temp_c + more_k])
    still = np.full(2, wind_m_s)

    unlit = water_film.FilmAir(temps_c, np.full(2, vapour), still, np.zeros(2), pressure_kpa=101.3)
    cool, warm = (_life_h(rate) for rate in water_film.evaporation(unlit, LEAF))

    assert warm < cool


@repeatable
@given(
    temp_c=temps,
    rh_pct=humidities,
    wind_m_s=winds,
    share=st.floats(1.05, 3),
    net_w_m2=st.floats(0, 250),
)
def test_film_lasts_less_long_in_more_wind(
    temp_c: float, rh_pct: float, wind_m_s: float, share: float, net_w_m2: float
) -> None:
    """Plain without net radiation: the film is colder than the air, and wind brings it heat as
    well as carrying its vapour off. It holds up to 250 W/m2, what each wet face of a leaf has in
    full sun (0.5 x 0.5 x 1.2 x 900 less a little); beyond, see the next test."""
    lit = film_air(temp_c, rh_pct, [wind_m_s, wind_m_s * share], net_w_m2)
    calm, windy = (_life_h(rate) for rate in water_film.evaporation(lit, LEAF))

    assert windy < calm


def test_film_in_cool_moist_air_under_very_strong_radiation_lasts_longer_in_more_wind() -> None:
    """It is then far warmer than the air, and wind takes heat off it faster than vapour."""
    glaring = film_air(5.0, 95.0, [0.2, 1.0], net_w_m2=600.0)
    calm, windy = (_life_h(rate) for rate in water_film.evaporation(glaring, LEAF))

    assert windy > calm


def _life_h(rate_mm_h: float) -> float:
    """How long a film of 0.1 mm lasts at an unchanging rate [h]."""
    enough = np.full(1 + int(np.ceil(0.1 / rate_mm_h)), rate_mm_h)
    return float(water_film.drying_times(enough, 1.0, 0.1)[0])


@repeatable
@given(temp_c=temps, rh_pct=humidities, wind_m_s=winds, net_w_m2=nets, more=st.floats(0.1, 50))
def test_evaporation_falls_with_humidity(
    temp_c: float, rh_pct: float, wind_m_s: float, net_w_m2: float, more: float
) -> None:
    moister = min(rh_pct + more, 100.0)

    dry, moist = water_film.evaporation(
        film_air(temp_c, [rh_pct, moister], wind_m_s, net_w_m2), LEAF
    )

    assert moist < dry


@repeatable
@given(temp_c=temps, rh_pct=humidities, wind_m_s=winds, net_w_m2=nets, more=st.floats(0.1, 100))
def test_evaporation_rises_with_radiation(
    temp_c: float, rh_pct: float, wind_m_s: float, net_w_m2: float, more: float
) -> None:
    shade, sun = water_film.evaporation(
        film_air(temp_c, rh_pct, wind_m_s, [net_w_m2, net_w_m2 + more]), LEAF
    )

    assert sun > shade


@repeatable
@given(temp_c=temps, rh_pct=humidities, wind_m_s=winds, net_w_m2=nets)
def test_a_smaller_surface_dries_faster_where_it_dries(
    temp_c: float, rh_pct: float, wind_m_s: float, net_w_m2: float
) -> None:
    """Not so in strong sun and moist air: there wind cools the film more than it carries off."""
    shaded = film_air(temp_c, rh_pct, wind_m_s, min(net_w_m2, 0.0))

    wide, narrow = (water_film.evaporation(shaded, Shape(length)) for length in (0.07, 0.007))

    assert narrow > wide or wide < 0


@repeatable
@given(temp_c=temps, rh_pct=humidities, wind_m_s=winds)
def test_unlit_film_lies_between_dew_point_and_air(
    temp_c: float, rh_pct: float, wind_m_s: float
) -> None:
    unlit = film_air(temp_c, rh_pct, wind_m_s)

    wet = float(water_film.film_temperature(unlit, LEAF))

    assert float(air.dew_point(unlit.vapour_kpa)) < wet < temp_c


@repeatable
@given(temp_c=temps, wind_m_s=winds)
def test_saturated_air_without_radiation_dries_nothing(temp_c: float, wind_m_s: float) -> None:
    rate = water_film.evaporation(film_air(temp_c, 100.0, wind_m_s), LEAF)

    assert float(rate) == pytest.approx(0.0, abs=1e-8)


@pytest.mark.parametrize("name", ["temp_c", "rh_pct", "wind_m_s", "net_w_m2"])
def test_unknown_in_is_unknown_out(name: str) -> None:
    known = {"temp_c": 20.0, "rh_pct": 60.0, "wind_m_s": 0.5, "net_w_m2": 50.0}

    rate = water_film.evaporation(film_air(**{**known, name: [np.nan, known[name]]}), LEAF)

    assert np.isnan(rate).tolist() == [True, False]


@repeatable
@given(temp_c=temps, rh_pct=humidities, wind_m_s=winds, net_w_m2=nets)
def test_scalar_equals_array_of_one(
    temp_c: float, rh_pct: float, wind_m_s: float, net_w_m2: float
) -> None:
    scalar = water_film.evaporation(film_air(temp_c, rh_pct, wind_m_s, net_w_m2), ROOT)

    array = water_film.evaporation(film_air([temp_c], [rh_pct], [wind_m_s], [net_w_m2]), ROOT)

    assert scalar.shape == ()
    assert array.shape == (1,)
    # NumPy rounds powers of scalars and of arrays apart; the root finder answers to 1e-9 K.
    assert float(scalar) == pytest.approx(array[0], abs=1e-9)


def test_dew_forms_under_a_clear_sky_in_moist_air() -> None:
    rate = water_film.evaporation(film_air(10.0, 98.0, 0.2, -40.0), LEAF)

    assert float(rate) < 0


def test_film_dries_inside_a_step() -> None:
    rate = np.array([0.1, 0.2, 0.4])

    dries_in_h = water_film.drying_times(rate, 1.0, 0.2)

    assert dries_in_h.tolist() == pytest.approx([1.5, 1.0, 0.5])


def test_film_that_outlasts_the_series_is_infinite() -> None:
    dries_in_h = water_film.drying_times(np.array([0.1, 0.1]), 1.0, 0.15)

    assert dries_in_h.tolist() == [pytest.approx(1.5), np.inf]


def test_hours_of_dew_dry_nothing_and_add_nothing() -> None:
    rate = np.array([0.1, -0.3, 0.0, 0.1])

    dries_in_h = water_film.drying_times(rate, 1.0, 0.2)

    assert dries_in_h.tolist() == [pytest.approx(4.0), np.inf, np.inf, np.inf]


def test_unknown_hour_makes_unknown_only_the_films_that_reach_it() -> None:
    rate = np.array([0.2, 0.1, np.nan, 0.2, 0.2])

    dries_in_h = water_film.drying_times(rate, 1.0, 0.2)

    assert dries_in_h[0] == pytest.approx(1.0)
    assert np.isnan(dries_in_h).tolist() == [False, True, True, False, False]


def test_film_that_outlasts_a_series_with_a_gap_is_unknown() -> None:
    dries_in_h = water_film.drying_times(np.array([0.1, np.nan, 0.1]), 1.0, 5.0)

    assert np.isnan(dries_in_h[:2]).all()
    assert dries_in_h[2] == np.inf


def test_several_depths_at_once_equal_each_alone() -> None:
    rate = np.array([0.1, 0.3, np.nan, 0.2, 0.05, 0.4])
    depths = [[0.05, 0.2], [0.5, 1.0]]

    together = water_film.drying_times(rate, 0.5, depths)

    assert together.shape == (6, 2, 2)
    for row, column in np.ndindex(2, 2):
        alone = water_film.drying_times(rate, 0.5, depths[row][column])
        np.testing.assert_array_equal(together[:, row, column], alone)


def test_no_steps_give_no_times() -> None:
    assert water_film.drying_times(np.array([]), 1.0, 0.1).shape == (0,)


rates = st.lists(st.floats(0, 1), min_size=1, max_size=48).map(np.array)


@repeatable
@given(rate=rates, depth_mm=st.floats(0.01, 2), share=st.floats(1, 3))
def test_thicker_film_never_dries_sooner(rate: Array, depth_mm: float, share: float) -> None:
    thin, thick = water_film.drying_times(rate, 1.0, [depth_mm, depth_mm * share]).T

    assert (thick >= thin).all()


@repeatable
@given(rate=rates, depth_mm=st.floats(0.01, 2))
def test_what_was_wetted_later_never_dries_before_what_was_wetted_earlier(
    rate: Array, depth_mm: float
) -> None:
    dry_at_h = np.arange(rate.size) + water_film.drying_times(rate, 1.0, depth_mm)
    finite = dry_at_h[np.isfinite(dry_at_h)]

    assert (np.diff(finite) >= -1e-9).all()


@repeatable
@given(rate=rates, depth_mm=st.floats(0.01, 2))
def test_exactly_the_film_has_evaporated_when_it_is_dry(rate: Array, depth_mm: float) -> None:
    dries_in_h = water_film.drying_times(rate, 1.0, depth_mm)
    total = np.concatenate([[0.0], np.cumsum(rate)])

    for start, hours in enumerate(dries_in_h):
        if np.isfinite(hours):
            until = np.interp(start + hours, np.arange(total.size), total)
            assert until - total[start] == pytest.approx(depth_mm, abs=1e-9)


def test_inputs_are_left_as_they_are() -> None:
    rate = np.array([0.1, -0.2, np.nan])
    before = rate.copy()

    water_film.drying_times(rate, 1.0, 0.1)

    np.testing.assert_array_equal(rate, before)
