"""What a revision changes about the chores of a round as they stand in the ledger."""

from collections.abc import Sequence
from collections.abc import Set as AbstractSet
from dataclasses import replace
from datetime import UTC, datetime

from sillward.ledger import StoredChore
from sillward_rules.chore import Chore, ChoreKind, Grounds
from sillward_rules.revision import Revision, only

PatchedChore = tuple[Chore, datetime | None]
"""A chore, and when it last got another hour or more plants, if it did since it was told."""


def patch_chores(
    chores: Sequence[StoredChore], revision: Revision, at: datetime
) -> tuple[list[PatchedChore], list[str]]:
    """Return the chores that a revision changes, as they are from now on, and the ids of those
    that are called off.

    Every plant leaves the chore that it was in, and joins one at its new hour. A chore that plants
    join is marked with the time `at`.
    """
    before = {stored.id: (stored.chore, stored.changed_at) for stored in chores if stored.open}
    closed = {stored.id for stored in chores if not stored.open}
    arriving: list[Chore] = [*revision.added, *(moved.chore for moved in revision.moved)]
    leaving = {(order.kind, name) for order in revision.called_off for name in order.plants}
    leaving |= {(chore.kind, name) for chore in arriving for name in chore.plants}
    remaining = {
        chore_id: (_without(chore, leaving), changed_at)
        for chore_id, (chore, changed_at) in before.items()
    }
    emptied = {chore_id for chore_id, (chore, _) in remaining.items() if not chore.plants}
    after = {chore_id: patch for chore_id, patch in remaining.items() if chore_id not in emptied}
    for chore in arriving:
        _join(after, chore, at, closed)
    changed = [patch for chore_id, patch in after.items() if patch != before.get(chore_id)]
    return changed, sorted(emptied - after.keys())


def _without(chore: Chore, leaving: AbstractSet[tuple[ChoreKind, str]]) -> Chore:
    """Return the chore without the plants that leave it."""
    staying = [name for name in chore.plants if (chore.kind, name) not in leaving]
    return chore if len(staying) == len(chore.plants) else only(chore, staying)


def _join(
    chores: dict[str, PatchedChore], new: Chore, at: datetime, closed: AbstractSet[str]
) -> None:
    """Add a chore to the one with the same spots and hours, or else under an id of its own."""
    number = 1
    while True:
        chore_id = new.id if number == 1 else f"{new.id}-{number}"
        if chore_id in chores:
            known, _ = chores[chore_id]
            if _spot_and_hours(known) == _spot_and_hours(new):
                chores[chore_id] = _united(known, new), at
                return
        elif chore_id not in closed:
            chores[chore_id] = replace(new, id=chore_id), at
            return
        number += 1


def _spot_and_hours(chore: Chore) -> tuple[object, ...]:
    """Return what two chores of one kind and origin must share to be one: their spot and hours."""
    # In UTC: two times of different zones are never equal in an hour that comes twice.
    start = None if chore.not_before is None else chore.not_before.astimezone(UTC)
    return chore.before.astimezone(UTC), start, chore.to_spot


def _united(chore: Chore, other: Chore) -> Chore:
    """Return one chore for the plants of both."""
    return replace(
        chore,
        plants=(*chore.plants, *other.plants),
        grounds=Grounds.joined([chore.grounds, other.grounds]),
        unconfirmed=(*chore.unconfirmed, *other.unconfirmed),
    )
