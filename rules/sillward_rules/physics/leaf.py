"""Leaf temperature: below the air under a clear sky or when wet, above it in the sun."""

import numpy as np
from numpy.typing import ArrayLike

from sillward_rules.arrays import Array
from sillward_rules.physics.air import (
    KELVIN,
    dew_point,
    saturation_slope_at,
    saturation_vapour_pressure,
)
from sillward_rules.physics.root_finding import find_root
from sillward_rules.physics.surface import (
    ABSORPTANCE,
    EMISSIVITY,
    GROUND_ALBEDO,
    HEAT_CAPACITY,
    LEAF,
    STEFAN_BOLTZMANN,
    VAPOUR_TO_HEAT,
    Shape,
    fourth_power,
    free_heat_conductance,
    heat_conductance,
    latent_heat,
    sky_loss,
)


def leaf_temperature(
    temp_c: ArrayLike,
    vapour_kpa: ArrayLike,
    wind_m_s: ArrayLike,
    cloud: ArrayLike,
    sky_view: ArrayLike,
    sunlight_w_m2: ArrayLike = 0.0,
    *,
    pressure_kpa: float,
    shape: Shape = LEAF,
    wet: ArrayLike = False,
) -> Array:
    """Return the temperature of a level leaf with closed stomata, by its full energy balance.

    The upper face absorbs sunlight and radiates to the sky it sees; the lower one absorbs what the
    ground reflects. All else in view is at air temperature: above paving or beside a wall in full
    sun a leaf is warmer than this says. Both faces exchange heat with the air, by forced or free
    convection, whichever transports more; free convection is half as strong on the face where it is
    stable, which is one of the two by day and the other at night. Dew gives heat back as soon as
    the leaf is below the dew point. There is no transpiration: orchids, agaves and the like keep
    their stomata closed by day (CAM), others when they are dry, and that is the warmer case.

    Parameters
    ----------
    temp_c, vapour_kpa : ArrayLike
        Air at the leaf [°C], [kPa].
    wind_m_s : ArrayLike
        Wind at the leaf [m/s], 0 or more.
    cloud, sky_view : ArrayLike
        Cloud cover and the share of the upper face's view that is open sky, 0 to 1.
    sunlight_w_m2 : ArrayLike
        Sunlight on the upper face [W/m2]; none at night.
    pressure_kpa : float
        Air pressure [kPa].
    shape : Shape
        The leaf.
    wet : ArrayLike
        Mask: water covers both faces and evaporates. In a wind and under no sky that is close to
        the wet bulb; never above the dry leaf, and the same where dew forms.

    Returns
    -------
    Array
        Leaf temperature [°C], of the inputs' common shape. Without sunlight never above the air's;
        exactly the air's where sunlight and sky neither add nor remove heat. NaN where an input is
        NaN.

    References
    ----------
    Conductances: Campbell and Norman 1998, table 7.6. Size of the effect as measured: 1 to 3 K
    below the air on clear calm nights (Leuning and Cremer 1988, Agric. For. Meteorol. 42:121).
    """
    temp, is_wet = np.asarray(temp_c, dtype=np.float64), np.asarray(wet, dtype=bool)
    # Air cannot hold more than saturation; a rounding surplus would warm the leaf by false dew.
    vapour = np.minimum(np.asarray(vapour_kpa, dtype=np.float64), saturation_vapour_pressure(temp))
    absorbed = ABSORPTANCE * (1.0 + GROUND_ALBEDO) * np.asarray(sunlight_w_m2, dtype=np.float64)
    # What a leaf at air temperature gains or loses; only this moves it away from the air.
    driven = absorbed - sky_loss(temp, vapour, cloud, sky_view)
    grey = 2.0 * EMISSIVITY * STEFAN_BOLTZMANN
    emitted_as_air = grey * fourth_power(temp)
    forced = heat_conductance(wind_m_s, shape, pressure_kpa)
    dew_share = VAPOUR_TO_HEAT * latent_heat(temp) / pressure_kpa

    unit_free = free_heat_conductance(1.0, shape, pressure_kpa)  # at a difference of 1 K

    def excess(leaf_c: Array) -> tuple[Array, Array]:
        above = leaf_c - temp
        free = unit_free * np.sqrt(np.sqrt(np.abs(above)))
        both_faces = np.maximum(forced, free) + np.maximum(forced, 0.5 * free)
        saturated = saturation_vapour_pressure(leaf_c)
        gained = vapour - saturated
        condenses = is_wet | (gained > 0)
        exchanged = np.where(condenses, dew_share * gained, 0.0) - HEAT_CAPACITY * above
        emitted = grey * fourth_power(leaf_c)
        # Free convection goes with the fourth root of the difference.
        freely = (free > forced) + 0.5 * (free > 2.0 * forced)
        more_freely = 0.25 * freely * free / np.where(above == 0, 1.0, above)
        dew = np.where(condenses, dew_share * saturation_slope_at(saturated, leaf_c), 0.0)
        slope = exchanged * more_freely - both_faces * (HEAT_CAPACITY + dew)
        return (
            driven - (emitted - emitted_as_air) + both_faces * exchanged,
            slope - 4.0 * emitted / (leaf_c + KELVIN),
        )

    # In a vacuum the leaf would go this far; air and dew only keep it closer to the air.
    radiant = ((emitted_as_air + driven) / grey) ** 0.25 - KELVIN
    # Without such a gain or loss it is exactly at air temperature, not a rounding error below.
    radiant = np.where(driven == 0, temp, radiant)
    # A surface at the dew point evaporates nothing any more.
    coldest = np.where(is_wet, np.minimum(radiant, dew_point(vapour)), radiant)
    start = np.broadcast_to(temp, np.broadcast_shapes(driven.shape, forced.shape, is_wet.shape))
    return find_root(excess, np.minimum(coldest, temp), np.maximum(radiant, temp), start)
