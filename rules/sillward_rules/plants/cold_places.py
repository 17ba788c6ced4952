"""Where plants spend cold nights by what the grower has said, and what is wrong with these places.

This needs no forecast, so that a grower can find a warmer place before the first cold night. What
follows the weather is judged on the evening itself.
"""

from collections.abc import Iterator, Sequence

from sillward_rules.light_dataclass import dataclass
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.plant import Plant
from sillward_rules.weather.indoor_response import ENOUGH_NIGHTS, MIN_NIGHTS
from sillward_rules.weather.spot import Spot

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
    going: dict[str, list[tuple[Plant, float]]] = {}
    for plant in collection.plants:
        if (limit_c := _limit_c(plant)) is not None:
            going.setdefault(plant.shelter or plant.home, []).append((plant, limit_c))
    for spot in collection.spots:
        if not spot.holds_itself or spot.name not in going:
            continue
        held_c, there = _held_c(spot), going[spot.name]
        cold: dict[tuple[str, float] | None, list[tuple[Plant, float]]] = {}
        for plant, limit_c in there:
            if held_c is None:
                cold.setdefault(None, []).append((plant, limit_c))
            elif held_c < limit_c:
                warmer = _holding(collection.spots, limit_c)
                cold.setdefault(warmer, []).append((plant, limit_c))
        for warmer, those in cold.items():
            names = tuple(plant.name for plant, _ in those)
            limit_c = max(low for _, low in those)
            yield ColdRoom(spot.name, held_c, names, limit_c, len(there), warmer)


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


def _holding(spots: Sequence[Spot], limit_c: float) -> tuple[str, float] | None:
    """Return the coolest room that is known to hold a limit, as the sheet would choose it."""
    rooms = [(spot.name, _held_c(spot)) for spot in spots if spot.holds_itself]
    holding = [(name, held_c) for name, held_c in rooms if held_c is not None and held_c >= limit_c]
    return min(holding, key=lambda room: room[1], default=None)


def _held_c(spot: Spot) -> float | None:
    """Return what a room holds: as was typed, or as readings show on an ordinary night [°C]."""
    typed_c, read = spot.night_low_c, spot.response
    if read is None or read.nights < MIN_NIGHTS:
        return typed_c
    if typed_c is None or read.nights >= ENOUGH_NIGHTS:
        return read.usual_c
    return min(typed_c, read.usual_c)
