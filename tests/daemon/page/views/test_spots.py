"""The pages of spots: tonight, what was read, what was learned, and who stands there."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import pytest

from sillward.page.keys import key_of
from sillward_rules.plants.state import PlantState
from sillward_rules.readings.hourly_readings import HourlyReadings, Quantity, by_the_hour
from sillward_rules.weather.spot import Spot
from tests.support.desks import BENCH, SITE, a_plant
from tests.support.page_worlds import BENCH_PAGE, SCRIPT, US, a_garden, a_visitor
from tests.support.pages import Visitor
from tests.support.sensors import BENCH as BENCH_SENSOR


def at(moments: Sequence[datetime], value: float) -> HourlyReadings:
    """Readings of a sensor at these moments, all of the same value."""
    times = np.array([moment.timestamp() for moment in moments])
    return by_the_hour(times, np.full(times.shape, value))


def test_all_spots_are_listed_with_tonights_low_and_their_plants() -> None:
    words = Visitor().says("/spots")

    assert "pergola Tonight 4.0 °C at 08:00, give or take 1.4 °C" in words
    assert "back hall Tonight 8.0 °C Last read nothing so far" in words


def test_the_last_reading_is_shown_with_its_age() -> None:
    visitor, world = a_visitor()
    world.ledger.readings.keep(
        SITE.name,
        "bench",
        Quantity.TEMPERATURE,
        "garden/bench",
        at([world.clock() - timedelta(minutes=12)], 11.4),
    )

    assert "Last read 11.4 °C, 12 min old" in visitor.says("/spots")


def test_a_sensor_that_has_gone_quiet_is_named() -> None:
    household = replace(a_garden(), sensors=(BENCH_SENSOR,))
    visitor, world = a_visitor(household)
    started = world.clock() - timedelta(days=3)
    moments = [started + timedelta(minutes=10 * step) for step in range(200)]
    world.ledger.readings.keep(
        SITE.name,
        "bench",
        Quantity.TEMPERATURE,
        BENCH_SENSOR.name,
        at(moments, 9.0),
    )

    assert "a sensor is quiet" in visitor.says("/spots")
    assert "quiet since" in visitor.says(BENCH_PAGE)


def test_a_spot_says_what_it_is_taken_to_be_and_what_nobody_has_said() -> None:
    spot = Spot("bench", sky_view=0.5, night_offset_k=0.8)
    visitor, _ = a_visitor(a_garden(spots=(spot, Spot("room", indoors=True, night_low_c=16.0))))

    words = visitor.says(BENCH_PAGE)

    assert "Nights 0.8 °C warmer than the forecast" in words
    assert "Sky sees 50 %" in words
    assert "sun is not given" in words
    room = visitor.says(f"/spots/{key_of('room')}")
    assert "Holds at night 16 °C" in room


def test_plants_are_listed_where_they_stand_and_it_is_said_what_is_assumed() -> None:
    visitor, world = a_visitor(a_garden(a_plant("Left pot"), a_plant("Right pot")))
    world.ledger.plant_states.keep(
        SITE.name,
        {
            "Left pot": PlantState("room", world.clock(), assumed=False),
            "Right pot": PlantState("room", world.clock(), assumed=True),
        },
    )

    room = visitor.says(f"/spots/{key_of('room')}")

    assert "Plants here now Left pot Right pot assumed" in room
    assert "Plants here now None." in visitor.says(BENCH_PAGE)


def test_names_are_escaped_and_not_in_addresses() -> None:
    spot = replace(BENCH, name=SCRIPT)
    plant = replace(a_plant("Pot"), home=SCRIPT)
    visitor, _ = a_visitor(a_garden(plant, spots=(spot, Spot("room", indoors=True))))

    for path in ("/spots", f"/spots/{key_of(SCRIPT)}"):
        assert "<script>alert" not in visitor.get(path)


def test_units_are_the_growers() -> None:
    visitor, _ = a_visitor(a_garden(units=US))

    for path in ("/spots", BENCH_PAGE):
        words = visitor.says(path)
        assert "37.5 °F at 9:00 am" in words
        assert "°C" not in words


@pytest.mark.parametrize("path", ["/spots", BENCH_PAGE])
def test_without_a_forecast_tonight_is_not_known(path: str) -> None:
    visitor, _ = a_visitor(forecast=False)

    assert "not known: treat it as cold" in visitor.says(path)


def test_a_key_of_no_spot_leads_nowhere() -> None:
    visitor, _ = a_visitor()

    assert visitor.client.get("/spots/000000000000").status_code == 404
