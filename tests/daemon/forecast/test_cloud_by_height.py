"""Cloud by height from the wire to the order: high cloud lets a night cool, low cloud does not."""

from dataclasses import replace
from datetime import timedelta
from typing import Any

import numpy as np
import pytest

from sillward.forecast.sources import met_norway, open_meteo
from sillward_rules.chore import ChoreKind
from sillward_rules.explanation import explain_plant
from sillward_rules.plants.collection import Habits
from sillward_rules.plants.state import PlantState
from sillward_rules.sheet import Round, draw_up
from sillward_rules.weather.hourly import CLOUD_LAYERS, Weather, same_forecast, with_past
from sillward_rules.weather.second_opinion import second_opinion
from sillward_rules.weather.spot import Spot
from tests.support import core
from tests.support.bodies import START, body, dumped
from tests.support.met_bodies import met_body

NOW = START + timedelta(hours=20)
"""17:00 at the site; the sun sets at 18:42."""

BENCH = Spot("bench", sky_view=0.9, wind=0.5, night_offset_k=0.0, day_offset_k=0.0, rain=0.0)
COLLECTION = core.collection(
    core.plant(night_low=14.0),
    site=core.MENDOZA,
    spots=(BENCH, core.WARM_ROOM),
    habits=Habits(caution=0.0),
)
"""At 15 °C all night: too cold under a clear sky, warm enough under an overcast one. What the
forecast itself asks for, and no more, counts."""

STATE = {"Test strap": PlantState("bench")}


def from_open_meteo(*layers: Any) -> Weather:
    names = ("cloud_cover_low", "cloud_cover_mid", "cloud_cover_high")
    series: dict[str, Any] = dict(zip(names, layers, strict=False))
    made = body(cloud_cover=100, **series)
    return open_meteo.parse(dumped(made), core.MENDOZA, NOW)


def from_met_norway(*layers: Any) -> Weather:
    names = ("cloud_area_fraction_low", "cloud_area_fraction_medium", "cloud_area_fraction_high")
    series: dict[str, Any] = dict(zip(names, layers, strict=False))
    made = met_body(NOW, cloud_area_fraction=100.0, **series)
    return met_norway.parse(dumped(made), core.MENDOZA, NOW)


def carried_in(weather: Weather) -> bool:
    sheet = draw_up(Round.DUSK, COLLECTION, weather, STATE, NOW)
    return any(chore.kind is ChoreKind.CARRY_IN for chore in sheet.chores)


@pytest.mark.parametrize("source", [from_open_meteo, from_met_norway])
def test_a_night_under_high_thin_cloud_is_a_cold_one(source: Any) -> None:
    assert carried_in(source(0, 0, 100))
    assert not carried_in(source(100, 0, 0))
    assert not carried_in(source())


@pytest.mark.parametrize("source", [from_open_meteo, from_met_norway])
def test_layers_that_are_torn_leave_the_cover_of_the_sky(source: Any) -> None:
    for torn in ((None, 0, 100), (0, None, 100), (0, 0, None)):
        assert not carried_in(source(*torn))


def test_layers_are_kept_by_all_that_makes_one_weather_of_two() -> None:
    own, other = from_met_norway(0, 10, 100), from_open_meteo(30, 20, 60)

    joined = with_past(own, other)
    added = joined.times.size - own.times.size
    assert added == 20
    for name in CLOUD_LAYERS:
        past, ahead = np.split(getattr(joined, name), [added])
        np.testing.assert_array_equal(past, getattr(other, name)[:added])
        np.testing.assert_array_equal(ahead, getattr(own, name))

    colder = second_opinion(core.MENDOZA, own, _colder(other), NOW)
    assert colder.temp_c.min() < own.temp_c.min()
    for name in CLOUD_LAYERS:
        np.testing.assert_array_equal(getattr(colder, name), getattr(own, name))


def test_the_layers_of_a_body_that_came_before_them_do_not_make_it_another_forecast() -> None:
    assert same_forecast(from_open_meteo(0, 0, 100), from_open_meteo(), NOW)


def test_the_account_of_a_plant_tells_the_layers() -> None:
    (first, *_) = explain_plant(
        COLLECTION.plants[0], COLLECTION, from_open_meteo(0, 20, 100), STATE, NOW
    ).hours

    layers = [first.forecast[name] for name in ("cloud", *CLOUD_LAYERS)]
    assert layers == pytest.approx([1.0, 0.0, 0.2, 1.0])


def _colder(weather: Weather) -> Weather:
    temp = weather.temp_c - 8.0
    return replace(weather, temp_c=temp, dew_point_c=np.minimum(temp, weather.dew_point_c))
