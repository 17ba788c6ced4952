"""Weather at the site: hourly arrays as a forecast gives them, checked and in one set of units."""

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from enum import Enum

import numpy as np

from sillward_rules.arrays import HOUR_S, Array
from sillward_rules.remark import NoForecast, Remark
from sillward_rules.weather.doubt import Doubt
from sillward_rules.weather.uncertainty import Spread, usual_spread

OLD_AFTER = timedelta(hours=6)
"""A forecast fetched longer ago is named as old. Judgement: two missed model runs."""

UNCHANGED_AFTER = timedelta(hours=12)
"""A forecast whose model run, or whose numbers, are older than this is named as old too. Judgement:
global models run every six hours and take some hours to arrive."""

MAX_CLOCK_LEAD = timedelta(minutes=10)
"""A forecast that was fetched further than this in the future is named as old. Judgement: clocks
may differ by less."""

EXPIRED_AFTER = timedelta(hours=24)
"""A forecast older than this is not used any more: nights count as cold. Judgement."""

MAX_BRIDGE_H = 2
"""Missing hours that are filled in between their neighbours; longer gaps stay missing."""

MAX_PAST_H = 8 * 24
"""At most this many hours are put in front of a forecast. Judgement: the season looks a week
back."""

MIN_SHARED_H = 24
"""Hours that two forecasts must share before they are called the same. Judgement: fewer may agree
by chance, a whole day and night hardly can."""


class Freshness(Enum):
    """How far a forecast can be trusted for its age."""

    FRESH = "fresh"
    OLD = "old"
    EXPIRED = "expired"


_NOT_GIVEN = np.full(0, np.nan)


def _not_given() -> Array:
    return _NOT_GIVEN


@dataclass(frozen=True, slots=True, eq=False)
class Weather:
    """An hourly forecast for one site. All arrays have shape (time,); NaN is unknown.

    times : unix seconds, full hours one after the other. temp_c, dew_point_c, wind_m_s (10 m),
    gust_m_s, cloud (0..1) : instants. rain_mm, direct_w_m2, diffuse_w_m2 (on the level) : sum or
    mean of the hour that ends at the time. hail_pct : 100 where hail is forecast, 0 where not.
    cloud_low, cloud_middle, cloud_high (0..1) : instants, of each layer by itself; unknown unless
    given, because many sources give only the total cover.
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
    cloud_low: Array = field(default_factory=_not_given)
    cloud_middle: Array = field(default_factory=_not_given)
    cloud_high: Array = field(default_factory=_not_given)
    issued_at: datetime | None = None
    spread: Spread | None = None
    """How far off it may be, by hour; None stands for the usual errors by lead time."""
    remarks: tuple[Remark, ...] = field(default=())
    """What was wrong with single values, and what else the grower must know about it."""
    notes: tuple[str, ...] = field(default=())
    """What this source does not give, and how that was made up for; nothing to act on."""
    doubts: tuple[Doubt, ...] = field(default=())
    """What speaks against it in values that are not kept here, such as the humidity next to the dew
    point. Its reader finds these; `plausibility` finds all others."""

    def __post_init__(self) -> None:
        self._require_lengths()
        if np.any(np.diff(self.times) != HOUR_S) or np.any(self.times[:1] % HOUR_S != 0):
            msg = "weather: the times are not full hours, one after the other"
            raise ValueError(msg)

    def _require_lengths(self) -> None:
        for name in CLOUD_LAYERS:
            if getattr(self, name) is _NOT_GIVEN:
                object.__setattr__(self, name, np.full(self.times.shape, np.nan))
        for name in SERIES:
            if getattr(self, name).shape != self.times.shape:
                msg = f"weather: {name} has another length than the times"
                raise ValueError(msg)
        if self.spread is not None and self.spread.error_k.shape != self.times.shape:
            msg = "weather: the spread has another length than the times"
            raise ValueError(msg)

    def age(self, now: datetime) -> timedelta:
        """Return how old this forecast is: since its model run if known, else its fetching."""
        return now - (self.issued_at or self.fetched_at)

    def freshness(self, now: datetime) -> Freshness:
        """Return whether it is fresh, old (still used, and named as old) or expired (not used)."""
        if self.age(now) > EXPIRED_AFTER:
            return Freshness.EXPIRED
        unmoved = self.issued_at is not None and now - self.issued_at > UNCHANGED_AFTER
        # From the future: the clock was ahead, and it is not known how old it is.
        old = unmoved or self.fetched_at - now > MAX_CLOCK_LEAD or now - self.fetched_at > OLD_AFTER
        return Freshness.OLD if old else Freshness.FRESH

    def reaches(self, now: datetime) -> bool:
        """Return whether it covers the present hour, or begins with the next as some sources do."""
        if not self.times.size:
            return False
        return bool(self.times[0] - HOUR_S <= now.timestamp() <= self.times[-1])

    def spread_in(self, rows: np.ndarray) -> Spread:
        """Return how far off it may be: its own spread where that is known in all of these rows."""
        if self.spread is not None and self.spread.knows(rows):
            return self.spread
        return usual_spread(self.times, self.issued_at or self.fetched_at)


@dataclass(frozen=True, slots=True, eq=False)
class WeatherBetween(Weather):
    """A weather at any moments, in order, as interpolated by `at_moments`."""

    def __post_init__(self) -> None:
        self._require_lengths()


CLOUD_LAYERS = ("cloud_low", "cloud_middle", "cloud_high")
"""Names of the series of cloud by height."""

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
    *CLOUD_LAYERS,
)
"""Names of the hourly series of a Weather."""

OF_THE_HOUR = ("rain_mm", "direct_w_m2", "diffuse_w_m2", "hail_pct")
"""Sums, means or facts of the hour that ends at the time; all others are instants."""

_IN_WORDS = {
    "temp_c": "temperature",
    "dew_point_c": "dew point",
    "wind_m_s": "wind",
    "gust_m_s": "gusts",
    "cloud": "cloud",
    "rain_mm": "rain",
    "direct_w_m2": "direct sun",
    "diffuse_w_m2": "diffuse light",
}
# Neither hail nor cloud by height is told as missing: few sources give hail, and without the layers
# the total cover counts, which is told.

_STATE_OF_THE_AIR = ("temp_c", "dew_point_c", "wind_m_s", "cloud")


def no_weather(source: str, now: datetime, hours: int = 48) -> Weather:
    """Return a weather without any known value, from yesterday on: all nights are unjudged."""
    first = int(now.timestamp()) // HOUR_S * HOUR_S - 24 * HOUR_S
    times = first + HOUR_S * np.arange(24 + hours, dtype=np.int64)
    series = {name: np.full(times.shape, np.nan) for name in SERIES}
    return Weather(
        times=times,
        source=source,
        fetched_at=now,
        remarks=(NoForecast(),),
        **series,  # type: ignore[arg-type]
    )


def withheld(weather: Weather) -> Weather:
    """Return the weather with all its values unknown; all its nights are unjudged."""
    unknown = np.full(weather.times.shape, np.nan)
    series = dict.fromkeys(SERIES, unknown)
    return replace(weather, spread=None, remarks=(), notes=(), **series)  # type: ignore[arg-type]


def bridge_gaps(values: Array, max_hours: int = MAX_BRIDGE_H) -> Array:
    """Fill gaps of at most `max_hours` missing values linearly; longer ones and the ends stay NaN.

    Shape (time,) in and out.
    """
    known = np.isfinite(values)
    if known.all() or not known.any():
        return values
    rows = np.arange(values.size)
    before = np.maximum.accumulate(np.where(known, rows, -1))
    after = np.minimum.accumulate(np.where(known, rows, values.size)[::-1])[::-1]
    fillable = ~known & (before >= 0) & (after < values.size) & (after - before - 1 <= max_hours)
    filled = values.copy()
    filled[fillable] = np.interp(rows[fillable], rows[known], values[known])
    return filled


def moment(second: float) -> datetime:
    """Return unix seconds as an aware datetime (UTC)."""
    return datetime.fromtimestamp(float(second), UTC)


def between(times: np.ndarray, series: Array, at: Array) -> Array:
    """Return instants (time, ...) interpolated linearly at moments [unix s]: (moment, ...).

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


def at_moments(weather: Weather, at: Array) -> WeatherBetween:
    """Return a weather at moments within its hours, in order [unix s].

    Instants are interpolated linearly between the hours, short gaps bridged. Sums, means and facts
    of an hour are those of the hour that a moment lies in. At a full hour nothing is changed.
    """
    times = weather.times
    rows = np.searchsorted(times, at, side="left")
    series = {}
    for name in SERIES:
        values = getattr(weather, name)
        if name in OF_THE_HOUR:
            series[name] = values[rows]
        else:
            series[name] = between(times, bridge_gaps(values), at)
    return WeatherBetween(
        times=at,
        source=weather.source,
        fetched_at=weather.fetched_at,
        issued_at=weather.issued_at,
        **series,
    )


def hours_within(start: datetime, end: datetime) -> np.ndarray:
    """Return the full hours [unix s] from start to end, both included."""
    first = -int(-start.timestamp() // HOUR_S)
    return HOUR_S * np.arange(first, int(end.timestamp() // HOUR_S) + 1, dtype=np.int64)


def at_hours(times: np.ndarray, series: Array, hours: np.ndarray) -> Array:
    """Return a series (time,) at these full hours [unix s]: (hour,); NaN outside the times."""
    if not times.size:
        return np.full(hours.shape, np.nan)
    rows = (hours - times[0]) // HOUR_S
    inside = (rows >= 0) & (rows < times.size)
    return np.where(inside, series[np.where(inside, rows, 0)], np.nan)


def rows_from_to(times: np.ndarray, start: datetime, end: datetime) -> np.ndarray:
    """Return the rows from start to end, both included, among times (time,) in order."""
    first, after = int(times.searchsorted(start.timestamp())), end.timestamp()
    return np.arange(first, max(first, int(times.searchsorted(after, side="right"))))


def covers_hours(times: np.ndarray, start: datetime, end: datetime) -> bool:
    """Return whether every full hour from start to end, at least one, is among the times."""
    hours = hours_within(start, end)
    if not times.size or not hours.size:
        return False
    return bool(times[0] <= hours[0] and hours[-1] <= times[-1])


def rows_within(times: np.ndarray, start: datetime, end: datetime) -> np.ndarray:
    """Return the rows of the full hours from start to end; none unless all are there."""
    if not covers_hours(times, start, end):
        return np.arange(0)
    return rows_from_to(times, start, end)


def covers(weather: Weather, start: datetime, end: datetime) -> bool:
    """Return whether the temperature is known at every full hour from start to end.

    Gaps that may be bridged count as known.
    """
    temp = at_hours(weather.times, bridge_gaps(weather.temp_c), hours_within(start, end))
    return bool(weather.times.size and np.isfinite(temp).all())


def with_past(weather: Weather, earlier: Weather) -> Weather:
    """Put the hours that `earlier` has before this weather in front of it, at most `MAX_PAST_H`.

    For a source without history. Nothing that this weather says is changed, unknown hours
    included. Hours between the two are unknown, and so is the spread of the past. Return the
    weather itself where there is nothing to add.
    """
    if not weather.times.size or not earlier.times.size:
        return weather
    first = int(weather.times[0])
    start = max(int(earlier.times[0]), first - MAX_PAST_H * HOUR_S)
    added = np.arange(start, first, HOUR_S, dtype=np.int64)
    if not added.size or earlier.times[-1] < start:
        return weather

    def joined(name: str) -> Array:
        past = at_hours(earlier.times, getattr(earlier, name), added)
        return np.concatenate([past, getattr(weather, name)])

    times = np.concatenate([added, weather.times])
    series = {name: joined(name) for name in SERIES}
    spread = None if weather.spread is None else weather.spread.after_unknown(added.size)
    return replace(weather, times=times, spread=spread, **series)  # type: ignore[arg-type]


@dataclass(frozen=True, slots=True)
class Gap:
    """Missing hours of one series in a row.

    series: in plain words. first, last: of rain and light, the hour that ends then is missing.
    """

    series: str
    first: datetime
    last: datetime
    hours: int


def gaps(weather: Weather, start: datetime, end: datetime) -> list[Gap]:
    """Return what is missing from start to end, both included, by time and then by series.

    Hours outside the forecast are missing in every series. Short gaps are included although they
    are bridged. Hail and cloud by height are left out.
    """
    hours = hours_within(start, end)
    found: list[Gap] = []
    for name, words in _IN_WORDS.items():
        missing = np.isnan(at_hours(weather.times, getattr(weather, name), hours))
        edges = np.diff(missing.astype(np.int8), prepend=0, append=0)
        for first, after in zip(np.flatnonzero(edges > 0), np.flatnonzero(edges < 0), strict=True):
            span = moment(hours[first]), moment(hours[after - 1])
            found.append(Gap(words, *span, int(after - first)))
    return sorted(found, key=lambda gap: gap.first)


def same_forecast(weather: Weather, other: Weather, now: datetime) -> bool:
    """Return whether two forecasts agree about the future, like one that is fetched twice.

    Compared are temperature, dew point, wind and cloud at the hours after `now` that both reach,
    unknown hours included. False where they share fewer than `MIN_SHARED_H` of these.
    """
    shared, rows, others = np.intersect1d(
        weather.times, other.times, assume_unique=True, return_indices=True
    )
    ahead = shared > now.timestamp()
    if ahead.sum() < MIN_SHARED_H:
        return False
    return all(
        np.array_equal(
            getattr(weather, name)[rows[ahead]], getattr(other, name)[others[ahead]], equal_nan=True
        )
        for name in _STATE_OF_THE_AIR
    )
