"""What rooms hold, learned night by night, on real rooms: eight of a house in Belgium."""

import tomllib
from datetime import date, timedelta
from functools import cache
from pathlib import Path
from typing import NamedTuple

import numpy as np

from sillward_rules.arrays import Array
from sillward_rules.readings.indoors import Typed, learn_response
from sillward_rules.weather.indoor_response import Form, IndoorResponse, running_mean

ROOMS = (
    "kitchen",
    "living_room",
    "laundry",
    "office",
    "bathroom",
    "ironing_room",
    "teenager",
    "parents",
)

FIRST = 5
"""Nights that a grower has read before typing what the room holds: their median."""

EVERY = 5
"""Every fifth night is predicted, to save time."""


@cache
def lows() -> tuple[date, dict[str, Array]]:
    """Return the first night, and the lows of each place by its name [°C]."""
    table = tomllib.loads(
        Path(__file__).with_name("rooms_of_a_house.toml").read_text(encoding="utf-8")
    )
    first = table.pop("first_night")
    return first, {name: np.array(values) / 10.0 for name, values in table.items()}


class Predicted(NamedTuple):
    """What was predicted of nights, with what came: arrays (night,)."""

    low_c: Array
    mean_c: Array
    sd_k: Array
    lower_c: Array
    typed_c: float
    last: IndoorResponse


@cache
def predicted(room: str) -> Predicted:
    """Predict nights of a room from those before it alone, with what was typed after five."""
    first, of_places = lows()
    low, outdoors = of_places[room], of_places["north_side"]
    days = [first + timedelta(days=night) for night in range(low.size)]
    typed = round(float(np.median(low[:FIRST])))
    rows = []
    for night in range(FIRST, low.size, EVERY):
        response = learn_response(days[:night], low[:night], outdoors[:night], Typed(typed))
        assert response is not None
        of_night = outdoors[night : night + 1]
        mean_low = running_mean(of_night, response.lag_nights, response.recent_c)
        mean, sd = response.predict(mean_low)
        rows.append((low[night], mean[0], sd[0], response.lower_side(mean_low)[0]))
    came, mean_c, sd_k, lower_c = np.array(rows).T
    assert response is not None
    return Predicted(came, mean_c, sd_k, lower_c, typed, response)


def test_they_are_found_to_follow_the_weather_as_heavy_walls_do() -> None:
    """A regression on all nights at once, which knows no drift, lays the spring on the weather."""
    for room in ROOMS:
        found = predicted(room).last
        _, of_places = lows()
        slow = running_mean(of_places["north_side"], found.lag_nights)
        slope = np.polyfit(slow[FIRST:], of_places[room][FIRST:], 1)[0]

        assert found.form is Form.FOLLOWS
        assert found.lag_nights >= 1
        assert 0.25 < found.gain < 0.5
        assert abs(found.gain - slope) < 0.15


def test_errors_are_a_third_of_those_of_what_was_typed() -> None:
    learned = np.concatenate([abs(of.low_c - of.mean_c) for of in map(predicted, ROOMS)])
    typed = np.concatenate([abs(of.low_c - of.typed_c) for of in map(predicted, ROOMS)])

    assert learned.mean() < 0.75
    assert typed.mean() > 2.0


def test_the_stated_range_and_the_lower_side_hold() -> None:
    of_rooms = [predicted(room) for room in ROOMS]
    within = [abs(of.low_c - of.mean_c) <= 1.96 * of.sd_k for of in of_rooms]
    below = [of.low_c < of.lower_c for of in of_rooms]

    assert 0.94 <= np.concatenate(within).mean() <= 0.99
    assert all(of_room.mean() >= 0.90 for of_room in within)
    assert np.concatenate(below).mean() <= 0.10
