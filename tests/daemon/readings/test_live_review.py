"""Hours that are over are looked at again: what only they show is set aside, and nothing else."""

from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from sillward.config.household import TopicSensor
from sillward.ledger import Ledger
from sillward.readings.intake import Intake
from sillward.readings.live_review import review
from sillward_rules.arrays import Array
from sillward_rules.readings.hourly_readings import Quantity, by_the_hour
from sillward_rules.readings.quality import Reason
from sillward_rules.weather.spot import Spot
from tests.support import core

GARDEN = core.collection(
    spots=(core.OPEN_BENCH, Spot("pergola", night_offset_k=0.0), core.WARM_ROOM)
)
SITE = GARDEN.site.name
START = datetime(2026, 5, 12, 3, tzinfo=UTC)  # midnight by the clocks there
COURSE = core.daily_curve(8.0, 22.0, 72)
WEATHER = core.weather(START - timedelta(hours=3), COURSE)
UNTIL = START + timedelta(hours=30)
OLDER = datetime(2026, 5, 1, tzinfo=UTC)

BENCH = TopicSensor("bench", Quantity.TEMPERATURE, "garden/bench")
PERGOLA = TopicSensor("pergola", Quantity.TEMPERATURE, "garden/pergola")

Show = Callable[[TopicSensor, Array], None]


@pytest.fixture
def ledger() -> Iterator[Ledger]:
    with closing(Ledger(":memory:")) as opened:
        yield opened


@pytest.fixture
def show(ledger: Ledger) -> Show:
    def shown(sensor: TopicSensor, values: Array) -> None:
        times = int(START.timestamp()) + 600 * np.arange(values.size)
        hours = by_the_hour(times, values)
        ledger.readings.keep(SITE, sensor.spot, sensor.quantity, sensor.name, hours)

    return shown


def kept(ledger: Ledger, sensor: TopicSensor) -> list[int]:
    """The hours after the start that are kept."""
    found = ledger.readings.of_spot(SITE, sensor.spot, sensor.quantity).get(sensor.name)
    first = int(START.timestamp())
    return [] if found is None else ((found.hour - first) // 3600).tolist()


def set_aside(ledger: Ledger) -> list[tuple[str, str, int]]:
    found = ledger.readings.set_aside_since(SITE, OLDER)
    return sorted((one.spot, one.reason, one.count) for one in found)


def as_told(hours: int) -> Array:
    at = np.arange(hours * 6) / 6 + 3
    return np.interp(at, np.arange(COURSE.size), COURSE).round(2)


def look(ledger: Ledger, *sensors: TopicSensor, until: datetime = UNTIL) -> None:
    review(Intake(ledger, GARDEN, WEATHER), sensors, until)


def test_a_sensor_that_follows_the_weather_is_left_alone(ledger: Ledger, show: Show) -> None:
    show(BENCH, as_told(30))
    before = ledger.readings.edition(SITE)

    look(ledger, BENCH, PERGOLA)

    assert kept(ledger, BENCH) == list(range(30))
    assert set_aside(ledger) == []
    assert ledger.readings.edition(SITE) == before


def test_a_sensor_that_is_stuck_is_set_aside_hour_by_hour(ledger: Ledger, show: Show) -> None:
    values = as_told(30)
    values[6 * 6 : 14 * 6] = values[6 * 6]
    show(BENCH, values)

    look(ledger, BENCH)
    look(ledger, BENCH)

    assert kept(ledger, BENCH) == [*range(6), *range(14, 30)]
    assert set_aside(ledger) == [("bench", Reason.STUCK, 8 * 6)]


def test_sun_on_the_sensor_is_set_aside(ledger: Ledger, show: Show) -> None:
    values = as_told(30)
    values[12 * 6 : 14 * 6] += 9.0
    show(BENCH, values)

    look(ledger, BENCH)

    assert kept(ledger, BENCH) == [*range(12), *range(14, 30)]
    assert set_aside(ledger) == [("bench", Reason.SUN, 2 * 6)]


def test_of_two_twins_one_is_left(ledger: Ledger, show: Show) -> None:
    show(BENCH, as_told(30))
    show(PERGOLA, as_told(30))

    look(ledger, BENCH, PERGOLA)

    assert kept(ledger, BENCH) == []
    assert kept(ledger, PERGOLA) == list(range(30))
    reason = f"{Reason.TWIN}: garden/pergola at pergola"
    assert set_aside(ledger) == [
        ("bench", reason, 9 * 6),
        ("bench", reason, 21 * 6),
    ]  # by day (UTC)


def test_an_hour_that_is_not_over_is_left_alone(ledger: Ledger, show: Show) -> None:
    values = as_told(14)
    values[13 * 6 :] += 9.0
    show(BENCH, values)

    look(ledger, BENCH, until=START + timedelta(hours=13))

    assert kept(ledger, BENCH) == list(range(14))
