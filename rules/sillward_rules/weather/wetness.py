"""How wet plants are at each spot, by rain and dew, in arrays (time, spot)."""

from dataclasses import dataclass

import numpy as np

from sillward_rules.arrays import Array
from sillward_rules.physics.crown_wetness import (
    crown_water,
    hours_up_to,
    hours_wet,
    hours_wet_by_rain,
    rained_on,
)
from sillward_rules.weather.hourly import (
    Weather,
)
from sillward_rules.weather.spot import DEFAULT_RAIN, Spot


@dataclass(frozen=True, slots=True, eq=False)
class Wetness:
    """How wet plants are, all (time, spot): crown_wet_h, rain_wet_h and wetted of `Climate`."""

    crown_h: Array
    by_rain_h: Array
    wetted: np.ndarray


def wetness_by_hour(
    rain_mm: Array,
    rate_mm_h: Array,
    axil_factor: float,
    held: np.ndarray,
    under_sky: np.ndarray,
    rain_is_told: bool,
) -> Wetness:
    """Return the wetness at full hours.

    rain_mm, rate_mm_h (time, spot) : rain that reaches the plants [mm], evaporation of a wet leaf
    [mm/h]. held, under_sky (spot,) : whether a spot has a climate of its own, and whether rain
    reaches it. rain_is_told : whether the forecast knows of any rain ahead.
    """
    water = crown_water(rain_mm, rate_mm_h, factor=axil_factor)
    crown_h = np.where(held, 0.0, hours_wet(water))
    by_rain_h = hours_wet_by_rain(crown_h, rain_mm)
    # An hour of unknown rain may have wetted leaves. But a forecast that tells no rain at all is
    # not taken at its worst: that would make every night some kelvins colder, and a grower who
    # often carries in for nothing soon ignores orders. The sheet says so, and crowns of plants
    # that rot easily, which are not known to be dry, keep their margin.
    if not rain_is_told:
        rain_mm = np.nan_to_num(rain_mm, nan=0.0)
        water = crown_water(rain_mm, rate_mm_h, factor=axil_factor)
    return Wetness(crown_h, by_rain_h, under_sky & rained_on(water, rain_mm))


def wetness_between(times: np.ndarray, hourly: Wetness, at: Array) -> Wetness:
    """Return the wetness at moments between the full hours of `hourly` [unix s]."""
    return Wetness(
        hours_up_to(times, hourly.crown_h, at),
        hours_up_to(times, hourly.by_rain_h, at),
        _either(times, hourly.wetted, at),
    )


def _either(times: np.ndarray, wetted: np.ndarray, at: Array) -> np.ndarray:
    """Return whether a mask of hours (time, spot) holds at moments between them.

    It does if it holds in the hour that a moment lies in, or in the last full one.
    """
    rows = np.searchsorted(times, at, side="left")
    before = np.where(times[rows] == at, rows, rows - 1)
    return np.asarray(wetted[before] | wetted[rows])


def rain_share(spot: Spot) -> float:
    """Return the share of the rain that reaches the plants at a spot."""
    if spot.indoors:
        return 0.0
    return DEFAULT_RAIN if spot.rain is None else spot.rain


def tells_rain(weather: Weather) -> bool:
    """Return whether a forecast knows the rain of any hour after it was fetched."""
    ahead = weather.times > weather.fetched_at.timestamp()
    return not ahead.any() or bool(np.isfinite(weather.rain_mm[ahead]).any())
