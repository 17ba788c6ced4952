"""Weather joined, held against another, and asked for what it lacks."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sillward_rules.arrays import HOUR_S
from sillward_rules.remark import Plain
from sillward_rules.weather.hourly import (
    MAX_PAST_H,
    MIN_SHARED_H,
    SERIES,
    Gap,
    Weather,
    at_hours,
    gaps,
    hours_within,
    moment,
    no_weather,
    same_forecast,
    with_past,
)
from sillward_rules.weather.uncertainty import Spread
from tests.support.core import utc, weather

repeatable = settings(deadline=None, derandomize=True)

START = utc("2026-05-13T00:00")
HOUR = timedelta(hours=1)
NOTHING = no_weather("test", START, 0)


@pytest.mark.parametrize(
    ("minutes", "reaches"),
    [(-61, False), (-60, True), (-1, True), (0, True), (120, True), (121, False)],
)
def test_a_forecast_may_begin_with_the_next_full_hour(minutes: int, reaches: bool) -> None:
    three_hours = forecast(0, 3)

    assert three_hours.reaches(START + timedelta(minutes=minutes)) is reaches
    assert not forecast(0, 0).reaches(START + timedelta(minutes=minutes))


def forecast(first_h: int, hours: int, level: float = 10.0) -> Weather:
    """Hours from `first_h` after START on; every series differs from every other."""
    values = level + np.arange(hours) / 10
    series = {name: values + 100 * place for place, name in enumerate(SERIES)}
    return weather(START + first_h * HOUR, series.pop("temp_c"), **series)


def empty() -> Weather:
    return forecast(0, 0)


def without(of: Weather, name: str, *rows: int) -> Weather:
    values = getattr(of, name).copy()
    values[list(rows)] = np.nan
    return replace(of, **{name: values})


def same(one: Weather, other: Weather) -> bool:
    return np.array_equal(one.times, other.times) and all(
        np.array_equal(getattr(one, name), getattr(other, name), equal_nan=True) for name in SERIES
    )


# -- full hours


@pytest.mark.parametrize(
    ("start", "end", "expected"),
    [
        ("2026-05-13T05:00:00", "2026-05-13T07:00:00", [5, 6, 7]),
        ("2026-05-13T05:00:01", "2026-05-13T06:59:59.9", [6]),
        ("2026-05-13T05:10:00", "2026-05-13T05:50:00", []),
        ("2026-05-13T07:00:00", "2026-05-13T05:00:00", []),
    ],
)
def test_full_hours_within(start: str, end: str, expected: list[int]) -> None:
    found = (hours_within(utc(start), utc(end)) - START.timestamp()) / HOUR_S

    assert found.tolist() == expected


def test_a_series_is_unknown_outside_its_times() -> None:
    of = forecast(3, 2)
    hours = hours_within(START + 2 * HOUR, START + 5 * HOUR)

    np.testing.assert_equal(at_hours(of.times, of.temp_c, hours), [np.nan, 10.0, 10.1, np.nan])
    assert np.isnan(at_hours(empty().times, empty().temp_c, hours)).all()


# -- the past


def test_the_hours_before_come_from_the_earlier_forecast() -> None:
    now, before = forecast(24, 48), forecast(0, 30, level=50.0)

    joined = with_past(now, before)

    assert joined.times.tolist() == [*before.times[:24], *now.times]
    for name in SERIES:
        expected = [*getattr(before, name)[:24], *getattr(now, name)]
        assert getattr(joined, name).tolist() == expected, name
    assert (joined.source, joined.fetched_at) == (now.source, now.fetched_at)


def test_hours_between_the_two_stay_unknown() -> None:
    joined = with_past(forecast(24, 24), forecast(0, 20))

    for name in SERIES:
        unknown = np.flatnonzero(np.isnan(getattr(joined, name)))
        assert unknown.tolist() == [20, 21, 22, 23], name


def test_an_unknown_hour_is_not_filled_from_the_earlier_forecast() -> None:
    joined = with_past(without(forecast(24, 24), "temp_c", 0, 5), forecast(0, 48))

    assert np.flatnonzero(np.isnan(joined.temp_c)).tolist() == [24, 29]


def test_of_the_past_the_spread_is_unknown() -> None:
    later = forecast(24, 24)
    members = Spread(np.arange(48.0).reshape(2, 24), np.full(24, 1.5), "two members")

    spread = with_past(replace(later, spread=members), forecast(0, 30)).spread

    assert spread is not None
    assert np.isnan(spread.deviations[:, :24]).all()
    assert np.isnan(spread.error_k[:24]).all()
    assert spread.deviations[:, 24:].tolist() == members.deviations.tolist()
    assert spread.error_k[24:].tolist() == members.error_k.tolist()
    assert spread.origin == members.origin


def test_no_more_of_the_past_is_taken_than_eight_days() -> None:
    later = forecast(300, 24)

    joined = with_past(later, forecast(0, 301))
    too_old = forecast(0, 300 - MAX_PAST_H)
    last_hour = forecast(0, 301 - MAX_PAST_H)

    assert MAX_PAST_H == 192
    assert joined.times[0] == later.times[0] - MAX_PAST_H * HOUR_S
    assert joined.temp_c[0] == forecast(0, 301).temp_c[300 - MAX_PAST_H]
    assert with_past(later, too_old) is later
    assert np.isfinite(with_past(later, last_hour).temp_c).sum() == 24 + 1


@pytest.mark.parametrize(
    "earlier", [forecast(24, 48), forecast(30, 10), forecast(400, 10), empty()]
)
def test_a_forecast_that_has_nothing_before_adds_nothing(earlier: Weather) -> None:
    later = forecast(24, 48)

    assert with_past(later, earlier) is later


def test_a_forecast_of_no_hours_stays_so() -> None:
    nothing = empty()

    assert with_past(nothing, forecast(0, 24)) is nothing


@repeatable
@given(first=st.integers(-250, 60), hours=st.integers(0, 300))
def test_joining_changes_nothing_and_joining_again_adds_nothing(first: int, hours: int) -> None:
    later = without(forecast(24, 30), "cloud", 3, 4)

    joined = with_past(later, forecast(first, hours, level=70.0))

    added = joined.times.size - 30
    assert 0 <= added <= MAX_PAST_H
    assert (added == 0) == (joined is later)
    rest = replace(
        joined,
        times=joined.times[added:],
        spread=later.spread,
        **{name: getattr(joined, name)[added:] for name in SERIES},
    )
    assert same(rest, later)
    assert (
        same(with_past(joined, forecast(first, hours, level=70.0)), joined) or added == MAX_PAST_H
    )


# -- gaps


def test_runs_of_missing_hours_by_time_then_by_series() -> None:
    of = without(forecast(0, 24), "temp_c", 10, 11, 12, 20)
    of = without(of, "gust_m_s", 4)
    of = without(of, "dew_point_c", 10, 11)

    found = gaps(of, START, START + 23 * HOUR)

    assert found == [
        Gap("gusts", START + 4 * HOUR, START + 4 * HOUR, 1),
        Gap("temperature", START + 10 * HOUR, START + 12 * HOUR, 3),
        Gap("dew point", START + 10 * HOUR, START + 11 * HOUR, 2),
        Gap("temperature", START + 20 * HOUR, START + 20 * HOUR, 1),
    ]


def test_only_what_is_missing_between_the_two_moments_is_told() -> None:
    of = without(forecast(0, 24), "rain_mm", *range(5, 15))

    found = gaps(of, START + timedelta(hours=7, minutes=20), START + timedelta(hours=9, minutes=5))

    assert found == [Gap("rain", START + 8 * HOUR, START + 9 * HOUR, 2)]


def test_a_series_that_is_not_given_at_all_is_one_gap_and_hail_is_none() -> None:
    of = without(forecast(0, 24), "direct_w_m2", *range(24))
    of = without(of, "hail_pct", *range(24))

    assert gaps(of, START, START + 23 * HOUR) == [
        Gap("direct sun", START, START + 23 * HOUR, 24),
    ]


def test_hours_that_the_forecast_does_not_reach_are_missing_in_every_series() -> None:
    found = gaps(forecast(0, 24), START + 20 * HOUR, START + 26 * HOUR)

    assert [gap.series for gap in found] == [
        "temperature",
        "dew point",
        "wind",
        "gusts",
        "cloud",
        "rain",
        "direct sun",
        "diffuse light",
    ]
    assert {(gap.first, gap.last, gap.hours) for gap in found} == {
        (START + 24 * HOUR, START + 26 * HOUR, 3)
    }


def test_there_is_no_gap_in_what_is_known_nor_in_no_time() -> None:
    assert gaps(forecast(0, 24), START, START + 23 * HOUR) == []
    assert gaps(NOTHING, START + timedelta(minutes=1), START + timedelta(minutes=59)) == []
    assert gaps(NOTHING, START + HOUR, START) == []


@repeatable
@given(missing=st.lists(st.integers(0, 29), max_size=30), first=st.integers(-3, 32))
def test_gaps_hold_exactly_the_missing_hours(missing: list[int], first: int) -> None:
    of = without(forecast(0, 30), "wind_m_s", *missing)

    found = gaps(of, START + first * HOUR, START + 35 * HOUR)

    told = [
        gap.first + count * HOUR
        for gap in found
        if gap.series == "wind"
        for count in range(gap.hours)
    ]
    hours = {*missing, -3, -2, -1, *range(30, 36)}
    assert told == [START + hour * HOUR for hour in sorted(hours) if hour >= first]
    assert all(gap.last - gap.first == (gap.hours - 1) * HOUR for gap in found)


# -- the same forecast


def test_a_forecast_fetched_anew_is_the_same() -> None:
    one = without(forecast(0, 72), "cloud", 40)
    again = replace(one, fetched_at=START + 6 * HOUR, remarks=(Plain("fetched again"),))

    assert same_forecast(one, again, START + 6 * HOUR)


@pytest.mark.parametrize("name", ["temp_c", "dew_point_c", "wind_m_s", "cloud"])
def test_a_changed_hour_ahead_makes_it_another(name: str) -> None:
    one = forecast(0, 72)
    values = getattr(one, name).copy()
    values[50] += 0.1

    other = replace(one, **{name: values})

    assert not same_forecast(one, other, START + 19 * HOUR)
    assert not same_forecast(one, without(one, name, 50), START)


def test_what_changed_up_to_now_or_in_other_series_does_not_count() -> None:
    one = forecast(0, 72)
    revised = without(one, "temp_c", *range(11))
    others = without(without(one, "rain_mm", 50), "hail_pct", 50)

    assert same_forecast(one, revised, moment(one.times[10]))
    assert not same_forecast(one, revised, moment(one.times[10] - 1))
    assert same_forecast(one, others, START)


def test_only_hours_that_both_reach_are_compared() -> None:
    long = forecast(0, 96)
    later = weather(START + 24 * HOUR, long.temp_c[24:60])
    series = {name: getattr(long, name)[24:60] for name in SERIES}
    later = replace(later, **series)

    assert same_forecast(long, later, START)
    assert same_forecast(later, long, START)


def test_a_day_must_be_shared_for_two_to_be_the_same() -> None:
    one = forecast(0, 48)

    assert same_forecast(one, one, moment(one.times[-1 - MIN_SHARED_H]))
    assert not same_forecast(one, one, moment(one.times[-MIN_SHARED_H]))
    assert not same_forecast(one, forecast(100, 48), START)
    assert not same_forecast(one, empty(), START)
