"""When to begin with carrying, and what is heavy: only for plants of known size."""

from dataclasses import replace
from datetime import timedelta

import numpy as np

from sillward_rules.chore import ChoreKind, only
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.pot import Pot
from sillward_rules.sheet import Round, Sheet, draw_up, draw_up_orders
from tests.support.core import collection, daily_curve, plant, utc, weather

DUSK = utc("2024-05-14T20:30")
MORNING = utc("2024-05-14T11:00")
COLD = replace(
    weather(utc("2024-05-13T00:00"), daily_curve(4.0, 22.0, 96)), fetched_at=utc("2024-05-14T11:00")
)


def yard(*litres: float | None) -> Collection:
    pots = [None if volume is None else Pot(volume, "peat") for volume in litres]
    return collection(
        *(replace(plant(f"Pot {number:02}"), pot=pot) for number, pot in enumerate(pots))
    )


def drawn(plants: Collection, round_: Round = Round.DUSK) -> Sheet:
    return draw_up(round_, plants, COLD, {}, DUSK if round_ is Round.DUSK else MORNING)


def test_without_sizes_nothing_is_said() -> None:
    assert all(chore.load is None for chore in drawn(yard(None, None)).chores)


def test_what_goes_in_has_an_hour_to_begin_by() -> None:
    sheet = drawn(yard(3, 30, None))

    (into,) = [chore for chore in sheet.chores if chore.kind is ChoreKind.CARRY_IN]
    assert into.load is not None
    # The way, a light one, a heavy one, and one that counts as light.
    assert into.load.takes == timedelta(minutes=2 + 1.5 + 6 + 1.5)
    assert into.load.begin_by is not None
    spare = into.before - into.load.takes - into.load.begin_by
    assert timedelta(0) <= spare < timedelta(minutes=5)
    assert [one.plant for one in into.load.heavy] == ["Pot 01"]
    assert round(into.load.heavy[0].kg, 1) == 38.4
    rest = only(into, ["Pot 00"]).load
    assert rest is not None
    assert rest.heavy == ()


def test_orders_that_are_corrected_have_the_same_load() -> None:
    plants = yard(3, 30)

    whole = drawn(plants)
    orders = draw_up_orders(Round.DUSK, plants, COLD, {}, DUSK)

    loads = {chore.id: chore.load for chore in whole.chores}
    assert orders.chores
    assert all(chore.load == loads[chore.id] for chore in orders.chores)


def test_a_walk_that_must_begin_before_the_dusk_round_is_told_in_the_morning() -> None:
    def told(plants: Collection) -> set[str]:
        chores = drawn(plants, Round.MORNING).chores
        return {name for c in chores if c.kind is ChoreKind.CARRY_IN for name in c.plants}

    assert told(yard(*[None] * 40)) == set()
    assert told(yard(*[1.0] * 10)) == set()
    heavy = yard(*[30.0] * 40)
    assert told(heavy) == {plant.name for plant in heavy.plants}


def test_a_long_way_to_go_changes_no_deadline() -> None:
    def deadlines(litres: float | None) -> list[float]:
        chores = drawn(yard(*[litres] * 12)).chores
        return [c.before.timestamp() for c in chores if c.kind is ChoreKind.CARRY_IN]

    assert np.array_equal(deadlines(30.0), deadlines(None))
