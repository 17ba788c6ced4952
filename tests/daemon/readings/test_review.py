"""What is seen of sensors that live only after some hours."""

from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from sillward.ledger import Ledger
from sillward.readings.review import review
from sillward_rules.arrays import Array
from sillward_rules.readings.hourly_readings import Quantity, by_the_hour
from sillward_rules.readings.quality import Reason
from sillward_rules.weather.spot import Spot
from tests.support import core

AIR = Quantity.TEMPERATURE
GARDEN = core.collection(spots=(core.OPEN_BENCH, Spot("pergola"), core.WARM_ROOM))
SITE = GARDEN.site.name
START = datetime(2026, 5, 12, 3, tzinfo=UTC)
COURSE = core.daily_curve(8.0, 22.0, 96)
WEATHER = core.weather(START, np.roll(COURSE, -3))


@pytest.fixture
def ledger() -> Iterator[Ledger]:
    with closing(Ledger(":memory:")) as opened:
        yield opened


def as_told(hours: int) -> Array:
    return np.interp(np.arange(hours * 6) / 6, np.arange(96), WEATHER.temp_c).round(2)


def come(ledger: Ledger, values: Array, spot: str = "bench", first: int = 0) -> None:
    """Readings every ten minutes, from this one on."""
    times = int(START.timestamp()) + 600 * np.arange(values.size)
    ledger.readings.keep(SITE, spot, AIR, "topic", by_the_hour(times[first:], values[first:]))


def looked(ledger: Ledger, hours: float) -> int:
    return review(ledger, GARDEN, WEATHER, START + timedelta(hours=hours))


def reasons(ledger: Ledger) -> dict[str, int]:
    counts: dict[str, int] = {}
    for each in ledger.readings.set_aside_since(SITE, START):
        counts[each.reason] = counts.get(each.reason, 0) + each.count
    return counts


def kept(ledger: Ledger, spot: str = "bench") -> int:
    found = ledger.readings.of_spot(SITE, spot, AIR)
    return sum(int(hours.count.sum()) for hours in found.values())


def test_a_sound_sensor_is_left_alone(ledger: Ledger) -> None:
    come(ledger, as_told(40))
    edition = ledger.readings.edition(SITE)

    assert looked(ledger, 40) == 0
    assert ledger.readings.edition(SITE) == edition


def test_a_stuck_sensor_is_not_used_from_its_first_to_its_last_hour(ledger: Ledger) -> None:
    values = as_told(36)
    values[12 * 6 : 30 * 6] = values[12 * 6]
    done = 0
    for hour in range(1, 37):
        come(ledger, values[: hour * 6], first=done)
        done = hour * 6
        looked(ledger, hour)

    assert reasons(ledger) == {Reason.STUCK: 18 * 6}
    assert kept(ledger) == 18 * 6


def test_sun_is_set_aside_a_day_later(ledger: Ledger) -> None:
    values = as_told(40)
    values[11 * 6 : 13 * 6] += 12.0
    come(ledger, values)

    assert looked(ledger, 30) == 0
    assert looked(ledger, 40) == 12
    assert reasons(ledger) == {Reason.SUN: 12}
    assert kept(ledger) == 38 * 6


def test_of_two_that_show_the_same_the_later_is_not_used(ledger: Ledger) -> None:
    come(ledger, as_told(36), "bench", first=12)
    come(ledger, as_told(36), "pergola")

    assert looked(ledger, 36) == 34 * 6
    assert kept(ledger, "pergola") == 36 * 6
    assert list(reasons(ledger)) == [f"{Reason.TWIN}: topic at pergola"]
    assert looked(ledger, 36) == 0


def test_spots_and_sensors_that_are_gone_are_left_alone(ledger: Ledger) -> None:
    come(ledger, np.full(144, 11.0), "shed")
    come(ledger, np.full(144, 11.0))

    assert review(ledger, GARDEN, WEATHER, START + timedelta(days=9)) == 0
    assert kept(ledger, "shed") == 144


def test_a_sensor_in_another_unit_is_not_used_from_its_first_night_on(ledger: Ledger) -> None:
    values = (as_told(36) * 1.8 + 32).round(2)
    done = 0
    for hour in range(1, 37):
        come(ledger, values[: hour * 6], first=done)
        done = hour * 6
        looked(ledger, hour)

    assert set(reasons(ledger)) == {Reason.UNIT}
    assert kept(ledger) == 0


def test_sun_on_a_sensor_is_no_other_unit(ledger: Ledger) -> None:
    values = as_told(36)
    values[9 * 6 : 17 * 6] += 16.0
    come(ledger, values)
    looked(ledger, 36)

    assert Reason.UNIT not in reasons(ledger)
