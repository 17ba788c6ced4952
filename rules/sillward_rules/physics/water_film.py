"""The water film on a leaf or root: how fast it dries, and how long a wetting lasts.

The energy balance is solved exactly. Its usual linearised form is up to 14 % too low in hot dry
air, where time is shortest.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from sillward_rules.arrays import Array
from sillward_rules.physics.air import (
    KELVIN,
    saturation_slope_at,
    saturation_vapour_pressure,
)
from sillward_rules.physics.root_finding import find_root
from sillward_rules.physics.surface import (
    HEAT_CAPACITY,
    LATENT_SLOPE,
    LEAF,
    ROOT,
    STEFAN_BOLTZMANN,
    WATER_MOLAR_MASS,
    Shape,
    fourth_power,
    heat_conductance,
    latent_heat,
    vapour_conductance,
)

SECONDS_PER_HOUR = 3600.0

WET_EMISSIVITY = 0.97
"""Thermal emissivity of a wet surface; water has 0.96 to 0.98 (from memory)."""


@dataclass(frozen=True, slots=True)
class Film:
    """Water held by one kind of surface: name, depth [mm] and the shape of the surface."""

    name: str
    depth_mm: float
    shape: Shape


LEAF_FILM = Film("leaf", 0.1, LEAF)
"""0.1 mm: the leaf store of land-surface models; a fine spray of 1 mL on 100 cm2."""

VELAMEN_FILM = Film("velamen", 0.4, ROOT)
"""0.4 mm of water in a velamen of ordinary thickness (0.15 to 0.8; from memory)."""


@dataclass(frozen=True, slots=True, eq=False)
class FilmAir:
    """The air at a wetted surface. All arrays broadcast against each other.

    temp_c [°C], vapour_kpa [kPa], wind_m_s [m/s] at the surface, net_w_m2 the net radiation
    that a unit of wetted surface would have at air temperature [W/m2], pressure_kpa [kPa].
    """

    temp_c: Array
    vapour_kpa: Array
    wind_m_s: Array
    net_w_m2: Array
    pressure_kpa: float


def film_temperature(air: FilmAir, shape: Shape) -> Array:
    """Return the temperature of a fully wet surface [°C], by the exact energy balance.

    Sensible, radiative and latent heat together balance the net radiation. Close to the wet bulb in
    a fresh wind without radiation. NaN where an input is NaN.
    """
    heat = HEAT_CAPACITY * heat_conductance(air.wind_m_s, shape, air.pressure_kpa)
    vapour = vapour_conductance(air.wind_m_s, shape, air.pressure_kpa) / air.pressure_kpa
    grey = WET_EMISSIVITY * STEFAN_BOLTZMANN
    emitted_as_air = grey * fourth_power(air.temp_c)

    def excess(film_c: Array) -> tuple[Array, Array]:
        emitted = grey * fourth_power(film_c)
        saturated, latent = saturation_vapour_pressure(film_c), latent_heat(film_c)
        lost = vapour * (saturated - air.vapour_kpa)
        value = air.net_w_m2 - (emitted - emitted_as_air) - heat * (film_c - air.temp_c)
        slope = -4.0 * emitted / (film_c + KELVIN) - heat - LATENT_SLOPE * lost
        more = vapour * saturation_slope_at(saturated, film_c)
        return value - latent * lost, slope - latent * more

    unknown = air.temp_c + air.vapour_kpa + air.wind_m_s + air.net_w_m2
    start = air.temp_c + 0.0 * unknown
    return find_root(excess, start - 50.0, start + 50.0, start)


def evaporation(air: FilmAir, shape: Shape) -> Array:
    """Return the evaporation of a fully wet surface [mm/h]; below 0 where dew forms."""
    film_c = film_temperature(air, shape)
    per_second = (
        vapour_conductance(air.wind_m_s, shape, air.pressure_kpa)
        * (saturation_vapour_pressure(film_c) - air.vapour_kpa)
        / air.pressure_kpa
    )
    return np.asarray(per_second * WATER_MOLAR_MASS * SECONDS_PER_HOUR)


def drying_times(rate_mm_h: Array, step_h: float, depth_mm: ArrayLike) -> Array:
    """Return how long a film wetted at the start of each step stays wet, in changing air.

    Parameters
    ----------
    rate_mm_h : Array (time, ...)
        Evaporation in each step [mm/h], of one place or several. A step without evaporation dries
        nothing; an unknown (NaN) step makes every film that reaches it unknown.
    step_h : float
        Length of a step [h].
    depth_mm : ArrayLike (...)
        Film depths [mm].

    Returns
    -------
    Array (time, ..., ...)
        Time to dry [h], first by place and then by depth; infinite where the film outlasts the
        series, NaN where unknown.
    """
    depth = np.asarray(depth_mm, dtype=np.float64)
    size, places = rate_mm_h.shape[0], rate_mm_h.shape[1:]
    rates = rate_mm_h.reshape(size, math.prod(places)).T  # (place, time), then (..., depth)
    known = np.isfinite(rates)
    lost = np.where(known, np.maximum(rates, 0.0), 0.0) * step_h
    total = np.zeros((rates.shape[0], size + 1))
    np.cumsum(lost, axis=1, out=total[:, 1:])
    wanted = total[:, :-1, None] + depth.ravel()
    # The first edge of a step by which enough has evaporated; then interpolate within that step.
    edge = np.empty(wanted.shape, dtype=np.int64)
    for sums, sought, found in zip(total, wanted, edge, strict=True):
        found[:] = np.searchsorted(sums, sought, side="left")
    dries = edge <= size
    inside = np.minimum(edge, size)
    place = np.arange(rates.shape[0])[:, None, None]
    over = total[place, inside] - wanted
    last_loss = np.where(dries, lost[place, inside - 1], 1.0) if size else over
    end = inside - np.where(last_loss > 0, over / np.where(last_loss > 0, last_loss, 1.0), 0.0)
    hours = (end - np.arange(size)[:, None]) * step_h
    result = np.where(dries, np.maximum(hours, 0.0), np.inf)
    if not known.all():
        result = np.where(inside > _next_unknown(known)[:, :, None], np.nan, result)
    return np.asarray(np.moveaxis(result, 0, 1).reshape(size, *places, *depth.shape))


def _next_unknown(known: np.ndarray) -> np.ndarray:
    """(place, time) the index of the next unknown step for each step, or the series' length."""
    size = known.shape[1]
    positions = np.where(known, size, np.arange(size))
    return np.minimum.accumulate(positions[:, ::-1], axis=1)[:, ::-1]
