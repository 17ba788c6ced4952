"""The low of a night at a spot: which readings make one, and which do not."""

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from sillward_rules.arrays import Array
from sillward_rules.readings.hourly_readings import HourlyReadings, by_the_hour
from sillward_rules.readings.night_lows import (
    AT_DAWN,
    BY_HAND,
    MAX_GAP,
    NightLow,
    low_by_hand,
    low_so_far,
    lows_at_spot,
    lows_of_sensor,
    one_for_each_night,
)
from sillward_rules.weather import sun
from tests.support.core import MENDOZA

NIGHT = sun.night_of(MENDOZA, date(2026, 7, 14))
"""22:02 to 11:30 UTC."""


def minutes(start: datetime, end: datetime, step: int = 10) -> np.ndarray:
    return np.arange(int(start.timestamp()), int(end.timestamp()), step * 60)


def cooling(times: np.ndarray) -> Array:
    """A night that is coldest, with 3 °C, at sunrise."""
    hours = (times - NIGHT.end.timestamp()) / 3600
    return np.asarray(3.0 + np.where(hours < 0, -0.5 * hours, 4.0 * hours))


def read(times: np.ndarray) -> HourlyReadings:
    return by_the_hour(times, cooling(times))


WHOLE = minutes(NIGHT.start - timedelta(hours=3), NIGHT.cold_until)


def test_the_low_of_a_night_is_found_with_its_time() -> None:
    (low,) = lows_of_sensor(MENDOZA, read(WHOLE), "logger")

    assert (low.night, low.sensor) == (NIGHT.day, "logger")
    assert low.low_c == pytest.approx(3.0, abs=0.1)
    assert low.at is not None
    assert abs(low.at - NIGHT.end) <= timedelta(minutes=10)


def test_a_night_that_is_not_over_has_no_low_yet() -> None:
    hours = read(WHOLE[NIGHT.end.timestamp() - 7200 > WHOLE])

    assert lows_of_sensor(MENDOZA, hours, "logger") == []
    low = low_so_far(hours, NIGHT, NIGHT.end)
    assert low is not None
    assert low[0] == pytest.approx(4.0, abs=0.1)


@pytest.mark.parametrize(
    ("more", "count"), [(timedelta(seconds=-9), 1), (timedelta(minutes=20), 0)]
)
@pytest.mark.parametrize("begins_h", [-1.0, 2.0, 11.5])
def test_a_night_with_a_long_gap_has_no_low(more: timedelta, count: int, begins_h: float) -> None:
    """Readings every ten minutes; the gap may lie at sunset, within the night, or at sunrise."""
    gap = MAX_GAP + more
    start = NIGHT.start + timedelta(hours=begins_h)
    if begins_h < 0:
        start = NIGHT.start
    if begins_h > 10:
        start = NIGHT.end - gap
    begins, ends = start.timestamp(), (start + gap).timestamp()
    times = np.append(WHOLE, [int(begins), int(ends)])
    times = np.sort(times[(times <= begins) | (times >= ends)])
    if begins_h < 0:  # what came before sunset does not count
        times = times[times >= ends]

    assert len(lows_of_sensor(MENDOZA, read(times), "logger")) == count


def test_one_reading_an_hour_suffices() -> None:
    assert len(lows_of_sensor(MENDOZA, read(WHOLE[::6]), "logger")) == 1


def test_the_sun_on_the_sensor_does_not_matter() -> None:
    values = cooling(WHOLE) + 10.0 * (NIGHT.end.timestamp() < WHOLE)

    (low,) = lows_of_sensor(MENDOZA, by_the_hour(WHOLE, values), "logger")

    assert low.low_c == pytest.approx(3.0, abs=0.1)


def test_a_minimum_thermometer_gives_the_low_of_its_night() -> None:
    at = NIGHT.end + timedelta(hours=3)

    assert low_by_hand(MENDOZA, at, 2.7, NIGHT.day) == NightLow(NIGHT.day, 2.7, None, BY_HAND)


@pytest.mark.parametrize(
    ("from_sunrise", "counts"),
    [
        (-AT_DAWN[0], True),
        (-AT_DAWN[0] - timedelta(minutes=1), False),
        (AT_DAWN[1], True),
        (AT_DAWN[1] + timedelta(minutes=1), False),
        (timedelta(hours=-9), False),
        (timedelta(hours=7), False),
    ],
)
def test_a_single_reading_is_the_low_at_dawn_only(from_sunrise: timedelta, counts: bool) -> None:
    at = NIGHT.end + from_sunrise
    expected = NightLow(NIGHT.day, 3.1, at, BY_HAND) if counts else None

    assert low_by_hand(MENDOZA, at, 3.1, None) == expected


def low(day: int, low_c: float, sensor: str) -> NightLow:
    return NightLow(date(2026, 7, day), low_c, None, sensor)


def test_of_two_sensors_that_with_the_most_nights_counts() -> None:
    lows = [low(1, 3.0, "old"), low(2, 3.0, "old"), low(2, 5.0, "new"), low(3, 5.0, "new")]
    lows += [low(4, 5.0, "new")]

    found = one_for_each_night(lows)

    assert [(each.night.day, each.sensor) for each in found] == [
        (1, "old"),
        (2, "new"),
        (3, "new"),
        (4, "new"),
    ]


def test_what_was_read_twice_by_hand_is_the_lower() -> None:
    assert one_for_each_night([low(1, 3.0, BY_HAND), low(1, 2.0, BY_HAND)]) == [
        low(1, 2.0, BY_HAND)
    ]


def test_sensors_and_hand_go_together() -> None:
    dawn = datetime(2026, 7, 20, 11, 20, tzinfo=UTC)
    found = lows_at_spot(MENDOZA, {"logger": read(WHOLE)}, [(dawn, 1.5, None)])

    assert [(each.night, each.sensor) for each in found] == [
        (NIGHT.day, "logger"),
        (date(2026, 7, 19), BY_HAND),
    ]
