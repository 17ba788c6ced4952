"""The season a plant is in, from day length and the warmth of the weeks around now.

Whether plants grow, slow down or rest follows from what they meet, never from the calendar, so that
it is right in both hemispheres, in the tropics and beyond the polar circles.

Common practice, without a source for single numbers: most tender container plants grow in long warm
days; many orchids, succulents and bulbs want a dry rest in short cool ones; feed that a resting
plant does not take up stays as salt. Plants of cool mountains grow at a warmth in which warm
growers rest, some of them all year. All bounds are judgement, set so that a doubt ends in SLOWING.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from enum import Enum
from typing import Literal, TypeAlias, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sillward_rules.arrays import HOUR_S, Array
from sillward_rules.weather.hourly import bridge_gaps
from sillward_rules.weather.site import Site
from sillward_rules.weather.sun import Daylight, day_events

Grows: TypeAlias = Literal["warm", "intermediate", "cool", "cool all year"]

GROWS: tuple[Grows, ...] = get_args(Grows)
"""At what warmth plants grow (`WARMTH`), those that want most first."""

GROWING_FROM_H = 11.0
"""Day length from which plants that depend on it are taken to grow [h]. Judgement: within 17
degrees of the equator every day is longer, and there warmth alone decides."""

REST_BELOW_H = 10.5
"""Day length below which plants that depend on it rest unless they are as warm as growth wants [h].
Judgement: no day is that short within 25 degrees of the equator, where day length hardly varies;
half an hour under `GROWING_FROM_H`, so that growing plants slow down before they rest."""


@dataclass(frozen=True, slots=True)
class Warmth:
    """What a class of plants wants to grow [°C].

    - growing_from_c: they grow from this mean of the days around now on; rest_below_c: under this
      mean they rest.
    - by_day_length: whether short days slow them down.
    - feed_from_c: they are not fed where the mean of 24 hours is lower.
    - root_from_c: their roots take up little where the air is colder.
    - mist_from_c: they are not misted where the day's highest is lower.
    """

    growing_from_c: float
    rest_below_c: float
    by_day_length: bool
    feed_from_c: float
    root_from_c: float
    mist_from_c: float


WARMTH: Mapping[Grows, Warmth] = {
    "warm": Warmth(18.0, 13.0, True, 18.0, 12.0, 18.0),
    "intermediate": Warmth(16.0, 11.0, True, 16.0, 12.0, 16.0),
    "cool": Warmth(12.0, 7.0, True, 12.0, 8.0, 12.0),
    "cool all year": Warmth(12.0, 7.0, False, 9.0, 8.0, 10.0),
}
"""By class of growers. Judgement. Night classes of orchids are cool 7 to 13, intermediate 13 to 16,
warm from 18 °C on (Orchids for Dummies, table 2-1), and days some 8 K warmer: a cool grower at the
lower end of both has a mean of 12, a warm one at its least night of 18. Plants that grow all year
without a pause slow down in the cold only; they are fed weakly at any warmth they live in well."""

MIN_KNOWN_H = 48
"""A mean needs this many known hours [h]. Judgement: two days."""

_DAY_H = 24


class Season(Enum):
    """What a plant is taken to do at this time of its year."""

    GROWING = "growing"
    SLOWING = "slowing"
    REST = "rest"


KEPT_MOIST: Mapping[Season, float] = {Season.GROWING: 1.0, Season.SLOWING: 0.75, Season.REST: 0.5}
"""How moist a pot is kept by season: it is watered once it has this share left of what it is kept
above in growth. Judgement: handbooks say "water freely", "reduce" and "sparingly, just enough that
it does not dry out" (RHS advice in those words) and give no figures; a pot is always watered
through, so that what changes is how far it dries before. Roots that are cold and wet rot."""

DRY_REST = 0.0
"""The same at rest for plants that rest dry (`rest` in groups.toml): no water until growth."""


def day_length_h(site: Site, day: date) -> float:
    """Return the hours from sunrise to sunset on a local date: 24 if the sun stays up, 0 if down.

    At sunrise the upper edge of the sun shows, with refraction, so this is longer than N of FAO-56.
    """
    events = day_events(site, day)
    if events.daylight is Daylight.ALWAYS_UP:
        return 24.0
    if events.daylight is Daylight.ALWAYS_DOWN:
        return 0.0
    return (events.sunset - events.sunrise).total_seconds() / HOUR_S


def running_mean_c(
    times: np.ndarray,
    temp_c: ArrayLike,
    now_unix: float,
    days_back: int = 7,
    days_ahead: int = 7,
) -> Array:
    """Return the mean temperature of the days around now.

    The window is divided into days of 24 hours counted from now. Only whole days count, all with
    the same weight: a mean with more noons than nights in it would be too warm. Gaps of up to two
    hours are bridged; a longer one excludes its day. Where the past is unknown the days ahead count
    alone, and the other way round.

    Parameters
    ----------
    times : np.ndarray
        Unix seconds of full hours, shape (time,), rising; hours may be left out.
    temp_c : ArrayLike
        Temperature at these times [°C], shape (time,) or (time, spot); NaN is unknown.
    now_unix : float
        Now [unix seconds].
    days_back, days_ahead : int
        How far the window reaches.

    Returns
    -------
    Array
        Mean [°C], shape () or (spot,). NaN with fewer than `MIN_KNOWN_H` known hours, or fewer
        than so many in whole days.

    Raises
    ------
    ValueError
        If the series and the times differ in length.
    """
    temp = np.asarray(temp_c, dtype=np.float64)
    if temp.shape[:1] != times.shape:
        msg = "running_mean_c: the temperatures have another length than the times"
        raise ValueError(msg)
    columns = temp[:, np.newaxis] if temp.ndim == 1 else temp
    days = days_back + days_ahead
    # The first full hour after the window's beginning: each stretch ends with its last hour.
    first = np.floor(now_unix / HOUR_S) + 1 - _DAY_H * days_back
    rows = np.floor_divide(times, HOUR_S) - first
    inside = (rows >= 0) & (rows < _DAY_H * days)
    hours = np.full((_DAY_H * days, columns.shape[1]), np.nan)
    hours[rows[inside].astype(np.intp)] = columns[inside]
    return np.asarray(_mean_of_whole_days(hours).reshape(temp.shape[1:]))


def season_of(
    day_length_h: ArrayLike, mean_c: ArrayLike, grows: Grows = "warm"
) -> NDArray[np.object_]:
    """Return the season of a class of plants by day length and warmth (see `WARMTH`).

    GROWING in warmth and long days; REST in cold, or in short days that are not warm; SLOWING in
    between, and where the warmth is unknown: then a plant is neither fed as growing nor dried as
    resting. For plants that do not depend on day length only warmth counts.

    Parameters
    ----------
    day_length_h, mean_c : ArrayLike
        Day length [h] and running mean temperature [°C], any shapes that go together.
    grows : Grows
        At what warmth the plants grow.

    Returns
    -------
    NDArray[np.object_]
        Of `Season`, in their common shape; `.item()` takes a single one out.
    """
    length, mean = np.broadcast_arrays(
        np.asarray(day_length_h, dtype=np.float64), np.asarray(mean_c, dtype=np.float64)
    )
    wants = WARMTH[grows]
    long = (length >= GROWING_FROM_H) | (not wants.by_day_length)
    short = (length < REST_BELOW_H) & wants.by_day_length
    # Comparisons with NaN are false, so what is unknown ends in SLOWING.
    growing = (mean >= wants.growing_from_c) & long
    rest = (mean < wants.rest_below_c) | (short & (mean < wants.growing_from_c))
    seasons = np.full(mean.shape, Season.SLOWING, dtype=np.object_)
    seasons[growing] = Season.GROWING
    seasons[rest] = Season.REST
    return seasons


def kept_moist(seasons: NDArray[np.object_], rests_dry: ArrayLike) -> Array:
    """Return how moist the pots of plants are kept (`KEPT_MOIST`).

    Parameters
    ----------
    seasons : NDArray[np.object_]
        Of `Season`, any shape.
    rests_dry : ArrayLike
        Whether they are kept dry at rest, in a shape that goes with it.

    Returns
    -------
    Array
        0..1, in their common shape; 0 is for plants that get none.
    """
    season, dry = np.broadcast_arrays(seasons, np.asarray(rests_dry))
    kept = np.full(season.shape, KEPT_MOIST[Season.SLOWING])
    for one, value in KEPT_MOIST.items():
        kept[season == one] = value
    kept[(season == Season.REST) & dry] = DRY_REST
    return kept


def _mean_of_whole_days(hours: Array) -> Array:
    """Return the mean of the whole days of each spot (spot,), from hours (time, spot)."""
    known = np.isfinite(hours)
    known_h = known.sum(axis=0)
    bridged = hours.T
    runs = known[0] + (known[1:] & ~known[:-1]).sum(axis=0)
    if np.any(runs > 1):  # somewhere hours are unknown between known ones
        bridged = np.asarray([bridge_gaps(column) for column in bridged])
    by_day = bridged.reshape(hours.shape[1], hours.shape[0] // _DAY_H, _DAY_H)
    means = by_day.mean(axis=2)
    whole = np.isfinite(means)
    counted = whole.sum(axis=1)
    enough = (known_h >= MIN_KNOWN_H) & (counted * _DAY_H >= MIN_KNOWN_H)
    total = np.where(whole, means, 0.0).sum(axis=1)
    return np.where(enough, total / np.maximum(counted, 1), np.nan)
