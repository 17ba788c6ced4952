"""Cold at night: how far a leaf falls below the air around it."""

import numpy as np
from numpy.typing import ArrayLike

from sillward_rules.air import KELVIN, Array, saturation_vapour_pressure
from sillward_rules.surface import (
    EMISSIVITY,
    HEAT_CAPACITY,
    LEAF,
    STEFAN_BOLTZMANN,
    Shape,
    find_root,
    heat_conductance,
    latent_heat,
    sky_loss,
    vapour_conductance,
)


def night_leaf_temperature(
    temp_c: ArrayLike,
    vapour_kpa: ArrayLike,
    wind_m_s: ArrayLike,
    cloud: ArrayLike,
    sky_view: ArrayLike,
    *,
    pressure_kpa: float,
    shape: Shape = LEAF,
) -> Array:
    """Temperature of a leaf at night by its full energy balance.

    Both faces exchange heat with the air; the upper face radiates to the sky it sees, the lower
    one and the rest of the view to surroundings at air temperature. Dew gives heat back as soon
    as the leaf is below the dew point.

    Parameters
    ----------
    temp_c, vapour_kpa : ArrayLike
        Air at the leaf [°C], [kPa].
    wind_m_s : ArrayLike
        Wind at the leaf [m/s].
    cloud, sky_view : ArrayLike
        Cloud cover and the share of the upper face's view that is open sky, 0 to 1.
    pressure_kpa : float
        Air pressure [kPa].

    Returns
    -------
    Array
        Leaf temperature [°C], never above the air's; NaN where an input is NaN.

    References
    ----------
    Conductances: Campbell and Norman 1998, table 7.6. Size of the effect as measured: 1 to 3 K
    on clear calm nights (Leuning and Cremer 1988, Agric. For. Meteorol. 42:121).
    """
    temp = np.asarray(temp_c, dtype=np.float64)
    # Air cannot hold more than saturation; a rounding surplus would warm the leaf by false dew.
    vapour = np.minimum(np.asarray(vapour_kpa, dtype=np.float64), saturation_vapour_pressure(temp))
    loss = sky_loss(temp, vapour, cloud, sky_view)
    heat = 2.0 * HEAT_CAPACITY * heat_conductance(wind_m_s, shape)
    dew = 2.0 * vapour_conductance(wind_m_s, shape) * latent_heat(temp) / pressure_kpa
    emitted_as_air = 2.0 * EMISSIVITY * STEFAN_BOLTZMANN * (temp + KELVIN) ** 4

    def excess(leaf_c: Array) -> Array:
        emitted = 2.0 * EMISSIVITY * STEFAN_BOLTZMANN * (leaf_c + KELVIN) ** 4
        condensed = np.maximum(vapour - saturation_vapour_pressure(leaf_c), 0.0)
        return np.asarray(
            emitted_as_air - loss - emitted + heat * (temp - leaf_c) + dew * condensed
        )

    top = temp + 0.0 * (loss + heat)
    # A leaf that loses nothing is at air temperature exactly, not a rounding below a limit.
    return np.where(excess(top) >= 0, top, find_root(excess, top - 40.0, top))
