"""Sunlight on a level surface, estimated from cloud, for forecasts that give no radiation.

The clear sky, what cloud leaves of it, and the means of hours. Spots and shade are elsewhere. The
clear sky takes account neither of height nor of haze; `estimate` says how far it is off.
"""

import numpy as np
from numpy.typing import ArrayLike

from sillward_rules.arrays import Array
from sillward_rules.weather import sun
from sillward_rules.weather.site import Site

_HOUR_S = 3600.0
_MOMENTS = 6
"""Moments of an hour at which the sun's position is taken: every 10 minutes. Judgement: within 1
W/m2 of the mean of all minutes, in the hours of sunrise and sunset too."""


def clear_sky(elevation_deg: ArrayLike) -> Array:
    """Return sun and sky together on the level under a clear sky [W/m2]; 0 while the sun is down.

    elevation_deg is the sun's [deg]; NaN in, NaN out.

    References
    ----------
    Haurwitz 1945, Journal of Meteorology 2:154-166, with pvlib's 0.059 in the exponent; others
    quote 0.057, which is 0.2 % brighter at noon.
    """
    cos_zenith = np.sin(np.radians(np.asarray(elevation_deg, dtype=np.float64)))
    up = np.maximum(cos_zenith, 1e-9)
    return np.asarray(np.where(cos_zenith <= 0.0, 0.0, 1098.0 * up * np.exp(-0.059 / up)))


def cloud_factor(cloud: ArrayLike) -> Array:
    """Return the share of clear-sky sunlight that cloud leaves; cloud is 0 to 1.

    References
    ----------
    Kasten and Czeplak 1980, Solar Energy 24:177-189: ten years of hours in Hamburg.
    """
    return np.asarray(1.0 - 0.75 * np.asarray(cloud, dtype=np.float64) ** 3.4)


def diffuse_share(cloud: ArrayLike) -> Array:
    """Return the sky's share of the sunlight on the level; cloud is 0 to 1.

    The 0.3 of a clear sky is Hamburg's, with its low sun and haze; a clean sky with a high sun
    gives half of that. So the beam comes out too low rather than too high.

    References
    ----------
    Kasten and Czeplak 1980, Solar Energy 24:177-189 (from memory).
    """
    return np.asarray(0.3 + 0.7 * np.asarray(cloud, dtype=np.float64) ** 2)


def estimate(site: Site, times: np.ndarray, cloud: ArrayLike) -> tuple[Array, Array]:
    """Return direct and diffuse sunlight on the level [W/m2], means of hours ending at each time.

    Clear days come out within 12 % of a clean sky's below 1000 m, except under a winter sun that
    stays below 20 degrees; at 3000 m they are a fifth too dark. Cloud is one number for all kinds:
    a thin high sheet counts like rain cloud.

    Parameters
    ----------
    site : Site
        The site.
    times : np.ndarray
        Ends of the hours [unix s], shape (time,).
    cloud : ArrayLike
        Cloud cover 0 to 1, taken for the hour that ends at each time, shape (time,).

    Returns
    -------
    tuple[Array, Array]
        Direct and diffuse, each (time,). Unknown cloud gives NaN, but 0 where the sun is down for
        the whole hour.

    References
    ----------
    `clear_sky`, `cloud_factor` and `diffuse_share`.
    """
    middles = (np.arange(_MOMENTS) + 0.5) * _HOUR_S / _MOMENTS - _HOUR_S
    _, elevation = sun.positions(site, (times[:, None] + middles).ravel())
    clear = clear_sky(elevation).reshape(-1, _MOMENTS).mean(axis=1)
    light = np.where(clear == 0.0, 0.0, clear * cloud_factor(cloud))
    sky = np.where(clear == 0.0, 0.0, light * diffuse_share(cloud))
    return light - sky, sky
