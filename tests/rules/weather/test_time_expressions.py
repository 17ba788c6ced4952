"""Times as a grower writes them."""

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from sillward_rules.weather import sun
from sillward_rules.weather.site import Site
from sillward_rules.weather.time_expressions import (
    parse_duration,
    parse_hours,
    parse_moment,
    parse_weekly,
)
from tests.support.core import MENDOZA, utc

BERLIN = Site("Yard", 52.5, 13.4, 40, ZoneInfo("Europe/Berlin"))


@pytest.mark.parametrize(
    ("text", "minutes"),
    [("45 min", 45), ("2 h", 120), ("1h30min", 90), ("1.5h", 90), (" 0 min ", 0), ("7 d", 10080)],
)
def test_durations(text: str, minutes: float) -> None:
    assert parse_duration(text) == timedelta(minutes=minutes)


@pytest.mark.parametrize("text", ["", "soon", "5", "min", "-3 h", "d", "2 h 3"])
def test_what_is_no_duration(text: str) -> None:
    with pytest.raises(ValueError, match="is not a duration"):
        parse_duration(text)


def test_clock_and_sun_moments() -> None:
    day = date(2026, 5, 14)
    events = sun.day_events(MENDOZA, day)

    assert parse_moment("17:30").on(MENDOZA, day) == utc("2026-05-14T20:30")
    assert parse_moment("sunset-90min").on(MENDOZA, day) == events.sunset - timedelta(minutes=90)
    assert parse_moment("sunrise + 1h").on(MENDOZA, day) == events.sunrise + timedelta(hours=1)


@pytest.mark.parametrize("text", ["24:00", "7", "noon", "sunset*2", "sunset-13h", "sunset-"])
def test_what_is_no_moment(text: str) -> None:
    with pytest.raises(ValueError, match=r"is not a (time of day|duration)"):
        parse_moment(text)


def test_weekly_moment() -> None:
    weekly = parse_weekly("sun 18:00")

    assert (weekly.weekday, weekly.moment.clock) == (6, time(18))
    for wrong in ("18:00", "someday 18:00", "sun"):
        with pytest.raises(ValueError, match="is not a time of the week"):
            parse_weekly(wrong)


def test_skipped_and_doubled_clock_times_are_each_one_moment() -> None:
    # Berlin 2026: 02:30 is skipped on 29 March and shown twice on 25 October.
    assert BERLIN.at_clock(date(2026, 3, 29), time(2, 30)) == utc("2026-03-29T01:30")
    assert BERLIN.at_clock(date(2026, 10, 25), time(2, 30)) == utc("2026-10-25T00:30")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("10:00-12:00", [13, 14, 15]),
        ("22:00-01:00", [1, 2, 3, 4]),
        ("any", list(range(24))),
    ],
)
def test_hours_of_a_day_over_midnight_too(text: str, expected: list[int]) -> None:
    start = int(utc("2026-05-14T00:00").timestamp())
    times = start + 3600 * np.arange(24)

    mask = parse_hours(text).mask(MENDOZA, times, sun.is_night(MENDOZA, times))

    assert list(np.flatnonzero(mask)) == expected


def test_day_and_night_are_the_suns() -> None:
    times = int(utc("2026-05-14T00:00").timestamp()) + 3600 * np.arange(48)
    night = sun.is_night(MENDOZA, times)

    assert np.array_equal(parse_hours("night").mask(MENDOZA, times, night), night)
    assert np.array_equal(parse_hours("day").mask(MENDOZA, times, night), ~night)
    inner = parse_hours("sunrise+1h to sunset-1h").mask(MENDOZA, times, night)
    assert inner.sum() < (~night).sum()
    assert not (inner & night).any()


def test_naive_times_are_refused() -> None:
    with pytest.raises(ValueError, match="has no zone"):
        MENDOZA.local_date(datetime(2026, 5, 14))  # noqa: DTZ001
