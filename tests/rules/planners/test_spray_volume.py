"""How much a misting takes: told where the span of every plant is known."""

from dataclasses import replace

import pytest

from sillward_rules.chore import ChoreKind, only
from sillward_rules.planners.spray_volume import with_spray
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.feeds import Recipe
from sillward_rules.plants.fertiliser import Fertiliser, Mix
from tests.support.chores import a_chore
from tests.support.core import collection, plant, utc

FEED = Recipe(Mix(Fertiliser(20.0, 20.0, 20.0), 0.25, 0.0), litres=0.3)


def yard(*spans: float | None) -> Collection:
    plants = [replace(plant(f"Pot {number}"), span_cm=span) for number, span in enumerate(spans)]
    return replace(collection(*plants), feed=FEED)


def misted(yard: Collection, kind: ChoreKind = ChoreKind.MIST) -> float | None:
    names = tuple(plant.name for plant in yard.plants)
    chore = replace(a_chore("mist-bench", utc("2024-05-14T12:00")), kind=kind, plants=names)
    (after,) = with_spray(yard, [chore])
    return None if after.spray is None else after.spray.litres


def test_a_misting_takes_what_its_plants_take_together() -> None:
    assert misted(yard(60, 60, 30)) == pytest.approx(2 * 0.339 + 0.085, abs=0.01)


def test_nothing_is_said_where_a_span_is_missing_or_nothing_is_sprayed() -> None:
    assert misted(yard(60, None)) is None
    assert misted(yard(None, None)) is None
    assert misted(yard(60, 60), ChoreKind.CARRY_OUT) is None


def test_a_feed_knows_its_filling_and_loses_its_volume_with_a_plant() -> None:
    two = yard(60, 60)
    names = tuple(plant.name for plant in two.plants)
    chore = replace(
        a_chore("feed-bench", utc("2024-05-14T12:00")), kind=ChoreKind.FEED, plants=names
    )

    (fed,) = with_spray(two, [chore])

    assert fed.spray is not None
    assert fed.spray.filling == 0.3
    assert only(fed, names[:1]).spray is None
