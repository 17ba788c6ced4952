"""Exposure to cold: how long and how deep a temperature is under a limit."""

import numpy as np
from numpy.typing import ArrayLike

from sillward_rules.arrays import Array


def exposure(temp_c: Array, limit_c: ArrayLike, step_h: ArrayLike = 1.0) -> tuple[Array, Array]:
    """Return time and depth under a limit, with linear interpolation between the moments.

    Parameters
    ----------
    temp_c : Array (time, ...)
        Temperature at moments [°C].
    limit_c : ArrayLike
        The limit [°C]; broadcasts against temp_c.
    step_h : ArrayLike
        Time between the moments [h]: one number, or (time - 1,) numbers.

    Returns
    -------
    hours, degree_hours : Array (...)
        Time under the limit [h], and the area between limit and temperature there [K h]. NaN
        where a moment is not known; 0 where there are fewer than two.
    """
    under = np.asarray(limit_c, dtype=np.float64) - np.asarray(temp_c, dtype=np.float64)
    if (under <= 0).all():  # it never falls under the limit
        nothing = np.zeros(under.shape[1:])
        return nothing, nothing
    first, second = under[:-1], under[1:]
    deeper, shallower = np.maximum(first, second), np.minimum(first, second)
    crosses = (deeper > 0) & (shallower < 0)
    share = np.where(crosses, deeper / np.where(crosses, deeper - shallower, 1.0), deeper > 0)
    depth = np.where(crosses, 0.5 * deeper, 0.5 * (np.maximum(first, 0) + np.maximum(second, 0)))
    unknown = np.where(np.isnan(first + second), np.nan, 0.0)
    steps = np.asarray(step_h, dtype=np.float64)
    if steps.ndim:
        steps = steps.reshape(-1, *([1] * (under.ndim - 1)))
    hours = ((share + unknown) * steps).sum(axis=0)
    degree_hours = ((share * depth + unknown) * steps).sum(axis=0)
    return np.asarray(hours), np.asarray(degree_hours)
