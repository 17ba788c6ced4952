"""What an indoor spot holds, learned from its lows and those of the same nights outdoors."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np

from sillward_rules.arrays import HOUR_S, Array
from sillward_rules.readings.hourly_readings import HourlyReadings
from sillward_rules.weather import sun
from sillward_rules.weather.indoor_response import (
    TENTH,
    Form,
    IndoorResponse,
    regressor,
    running_mean,
)
from sillward_rules.weather.site import Site

LAGS = 0, 1, 3
"""Past nights that walls remember, as tried [nights]. Judgement: a greenhouse none, a room with
walls of brick a day or three."""

KNEE_SHARES = 0.2, 0.35, 0.5, 0.65, 0.8
"""Where among the lows seen outdoors heating may set in, or fail, as shares of the nights. Five
places, so that on either side there are nights enough to tell. Judgement."""

KNEE_NIGHTS = 10
"""From so many nights on heating is looked for that sets in or fails. Judgement: of fewer the fifth
on one side are one or none."""

LEVEL_SD_K = 2.0
"""How far off the level that a grower typed may be, as a standard deviation [K]. Judgement: read
once, on another thermometer at another place in the room."""

OTHER_LEVEL_SD_K = 5.0
"""The same of the other kind of room than was typed: one that holds though it was said to follow
[K]. Judgement."""

UNKNOWN_LEVEL_C, UNKNOWN_LEVEL_SD_K = 12.0, 8.0
"""The level of a spot for which nothing was typed, and its standard deviation [°C], [K]. Judgement:
from a shed in winter to a living room."""

TYPED_GAIN_SD = 0.2
"""Standard deviation of the gain around 0 of a spot that was said to hold, and around 1 of one that
was said to follow. Judgement."""

UNKNOWN_GAIN, UNKNOWN_GAIN_SD = 0.5, 0.5
"""The gain of which nothing was said. Judgement: all from 0 to 1 is likely."""

NOISE_K, NOISE_NIGHTS = 1.0, 4.0
"""The expected spread of single nights, and for how many nights that counts [K]. Judgement: doors,
cooking and half-open windows make about a kelvin."""

LEVEL_DRIFT, GAIN_DRIFT = 0.005, 0.0001
"""Variance that level and gain gain with each night, as shares of the variance of a night. The
first is that of the night correction outdoors; the second is a hundredth of a kelvin for each
kelvin outdoors in a night. Judgement: curtains, seasons, ageing seals."""

RARE_SHARE = 0.1
"""A night colder outdoors than all but this share of those seen counts as one of a kind that is
hardly known. Judgement: with the coldest night itself, in simulated rooms whose heating is at its
limit a quarter of the colder nights fell below the lower tenth; with this a tenth do."""

NOISE_KEPT = 0.98
"""Share of what is known of the spread that a night leaves: what counts are the last fifty nights
or so. Judgement."""

SURPRISE = 2.5
"""A night this many standard deviations off is odd, and the second in a row on the same side is
taken as a change: the room is learned anew from there. Judgement: by chance alone it happens once
in more than ten thousand nights."""

MAX_SURPRISE = 3.0
"""The most standard deviations that a night counts for in the spread. Judgement."""

WINS_BY = math.log(10.0)
"""By how much another form must have predicted the past nights better than what was typed, in units
of the log score: odds of ten to one, "strong" evidence by Jeffreys 1961 (from memory)."""

ENOUGH_DAYS = 5
"""From so many days on readings contradict a typed temperature by day. Judgement."""

DAYS = 30
"""So many of the last days say what a spot holds by day. Judgement: heating changes by season."""

MIN_DAY_HOURS = 6
"""A day with readings in fewer hours is not known. Judgement: half of a short day, so that the
first or the last hours of it, the coldest, are among them."""

MIN_DAY_SHARE = 2.0 / 3.0
"""Of a day in winter at high latitudes, which has fewer hours than that, this share is enough.
Judgement: the hours at its ends, which have day and night in them, never count in full."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """One way in which the low indoors may depend on that outdoors; as in `IndoorResponse`.

    as_typed: whether the gain is expected to be that of what was typed.
    """

    form: Form
    lag_nights: int
    outdoors_at_c: float
    as_typed: bool = False


@dataclass(frozen=True, slots=True)
class Typed:
    """What the grower typed for an indoor spot: what it holds, or how far it is above outdoors."""

    night_low_c: float | None = None
    night_offset_k: float | None = None

    @property
    def form(self) -> Form:
        """The form that was meant."""
        return Form.HOLDS if self.night_low_c is not None else Form.FOLLOWS

    def prior(self, of: "Candidate") -> tuple[float, float, float, float]:
        """Return level, gain and their standard deviations before any reading."""
        gain, gain_sd = UNKNOWN_GAIN, UNKNOWN_GAIN_SD
        if self.night_low_c is not None:
            level, level_sd = self.night_low_c, LEVEL_SD_K
            if of.as_typed:
                gain, gain_sd = 0.0, TYPED_GAIN_SD
        elif self.night_offset_k is not None:
            level = of.outdoors_at_c + self.night_offset_k
            level_sd = OTHER_LEVEL_SD_K if of.form is Form.HOLDS else LEVEL_SD_K
            if of.as_typed:
                gain, gain_sd = 1.0, TYPED_GAIN_SD
        else:
            level, level_sd = UNKNOWN_LEVEL_C, UNKNOWN_LEVEL_SD_K
        if of.form is Form.HOLDS:
            gain, gain_sd = 0.0, 0.0
        return level, gain, level_sd, gain_sd


@dataclass(frozen=True, slots=True)
class Pace:
    """How fast what was learned grows old; see the constants. `Pace(0, 0, 1, inf)`: never."""

    level_drift: float = LEVEL_DRIFT
    gain_drift: float = GAIN_DRIFT
    noise_kept: float = NOISE_KEPT
    surprise: float = SURPRISE


@dataclass(slots=True, eq=False)
class Filters:
    """Bayesian linear regressions on nights one after the other, for several candidates at once.

    Level and gain have a normal distribution, given the variance of a night; that has an inverse
    gamma one, so that a night is predicted by Student's t. Level and gain drift, and the variance
    is forgotten slowly: the dynamic linear model with unknown variance of West and Harrison 1997,
    chapter 4 (from memory). Without drift it is the conjugate regression in closed form.

    Arrays are (candidate,) unless said otherwise.

    - mean (candidate, 2): level [°C] and gain; cov (candidate, 2, 2): their covariance.
    - variance, freedom: of a night [K²], and the degrees of freedom.
    - log_score: sum of the log densities with which each night was predicted.
    - odd, error_k: the last error, as standardised and in kelvins; 0 before the first, and odd is 0
      after a change.
    - level_variance: that of the level before any reading [K²].
    """

    mean: Array
    cov: Array
    variance: Array
    freedom: Array
    log_score: Array
    odd: Array
    error_k: Array
    level_variance: Array
    pace: Pace

    @classmethod
    def starting(cls, priors: Sequence[tuple[float, float, float, float]], pace: Pace) -> "Filters":
        """Return the filters before the first night; priors : as of `Typed.prior`."""
        level, gain, level_sd, gain_sd = np.array(priors, dtype=np.float64).T
        cov = np.zeros((level.size, 2, 2))
        cov[:, 0, 0], cov[:, 1, 1] = level_sd**2, gain_sd**2
        nothing = np.zeros(level.shape)
        return cls(
            mean=np.stack([level, gain], axis=1),
            cov=cov,
            variance=np.full(level.shape, NOISE_K**2),
            freedom=np.full(level.shape, NOISE_NIGHTS),
            log_score=nothing,
            odd=nothing,
            error_k=nothing,
            level_variance=level_sd**2,
            pace=pace,
        )

    def learn(self, low_c: float, x: Array, days: int) -> None:
        """Learn a night that was read.

        x (candidate,) : what the gain counts by [K]. days : since the last night that was read.
        """
        pace, prior = self.pace, self.drifted(days)
        by = np.stack([np.ones_like(x), x], axis=1)
        error = low_c - np.einsum("ci,ci->c", self.mean, by)
        expected = np.einsum("ci,cij,cj->c", by, prior, by) + self.variance
        odd = error / np.sqrt(expected)
        self.log_score = self.log_score + _log_t(odd, self.freedom) - np.log(expected) / 2.0
        changed = (np.minimum(np.abs(odd), np.abs(self.odd)) > pace.surprise) & (odd * self.odd > 0)
        prior[:, 0, 0] += np.where(changed, self.level_variance, 0.0)
        expected = expected + np.where(changed, self.level_variance, 0.0)
        share = np.einsum("cij,cj->ci", prior, by) / expected[:, None]
        ratio = error**2 / expected
        if math.isfinite(pace.surprise):
            ratio = np.minimum(ratio, MAX_SURPRISE**2)
        kept = pace.noise_kept * self.freedom
        variance = self.variance * (kept + ratio) / (kept + 1.0)
        left = prior - share[:, :, None] * share[:, None, :] * expected[:, None, None]
        self.cov = left * (variance / self.variance)[:, None, None]
        self.mean = self.mean + share * error[:, None]
        self.variance, self.freedom = variance, kept + 1.0
        self.odd, self.error_k = np.where(changed, 0.0, odd), error

    def drifted(self, days: int) -> Array:
        """Return the covariance so many days after the last night that was read."""
        cov, free = self.cov.copy(), self.cov[:, 1, 1] > 0
        cov[:, 0, 0] += days * self.pace.level_drift * self.variance
        cov[:, 1, 1] += days * self.pace.gain_drift * self.variance * free
        return cov


def _log_t(standardised: Array, freedom: Array) -> Array:
    """Return the log density of Student's t."""
    half = [math.lgamma((n + 1.0) / 2.0) - math.lgamma(n / 2.0) for n in freedom.tolist()]
    scale = np.log(freedom * math.pi) / 2.0
    tail = (freedom + 1.0) / 2.0 * np.log1p(standardised**2 / freedom)
    return np.asarray(np.array(half) - scale - tail)


def learn_response(
    days: Sequence[date],
    low_c: Array,
    outdoors_c: Array,
    typed: Typed,
    tonight: date | None = None,
    pace: Pace | None = None,
) -> IndoorResponse | None:
    """Return what an indoor spot holds; None if no night was read there and outdoors.

    What was typed is where it starts from, and its form stays until another has predicted the
    nights so far better by `WINS_BY`.

    days : the local dates of the evenings, in order, without those of which nothing is known.
    low_c, outdoors_c (night,) : the lows at the spot and outdoors [°C]; NaN where not known.
    tonight : the night for which it is asked; the longer after the last that was read, the less
    certain. By default the one after that.
    """
    read = np.flatnonzero(np.isfinite(low_c) & np.isfinite(outdoors_c))
    if not read.size:
        return None
    means = {lag: running_mean(outdoors_c, lag) for lag in LAGS}
    candidates = _candidates({lag: mean[read] for lag, mean in means.items()})
    filters = Filters.starting([typed.prior(each) for each in candidates], pace or Pace())
    dates = np.array([day.toordinal() for day in days])[read]
    since = np.diff(dates, prepend=dates[:1])
    x = np.stack(
        [
            regressor(each.form, means[each.lag_nights][read] - each.outdoors_at_c)
            for each in candidates
        ],
        axis=1,
    )
    for night, (row, gap) in enumerate(zip(read.tolist(), since.tolist(), strict=True)):
        filters.learn(float(low_c[row]), x[night], gap)
    best = _choose(candidates, filters.log_score, typed.form)
    of_lag, last = means[candidates[best].lag_nights], days[read[-1]]
    recent_c, recent_night = _recent(days, of_lag, tonight)
    return _response(
        candidates[best],
        filters,
        best,
        of_lag[read],
        recent_c=recent_c,
        recent_night=recent_night,
        last_night=last,
        days=1 if tonight is None else max((tonight - last).days, 0),
    )


def _recent(days: Sequence[date], means_c: Array, tonight: date | None) -> tuple[float, date]:
    """Return the running mean that the walls remember as the present night begins, and of when.

    means_c (night,) : the running means after each night [°C]. Where only the present night is
    known, it is taken to have been like that before.
    """
    known = np.flatnonzero(np.isfinite(means_c)).tolist()
    before = [night for night in known if tonight is None or days[night] < tonight]
    if not before:
        return float(means_c[known[0]]), days[known[0]] - timedelta(days=1)
    return float(means_c[before[-1]]), days[before[-1]]


def _response(
    of: Candidate,
    filters: Filters,
    number: int,
    seen_c: Array,
    *,
    recent_c: float,
    recent_night: date,
    last_night: date,
    days: int,
) -> IndoorResponse:
    """Return what the candidate of this number has learned.

    seen_c (night,) : its running means of the lows outdoors of the nights read [°C]. days : since
    the last of these.
    """
    level, gain = _within_bounds(filters, number)
    of_level, between, of_gain = filters.drifted(days)[number][np.triu_indices(2)].tolist()
    # One odd cold night may be a window left open, or the first without heating.
    is_odd = bool(filters.odd[number] < -SURPRISE)
    usual = float(seen_c.mean())
    return IndoorResponse(
        form=of.form,
        lag_nights=of.lag_nights,
        outdoors_at_c=of.outdoors_at_c,
        level_c=level,
        gain=gain,
        variances=(of_level, between, of_gain),
        noise_k=math.sqrt(float(filters.variance[number])),
        freedom=float(filters.freedom[number]),
        coldest_c=float(np.quantile(seen_c, RARE_SHARE)),
        warmest_c=float(seen_c.max()),
        recent_c=recent_c,
        recent_night=recent_night,
        nights=seen_c.size,
        last_night=last_night,
        usual_c=level + gain * float(regressor(of.form, np.array(usual - of.outdoors_at_c))),
        usual_outdoors_c=usual,
        surprise_k=abs(float(filters.error_k[number])) if is_odd else 0.0,
    )


def _candidates(outdoors_c: dict[int, Array]) -> list[Candidate]:
    """Return what is tried; outdoors_c : the running means of the nights read, by lag."""
    found = [Candidate(Form.HOLDS, 0, float(outdoors_c[0].mean()))]
    for lag, seen in outdoors_c.items():
        middle = float(seen.mean())
        found += [Candidate(Form.FOLLOWS, lag, middle, as_typed) for as_typed in (True, False)]
    if outdoors_c[0].size >= KNEE_NIGHTS:
        knees = np.quantile(outdoors_c[0], KNEE_SHARES).tolist()
        found += [Candidate(form, 0, knee) for form in (Form.FLOOR, Form.LIMITED) for knee in knees]
    return found


def _choose(candidates: Sequence[Candidate], log_score: Array, typed: Form) -> int:
    """Return the candidate that counts: the best of the form that was typed, or of one that wins.

    A form with several candidates is scored by the mean of their likelihoods. One that bends must
    win over the better of the straight ones.
    """
    forms: dict[Form, list[int]] = {}
    for number, each in enumerate(candidates):
        forms.setdefault(each.form, []).append(number)
    scores = {
        form: float(np.logaddexp.reduce(log_score[numbers])) - math.log(len(numbers))
        for form, numbers in forms.items()
    }
    form = typed
    for others in ((Form.HOLDS, Form.FOLLOWS), (Form.FLOOR, Form.LIMITED)):
        tried = [other for other in others if other in scores]
        best = max(tried, key=scores.__getitem__, default=form)
        form = best if scores[best] - scores[form] > WINS_BY else form
    return max(forms[form], key=lambda number: float(log_score[number]))


def _within_bounds(filters: Filters, number: int) -> tuple[float, float]:
    """Return level and gain of a candidate, with a gain from 0 to 1 as heat flow has it.

    Outside of that it is the nearer end, and the level is what it is expected to be given that.
    """
    level, gain = filters.mean[number].tolist()
    bounded = min(max(gain, 0.0), 1.0)
    cov = filters.cov[number]
    if bounded != gain:
        level += float(cov[0, 1] / cov[1, 1]) * (bounded - gain)
    return level, bounded


def contradicted_day_low(day_lows_c: Array, typed_c: float | None) -> float | None:
    """Return the lower side of the last days' lows, if these are below what was typed [°C].

    None where they are not, where too few are known, and where nothing was typed.

    day_lows_c (day,) : the lowest by day at the spot [°C], in order; NaN where not known.
    """
    lows = day_lows_c[np.isfinite(day_lows_c)][-DAYS:]
    if typed_c is None or lows.size < ENOUGH_DAYS:
        return None
    mean, sd = float(lows.mean()), max(float(lows.std(ddof=1)), NOISE_K / math.sqrt(lows.size))
    if mean - TENTH * sd / math.sqrt(lows.size) >= typed_c:
        return None
    return mean + TENTH * sd


def lows_by_day(site: Site, hours: HourlyReadings, until: datetime) -> Array:
    """Return the lowest reading of each of the last days at an indoor spot [°C], in order.

    From when the cold of a night no longer counts until sunset; NaN for days on which too few of
    these hours have readings (`MIN_DAY_HOURS`, `MIN_DAY_SHARE`).

    until : days that are over by then count.
    """
    first = site.local_date(until) - timedelta(days=DAYS)
    lows = np.full(DAYS, np.nan)
    for number in range(DAYS):
        day = first + timedelta(days=number)
        start = sun.night_of(site, day - timedelta(days=1)).cold_until.timestamp()
        end = sun.night_of(site, day).start.timestamp()
        rows = (hours.first_at >= start) & (hours.last_at <= end)
        enough = min(MIN_DAY_HOURS, MIN_DAY_SHARE * (end - start) / HOUR_S)
        if rows.any() and rows.sum() >= enough:
            lows[number] = hours.low[rows].min()
    return lows
