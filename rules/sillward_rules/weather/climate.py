"""The climate of each spot: what the forecast becomes where the plants stand."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from sillward_rules.arrays import Array
from sillward_rules.physics import air, surface
from sillward_rules.physics.crown_wetness import (
    AXIL_FACTOR,
    crown_water,
    hours_up_to,
    hours_wet,
    hours_wet_by_rain,
    rained_on,
)
from sillward_rules.physics.leaf import leaf_temperature
from sillward_rules.physics.surface import ABSORPTANCE, CALM_WIND_M_S, GROUND_ALBEDO, LEAF
from sillward_rules.physics.water_film import FilmAir, evaporation
from sillward_rules.weather import sun
from sillward_rules.weather.cloud import warming_cover
from sillward_rules.weather.hourly import (
    CLOUD_LAYERS,
    Weather,
    at_moments,
    between,
    bridge_gaps,
    moment,
)
from sillward_rules.weather.light import ppfd, through_windows
from sillward_rules.weather.offset import night_offset_shares, night_shares, offsets, weather_share
from sillward_rules.weather.season import GROWS, Season, day_length_h, running_mean_c, season_of
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import DEFAULT_RAIN, DEFAULT_SKY_VIEW, DEFAULT_WIND, Spot

NIGHT_STEP_S = 900
"""A night is looked at every so many seconds. Judgement: a leaf answers wind and cloud in minutes,
but a forecast knows nothing finer than an hour; in a quarter of one it moves some 0.3 K at most."""

DRY_AIR_RH_PCT = 20.0
"""Humidity assumed for the night sky where the forecast gives none: dry air, the colder case."""

STRONG_WIND_M_S = 30.0
"""Wind at a wet leaf where nobody knows it and it makes the colder case [m/s]: the wet bulb."""


@dataclass(frozen=True, slots=True, eq=False)
class Climate:
    """What each spot goes through, by moments. Arrays are (time, spot) unless said otherwise.

    times (time,) unix seconds; night (time,) mask; temp_c, leaf_c [°C]; vapour_kpa, vpd_kpa,
    leaf_vpd_kpa [kPa]; rh_pct [%]; wind_m_s, gust_m_s at the plants; light_w_m2 sunlight that
    reaches the plants, ppfd the same in quanta [umol m-2 s-1], means of the hour that ends at the
    time; rain_mm, hail_pct (100 where hail is forecast) likewise; crown_wet_h how long a crown
    has been wet [h], by rain or dew, rain_wet_h if rain has a part in it; wet_bulb_k how far the
    wet bulb is under the air [K]; wetted, leaf_wet masks: plants are wet with rain, or may be for
    all we know, and their leaves are judged as wet surfaces; offset_k what was added to the
    forecast's temperature [K], offset_share how much of the night offset wind and cloud leave
    (0..1), both NaN where a spot holds itself; net_w_m2 net radiation of a unit of wetted surface
    at air temperature. season (class, spot) of `Season`, for each of GROWS: of the days that the
    weather covers.
    """

    spots: tuple[Spot, ...]
    times: np.ndarray
    night: np.ndarray
    temp_c: Array
    leaf_c: Array
    vapour_kpa: Array
    rh_pct: Array
    vpd_kpa: Array
    leaf_vpd_kpa: Array
    wind_m_s: Array
    gust_m_s: Array
    light_w_m2: Array
    ppfd: Array
    rain_mm: Array
    hail_pct: Array
    crown_wet_h: Array
    rain_wet_h: Array
    wet_bulb_k: Array
    wetted: np.ndarray
    leaf_wet: np.ndarray
    offset_k: Array
    offset_share: Array
    net_w_m2: Array
    pressure_kpa: float
    season: NDArray[np.object_]

    def column(self, name: str) -> int:
        """Index of a spot on axis 1."""
        return next(i for i, spot in enumerate(self.spots) if spot.name == name)


def climate_of(
    site: Site, spots: Sequence[Spot], weather: Weather, *, axil_factor: float = AXIL_FACTOR
) -> Climate:
    """Work out the climate of every spot. Work is done once per spot, whatever stands there.

    axil_factor : how much slower than an open film a crown dries.
    """
    return _climate_of(site, tuple(spots), weather, axil_factor)


# The rounds of a day look at one forecast several times, at a change at two; a weather is known by
# its identity. What is kept here a daemon keeps for as long as it runs.
@lru_cache(maxsize=2)
def _climate_of(
    site: Site, spots: tuple[Spot, ...], weather: Weather, axil_factor: float
) -> Climate:
    return _worked_out(site, spots, weather, axil_factor, None)


def climate_by_night(site: Site, hourly: Climate, weather: Weather) -> Climate:
    """The same climate by the hour of the day and by the quarter of an hour at night.

    Nights with sunset and sunrise themselves, on until their limits no longer hold: what air, sky
    and wind are in between is interpolated, and the leaf worked out from that. Rain and hail are
    those of the hour that a moment lies in; light is the lesser of that hour's and of the one
    before, so that no leaf is warmed by a sun that is not up yet.
    hourly : the climate of this weather at its full hours.
    """
    return _climate_by_night(site, hourly, weather)


@lru_cache(maxsize=2)
def _climate_by_night(site: Site, hourly: Climate, weather: Weather) -> Climate:
    at = sun.moments_of_nights(site, weather.times, NIGHT_STEP_S)
    return _worked_out(site, hourly.spots, at_moments(weather, at), AXIL_FACTOR, hourly)


def _worked_out(
    site: Site,
    spots: tuple[Spot, ...],
    weather: Weather,
    axil_factor: float,
    hourly: Climate | None,
) -> Climate:
    """The climate at the moments of a weather; what goes on from hour to hour as in `hourly`."""
    night = sun.is_night(site, weather.times)
    pressure = float(air.pressure_at(site.elevation_m))
    held = np.array([spot.holds_itself for spot in spots], dtype=bool)
    early, late = night_shares(site, weather.times)
    cloud, warming = _cloud(weather)
    left = weather_share(bridge_gaps(weather.wind_m_s), cloud, warming)
    shares = night_offset_shares(spots, left)
    offset = offsets(spots, shares, early, late)
    temp = np.where(
        held,
        _held_temperature(spots, night),
        bridge_gaps(weather.temp_c)[:, None] + offset,
    )
    vapour = np.where(held, _held_vapour(spots, temp), _vapour(weather, temp))
    blown = wind_at_height(
        bridge_gaps(weather.wind_m_s)[:, None], _each(spots, lambda spot: spot.height_m)
    )
    share = _wind_share(spots)
    wind = np.maximum(np.where(held | (share == 0), 0.0, blown * share), CALM_WIND_M_S)
    if hourly is None:
        light = np.where(held, np.nan, _light(site, spots, weather, night))
    else:
        light = _lesser(hourly.times, hourly.light_w_m2, weather.times)
    # Unknown air, cloud and wind are taken as dry, clear and calm: the colder case.
    sky_vapour = np.where(np.isfinite(vapour), vapour, air.vapour_pressure(temp, DRY_AIR_RH_PCT))
    warming = np.nan_to_num(warming, nan=0.0)[:, None]
    seen = _each(spots, _sky_seen)
    loss = surface.sky_loss(temp, sky_vapour, warming, seen)
    # Both faces are wet: each unit of wetted area has half of what the leaf takes in and loses.
    net = np.where(held, 0.0, 0.5 * (ABSORPTANCE * light * (1.0 + GROUND_ALBEDO) - loss))
    open_to_rain = _each(spots, _rain_share)
    under_sky = ~held & (open_to_rain > 0)
    rain = np.where(~under_sky, 0.0, weather.rain_mm[:, None] * open_to_rain)
    if hourly is None:
        rate = evaporation(FilmAir(temp, vapour, wind, net, pressure), LEAF)
        water = crown_water(rain, rate, factor=axil_factor)
        wet = np.where(held, 0.0, hours_wet(water))
        by_rain, season = hours_wet_by_rain(wet, rain), _seasons(site, weather, temp)
        # An hour of unknown rain may have wetted leaves. A forecast that tells no rain at all is
        # not taken at its worst, for that would make every night some kelvins colder, and whoever
        # carries in for nothing soon follows no order. It is told with the forecast, and crowns
        # of plants that rot easily, which are not known to be dry, keep their margin.
        if not _tells_rain(weather):
            known = np.nan_to_num(rain, nan=0.0)
            wetted = under_sky & rained_on(crown_water(known, rate, factor=axil_factor), known)
        else:
            wetted = under_sky & rained_on(water, rain)
    else:
        wet = hours_up_to(hourly.times, hourly.crown_wet_h, weather.times)
        by_rain = hours_up_to(hourly.times, hourly.rain_wet_h, weather.times)
        season = hourly.season
        wetted = _either(hourly.times, hourly.wetted, weather.times)
    shone_on = _sunlit(spots) & ~night[:, None] & np.isfinite(light)
    # By day a wet leaf is soon a dry one, and that is the warmer case.
    wet_leaf = wetted & (early[:, None] > 0)

    def leaf_in(wind_m_s: Array) -> Array:
        return leaf_temperature(
            temp,
            sky_vapour,
            wind_m_s,
            warming,
            seen,
            np.where(shone_on, light, 0.0),
            pressure_kpa=pressure,
            wet=wet_leaf,
        )

    leaf = leaf_in(np.nan_to_num(wind, nan=CALM_WIND_M_S))
    if np.any(np.isnan(wind) & wet_leaf):
        # A wet leaf may be coldest in a wind, as wet bulbs are, or in still air under the sky.
        leaf = np.minimum(leaf, leaf_in(np.nan_to_num(wind, nan=STRONG_WIND_M_S)))
    # By day a leaf is worked out only where it is known when the sun reaches it. Elsewhere it is
    # as warm as the air once the night has faded: no sun has warmed it at the moment of sunrise.
    faded = np.where(early[:, None] == 1.0, leaf, temp - early[:, None] * (temp - leaf))
    leaf = np.where(held, temp, np.where(shone_on, leaf, faded))
    return Climate(
        spots=spots,
        times=weather.times,
        night=night,
        temp_c=temp,
        leaf_c=leaf,
        vapour_kpa=vapour,
        rh_pct=air.relative_humidity(temp, vapour),
        vpd_kpa=air.vapour_pressure_deficit(temp, vapour),
        leaf_vpd_kpa=air.vapour_pressure_deficit(leaf, vapour),
        wind_m_s=wind,
        gust_m_s=np.where(held, 0.0, _gusts(spots, weather)),
        light_w_m2=light,
        ppfd=ppfd(light),
        rain_mm=rain,
        hail_pct=np.where(~under_sky, 0.0, weather.hail_pct[:, None]),
        crown_wet_h=wet,
        rain_wet_h=by_rain,
        wet_bulb_k=temp - air.wet_bulb(temp, vapour, pressure),
        wetted=wetted,
        leaf_wet=wet_leaf,
        offset_k=np.where(held, np.nan, offset),
        offset_share=np.where(held, np.nan, shares),
        net_w_m2=net,
        pressure_kpa=pressure,
        season=season,
    )


def _each(spots: Sequence[Spot], of: Callable[[Spot], float | None]) -> Array:
    """(spot,) a number of every spot; NaN where it is not given."""
    return np.array([np.nan if of(spot) is None else of(spot) for spot in spots], dtype=np.float64)


def _sunlit(spots: Sequence[Spot]) -> np.ndarray:
    return np.array([spot.sunlit for spot in spots], dtype=bool)


def _sky_seen(spot: Spot) -> float:
    if spot.indoors:
        return 0.0
    return DEFAULT_SKY_VIEW if spot.sky_view is None else spot.sky_view


def _rain_share(spot: Spot) -> float:
    if spot.indoors:
        return 0.0
    return DEFAULT_RAIN if spot.rain is None else spot.rain


def _wind_share(spots: Sequence[Spot]) -> Array:
    def share(spot: Spot) -> float:
        if spot.wind is None:
            return 0.0 if spot.indoors else DEFAULT_WIND
        return spot.wind

    return _each(spots, share)


def _cloud(weather: Weather) -> tuple[Array, Array]:
    """The cover of the sky (time,), and how much of it warms like low cloud; short gaps bridged."""
    cloud = bridge_gaps(weather.cloud)
    layers = (bridge_gaps(getattr(weather, name)) for name in CLOUD_LAYERS)
    return cloud, warming_cover(cloud, *layers)


def _vapour(weather: Weather, temp_c: Array) -> Array:
    """Correcting the temperature keeps the water in the air: vapour pressure, not humidity."""
    vapour = air.saturation_vapour_pressure(bridge_gaps(weather.dew_point_c))[:, None]
    return np.minimum(vapour, air.saturation_vapour_pressure(temp_c))


def _held_temperature(spots: Sequence[Spot], night: np.ndarray) -> Array:
    by_night = _each(spots, lambda spot: spot.night_low_c)
    by_day = _each(spots, lambda spot: spot.day_low_c)
    return np.where(night[:, None] | np.isnan(by_day), by_night, by_day)


def _held_vapour(spots: Sequence[Spot], temp_c: Array) -> Array:
    return air.vapour_pressure(temp_c, _each(spots, lambda spot: spot.humidity_pct))


def _gusts(spots: Sequence[Spot], weather: Weather) -> Array:
    """Gusts at the plants: brought to their height like the wind, and sheltered like it."""
    height = _each(spots, lambda spot: spot.height_m)
    return wind_at_height(weather.gust_m_s[:, None], height) * _wind_share(spots)


def _light(site: Site, spots: Sequence[Spot], weather: Weather, night: np.ndarray) -> Array:
    """Sunlight at the spots [W/m2]: the beam through their windows, the sky's by their view."""
    # The hour that ends at a time has the sun of its middle.
    # Where there is no beam nobody asks where the sun is.
    dark = (weather.direct_w_m2 == 0) & np.isfinite(weather.diffuse_w_m2)
    azimuth, elevation = np.zeros(dark.shape), np.full(dark.shape, -90.0)
    azimuth[~dark], elevation[~dark] = sun.positions(site, weather.times[~dark] - 1800)
    reaches = np.ones((weather.times.size, len(spots)), dtype=bool)
    for column, spot in enumerate(spots):
        if spot.sun_windows is not None:
            reaches[:, column] = through_windows(spot.sun_windows, azimuth, elevation)
    sky = _each(spots, lambda spot: DEFAULT_SKY_VIEW if spot.sky_view is None else spot.sky_view)
    beam = np.where(reaches, bridge_gaps(weather.direct_w_m2)[:, None], 0.0)
    through = 1.0 - _each(spots, lambda spot: spot.shade)
    light = through * (beam + sky * bridge_gaps(weather.diffuse_w_m2)[:, None])
    # Unknown light of the night is none.
    unlit = (night | (elevation < sun.HORIZON_DEG))[:, None]
    return np.asarray(np.where(unlit & np.isnan(light), 0.0, light))


def _tells_rain(weather: Weather) -> bool:
    """Whether a forecast knows the rain of any hour after it was fetched."""
    ahead = weather.times > weather.fetched_at.timestamp()
    return not ahead.any() or bool(np.isfinite(weather.rain_mm[ahead]).any())


def _lesser(times: np.ndarray, of_hour: Array, at: Array) -> Array:
    """Of means of hours (time, spot), at moments (moment,): that of the hour or of the one before.

    The lesser of both; at a full hour its own.
    """
    rows = np.searchsorted(times, at, side="left")
    before = np.where(times[rows] == at, rows, rows - 1)
    return np.asarray(np.minimum(of_hour[before], of_hour[rows]))


def _either(times: np.ndarray, wetted: np.ndarray, at: Array) -> np.ndarray:
    """Of a mask of hours (time, spot), at moments: of the hour that ends then or of the last."""
    rows = np.searchsorted(times, at, side="left")
    before = np.where(times[rows] == at, rows, rows - 1)
    return np.asarray(wetted[before] | wetted[rows])


def _seasons(site: Site, weather: Weather, temp_c: Array) -> NDArray[np.object_]:
    """(class, spot) the season for each of GROWS at each spot, from the whole of the weather and
    the day in its middle."""
    if weather.times.size == 0:
        return np.full((len(GROWS), temp_c.shape[1]), Season.SLOWING, dtype=np.object_)
    row = weather.times.size // 2
    length = day_length_h(site, site.local_date(moment(weather.times[row])))
    means = running_mean_c(weather.times, temp_c, float(weather.times[row]))
    return np.stack([season_of(length, means, grows) for grows in GROWS])


def wind_at_height(wind_10m_m_s: Array, height_m: Array | float) -> Array:
    """Open-field wind [m/s] at a height from that at 10 m; FAO-56 eq. 47 used twice."""
    return np.asarray(
        wind_10m_m_s * np.log(67.8 * np.asarray(height_m) - 5.42) / np.log(67.8 * 10 - 5.42)
    )


def film_air(climate: Climate, unix_seconds: np.ndarray) -> FilmAir:
    """The air at wetted surfaces of every spot at any moments (time,): arrays (time, spot).

    Instants are interpolated between the hours; what is a mean of the hour before is held over
    that hour. Outside the climate's hours everything is NaN.
    """
    times = climate.times
    net = np.full((unix_seconds.size, len(climate.spots)), np.nan)
    if times.size:
        rows = np.searchsorted(times, unix_seconds, side="left")
        inside = ((rows < times.size) & (unix_seconds >= times[0]))[:, None]
        net = np.where(inside, climate.net_w_m2[np.minimum(rows, times.size - 1)], np.nan)
    return FilmAir(
        temp_c=between(times, climate.temp_c, unix_seconds),
        vapour_kpa=between(times, climate.vapour_kpa, unix_seconds),
        wind_m_s=between(times, climate.wind_m_s, unix_seconds),
        net_w_m2=net,
        pressure_kpa=climate.pressure_kpa,
    )
