"""Accepted limits: laid over the collection wherever it decides, and void once it is edited."""

from dataclasses import replace
from datetime import timedelta

from sillward.config.household import Household
from sillward.ledger import Ledger
from sillward.ledger.tables.accepted_limits import AcceptedLimit
from sillward.service.accepted_limits import (
    LimitChange,
    accept,
    applied,
    as_given,
    plant_as_given,
    take_back,
    void,
)
from sillward_rules.chore import ChoreKind
from sillward_rules.plants.limits import Limit, Limits
from tests.support.desks import DAY, SITE, World, a_household, a_world, local

AT = local("09:00")


def accepted(
    ledger: Ledger, value: float = 12.0, was: float = 8.0, plant: str = "Left pot"
) -> None:
    change = LimitChange("night_low", was, value, was)
    accept(ledger, SITE.name, plant, [change], AT, "Ana", "after damage seen 2026-05-13")


def limit_of(household: Household, plant: str = "Left pot") -> Limit:
    (found,) = [each for each in household.collection.plants if each.name == plant]
    assert found.limits.night_low is not None
    return found.limits.night_low


def test_an_accepted_limit_counts_and_says_where_it_is_from() -> None:
    ledger, household = Ledger(":memory:"), a_household()
    assert applied(household, ledger) is household

    accepted(ledger)
    found = applied(household, ledger)

    assert limit_of(found) == Limit(
        12.0,
        "your own limit: accepted 2026-05-14 after damage seen 2026-05-13 (was 8 °C)",
        Limit(8.0, "your own limit"),
    )
    assert limit_of(found, "Right pot").value == 8.0
    assert applied(found, ledger) is found
    assert as_given(found) == household
    assert [deed.what for deed in ledger.deeds.latest(SITE.name, 9)] == ["limit accepted"]


def test_a_limit_that_the_grower_has_edited_since_counts() -> None:
    ledger, household = Ledger(":memory:"), a_household()
    accepted(ledger, was=9.0)

    assert applied(household, ledger) is household
    assert [limit.plant for limit in void(household, ledger)] == ["Left pot"]

    accepted(ledger)
    assert void(applied(household, ledger), ledger) == []


def test_what_is_accepted_of_a_plant_that_is_gone_does_nothing() -> None:
    ledger, household = Ledger(":memory:"), a_household()
    accepted(ledger, plant="Gone")

    assert applied(household, ledger) is household
    assert void(household, ledger) == []


def test_a_limit_that_is_no_limit_of_cold_is_left_alone() -> None:
    ledger, household = Ledger(":memory:"), a_household()
    row = AcceptedLimit("Left pot", "rot", 1.0, 1.0, AT, None, "")
    ledger.accepted_limits.keep(SITE.name, [row])

    assert applied(household, ledger) is household


def test_a_limit_that_is_taken_back_is_that_of_the_collection_again() -> None:
    ledger, household = Ledger(":memory:"), a_household()
    accepted(ledger)
    found = applied(household, ledger)

    assert take_back(ledger, SITE.name, "Left pot", AT, None)
    assert applied(found, ledger) == household
    assert not take_back(ledger, SITE.name, "Left pot", AT, None)


def test_a_limit_of_rest_and_one_of_injury_can_be_accepted_too() -> None:
    ledger, household = Ledger(":memory:"), a_household()
    first, *others = household.collection.plants
    limits = Limits(Limit(8.0, "own"), brief_low=Limit(3.0, "own"), rest_low=Limit(6.0, "own"))
    plants = (replace(first, limits=limits), *others)
    household = replace(household, collection=replace(household.collection, plants=plants))
    names = {"night_low": 8.0, "brief_low": 3.0, "rest_low": 6.0}
    changes = [LimitChange(name, was, was + 2, was) for name, was in names.items()]

    accept(ledger, SITE.name, first.name, changes, AT, None, "after damage")

    plant = applied(household, ledger).collection.plants[0]
    assert plant.limits.brief_low is not None
    assert plant.limits.rest_low is not None
    assert (plant.limits.brief_low.value, plant.limits.rest_low.value) == (5.0, 8.0)
    assert plant_as_given(plant) == plants[0]


def test_a_desk_takes_an_accepted_limit_over_at_its_next_tick() -> None:
    world: World = a_world("16:59", low_c=10.0)
    desk = world.desk
    desk.tick()
    accepted(world.ledger)

    world.clock.now += timedelta(minutes=1)
    desk.tick()

    (chore,) = [
        each
        for each in world.ledger.chores.of_day(SITE.name, DAY)
        if each.kind is ChoreKind.CARRY_IN
    ]
    assert chore.plants == ("Left pot",)


def test_a_desk_that_starts_has_the_accepted_limits() -> None:
    world = a_world(low_c=10.0)
    accepted(world.ledger)

    assert limit_of(world.desk.context.household).value == 12.0
    assert limit_of(world.household).value == 8.0
