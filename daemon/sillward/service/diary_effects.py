"""What an entry of the diary changes about the state of its plant.

Of most it changes nothing: they are kept, and told again. What does change something has a function
of the core here, which takes the state and what was seen.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from types import MappingProxyType

from sillward.ledger.tables.diary import DiaryEntry, EntryKind
from sillward_rules.plants import sightings
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.pot_water import POT_WORDS, PotLook
from sillward_rules.plants.state import PlantState, State
from sillward_rules.weather.site import Site


@dataclass(frozen=True, slots=True)
class Seen:
    """What an entry of the diary says, for the core.

    - at, entered_at: when it was seen, and when that was written down.
    - what, amount: as in the entry.
    """

    plant: Plant
    site: Site
    at: datetime
    entered_at: datetime
    what: str | None = None
    amount: str | None = None


POT = "pot"
"""What a look is at that tells how wet the pot is."""

LEAF = "leaf"
"""What a look is at that tells whether leaves are better while a course runs."""

Effect = Callable[[PlantState, Seen], PlantState]
"""Returns the state of a plant once something was seen of it."""


def _growing(state: PlantState, seen: Seen, *, by_root: bool) -> PlantState:
    return sightings.seen_growing(
        state,
        seen.site.local_date(seen.at),
        seen.site.local_date(seen.entered_at),
        rests_dry=seen.plant.rests_dry,
        by_root=by_root,
    )


def pot_look(what: str | None, amount: str | None, at: datetime, told: datetime) -> PotLook | None:
    """Return the look at a pot that an entry tells of; None if it tells of something else."""
    words = {word: word for word in POT_WORDS}
    if what != POT or amount not in words:
        return None
    return PotLook(words[amount], _to_the_second(at), _to_the_second(told))


def _looked(state: PlantState, seen: Seen) -> PlantState:
    if seen.what == LEAF:
        return sightings.leaf_looked_at(state, _to_the_second(seen.at))
    look = pot_look(seen.what, seen.amount, seen.at, seen.entered_at)
    if look is None or seen.plant.pot is None:  # without a pot no water is worked out
        return state
    return sightings.looked_at(state, look)


def _repotted(state: PlantState, seen: Seen) -> PlantState:
    return sightings.repotted(state, _to_the_second(seen.at), seen.entered_at)


def _to_the_second(at: datetime) -> datetime:
    return at.replace(microsecond=0)


EFFECTS: Mapping[EntryKind, Effect] = MappingProxyType(
    {
        EntryKind.GROWTH: partial(_growing, by_root=False),
        EntryKind.ROOT: partial(_growing, by_root=True),
        EntryKind.LOOK: _looked,
        EntryKind.REPOTTED: _repotted,
    }
)
"""The kinds that change a plant's state."""


def state_without(
    entry: DiaryEntry, state: PlantState, site: Site, others: Iterable[DiaryEntry] = ()
) -> PlantState:
    """Return the state of a plant once an entry is deleted, as far as that can be.

    others: the other entries of the plant.
    """
    at = _to_the_second(entry.seen_at)
    match entry.kind:
        case EntryKind.REPOTTED:
            return sightings.repotting_taken_back(state, at)
        case EntryKind.GROWTH | EntryKind.ROOT:
            grew = (one for one in others if one.kind in (EntryKind.GROWTH, EntryKind.ROOT))
            days = [site.local_date(one.seen_at) for one in grew]
            return sightings.not_seen_growing(state, site.local_date(entry.seen_at), days)
        case EntryKind.LOOK:
            alike = (one for one in others if (one.kind, one.what) == (entry.kind, entry.what))
            times = [_to_the_second(one.seen_at) for one in alike]
            if entry.what == LEAF:
                return sightings.leaf_look_taken_back(state, at, max(times, default=None))
            look = pot_look(entry.what, entry.amount, entry.seen_at, entry.entered_at)
            if look is None:
                return state
            is_corrected = any(other >= at for other in times)
            return sightings.look_taken_back(state, look, is_corrected=is_corrected)
    return state


def states_after(
    entries: Iterable[DiaryEntry],
    states: State,
    collection: Collection,
    effects: Mapping[EntryKind, Effect] = EFFECTS,
) -> dict[str, PlantState]:
    """Return the states that entries change, in the order in which they were seen.

    A plant of which nothing is known so far is taken to be at its home; one that is not in the
    collection any more has no state.
    """
    plants = {plant.name: plant for plant in collection.plants}
    changed: dict[str, PlantState] = {}
    for entry in sorted(entries, key=lambda entry: entry.seen_at):
        effect = effects.get(entry.kind)
        if effect is None or entry.plant not in plants:
            continue
        before = changed.get(entry.plant) or states.get(entry.plant)
        plant = plants[entry.plant]
        before = before or PlantState(plant.home)
        times = entry.seen_at, entry.entered_at
        seen = Seen(plant, collection.site, *times, what=entry.what, amount=entry.amount)
        after = effect(before, seen)
        if after != before:
            changed[entry.plant] = after
    return changed
