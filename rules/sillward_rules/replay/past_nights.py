"""The nights of past weather, many years if need be: the low of each at every spot."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from sillward_rules.arrays import HOUR_S, Array
from sillward_rules.weather import sun
from sillward_rules.weather.climate import Climate, climate_by_night, climate_of
from sillward_rules.weather.hourly import SERIES, Weather, covers_hours, moment, rows_from_to
from sillward_rules.weather.season import running_mean_c
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import Spot
from sillward_rules.weather.sun import Night

CHUNK_DAYS = 60
"""So many days are worked out at a time, so that years take no more memory than two months."""

MARGIN_DAYS = 8
"""Days of weather before and after each chunk: a week for the running mean of the season, which is
also longer than a crown stays wet, and a day for the night's own hours."""

_DAY_S = 24 * HOUR_S


@dataclass(frozen=True, slots=True, eq=False)
class PastNights:
    """Nights in a row at some spots. Arrays are (night, spot).

    - first: the local date of the first evening.
    - low_c: the lowest temperature of the leaf from sunset until the cold of the morning is over
      [°C]; NaN where the night is not wholly known.
    - mean_c: the mean temperature of the air over the two weeks around sunset
      (`season.running_mean_c`) [°C].
    """

    first: date
    spots: tuple[str, ...]
    low_c: Array
    mean_c: Array

    @property
    def days(self) -> list[date]:
        """The local dates of the evenings."""
        return [self.first + timedelta(days=day) for day in range(len(self.low_c))]


def past_nights(
    site: Site,
    spots: Sequence[Spot],
    weather: Weather,
    on_progress: Callable[[float], None] = lambda _: None,
) -> PastNights:
    """Return every night of past weather, from the first to the last whose sunset it has.

    Nights at the ends, of which it has only a part, are unknown.

    weather : as long as may be. spots : those to look at. on_progress : told now and then which
    share of the work is done (0..1).
    """
    nights = _nights_begun(site, weather)
    names = tuple(spot.name for spot in spots)
    if not nights or not spots:
        nothing = np.empty((len(nights), len(names)))
        first = nights[0].day if nights else site.local_date(weather.fetched_at)
        return PastNights(first, names, nothing, nothing)
    parts = []
    for start in range(0, len(nights), CHUNK_DAYS):
        chunk = nights[start : start + CHUNK_DAYS]
        parts.append(_lows_and_means(site, spots, _around(weather, chunk), chunk))
        on_progress(min(1.0, (start + CHUNK_DAYS) / len(nights)))
    low, mean = (np.concatenate(series) for series in zip(*parts, strict=True))
    return PastNights(nights[0].day, names, low, mean)


def _nights_begun(site: Site, weather: Weather) -> list[Night]:
    """Return the nights whose sunset lies within the weather."""
    nights: list[Night] = []
    if not weather.times.size:
        return nights
    first, last = (float(weather.times[edge]) for edge in (0, -1))
    for night in sun.nights_from(site, moment(first)):
        if night.start.timestamp() > last:
            break
        if night.start.timestamp() >= first:
            nights.append(night)
    return nights


def _around(weather: Weather, nights: Sequence[Night]) -> Weather:
    """Return the part of a weather that has these nights and the days around them."""
    first = nights[0].start.timestamp() - MARGIN_DAYS * _DAY_S
    last = nights[-1].end.timestamp() + MARGIN_DAYS * _DAY_S
    rows = slice(*np.searchsorted(weather.times, [first, last]))
    series = {name: getattr(weather, name)[rows] for name in SERIES}
    return replace(weather, times=weather.times[rows], spread=None, **series)


def _lows_and_means(
    site: Site, spots: Sequence[Spot], weather: Weather, nights: Sequence[Night]
) -> tuple[Array, Array]:
    """Return the low of each night and the mean of the days around it, both (night, spot)."""
    hourly = climate_of(site, spots, weather)
    by_night = climate_by_night(site, hourly, weather)
    low = np.stack([_low(weather, by_night, night) for night in nights])
    mean = np.stack([_mean(hourly, night) for night in nights])
    return low, mean


def _low(weather: Weather, by_night: Climate, night: Night) -> Array:
    if not covers_hours(weather.times, night.start, night.cold_until):
        return np.full(len(by_night.spots), np.nan)
    rows = rows_from_to(by_night.times, night.start, night.cold_until)
    return np.asarray(by_night.leaf_c[rows].min(axis=0))  # NaN if one of them is


def _mean(hourly: Climate, night: Night) -> Array:
    now = night.start.timestamp()
    rows = slice(
        *np.searchsorted(hourly.times, [now - MARGIN_DAYS * _DAY_S, now + MARGIN_DAYS * _DAY_S])
    )
    return running_mean_c(hourly.times[rows], hourly.temp_c[rows], now)
