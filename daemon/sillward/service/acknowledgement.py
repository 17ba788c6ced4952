"""What the grower answers is recorded: chores that are done, or not done after all.

The rules of what an answer changes about a plant are the core's (`sillward_rules.transitions`).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sillward.ledger import Ledger, StoredChore
from sillward_rules.plants.state import PlantState
from sillward_rules.transitions import answered, is_older


@dataclass(frozen=True, slots=True)
class Acknowledged:
    """A chore that was said to be done, and for which plants.

    elsewhere: plants that a later order has moved on since, each with the spot where it is; for
    these the answer changes nothing. A chore that had been acknowledged before stays as it was.
    """

    chore: StoredChore
    plants: Sequence[str]
    elsewhere: Mapping[str, str]

    @property
    def done_before(self) -> datetime | None:
        """When it had been acknowledged already, or None."""
        return self.chore.done_at


@dataclass(frozen=True, slots=True)
class TakenBack:
    """An acknowledgement that was taken back.

    moved: plants that have been moved since, and were left as they are.
    """

    chores: Sequence[str]
    moved: Sequence[str]


def acknowledge(
    ledger: Ledger,
    site: str,
    chosen: Sequence[tuple[StoredChore, Sequence[str]]],
    now: datetime,
) -> list[Acknowledged]:
    """Record, in one transaction, that chores are done for these plants; return what came of it."""
    states = ledger.plants.states(site)
    changed: dict[str, PlantState] = {}
    results = []
    for chore, names in chosen:
        elsewhere: dict[str, str] = {}
        if chore.done_at is None:
            kind, to_spot = chore.kind, chore.chore.to_spot
            for name in names:
                before = changed.get(name) or states.get(name) or PlantState(chore.chore.from_spot)
                changed[name] = after = answered(before, kind, to_spot, chore.before, now)
                if is_older(before, kind, chore.before) and after.spot != to_spot:
                    elsewhere[name] = after.spot
        results.append(Acknowledged(chore, names, elsewhere))
    newly_done = {
        result.chore.id: result.plants for result in results if result.done_before is None
    }
    if newly_done:
        ledger.confirm(site, now, newly_done, changed)
    return results


def take_back(ledger: Ledger, site: str, about: str | None) -> TakenBack | None:
    """Take back the last acknowledgement, or the last of a chore; None if there is none.

    about: a chore's id or kind, or None for whatever came last.
    """
    answer = ledger.confirmations.last(site, about)
    if answer is None:
        return None
    return TakenBack(answer.chores, ledger.undo(site, answer))
