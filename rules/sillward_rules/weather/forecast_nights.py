"""The nights of a forecast, each by the hour of its low."""

from dataclasses import dataclass
from itertools import takewhile

import numpy as np

from sillward_rules.arrays import HOUR_S, Array
from sillward_rules.weather import sun
from sillward_rules.weather.cloud import warming_cover
from sillward_rules.weather.hourly import (
    CLOUD_LAYERS,
    Weather,
    bridge_gaps,
    moment,
    rows_from_to,
)
from sillward_rules.weather.site import Site
from sillward_rules.weather.sun import Night


@dataclass(frozen=True, slots=True, eq=False)
class ForecastNights:
    """The nights that begin within a forecast, in order, and one more that stands for all others.

    Numbers are those of the forecast at the full hour of the low, as in the archive of nights. NaN
    where the low is not known to the end of the cold, and for the last. Of the night that goes on
    when the forecast begins they are those of the hours that are left.

    - ends (night - 1,): when the cold of each is over [unix s].
    - days (night,): the local dates of their evenings, as ordinals; for the last that after the
      one before it.
    - low_c [°C], wind_m_s [m/s], above_dew_point_k [K], cloud, warming (0..1): (night,); warming is
      how much of the cloud warms like low cloud (`cloud.warming_cover`).
    """

    ends: Array
    days: np.ndarray
    low_c: Array
    wind_m_s: Array
    above_dew_point_k: Array
    cloud: Array
    warming: Array

    def rows_at(self, times: np.ndarray) -> np.ndarray:
        """Return the row of the night whose cold goes on at each moment [unix s], or of the next
        one."""
        return np.asarray(np.searchsorted(self.ends, times))

    def row_of(self, night: Night) -> int:
        """Return the row of a night."""
        end = night.cold_until.timestamp()
        row = int(np.searchsorted(self.ends, end))
        same = row < self.ends.size and self.ends[row] == end
        return row if same else self.ends.size


def forecast_nights(site: Site, weather: Weather) -> ForecastNights:
    """Return the nights of a forecast."""
    whole = weather.times % HOUR_S == 0
    times = weather.times[whole]
    temp, dew_point, wind, cloud = (
        bridge_gaps(series[whole])
        for series in (weather.temp_c, weather.dew_point_c, weather.wind_m_s, weather.cloud)
    )
    layers = (bridge_gaps(getattr(weather, name)[whole]) for name in CLOUD_LAYERS)
    warming = warming_cover(cloud, *layers)
    ends, days, rows_of_low = [], list[int](), list[int]()
    if times.size:
        begun = takewhile(
            lambda night: night.start.timestamp() <= times[-1],
            sun.nights_from(site, moment(times[0])),
        )
        for night in begun:
            rows = rows_from_to(times, night.start, night.cold_until)
            reaches = rows.size and times[-1] > night.cold_until.timestamp() - HOUR_S
            known = reaches and bool(np.isfinite(temp[rows]).all())
            ends.append(night.cold_until.timestamp())
            days.append(night.day.toordinal())
            rows_of_low.append(int(rows[np.argmin(temp[rows])]) if known else -1)
    at = np.array([*rows_of_low, -1])

    def of(series: Array) -> Array:
        return np.append(series, np.nan)[np.where(at < 0, series.size, at)]

    above_dew_point = of(temp) - of(dew_point)
    all_days = np.array([*days, days[-1] + 1 if days else 0])
    return ForecastNights(
        np.array(ends), all_days, of(temp), of(wind), above_dew_point, of(cloud), of(warming)
    )


_UNKNOWN = np.full(1, np.nan)

NO_NIGHTS = ForecastNights(
    np.empty(0), np.zeros(1, np.int64), _UNKNOWN, _UNKNOWN, _UNKNOWN, _UNKNOWN, _UNKNOWN
)
"""Of no night but the one that stands for all others."""
