"""How a household is spoken to: numbers, hours and finished texts in its units."""

from datetime import datetime, time

import pytest

from sillward.text.units import SI, Units
from sillward.wording.voice import Voice
from sillward_rules.remark import Plain
from sillward_rules.weather.time_expressions import parse_hours
from tests.support.chart_examples import US
from tests.support.core import MENDOZA, utc

METRIC, AMERICAN = Voice(MENDOZA), Voice(MENDOZA, US)
AT = utc("2026-05-14T20:05")  # 17:05 at the site


@pytest.mark.parametrize(
    ("hours", "told"),
    [
        ("07:00-10:30", "7:00-10:30 am"),
        ("22:30-06:30", "10:30 pm-6:30 am"),
        ("0:05-12:00", "12:05 am-12:00 pm"),
        ("07:00 to sunset-2h", "7:00 am to sunset-2h"),
        ("sunrise+1h to sunset-2h", "sunrise+1h to sunset-2h"),
        ("day", "day"),
    ],
)
def test_hours_are_told_by_the_growers_clock(hours: str, told: str) -> None:
    assert METRIC.hours(parse_hours(hours)) == hours
    assert AMERICAN.hours(parse_hours(hours)) == told


def test_a_moment_is_told_with_its_day() -> None:
    assert METRIC.date_and_hour(AT) == "Thu 14 May 17:05"
    assert AMERICAN.date_and_hour(AT) == "Thu 14 May 5:05 pm"


@pytest.mark.parametrize(
    ("hour", "told"), [(0, "12 am"), (5, "5 am"), (12, "12 pm"), (17, "5 pm"), (22, "10 pm")]
)
def test_a_full_hour_takes_little_room(hour: int, told: str) -> None:
    assert US.full_hour(time(hour)) == told
    assert SI.full_hour(time(hour)) == f"{hour:02}:00"
    assert US.full_hour(time(hour, 30)) == told.replace(" ", ":30 ")


def test_a_span_takes_the_dash_it_is_given() -> None:
    start, end = (datetime.fromisoformat(f"2026-05-14T{at}") for at in ("07:10", "08:05"))

    assert US.span(start, end, "–") == "7:10–8:05 am"
    assert SI.span(start, end, "–") == "07:10–08:05"


@pytest.mark.parametrize(
    ("value", "unit", "metric", "american"),
    [
        (0.8, "K", "+0.8 °C", "+1.4 °F"),
        (-2.0, "°C", "-2 °C", "-3.6 °F"),
        (0.0, "K", "+0 °C", "+0 °F"),
        (2.0, "m/s", "+2 m/s", "+4.5 mph"),
        (-25.0, "%", "-25 %", "-25 %"),
        (None, "K", "?", "?"),
    ],
)
def test_a_difference_has_its_sign(
    value: float | None, unit: str, metric: str, american: str
) -> None:
    assert METRIC.offset(value, unit) == metric
    assert AMERICAN.offset(value, unit) == american


def test_an_unknown_limit_is_a_question_mark() -> None:
    assert METRIC.bound(None) == "?"
    assert AMERICAN.bound(13.0) == "55.4 °F"


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("can be 1 to 3 K colder; 0.5 for light", "can be 1.8 to 5.4 °F colder; 0.5 for light"),
        ("1.5 K more while the crown is wet", "2.7 °F more while the crown is wet"),
        ("from 26.5 °C, the middle of", "from 79.7 °F, the middle of"),
        ("30-35 °C", "86-95 °F"),
        ("-5 to -3.5 °C", "23 to 25.7 °F"),
        ("wind_speed_10m of 468.5 m/s is  odd", "wind_speed_10m of 1048 mph is  odd"),
        ("from Thu 14 May 18:00 UTC on", "from Thu 14 May 6:00 pm UTC on"),
        ("at 00:05", "at 12:05 am"),
    ],
)
def test_a_finished_text_is_converted_to_the_growers_units(text: str, told: str) -> None:
    assert METRIC.retold(text) == text.replace(" K ", " °C ")
    assert AMERICAN.retold(text) == told
    assert AMERICAN.remark(Plain(text)) == told
    assert AMERICAN.retold(told) == told


@pytest.mark.parametrize(
    "text",
    [
        "culture sheet (70s F day); about 13C",
        "0.1 g/L KNO3, 5 K2SO4",
        "2026-05-14T18:00:00-03:00",
        "[::1]:8080",
        "10:35 pm",
        "version 1.2.3 K",
        "50 % at 92.4 kPa",
        'rule "over 8 m/s at 17:05"',
    ],
)
def test_numbers_that_are_no_values_are_not_converted(text: str) -> None:
    assert AMERICAN.retold(text) == text


def test_only_the_units_that_the_grower_changed_are_converted() -> None:
    text = "5 K at 8 m/s, 13 °C at 17:05"

    assert Voice(MENDOZA, Units(clock="12 h")).retold(text) == "5 °C at 8 m/s, 13 °C at 5:05 pm"
    assert Voice(MENDOZA, Units(wind="km/h")).retold(text) == "5 °C at 28.8 km/h, 13 °C at 17:05"
    assert Voice(MENDOZA, Units("°F")).retold(text) == "9 °F at 8 m/s, 55.4 °F at 17:05"
