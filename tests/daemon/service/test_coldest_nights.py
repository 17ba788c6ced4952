"""The coldest night of a plant in a year is kept when all that it was known from is forgotten."""

from datetime import date, timedelta

from sillward.ledger.ledger import KEPT_DAYS
from sillward.ledger.tables.readings import READINGS_DAYS, HandReading
from sillward.reports.plant_years import years_of
from sillward.service import answers
from sillward.service.coldest_nights import ColdestNights
from sillward_rules.readings.hourly_readings import Quantity
from sillward_rules.weather.sun import night_of
from tests.support.desks import DAY, SITE, World, a_world, local

YESTERDAY = DAY - timedelta(days=1)
EARLIER = DAY - timedelta(days=3)


def world() -> tuple[World, str]:
    made = a_world("12:00")
    (plant, *_) = made.household.collection.plants
    answers.move(made.ledger, SITE.name, plant.name, "bench", local("09:00", EARLIER))
    return made, plant.name


def read(world: World, low_c: float, night: date = YESTERDAY) -> int:
    at = night_of(SITE, night).end
    reading = HandReading("bench", Quantity.TEMPERATURE, low_c, at, night)
    return world.ledger.readings.add_by_hand(SITE.name, reading, at)


def kept(world: World, plant: str) -> list[tuple[str, float]]:
    found = world.ledger.coldest_nights.of_plant(SITE.name, plant)
    return [(str(each.night), each.low_c) for each in found]


def test_it_is_kept_when_readings_and_chores_are_forgotten() -> None:
    made, plant = world()
    nights = ColdestNights(made.desk.context)
    read(made, 6.5, EARLIER)
    read(made, 7.25)
    nights.look()
    later = local("12:00") + timedelta(days=max(KEPT_DAYS, READINGS_DAYS) + 40)
    made.ledger.prune(later)

    (year,) = years_of(made.ledger, SITE, plant, [], later)
    assert year.coldest is not None
    assert (year.coldest.night, year.coldest.low_c, year.coldest.is_read) == (EARLIER, 6.5, True)
    assert (year.coldest.spots, year.coldest.is_known) == (("bench",), True)


def test_a_reading_that_is_corrected_within_days_is_taken_back() -> None:
    made, plant = world()
    number = read(made, 1.5)
    read(made, 7.25, EARLIER)
    ColdestNights(made.desk.context).look()
    assert kept(made, plant) == [(str(YESTERDAY), 1.5)]

    made.ledger.readings.delete_by_hand(SITE.name, number)
    ColdestNights(made.desk.context).look()
    assert kept(made, plant) == [(str(EARLIER), 7.25)]


def test_it_is_looked_at_once_a_day_and_not_before_the_night_is_over() -> None:
    made, plant = world()
    nights = ColdestNights(made.desk.context)
    nights.look()
    read(made, 7.25)
    nights.look()
    assert kept(made, plant) == []
    made.clock.now = local("12:00") + timedelta(days=1)
    nights.look()
    assert kept(made, plant) == [(str(YESTERDAY), 7.25)]


def test_of_plants_of_which_nothing_is_known_nothing_is_kept() -> None:
    made = a_world("12:00")
    ColdestNights(made.desk.context).look()

    assert all(kept(made, plant.name) == [] for plant in made.household.collection.plants)
