"""Heat and vapour exchange of a leaf, a root or a film with the air and the sky around it.

What lives here: conductances, sky radiation and the root finder that `film` and `cold` share.
Conductances are molar [mol m-2 s-1] per side, after Campbell and Norman, An Introduction to
Environmental Biophysics, 2nd ed. 1998 (C&N below). Forced convection only: at the calmest wind
that the core assumes at a plant (`CALM_WIND_M_S`) it exceeds free convection until the surface
is tens of kelvin away from the air.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from sillward_rules.air import KELVIN, Array

STEFAN_BOLTZMANN = 5.67e-8
"""[W m-2 K-4]."""

HEAT_CAPACITY = 29.3
"""Molar heat capacity of air [J mol-1 K-1]; C&N."""

WATER_MOLAR_MASS = 0.018015
"""[kg/mol]."""

EMISSIVITY = 0.96
"""Thermal emissivity of a leaf; C&N give 0.94 to 0.99."""

OUTDOOR_TURBULENCE = 1.4
"""Outdoor air is more turbulent than a wind tunnel: factor on conductance; C&N p. 108."""

CALM_WIND_M_S = 0.1
"""Least wind at a plant [m/s]. Judgement: draughts never quite stop."""


@dataclass(frozen=True, slots=True)
class Shape:
    """How a surface meets the wind: the length along it [m] and the turbulence factor."""

    length_m: float
    turbulence: float = OUTDOOR_TURBULENCE


LEAF = Shape(length_m=0.7 * 0.05)
"""A strap 5 cm wide, the default leaf; C&N take 0.7 of the width. Judgement on the width."""

ROOT = Shape(length_m=0.005, turbulence=1.0)
"""An aerial root 5 mm thick. The turbulence factor is left out for thin roots (judgement)."""


def heat_conductance(wind_m_s: ArrayLike, shape: Shape) -> Array:
    """Conductance for heat, forced convection over a plate [mol m-2 s-1]; C&N table 7.6."""
    wind = np.asarray(wind_m_s, dtype=np.float64)
    return np.asarray(0.135 * shape.turbulence * np.sqrt(wind / shape.length_m))


def vapour_conductance(wind_m_s: ArrayLike, shape: Shape) -> Array:
    """Conductance for water vapour, as `heat_conductance` [mol m-2 s-1]; C&N table 7.6."""
    wind = np.asarray(wind_m_s, dtype=np.float64)
    return np.asarray(0.147 * shape.turbulence * np.sqrt(wind / shape.length_m))


def latent_heat(temp_c: ArrayLike) -> Array:
    """Latent heat of vaporisation at temp_c [°C], [J/mol]."""
    temp = np.asarray(temp_c, dtype=np.float64)
    return np.asarray((2.501 - 0.002361 * temp) * 1e6 * WATER_MOLAR_MASS)


def sky_emissivity(temp_c: ArrayLike, vapour_kpa: ArrayLike, cloud: ArrayLike) -> Array:
    """Emissivity of the sky seen from the ground [-].

    Parameters
    ----------
    temp_c, vapour_kpa : ArrayLike
        Air temperature [°C] and vapour pressure [kPa] at screen height.
    cloud : ArrayLike
        Cloud cover, 0 to 1.

    References
    ----------
    Clear sky: Brutsaert 1975, coefficient as listed by Flerchinger et al. 2009,
    Water Resources Research 45, W03423. Cloud: C&N eq. 10.12 (from memory).
    """
    kelvin = np.asarray(temp_c, dtype=np.float64) + KELVIN
    clear = 1.723 * (np.asarray(vapour_kpa, dtype=np.float64) / kelvin) ** (1.0 / 7.0)
    cover = np.asarray(cloud, dtype=np.float64)
    return np.asarray((1.0 - 0.84 * cover) * clear + 0.84 * cover)


def sky_loss(
    temp_c: ArrayLike, vapour_kpa: ArrayLike, cloud: ArrayLike, sky_view: ArrayLike
) -> Array:
    """Long-wave that a face at air temperature loses to the sky it sees [W/m2], >= 0.

    What is not sky (walls, roof, other leaves) is taken at air temperature. sky_view is the
    share of the face's view that is sky, 0 to 1.
    """
    kelvin = np.asarray(temp_c, dtype=np.float64) + KELVIN
    gap = 1.0 - sky_emissivity(temp_c, vapour_kpa, cloud)
    return np.asarray(np.asarray(sky_view) * EMISSIVITY * STEFAN_BOLTZMANN * kelvin**4 * gap)


def find_root(
    excess: Callable[[Array], Array], low: Array, high: Array, *, halvings: int = 36
) -> Array:
    """Solve excess(x) = 0 by bisection for every element at once.

    excess must fall with x and change sign between low and high. 36 halvings of a 100 K
    bracket leave 1e-9 K. NaN in a bracket gives NaN.
    """
    low, high = np.array(low, dtype=np.float64), np.array(high, dtype=np.float64)
    for _ in range(halvings):
        middle = 0.5 * (low + high)
        above = excess(middle) > 0
        low = np.where(above, middle, low)
        high = np.where(above, high, middle)
    return np.asarray(0.5 * (low + high))
