"""Whether a forecast can be true.

It is compared with the season, its own days and nights, its moisture, the forecast before it and
another source's. Missing values raise no doubt. A doubted forecast is not believed merely because
it stays the same. Only a jump from the one before is, after a while, because the weather, a model
or a site's height may really have changed. What the season, the forecast itself or another source
contradicts stays doubted.
"""

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from typing import Any, Protocol

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from sillward_rules.arrays import Array
from sillward_rules.physics import air
from sillward_rules.weather.doubt import (
    DewPointAbove,
    Doubt,
    HumidityMisfit,
    Jump,
    Leap,
    NoDayAndNight,
    OutOfSeason,
    WarmerThanAnother,
)
from sillward_rules.weather.hourly import Weather, at_hours
from sillward_rules.weather.seasonal_range import DAY_BEYOND_K, season_range
from sillward_rules.weather.site import Site
from sillward_rules.weather.uncertainty import USUAL_ERROR_K, usual_error_k

MAX_ERRORS_APART = 8.0
"""Two forecasts further apart than this many usual errors, by the lead time of the older, cannot
both be right: 10 K for the coming night, 18 K for the fourth. Judgement: revisions of a day or two
are of one error or two; inland in winter, where fronts come sooner than was said, errors are two or
three times the usual ones, which are of the British Isles. °F told as °C are 20 to 40 K away."""

COLDER_TOLERANCE = 1.5
"""A colder forecast may be further away by this factor. Judgement: carrying in for nothing costs a
trip, and cold air comes with sharper fronts than warm air."""

NEXT_H, MIN_SHARED_H = 24, 12
"""The next hours that both know are compared by themselves, then all; with fewer than the latter
[h] nothing can be said. Judgement: the first of them decide the coming night."""

COLDER_HOLDS, WARMER_HOLDS = timedelta(hours=3), timedelta(hours=18)
"""If only a jump speaks against a forecast, it is believed once the source has said much the same
for this long. Judgement: where the new one is colder, nights count as cold meanwhile, so it may be
soon. A warmer one would let plants stay out, so it must outlast a night and three model runs, and
yet be believed before the last good one is too old to judge by (24 h)."""

MIN_ODD_H = 3
"""This many hours out of season are more than a single wrong value. Judgement."""

MIN_KNOWN_SHARE = 1 / 3
"""Share of the hours of a night or day that must be known to judge it. Judgement: values in °F in
summer are beyond all bounds by day and so unknown; the nights that are left must not pass."""

FLAT_H, FLAT_K = 24, 0.1
"""A temperature that stays within this range for this long [h, K] cannot be true. Judgement: under
fog or in polar night it varies by some tenths a day, and forecasts are given to a tenth."""

SUNNY_H, SUNNY_K, SUNNY_W_M2 = 48, 0.3, 400.0
"""The same under a sun of at least this strength: for two days, a little more [h, K, W/m2].
Judgement: even small islands and ships have half a kelvin between day and night."""

PERIODS_H, REPEATED_H = (2, 3, 4, 6, 8, 12), 48
"""Only a fault repeats the same few hours again and again for two days."""

MAX_CHANGE_K = 20.0
"""Largest change from one hour to the next [K]. Judgement: 27 K in minutes has been measured
(Spearfish, 22 January 1943), but models, whose cells are kilometres wide, give no such change."""

MAX_TOO_DRY_PCT, MAX_TOO_MOIST_PCT = 15.0, 35.0
"""How far the given humidity may be above, or below, that of temperature and dew point, in the
median [%]. Sources derive one from the other and differ by 1 or 2. Judgement: air that is too dry
for the given humidity is too warm, which is the dangerous side; too moist air is too cold."""

ICE_C = -10.0
"""Below this temperature [°C] humidity may be given over ice rather than water, and is not
compared."""

MIN_MOIST_H = 24
"""Moisture is judged only with this many hours of temperature, dew point and humidity.
Judgement."""

MAX_ABOVE_SHARE = 0.25
"""A dew point above the temperature at more than this share of hours is no slip. Judgement."""


class Measure(Protocol):
    """A reduction of NumPy along an axis: mean, minimum, range."""

    def __call__(self, values: Array, /, *, axis: int) -> Any:
        """Return the reduction along an axis."""


def doubts_about(
    site: Site,
    weather: Weather,
    before: Weather | None = None,
    other: Weather | None = None,
    *,
    now: datetime,
) -> tuple[Doubt, ...]:
    """Return what speaks against a forecast, easiest to understand first; empty if nothing does.

    before : the last good one of the same source. other : another source's, not too old to judge
    by; where it agrees, a jump from the one before is no reason for doubt.
    """
    doubts: list[Doubt] = [*out_of_season(site, weather.times, weather.temp_c)]
    jump = None if before is None else _apart(weather, before, now)
    from_other = None if other is None else _apart(weather, other, now)
    if jump is not None and _far(jump) and (from_other is None or _far(from_other, 0.5)):
        doubts.append(Jump(jump[1]))
    if other is not None and from_other is not None and _far(from_other) and from_other[1] > 0:
        doubts.append(WarmerThanAnother(other.source, from_other[1]))
    return (*doubts, *_odd_course(weather), *weather.doubts)


def believed_at_last(doubts: Sequence[Doubt], agreed_since: datetime, now: datetime) -> bool:
    """Return whether doubts have been outlasted.

    They are if there is nothing but a jump and the source has said much the same since then.
    """
    jumps = [doubt for doubt in doubts if isinstance(doubt, Jump)]
    if not jumps or len(jumps) < len(doubts):
        return False
    warmer = any(jump.warmer_k > 0 for jump in jumps)
    return now - agreed_since >= (WARMER_HOLDS if warmer else COLDER_HOLDS)


def agree(weather: Weather, other: Weather, now: datetime) -> bool:
    """Return whether two forecasts say much the same of the hours ahead; False if not known."""
    apart = _apart(weather, other, now)
    return apart is not None and not _far(apart)


# -- against the season


def out_of_season(site: Site, times: np.ndarray, temp_c: Array) -> Iterator[OutOfSeason]:
    """Yield what is too warm or too cold for the season: nights, hours, means of days.

    times (time,) [unix s], temp_c (time,), NaN where unknown.
    """
    bounds = season_range(site, times)
    yield from _worst("nights", _known_of_windows(temp_c, 24, np.nanmin), bounds.hottest_night, 1)
    for sign, bound in ((1, bounds.hottest_hour), (-1, bounds.coldest_hour)):
        over = sign * (temp_c - bound)
        with np.errstate(invalid="ignore"):
            if (over > 0).sum() >= MIN_ODD_H:
                row = int(np.nanargmax(over))
                yield OutOfSeason("hours", float(temp_c[row]), float(bound[row]))
                break
    for hours, beyond_k in ((72, 0.0), (24, DAY_BEYOND_K)):
        means = _known_of_windows(temp_c, hours, np.nanmean)
        found = [
            *_worst("days", means, bounds.warmest + beyond_k, 1),
            *_worst("days", means, bounds.coldest - beyond_k, -1),
        ]
        if found:
            yield found[0]
            return


def _worst(what: str, values: Array, bound: Array, sign: int) -> Iterator[OutOfSeason]:
    """Yield the value (window,) furthest beyond the bound at its first hour, if any is."""
    over = sign * (values - bound[: values.size])
    if np.isfinite(over).any() and np.nanmax(over) > 0:
        row = int(np.nanargmax(over))
        yield OutOfSeason(what, float(values[row]), float(bound[row]))  # type: ignore[arg-type]


def _of_windows(values: Array, hours: int, of: Measure) -> Array:
    """(window,) a measure of every so many hours in a row; NaN where one of them is unknown."""
    if values.size < hours:
        return np.full(0, np.nan)
    return np.asarray(of(sliding_window_view(values, hours), axis=1))


def _known_of_windows(values: Array, hours: int, of: Measure) -> Array:
    """(window,) the same of the known hours; NaN where there are too few."""
    enough = _of_windows(np.isfinite(values), hours, np.mean) >= MIN_KNOWN_SHARE
    measured = np.full(enough.shape, np.nan)
    if enough.any():
        measured[enough] = of(sliding_window_view(values, hours)[enough], axis=1)
    return measured


# -- against its own days and nights


def _odd_course(weather: Weather) -> Iterator[Doubt]:
    """Yield doubts about a temperature without day and night, or one that leaps."""
    temp = weather.temp_c
    leaps = np.abs(np.diff(temp))
    if np.isfinite(leaps).any() and np.nanmax(leaps) > MAX_CHANGE_K:
        yield Leap(float(np.nanmax(leaps)))
    sun = _of_windows(weather.direct_w_m2 + weather.diffuse_w_m2, SUNNY_H, np.max)
    for hours, range_k in ((FLAT_H, FLAT_K), (SUNNY_H, SUNNY_K)):
        flat = _of_windows(temp, hours, np.ptp) <= range_k
        if hours == SUNNY_H:
            flat &= sun >= SUNNY_W_M2
        if flat.any():
            first = int(np.argmax(flat))
            yield NoDayAndNight(float(temp[first]), _longest(flat) + hours - 1, 1)
            return
    for period in PERIODS_H:
        with np.errstate(invalid="ignore"):
            alike = np.abs(temp[period:] - temp[:-period]) <= FLAT_K / 2
        run = _longest(alike)
        if run and run + period >= REPEATED_H:
            yield NoDayAndNight(float(np.nanmean(temp)), run + period, period)
            return


def _longest(mask: np.ndarray) -> int:
    """Return the length of the longest run of true values."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    return int((edges[1::2] - edges[::2]).max()) if edges.size else 0


# -- against its own moisture


def moisture_doubts(temp_c: Array, dew_point_c: Array, humidity_pct: Array) -> Iterator[Doubt]:
    """Yield doubts about how temperature, dew point and humidity fit together.

    All as a source gives them, shape (time,), NaN where unknown.
    """
    both = np.isfinite(temp_c) & np.isfinite(dew_point_c)
    with np.errstate(invalid="ignore"):
        above = both & (dew_point_c > temp_c + 0.5)
    if above.sum() > max(MIN_ODD_H, MAX_ABOVE_SHARE * both.sum()):
        yield DewPointAbove(int(above.sum()))
        return
    rows = both & np.isfinite(humidity_pct)
    rows &= np.where(rows, temp_c, -np.inf) >= ICE_C
    if rows.sum() < MIN_MOIST_H:
        return
    computed = air.relative_humidity(
        temp_c[rows], air.saturation_vapour_pressure(dew_point_c[rows])
    )
    given = np.minimum(humidity_pct[rows], 100.0)
    too_dry = float(np.median(given - computed))
    if too_dry > MAX_TOO_DRY_PCT or -too_dry > MAX_TOO_MOIST_PCT:
        yield HumidityMisfit(float(np.median(given)), float(np.median(computed)))


# -- against other forecasts


def _apart(weather: Weather, other: Weather, now: datetime) -> tuple[float, float] | None:
    """Return how far a forecast is from an older one, in usual errors and in K (warmer: above 0).

    At the hours ahead that both know: the next by themselves or all, whichever is further. In
    errors it is the larger of their mean and their median size. None if there are too few hours.
    """
    others = at_hours(other.times, other.temp_c, weather.times)
    both = np.isfinite(weather.temp_c) & np.isfinite(others)
    rows = np.flatnonzero(both & (weather.times > now.timestamp()))
    if rows.size < MIN_SHARED_H:
        return None
    warmer_k = weather.temp_c[rows] - others[rows]
    made = (other.issued_at or other.fetched_at).timestamp()
    # Two forecasts of the same hour both err, also of those just ahead.
    usual_k = np.maximum(usual_error_k((weather.times[rows] - made) / 3600), USUAL_ERROR_K[0])
    errors = warmer_k / usual_k
    errors = np.where(errors < 0, errors / COLDER_TOLERANCE, errors)
    found = []
    for hours in (NEXT_H, rows.size):
        some, kelvins = errors[:hours], warmer_k[:hours]
        sign = 1.0 if some.mean() >= 0 else -1.0
        median = float(np.median(np.abs(some)))
        far = max(abs(float(some.mean())), median)
        of_that_sign = np.abs(kelvins) if median > abs(some.mean()) else sign * kelvins
        found.append((far, sign * float(of_that_sign.mean())))
    return max(found)


def _far(apart: tuple[float, float], share: float = 1.0) -> bool:
    return apart[0] > share * MAX_ERRORS_APART
