"""What growers type of a thermometer, and when they say it was read."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from sillward.errors import UsageError
from sillward.readings.by_hand import (
    check_unit,
    measured,
    moment_told,
    night_told,
    spot_and_value,
)
from sillward.text.units import Temperature, Units
from sillward.wording.voice import Voice
from sillward_rules.readings.hourly_readings import Quantity
from sillward_rules.weather.site import Site

SITE = Site("Testyard", -32.89, -68.85, 780.0, ZoneInfo("America/Argentina/Mendoza"))
NOW = datetime(2026, 5, 14, 12, 30, tzinfo=UTC)  # 09:30 by the clocks there; sunrise about 08:15


@pytest.mark.parametrize(
    ("words", "parts"),
    [
        ("pergola 11.4", ("pergola", "11.4")),
        ("wall bench -2,5", ("wall bench", "-2,5")),
        ("bench 2 11.4 °C", ("bench 2", "11.4 °C")),
        ("bench 2 52F", ("bench 2", "52F")),
        ("hall 61 %", ("hall", "61 %")),
    ],
)
def test_the_last_number_is_the_value(words: str, parts: tuple[str, str]) -> None:
    assert spot_and_value(words) == parts


@pytest.mark.parametrize("words", ["", "pergola", "11.4", "pergola warm", "pergola 1e3", "a 1 2x"])
def test_without_a_spot_or_a_value_an_example_is_shown(words: str) -> None:
    with pytest.raises(UsageError, match=r"sillward read pergola 11\.4"):
        spot_and_value(words)


def test_an_option_that_is_misspelled_is_no_spot() -> None:
    with pytest.raises(UsageError, match='no option "--lowets"'):
        spot_and_value("pergola --lowets 3")


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("11.4", "°C", 11.4),
        ("11,4", "°C", 11.4),
        ("52.52", "°F", 11.4),
        ("52.52F", "°C", 11.4),
        ("52.52 °f", "°C", 11.4),
        ("11.4℃", "°F", 11.4),
        ("11.4 ºC", "°F", 11.4),
        ("\u22122", "°C", -2.0),
        ("+3.", "°C", 3.0),
    ],
)
def test_values_in_either_unit(text: str, unit: Temperature, value: float) -> None:
    found = measured(text, unit, humidity=False)

    assert found.quantity is Quantity.TEMPERATURE
    assert found.value == pytest.approx(value)


def test_a_humidity_is_one_by_its_sign_or_by_the_option() -> None:
    for text, humidity in (("61 %", False), ("61%", True), ("61", True)):
        assert measured(text, "°C", humidity=humidity)[:2] == (Quantity.HUMIDITY, 61.0)
    with pytest.raises(UsageError, match="is a temperature, not a humidity"):
        measured("52F", "°C", humidity=True)


@pytest.mark.parametrize(
    ("text", "unit", "humidity", "said"),
    [
        ("61", "°C", False, "61 °C cannot be: air at plants is from -40 to 60 °C; if it is in"),
        ("141", "°F", False, "141 °F cannot be: air at plants is from -40 to 140 °F; if it is in"),
        ("200F", "°C", False, "200F cannot be: air at plants is from -40 to 60 °C"),
        ("106", "°C", True, "106 % cannot be: humidities are from 0 to 100 %"),
        ("-1 %", "°C", True, "-1 % cannot be"),
        ("1_0", "°C", False, "is not a value"),
        ("٣", "°C", False, "is not a value"),
        ("nan", "°C", False, "is not a value"),
        ("1e9", "°C", False, "is not a value"),
        ("\x1b[31m", "°C", False, "is not a value"),
        ("9" * 5000, "°C", False, "is not a value"),
    ],
)
def test_what_cannot_be_is_refused(text: str, unit: Temperature, humidity: bool, said: str) -> None:
    with pytest.raises(UsageError) as caught:
        measured(text, unit, humidity=humidity)

    assert said in str(caught.value)
    assert str(caught.value).isprintable()
    assert len(str(caught.value)) < 200


@pytest.mark.parametrize(
    ("text", "unit", "told_c", "asked"),
    [
        ("52", "°C", 12.6, True),
        ("38", "°C", 22.0, False),  # sun on it; 38 °F is 3 °C, as far away
        ("12", "°F", 12.6, True),
        ("52", "°F", 12.6, False),
        ("52C", "°C", 12.6, False),
        ("52", "°C", None, True),
        ("30", "°C", None, False),
        ("20", "°F", None, True),
        ("60", "°F", None, False),
    ],
)
def test_a_value_that_is_likely_in_the_other_unit_is_asked_about(
    text: str, unit: Temperature, told_c: float | None, asked: bool
) -> None:
    value, voice = measured(text, unit, humidity=False), Voice(SITE, Units(temperature=unit))
    if not asked:
        check_unit(value, told_c, voice)
        return
    with pytest.raises(UsageError, match="is unlikely") as caught:
        check_unit(value, told_c, voice)
    assert f"write {text}{'F' if unit == '°C' else 'C'} if it is in" in str(caught.value)


# -- when


@pytest.mark.parametrize(
    ("text", "at"),
    [
        ("06:40", datetime(2026, 5, 14, 9, 40, tzinfo=UTC)),
        ("6:40 am", datetime(2026, 5, 14, 9, 40, tzinfo=UTC)),
        ("6 a.m.", datetime(2026, 5, 14, 9, tzinfo=UTC)),
        ("09:34", datetime(2026, 5, 14, 12, 34, tzinfo=UTC)),  # a clock that is 4 minutes ahead
        ("09:36", datetime(2026, 5, 13, 12, 36, tzinfo=UTC)),
        ("10:40 pm", datetime(2026, 5, 14, 1, 40, tzinfo=UTC)),
        ("22:40", datetime(2026, 5, 14, 1, 40, tzinfo=UTC)),
        ("2026-05-10T06:40", datetime(2026, 5, 10, 9, 40, tzinfo=UTC)),
        ("2026-05-10 06:40+02:00", datetime(2026, 5, 10, 4, 40, tzinfo=UTC)),
    ],
)
def test_a_time_alone_is_the_last_one(text: str, at: datetime) -> None:
    assert moment_told(text, SITE, NOW) == at


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("2026-05-14T10:00", "is in the future"),
        ("2020-05-14T10:00", "too long ago"),
        ("2026-05-14", "is not a time"),
        ("6", "is not a time"),
        ("25:00", "is not a time"),
        ("11.4", "is not a time"),
        ("13:00 pm", "is not a time"),
        ("\x1b[2J", "is not a time"),
        ("0001-01-01T00:00", "is not a time"),
    ],
)
def test_other_times_are_refused(text: str, said: str) -> None:
    with pytest.raises(UsageError, match=said) as caught:
        moment_told(text, SITE, NOW)
    assert str(caught.value).isprintable()


@pytest.mark.parametrize(
    ("hour_utc", "evening"),
    [
        (9.0, 12),  # 06:00, more than two hours before sunrise: the night before counts
        (10.5, 13),  # 07:30
        (12.5, 13),
        (21.0, 13),  # at dusk
        (26.0, 13),  # 23:00, the next night has begun
    ],
)
def test_the_lowest_is_of_the_last_night(hour_utc: float, evening: int) -> None:
    now = datetime(2026, 5, 14, tzinfo=UTC) + timedelta(hours=hour_utc)

    assert night_told(None, SITE, now).day.day == evening


def test_a_night_is_named_by_its_evening() -> None:
    assert night_told("2026-05-10", SITE, NOW).day.day == 10
    for text, said in (
        ("2026-05-14", "is not over"),
        ("2019-05-14", "too long ago"),
        ("monday", "is not a date"),
        ("0001-01-01", "is not over"),
    ):
        with pytest.raises(UsageError, match=said):
            night_told(text, SITE, NOW)


@pytest.mark.parametrize(
    ("text", "hour", "day"),
    [("06.40", 6, 14), ("yesterday 06:40", 6, 13), ("Yesterday, 6:40 pm", 18, 13)],
)
def test_times_as_people_write_them(text: str, hour: int, day: int) -> None:
    at = moment_told(text, SITE, NOW).astimezone(SITE.zone)
    assert (at.day, at.hour, at.minute) == (day, hour, 40)


def test_the_night_of_yesterday() -> None:
    assert night_told("yesterday", SITE, NOW).day.day == 13
