"""The shelter of each plant for some nights ahead: one that is warm enough on all of them."""

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from sillward_rules.planners.shelters_ahead import ShelterAhead, shelters_ahead
from sillward_rules.weather.spot import Spot
from tests.support.core import OPEN_BENCH, collection, daily_curve, plant, weather

START = datetime(2026, 5, 14, tzinfo=UTC)
NOW = START + timedelta(hours=18)
SPOTS = (
    OPEN_BENCH,
    Spot("hall", indoors=True, night_low_c=8.0),
    Spot("sunroom", indoors=True, night_low_c=14.0),
    Spot("porch", indoors=True, night_offset_k=3.0),
)
MILD_THEN_COLD = weather(
    START, np.concatenate([daily_curve(12.0, 18.0, 48), daily_curve(2.0, 10.0, 96)])
)


def ahead(shelter: str, limit_c: float, last_day: int = 20) -> ShelterAhead:
    """Return where a plant goes that has this shelter and night limit [°C]."""
    one = plant(shelter=shelter, night_low=limit_c)
    found = shelters_ahead(
        collection(one, spots=SPOTS), MILD_THEN_COLD, {}, NOW, date(2026, 5, last_day)
    )
    return found[one.name]


@pytest.mark.parametrize(
    ("limit_c", "expected"),
    [
        (6.0, ShelterAhead("hall", is_sure=True)),
        (10.0, ShelterAhead("sunroom", is_sure=True)),
        (16.0, ShelterAhead("hall", is_sure=False)),
    ],
)
def test_it_is_the_own_one_unless_that_is_too_cold(limit_c: float, expected: ShelterAhead) -> None:
    assert ahead("hall", limit_c) == expected


def test_it_holds_on_each_night_up_to_the_last_day() -> None:
    assert ahead("porch", 10.0, last_day=14) == ShelterAhead("porch", is_sure=True)
    assert ahead("porch", 10.0) == ShelterAhead("sunroom", is_sure=True)


def test_without_a_forecast_only_rooms_that_are_known_are_sure() -> None:
    nothing = weather(START, np.full(96, np.nan))
    porch, hall = (plant(name, shelter=name, night_low=6.0) for name in ("porch", "hall"))
    sunny = tuple(spot for spot in SPOTS if spot.name != "sunroom")

    found = shelters_ahead(collection(porch, hall, spots=sunny), nothing, {}, NOW, NOW.date())
    assert found["hall"] == ShelterAhead("hall", is_sure=True)
    assert found["porch"] == ShelterAhead("hall", is_sure=True)

    alone = collection(porch, spots=(OPEN_BENCH, SPOTS[3]))
    assert shelters_ahead(alone, nothing, {}, NOW, NOW.date()) == {
        "porch": ShelterAhead("porch", is_sure=False)
    }


def homeless(limit_c: float, home: str = OPEN_BENCH.name) -> ShelterAhead | None:
    one = plant(home=home, shelter=None, night_low=limit_c)
    garden = collection(one, spots=SPOTS)
    return shelters_ahead(garden, MILD_THEN_COLD, {}, NOW, date(2026, 5, 20)).get(one.name)


def test_a_plant_without_a_shelter_goes_where_the_rounds_would_send_it() -> None:
    assert homeless(6.0) == ShelterAhead("hall", is_sure=True)
    assert homeless(10.0) == ShelterAhead("sunroom", is_sure=True)
    assert homeless(16.0) == ShelterAhead("sunroom", is_sure=False)
    assert homeless(10.0, "hall") == ShelterAhead("sunroom", is_sure=True)


def test_a_plant_that_may_stay_where_it_is_has_no_shelter() -> None:
    assert homeless(-15.0) is None, "it is hardy"
    assert homeless(10.0, "sunroom") is None
