"""Readings by the hour: what is kept of them, and that nothing counts twice."""

from dataclasses import fields

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sillward_rules.readings.hourly_readings import HourlyReadings, by_the_hour, joined

START = 1_780_000_000 // 3600 * 3600


def same(one: HourlyReadings, other: HourlyReadings) -> None:
    for each in fields(HourlyReadings):
        np.testing.assert_allclose(
            getattr(one, each.name), getattr(other, each.name), err_msg=each.name, rtol=1e-12
        )


def some(seconds: list[int], values: list[float]) -> HourlyReadings:
    return by_the_hour(np.array(seconds, np.int64) + START, np.array(values, np.float64))


def test_the_hours_are_those_of_pandas() -> None:
    rng = np.random.default_rng(1)
    times = START + rng.choice(40 * 3600, 500, replace=False)
    values = rng.normal(10.0, 5.0, 500).round(1)

    hours = by_the_hour(times, values)

    series = pd.Series(values, index=times).sort_index()
    grouped = series.groupby(series.index // 3600 * 3600)
    np.testing.assert_array_equal(hours.hour, list(grouped.groups))
    np.testing.assert_allclose(hours.low, grouped.min())
    np.testing.assert_allclose(hours.high, grouped.max())
    np.testing.assert_allclose(hours.mean, grouped.mean())
    np.testing.assert_allclose(hours.last, grouped.last())
    np.testing.assert_array_equal(hours.low_at, grouped.idxmin())
    np.testing.assert_array_equal(hours.first_at, grouped.apply(lambda part: part.index[0]))
    np.testing.assert_array_equal(hours.last_at, grouped.apply(lambda part: part.index[-1]))
    np.testing.assert_array_equal(hours.count, grouped.size())


def test_unknown_values_and_the_same_second_twice_do_not_count() -> None:
    hours = some([5, 5, 9], [11.0, 12.0, np.nan])

    assert (hours.count[0], hours.mean[0]) == (1, 11.0)
    assert len(some([1], [np.nan])) == 0


def test_what_follows_in_the_same_hour_is_put_together() -> None:
    one, other = some([0, 600], [12.0, 10.0]), some([1200, 1800], [10.0, 14.0])

    same(joined(one, other), some([0, 600, 1200, 1800], [12.0, 10.0, 10.0, 14.0]))
    same(joined(other, one), some([0, 600, 1200, 1800], [12.0, 10.0, 10.0, 14.0]))


def test_where_times_overlap_those_that_are_more_count() -> None:
    few, many = some([0, 1800], [12.0, 10.0]), some([0, 900, 1800], [12.0, 11.0, 10.0])

    same(joined(few, many), many)
    same(joined(many, few), many)


def test_no_low_is_lost_where_times_overlap() -> None:
    known, coming = some([0, 600, 1200], [10.0, 4.0, 10.0]), some([300, 900, 1500, 1800], [9.0] * 4)

    for both in (joined(known, coming), joined(coming, known)):
        assert (both.low[0], both.high[0], both.last[0], both.count[0]) == (4.0, 10.0, 9.0, 4)
        assert both.low_at[0] == START + 600
        assert (both.first_at[0], both.last_at[0]) == (START, START + 1800)


@given(
    st.dictionaries(st.integers(0, 20_000), st.floats(-30, 40), min_size=1, max_size=40),
    st.integers(0, 20_000),
)
def test_readings_that_come_twice_or_in_parts_count_once(
    readings: dict[int, float], cut: int
) -> None:
    def of(part: dict[int, float]) -> HourlyReadings:
        return some(list(part), list(part.values()))

    whole = of(readings)
    early = of({at: value for at, value in readings.items() if at < cut})
    late = of({at: value for at, value in readings.items() if at >= cut})

    same(joined(whole, whole), whole)
    same(joined(early, late), whole)
    same(joined(late, early), whole)
    same(joined(joined(early, late), early), whole)
    same(joined(early, whole), whole)


@pytest.mark.parametrize("empty_first", [True, False])
def test_nothing_adds_nothing(empty_first: bool) -> None:
    hours, nothing = some([0], [3.0]), some([], [])

    same(joined(nothing, hours) if empty_first else joined(hours, nothing), hours)
