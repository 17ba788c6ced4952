"""The climate of spots: each correction and when it is left out, the unknown, spot by spot."""

from collections.abc import Mapping
from dataclasses import fields, replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sillward_rules.arrays import Array
from sillward_rules.physics import air
from sillward_rules.physics.surface import CALM_WIND_M_S
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.plants.collection import Habits
from sillward_rules.remark import NoForecast
from sillward_rules.weather.climate import Climate, climate_by_night, climate_of, film_air
from sillward_rules.weather.cloud import HIGH
from sillward_rules.weather.hourly import SERIES, Weather
from sillward_rules.weather.light import daily_light_integral
from sillward_rules.weather.season import GROWS, Season
from sillward_rules.weather.spot import DEFAULT_SKY_VIEW, DEFAULT_WIND, Spot, SunWindow
from tests.support.core import MENDOZA, OPEN_BENCH, WARM_ROOM, collection, daily_curve, utc, weather

few = settings(max_examples=25, derandomize=True, deadline=None)

MAY = utc("2026-05-13T00:00")
JANUARY = utc("2026-01-10T00:00")

NOON = 17
"""Row of a day whose hour is nearest to noon: at 68.85 W the sun stands in the north at 16:32 UTC
(longitude over 15, less an equation of time of some 4 minutes in May)."""

MIDNIGHT = 28
"""A row in the middle of the night: 04:00 UTC, 01:00 at the site."""

ALL_ROUND = (SunWindow(0, 360),)
SAID = Spot(
    "said",
    sky_view=0.8,
    wind=0.5,
    rain=1.0,
    sun_windows=ALL_ROUND,
    night_offset_k=0.0,
    day_offset_k=0.0,
)
LIGHT = ("direct_w_m2", "diffuse_w_m2")
UNKNOWN = np.full(48, np.nan)
PORCH = Spot("porch", indoors=True, night_offset_k=3.0)

ARRAYS = tuple(
    field.name
    for field in fields(Climate)
    if field.name not in ("spots", "times", "night", "learned", "pressure_kpa", "season", "mean_c")
)


def sky(
    temp: Array | float = 15.0, start: datetime = MAY, hours: int = 48, **more: object
) -> Weather:
    """A day of sun from 11 to 22 h UTC, with wind and a little rain in the second night."""
    clock = np.arange(hours) % 24
    up = np.maximum(np.sin((clock - 11.0) / 11.0 * np.pi), 0.0) * (clock >= 11)
    series = {
        "dew_point_c": 8.0,
        "wind_m_s": 2.0,
        "gust_m_s": 6.0,
        "direct_w_m2": 500.0 * up,
        "diffuse_w_m2": 100.0 * up,
        "rain_mm": np.where(np.arange(hours) == MIDNIGHT, 2.0, 0.0),
        **more,
    }
    return weather(start, np.broadcast_to(temp, (hours,)).astype(np.float64), **series)


def changed(forecast: Weather, series: Mapping[str, Array]) -> Weather:
    return replace(forecast, **series)  # type: ignore[arg-type]


def at(spot: Spot, of: Weather) -> Climate:
    return climate_of(MENDOZA, (spot,), of)


# -- what a grower has not said


def test_a_spot_of_which_nothing_is_said_takes_the_forecast_and_its_defaults() -> None:
    forecast = sky()
    here = at(Spot("vague", height_m=10.0), forecast)

    np.testing.assert_array_equal(here.temp_c[:, 0], forecast.temp_c)
    np.testing.assert_array_equal(here.rain_mm[:, 0], forecast.rain_mm)
    np.testing.assert_allclose(here.wind_m_s[:, 0], DEFAULT_WIND * 2.0)
    np.testing.assert_allclose(here.gust_m_s[:, 0], DEFAULT_WIND**0.5 * 6.0)
    np.testing.assert_allclose(
        here.light_w_m2[:, 0], forecast.direct_w_m2 + DEFAULT_SKY_VIEW * forecast.diffuse_w_m2
    )
    assert here.leaf_c[NOON, 0] == here.temp_c[NOON, 0]
    said = at(Spot("said", height_m=10.0, sky_view=DEFAULT_SKY_VIEW), forecast)
    np.testing.assert_array_equal(here.leaf_c, said.leaf_c)
    assert (here.leaf_c[here.night] < here.temp_c[here.night] - 0.2).all()


@pytest.mark.parametrize(
    ("unsaid", "leaf_by_night", "leaf_by_day"),
    [
        ({}, "colder", "warmer"),
        ({"sky_view": None}, "colder", "as air"),
        ({"sun_windows": None}, "colder", "as air"),
        ({"wind": None}, "colder", "warmer"),
        ({"rain": None}, "colder", "warmer"),
        ({"night_offset_k": None}, "colder", "warmer"),
    ],
)
def test_leaf_and_air_part_by_night_anyway_and_by_day_where_sky_and_sun_are_said(
    unsaid: dict[str, object], leaf_by_night: str, leaf_by_day: str
) -> None:
    here = at(replace(SAID, **unsaid), sky())  # type: ignore[arg-type]

    apart = here.leaf_c[:, 0] - here.temp_c[:, 0]
    words = {-1.0: "colder", 0.0: "as air", 1.0: "warmer"}
    assert words[float(np.sign(apart[MIDNIGHT]))] == leaf_by_night
    assert words[float(np.sign(apart[NOON]))] == leaf_by_day


@pytest.mark.parametrize("share", [None, 0.0, 0.4, 1.0])
def test_each_share_said_is_the_share_that_counts(share: float | None) -> None:
    forecast = sky()
    here = at(replace(SAID, height_m=10.0, wind=share, rain=share), forecast)

    wind = (DEFAULT_WIND if share is None else share) * 2.0
    np.testing.assert_allclose(here.wind_m_s[:, 0], max(wind, CALM_WIND_M_S))
    np.testing.assert_allclose(here.gust_m_s[:, 0], 6.0 * (wind / 2.0) ** 0.5)
    rain = 1.0 if share is None else share
    np.testing.assert_allclose(here.rain_mm[:, 0], rain * forecast.rain_mm)


def test_offsets_by_night_and_by_day_keep_the_water_in_the_air() -> None:
    plain = at(SAID, sky())
    here = at(replace(SAID, night_offset_k=2.0, day_offset_k=-1.0), sky())

    apart = (here.temp_c - plain.temp_c)[:, 0]
    assert (apart[MIDNIGHT], apart[NOON]) == pytest.approx((2.0, -1.0))
    assert ((apart >= -1.0 - 1e-9) & (apart <= 2.0 + 1e-9)).all()
    np.testing.assert_array_equal(here.vapour_kpa, plain.vapour_kpa)
    assert here.rh_pct[MIDNIGHT, 0] < plain.rh_pct[MIDNIGHT, 0]
    assert here.rh_pct[NOON, 0] > plain.rh_pct[NOON, 0]


def test_a_spot_colder_than_the_dew_point_is_saturated_and_holds_no_more() -> None:
    here = at(replace(SAID, night_offset_k=-9.0), sky())

    assert here.rh_pct[MIDNIGHT, 0] == 100.0
    assert here.vpd_kpa[MIDNIGHT, 0] == 0.0
    assert here.vapour_kpa[MIDNIGHT, 0] == pytest.approx(air.saturation_vapour_pressure(6.0))


# -- under a roof


def test_a_porch_follows_the_weather_without_its_wind_rain_and_sky() -> None:
    here = at(PORCH, sky(hail_pct=100.0))

    assert (here.temp_c[MIDNIGHT, 0], here.temp_c[NOON, 0]) == (18.0, 15.0)
    np.testing.assert_array_equal(here.leaf_c, here.temp_c)
    np.testing.assert_array_equal(here.wind_m_s, CALM_WIND_M_S)
    for series in (here.gust_m_s, here.rain_mm, here.hail_pct, here.rain_wet_h):
        np.testing.assert_array_equal(series, 0.0)


def test_a_room_that_holds_itself_knows_its_air_whatever_the_forecast() -> None:
    nothing = changed(sky(), {name: np.full(48, np.nan) for name in SERIES})
    here = at(WARM_ROOM, nothing)

    expected = np.where(here.night[:, None], 16.0, 20.0)
    np.testing.assert_array_equal(here.temp_c, expected)
    np.testing.assert_array_equal(here.leaf_c, expected)
    np.testing.assert_allclose(here.rh_pct, 50.0)
    np.testing.assert_array_equal(here.wind_m_s, CALM_WIND_M_S)
    for series in (here.gust_m_s, here.rain_mm, here.hail_pct, here.crown_wet_h, here.rain_wet_h):
        np.testing.assert_array_equal(series, 0.0)
    # What its windows let in is nobody's to say.
    assert np.isnan(here.light_w_m2).all()
    assert np.isnan(here.ppfd).all()


def test_a_room_of_which_little_is_said_is_unknown_and_not_the_weather() -> None:
    silent = at(Spot("room", indoors=True), sky())
    by_night = at(Spot("room", indoors=True, night_low_c=14.0), sky())

    assert np.isnan(silent.temp_c).all()
    assert np.isnan(silent.leaf_c).all()
    np.testing.assert_array_equal(by_night.temp_c, 14.0)
    assert np.isnan(by_night.vpd_kpa).all()


# -- light


def test_light_comes_through_windows_and_the_sky_by_its_share() -> None:
    north_at_noon = (SunWindow(300, 60, above=20),)
    forecast = sky()

    def light(windows: tuple[SunWindow, ...] | None) -> Array:
        return at(replace(SAID, sun_windows=windows), forecast).light_w_m2[:, 0]

    diffuse = 0.8 * forecast.diffuse_w_m2
    np.testing.assert_allclose(light(()), diffuse)
    np.testing.assert_allclose(light((SunWindow(100, 260),)), diffuse)  # the sun is never there
    np.testing.assert_allclose(light(None), diffuse + forecast.direct_w_m2)
    np.testing.assert_allclose(light(ALL_ROUND), light(None))
    narrow = light(north_at_noon)
    assert narrow[NOON] == pytest.approx(diffuse[NOON] + forecast.direct_w_m2[NOON])
    for row in (13, 21):  # an hour or two after sunrise and before sunset, in the east and west
        assert forecast.direct_w_m2[row] > 0
        assert narrow[row] == pytest.approx(diffuse[row])


def test_cloth_takes_its_share_of_sun_and_sky() -> None:
    plain, half = (at(replace(SAID, shade=shade), sky()) for shade in (0.0, 0.5))
    none = at(replace(SAID, shade=1.0), sky())

    np.testing.assert_allclose(half.light_w_m2, 0.5 * plain.light_w_m2)
    np.testing.assert_allclose(half.ppfd, 0.5 * plain.ppfd)
    np.testing.assert_array_equal(none.light_w_m2, 0.0)
    assert half.leaf_c[NOON, 0] < plain.leaf_c[NOON, 0]


def test_a_leaf_in_the_shade_of_a_wall_is_not_warmed_by_the_beam() -> None:
    sunny, shady = (at(replace(SAID, sun_windows=w), sky()) for w in (ALL_ROUND, ()))

    assert sunny.leaf_c[NOON, 0] > sunny.temp_c[NOON, 0] + 3.0
    assert shady.leaf_c[NOON, 0] < shady.temp_c[NOON, 0] + 0.5
    assert sunny.leaf_c[MIDNIGHT, 0] == shady.leaf_c[MIDNIGHT, 0]


def test_a_night_of_unknown_sunlight_still_has_a_leaf() -> None:
    dry = sky(rain_mm=0.0)
    known, unknown = at(SAID, dry), at(SAID, changed(dry, dict.fromkeys(LIGHT, UNKNOWN)))

    assert np.isfinite(unknown.leaf_c).all()
    by_night = unknown.night
    np.testing.assert_allclose(unknown.leaf_c[by_night], known.leaf_c[by_night])
    assert unknown.leaf_c[NOON, 0] == unknown.temp_c[NOON, 0]


@pytest.mark.parametrize("spot", [Spot("vague"), replace(SAID, sun_windows=None)])
def test_no_sun_has_warmed_a_leaf_at_the_moment_of_sunrise(spot: Spot) -> None:
    here = at(spot, sky())
    depth = (here.temp_c - here.leaf_c)[:, 0]
    sunrise = int(np.flatnonzero(here.night[24 : 24 + NOON])[-1]) + 24

    # From the last hour of the night on: less and less, and gone by two hours after sunrise.
    assert depth[sunrise] > depth[sunrise + 1] > 0.5 * depth[sunrise]
    assert depth[sunrise + 1] > depth[sunrise + 2]
    assert depth[sunrise + 3] == 0.0


# -- cloud by height


def layered(cloud: float, low: float, middle: float, high: float) -> Weather:
    return sky(cloud=cloud, cloud_low=low, cloud_middle=middle, cloud_high=high)


def depth_at_night(forecast: Weather) -> float:
    here = at(SAID, changed(forecast, {"rain_mm": np.zeros(forecast.times.shape)}))
    return float((here.temp_c - here.leaf_c)[MIDNIGHT, 0])


def test_under_high_thin_cloud_a_leaf_is_nearly_as_cold_as_under_a_clear_sky() -> None:
    clear, overcast = (depth_at_night(sky(cloud=cover)) for cover in (0.0, 1.0))
    cirrus, altostratus, stratus = (
        depth_at_night(layered(1.0, *layers))
        for layers in ((0.0, 0.0, 1.0), (0.0, 1.0, 0.0), (1.0, 0.0, 0.0))
    )

    assert clear > 1.0 > 0.3 > overcast
    assert 0.8 * clear < cirrus < clear
    assert overcast < altostratus < 0.6 * clear
    assert stratus == overcast


def test_without_its_layers_all_the_cloud_counts_as_low() -> None:
    for unknown in (np.nan, np.where(np.arange(48) % 24 < 12, 0.0, np.nan)):
        plain = at(SAID, sky(cloud=0.7))
        here = at(SAID, sky(cloud=0.7, cloud_low=0.7, cloud_middle=unknown, cloud_high=0.0))
        for name in ARRAYS:
            np.testing.assert_array_equal(getattr(here, name), getattr(plain, name), err_msg=name)


def test_an_hour_without_its_layers_is_bridged_like_any_other() -> None:
    high = np.ones(48)
    high[MIDNIGHT] = np.nan

    holed = sky(cloud=1.0, cloud_low=0.0, cloud_middle=0.0, cloud_high=high)

    assert depth_at_night(holed) == depth_at_night(layered(1.0, 0.0, 0.0, 1.0))


def test_a_leaf_under_high_cloud_gets_no_more_light_than_its_forecast_says() -> None:
    plain, cirrus = sky(cloud=1.0), layered(1.0, 0.0, 0.0, 1.0)

    np.testing.assert_array_equal(at(SAID, plain).light_w_m2, at(SAID, cirrus).light_w_m2)


def test_under_high_cloud_a_hollow_is_as_cold_as_on_most_clear_nights() -> None:
    hollow = replace(SAID, name="hollow", night_offset_k=-3.0)

    def lower(forecast: Weather) -> float:
        both = climate_of(MENDOZA, (SAID, hollow), forecast)
        return float((both.temp_c[:, 0] - both.temp_c[:, 1])[MIDNIGHT])

    assert lower(layered(1.0, 0.0, 0.0, 1.0)) == pytest.approx(3.0 * (1 - HIGH))
    assert lower(layered(1.0, 1.0, 0.0, 0.0)) == pytest.approx(0.75)


# -- offsets


def test_a_hollow_is_cold_on_clear_calm_nights_and_hardly_in_wind_or_cloud() -> None:
    hollow = replace(SAID, name="hollow", night_offset_k=-3.0)

    def lower(wind_m_s: float, cloud: float) -> float:
        forecast = sky(wind_m_s=wind_m_s, cloud=cloud)
        both = climate_of(MENDOZA, (SAID, hollow), forecast)
        return float((both.temp_c[:, 0] - both.temp_c[:, 1])[MIDNIGHT])

    assert lower(wind_m_s=1.0, cloud=0.0) == pytest.approx(3.0)
    assert lower(wind_m_s=np.nan, cloud=np.nan) == pytest.approx(3.0)
    assert 1.0 < lower(wind_m_s=8.0, cloud=0.0) < 2.0
    assert 0.5 < lower(wind_m_s=1.0, cloud=1.0) < 1.0


def test_a_wall_warms_no_more_in_wind_and_not_on_nights_that_nobody_knows() -> None:
    wall = replace(SAID, name="wall", night_offset_k=2.0)

    def higher(wind_m_s: float = 1.0, cloud: float = 0.0) -> float:
        forecast = sky(wind_m_s=wind_m_s, cloud=cloud)
        both = climate_of(MENDOZA, (SAID, wall), forecast)
        return float((both.temp_c[:, 1] - both.temp_c[:, 0])[MIDNIGHT])

    assert higher() == pytest.approx(2.0)
    assert 0.0 < higher(wind_m_s=8.0) < 1.2
    assert higher(wind_m_s=np.nan) == higher(cloud=np.nan) == 0.0
    assert float(at(PORCH, sky(wind_m_s=9.0, cloud=1.0)).temp_c[MIDNIGHT, 0]) == 18.0


# -- wind and hail


@pytest.mark.parametrize(("height", "share"), [(2.0, 0.748), (5.0, 0.748 / 0.838), (10.0, 1.0)])
def test_wind_and_gusts_are_brought_to_the_plants_height(height: float, share: float) -> None:
    """Factors to 2 m of FAO-56 annex 2, table 2.9: 0.748 from 10 m and 0.838 from 5 m."""
    here = at(replace(SAID, height_m=height, wind=1.0), sky())

    np.testing.assert_allclose(here.wind_m_s, 2.0 * share, rtol=2e-3)
    np.testing.assert_allclose(here.gust_m_s, 6.0 * share**0.5, rtol=2e-3)


def test_hail_falls_only_where_rain_does() -> None:
    hail = np.zeros(48)
    hail[30], hail[31:33] = 100.0, np.nan
    roofed = replace(SAID, name="roofed", rain=0.0)
    drip = replace(SAID, name="drip", rain=0.1)

    here = climate_of(MENDOZA, (SAID, drip, roofed, PORCH, WARM_ROOM), sky(hail_pct=hail))

    np.testing.assert_array_equal(here.hail_pct[:, 0], hail)
    np.testing.assert_array_equal(here.hail_pct[:, 1], hail)
    np.testing.assert_array_equal(here.hail_pct[:, 2:], 0.0)


# -- wet crowns


def test_rain_wets_crowns_only_where_it_falls() -> None:
    damp = sky(temp=daily_curve(9.0, 15.0, 48), dew_point_c=8.5, cloud=1.0)
    roofed = replace(SAID, name="roofed", rain=0.0)

    here = climate_of(MENDOZA, (SAID, roofed, WARM_ROOM), damp)

    assert here.rain_wet_h[MIDNIGHT - 1, 0] == 0.0
    assert here.rain_wet_h[MIDNIGHT + 2, 0] >= 3.0
    np.testing.assert_array_equal(here.rain_wet_h[:, 1:], 0.0)


def test_dew_wets_crowns_without_rain() -> None:
    clear = sky(temp=daily_curve(4.0, 18.0, 48), dew_point_c=6.0, rain_mm=0.0, wind_m_s=0.3)
    here = at(SAID, clear)

    # By sunrise the leaf has long been under the dew point; no rain had a part in it.
    assert here.crown_wet_h[34, 0] >= 3.0
    np.testing.assert_array_equal(here.rain_wet_h, 0.0)


def test_a_plant_wet_with_rain_is_judged_as_a_wet_surface() -> None:
    """Rain at one in the morning, then dry air: the leaf goes towards the wet bulb."""
    shower = sky(temp=12.0, dew_point_c=4.0, cloud=1.0)
    roofed = replace(SAID, name="roofed", rain=0.0)

    here = climate_of(MENDOZA, (SAID, roofed), shower)

    wet_bulb = float(air.wet_bulb(12.0, air.saturation_vapour_pressure(4.0), 92.4))
    before, after = here.leaf_c[MIDNIGHT - 1], here.leaf_c[MIDNIGHT + 2]
    assert before[0] == pytest.approx(before[1])
    assert here.wetted[MIDNIGHT : MIDNIGHT + 3].tolist() == [[True, False]] * 3
    assert after[1] == pytest.approx(before[1])
    assert after[0] < after[1] - 2.0
    assert after[0] == pytest.approx(wet_bulb, abs=0.7)
    # By day it dries, and until then the dry leaf is the warmer case.
    dry = at(SAID, changed(shower, {"rain_mm": np.zeros(48)}))
    np.testing.assert_array_equal(here.leaf_c[NOON + 24, 0], dry.leaf_c[NOON + 24, 0])


def test_rain_that_nobody_knows_of_may_have_fallen() -> None:
    known = sky(temp=12.0, dew_point_c=7.0, rain_mm=0.0, cloud=1.0)
    gap = np.where(np.arange(48) == MIDNIGHT, np.nan, 0.0)

    dry, here = at(SAID, known), at(SAID, changed(known, {"rain_mm": gap}))

    assert not dry.wetted.any()
    assert not here.wetted[MIDNIGHT - 1, 0]
    assert here.wetted[MIDNIGHT, 0]
    assert here.leaf_c[MIDNIGHT, 0] < dry.leaf_c[MIDNIGHT, 0] - 1.0
    assert not at(SAID, changed(known, {"dew_point_c": UNKNOWN})).wetted.any()


def test_a_forecast_that_tells_no_rain_at_all_makes_no_night_a_wet_one() -> None:
    dry = sky(temp=12.0, dew_point_c=4.0, rain_mm=0.0, cloud=1.0)

    here, known = at(SAID, changed(dry, {"rain_mm": UNKNOWN})), at(SAID, dry)

    assert not here.wetted.any()
    np.testing.assert_array_equal(here.leaf_c, known.leaf_c)
    # The margin of what rots easily goes by this: crowns are not known to be dry.
    assert np.isnan(here.crown_wet_h).all()


def test_rain_that_another_source_knows_of_wets_the_night_that_tells_no_rain() -> None:
    evening = MIDNIGHT - 4
    rain = np.full(48, np.nan)
    rain[: evening + 1] = 0.0
    rain[evening] = 3.0
    forecast = sky(temp=12.0, dew_point_c=10.0, cloud=1.0, rain_mm=rain)

    here = at(SAID, replace(forecast, fetched_at=MAY + timedelta(hours=evening)))

    assert not here.wetted[:evening].any()
    assert here.wetted[evening : MIDNIGHT + 1].all()
    assert not here.wetted[-1]


@pytest.mark.parametrize("wind_m_s", [0.0, 0.5, 3.0, 12.0])
def test_a_wet_leaf_in_an_unknown_wind_is_no_warmer_than_in_any(wind_m_s: float) -> None:
    shower = sky(temp=12.0, dew_point_c=6.0, wind_m_s=wind_m_s)

    known, unknown = at(SAID, shower), at(SAID, changed(shower, {"wind_m_s": UNKNOWN}))

    wet = known.wetted & known.night[:, None]
    assert wet.any()
    assert (unknown.leaf_c[wet] <= known.leaf_c[wet] + 1e-9).all()


# -- season


def test_each_spot_has_the_season_of_its_own_warmth() -> None:
    """Days of 14 h: warm is growing, cold is rest, and what is not known is in between."""
    warm = Spot("warm", indoors=True, night_low_c=20.0)
    silent = Spot("silent", indoors=True)
    cool = sky(temp=daily_curve(4.0, 14.0, 240), start=JANUARY, hours=240)

    here = climate_of(
        MENDOZA, (SAID, warm, silent, replace(SAID, name="hot", day_offset_k=25.0)), cool
    )

    of_warm_growers = list(here.season[GROWS.index("warm")])
    assert of_warm_growers == [Season.REST, Season.GROWING, Season.SLOWING, Season.GROWING]


def test_no_hours_make_no_season_and_no_climate() -> None:
    here = climate_of(MENDOZA, (SAID, WARM_ROOM), weather(MAY, np.empty(0)))

    assert (here.season == Season.SLOWING).all()
    assert here.season.shape == (len(GROWS), 2)
    assert all(getattr(here, name).shape == (0, 2) for name in ARRAYS)
    nothing = film_air(here, np.array([MAY.timestamp()]))
    assert np.isnan(nothing.temp_c).all()


# -- kept


def test_a_forecast_with_other_remarks_has_the_climate_that_it_had() -> None:
    forecast, spots = sky(), (SAID, WARM_ROOM)
    hourly = climate_of(MENDOZA, spots, forecast)
    by_night = climate_by_night(MENDOZA, hourly, forecast)

    said = replace(forecast, remarks=(NoForecast(),))
    assert climate_of(MENDOZA, spots, said) is hourly
    assert climate_by_night(MENDOZA, hourly, said) is by_night
    warmer = replace(forecast, temp_c=forecast.temp_c + 1.0)
    assert climate_of(MENDOZA, spots, warmer).temp_c[0, 0] > hourly.temp_c[0, 0]
    later = replace(forecast, fetched_at=forecast.fetched_at + timedelta(hours=1))
    assert climate_of(MENDOZA, spots, later) is not hourly


# -- the unknown


@pytest.mark.parametrize(
    ("name", "lost", "kept"),
    [
        ("temp_c", ("temp_c", "leaf_c", "vpd_kpa", "rh_pct", "crown_wet_h"), ("wind_m_s", "ppfd")),
        ("dew_point_c", ("vapour_kpa", "vpd_kpa", "rh_pct", "crown_wet_h"), ("temp_c", "leaf_c")),
        ("wind_m_s", ("wind_m_s", "crown_wet_h"), ("temp_c", "leaf_c", "gust_m_s", "vpd_kpa")),
        ("gust_m_s", ("gust_m_s",), ("wind_m_s", "leaf_c", "crown_wet_h")),
        ("cloud", (), ("leaf_c", "crown_wet_h", "net_w_m2")),
        ("rain_mm", ("rain_mm", "crown_wet_h"), ("leaf_c", "vpd_kpa", "hail_pct")),
        ("direct_w_m2", ("light_w_m2", "ppfd", "net_w_m2", "crown_wet_h"), ("leaf_c", "temp_c")),
        ("diffuse_w_m2", ("light_w_m2", "ppfd", "net_w_m2", "crown_wet_h"), ("leaf_c", "temp_c")),
        ("hail_pct", ("hail_pct",), ("rain_mm", "leaf_c")),
    ],
)
def test_a_long_gap_goes_through_and_no_further(
    name: str, lost: tuple[str, ...], kept: tuple[str, ...]
) -> None:
    forecast = sky()
    gap = np.zeros(48, dtype=bool)
    gap[15:19] = True  # in the sun, so that light is missed too

    holes = np.where(gap, np.nan, getattr(forecast, name))
    here = at(SAID, changed(forecast, {name: holes}))

    for series in lost:
        assert np.isnan(getattr(here, series)[gap]).all(), series
        assert np.isfinite(getattr(here, series)[~gap]).all(), series
    for series in kept:
        assert np.isfinite(getattr(here, series)).all(), series


def test_two_missing_hours_of_air_are_bridged_and_rain_is_not() -> None:
    forecast = sky(temp=np.arange(48.0))
    holes = {name: getattr(forecast, name).copy() for name in SERIES}
    for series in holes.values():
        series[25:27] = np.nan

    here = at(SAID, changed(forecast, holes))

    np.testing.assert_allclose(here.temp_c[:, 0], np.arange(48.0))
    assert np.isnan(here.rain_mm[25:27]).all()
    assert np.isnan(here.crown_wet_h[25:27]).all()


def test_unknown_cloud_wind_and_damp_make_the_colder_leaf() -> None:
    known = at(SAID, sky(cloud=0.3, wind_m_s=1.0, rain_mm=0.0))
    for name in ("cloud", "wind_m_s", "dew_point_c"):
        series: dict[str, Any] = {"cloud": 0.3, "wind_m_s": 1.0, "rain_mm": 0.0, name: np.nan}
        unknown = at(SAID, sky(**series))

        assert (unknown.leaf_c[known.night] < known.leaf_c[known.night]).all(), name


# -- all spots at once

shares = st.one_of(st.none(), st.floats(0, 1))
offsets = st.one_of(st.none(), st.floats(-5, 5))
windows = st.one_of(
    st.none(),
    st.lists(
        st.builds(SunWindow, st.floats(0, 360), st.floats(0, 360), st.floats(0, 45)), max_size=2
    ).map(tuple),
)
outdoors = st.builds(
    Spot,
    st.just("out"),
    sky_view=shares,
    wind=shares,
    shade=st.floats(0, 1),
    rain=shares,
    height_m=st.floats(0.2, 12),
    sun_windows=windows,
    night_offset_k=offsets,
    day_offset_k=offsets,
)
indoors = st.builds(
    Spot,
    st.just("in"),
    indoors=st.just(True),
    night_offset_k=offsets,
    night_low_c=st.one_of(st.none(), st.floats(0, 25)),
    day_low_c=st.one_of(st.none(), st.floats(0, 30)),
    humidity_pct=st.one_of(st.none(), st.floats(5, 100)),
)
spots = st.lists(st.one_of(outdoors, indoors), min_size=1, max_size=4).map(
    lambda drawn: tuple(replace(spot, name=f"{index}") for index, spot in enumerate(drawn))
)
seeds = st.integers(0, 2**32 - 1)


def any_sky(seed: int, hours: int = 48) -> Weather:
    """Any weather with gaps in it."""
    random = np.random.default_rng(seed)
    low = random.uniform(-5, 20)
    temp = daily_curve(low, low + random.uniform(0, 18), hours) + random.normal(0, 1, hours)
    forecast = sky(
        temp,
        hours=hours,
        dew_point_c=temp - random.uniform(-2, 15, hours),
        wind_m_s=random.exponential(1.5, hours),
        gust_m_s=random.exponential(4.0, hours),
        cloud=random.uniform(0, 1, hours),
        rain_mm=np.where(random.random(hours) < 0.2, random.exponential(1.0, hours), 0.0),
        hail_pct=np.where(random.random(hours) < 0.05, 100.0, 0.0),
    )
    gone = {name: random.random(hours) < random.choice([0.0, 0.1]) for name in SERIES}
    return changed(
        forecast, {name: np.where(gone[name], np.nan, getattr(forecast, name)) for name in SERIES}
    )


@few
@given(here=spots, seed=seeds)
def test_spots_together_are_what_each_is_alone(here: tuple[Spot, ...], seed: int) -> None:
    forecast = any_sky(seed)
    together = climate_of(MENDOZA, here, forecast)

    for column, spot in enumerate(here):
        alone = at(spot, forecast)
        assert together.column(spot.name) == column
        assert list(together.season[:, column]) == list(alone.season[:, 0])
        np.testing.assert_allclose(together.mean_c[column], alone.mean_c[0], atol=1e-9)
        for name in ARRAYS:
            np.testing.assert_allclose(
                getattr(together, name)[:, column],
                getattr(alone, name)[:, 0],
                atol=1e-6,
                err_msg=name,
            )


@few
@given(here=spots, seed=seeds, more=st.floats(0, 1))
def test_deficits_are_never_negative_and_more_cloth_is_never_more_light(
    here: tuple[Spot, ...], seed: int, more: float
) -> None:
    forecast = any_sky(seed)
    plain = climate_of(MENDOZA, here, forecast)
    shaded = tuple(replace(spot, shade=spot.shade + more * (1 - spot.shade)) for spot in here)
    cloth = climate_of(MENDOZA, shaded, forecast)

    for deficit in (plain.vpd_kpa, plain.leaf_vpd_kpa):
        assert ((deficit >= 0) | np.isnan(deficit)).all()
    assert ((plain.rh_pct <= 100) | np.isnan(plain.rh_pct)).all()
    for name in ("light_w_m2", "ppfd", "leaf_c", "net_w_m2"):
        less, was = getattr(cloth, name), getattr(plain, name)
        np.testing.assert_array_equal(np.isnan(less), np.isnan(was))
        assert (np.isnan(less) | (less <= was + 1e-6)).all(), name
    day, under_cloth = (daily_light_integral(climate.light_w_m2[:24]) for climate in (plain, cloth))
    assert (np.isnan(day) | ((under_cloth >= 0) & (under_cloth <= day + 1e-9))).all()


@few
@given(here=spots, seed=seeds)
def test_a_leaf_by_night_is_never_above_its_air(here: tuple[Spot, ...], seed: int) -> None:
    # Light that lasts all night, as the mean of the hour of sunset does for a while.
    lit = changed(any_sky(seed), {"diffuse_w_m2": np.full(48, 200.0)})
    climate = climate_of(MENDOZA, here, lit)

    apart = (climate.leaf_c - climate.temp_c)[climate.night]
    np.testing.assert_array_equal(np.isnan(climate.leaf_c), np.isnan(climate.temp_c))
    assert (np.isnan(apart) | (apart <= 1e-9)).all()


# -- between the hours


def test_air_between_hours_is_in_between_and_sunlight_is_of_its_hour() -> None:
    here = at(OPEN_BENCH, sky(temp=np.arange(48.0)))
    moments = here.times[NOON] + np.array([-3600, -1800, 0])

    between = film_air(here, moments)

    np.testing.assert_allclose(between.temp_c[:, 0], [NOON - 1.0, NOON - 0.5, NOON])
    net = here.net_w_m2[:, 0]
    np.testing.assert_array_equal(between.net_w_m2[:, 0], [net[NOON - 1], net[NOON], net[NOON]])


def test_outside_the_forecast_and_beside_a_gap_nothing_is_known() -> None:
    temp = np.arange(48.0)
    temp[20:24] = np.nan
    here = at(OPEN_BENCH, sky(temp=temp))
    moments = np.array([here.times[0] - 1, here.times[-1] + 1, here.times[24] - 60])

    assert np.isnan(film_air(here, moments).temp_c).all()
    # On the hour itself the hour before need not be known.
    assert film_air(here, here.times[24:25]).temp_c[0, 0] == 24.0


def test_how_slowly_crowns_dry_is_the_growers_to_say() -> None:
    # Air that never changes, two hours of rain: the film on leaves dries at one rate.
    rain = np.zeros(96)
    rain[40:42] = 3.0
    steady = weather(MAY, np.full(96, 14.0), rain_mm=rain, cloud=1.0, dew_point_c=6.0)

    def wet_h(factor: float) -> float:
        habits = Habits(axil_factor=factor)
        scene = Scene(collection(habits=habits), steady, {}, utc("2026-05-14T15:00"))
        return float(scene.climate.rain_wet_h[:, 0].max())

    open_film, three_times = wet_h(1.0), wet_h(3.0)
    assert open_film >= 3.0
    assert three_times - 2.0 == pytest.approx(3.0 * (open_film - 2.0), abs=3.0)
    assert open_film < wet_h(1.5) < three_times
