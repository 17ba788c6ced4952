"""Temperature hour by hour where only the low of each night and the high of each day are known."""

import numpy as np

from sillward_rules.arrays import HOUR_S, Array

LAG_OF_HIGH_H = 1.86
"""How long after noon the air is warmest [h]; air at 1.5 m, Parton and Logan 1981."""

LAG_OF_RISE_H = -0.17
"""How long after sunrise the air begins to warm [h]; the same."""

NIGHT_DECAY = 2.20
"""How fast the air cools from sunset on: the exponent at sunrise; the same."""

MIN_WARMING_H = 1.0
"""From its low to its high the air takes at least this long [h]; else nothing is said of that day.
Judgement: less happens only where the sun hardly rises."""


def course_between_lows(
    times: np.ndarray,
    *,
    low_at: Array,
    low_c: Array,
    sunrise: Array,
    sunset: Array,
    high_c: Array,
) -> Array:
    """Return the temperature at some times, from one night's low to the next.

    Until sunrise it stays at the low, then it follows a sine to the high and on to sunset, then it
    falls exponentially towards the next low:

        T = low + (high - low) sin(pi/2 (t - rise) / (peak - rise))
        T = low' + (T(sunset) - low') e^(-b x),  x: 0 at sunset, 1 ten minutes after that low

    The low itself holds at its hour; an hour before, a tenth of the fall is still to come. Against
    a year of Newark airport the hours of nights were 1.4 K off, and 13 °C was crossed an hour too
    early; `tests/published/test_daily_course.py` looks that up.

    Parameters
    ----------
    times : np.ndarray
        Moments [unix s], shape (time,).
    low_at : Array
        When each night has its low [unix s], in order, shape (night,).
    low_c : Array
        These lows [°C], shape (night,).
    sunrise : Array
        The end of each night [unix s], shape (night,).
    sunset : Array
        The sunset after it [unix s], shape (night,); that of the last night is not used.
    high_c : Array
        The high of the day after it [°C], shape (night,); that of the last night is not used.

    Returns
    -------
    Array
        Temperature [°C], shape (time,). NaN before the first low, after the last one, and where a
        low or a high that is needed is NaN.

    References
    ----------
    Parton and Logan 1981, Agricultural Meteorology 23:205-216. There every low is ten minutes
    before sunrise. Where it is at another hour here, x reaches 1 ten minutes after it, and the peak
    stays in its place.
    """
    if low_at.size < 2:
        return np.full(times.shape, np.nan)
    before = np.searchsorted(low_at, times, side="right") - 1
    inside = (before >= 0) & (times <= low_at[-1])
    before = np.clip(before, 0, low_at.size - 2)
    low, next_low, high = low_c[before], low_c[before + 1], high_c[before]
    rise = np.maximum(low_at[before], sunrise[before] + LAG_OF_RISE_H * HOUR_S)
    dusk = sunset[before]
    lag_s = (LAG_OF_RISE_H + LAG_OF_HIGH_H) * HOUR_S
    warming = (sunrise[before] + dusk) / 2 + lag_s - rise
    warming = np.where(warming >= MIN_WARMING_H * HOUR_S, warming, np.nan)

    def by_day(at: Array) -> Array:
        angle = np.pi / 2 * np.maximum(at - rise, 0.0) / warming
        return np.asarray(low + (high - low) * np.sin(angle))

    falling = np.maximum(low_at[before + 1] - LAG_OF_RISE_H * HOUR_S - dusk, HOUR_S)
    above = np.maximum(by_day(dusk) - next_low, 0.0)
    by_night = next_low + above * np.exp(-NIGHT_DECAY * np.maximum(times - dusk, 0.0) / falling)
    drawn = np.where(times <= dusk, by_day(times), by_night)
    drawn = np.where(times == low_at[before + 1], next_low, drawn)
    return np.where(inside, drawn, np.nan)
