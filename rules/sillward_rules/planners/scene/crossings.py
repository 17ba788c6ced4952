"""When the values of a rule cross its bound, within the steps of its series.

Arrays are (class,) unless said otherwise.
"""

import numpy as np

from sillward_rules.arrays import HOUR_S, Array
from sillward_rules.plants.rule_firing import Firing


def interpolate_crossing(
    before_s: Array, after_s: Array, gap_before: Array, gap_after: Array, *, otherwise: float
) -> Array:
    """Return when a gap is zero, on a straight line between two moments [unix s].

    - before_s, after_s: the moments [unix s].
    - gap_before, gap_after: how far the value is from its bound there.
    - otherwise: which moment is returned where no crossing is known: 0 for the first, 1 for the
      second.
    """
    step = gap_before - gap_after
    known = np.isfinite(step) & (step != 0)
    share = np.where(known, gap_before / np.where(known, step, 1.0), otherwise)
    return np.asarray(before_s + np.clip(share, 0.0, 1.0) * (after_s - before_s), dtype=np.float64)


def find_crossings(firing: Firing, first: np.ndarray) -> Array:
    """Return when each class crossed its bound on the way to the row where the rule fires [unix s].

    first (class,) : that row. The bound may have been crossed before the rule's own hours begin:
    the search goes back while the quantity stays beyond the bound, or is unknown and so may have
    been, and interpolates within the step of the crossing.
    """
    times, classes = firing.times, np.arange(first.size)
    if firing.rule.quantity == "rain wetness":  # the crown must be in before it gets wet
        return np.asarray(times[first] - HOUR_S * firing.values[first, classes], dtype=np.float64)
    last_within = _last_within(firing, first)
    after = np.clip(last_within + 1, 0, times.size - 1)
    before = np.clip(last_within, 0, times.size - 1)
    gap_before = firing.bound[before, classes] - firing.values[before, classes]
    gap_after = firing.bound[after, classes] - firing.values[after, classes]
    crossing = interpolate_crossing(
        times[before], times[after], gap_before, gap_after, otherwise=0.0
    )
    return np.asarray(np.where(last_within >= 0, crossing, times[0]), dtype=np.float64)


def _last_within(firing: Firing, first: np.ndarray) -> np.ndarray:
    """(class,) the last row up to `first` (class,) where the quantity is known to be within its
    bound; -1 where none is. That is nearly always the row before, and the search is long."""
    classes = np.arange(first.size)

    def is_within(rows: np.ndarray) -> np.ndarray:
        unknown = np.isnan(firing.values[rows, classes])
        return np.asarray(~(firing.beyond[rows, classes] | unknown))

    found = np.where(is_within(first), first, first - 1)
    sought = np.flatnonzero((found < first) & ~((found >= 0) & is_within(found)))
    if sought.size:
        unknown = np.isnan(firing.values[:, sought])
        rows = np.arange(firing.times.size)[:, None]
        within = np.where(firing.beyond[:, sought] | unknown, -1, rows)
        last = np.maximum.accumulate(within, axis=0)
        found[sought] = last[first[sought], np.arange(sought.size)]
    return found


def find_returns(firing: Firing, last: np.ndarray) -> Array:
    """Return when each class is within its bound again after the rule has fired [unix s].

    last (class,) : the last row where it fires. The crossing lies in the step that follows; it is
    that row itself where the next is not known.
    """
    times, classes = firing.times, np.arange(last.size)
    after = np.minimum(last + 1, times.size - 1)
    gap_before = firing.bound[last, classes] - firing.values[last, classes]
    gap_after = firing.bound[after, classes] - firing.values[after, classes]
    crossing = interpolate_crossing(times[last], times[after], gap_before, gap_after, otherwise=0.0)
    # Where the rule's hours end first, the value is still beyond the bound.
    still_beyond = np.isfinite(gap_after) & ~((gap_after < 0) & (gap_before >= 0))
    return np.where(still_beyond, times[after], crossing)
