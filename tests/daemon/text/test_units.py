"""°C and °F, m/s and mph, 24 and 12 hours: against defined conversions and handbook values."""

from datetime import datetime

import pytest

from sillward.text.units import SI, ClockFace, Speed, Units

US = Units("°F", "12 h", "mph")


@pytest.mark.parametrize(
    ("celsius", "fahrenheit"), [(0.0, 32.0), (100.0, 212.0), (-40.0, -40.0), (37.0, 98.6)]
)
def test_fixed_points_of_the_scales(celsius: float, fahrenheit: float) -> None:
    """Freezing and boiling of water, and where the scales meet.

    NIST SP 811, app. B.8, from memory: t/°F = 1.8 t/°C + 32.
    """
    shown, unit = US.shown(celsius, "°C")

    assert shown == pytest.approx(fahrenheit)
    assert unit == "°F"
    assert SI.shown(celsius, "°C") == (celsius, "°C")


def test_a_difference_has_no_offset() -> None:
    assert US.difference(1.0) == (1.8, "°F")
    assert SI.difference(1.0) == (1.0, "°C")


@pytest.mark.parametrize(("unit", "value"), [("m/s", 10.0), ("km/h", 36.0), ("mph", 22.3694)])
def test_wind(unit: Speed, value: float) -> None:
    """NIST SP 811, app. B.8, from memory: 1 mile per hour is 0.44704 m/s exactly."""
    shown, its = Units(wind=unit).shown(10.0, "m/s")

    assert shown == pytest.approx(value, abs=5e-5)
    assert its == unit


@pytest.mark.parametrize("unit", ["kPa", "%", "min", "mS/cm", "h"])
def test_other_units_stay(unit: str) -> None:
    assert US.shown(1.5, unit) == (1.5, unit)


@pytest.mark.parametrize(
    ("clock", "told"),
    [
        ("00:00", "12:00 am"),
        ("00:05", "12:05 am"),
        ("01:00", "1:00 am"),
        ("11:59", "11:59 am"),
        ("12:00", "12:00 pm"),
        ("12:30", "12:30 pm"),
        ("13:05", "1:05 pm"),
        ("23:59", "11:59 pm"),
    ],
)
def test_the_clock_of_twelve_hours(clock: str, told: str) -> None:
    """12:00 am is midnight, as in US usage and in C (%I, %p; POSIX strftime)."""
    at = datetime.fromisoformat(f"2026-05-14 {clock}")

    assert US.hour(at) == told
    assert SI.hour(at) == clock
    assert datetime.strptime(f"2026-05-14 {told}", "%Y-%m-%d %I:%M %p") == at  # noqa: DTZ007


@pytest.mark.parametrize(
    ("face", "start", "end", "told"),
    [
        ("24 h", "07:10", "08:05", "07:10-08:05"),
        ("12 h", "07:10", "08:05", "7:10-8:05 am"),
        ("12 h", "11:30", "12:15", "11:30 am-12:15 pm"),
        ("12 h", "13:00", "14:00", "1:00-2:00 pm"),
    ],
)
def test_a_window_says_am_and_pm_once_if_that_is_clear(
    face: ClockFace, start: str, end: str, told: str
) -> None:
    opens, closes = (datetime.fromisoformat(f"2026-05-14 {clock}") for clock in (start, end))

    assert Units(clock=face).span(opens, closes) == told
