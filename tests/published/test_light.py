"""Light and day length: Thimijan and Heins, DLI maps, FAO-56, and the sun by pvlib's SPA.

Nothing of the sun is shared with the core: it has its positions from another library.
"""

from collections.abc import Callable
from datetime import date
from functools import cache
from itertools import product
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pvlib
import pytest

from sillward_rules.arrays import Array
from sillward_rules.weather import light, season, sun
from sillward_rules.weather.light import PAR_SHARE
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import SunWindow
from tests.support.cases import for_each

Inputs = dict[str, Any]
Agrees = Callable[[object], None]

DLI_PER_MJ_LEAST, DLI_PER_MJ_MOST = 1.961, 2.285
"""Published factors [mol/MJ]: the maps of Logan, Sams and Faust 2016; half of the energy."""

HALF_STEP_MIN = 2.5
"""How far the core may be off at each end of a stretch of sun [min]: half of its 5 minutes."""

SITES = {
    "Lisbon": Site("Lisbon", 38.7223, -9.1393, 0, ZoneInfo("Europe/Lisbon")),
    "Mendoza": Site("Mendoza", -32.89, -68.85, 780, ZoneInfo("America/Argentina/Mendoza")),
    "Quito": Site("Quito", -0.18, -78.47, 2850, ZoneInfo("America/Guayaquil")),
    "Edinburgh": Site("Edinburgh", 55.95, -3.19, 50, ZoneInfo("Europe/London")),
    "Auckland": Site("Auckland", -36.85, 174.76, 20, ZoneInfo("Pacific/Auckland")),
}

DATES = [date(2024, 2, 3), date(2024, 3, 20), date(2024, 6, 21), date(2024, 12, 21)]

WINDOWS = {
    "open": None,
    "morning": [SunWindow(60, 140, 20)],
    "over north": [SunWindow(290, 70, 10)],
    "over south": [SunWindow(110, 250, 25)],
    "two": [SunWindow(45, 120, 5), SunWindow(240, 300, 15)],
}


@pytest.mark.published("photons_of_par")
def test_photons_of_the_light_that_plants_use(inputs: Inputs, agrees: Agrees) -> None:
    agrees(light.ppfd(inputs["par_w_m2"] / PAR_SHARE))


@pytest.mark.published("flux_of_foot_candles")
def test_flux_of_sunlight_in_foot_candles(inputs: Inputs, agrees: Agrees) -> None:
    agrees(light.ppfd_from_foot_candles(inputs["foot_candles"]))


@pytest.mark.published("lux_of_sunlight")
def test_lux_of_a_micromole_of_sunlight(inputs: Inputs, agrees: Agrees) -> None:
    lux_per_foot_candle = inputs["lux_per_foot_candle"]
    assert lux_per_foot_candle == pytest.approx(0.3048**-2, abs=5e-4)

    agrees(lux_per_foot_candle / light.ppfd_from_foot_candles(1.0))


@pytest.mark.published("dli_of_radiation")
def test_light_integral_of_a_day_of_radiation(inputs: Inputs, agrees: Agrees) -> None:
    """Spread over the day as half a sine from 6 to 18 h: the sum alone counts."""
    shape = np.sin(np.pi * np.clip(np.arange(24) - 5.5, 0, 12) / 12)
    watts = shape / shape.sum() * inputs["radiation_mj_m2"] * 1e6 / 3600

    agrees(light.daily_light_integral(watts))


@pytest.mark.published("dli_of_steady_light")
def test_light_integral_of_steady_light(inputs: Inputs, agrees: Agrees) -> None:
    watts = inputs["ppfd_umol"] / float(light.ppfd(1.0))
    lit = np.where(np.arange(24) < inputs["hours"], watts, 0.0)

    agrees(light.daily_light_integral(lit))


@pytest.mark.published("dli_of_clear_day")
def test_light_integral_of_a_clear_day(inputs: Inputs, agrees: Agrees) -> None:
    site = Site("published", inputs["latitude"], inputs["longitude"], 0, ZoneInfo(inputs["zone"]))
    hourly = _clear_sky(site, inputs["day"]).reshape(24, 60).mean(axis=1)

    agrees(light.daily_light_integral(hourly))


def test_the_factor_lies_within_the_published_ones() -> None:
    day_of_one_mj = np.full(24, 1e6 / 86400)

    assert DLI_PER_MJ_LEAST < light.daily_light_integral(day_of_one_mj) < DLI_PER_MJ_MOST


@pytest.mark.parametrize("day", DATES)
def test_half_a_sine_is_a_little_bright_for_a_clear_day(day: date) -> None:
    """As the docstring of noon_dli says, by Haurwitz in Lisbon: 5 to 7 %."""
    lisbon = SITES["Lisbon"]
    watts = _clear_sky(lisbon, day)
    summed = float(light.daily_light_integral(watts, step_h=1 / 60))

    by_noon = light.noon_dli(light.ppfd(watts.max()), season.day_length_h(lisbon, day))

    assert 1.045 < float(by_noon) / summed < 1.075


@pytest.mark.published("day_length")
def test_day_length_less_refraction_and_the_edge_of_the_sun(inputs: Inputs, agrees: Agrees) -> None:
    site = Site("published", inputs["latitude"], inputs["longitude"], 0, ZoneInfo("UTC"))
    day = inputs["day"]
    declination = 0.409 * np.sin(2 * np.pi / 365 * day.timetuple().tm_yday - 1.39)  # eq. 24
    flat = _sunset_equation(site.latitude, declination, 0.0)
    left_out = _sunset_equation(site.latitude, declination, sun.HORIZON_DEG) - flat
    assert day.timetuple().tm_yday == 246
    assert 0.1 < left_out < 0.13

    agrees(season.day_length_h(site, day) - left_out)


@pytest.mark.parametrize("latitude", [-55.0, -33.0, -20.0, 0.0, 23.0, 40.0, 55.0])
def test_day_length_over_the_year_is_that_of_the_sunset_equation(latitude: float) -> None:
    """The equation for the core's horizon, with the sun's declination by Spencer 1971.

    FAO-56's own (eq. 24) is up to 1.3 degrees off in autumn: 8 minutes of day at 40 degrees.
    """
    site = Site("anywhere", latitude, 0.0, 0, ZoneInfo("UTC"))
    days = [stamp.date() for stamp in pd.date_range("2023-01-04", "2023-12-31", freq="9D")]
    noons = np.array([day.timetuple().tm_yday + 0.5 for day in days])

    ours = np.array([season.day_length_h(site, day) for day in days])

    declinations = pvlib.solarposition.declination_spencer71(noons)
    theirs = _sunset_equation(latitude, declinations, sun.HORIZON_DEG)
    # A tenth of a degree of declination is 0.013 h times the tangent; Spencer's is within 0.2.
    assert np.abs(ours - theirs).max() < 0.012 + 0.027 * abs(np.tan(np.radians(latitude)))


@pytest.mark.parametrize("day", DATES)
@pytest.mark.parametrize("name", SITES)
def test_day_length_is_the_count_of_minutes_with_the_sun_up(name: str, day: date) -> None:
    """To 2 minutes: one for each end that the core may be off, and the count by the minute."""
    _, elevation = _sun_of(SITES[name], day)
    minutes = int(np.sum(elevation > sun.HORIZON_DEG))

    assert 60 * season.day_length_h(SITES[name], day) == pytest.approx(minutes, abs=2)


@for_each(product(SITES, DATES, WINDOWS))
def test_hours_of_direct_sun_are_those_counted_by_the_minute(
    name: str, day: date, which: str
) -> None:
    site, windows = SITES[name], WINDOWS[which]
    reached = _reached(*_sun_of(site, day), windows)
    ends = int(np.sum(np.diff(reached.astype(int)) != 0))

    minutes = 60 * light.direct_sun_hours(site, windows, day)

    # The count has a minute of its own to be off at each end.
    assert minutes == pytest.approx(int(reached.sum()), abs=(HALF_STEP_MIN + 1) * ends)


def test_the_counts_cover_full_sun_part_sun_and_none() -> None:
    """Else the comparison above might only compare nothing with nothing."""
    shares = np.array(
        [
            _reached(*_sun_of(site, day), windows).sum() / _reached(*_sun_of(site, day), None).sum()
            for site in SITES.values()
            for day in DATES
            for windows in WINDOWS.values()
            if windows is not None
        ]
    )
    north_in_winter = _reached(*_sun_of(SITES["Mendoza"], date(2024, 6, 21)), WINDOWS["over north"])

    assert np.sum(shares > 0) > 40
    assert np.sum(shares == 0) > 10
    assert shares.max() > 0.8
    assert north_in_winter.sum() > 7 * 60


def test_midnight_sun_through_a_window_over_north() -> None:
    site = Site("Tromso", 69.65, 18.96, 0, ZoneInfo("Europe/Oslo"))
    windows = [SunWindow(330, 30)]
    reached = _reached(*_sun_of(site, date(2024, 6, 21)), windows)

    hours = light.direct_sun_hours(site, windows, date(2024, 6, 21))

    assert reached[[0, -1]].all(), "the sun should be in the window at midnight"
    assert 60 * hours == pytest.approx(int(reached.sum()), abs=2 * (HALF_STEP_MIN + 1))


@cache
def _sun_of(site: Site, day: date) -> tuple[Array, Array]:
    """Azimuth and elevation without refraction [deg] in each minute of a date, by pvlib's SPA."""
    position = pvlib.solarposition.spa_python(
        _minutes(site, day), site.latitude, site.longitude, delta_t=69.0
    )
    return position["azimuth"].to_numpy(), position["elevation"].to_numpy()


def _minutes(site: Site, day: date) -> pd.DatetimeIndex:
    """The middle of each minute of the date, by the site's clocks; no date here changes them."""
    return pd.date_range(f"{day.isoformat()} 00:00:30", periods=1440, freq="min", tz=site.zone.key)


def _clear_sky(site: Site, day: date) -> Array:
    """Global radiation of a clear day, minute by minute [W/m2]: Haurwitz 1945 by pvlib."""
    position = pvlib.solarposition.spa_python(
        _minutes(site, day), site.latitude, site.longitude, delta_t=69.0
    )
    return np.asarray(pvlib.clearsky.haurwitz(position["apparent_zenith"])["ghi"].to_numpy())


def _reached(azimuth: Array, elevation: Array, windows: list[SunWindow] | None) -> np.ndarray:
    """The minutes with the sun in a window, written out case by case."""
    up = elevation > sun.HORIZON_DEG
    if windows is None:
        return np.asarray(up)
    reached = np.zeros(up.shape, dtype=bool)
    for window in windows:
        begun, not_over = azimuth >= window.azimuth_from, azimuth <= window.azimuth_to
        over_north = window.azimuth_from > window.azimuth_to
        inside = begun | not_over if over_north else begun & not_over
        reached |= inside & (elevation >= window.above)
    return np.asarray(up & reached)


def _sunset_equation(
    latitude_deg: float, declination_rad: float | Array, horizon_deg: float
) -> Array:
    """Hours of day; with the horizon at 0 it is FAO-56 eq. 25 and 34."""
    latitude = np.radians(latitude_deg)
    lift = np.sin(np.radians(horizon_deg)) / (np.cos(latitude) * np.cos(declination_rad))
    half_day = np.arccos(lift - np.tan(latitude) * np.tan(declination_rad))
    return np.asarray(24 / np.pi * half_day)
