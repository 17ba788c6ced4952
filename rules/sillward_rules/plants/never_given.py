"""Feeds and courses with a name that reach some of their plants by no plan."""

from collections.abc import Iterator

from sillward_rules.plants.collection import Collection
from sillward_rules.plants.feeds import Course, Feed


def out_of_reach(collection: Collection) -> Iterator[tuple[Feed | Course, tuple[str, ...]]]:
    """Yield each feed and course with those of its plants that no rule mists and that have no pot.

    They are given nothing by any plan: it goes with a misting or with the water of a pot.
    """
    mists = [rule.plants for rule in collection.rules if rule.asks == "mist"]
    if not collection.habits.mistings_most:
        mists = []
    every: tuple[Feed | Course, ...] = (*collection.feeds, *collection.courses)
    for one in every:
        names = tuple(
            plant.name
            for plant in collection.plants
            if one.plants.includes(plant)
            and plant.pot is None
            and not any(which.includes(plant) for which in mists)
        )
        if names:
            yield one, names
