"""Which readings can be used: what is set aside is wrong, and what is right is not."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from sillward_rules.arrays import Array
from sillward_rules.readings import quality
from sillward_rules.readings.hourly_readings import HourlyReadings, Quantity, by_the_hour
from sillward_rules.readings.quality import (
    Reason,
    Sifted,
    in_the_sun,
    sift,
    stuck,
    twins,
)
from sillward_rules.weather.site import Site

MENDOZA = Site("Courtyard", -32.89, -68.85, 780.0, ZoneInfo("America/Argentina/Mendoza"))
MIDNIGHT = datetime(2026, 5, 14, 3, tzinfo=UTC)  # at the site
START = int(MIDNIGHT.timestamp())
NOW = MIDNIGHT + timedelta(days=30)


def sifted(
    values: list[float],
    every_min: float = 1.0,
    quantity: Quantity = Quantity.TEMPERATURE,
    now: datetime = NOW,
) -> Sifted:
    times = START + np.arange(len(values)) * int(every_min * 60)
    return sift(times, np.array(values), quantity, now)


def rows(result: Sifted, reason: Reason) -> list[int]:
    return np.flatnonzero(result.set_aside.get(reason, np.zeros(0, bool))).tolist()


def test_what_cannot_be_is_set_aside() -> None:
    result = sifted([12.0, 85.0, -41.0, 12.1, np.nan, np.inf, -127.0, 1e308, -40.0], 20)

    assert rows(result, Reason.IMPOSSIBLE) == [1, 2, 5, 6, 7]
    assert np.flatnonzero(result.kept).tolist() == [0, 3, 8]


def test_humidity_has_bounds_of_its_own_and_may_jump() -> None:
    result = sifted([40.0, 100.0, 0.0, 100.1, -0.1], quantity=Quantity.HUMIDITY)

    assert rows(result, Reason.IMPOSSIBLE) == [3, 4]
    assert result.kept.tolist() == [True, True, True, False, False]


def test_a_clock_may_be_ahead_by_some_minutes() -> None:
    result = sifted([12.0] * 10, now=MIDNIGHT + timedelta(minutes=2))

    assert rows(result, Reason.CLOCK_AHEAD) == [8, 9]  # 6 and 7 minutes


def test_a_spike_is_set_aside_and_what_is_around_it_stays() -> None:
    result = sifted([12.0, 12.1, 31.0, 31.2, 12.1, 12.0, 12.2])

    assert rows(result, Reason.JUMP) == [2, 3]
    assert result.kept.sum() == 5
    assert not result.undecided.any()


def test_a_step_that_lasts_is_believed() -> None:
    result = sifted([12.0, 12.1, *[25.0] * 11, 24.9, 25.2])

    assert result.kept.all()


def test_a_short_spell_between_two_spikes_is_near_what_is_believed() -> None:
    result = sifted([*[12.0] * 15, 40.0, 12.2, 12.1, -20.0, *[12.0] * 15])

    assert rows(result, Reason.JUMP) == [15, 18]


def test_a_jump_at_the_end_is_not_decided() -> None:
    result = sifted([12.0, 12.1, 25.0, 25.1])

    assert np.flatnonzero(result.undecided).tolist() == [2, 3]
    assert np.flatnonzero(result.kept).tolist() == [0, 1]
    assert rows(result, Reason.JUMP) == []


def test_hours_apart_nothing_is_a_jump() -> None:
    assert sifted([12.0, 25.0, 12.0, 26.0], 60).kept.all()
    assert rows(sifted([12.0, 25.0, 12.0, 12.0], 10), Reason.JUMP) == [1]


@given(
    arrays.arrays(np.float64, st.integers(0, 40), elements=st.floats(allow_nan=True)),
    st.sampled_from(Quantity),
)
def test_every_reading_is_kept_set_aside_or_undecided(values: Array, quantity: Quantity) -> None:
    times = START + np.arange(values.size) * 60
    result = sift(times, values, quantity, MIDNIGHT + timedelta(minutes=20))

    found = [result.kept, result.undecided, *result.set_aside.values()]
    np.testing.assert_array_equal(np.sum(found, axis=0), ~np.isnan(values))


# -- by the hour


def hourly(values: list[float], start: int = START, spread: float = 0.0) -> HourlyReadings:
    """Four readings an hour, each hour around its value."""
    around = np.array([-spread, spread, 0.0, spread / 2])
    times = start + np.arange(len(values) * 4) * 900
    return by_the_hour(times, (np.array(values)[:, None] + around).reshape(-1))


def forecast(values: list[float]) -> tuple[np.ndarray, Array]:
    return START + np.arange(len(values)) * 3600, np.array(values)


def test_a_value_is_stuck_only_if_the_weather_moves() -> None:
    hours = hourly([9.0, *[12.0] * 8, 9.0])

    falling = forecast([20.0 - hour for hour in range(10)])
    assert stuck(hours, *falling).tolist() == [False, *[True] * 8, False]
    assert not stuck(hours, *forecast([12.0 - 0.1 * hour for hour in range(10)])).any()
    assert not stuck(hours, *forecast([np.nan] * 10)).any()
    assert not stuck(hourly([12.0] * 6), *falling).any()  # 5 h 45 min
    assert not stuck(hourly([12.0] * 8, spread=0.1), *falling).any()


def test_a_gap_ends_what_is_stuck() -> None:
    hours = hourly([12.0] * 9)
    without = hours.at(np.arange(9) != 4)

    assert not stuck(without, *forecast([20.0 - hour for hour in range(10)])).any()


def test_sun_is_looked_for_by_day_alone() -> None:
    told = [10.0] * 24  # sun up from about 8:15 to 18:35
    result = in_the_sun(MENDOZA, hourly([18.5] * 23), *forecast(told))

    assert np.flatnonzero(result).tolist() == list(range(9, 18))
    assert not in_the_sun(MENDOZA, hourly([17.9] * 23), *forecast(told)).any()
    assert not in_the_sun(MENDOZA, hourly([40.0] * 23), *forecast([np.nan] * 24)).any()


def test_a_twin_shows_the_same_for_a_day() -> None:
    course = [10.0 + 5.0 * np.sin(hour / 4) for hour in range(40)]
    hours = hourly(course, spread=0.2)

    same = twins(hours, hourly(course[:30], spread=0.2))
    assert np.flatnonzero(same).tolist() == list(range(30))
    assert not twins(hours, hourly(course[:23], spread=0.2)).any()
    assert not twins(hours, hourly([value + 0.01 for value in course], spread=0.2)).any()
    assert not twins(hours, hourly(course, START + 3600, 0.2)).any()


def test_two_rooms_that_keep_an_even_temperature_are_no_twins() -> None:
    assert not twins(hourly([20.0] * 48), hourly([20.0] * 48)).any()


def test_whole_degrees_that_agree_for_a_day_are_no_evidence() -> None:
    course = [20.0, 20.0, 21.0, 22.0, 22.0, 21.0] * 8
    assert not twins(hourly(course), hourly(course)).any()


@pytest.mark.parametrize("count", [0, 1])
def test_few_hours_are_no_evidence(count: int) -> None:
    hours = hourly([12.0] * count)

    assert not stuck(hours, *forecast([])).any()
    assert not in_the_sun(MENDOZA, hours, *forecast([])).any()
    assert not twins(hours, hours).any()


@given(st.lists(st.tuples(st.booleans(), st.booleans()), max_size=30))
def test_runs_are_those_of_a_plain_loop(rows: list[tuple[bool, bool]]) -> None:
    found, first = [], None
    for row, (continues, holds) in enumerate(rows):
        if first is not None and not (continues and holds):
            found.append((first, row))
            first = None
        if first is None and holds:
            first = row
    if first is not None:
        found.append((first, len(rows)))

    masks = [np.array([pair[part] for pair in rows], bool) for part in (0, 1)]
    assert list(quality._runs(*masks)) == found


def test_a_value_that_begins_in_the_middle_of_an_hour_is_stuck_from_the_next_on() -> None:
    hours = hourly([9.0, *[12.0] * 9])
    first = hourly([12.0], spread=0.2)
    mixed = hours.at(slice(1, None)).after(first)

    told = forecast([20.0 - hour for hour in range(10)])
    assert stuck(mixed, *told).tolist() == [False, *[True] * 9]
