"""Humid air: vapour pressure, dew point, humidity, deficit, pressure, wet bulb.

The psychrometry that everything else shares, with one set of constants (FAO Irrigation and Drainage
Paper 56, 1998). Plants and spots are elsewhere.

All functions take scalars or arrays of any one shape and return the same shape; NaN in, NaN out.
Saturation is over water at every temperature, as in FAO-56; handbooks that switch to ice below 0 °C
give up to 5 % less at -5 °C.
"""

import numpy as np
from numpy.typing import ArrayLike

from sillward_rules.arrays import Array
from sillward_rules.physics.root_finding import find_root

KELVIN = 273.15
"""0 °C [K]."""

_MAGNUS_A = 17.27
_MAGNUS_B = 237.3
_MAGNUS_E0 = 0.6108

PSYCHROMETER_VENTILATED = 0.000662
"""Coefficient of a ventilated psychrometer [1/K]; FAO-56 eq. 16."""


def saturation_vapour_pressure(temp_c: ArrayLike) -> Array:
    """Return the saturation vapour pressure over water.

    Parameters
    ----------
    temp_c : ArrayLike
        Temperature [°C].

    Returns
    -------
    Array
        Pressure [kPa].

    References
    ----------
    Allen, Pereira, Raes and Smith, FAO Irrigation and Drainage Paper 56, 1998, eq. 11.

    Examples
    --------
    >>> round(float(saturation_vapour_pressure(24.5)), 3)
    3.075
    """
    temp = np.asarray(temp_c, dtype=np.float64)
    return np.asarray(_MAGNUS_E0 * np.exp(_MAGNUS_A * temp / (temp + _MAGNUS_B)))


def saturation_slope(temp_c: ArrayLike) -> Array:
    """Return the slope of the saturation curve [kPa/K] at temp_c [°C]; FAO-56 eq. 13."""
    temp = np.asarray(temp_c, dtype=np.float64)
    return saturation_slope_at(saturation_vapour_pressure(temp), temp)


def saturation_slope_at(saturated_kpa: Array, temp_c: Array) -> Array:
    """Return `saturation_slope` where the saturation vapour pressure [kPa] is known already."""
    return np.asarray(_MAGNUS_A * _MAGNUS_B * saturated_kpa / (temp_c + _MAGNUS_B) ** 2)


def dew_point(vapour_kpa: ArrayLike) -> Array:
    """Return the dew point [°C] of air with this vapour pressure [kPa]: FAO-56 eq. 11 solved for T.

    NaN where the pressure is not positive.
    """
    vapour = np.asarray(vapour_kpa, dtype=np.float64)
    log_ratio = np.log(np.where(vapour > 0, vapour, np.nan) / _MAGNUS_E0)
    return np.asarray(_MAGNUS_B * log_ratio / (_MAGNUS_A - log_ratio))


def vapour_pressure(temp_c: ArrayLike, rh_pct: ArrayLike) -> Array:
    """Return the actual vapour pressure [kPa] from temperature [°C] and relative humidity [%]."""
    return np.asarray(saturation_vapour_pressure(temp_c) * np.asarray(rh_pct) / 100.0)


def relative_humidity(temp_c: ArrayLike, vapour_kpa: ArrayLike) -> Array:
    """Return the relative humidity [%] of air at temp_c [°C] with vapour_kpa [kPa], at most 100."""
    share = np.asarray(vapour_kpa, dtype=np.float64) / saturation_vapour_pressure(temp_c)
    return np.asarray(np.minimum(100.0 * share, 100.0))


def vapour_pressure_deficit(surface_c: ArrayLike, vapour_kpa: ArrayLike) -> Array:
    """Return the vapour-pressure deficit [kPa] between a surface at surface_c [°C] and the air.

    With the air's own temperature this is the VPD of the air, with a leaf's the leaf-to-air
    VPD. Never negative: water condenses on a surface below the dew point.
    """
    deficit = saturation_vapour_pressure(surface_c) - np.asarray(vapour_kpa, dtype=np.float64)
    return np.asarray(np.maximum(deficit, 0.0))


def pressure_at(elevation_m: ArrayLike) -> Array:
    """Return the mean air pressure [kPa] at elevation_m [m] above sea level; FAO-56 eq. 7."""
    height = np.asarray(elevation_m, dtype=np.float64)
    return np.asarray(101.3 * ((293.0 - 0.0065 * height) / 293.0) ** 5.26)


def psychrometric_constant(pressure_kpa: ArrayLike) -> Array:
    """Return the psychrometric constant [kPa/K] at pressure_kpa [kPa]; FAO-56 eq. 8."""
    return np.asarray(0.000665 * np.asarray(pressure_kpa, dtype=np.float64))


def vapour_pressure_from_wet_bulb(
    dry_c: ArrayLike,
    wet_c: ArrayLike,
    pressure_kpa: ArrayLike,
    *,
    coefficient: float = PSYCHROMETER_VENTILATED,
) -> Array:
    """Return the vapour pressure [kPa] from a psychrometer's two readings [°C]; FAO-56 eq. 15."""
    depression = np.asarray(dry_c, dtype=np.float64) - np.asarray(wet_c, dtype=np.float64)
    drop = coefficient * np.asarray(pressure_kpa, dtype=np.float64) * depression
    return np.asarray(saturation_vapour_pressure(wet_c) - drop)


def wet_bulb(
    temp_c: ArrayLike,
    vapour_kpa: ArrayLike,
    pressure_kpa: ArrayLike,
    *,
    coefficient: float = PSYCHROMETER_VENTILATED,
) -> Array:
    """Return the wet-bulb temperature [°C]: what a psychrometer's wet bulb reads in this air.

    FAO-56 eq. 15 solved for Twet. It is the psychrometric wet bulb, never below the thermodynamic
    one and at most 0.3 K above it. The pseudo-adiabatic one of meteorology, which follows a
    rising parcel of air, is no substitute: at 40 °C and 10 % humidity it is 0.7 K below the
    thermodynamic one and 0.8 K below this.

    Parameters
    ----------
    temp_c, vapour_kpa, pressure_kpa : ArrayLike
        Air temperature [°C], its vapour pressure [kPa] and its pressure [kPa].
    coefficient : float
        Coefficient of the psychrometer [1/K]; one without a fan reads higher and has a larger one.

    Returns
    -------
    Array
        Never above the air nor below its dew point; equal to the air where that is saturated.
        NaN where an input is NaN or, as in `dew_point`, the vapour pressure is not positive.
        Over water at all temperatures: below 0 °C an iced bulb reads differently.
    """
    temp = np.asarray(temp_c, dtype=np.float64)
    vapour = np.minimum(np.asarray(vapour_kpa, dtype=np.float64), saturation_vapour_pressure(temp))
    pressure = np.asarray(pressure_kpa, dtype=np.float64)

    def excess(wet_c: Array) -> tuple[Array, Array]:
        read = vapour_pressure_from_wet_bulb(temp, wet_c, pressure, coefficient=coefficient)
        return vapour - read, -(saturation_slope(wet_c) + coefficient * pressure)

    return find_root(excess, np.minimum(dew_point(vapour), temp), temp, start=temp)
