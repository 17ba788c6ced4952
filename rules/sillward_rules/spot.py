"""Spots and their climate: what the forecast becomes where the plants stand."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sillward_rules import air, sun
from sillward_rules.air import Array
from sillward_rules.film import FilmAir
from sillward_rules.leaf import leaf_temperature
from sillward_rules.site import Site
from sillward_rules.surface import ABSORPTANCE, CALM_WIND_M_S, GROUND_ALBEDO, sky_loss
from sillward_rules.weather import Weather, bridge_gaps

PLANT_HEIGHT_M = 1.5
"""Height at which plants hang or stand on a bench [m]. Judgement."""

DEFAULT_WIND = 0.35
"""Share of the open-field wind where a spot does not say. Judgement: a walled courtyard."""

DEFAULT_SKY_VIEW = 0.5
"""Share of the sky for light and drying where a spot does not say. Judgement."""

DRY_AIR_RH_PCT = 20.0
"""Humidity assumed for the night sky where the forecast gives none: dry air, the colder case."""


@dataclass(frozen=True, slots=True)
class SunWindow:
    """Where the sun can reach a spot: azimuth from..to [deg], elevation above [deg]."""

    azimuth_from: float
    azimuth_to: float
    above: float = 0.0


@dataclass(frozen=True, slots=True)
class Spot:
    """A place where plants stand. None means that the grower has not said.

    sky_view, wind, shade : shares 0..1. night_offset_k, day_offset_k : spot minus forecast [K].
    Indoors, night_low_c and day_low_c are the temperatures it holds [°C], humidity_pct its air;
    an indoor spot that gives an offset and no night_low_c follows the weather outside.
    """

    name: str
    indoors: bool = False
    sky_view: float | None = None
    wind: float | None = None
    shade: float = 0.0
    sun_windows: tuple[SunWindow, ...] | None = None
    night_offset_k: float | None = None
    day_offset_k: float | None = None
    night_low_c: float | None = None
    day_low_c: float | None = None
    humidity_pct: float | None = None

    @property
    def holds_itself(self) -> bool:
        """Whether the spot has a climate of its own rather than the weather's."""
        return self.indoors and self.night_offset_k is None

    def open_questions(self) -> tuple[str, ...]:
        """What the grower has not said and is taken at a default, in words."""
        if self.holds_itself:
            if self.night_low_c is None:
                return ("night_low is not given: nobody knows what it holds at night",)
            return ()
        questions = []
        if self.night_offset_k is None:
            questions.append("night_offset is not given: taken as cold as the forecast")
        if self.sky_view is None and not self.indoors:
            questions.append(
                "sky_view is not given: leaves taken at air temperature, though on clear calm "
                f"nights they can be 1 to 3 K colder; {DEFAULT_SKY_VIEW:g} for light and drying"
            )
        if self.wind is None and not self.indoors:
            questions.append(f"wind is not given: taken as {DEFAULT_WIND:g} of the open wind")
        return tuple(questions)


@dataclass(frozen=True, slots=True, eq=False)
class Climate:
    """What each spot goes through, hour by hour. Arrays are (time, spot) unless said otherwise.

    times (time,) unix seconds; night (time,) mask; temp_c, leaf_c [°C]; vapour_kpa, vpd_kpa [kPa];
    rh_pct [%]; wind_m_s, gust_m_s at the plants; light_w_m2 sunlight that reaches the plants, mean
    of the hour that ends at the time; rain_mm likewise; net_w_m2 net radiation of a unit of wetted
    surface at air temperature, likewise.
    """

    spots: tuple[Spot, ...]
    times: np.ndarray
    night: np.ndarray
    temp_c: Array
    leaf_c: Array
    vapour_kpa: Array
    rh_pct: Array
    vpd_kpa: Array
    wind_m_s: Array
    gust_m_s: Array
    light_w_m2: Array
    rain_mm: Array
    net_w_m2: Array
    pressure_kpa: float

    def column(self, name: str) -> int:
        """Index of a spot on axis 1."""
        return next(i for i, spot in enumerate(self.spots) if spot.name == name)


def climate_of(site: Site, spots: Sequence[Spot], weather: Weather) -> Climate:
    """Work out the climate of every spot. Work is done once per spot, whatever stands there."""
    night = sun.is_night(site, weather.times)
    pressure = float(air.pressure_at(site.elevation_m))
    # The hour that ends at a time has the sun of its middle.
    azimuth, elevation = sun.positions(site, weather.times - 1800)
    columns = [
        _indoor(spot, night)
        if spot.holds_itself
        else _outdoor(spot, weather, night, azimuth, elevation, pressure)
        for spot in spots
    ]

    def stack(name: str) -> Array:
        series = [column[name] for column in columns]
        return np.stack(series, axis=1) if series else np.empty((weather.times.size, 0))

    temp, vapour = stack("temp_c"), stack("vapour_kpa")
    return Climate(
        spots=tuple(spots),
        times=weather.times,
        night=night,
        temp_c=temp,
        leaf_c=stack("leaf_c"),
        vapour_kpa=vapour,
        rh_pct=air.relative_humidity(temp, vapour),
        vpd_kpa=air.vapour_pressure_deficit(temp, vapour),
        wind_m_s=stack("wind_m_s"),
        gust_m_s=stack("gust_m_s"),
        light_w_m2=stack("light_w_m2"),
        rain_mm=stack("rain_mm"),
        net_w_m2=stack("net_w_m2"),
        pressure_kpa=pressure,
    )


def _outdoor(
    spot: Spot,
    weather: Weather,
    night: np.ndarray,
    azimuth: Array,
    elevation: Array,
    pressure: float,
) -> dict[str, Array]:
    offset = np.where(night, spot.night_offset_k or 0.0, spot.day_offset_k or 0.0)
    temp = bridge_gaps(weather.temp_c) + offset
    # Correcting the temperature keeps the water in the air: vapour pressure, not humidity.
    vapour = air.saturation_vapour_pressure(bridge_gaps(weather.dew_point_c))
    vapour = np.minimum(vapour, air.saturation_vapour_pressure(temp))
    share = (0.0 if spot.indoors else DEFAULT_WIND) if spot.wind is None else spot.wind
    wind = np.maximum(wind_at_height(weather.wind_m_s, PLANT_HEIGHT_M) * share, CALM_WIND_M_S)
    sky_view = 0.0 if spot.indoors else spot.sky_view
    light = _light(spot, weather, azimuth, elevation)
    cold_sky_vapour = np.where(
        np.isfinite(vapour), vapour, air.vapour_pressure(temp, DRY_AIR_RH_PCT)
    )
    # Unknown cloud and wind are taken as clear and calm: the colder case.
    clear = np.nan_to_num(bridge_gaps(weather.cloud), nan=0.0)
    wind = bridge_gaps(wind)
    calm = np.nan_to_num(wind, nan=CALM_WIND_M_S)
    leaf = leaf_temperature(
        temp, cold_sky_vapour, calm, clear, sky_view or 0.0, pressure_kpa=pressure
    )
    seen = DEFAULT_SKY_VIEW if sky_view is None else sky_view
    loss = sky_loss(temp, cold_sky_vapour, clear, seen)
    # Both faces are wet: each unit of wetted area has half of what the leaf takes in and loses.
    net = 0.5 * (ABSORPTANCE * light * (1.0 + GROUND_ALBEDO) - loss)
    return {
        "temp_c": temp,
        "leaf_c": np.where(night, leaf, temp),
        "vapour_kpa": vapour,
        "wind_m_s": wind,
        "gust_m_s": weather.gust_m_s * share,
        "light_w_m2": light,
        "rain_mm": weather.rain_mm * (0.0 if spot.indoors else 1.0),
        "net_w_m2": net,
    }


def _indoor(spot: Spot, night: np.ndarray) -> dict[str, Array]:
    night_low = np.nan if spot.night_low_c is None else spot.night_low_c
    day_low = night_low if spot.day_low_c is None else spot.day_low_c
    temp = np.where(night, night_low, day_low)
    humidity = np.nan if spot.humidity_pct is None else spot.humidity_pct
    still = np.zeros(night.shape)
    return {
        "temp_c": temp,
        "leaf_c": temp,
        "vapour_kpa": air.vapour_pressure(temp, humidity),
        "wind_m_s": still + CALM_WIND_M_S,
        "gust_m_s": still,
        "light_w_m2": still + np.nan,
        "rain_mm": still,
        "net_w_m2": still,
    }


def _light(spot: Spot, weather: Weather, azimuth: Array, elevation: Array) -> Array:
    """Sunlight at the spot [W/m2]: the beam through its windows, the sky's by its view."""
    reaches = np.ones(azimuth.shape, dtype=bool)
    if spot.sun_windows is not None:
        reaches = np.zeros(azimuth.shape, dtype=bool)
        for window in spot.sun_windows:
            width = (window.azimuth_to - window.azimuth_from) % 360.0
            inside = (azimuth - window.azimuth_from) % 360.0 <= width
            reaches |= inside & (elevation >= window.above)
    sky = DEFAULT_SKY_VIEW if spot.sky_view is None else spot.sky_view
    beam = np.where(reaches, bridge_gaps(weather.direct_w_m2), 0.0)
    return np.asarray((1.0 - spot.shade) * (beam + sky * bridge_gaps(weather.diffuse_w_m2)))


def wind_at_height(wind_10m_m_s: Array, height_m: float) -> Array:
    """Open-field wind [m/s] at a height from that at 10 m; FAO-56 eq. 47 used twice."""
    return np.asarray(wind_10m_m_s * np.log(67.8 * height_m - 5.42) / np.log(67.8 * 10 - 5.42))


def film_air(climate: Climate, unix_seconds: np.ndarray, column: int) -> FilmAir:
    """The air at wetted surfaces of one spot at any moments (time,) within the climate.

    Instants are interpolated between the hours; what is a mean of the hour before is held over
    that hour. Outside the climate's hours everything is NaN.
    """
    if climate.times.size == 0:
        nothing = np.full(unix_seconds.shape, np.nan)
        return FilmAir(nothing, nothing, nothing, nothing, climate.pressure_kpa)
    rows = np.searchsorted(climate.times, unix_seconds, side="left")
    inside = (rows < climate.times.size) & (unix_seconds >= climate.times[0])
    last = np.minimum(rows, climate.times.size - 1)
    held = np.where(inside, climate.net_w_m2[last, column], np.nan)

    def between(series: Array) -> Array:
        known = np.interp(unix_seconds, climate.times, series[:, column])
        return np.where(inside, known, np.nan)

    return FilmAir(
        temp_c=between(climate.temp_c),
        vapour_kpa=between(climate.vapour_kpa),
        wind_m_s=between(climate.wind_m_s),
        net_w_m2=held,
        pressure_kpa=climate.pressure_kpa,
    )
