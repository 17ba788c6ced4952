"""The lows of the nights at the spots, from what the ledger holds."""

from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from sillward.ledger import Ledger
from sillward.ledger.tables.readings import HandReading
from sillward.readings.read_nights import lows_outdoors, lows_read_at
from sillward_rules.readings.hourly_readings import Quantity, by_the_hour
from sillward_rules.readings.night_lows import BY_HAND
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import Spot
from tests.support.core import utc

SITE = Site("Testyard", -32.89, -68.85, 780.0, ZoneInfo("America/Argentina/Mendoza"))
START = utc("2026-05-10T12:00")
SPOTS = Spot("pergola"), Spot("hall", indoors=True), Spot("bench"), Spot("bare")


@pytest.fixture
def ledger() -> Iterator[Ledger]:
    with closing(Ledger(":memory:")) as opened:
        yield opened


def sensor(ledger: Ledger, spot: str, nights: int, low_c: float, quantity: Quantity) -> None:
    """A sensor whose nights have these lows, a kelvin more each night, at 7 in the morning."""
    hours = np.arange(24 * nights + 1)
    times = int(START.timestamp()) + 3600 * hours
    at_seven = (hours - 22) % 24 == 0
    values = np.where(at_seven, low_c + (hours - 22) // 24, low_c + 20.0)
    ledger.readings.keep(SITE.name, spot, quantity, "logger", by_the_hour(times, values))


def by_hand(ledger: Ledger, spot: str, at: datetime, value: float, **more: object) -> None:
    reading = replace(HandReading(spot, Quantity.TEMPERATURE, value, at), **more)  # type: ignore[arg-type]
    ledger.readings.add_by_hand(SITE.name, reading, at)


def test_the_nights_of_a_spot_are_those_of_its_sensors_and_of_readings_by_hand(
    ledger: Ledger,
) -> None:
    sensor(ledger, "pergola", 3, 4.0, Quantity.TEMPERATURE)
    sensor(ledger, "pergola", 5, 40.0, Quantity.HUMIDITY)
    noon = START + timedelta(days=4)
    by_hand(ledger, "pergola", noon, 2.5, night=date(2026, 5, 13))
    by_hand(ledger, "pergola", noon, 60.0, quantity=Quantity.HUMIDITY, night=date(2026, 5, 14))
    by_hand(ledger, "bench", noon, 1.0, night=date(2026, 5, 13))

    found = lows_read_at(ledger, SITE, "pergola")

    assert [(low.night.day, low.low_c, low.sensor) for low in found] == [
        (10, 4.0, "logger"),
        (11, 5.0, "logger"),
        (12, 6.0, "logger"),
        (13, 2.5, BY_HAND),
    ]


def test_spots_outdoors_with_readings_are_columns_and_their_nights_rows(ledger: Ledger) -> None:
    sensor(ledger, "pergola", 2, 4.0, Quantity.TEMPERATURE)
    sensor(ledger, "hall", 4, 15.0, Quantity.TEMPERATURE)
    by_hand(ledger, "bench", START + timedelta(days=2), 1.5, night=date(2026, 5, 11))
    by_hand(ledger, "bench", START + timedelta(days=6), 2.5, night=date(2026, 5, 15))

    names, read = lows_outdoors(ledger, SITE, SPOTS)

    assert names == ["pergola", "bench"]
    assert [date.fromordinal(night).day for night in read.night.tolist()] == [10, 11, 15]
    np.testing.assert_array_equal(read.low_c, [[4.0, np.nan], [5.0, 1.5], [np.nan, 2.5]])


def test_without_readings_there_is_nothing(ledger: Ledger) -> None:
    names, read = lows_outdoors(ledger, SITE, SPOTS)

    assert names == []
    assert read.night.size == 0
    assert read.low_c.shape == (0, 0)
