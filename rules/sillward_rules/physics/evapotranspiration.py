"""Evapotranspiration of a reference surface, and how a lack of water holds it back: FAO-56.

Allen, Pereira, Raes and Smith, Crop evapotranspiration, FAO Irrigation and Drainage Paper 56, 1998.
"""

import numpy as np
from numpy.typing import ArrayLike

from sillward_rules.arrays import HOUR_S, Array
from sillward_rules.physics.air import (
    psychrometric_constant,
    saturation_slope,
    saturation_vapour_pressure,
)

GRASS_ALBEDO = 0.23
"""Share of sunlight that the reference grass reflects; FAO-56 eq. 38."""

CALMEST_M_S = 0.5
"""The equation is not used with less wind than this [m/s], because warm air rises from leaves by
itself; FAO-56, chapter 4 (from memory)."""

_HEAT_BY_DAY, _HEAT_BY_NIGHT = 0.1, 0.5
"""Shares of net radiation that go into the ground; FAO-56 eq. 45 and 46."""

_MJ_PER_W_H = HOUR_S * 1e-6


def reference_evapotranspiration(
    temp_c: ArrayLike,
    vapour_kpa: ArrayLike,
    wind_m_s: ArrayLike,
    net_w_m2: ArrayLike,
    *,
    pressure_kpa: ArrayLike,
    night: ArrayLike,
) -> Array:
    """Return what short, well watered grass transpires in an hour [mm].

    All arguments have shapes that go together, and so has the result; NaN in, NaN out. Never less
    than 0: dew waters no pot.

    Parameters
    ----------
    temp_c, vapour_kpa : ArrayLike
        Air, means of the hour [°C], [kPa].
    wind_m_s : ArrayLike
        Wind 2 m above the ground [m/s]; taken as `CALMEST_M_S` where it is calmer.
    net_w_m2 : ArrayLike
        Net radiation, mean of the hour [W/m2].
    pressure_kpa : ArrayLike
        Air pressure [kPa].
    night : ArrayLike
        Whether it is night, when half of the net radiation comes out of the ground.

    References
    ----------
    FAO-56 eq. 53. The form of ASCE 2005 has other resistances by day and by night, and is within 5
    % of it.
    """
    temp = np.asarray(temp_c, dtype=np.float64)
    wind = np.asarray(wind_m_s, dtype=np.float64)
    wind = np.where(wind < CALMEST_M_S, CALMEST_M_S, wind)
    net = np.asarray(net_w_m2, dtype=np.float64) * _MJ_PER_W_H
    heat = np.where(np.asarray(night, dtype=bool), _HEAT_BY_NIGHT, _HEAT_BY_DAY)
    slope, gamma = saturation_slope(temp), psychrometric_constant(pressure_kpa)
    vapour = np.asarray(vapour_kpa, dtype=np.float64)
    deficit = np.maximum(saturation_vapour_pressure(temp) - vapour, 0.0)
    radiant = 0.408 * slope * net * (1.0 - heat)
    windy = gamma * 37.0 / (temp + 273.0) * wind * deficit
    return np.asarray(np.maximum((radiant + windy) / (slope + gamma * (1.0 + 0.34 * wind)), 0.0))


def stress_coefficient(share: ArrayLike, allowed_depletion: ArrayLike) -> Array:
    """Return the share of its water use that a plant keeps up while its water runs out, 0 to 1.

    Parameters
    ----------
    share : ArrayLike
        Share of the available water that is left, 0 to 1: 1 - Dr / TAW of FAO-56.
    allowed_depletion : ArrayLike
        Share of it that is readily available, p of FAO-56, 0 to less than 1.

    References
    ----------
    FAO-56 eq. 84.
    """
    left = np.asarray(share, dtype=np.float64)
    kept = left / (1.0 - np.asarray(allowed_depletion, dtype=np.float64))
    return np.asarray(np.minimum(np.maximum(kept, 0.0), 1.0))
