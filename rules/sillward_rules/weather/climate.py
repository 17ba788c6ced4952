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
"""Step in which a night is looked at [s]. Judgement: a leaf follows wind and cloud in minutes, but
a forecast knows nothing finer than an hour; in a quarter of one it moves some 0.3 K at most."""

DRY_AIR_RH_PCT = 20.0
"""Humidity assumed for the night sky where the forecast gives none [%]: the colder case."""

STRONG_WIND_M_S = 30.0
"""Wind at a wet leaf where it is not known and makes the colder case [m/s]: the wet bulb."""


@dataclass(frozen=True, slots=True, eq=False)
class Climate:
    """The climate of each spot, by moments. Arrays are (time, spot) unless said otherwise.

    times (time,) : unix seconds. night (time,) : mask.
    temp_c, leaf_c [°C], vapour_kpa, vpd_kpa, leaf_vpd_kpa [kPa], rh_pct [%] : air and leaf.
    wind_m_s, gust_m_s : at the plants [m/s].
    light_w_m2, ppfd : sunlight that reaches the plants [W/m2], and the same in quanta
    [umol m-2 s-1]; means of the hour that ends at the time.
    rain_mm, hail_pct : of that hour; 100 where hail is forecast.
    crown_wet_h, rain_wet_h : how long a crown has been wet [h], by rain or dew; the latter 0 unless
    rain has a part in it.
    wet_bulb_k : how far the wet bulb is below the air [K].
    wetted, leaf_wet : masks; plants are wet with rain, or may be, and their leaves are judged as
    wet surfaces.
    offset_k, offset_share : what was added to the forecast's temperature [K], and the share of the
    night offset that wind and cloud leave (0..1); NaN where a spot has a climate of its own.
    net_w_m2 : net radiation of a unit of wetted surface at air temperature [W/m2].
    season (class, spot) : `Season` of each of GROWS, of the days that the weather covers.
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
        """Return the index of a spot on axis 1."""
        return next(i for i, spot in enumerate(self.spots) if spot.name == name)


def climate_of(
    site: Site, spots: Sequence[Spot], weather: Weather, *, axil_factor: float = AXIL_FACTOR
) -> Climate:
    """Work out the climate of every spot, whatever stands there.

    axil_factor : how much slower than an open film a crown dries.
    """
    return _climate_of(site, tuple(spots), weather, axil_factor)


# The rounds of a day look at one forecast several times, and at a change at two. A weather is known
# by its identity. A daemon keeps what is cached here for as long as it runs.
@lru_cache(maxsize=2)
def _climate_of(
    site: Site, spots: tuple[Spot, ...], weather: Weather, axil_factor: float
) -> Climate:
    return _work_out(site, spots, weather, axil_factor, None)


def climate_by_night(site: Site, hourly: Climate, weather: Weather) -> Climate:
    """Return the same climate by the hour of the day and by the quarter of an hour at night.

    Nights include sunset and sunrise themselves and go on until their limits no longer hold. Air,
    sky and wind are interpolated between the hours, and the leaf is worked out from that. Rain and
    hail are those of the hour that a moment lies in. Light is the lesser of that hour's and of the
    one before, so that no leaf is warmed by a sun that is not up yet.

    hourly : the climate of this weather at its full hours.
    """
    return _climate_by_night(site, hourly, weather)


@lru_cache(maxsize=2)
def _climate_by_night(site: Site, hourly: Climate, weather: Weather) -> Climate:
    at = sun.moments_of_nights(site, weather.times, NIGHT_STEP_S)
    return _work_out(site, hourly.spots, at_moments(weather, at), AXIL_FACTOR, hourly)


# Long because each series follows from those before it, and the result lists two dozen of them.
def _work_out(
    site: Site,
    spots: tuple[Spot, ...],
    weather: Weather,
    axil_factor: float,
    hourly: Climate | None,
) -> Climate:
    """Return the climate at the moments of a weather.

    hourly : the climate at full hours, if these moments lie between them. Water on the plants,
    which builds up from hour to hour, and the season are taken from it.
    """
    night = sun.is_night(site, weather.times)
    night_share = night_shares(site, weather.times)
    pressure = float(air.pressure_at(site.elevation_m))
    held = np.array([spot.holds_itself for spot in spots], dtype=bool)
    at_spots = _air_at_spots(spots, weather, held, night, night_share)
    temp, vapour = at_spots.temp_c, at_spots.vapour_kpa
    if hourly is None:
        light = np.where(held, np.nan, _light(site, spots, weather, night))
    else:
        light = _lesser(hourly.times, hourly.light_w_m2, weather.times)
    sky = _sky_over(spots, at_spots)
    net = np.where(held, 0.0, _net_radiation(light, sky))
    open_to_rain = _per_spot(spots, _rain_share)
    under_sky = ~held & (open_to_rain > 0)
    rain = np.where(~under_sky, 0.0, weather.rain_mm[:, None] * open_to_rain)
    if hourly is None:
        rate = evaporation(FilmAir(temp, vapour, at_spots.wind_m_s, net, pressure), LEAF)
        wet = _wetness_by_hour(rain, rate, axil_factor, held, under_sky, _tells_rain(weather))
        season = _seasons(site, weather, temp)
    else:
        wet, season = _wetness_between(hourly, weather.times), hourly.season
    # A wet leaf soon dries by day, and a dry leaf is the warmer case.
    wet_leaf = wet.wetted & (night_share[0][:, None] > 0)
    sunlit = _sunlit(spots) & ~night[:, None] & np.isfinite(light)
    leaf = _leaf(at_spots, sky, np.where(sunlit, light, 0.0), wet_leaf, pressure)
    leaf = np.where(held, temp, _faded(leaf, temp, sunlit, night_share[0][:, None]))
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
        wind_m_s=at_spots.wind_m_s,
        gust_m_s=np.where(held, 0.0, _gusts(spots, weather)),
        light_w_m2=light,
        ppfd=ppfd(light),
        rain_mm=rain,
        hail_pct=np.where(~under_sky, 0.0, weather.hail_pct[:, None]),
        crown_wet_h=wet.crown_h,
        rain_wet_h=wet.by_rain_h,
        wet_bulb_k=temp - air.wet_bulb(temp, vapour, pressure),
        wetted=wet.wetted,
        leaf_wet=wet_leaf,
        offset_k=np.where(held, np.nan, at_spots.offset_k),
        offset_share=np.where(held, np.nan, at_spots.offset_share),
        net_w_m2=net,
        pressure_kpa=pressure,
        season=season,
    )


# -- air


@dataclass(frozen=True, slots=True, eq=False)
class _AirAtSpots:
    """The air at each spot (time, spot), units as in `Climate`; warming (time,) : the cover of low
    cloud that would warm the ground as all the cloud does, 0 to 1."""

    temp_c: Array
    vapour_kpa: Array
    wind_m_s: Array
    offset_k: Array
    offset_share: Array
    warming: Array


def _air_at_spots(
    spots: Sequence[Spot],
    weather: Weather,
    held: np.ndarray,
    night: np.ndarray,
    night_share: tuple[Array, Array],
) -> _AirAtSpots:
    wind_10m = bridge_gaps(weather.wind_m_s)
    cloud = bridge_gaps(weather.cloud)
    layers = (bridge_gaps(getattr(weather, name)) for name in CLOUD_LAYERS)
    warming = warming_cover(cloud, *layers)
    offset_share = night_offset_shares(spots, weather_share(wind_10m, cloud, warming))
    offset = offsets(spots, offset_share, *night_share)
    outside = bridge_gaps(weather.temp_c)[:, None] + offset
    temp = np.where(held, _held_temperature(spots, night), outside)
    vapour = np.where(held, _held_vapour(spots, temp), _vapour(weather, temp))
    height = _per_spot(spots, lambda spot: spot.height_m)
    share = _wind_share(spots)
    sheltered = wind_at_height(wind_10m[:, None], height) * share
    wind = np.maximum(np.where(held | (share == 0), 0.0, sheltered), CALM_WIND_M_S)
    return _AirAtSpots(temp, vapour, wind, offset, offset_share, warming)


def _per_spot(spots: Sequence[Spot], of: Callable[[Spot], float | None]) -> Array:
    """(spot,) a number of every spot; NaN where it is not given."""
    return np.array([np.nan if of(spot) is None else of(spot) for spot in spots], dtype=np.float64)


def _vapour(weather: Weather, temp_c: Array) -> Array:
    """Return the vapour pressure [kPa]: correcting the temperature leaves it as it is."""
    vapour = air.saturation_vapour_pressure(bridge_gaps(weather.dew_point_c))[:, None]
    return np.minimum(vapour, air.saturation_vapour_pressure(temp_c))


def _held_temperature(spots: Sequence[Spot], night: np.ndarray) -> Array:
    by_night = _per_spot(spots, lambda spot: spot.night_low_c)
    by_day = _per_spot(spots, lambda spot: spot.day_low_c)
    return np.where(night[:, None] | np.isnan(by_day), by_night, by_day)


def _held_vapour(spots: Sequence[Spot], temp_c: Array) -> Array:
    return air.vapour_pressure(temp_c, _per_spot(spots, lambda spot: spot.humidity_pct))


def _wind_share(spots: Sequence[Spot]) -> Array:
    """(spot,) the share of the open-field wind that reaches the plants."""

    def share(spot: Spot) -> float:
        if spot.wind is None:
            return 0.0 if spot.indoors else DEFAULT_WIND
        return spot.wind

    return _per_spot(spots, share)


def _gusts(spots: Sequence[Spot], weather: Weather) -> Array:
    """Return gusts at the plants [m/s], brought to their height and sheltered like the wind."""
    height = _per_spot(spots, lambda spot: spot.height_m)
    return wind_at_height(weather.gust_m_s[:, None], height) * _wind_share(spots)


# -- sky and light


@dataclass(frozen=True, slots=True, eq=False)
class _Sky:
    """The sky as leaves see it, where what is not known is taken as the colder case.

    vapour_kpa (time, spot), warming (time, 1), seen (spot,) : the share of it that each spot sees.
    loss_w_m2 (time, spot) : what a face at air temperature loses to it.
    """

    vapour_kpa: Array
    warming: Array
    seen: Array
    loss_w_m2: Array


def _sky_over(spots: Sequence[Spot], at_spots: _AirAtSpots) -> _Sky:
    # Unknown air, cloud and wind are taken as dry, clear and calm: the colder case.
    temp, vapour = at_spots.temp_c, at_spots.vapour_kpa
    vapour = np.where(np.isfinite(vapour), vapour, air.vapour_pressure(temp, DRY_AIR_RH_PCT))
    warming = np.nan_to_num(at_spots.warming, nan=0.0)[:, None]
    seen = _per_spot(spots, _sky_seen)
    return _Sky(vapour, warming, seen, surface.sky_loss(temp, vapour, warming, seen))


def _net_radiation(light_w_m2: Array, sky: _Sky) -> Array:
    """Return the net radiation of a unit of wetted surface at air temperature [W/m2].

    Both faces are wet: each unit of wetted area has half of what the leaf takes in and loses.
    """
    return 0.5 * (ABSORPTANCE * light_w_m2 * (1.0 + GROUND_ALBEDO) - sky.loss_w_m2)


def _sky_seen(spot: Spot) -> float:
    if spot.indoors:
        return 0.0
    return DEFAULT_SKY_VIEW if spot.sky_view is None else spot.sky_view


def _sunlit(spots: Sequence[Spot]) -> np.ndarray:
    return np.array([spot.sunlit for spot in spots], dtype=bool)


def _light(site: Site, spots: Sequence[Spot], weather: Weather, night: np.ndarray) -> Array:
    """Return sunlight at the spots [W/m2]: the beam by their windows, the sky's by their view."""
    # The hour that ends at a time has the sun of its middle.
    # Where there is no beam the sun's position does not matter.
    dark = (weather.direct_w_m2 == 0) & np.isfinite(weather.diffuse_w_m2)
    azimuth, elevation = np.zeros(dark.shape), np.full(dark.shape, -90.0)
    azimuth[~dark], elevation[~dark] = sun.positions(site, weather.times[~dark] - 1800)
    reaches = np.ones((weather.times.size, len(spots)), dtype=bool)
    for column, spot in enumerate(spots):
        if spot.sun_windows is not None:
            reaches[:, column] = through_windows(spot.sun_windows, azimuth, elevation)
    sky = _per_spot(
        spots, lambda spot: DEFAULT_SKY_VIEW if spot.sky_view is None else spot.sky_view
    )
    beam = np.where(reaches, bridge_gaps(weather.direct_w_m2)[:, None], 0.0)
    through = 1.0 - _per_spot(spots, lambda spot: spot.shade)
    light = through * (beam + sky * bridge_gaps(weather.diffuse_w_m2)[:, None])
    # Unknown light of the night is none.
    unlit = (night | (elevation < sun.HORIZON_DEG))[:, None]
    return np.asarray(np.where(unlit & np.isnan(light), 0.0, light))


def _lesser(times: np.ndarray, of_hour: Array, at: Array) -> Array:
    """Return means of hours (time, spot) at moments between them: (moment, spot).

    The lesser of the hour that a moment lies in and of the one before; at a full hour its own.
    """
    rows = np.searchsorted(times, at, side="left")
    before = np.where(times[rows] == at, rows, rows - 1)
    return np.asarray(np.minimum(of_hour[before], of_hour[rows]))


# -- water on the plants


@dataclass(frozen=True, slots=True, eq=False)
class _Wetness:
    """How wet plants are, all (time, spot): crown_wet_h, rain_wet_h and wetted of `Climate`."""

    crown_h: Array
    by_rain_h: Array
    wetted: np.ndarray


def _wetness_by_hour(
    rain_mm: Array,
    rate_mm_h: Array,
    axil_factor: float,
    held: np.ndarray,
    under_sky: np.ndarray,
    tells_rain: bool,
) -> _Wetness:
    water = crown_water(rain_mm, rate_mm_h, factor=axil_factor)
    crown_h = np.where(held, 0.0, hours_wet(water))
    by_rain_h = hours_wet_by_rain(crown_h, rain_mm)
    # An hour of unknown rain may have wetted leaves. But a forecast that tells no rain at all is
    # not taken at its worst: that would make every night some kelvins colder, and a grower who
    # often carries in for nothing soon ignores orders. The sheet says so, and crowns of plants
    # that rot easily, which are not known to be dry, keep their margin.
    if not tells_rain:
        rain_mm = np.nan_to_num(rain_mm, nan=0.0)
        water = crown_water(rain_mm, rate_mm_h, factor=axil_factor)
    return _Wetness(crown_h, by_rain_h, under_sky & rained_on(water, rain_mm))


def _wetness_between(hourly: Climate, at: Array) -> _Wetness:
    return _Wetness(
        hours_up_to(hourly.times, hourly.crown_wet_h, at),
        hours_up_to(hourly.times, hourly.rain_wet_h, at),
        _either(hourly.times, hourly.wetted, at),
    )


def _either(times: np.ndarray, wetted: np.ndarray, at: Array) -> np.ndarray:
    """Return whether a mask of hours (time, spot) holds at moments between them.

    It does if it holds in the hour that a moment lies in, or in the last full one.
    """
    rows = np.searchsorted(times, at, side="left")
    before = np.where(times[rows] == at, rows, rows - 1)
    return np.asarray(wetted[before] | wetted[rows])


def _rain_share(spot: Spot) -> float:
    if spot.indoors:
        return 0.0
    return DEFAULT_RAIN if spot.rain is None else spot.rain


def _tells_rain(weather: Weather) -> bool:
    """Whether a forecast knows the rain of any hour after it was fetched."""
    ahead = weather.times > weather.fetched_at.timestamp()
    return not ahead.any() or bool(np.isfinite(weather.rain_mm[ahead]).any())


# -- leaves


def _leaf(
    at_spots: _AirAtSpots, sky: _Sky, light_w_m2: Array, wet_leaf: np.ndarray, pressure_kpa: float
) -> Array:
    """Return the temperature of the leaf (time, spot) [°C]; unknown wind is the colder case."""

    def leaf_in(wind_m_s: Array) -> Array:
        return leaf_temperature(
            at_spots.temp_c,
            sky.vapour_kpa,
            wind_m_s,
            sky.warming,
            sky.seen,
            light_w_m2,
            pressure_kpa=pressure_kpa,
            wet=wet_leaf,
        )

    wind = at_spots.wind_m_s
    leaf = leaf_in(np.nan_to_num(wind, nan=CALM_WIND_M_S))
    if np.any(np.isnan(wind) & wet_leaf):
        # A wet leaf may be coldest in a wind, as wet bulbs are, or in still air under the sky.
        leaf = np.minimum(leaf, leaf_in(np.nan_to_num(wind, nan=STRONG_WIND_M_S)))
    return leaf


def _faded(leaf_c: Array, temp_c: Array, sunlit: np.ndarray, night_share: Array) -> Array:
    """Return the leaf as far as it is known: by day only where it is known when sun reaches it.

    Elsewhere it is as warm as the air once the night has faded, because at sunrise no sun has
    warmed it yet. night_share (time, 1) : how far it is night, 0 to 1.
    """
    faded = np.where(night_share == 1.0, leaf_c, temp_c - night_share * (temp_c - leaf_c))
    return np.where(sunlit, leaf_c, faded)


# -- seasons and films


def _seasons(site: Site, weather: Weather, temp_c: Array) -> NDArray[np.object_]:
    """(class, spot) the season of each of GROWS at each spot.

    From the whole of the weather and the day in its middle.
    """
    if weather.times.size == 0:
        return np.full((len(GROWS), temp_c.shape[1]), Season.SLOWING, dtype=np.object_)
    row = weather.times.size // 2
    length = day_length_h(site, site.local_date(moment(weather.times[row])))
    means = running_mean_c(weather.times, temp_c, float(weather.times[row]))
    return np.stack([season_of(length, means, grows) for grows in GROWS])


def wind_at_height(wind_10m_m_s: Array, height_m: Array | float) -> Array:
    """Return the open-field wind at a height from that at 10 m [m/s]; FAO-56 eq. 47 used twice."""
    return np.asarray(
        wind_10m_m_s * np.log(67.8 * np.asarray(height_m) - 5.42) / np.log(67.8 * 10 - 5.42)
    )


def film_air(climate: Climate, unix_seconds: np.ndarray) -> FilmAir:
    """Return the air at wetted surfaces of every spot at any moments: arrays (time, spot).

    unix_seconds (time,) : the moments. Instants are interpolated between the hours; means of an
    hour hold for all of that hour. Outside the climate's hours everything is NaN.
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
