"""What one source said of the lows of past nights, and which forecast counts for a lead time."""

from dataclasses import dataclass

import numpy as np

from sillward_rules.arrays import Array

WITHIN_H = 6.0
"""A forecast counts for a lead time this far from its own [h], and never for less than half of the
lead time. Judgement: a forecast is asked for every hour or two, so that one is near."""


@dataclass(frozen=True, slots=True, eq=False)
class PastLows:
    """What one source said of the lows of past nights; arrays are (forecast,), in any order.

    - night: the number of the night that each forecast is of: the ordinal of its evening's date.
    - lead_h: the time from fetching to the low [h], above 0.
    - low_c: the low [°C].
    - sd_k: the standard deviation it was told with [K]; NaN where it came with none.
    """

    night: np.ndarray
    lead_h: Array
    low_c: Array
    sd_k: Array

    def near(self, lead_h: float) -> np.ndarray:
        """Return the row of the forecast of each night that counts for a lead time [h], by night.

        It is the one nearest to it, within `WITHIN_H`.
        """
        return nearest(self.night, self.lead_h, lead_h)


def nearest(night: np.ndarray, lead_h: Array, wanted_h: float) -> np.ndarray:
    """Return the row of each night's forecast that counts for a lead time [h], by night.

    night, lead_h (forecast,) : as in `PastLows`.
    """
    away = np.abs(lead_h - wanted_h)
    near = np.flatnonzero(away <= min(WITHIN_H, wanted_h / 2))
    near = near[np.lexsort((away[near], night[near]))]
    _, first = np.unique(night[near], return_index=True)
    return np.asarray(near[first])
