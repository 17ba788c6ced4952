"""Confirmations are recorded: chores that a grower says are done, or not done after all.

What a confirmation changes about a plant's state is decided by the core
(`sillward_rules.transitions`).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sillward.ledger import Ledger, StoredChore
from sillward_rules.plants.state import PlantState
from sillward_rules.transitions import answered, is_older


@dataclass(frozen=True, slots=True)
class Confirmed:
    """A chore that was confirmed, and for which plants.

    A chore that had been confirmed before stays as it was.

    elsewhere: plants that a later order has moved since, each with the spot where it is; for these
    the confirmation changes nothing.
    """

    chore: StoredChore
    plants: Sequence[str]
    elsewhere: Mapping[str, str]

    @property
    def done_before(self) -> datetime | None:
        """When the chore had been confirmed already, or None."""
        return self.chore.done_at


@dataclass(frozen=True, slots=True)
class TakenBack:
    """A confirmation that was taken back.

    moved: plants that have been moved since, and were left as they are.
    """

    chores: Sequence[str]
    moved: Sequence[str]


def confirm(
    ledger: Ledger,
    site: str,
    chosen: Sequence[tuple[StoredChore, Sequence[str]]],
    now: datetime,
) -> list[Confirmed]:
    """Record, in one transaction, that chores are done for these plants; return each of them."""
    stored = ledger.plant_states.of_site(site)
    changed: dict[str, PlantState] = {}
    results = []
    for chore, names in chosen:
        elsewhere: dict[str, str] = {}
        if chore.done_at is None:
            kind, to_spot, deadline = chore.kind, chore.chore.to_spot, chore.before
            for name in names:
                old = changed.get(name) or stored.get(name) or PlantState(chore.chore.from_spot)
                changed[name] = new = answered(old, kind, to_spot, deadline, now)
                if is_older(old, kind, deadline) and new.spot != to_spot:
                    elsewhere[name] = new.spot
        results.append(Confirmed(chore, names, elsewhere))
    newly_done = {
        result.chore.id: result.plants for result in results if result.done_before is None
    }
    if newly_done:
        ledger.confirm(site, now, newly_done, changed)
    return results


def take_back(ledger: Ledger, site: str, about: str | None) -> TakenBack | None:
    """Take back the last confirmation; return None if there is none.

    about: the id or kind of a chore, to take back the last confirmation of it; None for any.
    """
    confirmation = ledger.confirmations.last(site, about)
    if confirmation is None:
        return None
    return TakenBack(confirmation.chores, ledger.undo(site, confirmation))
