"""Which nights are replayed, and how a wrong wish is told."""

from datetime import date, timedelta

import numpy as np
import pytest

from sillward.errors import SourceError, UsageError
from sillward.replay.period import Period, period_asked, read_away, read_day, whole_period
from sillward_rules.weather.hourly import Weather
from tests.support.core import MENDOZA, utc, weather

WHOLE = Period(date(2025, 1, 2), date(2025, 12, 29))


def hours(start: str, count: int) -> Weather:
    return weather(utc(start), np.full(count, 15.0))


def test_a_calendar_year_lacks_a_night_at_either_end() -> None:
    """The dusk round looks back at the night before, the morning round ahead at the next."""
    found = whole_period(MENDOZA, hours("2025-01-01T00:00", 365 * 24))

    assert found == Period(date(2025, 1, 2), date(2025, 12, 29))
    assert found.nights == 362


def test_each_night_has_a_day_of_weather_before_and_after_it() -> None:
    for first_hour in range(24):
        start = utc("2025-03-01T00:00") + timedelta(hours=first_hour)
        past = weather(start, np.full(200, 15.0))

        found = whole_period(MENDOZA, past)

        day = timedelta(days=1)
        begins = MENDOZA.middle_of_day(found.first)
        ends = MENDOZA.middle_of_day(found.last + day)
        assert begins - day >= start > begins - 2 * day
        assert past.times[-1] - 24 * 3600 >= ends.timestamp()
        assert past.times[-1] - 48 * 3600 < ends.timestamp()


@pytest.mark.parametrize("count", [0, 1, 40, 60])
def test_too_short_a_weather_is_told(count: int) -> None:
    with pytest.raises(SourceError, match="too short for a replay"):
        whole_period(MENDOZA, hours("2025-01-01T00:00", count))


def test_what_is_not_asked_for_is_all_there_is() -> None:
    assert period_asked(WHOLE, None, None) == WHOLE
    assert period_asked(WHOLE, date(2025, 5, 1), None) == Period(date(2025, 5, 1), WHOLE.last)


@pytest.mark.parametrize(
    ("first", "last", "words"),
    [
        (
            date(2024, 12, 1),
            None,
            "--from 2024-12-01: the past weather reaches for the nights from",
        ),
        (None, date(2026, 1, 1), "--to 2026-01-01: the past weather reaches"),
        (date(2025, 6, 2), date(2025, 6, 1), "--from 2025-06-02 --to 2025-06-01: ends before"),
    ],
)
def test_a_period_that_is_not_there_is_told(
    first: date | None, last: date | None, words: str
) -> None:
    with pytest.raises(UsageError, match=words):
        period_asked(WHOLE, first, last)


def test_days_away_may_be_spans_and_single_days() -> None:
    days = read_away(["2025-07-01..2025-07-03", "2025-08-09"], WHOLE)

    assert sorted(days) == [
        date(2025, 7, 1), date(2025, 7, 2), date(2025, 7, 3), date(2025, 8, 9),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("span", "words"),
    [
        ("2025-07-03..2025-07-01", "ends before it begins"),
        ("2027-06-03..2027-06-04", "--away 2027-06-03..2027-06-04: is outside the nights"),
        ("2025-07-01..", '"" is not a date'),
        ("July", '--away "July" is not a date; write 2025-07-01'),
        ("2025-07-01..2125-07-01", "is longer than"),
        ("\x1b[31m", "x1b"),
    ],
)
def test_a_span_that_is_none_is_told(span: str, words: str) -> None:
    with pytest.raises(UsageError) as caught:
        read_away([span], WHOLE)

    assert words in str(caught.value)
    assert "\x1b" not in str(caught.value)


def test_a_day_that_is_none_is_told() -> None:
    with pytest.raises(UsageError, match='--from "2025-13-01" is not a date'):
        read_day("2025-13-01", "--from")
