"""Seasons: day length and warmth, wherever the site lies and whatever is missing."""

from datetime import date, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sillward_rules.arrays import Array
from sillward_rules.weather import season, sun
from sillward_rules.weather.season import Season
from sillward_rules.weather.site import Site
from tests.support.core import daily_curve, utc

repeatable = settings(deadline=None, derandomize=True)
few = settings(deadline=None, derandomize=True, max_examples=40)

HOUR = 3600
NOW = utc("2024-05-10T14:25").timestamp()
BEGINS = utc("2024-05-01T00:00").timestamp()
"""Nine days and more before NOW, at midnight."""

LONGITUDE = -68.85
LONDON = ZoneInfo("Europe/London")

dates = st.dates(date(2023, 1, 1), date(2026, 6, 30))


def _site(latitude: float, longitude: float = LONGITUDE, zone: str = "UTC") -> Site:
    return Site("anywhere", latitude, longitude, 0, ZoneInfo(zone))


def _hours(count: int) -> np.ndarray:
    return int(BEGINS) + HOUR * np.arange(count)


def _three_weeks(low: float = 8.0, high: float = 22.0) -> tuple[np.ndarray, Array]:
    return _hours(21 * 24), daily_curve(low, high, 21 * 24)


@few
@given(latitude=st.floats(0, 55), day=dates)
def test_half_a_year_later_the_other_hemisphere_has_the_same_day(
    latitude: float, day: date
) -> None:
    """To 20 minutes: the halves of the year differ by some days, as the orbit is no circle."""
    north = season.day_length_h(_site(latitude), day)

    south = season.day_length_h(_site(-latitude), day + timedelta(days=183))

    assert south == pytest.approx(north, abs=1 / 3)


@few
@given(latitude=st.floats(0, 55), day=dates)
def test_day_here_is_night_on_the_other_side_of_the_equator(latitude: float, day: date) -> None:
    """Up to what both gain from refraction and the sun's size: 13 minutes and more each day."""
    north = season.day_length_h(_site(latitude), day)
    south = season.day_length_h(_site(-latitude), day)

    assert 24 + 0.2 < north + south < 24 + 0.6


@few
@given(latitude=st.floats(-60, 60), day=dates, longitude=st.floats(-180, 180))
def test_day_length_hardly_depends_on_the_longitude(
    latitude: float, day: date, longitude: float
) -> None:
    """The sun's declination moves by at most 0.4 degrees while the Earth turns once."""
    here = season.day_length_h(_site(latitude, 0.0), day)

    there = season.day_length_h(_site(latitude, longitude), day)

    assert there == pytest.approx(here, abs=0.15)


@pytest.mark.parametrize(
    ("latitude", "longest", "shortest"),
    [
        (69.65, date(2024, 6, 21), date(2024, 12, 21)),
        (-77.85, date(2024, 12, 21), date(2024, 6, 21)),
    ],
)
def test_polar_days_are_whole_and_polar_nights_have_none(
    latitude: float, longest: date, shortest: date
) -> None:
    """Not the 18 and 6 hours of the stand-ins that the sun's events have there."""
    site = _site(latitude, 18.96)

    assert sun.day_events(site, longest).daylight is sun.Daylight.ALWAYS_UP
    assert season.day_length_h(site, longest) == 24
    assert sun.day_events(site, shortest).daylight is sun.Daylight.ALWAYS_DOWN
    assert season.day_length_h(site, shortest) == 0


def test_polar_days_lengthen_from_none_to_all() -> None:
    site = _site(69.65, 18.96, "Europe/Oslo")
    days = [date(2024, 1, 1) + timedelta(days=count) for count in range(172)]

    lengths = [season.day_length_h(site, day) for day in days]

    assert lengths[0] == 0
    assert lengths[-1] == 24
    assert np.all(np.diff(lengths) >= -0.02)


def test_clock_changes_do_not_move_the_day_length() -> None:
    site = Site("London", 51.5, -0.13, 0, LONDON)
    lengths = [season.day_length_h(site, date(2024, 3, 29) + timedelta(days=n)) for n in range(5)]

    steps = np.diff(lengths)

    assert np.all((steps > 0.05) & (steps < 0.08))


def test_mean_of_even_days_is_the_middle_of_their_curve() -> None:
    times, temp = _three_weeks(8.0, 22.0)

    assert float(season.running_mean_c(times, temp, NOW)) == pytest.approx(15.0)


def test_mean_is_of_the_days_around_now_only() -> None:
    times = _hours(21 * 24)
    near = (times > NOW - 7 * 24 * HOUR) & (times <= NOW + 7 * 24 * HOUR)
    temp = np.where(near, 12.0, 40.0)

    assert near.sum() == 14 * 24
    assert float(season.running_mean_c(times, temp, NOW)) == pytest.approx(12.0)


@pytest.mark.parametrize("now", [NOW, utc("2024-05-10T14:00").timestamp()])
def test_past_and_days_ahead_weigh_by_their_length(now: float) -> None:
    times = _hours(21 * 24)
    temp = np.where(times > now, 20.0, 10.0)

    mean = season.running_mean_c(times, temp, now, days_back=6, days_ahead=3)

    assert float(mean) == pytest.approx((6 * 10 + 3 * 20) / 9)


@repeatable
@given(
    begins=st.integers(0, 200), length=st.integers(0, 300), now_h=st.floats(0, 500), low=st.just(5)
)
def test_part_days_never_lean_the_mean_to_noon_or_night(
    begins: int, length: int, now_h: float, low: float
) -> None:
    """Whatever stretch of an even curve is known, and whenever it is asked: 15 degrees or none."""
    times = _hours(500)[begins : begins + length]
    temp = daily_curve(low, 25.0, 500)[begins : begins + length]

    mean = float(season.running_mean_c(times, temp, BEGINS + HOUR * now_h))

    assert np.isnan(mean) or mean == pytest.approx(15.0)


@repeatable
@given(holes=st.lists(st.integers(0, 21 * 24 - 1), max_size=60))
def test_holes_hardly_move_the_mean(holes: list[int]) -> None:
    """Bridging two hours of a curve of 14 K cuts its tips a little, nothing more."""
    times, temp = _three_weeks(8.0, 22.0)
    temp[holes] = np.nan

    mean = float(season.running_mean_c(times, temp, NOW))

    assert np.isnan(mean) or mean == pytest.approx(15.0, abs=0.2)


def test_two_missing_hours_cost_no_day_and_three_do() -> None:
    times, temp = _three_weeks()
    two, three = temp.copy(), temp.copy()
    two[5::24] = two[6::24] = np.nan
    three[5::24] = three[6::24] = three[7::24] = np.nan

    assert float(season.running_mean_c(times, two, NOW)) == pytest.approx(15.0, abs=0.2)
    assert np.isnan(season.running_mean_c(times, three, NOW))


def test_a_single_missing_hour_costs_no_day() -> None:
    """Three days with means of 11.5, 41.5 and 11.5; the hour is missing in the middle of them."""
    times = _hours(3 * 24)
    temp = np.tile(np.arange(24.0), 3)
    temp[24:48] += 30.0
    temp[30] = np.nan

    mean = season.running_mean_c(times, temp, times[-1] + 0.5 * HOUR, days_back=3, days_ahead=0)

    assert float(mean) == pytest.approx(21.5)


def test_hours_left_out_count_as_unknown_ones() -> None:
    times, temp = _three_weeks()
    temp[200:210] = 40.0
    unknown = temp.copy()
    unknown[200:210] = np.nan
    kept = np.isfinite(unknown)

    left_out = season.running_mean_c(times[kept], temp[kept], NOW)

    assert float(left_out) == float(season.running_mean_c(times, unknown, NOW))
    assert float(left_out) == pytest.approx(15.0)


def test_nights_that_nobody_knows_make_no_mean() -> None:
    """By day only, the plain mean of the known hours would read 18.6 °C and feed on."""
    times, temp = _three_weeks(8.0, 22.0)
    temp[temp < 14.0] = np.nan
    assert np.nanmean(temp) > 18
    assert np.isfinite(temp).sum() > 200

    assert np.isnan(season.running_mean_c(times, temp, NOW))


def test_a_day_with_a_long_gap_does_not_count() -> None:
    times, temp = _three_weeks()
    warm = (times > NOW + 24 * HOUR) & (times <= NOW + 48 * HOUR)
    temp[warm] += 10.0
    temp[np.flatnonzero(warm)[8:11]] = np.nan

    assert float(season.running_mean_c(times, temp, NOW)) == pytest.approx(15.0)


def test_the_days_ahead_stand_alone_where_the_past_is_unknown() -> None:
    times, temp = _three_weeks()
    ahead = times > NOW

    mean = season.running_mean_c(times[ahead], temp[ahead] + 3.0, NOW)

    assert float(mean) == pytest.approx(18.0)


@pytest.mark.parametrize(("known", "expected"), [(48, 15.0), (47, np.nan), (24, np.nan)])
def test_two_whole_days_are_the_least(known: int, expected: float) -> None:
    times, temp = _three_weeks()
    ahead = np.flatnonzero(times > NOW)[:known]

    mean = season.running_mean_c(times[ahead], temp[ahead], NOW)

    assert float(mean) == pytest.approx(expected, nan_ok=True)


def test_bridged_hours_are_not_known_ones() -> None:
    """Four days of every third hour are 32 known hours."""
    times, temp = _three_weeks()
    ahead = np.flatnonzero(times > NOW)[: 4 * 24 + 1 : 3]

    assert np.isnan(season.running_mean_c(times[ahead], temp[ahead], NOW))


def test_each_spot_has_its_own_mean() -> None:
    times, temp = _three_weeks()
    spots = np.stack([temp, temp + 4.0, np.full(temp.shape, np.nan)], axis=1)

    means = season.running_mean_c(times, spots, NOW)

    np.testing.assert_allclose(means, [15.0, 19.0, np.nan])


@pytest.mark.parametrize("shape", [(0,), (0, 2), (24, 0)])
def test_nothing_known_is_unknown_in_the_shape_of_the_spots(shape: tuple[int, ...]) -> None:
    means = season.running_mean_c(_hours(shape[0]), np.empty(shape), NOW)

    assert means.shape == shape[1:]
    assert np.isnan(means).all()


def test_series_of_another_length_than_the_times_is_refused() -> None:
    times, temp = _three_weeks()

    with pytest.raises(ValueError, match="another length"):
        season.running_mean_c(times, temp[1:], NOW)


@pytest.mark.parametrize(
    ("length_h", "mean_c", "expected"),
    [
        (14.0, 24.0, Season.GROWING),
        (11.0, 18.0, Season.GROWING),
        (10.9, 24.0, Season.SLOWING),
        (9.5, 24.0, Season.SLOWING),
        (14.0, 17.9, Season.SLOWING),
        (10.5, 13.0, Season.SLOWING),
        (10.4, 17.9, Season.REST),
        (10.4, 18.0, Season.SLOWING),
        (14.0, 12.9, Season.REST),
        (9.5, 8.0, Season.REST),
        (24.0, 20.0, Season.GROWING),
        (0.0, -20.0, Season.REST),
        (14.0, np.nan, Season.SLOWING),
        (9.5, np.nan, Season.SLOWING),
    ],
)
def test_season_by_the_rule(length_h: float, mean_c: float, expected: Season) -> None:
    assert season.season_of(length_h, mean_c).item() is expected


def test_seasons_of_many_spots_at_once() -> None:
    found = season.season_of(14.0, [24.0, 15.0, 9.0, np.nan])

    assert found.tolist() == [Season.GROWING, Season.SLOWING, Season.REST, Season.SLOWING]
    assert (found == Season.SLOWING).tolist() == [False, True, False, True]


@repeatable
@given(
    length_h=st.floats(0, 24),
    longer_h=st.floats(0, 12),
    mean_c=st.floats(-20, 40),
    warmer_k=st.floats(0, 20),
)
def test_longer_and_warmer_days_never_lead_toward_rest(
    length_h: float, longer_h: float, mean_c: float, warmer_k: float
) -> None:
    order = [Season.REST, Season.SLOWING, Season.GROWING]
    before = season.season_of(length_h, mean_c).item()

    after = season.season_of(length_h + longer_h, mean_c + warmer_k).item()

    assert order.index(after) >= order.index(before)


@pytest.mark.parametrize("latitude", [-32.89, 32.89])
def test_one_round_of_seasons_a_year_in_both_hemispheres(latitude: float) -> None:
    """A year of 15 +- 9 degrees, warmest a month after the longest day: no month is named."""
    site = _site(latitude)
    days = [date(2023, 1, 1) + timedelta(days=count) for count in range(2 * 365)]
    lengths = np.array([season.day_length_h(site, day) for day in days])
    warmth = 15.0 + 9.0 * np.roll(_scaled(lengths), 30)

    seasons = season.season_of(lengths, warmth)[200:565]

    at_longest = seasons[np.argmax(lengths[200:565])]
    at_shortest = seasons[np.argmin(lengths[200:565])]
    assert at_longest is Season.GROWING
    assert at_shortest is Season.REST
    changes = sum(a is not b for a, b in zip(seasons, np.roll(seasons, 1), strict=True))
    assert changes == 4, "growing, slowing, rest, slowing"


def test_warm_days_near_the_equator_are_growing_all_year() -> None:
    lengths = [season.day_length_h(_site(-17.0), date(2024, month, 21)) for month in range(1, 13)]

    assert set(season.season_of(lengths, 24.0)) == {Season.GROWING}


def _scaled(lengths: Array) -> Array:
    """From -1 on the shortest day to 1 on the longest."""
    middle = (lengths.max() + lengths.min()) / 2
    return np.asarray((lengths - middle) / (lengths.max() - middle))


def test_how_moist_pots_are_kept_follows_the_season_and_stops_in_a_dry_rest() -> None:
    every = np.array(list(Season), dtype=np.object_)

    moist = season.kept_moist(every, rests_dry=False)
    dry = season.kept_moist(every, rests_dry=True)

    assert moist.tolist() == [1.0, 0.75, 0.5]
    assert dry.tolist() == [1.0, 0.75, 0.0]
    assert season.kept_moist(every[2:], [True, False]).tolist() == [0.0, 0.5]
