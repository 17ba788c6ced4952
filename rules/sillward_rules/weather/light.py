"""Light as plants count it: photon flux, daily light integral, hours of possible direct sun.

Conversions of sunlight, and where the sun can reach a spot. Limits of plants, and what a spot does
to the light, are elsewhere. The factors are for sun and sky; lamps have others.

PPFD is photosynthetic photon flux density [umol m-2 s-1], DLI its sum over a day [mol m-2 d-1].
"""

import math
from collections.abc import Sequence
from datetime import date, timedelta
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sillward_rules.arrays import Array
from sillward_rules.weather import sun
from sillward_rules.weather.site import Site

PAR_SHARE = 0.45
"""Share of the energy of sunlight that lies in 400 to 700 nm. Common practice, no one source:
0.45 to 0.50 are in use; the DLI maps of Logan, Sams and Faust 2016 (1.961 mol/MJ) come to 0.43."""

UMOL_PER_J = 4.57
"""Photons in a joule of daylight of 400 to 700 nm [umol/J]; Thimijan and Heins 1983, HortScience
18:818-822."""

UMOL_PER_FOOT_CANDLE = 0.200
"""PPFD of one foot-candle of sunlight [umol m-2 s-1]; Thimijan and Heins 1983. Others use 0.195."""

_MOL_PER_UMOL = 1e-6
_HOUR_S = 3600.0
_STEP_S = 300.0


class Window(Protocol):
    """A part of the sky through which the sun reaches a spot.

    Azimuth from..to, clockwise from north, and least elevation [deg].
    """

    @property
    def azimuth_from(self) -> float:
        """Where it begins [deg]."""

    @property
    def azimuth_to(self) -> float:
        """Where it ends, clockwise from where it begins [deg]."""

    @property
    def above(self) -> float:
        """Least elevation of the sun [deg]."""


def ppfd(light_w_m2: ArrayLike) -> Array:
    """Return the PPFD of broadband sunlight.

    Parameters
    ----------
    light_w_m2 : ArrayLike
        Sun and sky, all wavelengths [W/m2].

    Returns
    -------
    Array
        Photon flux [umol m-2 s-1], same shape; NaN in, NaN out.

    References
    ----------
    Thimijan and Heins 1983 for `UMOL_PER_J`; `PAR_SHARE` says what is known of the share. The
    two together, 2.06 mol/MJ, are good to some 10 %: published factors reach from 1.96 to 2.29.

    Examples
    --------
    >>> round(float(ppfd(1000.0)))
    2056
    """
    return np.asarray(PAR_SHARE * UMOL_PER_J * np.asarray(light_w_m2, dtype=np.float64))


def ppfd_from_foot_candles(foot_candles: ArrayLike) -> Array:
    """Return the PPFD [umol m-2 s-1] of sunlight that a meter reads in foot-candles; same shape."""
    return np.asarray(UMOL_PER_FOOT_CANDLE * np.asarray(foot_candles, dtype=np.float64))


def daily_light_integral(light_w_m2: ArrayLike, step_h: float = 1.0) -> Array:
    """Return the DLI of one day from its sunlight, step by step.

    Parameters
    ----------
    light_w_m2 : ArrayLike
        Mean sunlight of each step of the day, night included, shape (time, ...) [W/m2].
    step_h : float
        Length of a step [h].

    Returns
    -------
    Array
        DLI [mol m-2 d-1], the shape without time. NaN where a step is unknown, and where there
        are no steps: the light of an unknown day is not zero.

    Raises
    ------
    ValueError
        If there is no time axis.
    """
    flux = ppfd(light_w_m2)
    if flux.ndim == 0:
        msg = "the light of a day needs a time axis, and this is a single value"
        raise ValueError(msg)
    if flux.shape[0] == 0:
        return np.full(flux.shape[1:], np.nan)
    return np.asarray(flux.sum(axis=0) * step_h * _HOUR_S * _MOL_PER_UMOL)


def noon_dli(ppfd_noon: ArrayLike, day_length_h: ArrayLike) -> Array:
    """Return the DLI [mol m-2 d-1] of a day whose light rises and falls as half a sine.

    ppfd_noon : the peak [umol m-2 s-1]; day_length_h : sunrise to sunset [h]; any shapes that go
    together. A sine's mean is 2/pi of its peak. Under a clear sky (Haurwitz, Lisbon) the sine is
    5 to 7 % too bright.
    """
    mean = 2.0 / np.pi * np.asarray(ppfd_noon, dtype=np.float64)
    seconds = np.asarray(day_length_h, dtype=np.float64) * _HOUR_S
    return np.asarray(mean * seconds * _MOL_PER_UMOL)


def through_windows(
    windows: Sequence[Window] | None, azimuth_deg: ArrayLike, elevation_deg: ArrayLike
) -> NDArray[np.bool_]:
    """Return whether the sun reaches a spot through any of its windows.

    Parameters
    ----------
    windows : Sequence[Window] | None
        None is open all round; an empty sequence lets no sun in. A window may pass over north (from
        290 to 70). Edges count as inside; from 0 to 360 is all round.
    azimuth_deg, elevation_deg : ArrayLike
        The sun, clockwise from north and without refraction [deg].

    Returns
    -------
    NDArray[np.bool_]
        True where the sun is up (`sun.HORIZON_DEG`) and in a window; False where it is unknown.
    """
    azimuth = np.asarray(azimuth_deg, dtype=np.float64)
    elevation = np.asarray(elevation_deg, dtype=np.float64)
    up = (elevation > sun.HORIZON_DEG) & np.isfinite(azimuth)
    if windows is None:
        return np.asarray(up)
    inside = np.zeros(up.shape, dtype=bool)
    for window in windows:
        turn = window.azimuth_to - window.azimuth_from
        # Modulo alone would shut a window that is open all round.
        width = 360.0 if turn >= 360.0 else turn % 360.0
        within = (azimuth - window.azimuth_from) % 360.0 <= width
        inside |= within & (elevation >= window.above)
    return np.asarray(up & inside)


def direct_sun_hours(site: Site, windows: Sequence[Window] | None, day: date) -> float:
    """Return the hours of possible direct sun at a spot on a local date, without any cloud.

    The sun's path is sampled in the middle of steps of at most 5 minutes from sunrise to sunset
    (the 24 hours around noon where it never sets), so each end of a stretch of sun is known to
    half a step. windows as in `through_windows`.
    """
    events = sun.day_events(site, day)
    if events.daylight is sun.Daylight.ALWAYS_DOWN:
        return 0.0
    start, end = events.sunrise, events.sunset
    if events.daylight is sun.Daylight.ALWAYS_UP:
        # The events are stand-ins there, and the sun shines outside them too.
        noon = site.middle_of_day(day)
        start, end = noon - timedelta(hours=12), noon + timedelta(hours=12)
    length_s = (end - start).total_seconds()
    steps = math.ceil(length_s / _STEP_S)
    middles = start.timestamp() + (np.arange(steps) + 0.5) * length_s / steps
    reached = through_windows(windows, *sun.positions(site, middles))
    return float(reached.mean() * length_s / _HOUR_S)
