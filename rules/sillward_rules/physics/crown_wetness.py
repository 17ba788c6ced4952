"""Crowns under rain and dew: how much water they hold, and how long they have been wet."""

import numpy as np

from sillward_rules.arrays import HOUR_S, Array, filled

POOL_MM = 1.0
"""Water that a crown or an axil holds before it runs over [mm]. Judgement: 1 mm or more."""

WET_FROM_MM = 0.02
"""With less water than this a crown is dry [mm]. Judgement: a fifth of a leaf's film."""

WETTING_RAIN_MM = 0.2
"""Rain in an hour that wets crowns and roots as a misting does [mm]. Judgement: twice a leaf's
film."""

AXIL_FACTOR = 1.5
"""How many times slower a sheltered crown or axil dries than an open film. Judgement: 1.5 to 2."""


def crown_water(
    rain_mm: Array, rate_mm_h: Array, *, pool_mm: float = POOL_MM, factor: float = AXIL_FACTOR
) -> Array:
    """Return the water on crowns at the end of each hour: filled by rain and dew, lost by drying.

    Parameters
    ----------
    rain_mm, rate_mm_h : Array (time, ...)
        Rain that reaches the plants in the hour before [mm], and evaporation of a wet surface
        in it [mm/h], below 0 where dew forms.
    pool_mm, factor : float
        What a crown holds [mm], and how much slower it dries than an open surface.

    Returns
    -------
    Array (time, ...)
        Water [mm], 0 at the start; NaN in hours whose rain or drying is not known. After such an
        hour the pool is taken to be full, the worse case.
    """
    change = rain_mm - np.where(rate_mm_h > 0, rate_mm_h / factor, rate_mm_h)
    unknown = ~np.isfinite(change)
    change = np.where(unknown, 0.0, change)
    water = np.zeros(change.shape)
    pool = np.zeros(change.shape[1:])
    wets = (change > 0) | unknown
    # Until something wets them, crowns are dry.
    first = int(np.argmax(wets.any(axis=tuple(range(1, wets.ndim))))) if wets.any() else len(water)
    for row in range(first, len(water)):
        pool = np.minimum(np.maximum(pool + change[row], 0.0), pool_mm)
        water[row] = pool
        pool = np.where(unknown[row], pool_mm, pool)
    return np.where(unknown, np.nan, water)


def hours_wet(water_mm: Array) -> Array:
    """(time, ...) for how many hours up to each hour crowns have been wet [h].

    NaN where the water is not known; an unknown hour counts as wet for those that follow.
    """
    rows = np.arange(water_mm.shape[0]).reshape(-1, *([1] * (water_mm.ndim - 1)))
    dry = water_mm < WET_FROM_MM
    last_dry = np.maximum.accumulate(np.where(dry, rows, -1), axis=0)
    return np.where(np.isfinite(water_mm), (rows - last_dry).astype(np.float64), np.nan)


def hours_wet_by_rain(wet_h: Array, rain_mm: Array) -> Array:
    """(time, ...) the hours of `hours_wet` if rain contributed to them; 0 where only dew did [h].

    A night's dew is gone in the morning, but what rain leaves in a crown stays. NaN as in wet_h,
    and where rain can only have contributed in an hour of unknown rain.
    """

    def in_run(amount: Array) -> Array:
        """Return the sum over the hours for which crowns have been wet."""
        total = np.concatenate([np.zeros((1, *amount.shape[1:])), np.cumsum(amount, axis=0)])
        return np.asarray(total[1:] - np.take_along_axis(total, since, axis=0))

    rows = np.arange(1, wet_h.shape[0] + 1).reshape(-1, *([1] * (wet_h.ndim - 1)))
    since = rows - filled(wet_h, 0.0).astype(np.int64)
    rained = in_run(filled(rain_mm, 0.0)) >= WETTING_RAIN_MM - 1e-9
    doubtful = in_run(np.isnan(rain_mm).astype(np.float64)) > 0
    by_rain = np.where(rained, wet_h, np.where(doubtful, np.nan, 0.0))
    return np.where(np.isnan(wet_h), np.nan, by_rain)


def hours_up_to(times: np.ndarray, wet_h: Array, at: Array) -> Array:
    """Return hours of wetness, as `hours_wet` counts them, at moments in between [h].

    A moment has the value at the end of its hour less what is left of the hour, and at least 0: a
    crown that dries within an hour is taken to be dry in all of it, as in `hours_wet`. times
    (time,), at : [unix s]; the moments lie within the times.
    """
    rows = np.searchsorted(times, at, side="left")
    to_come = ((times[rows] - at) / HOUR_S).reshape(-1, *([1] * (wet_h.ndim - 1)))
    return np.asarray(np.maximum(wet_h[rows] - to_come, 0.0))


def rained_on(water_mm: Array, rain_mm: Array) -> np.ndarray:
    """(time, ...) whether plants are, or may be, wet with rain at each hour.

    As `hours_wet_by_rain`, from the water of `crown_water`; unknown water and unknown rain count as
    wet.
    """
    rows = np.arange(water_mm.shape[0]).reshape(-1, *([1] * (water_mm.ndim - 1)))
    since = np.maximum.accumulate(np.where(water_mm < WET_FROM_MM, rows + 1, 0), axis=0)
    # An hour of unknown rain may have brought enough by itself.
    worst = np.where(np.isnan(rain_mm), WETTING_RAIN_MM, rain_mm)
    total = np.concatenate([np.zeros((1, *worst.shape[1:])), np.cumsum(worst, axis=0)])
    in_run = total[1:] - np.take_along_axis(total, since, axis=0)
    return np.asarray(in_run >= WETTING_RAIN_MM - 1e-9)
