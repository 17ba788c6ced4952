"""The forecasts that the tool would have had in past weather: perfect, erring, or those made then.

Each issue holds a day of what has been, which is the weather that was, and some days ahead. An
issue depends on the weather, on its own time and on the seed alone, so that any part of a period
has the same forecasts when it is replayed by itself. What plants went through before reaches into
it as far as `engine.WARM_UP` says.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from functools import cached_property, lru_cache
from typing import Protocol

import numpy as np

from sillward_rules.arrays import HOUR_S, Array
from sillward_rules.weather.hourly import SERIES, Weather, at_hours, moment, no_weather
from sillward_rules.weather.learned_error import LearnedError
from sillward_rules.weather.uncertainty import CORRELATION_H

EVERY = timedelta(hours=6)
"""How often there is a new forecast. Global models run every six hours."""

PAST_H = 24
"""Hours of the past in an issue [h], as the daemon asks its sources for: the night before and the
water on crowns."""

AHEAD_H = 72
"""Hours ahead in an issue [h]. Judgement: the morning round looks at the night that follows and at
the next one, which ends some 50 h later."""

SHARED_ERROR = 0.88
"""Correlation of the errors of successive issues for the same hour. Computed from ECMWF's forecasts
of 24 and 48 h: .88 at Hannover (2015-2020, gamvinereg) and .86 at Magdeburg (2002-2014, ensAR).
With 0 each issue knows nothing of the one before, and jumps by 1.7 K instead of 0.6."""

ERROR_LEAD_H, ERROR_SD_K = (0.0, 24.0, 72.0), (1.0, 1.5, 2.5)
"""Lead times [h] and the standard deviation of the error there [K], linear between, constant after.
Judgement: `uncertainty.USUAL_ERROR_K` for the low of a night, somewhat more at once, as hours err
more than lows do."""


class Forecasts(Protocol):
    """The forecasts of a period."""

    @property
    def issues(self) -> Sequence[datetime]:
        """When a new forecast is there, in order."""

    @property
    def description(self) -> str:
        """What these forecasts are, in words for the grower."""

    @property
    def seed(self) -> int | None:
        """The seed of their errors; None where nothing is drawn."""

    def at(self, now: datetime) -> Weather:
        """Return the newest issue at or before now; nothing is known before the first.

        The same issue is the same object while it is in use.
        """


@dataclass(slots=True)
class _Issues:
    """The times of issues within a weather, and the last two that were asked for."""

    truth: Weather
    every: timedelta
    times: list[datetime] = field(init=False)
    _made: dict[int, Weather] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        if self.every < timedelta(hours=1) or self.every % timedelta(hours=1):
            msg = "forecasts come every full hour or hours"
            raise ValueError(msg)
        if not self.truth.times.size:
            msg = "there is no weather to make forecasts from"
            raise ValueError(msg)
        step = int(self.every.total_seconds())
        first = -(-int(self.truth.times[0]) // step)
        last = int(self.truth.times[-1]) // step
        self.times = [moment(number * step) for number in range(first, last + 1)]

    def number_at(self, now: datetime) -> int | None:
        """Return the number of the newest issue, counted from 1970; None before the first."""
        number = int(now.timestamp() // self.every.total_seconds())
        if not self.times or now < self.times[0]:
            return None
        return min(number, int(self.times[-1].timestamp() // self.every.total_seconds()))

    def issued_at(self, number: int) -> datetime:
        """Return the time of an issue."""
        return moment(number * self.every.total_seconds())

    def kept(self, number: int) -> Weather | None:
        """Return an issue if it is one of the last two."""
        return self._made.get(number)

    def keep(self, number: int, weather: Weather) -> Weather:
        """Keep an issue, and forget all but the one before it."""
        self._made = dict([*self._made.items(), (number, weather)][-2:])
        return weather

    def window(self, issued: datetime, ahead_h: int) -> Weather:
        """Return the weather that was, from `PAST_H` before an issue to some hours after it."""
        times = self.truth.times
        row = int((int(issued.timestamp()) - times[0]) // HOUR_S)
        part = slice(max(row - PAST_H, 0), row + ahead_h + 1)
        series = {name: getattr(self.truth, name)[part] for name in SERIES}
        return Weather(
            times=times[part],
            source=self.truth.source,
            fetched_at=issued,
            issued_at=issued,
            notes=self.truth.notes,
            **series,
        )


class PerfectForecasts:
    """Forecasts that come true."""

    seed: int | None = None
    description = "perfect forecasts"

    def __init__(self, truth: Weather, every: timedelta = EVERY, ahead_h: int = AHEAD_H) -> None:
        """Take the weather that was.

        every: full hours. Raise ValueError for others, and for a weather without hours.
        """
        self._issues = _Issues(truth, every)
        self._ahead_h = ahead_h

    @property
    def issues(self) -> Sequence[datetime]:
        """When a new forecast is there, in order."""
        return self._issues.times

    def at(self, now: datetime) -> Weather:
        """Return the newest issue at or before now."""
        number = self._issues.number_at(now)
        if number is None:
            return no_weather(self._issues.truth.source, now)
        kept = self._issues.kept(number)
        return kept or self._issues.keep(number, self._issue(number))

    def _issue(self, number: int) -> Weather:
        return self._issues.window(self._issues.issued_at(number), self._ahead_h)


def _ahead(lead_h: float) -> str:
    """Return a lead time [h] in words."""
    days, rest = divmod(lead_h, 24)
    if not lead_h:
        return "at once"
    if rest:
        return f"{lead_h:g} hours ahead"
    return "a day ahead" if days == 1 else f"{_NUMERALS.get(round(days), f'{days:g}')} days ahead"


_NUMERALS = {2: "two", 3: "three", 4: "four", 5: "five", 6: "six", 7: "seven"}


class ErringForecasts(PerfectForecasts):
    """Forecasts with errors that grow with the lead time.

    The error is an AR(1) with a correlation of exp(-hours / `CORRELATION_H`). A part of it, drawn
    from the seed and the hour, is shared by all issues; the rest each issue draws anew from the
    seed and its number. Air and dew point are off by the same, so that the air is as dry as it
    was; nothing else errs.
    """

    def __init__(
        self,
        truth: Weather,
        seed: int,
        every: timedelta = EVERY,
        error_k: tuple[Sequence[float], Sequence[float]] = (ERROR_LEAD_H, ERROR_SD_K),
        ahead_h: int = AHEAD_H,
        shared: float = SHARED_ERROR,
    ) -> None:
        """Take the weather that was and how forecasts err.

        shared: the correlation of the errors of two issues for the same hour, 0 to 1.

        error_k: lead times [h], rising, and the standard deviation of the error there [K]; linear
        between, constant outside. Raise ValueError for anything else.
        """
        super().__init__(truth, every, ahead_h)
        leads, sds = (np.asarray(part, dtype=np.float64) for part in error_k)
        if leads.shape != sds.shape or not leads.size or np.any(np.diff(leads) <= 0):
            msg = "errors: the lead times rise, and each has a standard deviation"
            raise ValueError(msg)
        if not np.all(sds >= 0):
            msg = "errors: a standard deviation is below zero or not known"
            raise ValueError(msg)
        if not 0 <= shared <= 1:
            msg = "errors: the share that issues have in common is not within 0 and 1"
            raise ValueError(msg)
        if seed < 0:
            msg = "errors: the seed is below zero"
            raise ValueError(msg)
        self.seed: int | None = seed
        self._leads, self._sds, self._shared = leads, sds, shared

    @property
    def description(self) -> str:  # type: ignore[override]
        """What these forecasts are, in words for the grower."""
        sds = ", ".join(
            f"{sd:g} K {_ahead(lead)}"
            for lead, sd in zip(self._leads.tolist(), self._sds.tolist(), strict=True)
        )
        anew = "" if self._shared else ", each drawn anew"
        return f"forecasts with invented errors: typically {sds}{anew}"

    @cached_property
    def _scale(self) -> Array:
        """(hour,) the standard deviation for each hour ahead, from the first on [K]."""
        return np.interp(np.arange(1, self._ahead_h + 1), self._leads, self._sds)

    def _issue(self, number: int) -> Weather:
        exact = super()._issue(number)
        lead_h = (exact.times - self._issues.issued_at(number).timestamp()) / HOUR_S
        ahead = lead_h > 0
        assert self.seed is not None
        draws = np.random.default_rng([self.seed, number]).standard_normal(self._ahead_h)
        error = np.zeros(exact.times.shape)
        own = (_correlation(self._ahead_h) @ draws)[: ahead.sum()]
        common = _common_course(self.seed, exact.times[ahead])
        course = math.sqrt(self._shared) * common + math.sqrt(1 - self._shared) * own
        error[ahead] = self._scale[: own.size] * course
        temp = exact.temp_c + error
        return replace(exact, temp_c=temp, dew_point_c=np.minimum(exact.dew_point_c + error, temp))


_COMMON, _MEMORY_DAYS = 2**31, 5
"""Tells the draws that issues share from those of any issue; after so many days nothing is left of
a draw, e^-10 of it."""


def _common_course(seed: int, times: np.ndarray) -> Array:
    """Return the AR(1) that all issues share, at these full hours in a row [unix s]: (hour,)."""
    if not times.size:
        return np.empty(0)
    first_day = int(times[0]) // (24 * HOUR_S) - _MEMORY_DAYS
    days = range(first_day, int(times[-1]) // (24 * HOUR_S) + 1)
    draws = np.concatenate([_common_draws(seed, day) for day in days])
    kept = math.exp(-1 / CORRELATION_H)
    weights = math.sqrt(1 - kept**2) * kept ** np.arange(24 * _MEMORY_DAYS)
    course = np.convolve(draws, weights)[: draws.size]
    row = int(times[0]) // HOUR_S - 24 * first_day
    return np.asarray(course[row : row + times.size])


@lru_cache(maxsize=32)
def _common_draws(seed: int, day: int) -> Array:
    """(hour,) the draws of a day that all issues share."""
    return np.random.default_rng([seed, _COMMON, day]).standard_normal(24)


class LearnedForecasts(ErringForecasts):
    """Forecasts that err as those for this site have done, and whose chances are of that too."""

    def __init__(self, truth: Weather, learned: LearnedError, seed: int) -> None:
        """Take the weather that was, and the errors that past nights have taught."""
        super().__init__(truth, seed, error_k=(learned.lead_h, learned.sd_k))
        self._learned = learned

    @property
    def description(self) -> str:  # type: ignore[override]
        """What these forecasts are, in words for the grower."""
        return f"forecasts with {self._learned.origin}"

    def _issue(self, number: int) -> Weather:
        erring, issued = super()._issue(number), self._issues.issued_at(number)
        return replace(erring, spread=self._learned.spread(erring.times, issued))


class LeadForecasts(PerfectForecasts):
    """Forecasts that were made at the time, known for each hour by how many days ahead it was.

    This is what archives of previous model runs hold. A value for an hour, in an issue, is that of
    the lead day that the hour has from this issue; where there is none, it is missing.
    """

    description = "the forecasts that were made then"

    def __init__(
        self,
        truth: Weather,
        by_lead_day: Mapping[int, Weather],
        every: timedelta = EVERY,
        ahead_h: int = AHEAD_H,
    ) -> None:
        """Take the weather that was, and the forecasts of each lead day, from 1 on.

        Raise ValueError without any.
        """
        super().__init__(truth, every, ahead_h)
        if not by_lead_day or min(by_lead_day) < 1:
            msg = "forecasts by lead day: there is one for each day ahead, from 1 on"
            raise ValueError(msg)
        self._by_lead_day = dict(by_lead_day)

    def _issue(self, number: int) -> Weather:
        issued = self._issues.issued_at(number)
        days = max(self._by_lead_day)
        ahead_h = min(self._ahead_h, 24 * days)
        past = self._issues.window(issued, 0)
        first = int(past.times[-1]) + HOUR_S
        times = first + HOUR_S * np.arange(ahead_h, dtype=np.int64)
        lead_day = np.arange(ahead_h) // 24 + 1
        series = {name: np.full(times.shape, np.nan) for name in SERIES}
        for day in np.unique(lead_day).tolist():
            made, rows = self._by_lead_day.get(day), lead_day == day
            if made is not None:
                for name in SERIES:
                    series[name][rows] = at_hours(made.times, getattr(made, name), times[rows])
        joined = {name: np.concatenate([getattr(past, name), series[name]]) for name in SERIES}
        return replace(past, times=np.concatenate([past.times, times]), **joined)  # type: ignore[arg-type]


@lru_cache(maxsize=4)
def _correlation(hours: int) -> Array:
    """(hour, hour) what turns independent draws into an AR(1) of unit deviation."""
    kept = math.exp(-1 / CORRELATION_H)
    apart = np.subtract.outer(np.arange(hours), np.arange(hours))
    new = np.full(hours, math.sqrt(1 - kept**2))
    new[0] = 1.0
    return np.asarray(np.where(apart >= 0, kept ** np.maximum(apart, 0), 0.0) * new)
