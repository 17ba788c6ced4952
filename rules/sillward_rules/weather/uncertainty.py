"""How far off a forecast may be, and the chance that a night falls under a limit.

The hours of a night are not independent: a forecast that is too warm at midnight is too warm at
dawn. So the chance is that of the coldest hour of each ensemble member, never a product over hours.
What holds for air temperature is applied to leaf temperature too, because a leaf follows its air.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike

from sillward_rules.arrays import Array, erfc

USUAL_ERROR_K = (1.3, 1.7, 2.0, 2.2, 2.5, 2.8, 3.1)
"""Standard deviation of the error of a night's minimum, for the first night ahead to the seventh
[K], Gaussian. Night 1: 86.5 % of the minima at 119 stations of the United Kingdom within 2 K
(Met Office, accuracy page). Night 3: mean error 1.6 K (Stern 2008, Meteorol. Appl. 15:65). Night
7: mean error 2.5 K (a television forecaster's log, weak). The others lie in between: judgement."""

USUAL_LEAD_H = tuple(24 * night - 6 for night in range(1, 8))
"""Lead times of these nights [h]. Judgement: an afternoon's forecast of the next dawn is night
1."""

ERROR_AT_ISSUE_K = 1.0
"""Standard deviation of a forecast's error at the moment it is issued [K]. Judgement: what a cell
of the model does not know of a terrace in it; the table goes on from here."""

_LEADS_H, _ERRORS_K = (0, *USUAL_LEAD_H), (ERROR_AT_ISSUE_K, *USUAL_ERROR_K)

USUAL_ORIGIN = "usual errors by lead time"

MEMBER_ERROR_K = 1.0
"""Error that the members of an ensemble do not show [K]. Judgement: raw ensembles spread too little
at short lead times, and a terrace is no grid cell. With members that spread 0.8 K, night 1 comes to
the usual error."""

MIN_MEMBERS = 5
"""An ensemble with fewer members is not used. Judgement."""

DRAWN_MEMBERS = 64
"""Members that are drawn where only a standard deviation is known. Judgement: each is worth
1.6 %."""

CORRELATION_H = 12.0
"""Errors at two times this far apart [h] have a correlation of 1/e. Judgement: half a day."""

MAX_SHOWN_CHANCE = 0.95
"""Chances above this, or below its complement, are not distinguished. Judgement: no table of errors
is that good at its ends."""

_SEED = 1

NORMAL_MIDDLES = np.array([NormalDist().inv_cdf((k + 0.5) / 9) for k in range(9)])
"""The middles of nine equal shares of a unit Gaussian."""


@dataclass(frozen=True, slots=True, eq=False)
class Spread:
    """How far off a forecast may be at the hours of a weather. NaN is unknown.

    deviations (member, time) : departures of each member from the mean of the members [K].
    error_k (time,) : standard deviation of the error that the members do not show [K]. It is
    independent of them and the same all through a night.
    origin : where the spread comes from, in words for the grower.
    corrected : whether it was learned at spots after their own correction. Where a spot has none, a
    forecast is off by no less than usual.
    """

    deviations: Array
    error_k: Array
    origin: str
    corrected: bool = False

    def __post_init__(self) -> None:
        if self.deviations.ndim != 2 or self.deviations.shape[1:] != self.error_k.shape:
            msg = "spread: the members' hours are not those of the error"
            raise ValueError(msg)
        if np.any(self.error_k < 0):
            msg = "spread: an error is below zero"
            raise ValueError(msg)

    @property
    def sd_k(self) -> Array:
        """(time,) standard deviation of members and error together [K]; NaN is unknown."""
        known = np.isfinite(self.deviations)
        count = known.sum(axis=0)
        squares = np.where(known, self.deviations, 0.0) ** 2
        variance = squares.sum(axis=0) / np.where(count > 0, count, np.nan)
        return np.asarray(np.sqrt(variance + self.error_k**2))

    def knows(self, rows: np.ndarray) -> bool:
        """Return whether enough members, and the error, are known in every one of these rows."""
        enough = min(MIN_MEMBERS, max(self.deviations.shape[0], 1))
        errors = np.isfinite(self.error_k[rows]).all()
        return bool(errors and self._whole(rows).sum() >= enough)

    def members(self, rows: np.ndarray) -> Array:
        """(member, row) deviations of the members that are known in every one of these rows [K]."""
        return np.asarray(self.deviations[np.ix_(self._whole(rows), rows)])

    def quantile(self, share: float) -> Array:
        """(time,) the departure that this share of the possible courses is below [K].

        NaN where fewer than the necessary members, or the error, are known.
        """
        enough = min(MIN_MEMBERS, max(self.deviations.shape[0], 1))
        if not self.deviations.any():  # the error alone is Gaussian
            known = np.isfinite(self.deviations).sum(axis=0) >= enough
            return np.where(known, NormalDist().inv_cdf(share) * self.error_k, np.nan)
        scores = NORMAL_MIDDLES[:, None, None] * self.error_k
        courses = (self.deviations + scores).reshape(-1, self.error_k.size)
        known = np.isfinite(self.deviations).sum(axis=0) >= enough
        known &= np.isfinite(self.error_k)
        found = np.full(self.error_k.shape, np.nan)
        if known.any():
            found[known] = np.nanquantile(courses[:, known], share, axis=0)
        return found

    def after_unknown(self, hours: int) -> "Spread":
        """Return the same with this many unknown hours in front of it."""
        return Spread(
            np.pad(self.deviations, ((0, 0), (hours, 0)), constant_values=np.nan),
            np.pad(self.error_k, (hours, 0), constant_values=np.nan),
            self.origin,
            self.corrected,
        )

    def at(self, times: np.ndarray, rows: np.ndarray, moments: Array) -> "Spread":
        """Return what is known all through some rows, interpolated linearly at moments [unix s].

        times (time,) : of the spread [unix s]. Outside of these rows the end values hold.
        """

        def interpolate(series: Array) -> Array:
            return np.interp(moments, times[rows], series)

        members = [interpolate(member) for member in self.members(rows)]
        deviations = np.array(members).reshape(-1, moments.size)
        return Spread(deviations, interpolate(self.error_k[rows]), self.origin, self.corrected)

    def _whole(self, rows: np.ndarray) -> np.ndarray:
        return np.asarray(np.isfinite(self.deviations[:, rows]).all(axis=1))


def usual_error_k(lead_h: ArrayLike) -> Array:
    """Return the usual error of a forecast of the night's minimum: standard deviation [K].

    lead_h : lead time [h], any shape. Linear from `ERROR_AT_ISSUE_K` over the nights of the table,
    constant outside.
    """
    return np.asarray(np.interp(np.asarray(lead_h, dtype=np.float64), _LEADS_H, _ERRORS_K))


def usual_spread(times: np.ndarray, issued_at: datetime) -> Spread:
    """Return the spread of a forecast that gives none. times : (time,) [unix s]."""
    return spread_from_table(times, issued_at, _LEADS_H, _ERRORS_K, USUAL_ORIGIN)


def spread_from_table(
    times: np.ndarray,
    issued_at: datetime,
    lead_h: Sequence[float],
    sd_k: Sequence[float],
    origin: str,
) -> Spread:
    """Return the spread of a forecast from a table of errors by lead time.

    times (time,) : [unix s]. lead_h, sd_k : lead times in order [h], and the standard deviation of
    the error at each [K]; linear in between, constant outside.
    """
    lead = (times - issued_at.timestamp()) / 3600
    return Spread(np.zeros((1, times.size)), np.interp(lead, lead_h, sd_k), origin)


def from_members(times: np.ndarray, member_times: np.ndarray, values: Array, origin: str) -> Spread:
    """Return the spread of an ensemble at the hours of a weather.

    An hour with fewer than `MIN_MEMBERS` values is unknown. Raise ValueError if the shapes do not
    fit.

    - times (time,), member_times (hour,): [unix s], in any order.
    - values (member, hour): temperatures [°C]; NaN where unknown.
    """
    if values.ndim != 2 or values.shape[1:] != member_times.shape:
        msg = "spread: the members have another length than their hours"
        raise ValueError(msg)
    aligned = np.full((values.shape[0], times.size), np.nan)
    _, here, there = np.intersect1d(times, member_times, return_indices=True)
    aligned[:, here] = values[:, there]
    known = np.isfinite(aligned)
    count = known.sum(axis=0)
    total = np.where(known, aligned, 0.0).sum(axis=0)
    mean = total / np.where(count >= MIN_MEMBERS, count, np.nan)
    deviations = np.where(known, aligned, np.nan) - mean
    return Spread(deviations, np.full(times.shape, MEMBER_ERROR_K), origin)


def from_sd(times: np.ndarray, sd_k: Array, origin: str) -> Spread:
    """Return the spread of a forecast that gives only a standard deviation for every hour.

    Members are drawn: Gaussian, correlated by exp(-|dt| / `CORRELATION_H`), always the same. At
    every hour they are the middles of equal shares of a Gaussian, so that a single hour has its
    exact deviation. Raise ValueError for another length, or for a deviation below zero.

    times (time,) : [unix s]. sd_k (time,) : [K]; NaN where unknown.
    """
    if sd_k.shape != times.shape:
        msg = "spread: the standard deviations have another length than the times"
        raise ValueError(msg)
    if np.any(sd_k < 0):
        msg = "spread: a standard deviation is below zero"
        raise ValueError(msg)
    known_sd = np.where(np.isfinite(sd_k), sd_k, np.nan)
    return Spread(_drawn(times) * known_sd, np.zeros(times.shape), origin)


def _drawn(times: np.ndarray) -> Array:
    """(member, time) Gaussian departures of unit deviation, correlated in time."""
    draws = np.random.default_rng(_SEED).standard_normal((DRAWN_MEMBERS, times.size))
    kept = np.exp(-np.diff(times) / 3600 / CORRELATION_H)
    for row, share in enumerate(kept.tolist(), start=1):
        draws[:, row] = share * draws[:, row - 1] + math.sqrt(1 - share**2) * draws[:, row]
    middles = (np.arange(DRAWN_MEMBERS) + 0.5) / DRAWN_MEMBERS
    scores = np.array([NormalDist().inv_cdf(middle) for middle in middles.tolist()])
    ranks = draws.argsort(axis=0).argsort(axis=0)
    return np.asarray((scores / scores.std())[ranks])


def chance_under(margin_k: Array, spread: Spread, rows: np.ndarray) -> Array:
    """(class,) chance that a margin is below zero in at least one of some hours, 0 to 1.

    margin_k (time, class) : forecast minus limit [K]. rows : the hours that count.

    It is the mean over the members of the chance that the error takes one of its hours under the
    limit. The error is the same all night, so that is the chance for the hour that is closest to
    the limit, measured in errors. NaN where a margin, or the spread, is not known in all the rows.
    """
    margin = margin_k[rows]
    unknown = np.full(margin.shape[1], np.nan)
    if rows.size == 0 or not spread.knows(rows):
        return unknown
    members, error = spread.members(rows), spread.error_k[rows][:, None]
    exact = error == 0
    nearest = np.empty((members.shape[0], margin.shape[1]))
    for number, deviation in enumerate(members):  # all at once would not fit for many classes
        at = margin + deviation[:, None]
        in_errors = at / np.where(exact, 1.0, error)
        certain = np.where(at < 0, -np.inf, np.inf)
        nearest[number] = np.where(exact, certain, in_errors).min(axis=0)
    chance = erfc(nearest / math.sqrt(2.0)).mean(axis=0) / 2
    return np.asarray(np.where(np.isfinite(margin).all(axis=0), chance, unknown))


def percent(chance: float) -> str:
    """Return a chance (0..1) as people read it: "68 %", "<5 %", ">95 %"."""
    shown, most = round(100 * chance), round(100 * MAX_SHOWN_CHANCE)
    if shown > most:
        return f">{most} %"
    return f"<{100 - most} %" if shown < 100 - most else f"{shown} %"
