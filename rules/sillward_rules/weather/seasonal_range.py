"""How warm and how cold it can be, by latitude, height and season, anywhere in the world.

An envelope, not a climatology: one latitude has deserts and coasts, so the warm bound is that of
the deserts and the cold one that of the continents, and a value beyond them is wrong anywhere. The
tables are judgement: drawn, with room beyond them, around records of the World Meteorological
Organization's archive and of national ones (the tests list them with their places).
"""

from dataclasses import dataclass

import numpy as np

from sillward_rules.arrays import Array
from sillward_rules.weather.site import Site

_LATITUDES = (0, 10, 20, 25, 30, 37, 42, 50, 60, 70, 80, 90)

_WARMEST_SUMMER_C = (37, 41, 46, 47, 47, 47, 43, 38, 32, 28, 16, 6)
_WARMEST_WINTER_C = (37, 37, 34, 31, 28, 23, 20, 16, 12, 8, 5, -5)
_COLDEST_SUMMER_C = (4, 3, 2, 1, 0, -2, -4, -6, -10, -15, -25, -30)
_COLDEST_WINTER_C = (4, 2, -3, -7, -16, -27, -36, -46, -62, -68, -68, -68)
"""Means of three days at sea level, by latitude, half a year from one solstice to the other [°C].
Death Valley's hottest days have a mean of 45 (36 N), Verkhoyansk's coldest one of -64 (68 N),
Vostok's -85, which is -62 at sea level (78 S); from memory, rounded outwards. The cold bounds leave
more room, some 10 K in the tropics: false cold only makes a grower carry plants for nothing."""

DAY_BEYOND_K = 4.0
"""The mean of one day may be this much further out than that of three [K]. Judgement."""

HOTTEST_HOUR_K, COLDEST_HOUR_K = 20.0, 20.0
"""An hour may be this far beyond the mean of such days [K]: half of a desert's daily range, which
is 25 K in most places, plus a foehn. Judgement."""

HOTTEST_NIGHT_K = 3.0
"""The coldest hour of a day and night may be this far above the warmest mean [K]: a night is hardly
ever warmer than the mean of its day. The record is 42.6 °C (Qurayyat, 23 N,
26 June 2018). Judgement."""

LAPSE_K_PER_M = 0.0065
"""Decrease of temperature with height [K/m]: the standard atmosphere (ISO 2533)."""

WARM_LAPSE_K_PER_M = 0.005
"""The same for the warm bounds [K/m]: high plains warm the air over them. Leh, at 3,500 m, has had
days as warm as at sea level less 5 K/km. Judgement."""

_WARMEST_DAY = 201.0
"""Day of the year: 20 July in the north, inland a month after the solstice; the coldest is half a
year later."""

_EITHER_WAY_DAYS = 10.0
"""Coasts peak this much later, deserts before the rains this much sooner [d]; both are less extreme
then. Judgement."""

_YEAR_DAYS = 365.25


@dataclass(frozen=True, slots=True, eq=False)
class SeasonRange:
    """Bounds at each of some times, shape (time,) [°C]; values outside them cannot be true.

    warmest, coldest : means of three days. Those of a day, an hour and a night lie further out.
    """

    warmest: Array
    coldest: Array

    @property
    def hottest_hour(self) -> Array:
        """The highest possible temperature of one hour [°C]."""
        return self.warmest + HOTTEST_HOUR_K

    @property
    def coldest_hour(self) -> Array:
        """The lowest possible temperature of one hour [°C]."""
        return self.coldest - COLDEST_HOUR_K

    @property
    def hottest_night(self) -> Array:
        """The highest possible temperature of the coldest hour of a day and night [°C]."""
        return self.warmest + HOTTEST_NIGHT_K


def season_range(site: Site, times: np.ndarray) -> SeasonRange:
    """Return the bounds at a site at some times (time,) [unix s]."""
    latitude = abs(site.latitude)
    day = np.asarray(times, dtype=np.float64) / 86400.0 % _YEAR_DAYS
    turned = _WARMEST_DAY if site.latitude >= 0 else _WARMEST_DAY + _YEAR_DAYS / 2
    summer, winter = _share(day, turned), _share(day, turned + _YEAR_DAYS / 2)

    def at(table: tuple[int, ...]) -> float:
        return float(np.interp(latitude, _LATITUDES, table))

    warm = at(_WARMEST_WINTER_C) + summer * (at(_WARMEST_SUMMER_C) - at(_WARMEST_WINTER_C))
    cold = at(_COLDEST_SUMMER_C) + winter * (at(_COLDEST_WINTER_C) - at(_COLDEST_SUMMER_C))
    height = site.elevation_m
    return SeasonRange(warm - WARM_LAPSE_K_PER_M * height, cold - LAPSE_K_PER_M * height)


def _share(day: Array, middle: float) -> Array:
    """Return how close a day of the year is to the middle of a season, 0 to 1.

    1 within `_EITHER_WAY_DAYS` of it.
    """
    half = _YEAR_DAYS / 2
    away = np.abs((day - middle + half) % _YEAR_DAYS - half)
    return np.asarray((1 + np.cos(np.pi * np.maximum(0.0, away - _EITHER_WAY_DAYS) / half)) / 2)
