"""A leaf at night in plain Python, scalar by scalar: nothing of the core is imported.

Conductances after Campbell and Norman 1998, clear sky after Brutsaert 1975. The balance is halved
until it closes. Shared by the tests that work whole nights out once more.
"""

import math


def saturation(temp: float) -> float:
    """Saturation vapour pressure [kPa] at a temperature [°C]."""
    return 0.6108 * math.exp(17.27 * temp / (temp + 237.3))


def pressure_at(elevation_m: float) -> float:
    """Mean air pressure [kPa]."""
    return float(101.3 * ((293 - 0.0065 * elevation_m) / 293) ** 5.26)


def wind_at_plant(wind10: float, share: float) -> float:
    """Wind [m/s] 1.5 m above the ground, of which a share reaches the plant."""
    at_height = wind10 * math.log(67.8 * 1.5 - 5.42) / math.log(67.8 * 10 - 5.42)
    return max(at_height * share, 0.1)


def offset_left(night_offset: float, wind10: float, cloud: float) -> float:
    """What wind and cloud leave of an offset at night [K]: all of it on a clear calm night."""
    share = math.sqrt(2 / max(wind10, 2)) * (1 - cloud**2)
    return night_offset * (max(share, 0.25) if night_offset < 0 else share)


def leaf(
    air: float, dew: float, wind: float, cloud: float, sky_view: float, pressure: float
) -> float:
    """Night leaf temperature: what two faces of a 5 cm strap take in equals what they give off."""
    vapour = min(saturation(dew), saturation(air))
    clear = 1.723 * (vapour / (air + 273.15)) ** (1 / 7)
    sky = (1 - 0.84 * cloud) * clear + 0.84 * cloud
    black = 0.96 * 5.67e-8
    stirred = 1.4 * math.sqrt(wind / 0.035) * math.sqrt(pressure / 101.3)
    heat, water = 0.135 * stirred, 0.147 * stirred
    latent = (2.501 - 0.002361 * air) * 1e6 * 0.018015

    def surplus(at: float) -> float:
        taken: float = black * (air + 273.15) ** 4 * (2 - sky_view * (1 - sky))
        dewfall: float = max(vapour - saturation(at), 0) * 2 * water * latent / pressure
        left: float = (
            taken - 2 * black * (at + 273.15) ** 4 + 2 * 29.3 * heat * (air - at) + dewfall
        )
        return left

    low, high = air - 30, air
    while high - low > 1e-6:
        middle = (low + high) / 2
        low, high = (middle, high) if surplus(middle) > 0 else (low, middle)
    return low
