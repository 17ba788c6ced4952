"""Where a plant has been: by its moves, by chores that were done, and by those nobody confirmed."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property

from sillward.ledger import Ledger, StoredChore
from sillward_rules.chore import ChoreKind
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.state import PlantState
from sillward_rules.weather.site import Site

MOVES_SINCE = timedelta(days=60)
"""So long before the time that is asked for moves are looked for. Judgement: as long as chores are
kept."""

_TAKES = frozenset({ChoreKind.CARRY_IN, ChoreKind.CARRY_OUT, ChoreKind.MOVE, ChoreKind.STAY_IN})
"""Chores that say where a plant is once they are done."""


About = Callable[[str, datetime], Sequence[StoredChore]]
"""Returns the chores of a plant whose deadline is not before a time, by deadline."""


class ChoresOfPlants:
    """The chores of all plants of a site, read at once, when they are first asked for.

    To look at each plant by itself, the ledger would go through all of them again.
    """

    def __init__(self, ledger: Ledger, site: Site, since: datetime) -> None:
        """Read those whose deadline is not before a time."""
        self._ledger, self._site, self._since = ledger, site, since

    @cached_property
    def _by_plant(self) -> Mapping[str, Sequence[StoredChore]]:
        found: dict[str, list[StoredChore]] = {}
        for chore in self._ledger.chores.due_since(self._site.name, self._since):
            for plant in dict.fromkeys(chore.plants):
                found.setdefault(plant, []).append(chore)
        return found

    def about(self, plant: str, since: datetime) -> list[StoredChore]:
        """Return what `ChoreTable.about` does, for a time that is not before that of all."""
        first = since.replace(microsecond=0)  # the ledger keeps whole seconds
        chores = self._by_plant.get(plant, ())
        return [chore for chore in chores if chore.before.replace(microsecond=0) >= first]


@dataclass(frozen=True, slots=True)
class Place:
    """Where a plant is from a time on: one spot, or two if it is not known which."""

    since: datetime
    spots: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Whereabouts:
    """Where a plant has been from the first time on at which that is known."""

    places: tuple[Place, ...]

    def at(self, at: datetime) -> tuple[str, ...]:
        """Return where the plant was at a time; nothing if that is not known."""
        earlier = [place for place in self.places if place.since <= at]
        return earlier[-1].spots if earlier else ()


def whereabouts(
    ledger: Ledger,
    site: Site,
    plant: Plant,
    chores: Sequence[StoredChore],
    state: PlantState | None,
    since: datetime,
) -> Whereabouts:
    """Return where a plant was.

    chores: of this plant, from a little before `since` on. state: what is known of it now.
    """
    moves = ledger.diary.moves_since(site.name, plant.name, since - MOVES_SINCE)
    found = [Place(move.seen_at, (move.text,)) for move in moves]
    for chore in chores:
        if chore.kind not in _TAKES:
            continue
        if chore.done_at is not None:
            found.append(Place(chore.done_at, (chore.chore.to_spot,)))
        elif chore.open and chore.kind is not ChoreKind.STAY_IN:
            found.append(Place(chore.before, (chore.chore.to_spot, chore.chore.from_spot)))
    if state is not None and state.since is not None and not state.assumed:
        found.append(Place(state.since, (state.spot,)))
    return Whereabouts(tuple(sorted(found, key=lambda place: place.since)))


def is_unmoved(about: About, plant: Plant, state: PlantState | None, at: datetime) -> bool:
    """Whether a plant of which nobody has said where it was at a time was at home all the same: for
    a long time before nobody was told to carry it, and nothing says that it was elsewhere."""
    chores = about(plant.name, at - MOVES_SINCE)
    takes = [chore.before <= at for chore in chores if chore.kind in _TAKES]
    was_elsewhere = state is not None and state.spot != plant.home and not takes
    return not any(takes) and not was_elsewhere
