"""How far off the next night's low will be, learned from pairs of a forecast low and the low that
came.

A forecast is wrong in two ways that can be learned. Its *bias* at a spot changes slowly and with
the kind of night: a terrace cools more than the model's grid cell when the air is calm and dry, and
a night that is forecast much warmer than the last ones mostly comes a little less warm. Its *doubt*
differs from night to night: where the members of an ensemble agree, it is off by less. Both are
learned night by night from what is past, and start from what is usual:

    came - forecast = b . (1, calm, dry, warm) + error
    variance of the error = u^2 (v1 + v2 max(calm, 0)) + v3 S^2

with u the usual error and S^2 the variance of the members. Calm, dry and warm are measured against
what is usual there. b follows a Kalman filter; v a recursive regression of squared errors, as in
non-homogeneous regression. An error is cut off at `CUT_OFF` deviations, so that one false reading
teaches little.

It is the doubt's change from night to night that lets expected harm do better than a fixed margin:
were it always the same, nights would come in the order of their forecast lows with either
(`tests/bench/harm_against_margins.py` has the figures). The daemon does not do this: it needs a
reading of every night at the spot as truth. It has `learned_error`, a table by lead time for
forecasts of which only later forecasts say what came. Here is the proof of what readings would
bring.

References
----------
Galanis and Anadranistakis 2002, Meteorol. Appl. 9:437 (Kalman filter for minima; abstract).
Gneiting, Raftery, Westveld and Goldman 2005, Mon. Wea. Rev. 133:1098 (variance linear in that of
the members; from memory).
"""

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from sillward_rules.arrays import Array
from sillward_rules.physics.cold_harm import usual_low_c
from sillward_rules.weather.uncertainty import Spread

BIAS_K = (1.5, 0.4, 0.4, 0.4)
"""Standard deviations of the bias, and of what calm, dry and warm air add to it, before anything is
learned [K]. Judgement: of single places that a forecast serves; the kind of night must win its
part. Loggers 15 cm above the ground, some hundred metres apart, differ by 0.4 to 2 K (examples of
the R package myClim)."""

DRIFT_K = (0.05, 0.01, 0.01, 0.01)
"""How much they change in a night [K]. With an error of 1.3 K the bias then follows like a decaying
average of weight 0.04. Of weights from 0.02 to 0.2 such served ECMWF's forecasts for Hannover and
Magdeburg best, over years. 0.2 K would cost a tenth more needless trips where nothing changes."""

SPREADS = (1.0, 0.0, 1.0)
"""v1, v2 and v3 before anything is learned: the doubt as it is told. The same for all nights."""

SPREADS_SD = (0.5, 0.3, 0.7)
"""How sure that is. Judgement: an error is half to one and a half of what is usual."""

LEAST_VARIANCE = 0.15
"""The variance of an error never falls below this share of the usual one. Judgement."""

CUT_OFF = 3.0
"""Errors count for at most so many deviations. Judgement: one Gaussian error in 370 is larger."""

USUAL_AIR = (4.0, 6.0)
USUAL_AIR_SD = (2.0, 4.0)
"""Wind [m/s] and air less dew point [K] of nights, and how much they differ, before a site has
shown its own. Judgement: what forecasts give for 10 m and 2 m in open country."""

AIR_COUNTS_AS, AIR_NIGHTS = 10, 120
"""What is usual before counts as so many nights; of what a site shows the last so many count.
Judgement: a season."""

WARM_PER_K = 1.0 / 3.0
"""A night is warm in full that is forecast 3 K warmer than the lows of the nights before it, in the
average that hardens plants too (`cold_harm.usual_low_c`). Judgement: so much lows differ within a
week. Averages over 3 to 20 nights do as well."""

MOST_KIND = 2.0
"""Calm, dry and warm reach from minus this to this. Judgement."""


class Circumstances(NamedTuple):
    """What a forecast says of a night; all but usual_k may be left out.

    usual_k : standard deviation of the error that the forecast does not show [K]; above 0. low_c :
    the low itself [°C]. members_k : standard deviation of its members [K]; 0 without any. wind_m_s,
    above_dew_point_k : means over the night, the latter of air less dew point. NaN where not known.
    """

    usual_k: float
    low_c: float = math.nan
    members_k: float = 0.0
    wind_m_s: float = math.nan
    above_dew_point_k: float = math.nan


class Expected(NamedTuple):
    """What is expected of the low of a night, against its forecast: numbers, or (night,).

    bias_k : what came less the forecast [K]; add it to the forecast. sd_k : standard deviation of
    what is left [K]. own, share : factors on the variance that a forecast does not show, and on
    that of its members.
    """

    bias_k: Array
    sd_k: Array
    own: Array
    share: Array


@dataclass(frozen=True, slots=True, eq=False)
class NightError:
    """What past nights have taught: a few numbers.

    bias (4,), bias_variance (4, 4) : of b [K, K²]. spreads (3,), spreads_variance (3, 3) : of v.
    air, air_variance (2,) : of wind and of air less dew point. low_c : what lows have been lately
    [°C]; NaN before the first. nights : how many there were.
    """

    bias: Array
    bias_variance: Array
    spreads: Array
    spreads_variance: Array
    air: Array
    air_variance: Array
    low_c: float = math.nan
    nights: int = 0

    def kind(self, night: Circumstances) -> Array:
        """Return the kind of a night, (4,): 1, how calm, how dry, how warm; 0 where not known."""
        off = (np.array([night.wind_m_s, night.above_dew_point_k]) - self.air) * (-1.0, 1.0)
        calm, dry = off / np.sqrt(self.air_variance)
        kind = np.array([1.0, calm, dry, (night.low_c - self.low_c) * WARM_PER_K])
        return np.clip(np.where(np.isnan(kind), 0.0, kind), -MOST_KIND, MOST_KIND)

    def expect(self, night: Circumstances) -> Expected:
        """Return what is expected of a night."""
        kind = self.kind(night)
        own, share = self._factors(kind)
        unsure = float(kind @ (self.bias_variance + _drift()) @ kind)
        own += unsure / night.usual_k**2
        variance = night.usual_k**2 * own + night.members_k**2 * share
        numbers = (kind @ self.bias, np.sqrt(variance), own, share)
        return Expected(*(np.asarray(number) for number in numbers))

    def after(self, night: Circumstances, error_k: float) -> "NightError":
        """Return what is known once a night is over; the same if its error is NaN.

        error_k : what came less the forecast [K].
        """
        if not np.isfinite(error_k):
            return self
        kind, expected = self.kind(night), self.expect(night)
        before = self.bias_variance + _drift()
        variance = float(expected.sd_k) ** 2
        most = CUT_OFF * float(expected.sd_k)
        off = min(max(error_k - float(expected.bias_k), -most), most)
        gain = before @ kind / variance
        # The square of an error teaches its variance, here in units of the usual one. Of a Gaussian
        # of variance V it has the variance 2 V².
        parts = np.array([1.0, max(kind[1], 0.0), (night.members_k / night.usual_k) ** 2])
        square = max(off**2 - float(kind @ before @ kind), 0.0) / night.usual_k**2
        weight = self.spreads_variance @ parts
        gain_v = weight / (2 * (variance / night.usual_k**2) ** 2 + parts @ weight)
        spreads = self.spreads + gain_v * (square - parts @ self.spreads)
        air, air_variance = self._air_after(night)
        return NightError(
            self.bias + gain * off,
            before - np.outer(gain, kind @ before),
            np.maximum(spreads, [LEAST_VARIANCE, 0.0, 0.0]),
            self.spreads_variance - np.outer(gain_v, weight),
            air,
            air_variance,
            self._low_after(night.low_c + error_k),
            self.nights + 1,
        )

    def _factors(self, kind: Array) -> tuple[float, float]:
        """Return the factors on the variances of the usual error and of the members."""
        own = float(self.spreads[0] + self.spreads[1] * max(kind[1], 0.0))
        return max(own, LEAST_VARIANCE), float(self.spreads[2])

    def _air_after(self, night: Circumstances) -> tuple[Array, Array]:
        """Return means and variances of wind and dryness with one more night."""
        weight = 1.0 / min(AIR_COUNTS_AS + self.nights + 1, AIR_NIGHTS)
        off = np.nan_to_num(np.array([night.wind_m_s, night.above_dew_point_k]) - self.air)
        known = np.isfinite([night.wind_m_s, night.above_dew_point_k])
        variance = self.air_variance + weight * ((1 - weight) * off**2 - self.air_variance)
        return self.air + weight * off, np.where(known, variance, self.air_variance)

    def _low_after(self, came_c: float) -> float:
        """Return what lows have been lately with one more [°C]."""
        return float(usual_low_c(self.low_c, came_c)) if np.isfinite(came_c) else self.low_c


UNTAUGHT = NightError(
    np.zeros(4),
    np.diag(np.square(BIAS_K)),
    np.array(SPREADS),
    np.diag(np.square(SPREADS_SD)),
    np.array(USUAL_AIR),
    np.square(USUAL_AIR_SD),
)
"""What is known before the first night."""


def learn(
    error_k: Array,
    usual_k: ArrayLike,
    low_c: ArrayLike = math.nan,
    members_k: ArrayLike = 0.0,
    wind_m_s: ArrayLike = math.nan,
    above_dew_point_k: ArrayLike = math.nan,
    *,
    start: NightError = UNTAUGHT,
) -> tuple[Expected, NightError]:
    """Go through nights in order. Return what was expected of each before it came, and the end.

    Parameters
    ----------
    error_k : Array (night,)
        What came less the forecast [K]; NaN where not known.
    usual_k, low_c, members_k, wind_m_s, above_dew_point_k : ArrayLike
        As in `Circumstances`; (night,) or one number.
    start : NightError
        What was known before the first night.
    """
    given = (usual_k, low_c, members_k, wind_m_s, above_dew_point_k)
    columns = [np.broadcast_to(np.asarray(of, dtype=np.float64), error_k.shape) for of in given]
    state, told = start, []
    for error, *of_night in zip(error_k.tolist(), *(of.tolist() for of in columns), strict=True):
        night = Circumstances(*of_night)
        told.append(state.expect(night))
        state = state.after(night, error)
    return Expected(*np.array(told, dtype=np.float64).reshape(-1, 4).T), state


def corrected(spread: Spread, expected: Expected, origin: str) -> Spread:
    """Return the spread of a forecast as past nights teach it, for one night.

    Its members are moved by the bias, so that what follows from them needs no other correction, and
    they and the error are as far apart as such nights have shown. expected : numbers, not arrays.
    """
    return Spread(
        spread.deviations * np.sqrt(expected.share) + expected.bias_k,
        spread.error_k * np.sqrt(expected.own),
        origin,
    )


def _drift() -> Array:
    return np.diag(np.square(DRIFT_K))
