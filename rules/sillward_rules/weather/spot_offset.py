"""Offsets: how a spot's own thermometer differs from the forecast, and how much of that counts.

A night offset sets in and fades, and wind and cloud reduce it. The energy balance of a leaf comes
on top of that and is elsewhere.
"""

from collections.abc import Callable, Sequence
from datetime import timedelta
from itertools import takewhile

import numpy as np
from numpy.typing import ArrayLike

from sillward_rules.arrays import HOUR_S, Array, filled
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import moment
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import Spot

EVENING_FADE_H = 1.0
"""An offset sets in within this time of sunset [h]. Judgement.

Weighed: cold air settles in a hollow once its ground is in the shade, some time before sunset, and
a wall that was in the sun goes on warming the air after it. So a cold offset counts in full from
sunset on, a warm one in full only an hour later."""

MORNING_FADE_H = sun.COLD_MORNING / timedelta(hours=1)
"""An offset is gone this long after sunrise [h]. Judgement.

Weighed: the heat from the sun since sunrise grows with the square of the time, so a cold offset
fades slowly at first: after an hour three quarters of it are left. Pools of cold air in small
basins are gone two to three hours after sunrise (from memory); hollows in gardens are smaller. A
warm offset follows the same curve reversed, quickly at first."""

FULL_WIND_M_S = 2.0
"""Wind at 10 m up to which an offset counts in full [m/s]. Judgement: frost handbooks call nights
with less than about 2 m/s calm, and on such nights growers read their thermometers."""

MIN_COLD_SHARE = 0.25
"""Share of a cold offset that remains in any wind and cloud. Judgement: forecast cloud may open for
as long as a hollow needs to fill with cold air."""


def night_shares(site: Site, times: np.ndarray) -> tuple[Array, Array]:
    """Return how far it is night at each time (time,), 0 to 1, at the most and at the least.

    Both are 1 in the middle of a night. The first is 1 from sunset to sunrise, the second only from
    `EVENING_FADE_H` after sunset on. After sunrise they fall by the two curves of `MORNING_FADE_H`.
    In a night shorter than `EVENING_FADE_H` the second never reaches 1.
    """
    if not times.size:
        return np.zeros(times.shape), np.zeros(times.shape)
    ends = times[0] - MORNING_FADE_H * HOUR_S, times[-1] + EVENING_FADE_H * HOUR_S
    nights = takewhile(
        lambda night: night.start.timestamp() <= ends[1], sun.nights_from(site, moment(ends[0]))
    )
    edges = [(night.start.timestamp(), night.end.timestamp()) for night in nights]
    if not edges:
        return np.zeros(times.shape), np.zeros(times.shape)
    starts, dawns = np.array(edges).T
    # Only the night that begins next or began last, and the one before it, have any share.
    last = np.searchsorted(starts - EVENING_FADE_H * HOUR_S, times, side="right") - 1
    near = np.maximum([last, last - 1], 0)  # (2, time)
    starts, dawns = starts[near], dawns[near]
    evening = (times - starts) / (EVENING_FADE_H * HOUR_S)
    morning = _within_1((times - dawns) / (MORNING_FADE_H * HOUR_S))
    most = np.minimum(_within_1(1.0 + evening), 1.0 - morning**2)
    least = _within_1(evening) * (1.0 - morning) ** 2
    return np.maximum(*most), np.maximum(*least)


def _within_1(share: Array) -> Array:
    return np.minimum(np.maximum(share, 0.0), 1.0)


def weather_share(
    wind_10m_m_s: ArrayLike, cloud: ArrayLike, warming: ArrayLike | None = None
) -> Array:
    """Return what wind and cloud leave of a difference between two places at night, 0 to 1.

    Parameters
    ----------
    wind_10m_m_s : ArrayLike
        Wind over open ground at 10 m [m/s].
    cloud : ArrayLike
        Cloud cover, 0 to 1.
    warming : ArrayLike or None
        How much of it warms like low cloud, by `cloud.warming_cover`; None for all.

    Returns
    -------
    Array
        Share, of the common shape; NaN where an input is NaN.

    References
    ----------
    The weather factor of Oke 1998 and of Runnalls and Oke 2000 for how far town and country differ
    at night, u^-1/2 (1 - k n^2) with k by the kind of cloud, 1 for low cloud (both from memory);
    here k is the share of the cover that warms like low cloud. There u is 1 m/s or more; here the
    wind is relative to `FULL_WIND_M_S`, so that a little wind takes nothing away.
    """
    wind = np.maximum(np.asarray(wind_10m_m_s, dtype=np.float64), FULL_WIND_M_S)
    cover = np.asarray(cloud, dtype=np.float64)
    like_low = cover if warming is None else np.asarray(warming, dtype=np.float64)
    return np.asarray(np.sqrt(FULL_WIND_M_S / wind) * (1.0 - like_low * cover))


def night_offset_shares(spots: Sequence[Spot], share_left: Array) -> Array:
    """Return the share of each spot's night offset (time, spot) that counts in full night.

    share_left (time,) : as in `weather_share`. Where wind or cloud is not known, a cold offset
    counts in full and a warm one not at all. Under a roof neither wind nor sky takes anything away.
    """
    roofed = np.array([spot.indoors for spot in spots], dtype=bool)
    left = share_left[:, None]
    cold = np.maximum(filled(left, 1.0), MIN_COLD_SHARE)
    by_night = _given(spots, lambda spot: spot.night_offset_k)
    share = np.where(by_night < 0, cold, filled(left, 0.0))
    return np.asarray(np.where(roofed, 1.0, share))


def offsets(
    spots: Sequence[Spot], shares: Array, learned_k: Array, most: Array, least: Array
) -> Array:
    """Return what is added to the forecast's temperature (time, spot) [K]; 0 where not given.

    shares (time, spot) : as in `night_offset_shares`. learned_k (time, spot) : what
    readings have taught to add in full night [K]. most, least (time,) : as in `night_shares`. At
    every hour the colder of the two results counts.
    """
    by_day = _given(spots, lambda spot: spot.day_offset_k)
    night = _given(spots, lambda spot: spot.night_offset_k) * shares + learned_k
    both = [by_day + (night - by_day) * share[:, None] for share in (most, least)]
    return np.minimum(*both)


def _given(spots: Sequence[Spot], of: Callable[[Spot], float | None]) -> Array:
    return np.array([of(spot) or 0.0 for spot in spots], dtype=np.float64)
