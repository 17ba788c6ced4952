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
from sillward_rules import transitions
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.state import PlantState, State
from sillward_rules.weather.site import Site


@dataclass(frozen=True, slots=True)
class Seen:
    """What an entry of the diary says, for the core.

    - at, entered_at: when it was seen, and when that was written down.
    """

    plant: Plant
    site: Site
    at: datetime
    entered_at: datetime


Effect = Callable[[PlantState, Seen], PlantState]
"""Returns the state of a plant once something was seen of it."""


def _growing(state: PlantState, seen: Seen, *, by_root: bool) -> PlantState:
    return transitions.seen_growing(
        state,
        seen.site.local_date(seen.at),
        seen.site.local_date(seen.entered_at),
        rests_dry=seen.plant.rests_dry,
        by_root=by_root,
    )


EFFECTS: Mapping[EntryKind, Effect] = MappingProxyType(
    {
        EntryKind.GROWTH: partial(_growing, by_root=False),
        EntryKind.ROOT: partial(_growing, by_root=True),
    }
)
"""The kinds that change a plant's state."""


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
        after = effect(before, Seen(plant, collection.site, entry.seen_at, entry.entered_at))
        if after != before:
            changed[entry.plant] = after
    return changed
