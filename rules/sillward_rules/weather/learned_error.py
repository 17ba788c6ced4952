"""How far off the forecasts of a site's nights have been, learned from the forecasts themselves.

The last forecast before the low of a night stands for what came, where no thermometer was read.
Earlier forecasts are compared with it, by lead time. What such a table cannot show is an error that
all forecasts of a night share: a valley that the model does not know. That a source agrees with
itself is no proof that it is right, so without readings the usual error is only ever raised.

Where spots have thermometers, each says what came as if it stood at the site: what was read there,
less what the spot had been expected to be off by its own correction. Then the learned error is that
of the low at a spot *after* its correction. How far the correction itself may be off is told with
the correction, and is not in here again.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from sillward_rules.arrays import Array
from sillward_rules.weather.past_lows import PastLows, nearest
from sillward_rules.weather.uncertainty import (
    ERROR_AT_ISSUE_K,
    USUAL_LEAD_H,
    Spread,
    spread_from_table,
    usual_error_k,
)

LEAD_H = (6.0, *USUAL_LEAD_H)
"""Lead times at which errors are learned [h]: this night at midnight, then as in the usual
errors."""

STAND_IN_WITHIN_H = 6.0
"""The last forecast of a night stands for what came if its low lies at most this far ahead [h].
Judgement: one model run; after a longer silence of the source nothing is known of that night."""

MIN_NIGHTS = 30
"""With fewer nights at a lead time its usual error holds. Judgement: a month; with 30 values a
standard deviation is known to 13 %."""

USUAL_COUNTS_AS = 30
"""The usual error weighs as much as this many nights. Judgement: half of the answer after a month,
a twelfth after a year."""

LEAST_ERROR_K = 1.0
"""A learned error is never less [K]. Judgement: forecasts for well-kept stations are off by 1.3 K
for the first night (Met Office), and a terrace is less well known than a station."""


@dataclass(frozen=True, slots=True)
class ReadNight:
    """What thermometers at the spots say of a night at the site.

    low_c : the low that was read less what the spot had been expected to be off, averaged over the
    spots [°C]. variance_k2 : what one spot's error has more in its square than that of their
    average: the mean square of how far they are from it, less the variance of what they were
    expected to be off. The latter is a doubt about each spot, which knows it, and not about
    forecasts; so this may be below zero [K²].
    """

    low_c: float
    variance_k2: float = 0.0


@dataclass(frozen=True, slots=True)
class LearnedError:
    """Errors of forecasts of a night's low at one site.

    lead_h : lead times, in order [h]. sd_k : standard deviation of the error at each [K]. nights :
    how many nights each was learned from; 0 where the usual error holds. by_readings : whether
    readings alone count at some of them.
    """

    lead_h: tuple[float, ...]
    sd_k: tuple[float, ...]
    nights: tuple[int, ...]
    by_readings: bool = False

    @property
    def origin(self) -> str:
        """Where the errors come from, in words for the grower."""
        readings = " with readings" if self.by_readings else ""
        return f"errors learned from {max(self.nights)} nights{readings}"

    def spread(self, times: np.ndarray, counted_from: datetime) -> Spread:
        """Return the spread of a forecast with these errors.

        times (time,) : [unix s]. counted_from : the moment from which its lead times count, the
        same as when the errors were learned.
        """
        spread = spread_from_table(times, counted_from, self.lead_h, self.sd_k, self.origin)
        return replace(spread, corrected=self.by_readings)


def learned_error(
    told: PastLows, read: Mapping[int, ReadNight] | None = None
) -> LearnedError | None:
    """Return the error of past forecasts of a night's low, by lead time.

    For each lead time the forecast nearest to it is taken of every night, and

        sd^2 = (m usual^2 + sum over n nights of ((low - came)^2 + e^2)) / (m + n)

    with m = `USUAL_COUNTS_AS`. Where readings say what came, e^2 is their `variance_k2`; where the
    last forecast stands for it, e is `ERROR_AT_ISSUE_K`. The squares add up as far as a forecast is
    efficient, that is, as far as its later error does not follow from how it was revised. A mean
    deviation counts as error too; with readings, what the corrections leave of it.

    Where there are `MIN_NIGHTS` nights with readings, these alone count. Else all count, and the
    error is never less than the usual one. It never falls with the lead time, nor below
    `LEAST_ERROR_K`.

    Parameters
    ----------
    told : PastLows
        What one source said of past nights; lead times count from the same moment as in
        `LearnedError.spread`.
    read : Mapping[int, ReadNight] | None
        What was read, by the number of the night.

    Returns
    -------
    LearnedError | None
        None unless at some lead time there are `MIN_NIGHTS` nights to learn from.

    References
    ----------
    The weighted mean is that of a normal distribution of known mean whose variance has a scaled
    inverse chi-square prior: Gelman and others, Bayesian Data Analysis, section 2.6. Efficiency of
    forecasts: Nordhaus 1987, Review of Economics and Statistics 69:667. Both from memory.
    """
    order = np.lexsort((told.lead_h, told.night))
    night, lead_h, low_c = told.night[order], told.lead_h[order], told.low_c[order]
    numbers, first, of = np.unique(night, return_index=True, return_inverse=True)
    came = np.where(lead_h[first] <= STAND_IN_WITHIN_H, low_c[first], np.nan)
    unseen_k2 = np.full(numbers.shape, ERROR_AT_ISSUE_K**2)
    is_read = np.zeros(numbers.shape, dtype=bool)
    for row, number in enumerate(numbers.tolist()):
        if read is not None and number in read:
            is_read[row] = True
            came[row], unseen_k2[row] = read[number].low_c, read[number].variance_k2
    squares = (low_c - came[of]) ** 2 + unseen_k2[of]
    is_stand_in = np.zeros(night.shape, dtype=bool)
    is_stand_in[first] = ~is_read
    usable = np.isfinite(squares) & ~is_stand_in
    columns = [each[usable] for each in (of, lead_h, squares, is_read[of])]
    found = [_at(lead, *columns) for lead in LEAD_H]
    sd_k, nights, by_readings = (np.array(column) for column in zip(*found, strict=True))
    if not nights.any():
        return None
    rising = _rising(sd_k, nights > 0)
    return LearnedError(
        LEAD_H, tuple(rising.tolist()), tuple(nights.tolist()), bool(by_readings.any())
    )


def _rising(sd_k: Array, is_learned: np.ndarray) -> Array:
    """Return errors (lead,) that never fall: learned ones among themselves, usual ones between."""
    learned = np.maximum.accumulate(np.where(is_learned, sd_k, 0.0))
    sd_k = np.where(is_learned, learned, np.maximum(sd_k, learned))
    next_learned = np.minimum.accumulate(np.where(is_learned, sd_k, np.inf)[::-1])[::-1]
    return np.asarray(np.minimum(sd_k, next_learned))


def _at(
    lead: float, night: np.ndarray, lead_h: Array, squares: Array, is_read: np.ndarray
) -> tuple[float, int, bool]:
    """Return the error at a lead time [K], how many nights it was learned from, and whether
    readings alone count.

    is_read (forecast,) : whether a reading says what came.
    """
    chosen = nearest(night, lead_h, lead)
    read = chosen[is_read[chosen]]
    usual = float(usual_error_k(lead))
    by_readings = read.size >= MIN_NIGHTS
    if by_readings:
        chosen = read
    if chosen.size < MIN_NIGHTS:
        return usual, 0, False
    total = USUAL_COUNTS_AS * usual**2 + max(float(squares[chosen].sum()), 0.0)
    variance = total / (USUAL_COUNTS_AS + chosen.size)
    least = LEAST_ERROR_K if by_readings else usual
    return max(float(np.sqrt(variance)), least), int(chosen.size), by_readings
