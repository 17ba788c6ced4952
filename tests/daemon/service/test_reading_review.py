"""Once an hour the service looks again at what sensors have shown."""

from datetime import timedelta
from typing import Any

import numpy as np
import pytest

from sillward.readings import review as reviews
from sillward.service import reading_review
from sillward_rules.readings.hourly_readings import Quantity, by_the_hour
from sillward_rules.readings.quality import Reason
from tests.support.desks import SITE, World, a_world


def come(world: World, hours: int, value_c: float) -> None:
    """A sensor at the bench shows the same, every ten minutes for so many hours until now."""
    times = int(world.clock().timestamp()) - 600 * np.arange(hours * 6)[::-1]
    found = by_the_hour(times, np.full(times.shape, value_c))
    world.ledger.readings.keep(SITE.name, "bench", Quantity.TEMPERATURE, "topic", found)


def test_a_stuck_sensor_is_set_aside_within_the_hour(monkeypatch: pytest.MonkeyPatch) -> None:
    calls: list[object] = []

    def counted(*given: Any) -> int:
        calls.append(given)
        return reviews.review(*given)

    monkeypatch.setattr(reading_review, "review", counted)
    world = a_world("16:00")
    desk = world.desk
    desk.tick()
    assert calls == []  # nothing to look at

    come(world, 9, 14.0)
    world.clock.move(minutes=59)
    desk.tick()
    assert calls == []
    world.clock.move(minutes=1)
    desk.tick()
    desk.tick()

    assert len(calls) == 1
    aside = world.ledger.readings.set_aside_since(SITE.name, world.clock() - timedelta(days=1))
    assert {each.reason for each in aside} == {Reason.STUCK}
    assert sum(each.count for each in aside) == 54
    assert world.ledger.readings.sensors(SITE.name) == []
