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
(`tests/bench/harm_against_margins.py` has the figures).

References
----------
Galanis and Anadranistakis 2002, Meteorol. Appl. 9:437 (Kalman filter for minima; abstract).
Gneiting, Raftery, Westveld and Goldman 2005, Mon. Wea. Rev. 133:1098 (variance linear in that of
the members; from memory).
"""

import math
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from sillward_rules.arrays import Array
from sillward_rules.physics.cold_harm import usual_low_c

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
    the low itself at the spot, with what its grower said of it [°C]. days : nights since the last
    one that taught. members_k : standard deviation of its members [K]; 0 without any. wind_m_s,
    above_dew_point_k : means over the night, the latter of air less dew point. NaN where not known.
    """

    usual_k: float
    low_c: float = math.nan
    members_k: float = 0.0
    wind_m_s: float = math.nan
    above_dew_point_k: float = math.nan
    days: int = 1


class Expected(NamedTuple):
    """What is expected of the low of a night, against its forecast.

    bias_k : what came less the forecast [K]; add it to the forecast. sd_k : standard deviation of
    what is left [K]. own, share : factors on the variance that a forecast does not show, and on
    that of its members. unsure_k2 : the variance of the bias [K²], which is part of `own` too.
    """

    bias_k: float
    sd_k: float
    own: float
    share: float
    unsure_k2: float


@dataclass(frozen=True, slots=True, eq=False)
class NightError:
    """What past nights have taught: a few numbers.

    bias (4,), bias_variance (4, 4) : of b [K, K²]. spreads (3,), spreads_variance (3, 3) : of v.
    air, air_variance (2,) : of wind and of air less dew point. low_c : what lows have been lately
    [°C]; NaN before the first. nights : how many there were. by_kind : whether the bias depends on
    the kind of the night, or is the same on all.
    """

    bias: Array
    bias_variance: Array
    spreads: Array
    spreads_variance: Array
    air: Array
    air_variance: Array
    low_c: float = math.nan
    nights: int = 0
    by_kind: bool = True

    def kind(self, night: Circumstances) -> Array:
        """Return the kind of a night, (4,): 1, how calm, how dry, how warm; 0 where not known."""
        # Numbers one by one: hundreds of nights are gone through, and arrays of four are slow.
        (wind, dry), (wind_variance, dry_variance) = self.air.tolist(), self.air_variance.tolist()
        off = (
            (wind - night.wind_m_s) / math.sqrt(wind_variance),
            (night.above_dew_point_k - dry) / math.sqrt(dry_variance),
            (night.low_c - self.low_c) * WARM_PER_K,
        )
        limited = (min(max(part, -MOST_KIND), MOST_KIND) for part in off)
        return np.array([1.0, *(0.0 if math.isnan(part) else part for part in limited)])

    def expect(self, night: Circumstances) -> Expected:
        """Return what is expected of a night."""
        kind = self.kind(night)
        own, share = self._factors(kind)
        kind = self._moving_bias(kind)
        unsure = float(kind @ (self.bias_variance + _drift(night.days)) @ kind)
        own += unsure / night.usual_k**2
        variance = night.usual_k**2 * own + night.members_k**2 * share
        return Expected(float(kind @ self.bias), math.sqrt(variance), own, share, unsure)

    def after(self, night: Circumstances, error_k: float) -> "NightError":
        """Return what is known once a night is over; the same if its error is NaN.

        error_k : what came less the forecast [K].
        """
        if not np.isfinite(error_k):
            return self
        expected, parts = self.expect(night), self._parts(night)
        kind = self._moving_bias(self.kind(night))
        before = self.bias_variance + _drift(night.days)
        variance = expected.sd_k**2
        most = CUT_OFF * expected.sd_k
        off = min(max(error_k - expected.bias_k, -most), most)
        gain = before @ kind / variance
        # The square of an error teaches its variance, here in units of the usual one. Of a Gaussian
        # of variance V it has the variance 2 V².
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
            self.by_kind,
        )

    def _moving_bias(self, kind: Array) -> Array:
        """Return the kind of a night as far as the bias depends on it."""
        return kind if self.by_kind else np.eye(4)[0]

    def _parts(self, night: Circumstances) -> Array:
        """Return what the doubt of a night is made of, (3,), in units of the usual variance."""
        calm = max(float(self.kind(night)[1]), 0.0)
        return np.array([1.0, calm, (night.members_k / night.usual_k) ** 2])

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

UNTAUGHT_ALIKE = replace(UNTAUGHT, by_kind=False)
"""The same of a bias that is the same on all nights."""


def _drift(days: int) -> Array:
    return _DRIFT if days == 1 else days * _DRIFT


_DRIFT = np.diag(np.square(DRIFT_K))
