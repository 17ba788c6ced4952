"""The climate of each spot: what the forecast becomes where the plants stand."""

import math
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from sillward_rules.arrays import Array, filled
from sillward_rules.memo import Memo
from sillward_rules.physics import air
from sillward_rules.physics.crown_wetness import (
    AXIL_FACTOR,
)
from sillward_rules.physics.leaf import leaf_temperature
from sillward_rules.physics.surface import CALM_WIND_M_S, LEAF
from sillward_rules.physics.water_film import FilmAir, evaporation
from sillward_rules.weather import sun
from sillward_rules.weather.at_spots import (
    AirAtSpots,
    Sky,
    air_at_spots,
    gusts_at_spots,
    lesser_of_hours,
    light_at_spots,
    net_radiation,
    per_spot,
    sky_over,
    sunlit_spots,
)
from sillward_rules.weather.hourly import (
    SERIES,
    Weather,
    at_moments,
    between,
    moment,
)
from sillward_rules.weather.indoor_nights import indoor_nights
from sillward_rules.weather.light import ppfd
from sillward_rules.weather.season import GROWS, day_length_h, running_mean_c, season_of
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import Spot
from sillward_rules.weather.spot_nights import SpotNights, spot_nights
from sillward_rules.weather.spot_offset import night_shares
from sillward_rules.weather.wetness import (
    Wetness,
    rain_share,
    tells_rain,
    wetness_between,
    wetness_by_hour,
)

NIGHT_STEP_S = 900
"""Step in which a night is looked at [s]. Judgement: a leaf follows wind and cloud in minutes, but
a forecast knows nothing finer than an hour; in a quarter of one it moves some 0.3 K at most."""

STRONG_WIND_M_S = 30.0
"""Wind at a wet leaf where it is not known and makes the colder case [m/s]: the wet bulb."""


@dataclass(frozen=True, eq=False)
class Climate:
    """The climate of each spot, by moments. Arrays are (time, spot) unless said otherwise.

    - times (time,): unix seconds; night (time,): whether it is night.
    - temp_c, leaf_c [°C]; vapour_kpa [kPa]: air and leaf.
    - wind_m_s, gust_m_s: at the plants [m/s].
    - light_w_m2: the sunlight that reaches the plants [W/m2]; means of the hour that ends at the
      time.
    - rain_mm, hail_pct: of that hour; 100 where hail is forecast.
    - crown_wet_h: how long a crown has been wet by rain or dew [h]; rain_wet_h: the same, but 0
      unless rain has a part in it.
    - wetted: whether plants are wet with rain, or may be; leaf_wet: whether their leaves count as
      wet surfaces.
    - offset_k: what was added to the forecast's temperature [K]; offset_share: the share of the
      night offset that wind and cloud leave (0..1); learned_k: what readings have taught to add in
      full night, beside it [K]. NaN where a spot has a climate of its own.
    - learned: what readings have taught of the nights of the forecast.
    - net_w_m2: net radiation of a unit of wetted surface at air temperature [W/m2].
    - season (class, spot): the `Season` of each of GROWS, from the days that the weather covers.
    - mean_c (spot,): the mean of these days, by which that is told [°C]; NaN where not known.
    """

    spots: tuple[Spot, ...]
    times: np.ndarray
    night: np.ndarray
    temp_c: Array
    leaf_c: Array
    vapour_kpa: Array
    wind_m_s: Array
    gust_m_s: Array
    light_w_m2: Array
    rain_mm: Array
    hail_pct: Array
    crown_wet_h: Array
    rain_wet_h: Array
    wetted: np.ndarray
    leaf_wet: np.ndarray
    offset_k: Array
    offset_share: Array
    learned_k: Array
    learned: SpotNights
    net_w_m2: Array
    pressure_kpa: float
    season: NDArray[np.object_]
    mean_c: Array

    def column(self, name: str) -> int:
        """Return the index of a spot on axis 1."""
        return next(i for i, spot in enumerate(self.spots) if spot.name == name)

    # What follows from these series is worked out when it is first asked for: most sheets need
    # little of it.

    @cached_property
    def rh_pct(self) -> Array:
        """Relative humidity [%]."""
        return air.relative_humidity(self.temp_c, self.vapour_kpa)

    @cached_property
    def vpd_kpa(self) -> Array:
        """Deficit of the air [kPa]."""
        return air.vapour_pressure_deficit(self.temp_c, self.vapour_kpa)

    @cached_property
    def leaf_vpd_kpa(self) -> Array:
        """Deficit from the leaf to the air [kPa]."""
        return air.vapour_pressure_deficit(self.leaf_c, self.vapour_kpa)

    @cached_property
    def wet_bulb_k(self) -> Array:
        """How far the wet bulb is below the air [K]."""
        return self.temp_c - air.wet_bulb(self.temp_c, self.vapour_kpa, self.pressure_kpa)

    @cached_property
    def ppfd(self) -> Array:
        """The sunlight that reaches the plants, in quanta [umol m-2 s-1]."""
        return ppfd(self.light_w_m2)


def climate_of(
    site: Site, spots: Sequence[Spot], weather: Weather, *, axil_factor: float = AXIL_FACTOR
) -> Climate:
    """Work out the climate of every spot, whatever stands there.

    axil_factor : how much slower than an open film a crown dries.
    """
    spots = tuple(spots)

    def work_out() -> tuple[object, Climate]:
        return (site, spots, weather), _work_out(site, spots, weather, axil_factor, None)

    # Kept with what it was worked out from, so that no other object can have the same identity.
    key = (id(site), id(spots), *_identity(weather), axil_factor)
    return _recent.of(key, work_out)[1]


def _identity(weather: Weather) -> tuple[Hashable, ...]:
    """Return what stays equal for weathers with the very same hours, as long as one of them lives.

    The same forecast is handed out anew with other remarks, or another spread: these change nothing
    of the climate.
    """
    return (*(id(getattr(weather, name)) for name in ("times", *SERIES)), weather.fetched_at)


_recent = Memo(2)
"""A forecast is used several times a day, and two at a time when a newer one is compared with the
last. Equal hours are worked out again: to compare them would take longer. No more are kept because
a daemon holds them for as long as it runs."""


def climate_by_night(site: Site, hourly: Climate, weather: Weather) -> Climate:
    """Return the same climate by the hour of the day and by the quarter of an hour at night.

    Nights include sunset and sunrise themselves and go on until their limits no longer hold. Air,
    sky and wind are interpolated between the hours, and the leaf is worked out from these. Rain and
    hail are those of the hour in which a moment lies. Light is the lesser of the means of that hour
    and of the one before, so that no leaf is warmed by a sun that has not risen.

    hourly : the climate of this weather at its full hours.
    """

    def work_out() -> tuple[object, Climate]:
        at = sun.moments_of_nights(site, weather.times, NIGHT_STEP_S)
        of_moments = at_moments(weather, at)
        found = _work_out(site, hourly.spots, of_moments, AXIL_FACTOR, hourly)
        return (site, hourly, weather), found

    key = (id(site), id(hourly), *_identity(weather))
    return _recent_by_night.of(key, work_out)[1]


_recent_by_night = Memo(2)


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
    # Longer than other functions only because a Climate has so many fields.
    night = sun.is_night(site, weather.times)
    night_share = night_shares(site, weather.times)
    pressure = float(air.pressure_at(site.elevation_m))
    held = np.array([spot.holds_itself for spot in spots], dtype=bool)
    indoors = indoor_nights(site, spots, weather)
    learned = spot_nights(site, spots, weather) if hourly is None else hourly.learned
    at_spots = air_at_spots(spots, weather, held, night, night_share, indoors, learned)
    temp, vapour = at_spots.temp_c, at_spots.vapour_kpa
    if hourly is None:
        light = np.where(held, np.nan, light_at_spots(site, spots, weather, night))
    else:
        light = lesser_of_hours(hourly.times, hourly.light_w_m2, weather.times)
    sky = sky_over(spots, at_spots)
    net = np.where(held, 0.0, net_radiation(light, sky))
    open_to_rain = per_spot(spots, rain_share)
    under_sky = ~held & (open_to_rain > 0)
    rain = np.where(~under_sky, 0.0, weather.rain_mm[:, None] * open_to_rain)
    if hourly is None:
        film = FilmAir(
            temp[:, ~held], vapour[:, ~held], at_spots.wind_m_s[:, ~held], net[:, ~held], pressure
        )
        rate = np.zeros(temp.shape)
        rate[:, ~held] = evaporation(film, LEAF)
        wet = wetness_by_hour(rain, rate, axil_factor, held, under_sky, tells_rain(weather))
        season, mean = _seasons(site, weather, temp)
    else:
        of_hours = Wetness(hourly.crown_wet_h, hourly.rain_wet_h, hourly.wetted)
        wet = wetness_between(hourly.times, of_hours, weather.times)
        season, mean = hourly.season, hourly.mean_c
    # A wet leaf soon dries by day, and a dry leaf is the warmer case.
    wet_leaf = wet.wetted & (night_share[0][:, None] > 0)
    sunlit = sunlit_spots(spots) & ~night[:, None] & np.isfinite(light)
    leaf = temp.copy()  # a spot with a climate of its own has no other
    sought = np.tile(~held, (len(temp), 1))
    if hourly is not None:
        hours = weather.times.searchsorted(hourly.times)
        leaf[hours], sought[hours] = hourly.leaf_c, False
    unfaded = _leaf(at_spots, sky, np.where(sunlit, light, 0.0), wet_leaf, pressure, sought)
    leaf[sought] = _faded(unfaded, temp, sunlit, night_share[0][:, None])[sought]
    return Climate(
        spots=spots,
        times=weather.times,
        night=night,
        temp_c=temp,
        leaf_c=leaf,
        vapour_kpa=vapour,
        wind_m_s=at_spots.wind_m_s,
        gust_m_s=np.where(held, 0.0, gusts_at_spots(spots, weather)),
        light_w_m2=light,
        rain_mm=rain,
        hail_pct=np.where(~under_sky, 0.0, weather.hail_pct[:, None]),
        crown_wet_h=wet.crown_h,
        rain_wet_h=wet.by_rain_h,
        wetted=wet.wetted,
        leaf_wet=wet_leaf,
        offset_k=np.where(held, np.nan, at_spots.offset_k),
        offset_share=np.where(held, np.nan, at_spots.offset_share),
        learned_k=np.where(held, np.nan, at_spots.learned_k),
        learned=learned,
        net_w_m2=net,
        pressure_kpa=pressure,
        season=season,
        mean_c=mean,
    )


def _leaf(
    at_spots: AirAtSpots,
    sky: Sky,
    light_w_m2: Array,
    wet_leaf: np.ndarray,
    pressure_kpa: float,
    sought: np.ndarray,
) -> Array:
    """Return the temperature of the leaf (time, spot) [°C] where it is sought; else NaN.

    Unknown wind is the colder case. sought (time, spot) : mask.
    """

    def of(series: Array) -> Array:
        return np.asarray(np.broadcast_to(series, sought.shape)[sought])

    temp, vapour, light = of(at_spots.temp_c), of(sky.vapour_kpa), of(light_w_m2)
    wind, warming, seen, wet = of(at_spots.wind_m_s), of(sky.warming), of(sky.seen), of(wet_leaf)

    def leaf_in(wind_m_s: Array) -> Array:
        return leaf_temperature(
            temp, vapour, wind_m_s, warming, seen, light, pressure_kpa=pressure_kpa, wet=wet
        )

    leaf = leaf_in(filled(wind, CALM_WIND_M_S))
    if np.any(np.isnan(wind) & wet):
        # A wet leaf may be coldest in a wind, as wet bulbs are, or in still air under the sky.
        leaf = np.minimum(leaf, leaf_in(filled(wind, STRONG_WIND_M_S)))
    found = np.full(sought.shape, np.nan)
    found[sought] = leaf
    return found


def _faded(leaf_c: Array, temp_c: Array, sunlit: np.ndarray, night_share: Array) -> Array:
    """Return the leaf as far as it is known: by day only where it is known when sun reaches it.

    Elsewhere it is as warm as the air once the night has faded, because at sunrise no sun has
    warmed it yet. night_share (time, 1) : how far it is night, 0 to 1.
    """
    faded = np.where(night_share == 1.0, leaf_c, temp_c - night_share * (temp_c - leaf_c))
    return np.where(sunlit, leaf_c, faded)


def _seasons(site: Site, weather: Weather, temp_c: Array) -> tuple[NDArray[np.object_], Array]:
    """Return (class, spot) the season of each of GROWS at each spot, and (spot,) the mean [°C].

    From the whole of the weather and the day in its middle.
    """
    length, means = math.nan, np.full(temp_c.shape[1], np.nan)
    if weather.times.size:
        row = weather.times.size // 2
        length = day_length_h(site, site.local_date(moment(weather.times[row])))
        means = running_mean_c(weather.times, temp_c, float(weather.times[row]))
    return np.stack([season_of(length, means, grows) for grows in GROWS]), means


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
