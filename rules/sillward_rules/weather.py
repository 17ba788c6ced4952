"""Weather at the site: hourly arrays as a forecast gives them, checked and in one set of units."""

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

import numpy as np

from sillward_rules.air import Array
from sillward_rules.spread import Spread, usual_spread

HOUR_S = 3600

STALE = timedelta(hours=24)
"""A forecast older than this judges nothing any more. Judgement."""

LONGEST_BRIDGE_H = 2
"""Missing hours that are filled in between their neighbours; longer gaps stay missing."""


@dataclass(frozen=True, slots=True, eq=False)
class Weather:
    """An hourly forecast for one site. All arrays have shape (time,); NaN is unknown.

    times : unix seconds, full hours one after the other. temp_c, dew_point_c, wind_m_s (10 m),
    gust_m_s, cloud (0..1) : instants. rain_mm, direct_w_m2, diffuse_w_m2 (on the level) : sum or
    mean of the hour that ends at the time. hail_pct : 100 where hail is forecast, 0 where not.
    """

    times: np.ndarray
    temp_c: Array
    dew_point_c: Array
    wind_m_s: Array
    gust_m_s: Array
    cloud: Array
    rain_mm: Array
    direct_w_m2: Array
    diffuse_w_m2: Array
    hail_pct: Array
    source: str
    fetched_at: datetime
    issued_at: datetime | None = None
    spread: Spread | None = None
    """How far off it may be, by hour; None: the usual errors by lead time."""
    remarks: tuple[str, ...] = field(default=())
    """What was wrong with single values, in words for the grower."""

    def __post_init__(self) -> None:
        for name in SERIES:
            if getattr(self, name).shape != self.times.shape:
                msg = f"weather: {name} has another length than the times"
                raise ValueError(msg)
        if self.spread is not None and self.spread.error_k.shape != self.times.shape:
            msg = "weather: the spread has another length than the times"
            raise ValueError(msg)
        if np.any(np.diff(self.times) != HOUR_S) or np.any(self.times[:1] % HOUR_S != 0):
            msg = "weather: the times are not full hours, one after the other"
            raise ValueError(msg)

    def age(self, now: datetime) -> timedelta:
        """How old this forecast is: since its model run if known, else since it was fetched."""
        return now - (self.issued_at or self.fetched_at)

    def spread_in(self, rows: np.ndarray) -> Spread:
        """How far off it may be: its own spread where that is known in all the rows."""
        if self.spread is not None and self.spread.knows(rows):
            return self.spread
        return usual_spread(self.times, self.issued_at or self.fetched_at)


SERIES = (
    "temp_c",
    "dew_point_c",
    "wind_m_s",
    "gust_m_s",
    "cloud",
    "rain_mm",
    "direct_w_m2",
    "diffuse_w_m2",
    "hail_pct",
)
"""Names of the hourly series of a Weather."""


def no_weather(source: str, now: datetime, hours: int = 48) -> Weather:
    """Weather of which nothing is known, from yesterday on: every night in it is unjudged."""
    first = int(now.timestamp()) // HOUR_S * HOUR_S - 24 * HOUR_S
    times = first + HOUR_S * np.arange(24 + hours, dtype=np.int64)
    series = {name: np.full(times.shape, np.nan) for name in SERIES}
    return Weather(times=times, source=source, fetched_at=now, **series)  # type: ignore[arg-type]


def bridge_gaps(values: Array, most: int = LONGEST_BRIDGE_H) -> Array:
    """Fill gaps of at most `most` missing values linearly; longer ones and the ends stay NaN.

    Shape (time,) in and out.
    """
    known = np.isfinite(values)
    if known.all() or not known.any():
        return values
    rows = np.arange(values.size)
    before = np.maximum.accumulate(np.where(known, rows, -1))
    after = np.minimum.accumulate(np.where(known, rows, values.size)[::-1])[::-1]
    fillable = ~known & (before >= 0) & (after < values.size) & (after - before - 1 <= most)
    filled = values.copy()
    filled[fillable] = np.interp(rows[fillable], rows[known], values[known])
    return filled


def moment(second: float) -> datetime:
    """Unix seconds as an aware datetime (UTC)."""
    return datetime.fromtimestamp(float(second), UTC)


def between(times: np.ndarray, series: Array, at: Array) -> Array:
    """Instants (time, ...) at moments in between [unix s], by straight lines: (moment, ...).

    On the hour itself the hour before need not be known. NaN outside the times.
    """
    if times.size == 0:
        return np.full((at.size, *series.shape[1:]), np.nan)
    rows = np.searchsorted(times, at, side="left")
    after = np.minimum(rows, times.size - 1)
    before = np.maximum(after - 1, 0)
    step = np.maximum(times[after] - times[before], 1)
    across = (-1, *([1] * (series.ndim - 1)))
    share = (1.0 - (times[after] - at) / step).reshape(across)
    inside = ((rows < times.size) & (at >= times[0])).reshape(across)
    known = series[before] + share * (series[after] - series[before])
    return np.where(inside, np.where(share == 1.0, series[after], known), np.nan)
