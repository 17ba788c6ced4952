"""Where plants spend cold nights by what the grower has said, and what is wrong with these places.

This needs no forecast, so that a grower can find a warmer place before the first cold night. What
follows the weather is judged on the evening itself. What a room holds, and to which one plants go
instead, is decided as on the sheet (`IndoorResponse.taken_to_hold`, `shelter.first_that_holds`).
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from sillward_rules.planners.shelter import first_that_holds
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.plant import Plant
from sillward_rules.weather.spot import Spot
from sillward_rules.weather.spot_columns import NO_SPOT

HARDY_C = -10.0
"""A plant with a limit of this or less is not missed in a room [°C]. Judgement: no culture group is
so hardy; a grower who writes it down means that the plant stays outdoors."""


@dataclass(frozen=True, slots=True)
class ColdRoom:
    """A room that keeps a temperature of its own, and does not keep plants that go there.

    - room, held_c: its name, and what it holds [°C]; None if nobody knows.
    - plants: those whose limit it does not hold. limit_c: the highest of their limits [°C].
    - of: how many plants with a limit go there.
    - warmer: the room to which the sheet sends them instead, as it is known to hold the limit of
      each, and what it holds; None if there is no such room.
    """

    room: str
    held_c: float | None
    plants: tuple[str, ...]
    limit_c: float
    of: int
    warmer: tuple[str, float] | None


def cold_rooms(collection: Collection) -> Iterator[ColdRoom]:
    """Yield each room that does not keep all plants that go there, in the order of the spots.

    A plant goes to its shelter; without one it stays where it lives, if that is a room. The lower
    limit of those that rest in winter counts. A room is yielded once for those that no room keeps,
    and once for each room that keeps others; one of which nobody knows what it holds, once.
    """
    spots = collection.spots
    holds_itself = np.array([spot.holds_itself for spot in spots], dtype=bool)
    held = np.array([_held_c(spot) if spot.holds_itself else np.nan for spot in spots])
    going: dict[str, list[tuple[Plant, float]]] = {}
    for plant in collection.plants:
        if (limit_c := _limit_c(plant)) is not None:
            going.setdefault(plant.shelter or plant.home, []).append((plant, limit_c))
    for column, spot in enumerate(spots):
        if not spot.holds_itself or spot.name not in going:
            continue
        there = going[spot.name]
        limits = np.array([limit_c for _, limit_c in there])
        warmer = np.full(limits.shape, NO_SPOT)
        if np.isfinite(held[column]):
            rooms = np.broadcast_to(holds_itself, (limits.size, holds_itself.size))
            warmer = first_that_holds(held, holds_itself, limits, rooms)
        held_c = float(held[column]) if np.isfinite(held[column]) else None
        fails = np.flatnonzero(~(held[column] >= limits))
        for goal in dict.fromkeys(warmer[fails].tolist()):
            those = fails[warmer[fails] == goal]
            yield ColdRoom(
                spot.name,
                held_c,
                tuple(there[number][0].name for number in those.tolist()),
                float(limits[those].max()),
                len(there),
                None if goal == NO_SPOT else (spots[goal].name, float(held[goal])),
            )


def without_shelter(collection: Collection) -> tuple[str, ...]:
    """Return the plants that live outdoors, have no shelter and are not hardy."""
    outdoors = {spot.name for spot in collection.spots if not spot.indoors}
    return tuple(
        plant.name
        for plant in collection.plants
        if plant.shelter is None
        and plant.home in outdoors
        and (limit_c := _limit_c(plant)) is not None
        and limit_c > HARDY_C
    )


def _limit_c(plant: Plant) -> float | None:
    """Return the limit that counts on winter nights, as on the sheet [°C]; None without any."""
    limits = plant.at_rest.limits
    both = (limits.night_low, limits.brief_low)
    return max((limit.value for limit in both if limit is not None), default=None)


def _held_c(spot: Spot) -> float:
    """Return what a room is taken to hold on an ordinary night [°C]; NaN if nobody knows."""
    typed_c, read = spot.night_low_c, spot.response
    if read is None:
        return np.nan if typed_c is None else typed_c
    ordinary = np.array([read.usual_outdoors_c])
    return float(read.taken_to_hold(ordinary, typed_c, spot.night_offset_k)[0])
