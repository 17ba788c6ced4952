"""Shelters that hold what readings taught, and those that no longer hold."""

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from sillward_rules.planners.scene.scene import Scene
from sillward_rules.planners.shelter import held_by_night, spot_lows
from sillward_rules.weather import sun
from sillward_rules.weather.spot import Spot
from tests.support.core import HALL_FOLLOWS as HALL
from tests.support.core import MENDOZA, OPEN_BENCH, collection, daily_curve, plant, weather

START = datetime(2026, 5, 14, tzinfo=UTC)
FORECAST = weather(START, np.concatenate([daily_curve(4.0, 16.0, 48), daily_curve(1.0, 9.0, 48)]))


def test_planners_take_what_a_room_holds_in_each_night() -> None:
    hall = Spot("hall", indoors=True, night_low_c=14.0, response=HALL)
    scene = Scene(
        collection(plant(shelter="hall"), spots=(OPEN_BENCH, hall)),
        FORECAST,
        {},
        START + timedelta(hours=20),
    )

    lows = [spot_lows(scene, sun.night_of(MENDOZA, date(2026, 5, day)))[1] for day in (14, 16, 30)]

    outdoors = np.array([4.0, 1.0, 1.0])
    assert lows == pytest.approx(HALL.taken_to_hold(outdoors, 14.0, None))


def test_a_forecast_that_is_too_old_says_nothing_of_what_a_room_holds() -> None:
    mild = weather(START, daily_curve(8.0, 16.0, 96))
    hall = Spot("hall", indoors=True, response=HALL)
    night = sun.night_of(MENDOZA, date(2026, 5, 15))

    fresh, old = (
        Scene(
            collection(plant(shelter="hall"), spots=(OPEN_BENCH, hall)),
            mild,
            {},
            START + timedelta(hours=hours),
        )
        for hours in (20, 40)
    )

    assert held_by_night(fresh, night)[1] > held_by_night(old, night)[1]
    assert held_by_night(old, night)[1] == HALL.lower_side(np.array(HALL.coldest_c))
