"""Whether a forecast can be true: held against the season, its own days and nights, its moisture,
the forecast before it and another source's.

What is missing raises no doubt. A doubted forecast is not believed by staying the same alone: only
a jump from the one before is, after a while, for the weather, a model or a site's height may really
have changed; what the season, the forecast itself or another source speaks against stays doubted.
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
from sillward_rules.weather.uncertainty import usual_error_k

MOST_ERRORS_APART = 8.0
"""Two forecasts further apart than this many usual errors, by the lead of the older, cannot both be
meant: 10 K for the coming night, 18 K for the fourth. Judgement: revisions of a day or two are of
one error or two; inland in winter, where fronts come sooner than was said, errors are two or three
times the usual ones, which are of the British Isles. °F told as °C are 20 to 40 K away."""

COLDER_TOLERANCE = 1.5
"""A colder one may be further away by this factor. Judgement: to go in for nothing costs a trip,
and cold air comes with sharper fronts than warm air."""

NEXT_H, LEAST_SHARED_H = 24, 12
"""The next hours that both know are looked at by themselves, then all; with fewer than the latter
[h] there is no telling. Judgement: the coming night is decided by the first of them."""

COLDER_HOLDS, WARMER_HOLDS = timedelta(hours=3), timedelta(hours=18)
"""A jump that is all that speaks against a forecast is believed once the source has said much the
same for so long. Judgement: nights count as cold meanwhile where the new one is the colder, so it
may be soon; the warmer one would let plants stay out, so it is to outlast a night and three model
runs, and yet come before the last good one is too old to judge by (24 h)."""

LEAST_ODD_H = 3
"""So many hours out of season are no slip of one value. Judgement."""

LEAST_KNOWN = 1 / 3
"""Of the hours of a night or day that is judged. Judgement: what is told in °F in summer is beyond
all bounds by day and so unknown; the nights that are left must not pass for that."""

FLAT_H, FLAT_K = 24, 0.1
"""A temperature that stays within this for so long [h, K] is none. Judgement: under fog or in polar
night it moves by some tenths a day, and forecasts are given to a tenth."""

SUNNY_H, SUNNY_K, SUNNY_W_M2 = 48, 0.3, 400.0
"""The same under a sun that gets as strong as this: two days, a little more. Judgement: even small
islands and ships have half a kelvin between day and night."""

PERIODS_H, REPEATED_H = (2, 3, 4, 6, 8, 12), 48
"""Nothing but a fault goes through the same so many hours again and again for two days."""

MOST_CHANGE_K = 20.0
"""From one hour to the next. Judgement: 27 K in minutes has been measured (Spearfish, 22 January
1943), but models, whose cells are kilometres wide, give no such thing."""

MOST_TOO_DRY_PCT, MOST_TOO_MOIST_PCT = 15.0, 35.0
"""How far the humidity that is given may be over, or under, that of temperature and dew point, in
the median. Sources work one out from the other and differ by 1 or 2. Judgement: air that is dry for
the humidity given is too warm, which is the dangerous side; moist air is too cold."""

ICE_C = -10.0
"""Below this humidity may be over ice, which is other than over water: no telling."""

LEAST_MOIST_H = 24
"""With fewer hours of temperature, dew point and humidity there is no telling. Judgement."""

MOST_ABOVE = 0.25
"""A dew point above the temperature at more than this share of the hours is no slip. Judgement."""


class Measure(Protocol):
    """What NumPy has to measure an axis by: mean, least, range."""

    def __call__(self, values: Array, /, *, axis: int) -> Any:
        """The measure along an axis."""


def doubts_about(
    site: Site,
    weather: Weather,
    before: Weather | None = None,
    other: Weather | None = None,
    *,
    now: datetime,
) -> tuple[Doubt, ...]:
    """Return what speaks against a forecast, what is soonest understood first; nothing if it can be
    believed.

    before : the last good one of the same source. other : another source's, not too old to judge
    by; where it agrees, a jump from the one before is no ground for doubt.
    """
    doubts: list[Doubt] = [*out_of_season(site, weather.times, weather.temp_c)]
    jump = None if before is None else _apart(weather, before, now)
    beside = None if other is None else _apart(weather, other, now)
    if jump is not None and _far(jump) and (beside is None or _far(beside, 0.5)):
        doubts.append(Jump(jump[1]))
    if other is not None and beside is not None and _far(beside) and beside[1] > 0:
        doubts.append(WarmerThanAnother(other.source, beside[1]))
    return (*doubts, *_odd_course(weather), *weather.doubts)


def believed_at_last(doubts: Sequence[Doubt], agreed_since: datetime, now: datetime) -> bool:
    """Whether doubts have been outlasted: nothing but a jump, and the source has said much the same
    since then."""
    jumps = [one for one in doubts if isinstance(one, Jump)]
    if not jumps or len(jumps) < len(doubts):
        return False
    warmer = any(one.warmer_k > 0 for one in jumps)
    return now - agreed_since >= (WARMER_HOLDS if warmer else COLDER_HOLDS)


def agree(one: Weather, other: Weather, now: datetime) -> bool:
    """Whether two forecasts say much the same of the hours ahead; False if there is no telling."""
    apart = _apart(one, other, now)
    return apart is not None and not _far(apart)


# -- against the season


def out_of_season(site: Site, times: np.ndarray, temp_c: Array) -> Iterator[OutOfSeason]:
    """Yield what is too warm or too cold for the time of the year: nights, hours, means of days.

    times (time,) [unix s], temp_c (time,), NaN where unknown.
    """
    bounds = season_range(site, times)
    yield from _worst("nights", _known_of_windows(temp_c, 24, np.nanmin), bounds.hottest_night, 1)
    for sign, bound in ((1, bounds.hottest_hour), (-1, bounds.coldest_hour)):
        over = sign * (temp_c - bound)
        with np.errstate(invalid="ignore"):
            if (over > 0).sum() >= LEAST_ODD_H:
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
    """The value of a window (window,) furthest beyond the bound at its first hour, if any is."""
    over = sign * (values - bound[: values.size])
    if np.isfinite(over).any() and np.nanmax(over) > 0:
        row = int(np.nanargmax(over))
        yield OutOfSeason(what, float(values[row]), float(bound[row]))  # type: ignore[arg-type]


def _of_windows(values: Array, hours: int, of: Measure) -> Array:
    """A measure of every so many hours in a row (window,); NaN where one of them is unknown."""
    if values.size < hours:
        return np.full(0, np.nan)
    return np.asarray(of(sliding_window_view(values, hours), axis=1))


def _known_of_windows(values: Array, hours: int, of: Measure) -> Array:
    """The same of the known hours, if there are enough of them; else NaN."""
    enough = _of_windows(np.isfinite(values), hours, np.mean) >= LEAST_KNOWN
    measured = np.full(enough.shape, np.nan)
    if enough.any():
        measured[enough] = of(sliding_window_view(values, hours)[enough], axis=1)
    return measured


# -- against its own days and nights


def _odd_course(weather: Weather) -> Iterator[Doubt]:
    """A temperature without day and night, and one that leaps."""
    temp = weather.temp_c
    leaps = np.abs(np.diff(temp))
    if np.isfinite(leaps).any() and np.nanmax(leaps) > MOST_CHANGE_K:
        yield Leap(float(np.nanmax(leaps)))
    sun = _of_windows(weather.direct_w_m2 + weather.diffuse_w_m2, SUNNY_H, np.max)
    for hours, most_k in ((FLAT_H, FLAT_K), (SUNNY_H, SUNNY_K)):
        flat = _of_windows(temp, hours, np.ptp) <= most_k
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
    """How many in a row are true, at most."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    return int((edges[1::2] - edges[::2]).max()) if edges.size else 0


# -- against its own moisture


def moisture_doubts(temp_c: Array, dew_point_c: Array, humidity_pct: Array) -> Iterator[Doubt]:
    """Yield what is wrong with temperature, dew point and humidity beside each other.

    As a source gives them, shape (time,), NaN where unknown.
    """
    both = np.isfinite(temp_c) & np.isfinite(dew_point_c)
    with np.errstate(invalid="ignore"):
        above = both & (dew_point_c > temp_c + 0.5)
    if above.sum() > max(LEAST_ODD_H, MOST_ABOVE * both.sum()):
        yield DewPointAbove(int(above.sum()))
        return
    rows = both & np.isfinite(humidity_pct)
    rows &= np.where(rows, temp_c, -np.inf) >= ICE_C
    if rows.sum() < LEAST_MOIST_H:
        return
    computed = air.relative_humidity(
        temp_c[rows], air.saturation_vapour_pressure(dew_point_c[rows])
    )
    given = np.minimum(humidity_pct[rows], 100.0)
    too_dry = float(np.median(given - computed))
    if too_dry > MOST_TOO_DRY_PCT or -too_dry > MOST_TOO_MOIST_PCT:
        yield HumidityMisfit(float(np.median(given)), float(np.median(computed)))


# -- against other forecasts


def _apart(weather: Weather, other: Weather, now: datetime) -> tuple[float, float] | None:
    """How far a forecast is from an older one: in its usual errors, and in kelvins, warmer above 0.

    At the hours ahead that both know: the next by themselves and all, whichever is further. In
    errors: their mean, or what is exceeded at most hours. None if there are too few hours.
    """
    others = at_hours(other.times, other.temp_c, weather.times)
    both = np.isfinite(weather.temp_c) & np.isfinite(others)
    rows = np.flatnonzero(both & (weather.times > now.timestamp()))
    if rows.size < LEAST_SHARED_H:
        return None
    warmer_k = weather.temp_c[rows] - others[rows]
    made = (other.issued_at or other.fetched_at).timestamp()
    errors = warmer_k / usual_error_k((weather.times[rows] - made) / 3600)
    errors = np.where(errors < 0, errors / COLDER_TOLERANCE, errors)
    found = []
    for hours in (NEXT_H, rows.size):
        some, kelvins = errors[:hours], warmer_k[:hours]
        sign = 1.0 if some.mean() >= 0 else -1.0
        most = float(np.median(np.abs(some)))
        far = max(abs(float(some.mean())), most)
        of_that_sign = np.abs(kelvins) if most > abs(some.mean()) else sign * kelvins
        found.append((far, sign * float(of_that_sign.mean())))
    return max(found)


def _far(apart: tuple[float, float], share: float = 1.0) -> bool:
    return apart[0] > share * MOST_ERRORS_APART
