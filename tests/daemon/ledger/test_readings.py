"""Readings in the ledger."""

from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from sillward.ledger import Ledger
from sillward.ledger.tables.readings import READINGS_DAYS, SET_ASIDE_DAYS, HandReading, ReadingTable
from sillward_rules.readings.hourly_readings import HourlyReadings, Quantity, by_the_hour
from tests.support.ledger_places import TWO_PLACES, place_of

AT = datetime(2026, 7, 14, 6, tzinfo=UTC)
AIR = Quantity.TEMPERATURE
NIGHT = date(2026, 7, 13)


@pytest.fixture(params=TWO_PLACES)
def readings(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[ReadingTable]:
    with closing(Ledger(place_of(request, tmp_path))) as opened:
        yield opened.readings


def minutes(values: list[float], start: datetime = AT) -> HourlyReadings:
    times = int(start.timestamp()) + 60 * np.arange(len(values))
    return by_the_hour(times, np.array(values))


def test_what_a_sensor_showed_is_kept_by_the_hour(readings: ReadingTable) -> None:
    added = readings.keep("Court", "pergola", AIR, "logger", minutes([12.34, 11.0, 11.56]))

    (hours,) = readings.of_spot("Court", "pergola", AIR).values()
    (sensor,) = readings.sensors("Court")
    assert added == 3
    assert (hours.low[0], hours.high[0], hours.last[0], hours.count[0]) == (11.0, 12.34, 11.56, 3)
    assert hours.low_at[0] == AT.timestamp() + 60
    assert (sensor.name, sensor.last, sensor.last_at) == (
        "logger",
        11.56,
        AT + timedelta(minutes=2),
    )
    assert readings.of_spot("Court", "hall", AIR) == {}
    assert readings.of_spot("Another", "pergola", AIR) == {}


def test_the_same_readings_again_add_nothing(readings: ReadingTable) -> None:
    for added in (90, 0):
        edition = readings.edition("Court")
        some = minutes([10.0 + 0.1 * minute for minute in range(90)])
        assert readings.keep("Court", "pergola", AIR, "logger", some) == added
        assert (readings.edition("Court") > edition) == bool(added)

    (hours,) = readings.of_spot("Court", "pergola", AIR).values()
    assert hours.count.tolist() == [60, 30]


def test_what_goes_on_within_the_newest_hour_is_no_change_by_itself(
    readings: ReadingTable,
) -> None:
    """A sensor that lives sends something every minute."""

    def changes(start_min: int, count: int = 2, sensor: str = "topic") -> bool:
        before = readings.edition("Court")
        times = int(AT.timestamp()) + 60 * (start_min + np.arange(count))
        hours = by_the_hour(times, np.full(count, 11.4))
        assert readings.keep("Court", "pergola", AIR, sensor, hours) == count
        return readings.edition("Court") > before

    assert changes(10)
    assert not changes(12)
    assert not changes(20)
    assert changes(4)  # before the newest
    assert changes(12, sensor="another")
    assert not changes(56, 6)  # into the next hour
    assert not changes(62)
    assert changes(200)  # after a silence
    assert changes(-60)  # in an hour that is over


def test_a_span_is_by_the_hours_that_begin_in_it(readings: ReadingTable) -> None:
    readings.keep("Court", "pergola", AIR, "logger", minutes([10.0] * 240))

    def count(since: datetime | None, until: datetime | None = None) -> int:
        found = readings.of_spot("Court", "pergola", AIR, since, until)
        return len(found["logger"]) if found else 0

    assert count(None) == 4
    assert count(AT + timedelta(minutes=1)) == 3
    assert count(AT, AT + timedelta(hours=1)) == 2
    assert count(AT + timedelta(hours=4)) == 0
    hour = timedelta(hours=1)
    assert readings.forget("Court", "pergola", AIR, "logger", AT + hour, AT + 2 * hour) == 120
    assert count(None) == 2


def test_what_was_read_by_hand_can_be_corrected_and_forgotten(readings: ReadingTable) -> None:
    now = readings.add_by_hand("Court", HandReading("pergola", AIR, 11.4, AT), AT)
    low = readings.add_by_hand("Court", HandReading("pergola", AIR, 10.9, AT, NIGHT), AT)

    assert readings.correct_by_hand("Court", now, 11.2)
    assert not readings.correct_by_hand("Another", now, 1.0)
    assert [(found.id, found.value, found.night) for found in readings.by_hand("Court")] == [
        (now, 11.2, None),
        (low, 10.9, NIGHT),
    ]
    assert readings.delete_by_hand("Court", now)
    assert not readings.delete_by_hand("Court", now)
    assert [found.id for found in readings.by_hand("Court", "pergola")] == [low]
    assert readings.by_hand("Court", "hall") == []


def test_a_night_has_one_lowest(readings: ReadingTable) -> None:
    for value, at in ((10.9, AT), (10.7, AT + timedelta(hours=3))):
        readings.add_by_hand("Court", HandReading("pergola", AIR, value, at, NIGHT), at)

    assert [found.value for found in readings.by_hand("Court")] == [10.7]


def note_aside(readings: ReadingTable, minutes: list[int], now: datetime = AT) -> None:
    times = [AT + timedelta(minutes=minute) for minute in minutes]
    examples = [f"{minute} °C" for minute in minutes]
    readings.set_aside("Court", "pergola", AIR, "logger", "a jump", times, examples, now)


def noted_aside(readings: ReadingTable) -> list[tuple[int, int, str]]:
    return [
        (int((one.hour - AT) / timedelta(hours=1)), one.count, one.example)
        for one in readings.set_aside_since("Court", AT - timedelta(days=1))
    ]


def test_what_is_not_used_is_counted_by_the_hour_and_reason(readings: ReadingTable) -> None:
    for minutes_noted in ([10, 90], [10, 90], [10, 12, 90, 130]):
        note_aside(readings, minutes_noted)

    assert noted_aside(readings) == [(2, 1, "130 °C"), (1, 1, "90 °C"), (0, 2, "12 °C")]
    assert readings.set_aside_since("Another", AT) == []


def test_what_is_not_used_may_come_in_any_order(readings: ReadingTable) -> None:
    for minutes_noted in ([20, 30], [5], [5, 20, 30], [20, 50], [1, 2, 5]):
        note_aside(readings, minutes_noted)

    assert noted_aside(readings) == [(0, 6, "50 °C")]
    (one,) = readings.set_aside_since("Court", AT)
    assert (one.first_at, one.last_at) == (
        AT + timedelta(minutes=1),
        AT + timedelta(minutes=50),
    )


def test_what_is_not_used_is_listed_by_when_it_came(readings: ReadingTable) -> None:
    """A file of last winter is read now."""
    note_aside(readings, [-60 * 24 * 200])
    note_aside(readings, [-60 * 24 * 100], AT - timedelta(days=99))

    assert [one.example for one in readings.set_aside_since("Court", AT)] == ["-288000 °C"]
    note_aside(readings, [-60 * 24 * 100])
    assert len(readings.set_aside_since("Court", AT)) == 2


def test_what_was_set_aside_of_some_hours_is_taken_back(readings: ReadingTable) -> None:
    note_aside(readings, [10, 90, 130])
    of_logger = ("Court", "pergola", AIR, "logger")
    found = readings.set_aside_of(*of_logger, AT + timedelta(minutes=1), AT + timedelta(hours=1))
    assert [one.example for one in found] == ["90 °C"]
    assert readings.set_aside_of("Court", "pergola", AIR, "another", AT, AT) == []

    readings.take_back("Court", found)

    assert [example for _, _, example in noted_aside(readings)] == ["130 °C", "10 °C"]


def test_old_readings_are_forgotten(tmp_path: Path) -> None:
    ledger = Ledger(tmp_path / "ledger.sqlite")
    readings = ledger.readings
    for spot, days in (("old", READINGS_DAYS + 1), ("new", SET_ASIDE_DAYS + 1)):
        at = AT - timedelta(days=days)
        readings.keep("Court", spot, AIR, "logger", minutes([10.0], at))
        readings.add_by_hand("Court", HandReading(spot, AIR, 10.0, at), at)
        readings.set_aside("Court", spot, AIR, "logger", "a jump", [at], ["55 °C"], at)

    ledger.prune(AT)

    assert [sensor.spot for sensor in readings.sensors("Court")] == ["new"]
    assert [reading.spot for reading in readings.by_hand("Court")] == ["new"]
    always = AT - timedelta(days=2000)
    assert [one.spot for one in readings.set_aside_since("Court", always)] == ["new"]


def test_what_was_dated_far_ahead_is_forgotten(readings: ReadingTable) -> None:
    note_aside(readings, [60 * 24 * 365 * 50])
    readings.prune(AT + timedelta(days=SET_ASIDE_DAYS - 1))
    assert len(noted_aside(readings)) == 1
    readings.prune(AT + timedelta(days=SET_ASIDE_DAYS + 1))
    assert noted_aside(readings) == []


def test_a_year_of_ten_sensors_needs_less_than_20_mb(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite"
    ledger = Ledger(path)
    rng = np.random.default_rng(1)
    start = int((AT - timedelta(days=365)).timestamp())
    times = np.arange(start, int(AT.timestamp()), 60)
    for number in range(5):
        values = rng.normal(15.0, 8.0, times.size)
        hours = by_the_hour(times, values)
        for quantity in Quantity:
            ledger.readings.keep("Court", f"spot {number}", quantity, "logger", hours)
    ledger.close()

    assert path.stat().st_size < 20e6
