"""Sunlight from cloud: Haurwitz by pvlib, clear days by Ineichen and FAO-56, cloud by its formulas.

Nothing of the sun is shared with the core: pvlib's is NREL's Solar Position Algorithm.
"""

from collections.abc import Callable
from datetime import date
from functools import cache
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pvlib
import pytest

from sillward_rules.arrays import Array
from sillward_rules.weather import radiation
from sillward_rules.weather.site import Site

Inputs = dict[str, Any]
Agrees = Callable[[object], None]

SITES = {
    "Lisbon": Site("Lisbon", 38.7223, -9.1393, 0, ZoneInfo("Europe/Lisbon")),
    "Mendoza": Site("Mendoza", -32.89, -68.85, 780, ZoneInfo("America/Argentina/Mendoza")),
    "Kolkata": Site("Kolkata", 22.57, 88.36, 9, ZoneInfo("Asia/Kolkata")),
    "Kiritimati": Site("Kiritimati", 1.87, -157.4, 3, ZoneInfo("Pacific/Kiritimati")),
    "Auckland": Site("Auckland", -36.85, 174.76, 20, ZoneInfo("Pacific/Auckland")),
    "Edinburgh": Site("Edinburgh", 55.95, -3.19, 50, ZoneInfo("Europe/London")),
}
QUITO = Site("Quito", -0.18, -78.47, 2850, ZoneInfo("America/Guayaquil"))

DATES = [date(2023, 3, 20), date(2023, 6, 21), date(2023, 9, 22), date(2023, 12, 21)]

LINKE_TURBIDITY = 3.0
"""Clean air of the middle latitudes; common practice, from memory."""

DECLINATIONS_DEG = dict(zip(DATES, (0.0, 23.4, 0.0, -23.4), strict=True))


def days_with_noon_above(elevation_deg: float) -> list[tuple[str, date]]:
    """Sites and dates whose noon sun is higher than this."""
    return [
        (name, day)
        for name, site in SITES.items()
        for day in DATES
        if 90.0 - abs(site.latitude - DECLINATIONS_DEG[day]) > elevation_deg
    ]


NO_WINTER_IN_THE_NORTH = days_with_noon_above(20.0)
"""Under a lower sun than this a clear sky is a matter of haze."""


@pytest.mark.published("cloud_factor")
def test_what_cloud_leaves_of_the_light(inputs: Inputs, agrees: Agrees) -> None:
    agrees(radiation.cloud_factor(inputs["cloud"]))


@pytest.mark.published("diffuse_share")
def test_the_share_that_comes_from_the_sky(inputs: Inputs, agrees: Agrees) -> None:
    agrees(radiation.diffuse_share(inputs["cloud"]))


def test_the_clear_sky_is_haurwitz_by_pvlib() -> None:
    elevation = np.linspace(-20.0, 90.0, 1101)

    theirs = pvlib.clearsky.haurwitz(pd.Series(90.0 - elevation))["ghi"].to_numpy()

    assert theirs.max() > 1000
    np.testing.assert_allclose(radiation.clear_sky(elevation), theirs, rtol=1e-9, atol=1e-9)


@pytest.mark.parametrize("day", DATES)
@pytest.mark.parametrize("name", SITES)
def test_hours_of_a_clear_day_are_those_of_pvlib_by_the_minute(name: str, day: date) -> None:
    """To 4 W/m2: the suns differ by some hundredths of a degree, refraction lifts theirs."""
    site = SITES[name]
    minutes = pvlib.clearsky.haurwitz(_sun_of(site, day)["apparent_zenith"])["ghi"].to_numpy()

    ours = _light_of(site, day, cloud=0.0)

    np.testing.assert_allclose(ours, minutes.reshape(24, 60).mean(axis=1), atol=4.0)


@pytest.mark.parametrize(("name", "day"), NO_WINTER_IN_THE_NORTH)
def test_a_clear_day_is_that_of_ineichen_within_12_percent(name: str, day: date) -> None:
    """As the docstring of `estimate` says, for sites below 1000 m."""
    site = SITES[name]

    ours = _light_of(site, day, cloud=0.0).sum()

    assert ours == pytest.approx(_ineichen(site, day).sum() / 60, rel=0.12)


@pytest.mark.parametrize(("name", "day"), days_with_noon_above(30.0))
def test_a_clear_day_is_that_of_fao56_within_10_percent(name: str, day: date) -> None:
    """FAO-56 eq. 37: (0.75 + 2e-5 z) Ra, blind to the longer way of a low sun through the air."""
    site = SITES[name]

    ours = _light_of(site, day, cloud=0.0).sum() * 3600 / 1e6

    assert ours == pytest.approx(_clear_day_of_fao56(site, day), rel=0.10)


def test_a_clear_winter_day_in_the_north_is_too_bright_by_less_than_a_half() -> None:
    """Noon at 10.6 degrees: hardly any light, and none that decides about a plant."""
    day = date(2023, 12, 21)
    site = SITES["Edinburgh"]
    assert ("Edinburgh", day) not in NO_WINTER_IN_THE_NORTH

    ours = _light_of(site, day, cloud=0.0).sum()

    assert 1.1 < ours / (_ineichen(site, day).sum() / 60) < 1.5
    assert ours * 3600 / 1e6 < 3


@pytest.mark.parametrize("day", DATES)
def test_high_in_the_mountains_a_clear_day_is_a_fifth_too_dark(day: date) -> None:
    """The docstring of `estimate` says so: Haurwitz does not know the height of the site."""
    ours = _light_of(QUITO, day, cloud=0.0).sum()

    assert 0.78 < ours / (_ineichen(QUITO, day).sum() / 60) < 0.90


@pytest.mark.parametrize(("name", "day"), NO_WINTER_IN_THE_NORTH)
def test_a_clear_sky_sends_a_larger_share_from_the_side_than_ineichens(
    name: str, day: date
) -> None:
    """The 0.3 of Hamburg: the beam is told too low rather than too high."""
    site = SITES[name]

    theirs = _ineichen(site, day, "dhi").sum() / _ineichen(site, day).sum()

    assert 0.1 < theirs < radiation.diffuse_share(0.0)


def _light_of(site: Site, day: date, *, cloud: float) -> Array:
    """The core's light of each hour of a date by the site's clocks [W/m2]."""
    first = pd.Timestamp(day.isoformat(), tz=site.zone.key).timestamp()
    times = int(first) + 3600 * np.arange(1, 25, dtype=np.int64)
    direct, diffuse = radiation.estimate(site, times, np.full(24, cloud))
    return direct + diffuse


@cache
def _sun_of(site: Site, day: date) -> pd.DataFrame:
    """The sun in the middle of each minute of a date; no date here changes clocks."""
    minutes = pd.date_range(
        f"{day.isoformat()} 00:00:30", periods=1440, freq="min", tz=site.zone.key
    )
    return pvlib.solarposition.spa_python(minutes, site.latitude, site.longitude, delta_t=69.0)


def _ineichen(site: Site, day: date, part: str = "ghi") -> Array:
    """A clear sky by Ineichen and Perez 2002 through pvlib, minute by minute [W/m2]."""
    position = _sun_of(site, day)
    pressure_pa = pvlib.atmosphere.alt2pres(site.elevation_m)
    relative = pvlib.atmosphere.get_relative_airmass(position["apparent_zenith"])
    sky = pvlib.clearsky.ineichen(
        position["apparent_zenith"],
        pvlib.atmosphere.get_absolute_airmass(relative, pressure_pa),
        LINKE_TURBIDITY,
        altitude=site.elevation_m,
        dni_extra=pvlib.irradiance.get_extra_radiation(day.timetuple().tm_yday),
    )
    # At night there is no air mass to speak of, and no light.
    return np.asarray(sky[part].fillna(0.0).to_numpy())


def _clear_day_of_fao56(site: Site, day: date) -> float:
    """Radiation of a clear day [MJ m-2]; FAO-56 eq. 21 to 25 and 37."""
    number = day.timetuple().tm_yday
    latitude = np.radians(site.latitude)
    declination = 0.409 * np.sin(2 * np.pi / 365 * number - 1.39)
    distance = 1 + 0.033 * np.cos(2 * np.pi / 365 * number)
    half_day = np.arccos(-np.tan(latitude) * np.tan(declination))
    daily = half_day * np.sin(latitude) * np.sin(declination)
    daily += np.cos(latitude) * np.cos(declination) * np.sin(half_day)
    beyond_the_air = 24 * 60 / np.pi * 0.0820 * distance * daily
    return float((0.75 + 2e-5 * site.elevation_m) * beyond_the_air)
