"""What the weather becomes at each spot: air, wind, sky and sunlight, in arrays (time, spot)."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from sillward_rules.arrays import Array, filled
from sillward_rules.physics import air, surface
from sillward_rules.physics.surface import ABSORPTANCE, CALM_WIND_M_S, GROUND_ALBEDO
from sillward_rules.weather import sun
from sillward_rules.weather.cloud import warming_cover
from sillward_rules.weather.hourly import (
    CLOUD_LAYERS,
    Weather,
    bridge_gaps,
)
from sillward_rules.weather.indoor_nights import IndoorNights
from sillward_rules.weather.light import through_windows
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import DEFAULT_SKY_VIEW, DEFAULT_WIND, Spot
from sillward_rules.weather.spot_nights import SpotNights
from sillward_rules.weather.spot_offset import night_offset_shares, offsets, weather_share

DRY_AIR_RH_PCT = 20.0
"""Humidity assumed for the night sky where the forecast gives none [%]: the colder case."""


@dataclass(frozen=True, slots=True, eq=False)
class AirAtSpots:
    """The air at each spot.

    temp_c [°C], vapour_kpa [kPa], wind_m_s [m/s], offset_k [K], offset_share (0..1), learned_k [K]
    : (time, spot). warming (time,) : the cover of low cloud that would warm the ground as all the
    cloud does, 0..1.
    """

    temp_c: Array
    vapour_kpa: Array
    wind_m_s: Array
    offset_k: Array
    offset_share: Array
    learned_k: Array
    warming: Array


def air_at_spots(
    spots: Sequence[Spot],
    weather: Weather,
    held: np.ndarray,
    night: np.ndarray,
    night_share: tuple[Array, Array],
    indoors: IndoorNights,
    learned_nights: SpotNights,
) -> AirAtSpots:
    """Return the air at each spot, by its offsets and thermometers or by what it holds.

    held (spot,) : whether a spot has a climate of its own. night (time,) : mask. night_share : as
    of `offset.night_shares`. indoors, learned_nights : what was learned of the spots.
    """
    wind_10m = bridge_gaps(weather.wind_m_s)
    cloud = bridge_gaps(weather.cloud)
    layers = (bridge_gaps(getattr(weather, name)) for name in CLOUD_LAYERS)
    warming = warming_cover(cloud, *layers)
    offset_share = night_offset_shares(spots, weather_share(wind_10m, cloud, warming))
    learned = learned_nights.at(weather.times).bias_k
    open_air = bridge_gaps(weather.temp_c)[:, None]
    indoors_k = _indoor_offsets(spots, weather.times, open_air, night_share, indoors)
    outdoors_k = offsets(spots, offset_share, learned, *night_share)
    offset = np.where(np.isnan(indoors_k), outdoors_k, indoors_k)
    offset += departures(spots, weather.times)
    held_c = _held_temperature(spots, night, indoors.taken_c[indoors.nights.rows_at(weather.times)])
    temp = np.where(held, held_c, open_air + offset)
    vapour = np.where(held, _held_vapour(spots, temp), _vapour(weather, temp))
    height = per_spot(spots, lambda spot: spot.height_m)
    share = _wind_share(spots)
    sheltered = wind_at_height(wind_10m[:, None], height) * share
    wind = np.maximum(np.where(held | (share == 0), 0.0, sheltered), CALM_WIND_M_S)
    return AirAtSpots(temp, vapour, wind, offset, offset_share, learned, warming)


def departures(spots: Sequence[Spot], times: np.ndarray) -> Array:
    """Return what thermometers at the spots take from the rest of the present night [K].

    times (time,) : [unix s]. The result is (time, spot), never above zero.
    """
    added = np.zeros((times.size, len(spots)))
    for column, spot in enumerate(spots):
        if spot.tonight is not None:
            added[:, column] = spot.tonight.departures_k(times)
    return added


def per_spot(spots: Sequence[Spot], of: Callable[[Spot], float | None]) -> Array:
    """(spot,) a number of every spot; NaN where it is not given."""
    return np.array([np.nan if of(spot) is None else of(spot) for spot in spots], dtype=np.float64)


def _vapour(weather: Weather, temp_c: Array) -> Array:
    """Return the vapour pressure [kPa]: correcting the temperature leaves it as it is."""
    vapour = air.saturation_vapour_pressure(bridge_gaps(weather.dew_point_c))[:, None]
    return np.minimum(vapour, air.saturation_vapour_pressure(temp_c))


def _held_temperature(spots: Sequence[Spot], night: np.ndarray, learned_c: Array) -> Array:
    """Return what each spot holds (time, spot) [°C]; learned_c (time, spot) : by night."""
    typed = per_spot(spots, lambda spot: spot.night_low_c)
    by_night = np.where(np.isnan(learned_c), typed, learned_c)
    by_day = per_spot(spots, lambda spot: spot.holds_by_day_c)
    return np.where(night[:, None] | np.isnan(by_day), by_night, by_day)


def _indoor_offsets(
    spots: Sequence[Spot],
    times: np.ndarray,
    open_air_c: Array,
    night_share: tuple[Array, Array],
    indoors: IndoorNights,
) -> Array:
    """Return what is added at spots under a roof that follow the weather (time, spot) [K].

    At night they are as far above what they hold as their gain has it; by day the typed offset
    counts. NaN where nothing was learned. open_air_c (time, 1) : [°C].
    """
    rows = indoors.nights.rows_at(times)
    above = filled(open_air_c - indoors.nights.low_c[rows, None], 0.0)
    night_k = indoors.taken_c[rows] + indoors.gain[rows] * above - open_air_c
    by_day = filled(per_spot(spots, lambda spot: spot.day_offset_k), 0.0)
    most, least = (by_day + (night_k - by_day) * share[:, None] for share in night_share)
    return np.asarray(np.minimum(most, least))


def _held_vapour(spots: Sequence[Spot], temp_c: Array) -> Array:
    return air.vapour_pressure(temp_c, per_spot(spots, lambda spot: spot.humidity_pct))


def _wind_share(spots: Sequence[Spot]) -> Array:
    """(spot,) the share of the open-field wind that reaches the plants."""

    def share(spot: Spot) -> float:
        if spot.wind is None:
            return 0.0 if spot.indoors else DEFAULT_WIND
        return spot.wind

    return per_spot(spots, share)


def gusts_at_spots(spots: Sequence[Spot], weather: Weather) -> Array:
    """Return gusts at the plants [m/s]: of the open ones the square root of the share that the mean
    wind has there by height and shelter.

    Judgement: what shelters from the wind makes it turbulent. In the open a gust is about 1.6 times
    the mean wind (turbulence intensity 0.18, peak factor 3.5). Low in a walled courtyard, where a
    quarter of the mean wind is left, it is 3 to 4 times that (intensity in a wake 0.5 to 1, from
    memory): half of the open gust.
    """
    height = per_spot(spots, lambda spot: spot.height_m)
    share = wind_at_height(_wind_share(spots), height)
    return weather.gust_m_s[:, None] * np.sqrt(share)


@dataclass(frozen=True, slots=True, eq=False)
class Sky:
    """The sky as leaves see it, where what is not known is taken as the colder case.

    vapour_kpa (time, spot), warming (time, 1), seen (spot,) : the share of it that each spot sees.
    loss_w_m2 (time, spot) : what a face at air temperature loses to it.
    """

    vapour_kpa: Array
    warming: Array
    seen: Array
    loss_w_m2: Array


def sky_over(spots: Sequence[Spot], at_spots: AirAtSpots) -> Sky:
    """Return the sky as leaves at each spot see it."""
    # Unknown air, cloud and wind are taken as dry, clear and calm: the colder case.
    temp, vapour = at_spots.temp_c, at_spots.vapour_kpa
    vapour = np.where(np.isfinite(vapour), vapour, air.vapour_pressure(temp, DRY_AIR_RH_PCT))
    warming = filled(at_spots.warming, 0.0)[:, None]
    seen = per_spot(spots, _sky_seen)
    return Sky(vapour, warming, seen, surface.sky_loss(temp, vapour, warming, seen))


def net_radiation(light_w_m2: Array, sky: Sky) -> Array:
    """Return the net radiation of a unit of wetted surface at air temperature [W/m2].

    Both faces are wet: each unit of wetted area has half of what the leaf takes in and loses.
    """
    return 0.5 * (ABSORPTANCE * light_w_m2 * (1.0 + GROUND_ALBEDO) - sky.loss_w_m2)


def _sky_seen(spot: Spot) -> float:
    if spot.indoors:
        return 0.0
    return DEFAULT_SKY_VIEW if spot.sky_view is None else spot.sky_view


def sunlit_spots(spots: Sequence[Spot]) -> np.ndarray:
    """(spot,) whether it is known when the sun reaches a spot."""
    return np.array([spot.sunlit for spot in spots], dtype=bool)


def light_at_spots(site: Site, spots: Sequence[Spot], weather: Weather, night: np.ndarray) -> Array:
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
    sky = per_spot(spots, lambda spot: DEFAULT_SKY_VIEW if spot.sky_view is None else spot.sky_view)
    beam = np.where(reaches, bridge_gaps(weather.direct_w_m2)[:, None], 0.0)
    through = 1.0 - per_spot(spots, lambda spot: spot.shade)
    light = through * (beam + sky * bridge_gaps(weather.diffuse_w_m2)[:, None])
    # Unknown light of the night is none.
    unlit = (night | (elevation < sun.HORIZON_DEG))[:, None]
    return np.asarray(np.where(unlit & np.isnan(light), 0.0, light))


def lesser_of_hours(times: np.ndarray, of_hour: Array, at: Array) -> Array:
    """Return means of hours (time, spot) at moments between them: (moment, spot).

    The lesser of the hour that a moment lies in and of the one before; at a full hour its own.
    """
    rows = np.searchsorted(times, at, side="left")
    before = np.where(times[rows] == at, rows, rows - 1)
    return np.asarray(np.minimum(of_hour[before], of_hour[rows]))


def wind_at_height(wind_10m_m_s: Array, height_m: Array | float) -> Array:
    """Return the open-field wind at a height from that at 10 m [m/s]; FAO-56 eq. 47 used twice."""
    return np.asarray(
        wind_10m_m_s * np.log(67.8 * np.asarray(height_m) - 5.42) / np.log(67.8 * 10 - 5.42)
    )
