"""Since when a sensor is quiet: by its own habit, and never within an hour."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from sillward_rules.readings.hourly_readings import HourlyReadings, by_the_hour
from sillward_rules.readings.silence import quiet_since, usual_interval

START = datetime(2026, 5, 1, tzinfo=UTC)
MINUTE, HOUR = timedelta(minutes=1), timedelta(hours=1)


def shown(*at: timedelta) -> HourlyReadings:
    """Readings at these times after the start."""
    times = np.array([int((START + each).timestamp()) for each in at], np.int64)
    return by_the_hour(times, np.linspace(10.0, 12.0, times.size))


def every(interval: timedelta, days: float = 2.0) -> list[timedelta]:
    return [interval * number for number in range(int(timedelta(days=days) / interval))]


@pytest.mark.parametrize(
    ("interval", "silent"),
    [
        (MINUTE, HOUR),
        (10 * MINUTE, HOUR),
        (30 * MINUTE, 1.5 * HOUR),
        (HOUR, 3 * HOUR),
        (6 * HOUR, 18 * HOUR),
    ],
)
def test_a_sensor_is_quiet_after_three_times_its_interval_and_an_hour_at_least(
    interval: timedelta, silent: timedelta
) -> None:
    times = every(interval)
    hours, last = shown(*times), START + times[-1]

    assert usual_interval(hours) == interval
    assert quiet_since(hours, last + silent) is None
    assert quiet_since(hours, last + silent + MINUTE) == last


def test_a_device_that_sends_only_what_changes_may_be_silent_as_long_as_every_night() -> None:
    days = [timedelta(days=day) + 3 * MINUTE * number for day in range(7) for number in range(320)]
    hours, last = shown(*days), START + days[-1]  # from 0:00 to 16:00, then silent for 8 h

    assert quiet_since(hours, last + 20 * HOUR) is None
    assert quiet_since(hours, last + 25 * HOUR) == last


def test_one_outage_is_no_habit() -> None:
    before = every(5 * MINUTE, days=7)
    after = [before[-1] + timedelta(days=2) + each for each in before]
    hours, last = shown(*before, *after), START + after[-1]

    assert usual_interval(hours) == 5 * MINUTE
    assert quiet_since(hours, last + 2 * HOUR) == last


def test_of_one_reading_or_none_no_habit_is_known() -> None:
    assert quiet_since(shown(), START) is None
    assert quiet_since(shown(MINUTE), START + timedelta(days=30)) is None
    assert quiet_since(shown(MINUTE, 3 * MINUTE), START + HOUR) is None
    assert quiet_since(shown(MINUTE, 3 * MINUTE), START + 2 * HOUR) == START + 3 * MINUTE
