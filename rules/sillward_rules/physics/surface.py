"""Heat and vapour exchange of a leaf, a root or a film with the air and the sky around it.

Conductances, absorption and sky radiation, which `water_film` and `leaf` share.
Conductances are molar [mol m-2 s-1] per side, after Campbell and Norman, An Introduction to
Environmental Biophysics, 2nd ed. 1998 (C&N below). `water_film` uses forced convection only: at the
calmest wind that the core assumes at a plant (`CALM_WIND_M_S`) it exceeds free convection until
the surface is 58 K away from the air (5 cm wide; 14 K at 20 cm). `leaf` uses the larger of the two,
and so holds in still air as well.

C&N's coefficients are for 20 °C and the pressure at sea level. Molar density times diffusivity does
not depend on pressure, but the Reynolds number is proportional to it and the Grashof number to its
square, so that both kinds of conductance go with its square root: 16 % less at 2,850 m. Temperature
changes them too, by a few per cent over the range in which plants live; that is left out.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from sillward_rules.arrays import Array
from sillward_rules.physics.air import KELVIN

STEFAN_BOLTZMANN = 5.67e-8
"""[W m-2 K-4]."""

HEAT_CAPACITY = 29.3
"""Molar heat capacity of air [J mol-1 K-1]; C&N."""

WATER_MOLAR_MASS = 0.018015
"""[kg/mol]."""

EMISSIVITY = 0.96
"""Thermal emissivity of a leaf; C&N give 0.94 to 0.99."""

ABSORPTANCE = 0.5
"""Share of sunlight that a thick leaf absorbs; common practice, no source."""

GROUND_ALBEDO = 0.2
"""Share of sunlight that the ground reflects to the lower face; common practice, no source."""

VAPOUR_TO_HEAT = 0.147 / 0.135
"""Conductance for vapour over that for heat in forced convection; C&N table 7.6. Their table has
1.10 for free convection (from memory): the difference is left out."""

OUTDOOR_TURBULENCE = 1.4
"""Outdoor air is more turbulent than a wind tunnel: factor on conductance; C&N p. 108."""

SEA_LEVEL_KPA = 101.3
"""Air pressure for which the coefficients of the conductances hold [kPa]; FAO-56 eq. 7 at 0 m."""

CALM_WIND_M_S = 0.1
"""Lowest wind at a plant [m/s]. Judgement: draughts never quite stop."""


@dataclass(frozen=True, slots=True)
class Shape:
    """How a surface is exposed to wind: its length along it [m] and the turbulence factor."""

    length_m: float
    turbulence: float = OUTDOOR_TURBULENCE


LEAF = Shape(length_m=0.7 * 0.05)
"""A strap 5 cm wide, the default leaf; C&N take 0.7 of the width. Judgement on the width."""

ROOT = Shape(length_m=0.005, turbulence=1.0)
"""An aerial root 5 mm thick. The turbulence factor is left out for thin roots (judgement)."""


def heat_conductance(wind_m_s: ArrayLike, shape: Shape, pressure_kpa: ArrayLike) -> Array:
    """Return the conductance for heat, forced convection over a plate [mol m-2 s-1]; C&N table 7.6.

    wind_m_s [m/s] and pressure_kpa [kPa] are those of the air at the surface.
    """
    return 0.135 * _forced(wind_m_s, shape, pressure_kpa)


def vapour_conductance(wind_m_s: ArrayLike, shape: Shape, pressure_kpa: ArrayLike) -> Array:
    """Return the conductance for water vapour, as `heat_conductance`; C&N table 7.6."""
    return 0.147 * _forced(wind_m_s, shape, pressure_kpa)


def _forced(wind_m_s: ArrayLike, shape: Shape, pressure_kpa: ArrayLike) -> Array:
    wind = np.asarray(wind_m_s, dtype=np.float64)
    return np.asarray(shape.turbulence * np.sqrt(wind / shape.length_m) * _thin_air(pressure_kpa))


def _thin_air(pressure_kpa: ArrayLike) -> Array:
    """Return the share of a conductance at sea level that remains at this pressure."""
    return np.sqrt(np.asarray(pressure_kpa, dtype=np.float64) / SEA_LEVEL_KPA)


def free_heat_conductance(difference_k: ArrayLike, shape: Shape, pressure_kpa: ArrayLike) -> Array:
    """Return the conductance for heat, free convection [mol m-2 s-1]; C&N table 7.6.

    Parameters
    ----------
    difference_k : ArrayLike
        Surface minus air [K]; its sign does not matter.
    shape : Shape
        The surface. Its turbulence factor plays no part in free convection.
    pressure_kpa : ArrayLike
        Air pressure [kPa].

    Returns
    -------
    Array
        Conductance of a level face from which warmed or cooled air can rise or sink: the upper face
        of a surface warmer than the air, the lower face of a colder one. For the other face, where
        the air is stable, it is half of this (half: from memory).
    """
    difference = np.abs(np.asarray(difference_k, dtype=np.float64))
    return np.asarray(0.05 * (difference / shape.length_m) ** 0.25 * _thin_air(pressure_kpa))


def fourth_power(temp_c: Array) -> Array:
    """Return the fourth power of the absolute temperature of temp_c [°C], [K4]."""
    square = (temp_c + KELVIN) ** 2
    return np.asarray(square * square)


def latent_heat(temp_c: ArrayLike) -> Array:
    """Return the latent heat of vaporisation at temp_c [°C], [J/mol]."""
    temp = np.asarray(temp_c, dtype=np.float64)
    return np.asarray((2.501 - 0.002361 * temp) * 1e6 * WATER_MOLAR_MASS)


LATENT_SLOPE = -0.002361e6 * WATER_MOLAR_MASS
"""By how much `latent_heat` changes with temperature [J mol-1 K-1]."""


def sky_emissivity(temp_c: ArrayLike, vapour_kpa: ArrayLike, cloud: ArrayLike) -> Array:
    """Return the emissivity of the sky seen from the ground [-].

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
    # The formula exceeds 1 in nearly saturated air above 38 °C, which no sky can.
    clear = np.minimum(clear, 1.0)
    cover = np.asarray(cloud, dtype=np.float64)
    return np.asarray((1.0 - 0.84 * cover) * clear + 0.84 * cover)


def sky_loss(
    temp_c: ArrayLike, vapour_kpa: ArrayLike, cloud: ArrayLike, sky_view: ArrayLike
) -> Array:
    """Return the long-wave radiation that a face at air temperature loses to the sky [W/m2], >= 0.

    What is not sky (walls, roof, other leaves) is taken to be at air temperature. sky_view is the
    share of the face's view that is sky, 0 to 1.
    """
    kelvin = np.asarray(temp_c, dtype=np.float64) + KELVIN
    gap = 1.0 - sky_emissivity(temp_c, vapour_kpa, cloud)
    return np.asarray(np.asarray(sky_view) * EMISSIVITY * STEFAN_BOLTZMANN * kelvin**4 * gap)
