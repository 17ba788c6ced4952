"""The sun against NREL's Solar Position Algorithm, by its values and through pvlib.

The core's sun comes from another library with other, coarser formulas. pvlib's own rise and set
function works by UTC date and is up to 100 s off far from Greenwich; crossings are therefore found
here in pvlib's elevations.
"""

from collections.abc import Callable
from datetime import UTC, date, datetime, time, timedelta
from itertools import islice, pairwise
from typing import Any
from zoneinfo import ZoneInfo

import astral.sun
import numpy as np
import pandas as pd
import pvlib
import pytest

from sillward_rules.arrays import Array
from sillward_rules.weather import sun
from sillward_rules.weather.site import Site
from sillward_rules.weather.sun import Daylight

Inputs = dict[str, Any]
Agrees = Callable[[object], None]

STEP_S = 300
HALF_DAY_S = 43200
DAY_S = 86400

SITES = {
    "Lisbon": Site("Lisbon", 38.7223, -9.1393, 0, ZoneInfo("Europe/Lisbon")),
    "Mendoza": Site("Mendoza", -32.89, -68.85, 780, ZoneInfo("America/Argentina/Mendoza")),
    "Los Angeles": Site("Los Angeles", 34.0522, -118.2437, 90, ZoneInfo("America/Los_Angeles")),
    "Adelaide": Site("Adelaide", -34.9285, 138.6007, 50, ZoneInfo("Australia/Adelaide")),
    "Quito": Site("Quito", -0.18, -78.47, 2850, ZoneInfo("America/Guayaquil")),
    "Kolkata": Site("Kolkata", 22.57, 88.36, 9, ZoneInfo("Asia/Kolkata")),
    "Auckland": Site("Auckland", -36.85, 174.76, 20, ZoneInfo("Pacific/Auckland")),
    "Kiritimati": Site("Kiritimati", 1.87, -157.4, 3, ZoneInfo("Pacific/Kiritimati")),
    "Edinburgh": Site("Edinburgh", 55.95, -3.19, 50, ZoneInfo("Europe/London")),
    "Punta Arenas": Site("Punta Arenas", -53.16, -70.91, 30, ZoneInfo("America/Punta_Arenas")),
}

POLAR_SITES = {
    "Tromso": Site("Tromso", 69.65, 18.96, 0, ZoneInfo("Europe/Oslo")),
    "Longyearbyen": Site("Longyearbyen", 78.22, 15.65, 0, ZoneInfo("Arctic/Longyearbyen")),
    "Fairbanks": Site("Fairbanks", 64.84, -147.72, 136, ZoneInfo("America/Anchorage")),
    "Rovaniemi": Site("Rovaniemi", 66.5, 25.73, 80, ZoneInfo("Europe/Helsinki")),
    "McMurdo": Site("McMurdo", -77.85, 166.67, 10, ZoneInfo("Antarctica/McMurdo")),
}

ODD_OFFSETS = {
    "Asia/Kolkata": (22.57, 88.36),
    "Australia/Lord_Howe": (-31.55, 159.08),
    "Pacific/Kiritimati": (1.87, -157.4),
    "Asia/Urumqi": (43.83, 87.62),
    "America/St_Johns": (47.56, -52.71),
    "Europe/London": (51.5, -0.13),
}

EVERY_TEN_DAYS = [date(2024, 1, 3) + timedelta(days=10 * count) for count in range(37)]
EVERY_OTHER_DAY = [date(2024, 1, 1) + timedelta(days=2 * count) for count in range(183)]


@pytest.fixture(params=list(SITES.values()), ids=list(SITES))
def site(request: pytest.FixtureRequest) -> Site:
    found = request.param
    assert isinstance(found, Site)
    return found


@pytest.fixture(params=list(POLAR_SITES.values()), ids=list(POLAR_SITES))
def polar_site(request: pytest.FixtureRequest) -> Site:
    found = request.param
    assert isinstance(found, Site)
    return found


@pytest.mark.published("rise_and_set")
def test_sunrise_and_sunset(inputs: Inputs, agrees: Agrees) -> None:
    events = sun.day_events(_site_of(inputs, ZoneInfo(inputs["zone"])), inputs["day"])

    agrees([events.sunrise, events.sunset])


@pytest.mark.published("sun_position")
def test_position_of_the_sun(inputs: Inputs, agrees: Agrees) -> None:
    site = _site_of(inputs, ZoneInfo("UTC"))

    azimuth, elevation = sun.positions(site, np.array([inputs["at"].timestamp()]))

    agrees([elevation[0], azimuth[0]])


@pytest.mark.published("reference_position")
def test_the_reference_gives_the_published_position(inputs: Inputs, agrees: Agrees) -> None:
    position = pvlib.solarposition.spa_python(
        pd.DatetimeIndex([inputs["at"]]),
        inputs["latitude"],
        inputs["longitude"],
        altitude=inputs["elevation_m"],
        pressure=inputs["pressure_pa"],
        temperature=inputs["temp_c"],
        delta_t=inputs["delta_t_s"],
    ).iloc[0]

    agrees([position["apparent_zenith"], position["azimuth"]])


@pytest.mark.published("reference_rise_and_set")
def test_the_reference_gives_the_published_rise_and_set(inputs: Inputs, agrees: Agrees) -> None:
    """pvlib dates the sunset that the algorithm finds at 00:20 UTC one day later, 88 s amiss."""
    events = pvlib.solarposition.sun_rise_set_transit_spa(
        pd.DatetimeIndex([inputs["utc_day"]], tz="UTC"),
        inputs["latitude"],
        inputs["longitude"],
        delta_t=inputs["delta_t_s"],
    ).iloc[0]

    agrees([events["sunrise"].timestamp(), events["sunset"].timestamp() - DAY_S])


def test_crossings_found_here_are_the_published_ones(
    families: dict[str, list[dict[str, Any]]],
) -> None:
    """To 2 s: the published procedure interpolates once and leaves out the sun's parallax."""
    (published,) = families["reference_rise_and_set"]
    site = _site_of(published["inputs"], ZoneInfo("America/Denver"))
    sunrise, sunset = published["expected"]

    of_the_day, _ = _crossings(site, _mean_noon(site, date(2003, 10, 17)).timestamp())
    _, of_the_day_before = _crossings(site, _mean_noon(site, date(2003, 10, 16)).timestamp())

    assert of_the_day == pytest.approx(sunrise.timestamp(), abs=2)
    assert of_the_day_before == pytest.approx(sunset.timestamp(), abs=2)


def test_positions_agree_with_the_reference_wherever_the_sun_is_up(site: Site) -> None:
    moments = np.concatenate(
        [
            _mean_noon(site, day).timestamp() + np.arange(-HALF_DAY_S, HALF_DAY_S, 3600.0)
            for day in EVERY_TEN_DAYS
        ]
    )
    azimuth_there, elevation_there = _reference(site, moments)
    up = elevation_there > 0

    azimuth, elevation = sun.positions(site, moments)

    # An azimuth means less the higher the sun is: compared as an angle on the sky.
    turned = (azimuth - azimuth_there + 180) % 360 - 180
    on_the_sky = np.abs(turned) * np.cos(np.radians(elevation_there))
    assert up.sum() > 10 * len(EVERY_TEN_DAYS)
    assert np.abs(elevation - elevation_there)[up].max() < 0.05
    assert on_the_sky[up].max() < 0.05


@pytest.mark.parametrize("latitude", [-90.0, -66.6, -23.44, 0.0, 15.0, 47.0, 89.9])
def test_positions_of_many_moments_are_those_that_the_library_gives_one_by_one(
    latitude: float,
) -> None:
    site = Site("Anywhere", latitude, 100.0, 0.0, ZoneInfo("UTC"))
    moments = np.arange(1_767_225_600.0, 1_798_761_600.0, 200_000.0)
    observer = astral.Observer(latitude, site.longitude, 0.0)
    zenith, azimuth_there = np.array(
        [
            astral.sun.zenith_and_azimuth(
                observer, datetime.fromtimestamp(second, UTC), with_refraction=False
            )
            for second in moments.tolist()
        ]
    ).T

    azimuth, elevation = sun.positions(site, moments)

    assert elevation == pytest.approx(90.0 - zenith, abs=1e-9)
    assert (azimuth - azimuth_there + 180) % 360 == pytest.approx(180.0, abs=1e-6)


def test_sunrise_and_sunset_agree_with_the_reference_within_a_minute(site: Site) -> None:
    for day in EVERY_TEN_DAYS:
        noon = _mean_noon(site, day)
        sunrise, sunset = _crossings(site, noon.timestamp())

        events = sun.day_events(site, noon.astimezone(site.zone).date())

        assert events.daylight is Daylight.RISES_AND_SETS
        assert events.sunrise.timestamp() == pytest.approx(sunrise, abs=60), day
        assert events.sunset.timestamp() == pytest.approx(sunset, abs=60), day


def test_polar_days_and_nights_are_told_apart(polar_site: Site) -> None:
    """Days on which the sun grazes the horizon to 0.1 degree may go either way."""
    noons = [_mean_noon(polar_site, day) for day in EVERY_OTHER_DAY]
    expected = _daylight_of_reference(polar_site, [noon.timestamp() for noon in noons])

    told = [
        sun.day_events(polar_site, noon.astimezone(polar_site.zone).date()).daylight
        for noon in noons
    ]

    pairs = list(zip(told, expected, strict=True))
    assert [pair for pair in pairs if pair[1] is not None and pair[0] is not pair[1]] == []
    assert sum(reference is not None for reference in expected) > 170


def test_polar_sunrise_and_sunset_are_where_the_reference_crosses(polar_site: Site) -> None:
    """Next to the days without sunset a crossing may lie outside the 24 hours around noon, whose
    ends then stand in for it: on no more than two dates of a year."""
    days = [date(2024, 1, 1) + timedelta(days=count) for count in range(366)]
    events = [sun.day_events(polar_site, day) for day in days]
    moments = [
        moment.timestamp()
        for event in events
        if event.daylight is Daylight.RISES_AND_SETS
        for moment in (event.sunrise, event.sunset)
    ]

    _, elevation = _reference(polar_site, np.array(moments))

    off = np.abs(elevation - sun.HORIZON_DEG)
    assert np.sum(off > 0.1) <= 2
    assert off.max() < 0.6


@pytest.mark.parametrize("latitude", [-90.0, -89.99, -72.0, -66.6, 60.0, 66.0, 66.6, 85.0, 90.0])
@pytest.mark.parametrize("longitude", [-179.9, 0.0, 100.0])
def test_every_date_has_a_night_anywhere(latitude: float, longitude: float) -> None:
    site = Site("anywhere", latitude, longitude, 0, ZoneInfo("UTC"))
    days = [date(2025, 1, 1) + timedelta(days=3 * count) for count in range(122)]

    for day in days:
        night = sun.night_of(site, day)

        assert night.start < night.end
        assert sun.day_events(site, day).sunrise < night.start


@pytest.mark.parametrize("zone", ODD_OFFSETS)
def test_nights_follow_one_another_without_overlap(zone: str) -> None:
    latitude, longitude = ODD_OFFSETS[zone]
    site = Site(zone, latitude, longitude, 0, ZoneInfo(zone))

    nights = list(islice(sun.nights_from(site, datetime(2024, 1, 1, tzinfo=UTC)), 731))

    assert all(night.start < night.end for night in nights)
    assert all(later.day - night.day == timedelta(days=1) for night, later in pairwise(nights))
    assert all(night.end < later.start for night, later in pairwise(nights))
    assert all(
        timedelta(hours=6) < night.end - night.start < timedelta(hours=18) for night in nights
    )


@pytest.mark.parametrize("zone", ODD_OFFSETS)
def test_night_of_a_date_begins_on_that_date(zone: str) -> None:
    latitude, longitude = ODD_OFFSETS[zone]
    site = Site(zone, latitude, longitude, 0, ZoneInfo(zone))

    for count in range(731):
        day = date(2024, 1, 1) + timedelta(days=count)
        night = sun.night_of(site, day)

        assert site.local_date(night.start) == night.day == day
        assert site.local_date(night.end) == day + timedelta(days=1)


@pytest.mark.parametrize("zone", ODD_OFFSETS)
def test_nights_from_a_moment_begin_with_the_night_it_falls_in(zone: str) -> None:
    latitude, longitude = ODD_OFFSETS[zone]
    site = Site(zone, latitude, longitude, 0, ZoneInfo(zone))

    for count in range(0, 731, 7):
        night = sun.night_of(site, date(2024, 1, 1) + timedelta(days=count))
        inside = night.start + (night.end - night.start) / 2
        noon_before = night.start - timedelta(hours=5)

        assert next(sun.nights_from(site, inside)) == night
        assert next(sun.nights_from(site, noon_before)) == night
        assert next(sun.nights_from(site, night.end)).day == night.day + timedelta(days=1)


def _site_of(inputs: Inputs, zone: ZoneInfo) -> Site:
    return Site("published", inputs["latitude"], inputs["longitude"], 0, zone)


def _mean_noon(site: Site, day: date) -> datetime:
    """The sun's mean noon on this date as counted at the site's own meridian."""
    return datetime.combine(day, time(12), UTC) - timedelta(hours=site.longitude / 15)


def _reference(site: Site, unix_seconds: Array, *, delta_t_s: float = 69.0) -> tuple[Array, Array]:
    """Azimuth and elevation without refraction [deg] by pvlib; delta_t is that of 2024."""
    position = pvlib.solarposition.spa_python(
        pd.to_datetime(unix_seconds, unit="s", utc=True),
        site.latitude,
        site.longitude,
        delta_t=delta_t_s,
    )
    return position["azimuth"].to_numpy(), position["elevation"].to_numpy()


def _around(noon: float, step_s: int) -> Array:
    return noon + np.arange(-HALF_DAY_S, HALF_DAY_S + step_s, step_s, dtype=np.float64)


def _crossings(
    site: Site, noon: float, *, step_s: int = STEP_S, delta_t_s: float = 69.0
) -> tuple[float, float]:
    """Sunrise and sunset [unix seconds]: where pvlib's elevation crosses the horizon."""
    moments = _around(noon, step_s)
    _, elevation = _reference(site, moments, delta_t_s=delta_t_s)
    above = elevation - sun.HORIZON_DEG
    (edges,) = np.nonzero(np.diff(np.sign(above)))
    assert edges.size == 2, "the reference should cross the horizon twice"
    share = above[edges] / (above[edges] - above[edges + 1])
    sunrise, sunset = moments[edges] + share * step_s
    return float(sunrise), float(sunset)


def _daylight_of_reference(site: Site, noons: list[float]) -> list[Daylight | None]:
    """What the sun does in the 24 hours around each noon; None where it grazes the horizon."""
    days = np.array([_around(noon, 4 * STEP_S) for noon in noons])
    _, elevation = _reference(site, days.ravel())
    above = elevation.reshape(days.shape) - sun.HORIZON_DEG
    return [_daylight(low, high) for low, high in zip(above.min(1), above.max(1), strict=True)]


def _daylight(lowest: float, highest: float) -> Daylight | None:
    if min(abs(lowest), abs(highest)) < 0.1:
        return None
    if lowest > 0:
        return Daylight.ALWAYS_UP
    return Daylight.RISES_AND_SETS if highest > 0 else Daylight.ALWAYS_DOWN
