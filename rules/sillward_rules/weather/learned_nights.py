"""What readings have taught about the nights of a spot: its correction, and how sure that is."""

import math
from dataclasses import dataclass
from datetime import date

import numpy as np

from sillward_rules.arrays import Array

USUAL_SHARE = 0.5
"""Nights of this share (`spot_offset.weather_share`) count as neither calm and clear nor windy or
cloudy. Judgement: the middle."""


@dataclass(frozen=True, slots=True)
class LearnedNights:
    """The correction of a spot's nights, in addition to what its grower has said.

    A night is so much warmer than forecast:

        night_offset * share + level + calm * (share - USUAL_SHARE)

    with the share of `spot_offset.weather_share`: 1 on calm, clear nights, less in wind and cloud.

    - nights: from how many nights it was learned; last: the last of them.
    - level_k, calm_k: [K]; calm_k is 0 until it has proved to be of use.
    - level_variance, covariance, calm_variance: how sure these are [K²].
    - calm_factor, other_factor: how far off forecasts are there on calm and clear nights, and on
      others, beside what is told of them: factors on the standard deviation.
    - total_k: how much warmer nights were than forecast on average, all parts together [K].
    - since: the first night that counts, if the readings changed all at once on that night; step_k:
      by how much [K].
    - asks: whether that change has not been explained. Only the coldest of what was known before,
      of what is read since, and of no correction at all counts until it is.
    """

    nights: int
    last: date
    level_k: float
    calm_k: float
    level_variance: float
    covariance: float
    calm_variance: float
    calm_factor: float
    other_factor: float
    total_k: float
    since: date | None = None
    step_k: float = 0.0
    asks: bool = False

    @property
    def sd_k(self) -> float:
        """Standard deviation of the correction on a usual night [K]."""
        return math.sqrt(self.level_variance)

    def __str__(self) -> str:
        """Return what was learned, in words."""
        count = "1 night" if self.nights == 1 else f"{self.nights} nights"
        way = "warmer" if self.total_k > 0 else "colder"
        if abs(self.total_k) < 0.05:
            return f"learned from {count}: as forecast, give or take {self.sd_k:.1f} K"
        return (
            f"learned from {count}: {abs(self.total_k):.1f} K {way} than the forecast, give or"
            f" take {self.sd_k:.1f} K"
        )

    @property
    def question(self) -> str | None:
        """What is asked about a change of the readings, in words; None if nothing is."""
        if not self.asks or self.since is None:
            return None
        way = "warmer" if self.step_k > 0 else "colder"
        return (
            f"what is read there is {abs(self.step_k):.1f} K {way} against the forecast since the"
            f" night of {self.since:%-d %B}: was the thermometer moved? Until that is answered, the"
            " colder case counts"
        )

    def correction_k(self, share: Array) -> Array:
        """Return what is added to a night's temperature [K], of any shape.

        share : of the weather, 0 to 1; NaN is the colder case.
        """
        known = self.level_k + self.calm_k * (share - USUAL_SHARE)
        coldest = self.level_k - abs(self.calm_k) * max(USUAL_SHARE, 1.0 - USUAL_SHARE)
        return np.asarray(np.where(np.isnan(share), coldest, known))

    def variance(self, share: Array) -> Array:
        """Return the variance of the correction [K²]. share : as in `correction_k`."""
        off = np.where(np.isnan(share), 1.0 - USUAL_SHARE, share - USUAL_SHARE)
        return np.asarray(
            self.level_variance + 2.0 * off * self.covariance + off**2 * self.calm_variance
        )

    def factor(self, share: Array) -> Array:
        """Return the factor on the told deviation of a forecast. share : as in `correction_k`."""
        calm = is_calm(share)
        largest = max(self.calm_factor, self.other_factor)
        known = np.where(calm, self.calm_factor, self.other_factor)
        return np.asarray(np.where(np.isnan(share), largest, known))


def is_calm(share: Array) -> np.ndarray:
    """Return whether a night counts as calm and clear. share : of the weather, 0 to 1."""
    return np.asarray(share > USUAL_SHARE)
