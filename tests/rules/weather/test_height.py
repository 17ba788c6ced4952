"""A forecast taken to another height: colder above at all hours, warmer below by day alone."""

from dataclasses import replace

import numpy as np
import pytest

from sillward_rules.weather.height import MIXED_W_M2, at_height
from sillward_rules.weather.hourly import Weather, no_weather
from tests.support.desks import local

NOON = local("12:00")


def a_day(temp_c: float = 10.0, dew_c: float = 8.0) -> Weather:
    """Three nights and days; sunlight from the ninth to the eighteenth hour (UTC)."""
    empty = no_weather("any", NOON)
    by_day = (empty.times % 86400 >= 9 * 3600) & (empty.times % 86400 < 18 * 3600)
    light = np.where(by_day, 2 * MIXED_W_M2, 0.0)
    flat = np.full(empty.times.shape, temp_c)
    return replace(
        empty, temp_c=flat, dew_point_c=flat - temp_c + dew_c, direct_w_m2=light, diffuse_w_m2=light
    )


def test_higher_up_it_is_colder_at_all_hours() -> None:
    """The standard atmosphere (ISO 2533): 15.0 at sea level, 8.5 at a thousand metres."""
    higher = at_height(a_day(15.0), 0.0, 1000.0)

    np.testing.assert_allclose(higher.temp_c, 8.5)


def test_lower_down_no_night_is_warmer() -> None:
    weather = a_day()
    lower = at_height(weather, 500.0, 400.0)

    dark = weather.direct_w_m2 == 0.0
    np.testing.assert_allclose(lower.temp_c[dark], 10.0)
    np.testing.assert_allclose(lower.temp_c[~dark], 10.65)


def test_unknown_light_counts_as_none_and_an_unknown_temperature_stays_unknown() -> None:
    weather = a_day()
    temp_c = weather.temp_c.copy()
    temp_c[3] = np.nan
    unknown = replace(weather, temp_c=temp_c, direct_w_m2=np.full(temp_c.shape, np.nan))

    lower = at_height(unknown, 500.0, 400.0)

    np.testing.assert_array_equal(lower.temp_c, temp_c)


def test_the_dew_point_is_never_above_the_temperature() -> None:
    higher = at_height(a_day(10.0, 8.0), 0.0, 1000.0)

    np.testing.assert_allclose(higher.dew_point_c, 3.5)


@pytest.mark.parametrize("height_m", [-3.0, 780.0])
def test_at_its_own_height_it_is_what_it_was(height_m: float) -> None:
    weather = a_day()

    assert at_height(weather, height_m, height_m) is weather
