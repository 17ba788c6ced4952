"""Days of the calendar and spans of them, over the new year too."""

from datetime import date

import pytest

from sillward_rules.weather.year_day import ALL_YEAR, YearDay, YearSpan, parse_year_day


def span(first: str, last: str) -> YearSpan:
    return YearSpan(parse_year_day(first), parse_year_day(last))


@pytest.mark.parametrize(
    ("of", "day", "inside"),
    [
        (("03-01", "05-31"), date(2026, 3, 1), True),
        (("03-01", "05-31"), date(2026, 5, 31), True),
        (("03-01", "05-31"), date(2026, 6, 1), False),
        (("03-01", "05-31"), date(2026, 2, 28), False),
        (("11-15", "02-10"), date(2026, 12, 31), True),
        (("11-15", "02-10"), date(2027, 1, 1), True),
        (("11-15", "02-10"), date(2027, 2, 10), True),
        (("11-15", "02-10"), date(2027, 2, 11), False),
        (("02-01", "02-28"), date(2028, 2, 29), True),
        (("07-04", "07-04"), date(2026, 7, 4), True),
        (("07-04", "07-04"), date(2026, 7, 5), False),
    ],
)
def test_a_span_comes_back_each_year_and_goes_over_the_new_year(
    of: tuple[str, str], day: date, inside: bool
) -> None:
    assert (YearDay.of(day) in span(*of)) is inside


@pytest.mark.parametrize(
    ("one", "other", "shared"),
    [
        (("03-01", "05-31"), ("06-01", "02-28"), []),
        (("03-01", "05-31"), ("05-31", "08-31"), ["05-31 to 05-31"]),
        (("03-01", "05-31"), ("04-01", "04-30"), ["04-01 to 04-30"]),
        (("11-01", "02-28"), ("12-15", "01-15"), ["12-15 to 01-15"]),
        (("11-01", "03-15"), ("03-01", "11-10"), ["03-01 to 03-15", "11-01 to 11-10"]),
        (("03-01", "05-31"), ("03-01", "05-31"), ["03-01 to 05-31"]),
        (("01-01", "12-31"), ("11-01", "02-28"), ["11-01 to 02-28"]),
    ],
)
def test_days_that_are_in_both_of_two_spans(
    one: tuple[str, str], other: tuple[str, str], shared: list[str]
) -> None:
    assert [str(found) for found in span(*one).shared_with(span(*other))] == shared
    assert [str(found) for found in span(*other).shared_with(span(*one))] == shared


def test_a_year_is_told_in_words() -> None:
    assert str(ALL_YEAR) == "all year"
    assert parse_year_day(" 02-29 ") == YearDay(2, 28)


@pytest.mark.parametrize("text", ["", "3-1", "13-01", "02-30", "2026-03-01", "03/01", "٠٣-٠١", "a"])
def test_what_is_no_day_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="must be a month and a day"):
        parse_year_day(text)
