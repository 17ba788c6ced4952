"""What a forecast says of each night, in a few numbers, to be compared later with what came."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
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
    rows_within,
)
from sillward_rules.weather.site import Site, require_aware


@dataclass(frozen=True, slots=True)
class NightForecast:
    """The low of one night as it was forecast for the site; None is unknown.

    - night: the local date of its evening.
    - lead_h: the time from fetching the forecast to the low [h].
    - low_c: the lowest air temperature at a full hour [°C]; low_at: the first hour that has it.
    - dew_point_c [°C], wind_m_s (10 m), cloud (0..1): at that hour.
    - high_c: the highest air temperature in the 24 hours around the sun's noon of that date [°C].
    - sd_k: the standard deviation at the hour of the low, if the forecast came with a spread [K].
    - warming: how much of the cloud warms like low cloud at that hour (`cloud.warming_cover`).
    """

    night: date
    lead_h: float
    low_c: float
    low_at: datetime
    dew_point_c: float | None
    wind_m_s: float | None
    cloud: float | None
    high_c: float | None
    sd_k: float | None = None
    warming: float | None = None


def nights_of(site: Site, weather: Weather, fetched_at: datetime) -> list[NightForecast]:
    """Return every night that is wholly known and whose low lies after fetched_at, in order.

    These are numbers of the forecast, without what a spot changes. Raise ValueError if fetched_at
    has no zone.
    """
    times, fetched_s = weather.times, require_aware(fetched_at).timestamp()
    if not times.size:
        return []
    temp, dew_point, wind, cloud = (
        bridge_gaps(series)
        for series in (weather.temp_c, weather.dew_point_c, weather.wind_m_s, weather.cloud)
    )
    layers = (bridge_gaps(getattr(weather, name)) for name in CLOUD_LAYERS)
    warming = warming_cover(cloud, *layers)
    begun = takewhile(
        lambda night: night.start.timestamp() <= times[-1],
        sun.nights_from(site, moment(times[0])),
    )
    found = []
    for night in begun:
        rows = rows_within(times, night.start, night.cold_until)
        if not rows.size or not np.isfinite(temp[rows]).all():
            continue
        low = rows[np.argmin(temp[rows])]
        if times[low] <= fetched_s:
            continue
        found.append(
            NightForecast(
                night=night.day,
                lead_h=float(times[low] - fetched_s) / HOUR_S,
                low_c=float(temp[low]),
                low_at=moment(times[low]),
                dew_point_c=_known(dew_point[low]),
                wind_m_s=_known(wind[low]),
                cloud=_known(cloud[low]),
                high_c=_high(site, times, temp, night.day),
                sd_k=None if weather.spread is None else _known(weather.spread.sd_k[low]),
                warming=_known(warming[low]),
            )
        )
    return found


def _high(site: Site, times: np.ndarray, temp_c: Array, day: date) -> float | None:
    """Return the highest temperature around noon of a date; None unless all hours are known."""
    noon = site.middle_of_day(day)
    half = timedelta(hours=12)
    rows = rows_within(times, noon - half + timedelta(seconds=1), noon + half)
    return _known(temp_c[rows].max()) if rows.size else None


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
