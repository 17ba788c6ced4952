"""Offsets: when they set in and fade, what wind and cloud leave of them, the colder one counts."""

from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sillward_rules.arrays import Array
from sillward_rules.weather import sun
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import Spot
from sillward_rules.weather.spot_offset import (
    EVENING_FADE_H,
    MIN_COLD_SHARE,
    MORNING_FADE_H,
    night_offset_shares,
    night_shares,
    offsets,
    weather_share,
)
from tests.support.core import MENDOZA

few = settings(max_examples=40, derandomize=True, deadline=None)
ARCTIC = Site("Far north", 69.6, 18.9, 10, MENDOZA.zone)
NIGHT = sun.night_of(MENDOZA, date(2026, 5, 14))
SUNSET, SUNRISE = NIGHT.start.timestamp(), NIGHT.end.timestamp()

kelvins = st.floats(-6, 6)


def every_minute(first: float, hours: float) -> Array:
    return np.asarray(first + 60.0 * np.arange(int(hours * 60) + 1), dtype=np.float64)


def of_spot(spot: Spot, times: np.ndarray, left: float = 1.0) -> Array:
    share, spots = np.full(times.shape, left), (spot,)
    learned = np.zeros((times.size, 1))
    nights = night_shares(MENDOZA, times)
    return offsets(spots, night_offset_shares(spots, share), learned, *nights)[:, 0]


@pytest.mark.parametrize(
    ("hours", "early", "late"),
    [
        (-EVENING_FADE_H, 0.0, 0.0),
        (-EVENING_FADE_H / 2, 0.5, 0.0),
        (0.0, 1.0, 0.0),
        (EVENING_FADE_H / 2, 1.0, 0.5),
        (EVENING_FADE_H, 1.0, 1.0),
        (6.0, 1.0, 1.0),
    ],
)
def test_the_night_comes_within_an_hour_of_sunset(hours: float, early: float, late: float) -> None:
    shares = night_shares(MENDOZA, np.array([SUNSET + 3600 * hours]))

    assert [float(share[0]) for share in shares] == pytest.approx([early, late], abs=1e-6)


@pytest.mark.parametrize(
    ("part", "early", "late"),
    [(0.0, 1.0, 1.0), (0.5, 0.75, 0.25), (1.0, 0.0, 0.0), (1.5, 0.0, 0.0)],
)
def test_a_cold_night_goes_slowly_and_a_warm_one_quickly(
    part: float, early: float, late: float
) -> None:
    shares = night_shares(MENDOZA, np.array([SUNRISE + 3600 * MORNING_FADE_H * part]))

    assert [float(share[0]) for share in shares] == pytest.approx([early, late], abs=1e-6)


@few
@given(night=kelvins, day=kelvins)
def test_no_offset_jumps_and_the_colder_is_never_lost_too_early(night: float, day: float) -> None:
    times = every_minute(SUNSET - 4 * 3600, 20.0)
    here = of_spot(Spot("any", night_offset_k=night, day_offset_k=day), times)

    assert np.abs(np.diff(here)).max() <= abs(night - day) / 50.0 + 1e-9
    assert (here <= max(night, day) + 1e-9).all()
    assert (here >= min(night, day) - 1e-9).all()
    dark = (times >= SUNSET) & (times <= SUNRISE)
    if night <= day:
        np.testing.assert_allclose(here[dark], night, atol=1e-9)
        just_after = here[(times > SUNRISE) & (times <= SUNRISE + 1800)]
        assert (just_after <= day + 0.9 * (night - day) + 1e-9).all()
    evening = here[(times >= SUNSET - 3600) & (times <= SUNSET)]
    assert (evening <= day + 1e-9).all()


def test_what_is_measured_counts_at_the_coldest_hour_warm_or_cold() -> None:
    before_sunrise = np.array([SUNRISE - 60])

    for night in (-3.0, 2.0):
        assert of_spot(Spot("any", night_offset_k=night), before_sunrise) == pytest.approx(night)


@pytest.mark.parametrize("day", [date(2026, 6, 21), date(2026, 12, 21), date(2026, 5, 15)])
def test_where_the_sun_stays_up_or_down_shares_are_shares_and_never_jump(day: date) -> None:
    first = ARCTIC.middle_of_day(day) - timedelta(days=1)
    shares = night_shares(ARCTIC, every_minute(first.timestamp(), 48.0))

    for share in shares:
        assert ((share >= 0) & (share <= 1)).all()
        assert np.abs(np.diff(share)).max() < 0.05
    assert (shares[1] <= shares[0] + 1e-9).all()


def test_no_times_have_no_shares() -> None:
    assert [share.size for share in night_shares(MENDOZA, np.empty(0))] == [0, 0]


def test_hours_just_after_a_night_that_began_before_the_forecast_still_belong_to_it() -> None:
    times = np.array([SUNRISE + 1800.0, SUNRISE + 5400.0])

    early, _ = night_shares(MENDOZA, times)

    np.testing.assert_allclose(early, [1 - 0.25**2, 1 - 0.75**2])


@pytest.mark.parametrize(
    ("wind", "cloud", "share"),
    [
        (0.0, 0.0, 1.0),
        (2.0, 0.0, 1.0),
        (4.0, 0.0, 0.5**0.5),
        (8.0, 0.0, 0.5),
        (1.0, 0.5, 0.75),
        (1.0, 1.0, 0.0),
        (8.0, 0.5, 0.375),
    ],
)
def test_wind_and_cloud_take_their_share(wind: float, cloud: float, share: float) -> None:
    """Written out: sqrt(2 / wind) from 2 m/s on, and one less the square of the cover."""
    assert float(weather_share(wind, cloud)) == pytest.approx(share)


@few
@given(pair=st.tuples(st.floats(0, 30), st.floats(0, 30)), cloud=st.floats(0, 1))
def test_more_wind_never_leaves_more(pair: tuple[float, float], cloud: float) -> None:
    calm, windy = (float(weather_share(wind, cloud)) for wind in sorted(pair))

    assert windy <= calm + 1e-12


@pytest.mark.parametrize(
    ("spot", "left", "counts"),
    [
        (Spot("hollow", night_offset_k=-4.0), 0.5, -2.0),
        (Spot("hollow", night_offset_k=-4.0), 0.0, -4.0 * MIN_COLD_SHARE),
        (Spot("hollow", night_offset_k=-4.0), np.nan, -4.0),
        (Spot("wall", night_offset_k=2.0), 0.5, 1.0),
        (Spot("wall", night_offset_k=2.0), 0.0, 0.0),
        (Spot("wall", night_offset_k=2.0), np.nan, 0.0),
        (Spot("porch", indoors=True, night_offset_k=3.0), 0.0, 3.0),
        (Spot("porch", indoors=True, night_offset_k=3.0), np.nan, 3.0),
        (Spot("silent"), 1.0, 0.0),
    ],
)
def test_cold_that_is_not_known_counts_in_full_and_warmth_not_at_all(
    spot: Spot, left: float, counts: float
) -> None:
    midnight = np.array([(SUNSET + SUNRISE) / 2])

    assert of_spot(spot, midnight, left) == pytest.approx(counts)


def test_every_half_hour_after_sunrise_less_of_the_hollow_is_left() -> None:
    times = SUNRISE + 1800.0 * np.arange(5)
    here = of_spot(Spot("hollow", night_offset_k=-2.0), times)

    assert here[0] == pytest.approx(-2.0)
    assert here[-1] == pytest.approx(0.0)
    assert all(before < other for before, other in pairwise(here.tolist()))
