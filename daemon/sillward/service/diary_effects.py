"""What an entry of the diary changes about the state of its plant.

Of most it changes nothing: they are kept, and told again. What does change something has a function
of the core here, which takes the state and when it was seen.
"""

from collections.abc import Callable, Iterable, Mapping
from datetime import datetime
from types import MappingProxyType

from sillward.ledger.tables.diary import DiaryEntry, EntryKind
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.state import PlantState, State

Effect = Callable[[PlantState, datetime], PlantState]
"""Returns the state of a plant once something was seen of it at a time."""

EFFECTS: Mapping[EntryKind, Effect] = MappingProxyType({})
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
    homes = {plant.name: plant.home for plant in collection.plants}
    changed: dict[str, PlantState] = {}
    for entry in sorted(entries, key=lambda entry: entry.seen_at):
        effect = effects.get(entry.kind)
        if effect is None or entry.plant not in homes:
            continue
        before = changed.get(entry.plant) or states.get(entry.plant)
        before = before or PlantState(homes[entry.plant])
        after = effect(before, entry.seen_at)
        if after != before:
            changed[entry.plant] = after
    return changed
