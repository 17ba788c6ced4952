"""Cold as plants count it: how long and how deep under a limit, beside how low."""

import numpy as np
from numpy.typing import ArrayLike

from sillward_rules.air import Array


def exposure(temp_c: Array, limit_c: ArrayLike, step_h: float = 1.0) -> tuple[Array, Array]:
    """Time and depth under a limit, along straight lines between the given moments.

    Parameters
    ----------
    temp_c : Array (time, ...)
        Temperature at moments that lie step_h [h] apart [°C].
    limit_c : ArrayLike
        The limit [°C]; broadcasts against temp_c.

    Returns
    -------
    hours, degree_hours : Array (...)
        Time under the limit [h], and the area between limit and temperature there [K h]. NaN
        where a moment is not known; 0 where there are fewer than two.
    """
    under = np.asarray(limit_c, dtype=np.float64) - np.asarray(temp_c, dtype=np.float64)
    first, second = under[:-1], under[1:]
    deeper, shallower = np.maximum(first, second), np.minimum(first, second)
    crosses = (deeper > 0) & (shallower < 0)
    share = np.where(crosses, deeper / np.where(crosses, deeper - shallower, 1.0), deeper > 0)
    depth = np.where(crosses, 0.5 * deeper, 0.5 * (np.maximum(first, 0) + np.maximum(second, 0)))
    unknown = np.where(np.isnan(first + second), np.nan, 0.0)
    hours = (share + unknown).sum(axis=0) * step_h
    degree_hours = (share * depth + unknown).sum(axis=0) * step_h
    return np.asarray(hours), np.asarray(degree_hours)
