"""Sunlight from cloud: what must hold at any place and hour. Sources: tests/published."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sillward_rules.arrays import Array
from sillward_rules.weather import radiation, sun
from sillward_rules.weather.site import Site
from tests.support.core import MENDOZA

HOUR_S = 3600
TROMSO = Site("Tromso", 69.65, 18.96, 0, ZoneInfo("Europe/Oslo"))

repeatable = settings(deadline=None, derandomize=True)


@st.composite
def sites(draw: st.DrawFn) -> Site:
    latitude, longitude = draw(st.floats(-90, 90)), draw(st.floats(-180, 180))
    return Site("anywhere", latitude, longitude, 0, ZoneInfo("UTC"))


starts = st.integers(464_592, 499_655).map(lambda hour: HOUR_S * hour)
"""Full hours of 2023 to 2026 [unix s]."""
covers = st.floats(0, 1)


def hours(start: int, count: int = 24) -> np.ndarray:
    """Ends of the hours from start on."""
    return start + HOUR_S * np.arange(1, count + 1, dtype=np.int64)


def midnight(text: str, site: Site = MENDOZA) -> int:
    return int(datetime.fromisoformat(text).replace(tzinfo=site.zone).timestamp())


def by_the_minute(site: Site, times: np.ndarray) -> Array:
    """Clear-sky means of the hours before the times, from the sun of each minute."""
    minutes = (times[:, None] - HOUR_S + 30 + 60 * np.arange(60)).ravel()
    _, elevation = sun.positions(site, minutes)
    return np.asarray(radiation.clear_sky(elevation).reshape(-1, 60).mean(axis=1))


@repeatable
@given(site=sites(), start=starts, cloud=covers)
def test_sunlight_is_never_negative_nor_more_than_a_clear_sky_gives(
    site: Site, start: int, cloud: float
) -> None:
    direct, diffuse = radiation.estimate(site, hours(start), np.full(24, cloud))
    clear = sum(radiation.estimate(site, hours(start), np.zeros(24)))

    assert np.all(direct >= 0)
    assert np.all(diffuse >= 0)
    assert np.all(direct + diffuse <= clear + 1e-9)


@repeatable
@given(site=sites(), start=starts, one=covers, other=covers)
def test_more_cloud_is_less_light_and_less_beam(
    site: Site, start: int, one: float, other: float
) -> None:
    thin, thick = sorted((one, other))

    less_direct, less_diffuse = radiation.estimate(site, hours(start), np.full(24, thick))
    direct, diffuse = radiation.estimate(site, hours(start), np.full(24, thin))

    assert np.all(less_direct <= direct + 1e-9)
    assert np.all(less_direct + less_diffuse <= direct + diffuse + 1e-9)


@repeatable
@given(site=sites(), start=starts)
def test_ten_minutes_are_as_good_as_every_minute(site: Site, start: int) -> None:
    direct, diffuse = radiation.estimate(site, hours(start), np.zeros(24))

    np.testing.assert_allclose(direct + diffuse, by_the_minute(site, hours(start)), atol=1.0)


def test_under_full_cloud_there_is_no_beam_but_light() -> None:
    direct, diffuse = radiation.estimate(MENDOZA, hours(midnight("2026-01-15")), np.ones(24))

    np.testing.assert_allclose(direct, 0.0, atol=1e-9)
    assert diffuse.max() > 200


def test_unknown_cloud_is_unknown_light_by_day_and_none_at_night() -> None:
    start = midnight("2026-01-15")

    direct, diffuse = radiation.estimate(MENDOZA, hours(start), np.full(24, np.nan))

    known, _ = radiation.estimate(MENDOZA, hours(start), np.zeros(24))
    lit = known > 0
    assert 13 < lit.sum() < 17
    for part in (direct, diffuse):
        assert np.isnan(part[lit]).all()
        assert (part[~lit] == 0).all()


def test_one_unknown_hour_leaves_the_others_alone() -> None:
    times = hours(midnight("2026-01-15"))
    cloud = np.full(24, 0.4)
    gap = np.where(np.arange(24) == 12, np.nan, cloud)

    known = np.delete(np.array(radiation.estimate(MENDOZA, times, cloud)), 12, axis=1)
    rest = np.array(radiation.estimate(MENDOZA, times, gap))

    assert np.isnan(rest[:, 12]).all()
    np.testing.assert_array_equal(np.delete(rest, 12, axis=1), known)


def test_the_hour_of_sunrise_has_the_light_of_its_sunny_part() -> None:
    day = datetime.fromisoformat("2026-05-02").date()
    sunrise = sun.day_events(MENDOZA, day).sunrise
    assert sunrise.minute == 9, "so that most of the hour is lit, and its beginning is not"
    ends = sunrise.replace(minute=0, second=0) + timedelta(hours=1)

    direct, diffuse = radiation.estimate(
        MENDOZA, np.array([ends.timestamp() - HOUR_S, ends.timestamp()]), np.zeros(2)
    )

    assert direct[0] + diffuse[0] == 0
    middle = radiation.clear_sky(sun.elevation(MENDOZA, ends - timedelta(minutes=30)))
    assert direct[1] + diffuse[1] > middle + 1


def test_the_light_belongs_to_the_hour_that_ends_at_the_time() -> None:
    """Around the sun's noon the hours before and after are alike; by the ends alone they differ."""
    noon = int(MENDOZA.middle_of_day(datetime.fromisoformat("2026-04-15").date()).timestamp())

    direct, _ = radiation.estimate(MENDOZA, noon + HOUR_S * np.array([0, 1]), np.zeros(2))

    assert direct[0] == pytest.approx(direct[1], rel=0.005)


def test_polar_night_is_dark_and_midnight_sun_is_not() -> None:
    winter, _ = radiation.estimate(TROMSO, hours(midnight("2026-12-21", TROMSO)), np.zeros(24))
    summer, _ = radiation.estimate(TROMSO, hours(midnight("2026-06-21", TROMSO)), np.zeros(24))

    assert (winter == 0).all()
    assert (summer > 0).all()


def test_no_hours_have_no_light() -> None:
    direct, diffuse = radiation.estimate(MENDOZA, np.array([], dtype=np.int64), np.array([]))

    assert direct.shape == diffuse.shape == (0,)


def test_an_unknown_sun_gives_unknown_light() -> None:
    assert np.isnan(radiation.clear_sky(np.nan))
    assert np.isnan(radiation.cloud_factor(np.nan))
    assert np.isnan(radiation.diffuse_share(np.nan))
