"""One yardstick for two replays: the limits by which the nights of both are judged.

A higher limit makes more nights count as too cold, whatever is done about them. Were each replay
judged by its own limits, a more cautious one would look worse than it is.
"""

from dataclasses import replace

from sillward_rules.plants.collection import Collection
from sillward_rules.plants.limits import Limits, tenderest
from sillward_rules.plants.plant import Plant


def judged_with(collection: Collection, other: Collection) -> Collection:
    """Return a collection whose night limits are the higher ones of it and another.

    Plants that the other does not have keep theirs; where they stand and shelter is not changed.
    """
    limits = {plant.name: plant.limits for plant in other.plants}
    plants = tuple(
        _with_higher(plant, limits[plant.name]) if plant.name in limits else plant
        for plant in collection.plants
    )
    return collection if plants == collection.plants else replace(collection, plants=plants)


def _with_higher(plant: Plant, other: Limits) -> Plant:
    higher = tenderest([plant.limits, other])
    limits = replace(
        plant.limits,
        night_low=higher.night_low,
        rest_low=higher.rest_low,
        brief_low=higher.brief_low,
    )
    return plant if limits == plant.limits else replace(plant, limits=limits)
