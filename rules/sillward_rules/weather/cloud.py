"""Cloud by height: how much of the cloud cover keeps the ground warm.

This is about the long-wave balance, in which low, middle and high cloud count differently. Sunlight
depends on the total cover, because thin high cloud weakens it too.
"""

import numpy as np
from numpy.typing import ArrayLike

from sillward_rules.arrays import Array

MIDDLE = 0.68
HIGH = 0.16
"""How much more long-wave radiation a sky full of middle or high cloud sends down than a clear one,
as a share of what full low cloud adds. Bolz 1949, as tabled by Oke 1987, Boundary Layer Climates:
altocumulus 0.17 and cirrus 0.04, held against stratus and fog at 0.25 (from memory).

Weighed: Martin and Berdahl 1984, Solar Energy 33:321, let cloud count by its emissivity times
exp(-base / 8.2 km), with 0.4 for the emissivity of ice cloud at 8 km (from memory). For bases of
1.5, 4.5 and 8 km that makes 0.83, 0.58 and 0.15, or 1, 0.69 and 0.18: much the same, and the 0.83
is the 0.84 that an overcast sky has in `surface.sky_emissivity`."""


def warming_cover(total: ArrayLike, low: ArrayLike, middle: ArrayLike, high: ArrayLike) -> Array:
    """Return the cover of low cloud that would warm the ground as all the cloud of the sky does.

    Parameters
    ----------
    total, low, middle, high : ArrayLike
        Cloud cover, 0 to 1, of the sky and of each layer by itself; layers hide one another.

    Returns
    -------
    Array
        Cover, 0 to 1. Never more than the total; the total itself where a layer is not known. Where
        the layers may overlap in several ways, the coldest case counts: as much of the high cloud
        is seen from below as the total leaves room for. What no layer accounts for is clear sky.
    """
    total, low, middle, high = (
        np.asarray(cover, dtype=np.float64) for cover in (total, low, middle, high)
    )
    low_seen = np.minimum(low, total)
    high_seen = np.clip(total - np.maximum(low_seen, middle), 0.0, high)
    middle_seen = np.clip(total - low_seen - high_seen, 0.0, middle)
    by_height = low_seen + MIDDLE * middle_seen + HIGH * high_seen
    return np.asarray(np.where(np.isnan(low + middle + high), total, by_height))
