"""Light: what must hold for any light, any window and any day. Sources: tests/published."""

from datetime import date
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from sillward_rules.arrays import Array
from sillward_rules.weather import light, sun
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import SunWindow

repeatable = settings(deadline=None, derandomize=True)
few = settings(deadline=None, derandomize=True, max_examples=25)

MENDOZA = Site("Mendoza", -32.89, -68.85, 780, ZoneInfo("America/Argentina/Mendoza"))
TROMSO = Site("Tromso", 69.65, 18.96, 0, ZoneInfo("Europe/Oslo"))

days_of_light = arrays(np.float64, (24,), elements=st.floats(0, 1400))
azimuths = st.floats(0, 360, exclude_max=True)
elevations = st.floats(-90, 90)
dates = st.dates(date(2023, 1, 1), date(2026, 12, 31))
windows = st.builds(SunWindow, st.floats(0, 360), st.floats(0, 360), st.floats(0, 90))


@st.composite
def sites(draw: st.DrawFn, most_latitude: float = 90.0) -> Site:
    latitude = draw(st.floats(-most_latitude, most_latitude))
    return Site("anywhere", latitude, draw(st.floats(-180, 180)), 0, ZoneInfo("UTC"))


@repeatable
@given(watts=days_of_light, shade=st.floats(0, 1))
def test_shade_never_brightens_a_day(watts: Array, shade: float) -> None:
    shaded = (1 - shade) * watts

    assert np.all(light.ppfd(shaded) <= light.ppfd(watts))
    assert light.daily_light_integral(shaded) <= light.daily_light_integral(watts)


@repeatable
@given(watts=days_of_light, share=st.floats(0, 1))
def test_light_scales_with_the_share_that_a_cloth_lets_through(watts: Array, share: float) -> None:
    through = light.daily_light_integral(share * watts)

    expected = share * light.daily_light_integral(watts)
    np.testing.assert_allclose(through, expected, rtol=1e-9, atol=1e-12)


@repeatable
@given(watts=days_of_light)
def test_light_of_a_day_does_not_depend_on_the_length_of_the_steps(watts: Array) -> None:
    hourly = light.daily_light_integral(watts)

    quarters = light.daily_light_integral(np.repeat(watts, 4), step_h=0.25)

    np.testing.assert_allclose(quarters, hourly, rtol=1e-9)


def test_each_spot_gets_its_own_integral() -> None:
    spots = np.stack([np.full(24, 100.0), np.full(24, 50.0), np.zeros(24)], axis=1)

    bright, half, dark = light.daily_light_integral(spots)

    assert bright == pytest.approx(2 * half)
    assert bright > 0
    assert dark == 0


def test_one_unknown_hour_makes_the_day_unknown_at_its_spot_only() -> None:
    spots = np.full((24, 2), 100.0)
    spots[3, 0] = np.nan

    unknown, known = light.daily_light_integral(spots)

    assert np.isnan(unknown)
    assert np.isfinite(known)


def test_a_day_without_hours_is_unknown_not_dark() -> None:
    assert np.isnan(light.daily_light_integral(np.empty((0, 3)))).tolist() == [True] * 3


def test_light_of_a_day_needs_a_time_axis() -> None:
    with pytest.raises(ValueError, match="time axis"):
        light.daily_light_integral(100.0)


def test_unknown_light_stays_unknown() -> None:
    results = [
        light.ppfd(np.nan),
        light.ppfd_from_foot_candles(np.nan),
        light.noon_dli(np.nan, 12.0),
        light.noon_dli(1000.0, np.nan),
    ]

    assert np.isnan(results).all()


@repeatable
@given(peak_w_m2=st.floats(1, 1400), length_h=st.floats(0.5, 24))
def test_half_a_sine_has_the_integral_of_its_hours(peak_w_m2: float, length_h: float) -> None:
    middles = (np.arange(2000) + 0.5) / 2000
    watts = peak_w_m2 * np.sin(np.pi * middles)
    summed = light.daily_light_integral(watts, step_h=length_h / 2000)

    by_noon = light.noon_dli(light.ppfd(peak_w_m2), length_h)

    assert float(by_noon) == pytest.approx(float(summed), rel=1e-6)


@pytest.mark.parametrize(
    ("window", "azimuth_deg", "reaches"),
    [
        (SunWindow(60, 140), 60, True),
        (SunWindow(60, 140), 140, True),
        (SunWindow(60, 140), 59.9, False),
        (SunWindow(60, 140), 140.1, False),
        (SunWindow(290, 70), 290, True),
        (SunWindow(290, 70), 0, True),
        (SunWindow(290, 70), 360, True),
        (SunWindow(290, 70), 70, True),
        (SunWindow(290, 70), 180, False),
        (SunWindow(290, 70), 70.1, False),
        (SunWindow(0, 360), 123, True),
        (SunWindow(90, 90), 90, True),
        (SunWindow(90, 90), 91, False),
        (SunWindow(360, 90), 45, True),
        (SunWindow(360, 90), 100, False),
    ],
)
def test_azimuth_of_a_window(window: SunWindow, azimuth_deg: float, reaches: bool) -> None:
    assert bool(light.through_windows([window], azimuth_deg, 30.0)) is reaches


def test_a_window_lets_in_the_sun_from_its_elevation_up() -> None:
    window = SunWindow(0, 180, above=20)

    through = light.through_windows([window], 90.0, [19.9, 20.0, 89.0])

    assert through.tolist() == [False, True, True]


def test_any_of_several_windows_is_enough() -> None:
    morning, evening = SunWindow(60, 140, 20), SunWindow(220, 300, 10)

    through = light.through_windows([morning, evening], [100.0, 180.0, 250.0, 100.0], 15.0)

    assert through.tolist() == [False, False, True, False]


def test_open_all_round_is_reached_while_the_sun_is_up() -> None:
    elevations_deg = [-5.0, sun.HORIZON_DEG - 0.01, sun.HORIZON_DEG + 0.01, 40.0]

    through = light.through_windows(None, 180.0, elevations_deg)

    assert through.tolist() == [False, False, True, True]


def test_a_spot_without_any_window_gets_no_sun() -> None:
    assert not light.through_windows([], [90.0, 180.0], [10.0, 60.0]).any()
    assert light.direct_sun_hours(MENDOZA, [], date(2024, 12, 21)) == 0


def test_a_sun_nobody_knows_reaches_nothing() -> None:
    azimuth, elevation = [np.nan, 90.0], [40.0, np.nan]

    assert not light.through_windows(None, azimuth, elevation).any()
    assert not light.through_windows([SunWindow(0, 360)], azimuth, elevation).any()


@repeatable
@given(one=windows, azimuth_deg=azimuths, elevation_deg=elevations)
def test_no_window_lets_in_more_than_the_open_sky(
    one: SunWindow, azimuth_deg: float, elevation_deg: float
) -> None:
    through = light.through_windows([one], azimuth_deg, elevation_deg)

    assert through <= light.through_windows(None, azimuth_deg, elevation_deg)


@repeatable
@given(split_deg=st.floats(1, 359), azimuth_deg=azimuths, elevation_deg=st.floats(0, 90))
def test_a_window_and_the_rest_of_the_horizon_are_all_of_it(
    split_deg: float, azimuth_deg: float, elevation_deg: float
) -> None:
    two = [SunWindow(0, split_deg), SunWindow(split_deg, 0)]

    assert light.through_windows(two, azimuth_deg, elevation_deg)


@few
@given(
    site=sites(),
    day=dates,
    begins=azimuths,
    width=st.floats(1, 359),
    cut_from=st.floats(0, 0.99),
    cut_to=st.floats(0, 0.99),
    above=st.floats(0, 60),
    higher=st.floats(0, 30),
)
def test_a_smaller_window_never_gives_more_sun(
    site: Site,
    day: date,
    begins: float,
    width: float,
    cut_from: float,
    cut_to: float,
    above: float,
    higher: float,
) -> None:
    wide = SunWindow(begins, begins + width, above)
    half = width / 2
    narrow = SunWindow(begins + cut_from * half, begins + width - cut_to * half, above)
    high = SunWindow(begins, begins + width, above + higher)

    hours = light.direct_sun_hours(site, [wide], day)

    assert light.direct_sun_hours(site, [narrow], day) <= hours
    assert light.direct_sun_hours(site, [high], day) <= hours
    assert light.direct_sun_hours(site, [wide, narrow, high], day) == hours
    assert hours <= light.direct_sun_hours(site, None, day)


def test_the_open_sky_gives_sun_from_sunrise_to_sunset() -> None:
    events = sun.day_events(MENDOZA, date(2024, 3, 5))

    hours = light.direct_sun_hours(MENDOZA, None, date(2024, 3, 5))

    assert hours == pytest.approx((events.sunset - events.sunrise).total_seconds() / 3600)


def test_windows_of_two_halves_share_the_day_out() -> None:
    day = date(2024, 3, 5)
    east = light.direct_sun_hours(MENDOZA, [SunWindow(0, 180)], day)
    west = light.direct_sun_hours(MENDOZA, [SunWindow(180, 0)], day)
    both = light.direct_sun_hours(MENDOZA, [SunWindow(0, 180), SunWindow(180, 0)], day)

    assert east + west == pytest.approx(both)
    assert east == pytest.approx(west, abs=0.2)


def test_south_of_the_tropics_the_noon_sun_comes_over_north() -> None:
    day = date(2024, 6, 21)

    assert light.direct_sun_hours(MENDOZA, [SunWindow(300, 60)], day) > 8
    assert light.direct_sun_hours(MENDOZA, [SunWindow(120, 240)], day) == 0


def test_midnight_sun_shines_through_a_north_window_at_night() -> None:
    day = date(2024, 6, 21)

    assert light.direct_sun_hours(TROMSO, None, day) == pytest.approx(24)
    # Within 30 degrees of north the sun of Tromso stands within about two hours of midnight.
    assert 3.5 < light.direct_sun_hours(TROMSO, [SunWindow(330, 30)], day) < 5


def test_polar_night_has_no_sun() -> None:
    assert light.direct_sun_hours(TROMSO, None, date(2024, 12, 21)) == 0
