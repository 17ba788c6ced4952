"""What an indoor spot holds on a night, as learned from readings against the lows outdoors."""

import math
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

import numpy as np

from sillward_rules.arrays import Array

TENTH = -1.2815515655446004
"""Quantile of the standard normal distribution below which a tenth lies."""

ENOUGH_NIGHTS = 7
"""From so many nights on readings alone say what a spot holds, also that it is more than was typed;
before that they only take away from it. Judgement: a week, in which the weather has changed once,
and the spread around the level is known to a quarter or so."""

MIN_NIGHTS = 3
"""Of a spot for which nothing was typed, fewer nights than this say nothing. Judgement."""


class Form(StrEnum):
    """How the low indoors depends on the low outdoors."""

    HOLDS = "holds"
    """Not at all: a heated room, a cellar."""
    FOLLOWS = "follows"
    """It changes by a share of what changes outdoors: an unheated room, a porch with glass."""
    FLOOR = "floor"
    """It follows on mild nights, and heating keeps it from falling further on cold ones."""
    LIMITED = "limited"
    """It holds until the heating is no longer strong enough, and follows on colder nights."""


@dataclass(frozen=True, slots=True)
class IndoorResponse:
    """What an indoor spot holds, given the lows of the nights outdoors.

    The low indoors is level_c + gain * x, where x is how far the low outdoors is from outdoors_at_c
    [K]; x is 0 where a `FLOOR` is below that, or a `LIMITED` spot above it. With a lag the low
    outdoors is a running mean over past nights (`running_mean`).

    - variances: of level_c [K²], between level_c and gain [K], and of gain.
    - noise_k: standard deviation of a single night around this [K].
    - freedom: degrees of freedom of the Student t distribution of the errors.
    - coldest_c, warmest_c: the (running means of) lows outdoors that are known well: a tenth of the
      nights seen were colder, and none was milder [°C].
    - recent_c, recent_night: the running mean after the last night before the present one whose low
      outdoors was known, and its date [°C].
    - nights, last_night: how many nights taught this, and the date of the last.
    - usual_c, usual_outdoors_c: what it holds on an ordinary night of those seen, and the low
      outdoors then [°C].
    - surprise_k: how far off the last night was, if so much colder that something may be wrong;
      else 0 [K].
    - day_low_c: the lower side of what it has by day; None if not known [°C].
    """

    form: Form
    lag_nights: int
    outdoors_at_c: float
    level_c: float
    gain: float
    variances: tuple[float, float, float]
    noise_k: float
    freedom: float
    coldest_c: float
    warmest_c: float
    recent_c: float
    recent_night: date
    nights: int
    last_night: date
    usual_c: float
    usual_outdoors_c: float
    surprise_k: float = 0.0
    day_low_c: float | None = None

    def __str__(self) -> str:
        """Return what was learned, in words.

        "9 nights show 12.6 °C at 5.0 °C outdoors and 11.4 °C at 1.0 °C, give or take 0.6 K". Few
        nights "make it" that, as it is half of it what was typed.
        """
        verb = "show" if self.nights >= ENOUGH_NIGHTS else "make it"
        count = f"{self.nights} nights {verb}" if self.nights > 1 else "1 night makes it"
        over = f" over the last {self.lag_nights + 1} nights" if self.lag_nights else ""
        level, cold = f"{self.level_c:.1f} °C", self._told_at(self.coldest_c)
        held = {
            Form.HOLDS: f"{level} whatever the weather",
            Form.FOLLOWS: f"{self._told_at(self.usual_outdoors_c)} outdoors{over}"
            + (f" and {cold}" if self.nights > 1 else ""),
            Form.FLOOR: f"{level} on cold nights and {self._told_at(self.warmest_c)} outdoors",
            Form.LIMITED: f"{level} on mild nights and {cold} outdoors",
        }
        if self.surprise_k and self.nights > 1:
            return (
                f"{count} {held[self.form]}, but the last was {self.surprise_k:.1f} K colder than"
                " that: until the next is read it is not known what it holds"
            )
        _, sd = self.predict(np.array(self.usual_outdoors_c))
        return f"{count} {held[self.form]}, give or take {float(sd):.1f} K"

    def _told_at(self, outdoors_c: float) -> str:
        """Return "12.6 °C at 5.0 °C"."""
        mean, _ = self._mean_and_scale(np.array(outdoors_c))
        return f"{float(mean):.1f} °C at {outdoors_c:.1f} °C"

    def gain_at(self, outdoors_c: Array) -> Array:
        """Return by how much it changes for each kelvin outdoors, at a (running mean) low."""
        difference_k = outdoors_c - self.outdoors_at_c
        follows = {
            Form.HOLDS: np.zeros(difference_k.shape, dtype=bool),
            Form.FOLLOWS: np.ones(difference_k.shape, dtype=bool),
            Form.FLOOR: difference_k > 0.0,
            Form.LIMITED: difference_k <= 0.0,
        }
        return np.where(follows[self.form], self.gain, 0.0)

    def gain_tonight(self, outdoors_c: Array) -> Array:
        """Return what of that the low outdoors of the night itself makes."""
        return self.gain_at(outdoors_c) / (1.0 + self.lag_nights)

    def predict(self, outdoors_c: Array) -> tuple[Array, Array]:
        """Return the low indoors and its standard deviation [°C], [K].

        On a night colder than nearly all that were seen, heating may no longer keep up. A room
        loses heat by the difference to the outdoors, so that in the end it falls by no more than a
        kelvin for each one: what is left to that is taken as two standard deviations. On nights
        milder than any that was seen it is taken to be no warmer than on the mildest of these.

        outdoors_c : (running means of) lows outdoors [°C], of any shape.
        """
        mean, scale = self._mean_and_scale(np.asarray(outdoors_c, dtype=np.float64))
        spread = self.freedom / (self.freedom - 2.0) if self.freedom > 2.0 else np.inf
        return mean, scale * np.sqrt(spread)

    def lower_side(self, outdoors_c: Array) -> Array:
        """Return below what the low indoors falls on one night in ten [°C]."""
        mean, scale = self._mean_and_scale(np.asarray(outdoors_c, dtype=np.float64))
        return mean + _t_quantile(TENTH, self.freedom) * scale

    def is_surely_below(self, held_c: Array, outdoors_c: Array) -> np.ndarray:
        """Return whether nine times in ten its middle is below a temperature [°C]."""
        mean, _ = self._mean_and_scale(outdoors_c)
        return np.asarray(mean - TENTH * self._scale_of_mean(outdoors_c) < held_c)

    def taken_to_hold(
        self, outdoors_c: Array, night_low_c: float | None, night_offset_k: float | None
    ) -> Array:
        """Return what decisions rest on [°C]: the lower side, or what the grower typed.

        What was typed stands while there are too few readings to say more; then it counts no
        longer, on nights colder than those that were seen neither. NaN where neither is known.

        night_low_c, night_offset_k : as typed, of which at most one is given [°C], [K].
        """
        outdoors = np.asarray(outdoors_c, dtype=np.float64)
        learned = self.lower_side(outdoors)
        if night_low_c is None and night_offset_k is None:
            return learned if self.nights >= MIN_NIGHTS else np.full(outdoors.shape, np.nan)
        if self.nights >= ENOUGH_NIGHTS:
            return learned
        typed = outdoors + (night_offset_k or 0.0)
        if night_low_c is not None:
            typed = np.full(outdoors.shape, night_low_c)
        below = self.is_surely_below(typed, outdoors)
        return np.where(below, np.minimum(learned, typed), typed)

    def _mean_and_scale(self, outdoors_c: Array) -> tuple[Array, Array]:
        seen = np.minimum(outdoors_c, self.warmest_c)
        x = regressor(self.form, seen - self.outdoors_at_c)
        gain_left = 1.0 - self.gain_tonight(outdoors_c)
        unseen_k = np.maximum(self.coldest_c - outdoors_c, 0.0) * gain_left / 2.0
        of_night = np.hypot(unseen_k, math.hypot(self.noise_k, self.surprise_k))
        return self.level_c + self.gain * x, np.hypot(self._scale_of_mean(outdoors_c), of_night)

    def _scale_of_mean(self, outdoors_c: Array) -> Array:
        """Return how certain the middle of all nights of this low outdoors is [K]."""
        x = regressor(self.form, np.minimum(outdoors_c, self.warmest_c) - self.outdoors_at_c)
        of_level, between, of_gain = self.variances
        return np.sqrt(np.maximum(of_level + 2.0 * between * x + of_gain * x**2, 0.0))


def regressor(form: Form, difference_k: Array) -> Array:
    """Return what the gain counts by, from how far the low outdoors is from `outdoors_at_c` [K]."""
    if form is Form.HOLDS:
        return np.zeros_like(difference_k)
    if form is Form.FLOOR:
        return np.maximum(difference_k, 0.0)
    return np.minimum(difference_k, 0.0) if form is Form.LIMITED else difference_k


def running_mean(lows_c: Array, lag_nights: int, recent_c: float | None = None) -> Array:
    """Return the exponentially weighted mean of the lows of each night and those before it [°C].

    A night counts 1 / (1 + lag_nights), the mean before it the rest; an unknown one changes
    nothing and has none.

    lows_c (night,) : [°C], in order. recent_c : the mean before the first, if there is one.
    """
    weight, mean = 1.0 / (1.0 + lag_nights), recent_c
    means = np.full(lows_c.shape, np.nan)
    for night, low in enumerate(lows_c.tolist()):
        if np.isfinite(low):
            mean = low if mean is None else mean + weight * (low - mean)
            means[night] = mean
    return means


def _t_quantile(normal: float, freedom: float) -> float:
    """Return the quantile of Student's t at the probability of a quantile of the normal.

    Abramowitz and Stegun 1964, 26.7.5 (from memory), good to 0.01 from 4 degrees of freedom on.
    """
    z, n = normal, freedom
    first = (z**3 + z) / 4.0
    second = (5.0 * z**5 + 16.0 * z**3 + 3.0 * z) / 96.0
    third = (3.0 * z**7 + 19.0 * z**5 + 17.0 * z**3 - 15.0 * z) / 384.0
    return z + first / n + second / n**2 + third / n**3
