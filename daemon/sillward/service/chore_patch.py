"""What a revision changes about the chores of a round as they stand in the ledger."""

from collections.abc import Mapping, Sequence
from collections.abc import Set as AbstractSet
from datetime import datetime
from typing import Any

from sillward.ledger import StoredChore
from sillward.ledger.chore_codec import of_chore
from sillward.ledger.records import to_text
from sillward_rules.chore import Chore
from sillward_rules.revision import Revision
from sillward_rules.weather.site import Site

Document = dict[str, Any]
"""A chore as the ledger stores it."""


def patch_chores(
    chores: Sequence[StoredChore], revision: Revision, at: datetime, site: Site
) -> tuple[list[Document], list[str]]:
    """Return the chores that a revision changes, as they are from now on, and the ids of those
    that are called off.

    Every plant leaves the chore that it was in, and joins one at its new hour. What has changed is
    marked with the time `at`.
    """
    before = {chore.id: chore.document for chore in chores if chore.open}
    closed = {chore.id for chore in chores if not chore.open}
    arriving: list[Chore] = [*revision.added, *(moved.chore for moved in revision.moved)]
    leaving = {(order.kind.value, name) for order in revision.called_off for name in order.plants}
    leaving |= {(chore.kind.value, name) for chore in arriving for name in chore.plants}
    remaining = {key: _without(document, leaving) for key, document in before.items()}
    emptied = {key for key, document in remaining.items() if not document["plants"]}
    after = {key: document for key, document in remaining.items() if key not in emptied}
    for chore in arriving:
        _join(after, {**of_chore(chore, site), "changed": to_text(at)}, closed)
    changed = [document for key, document in after.items() if document != before.get(key)]
    return changed, sorted(emptied - after.keys())


def _without(document: Document, leaving: AbstractSet[tuple[str, str]]) -> Document:
    """The chore without the plants that leave it."""
    staying = [name for name in document["plants"] if (document["chore"], name) not in leaving]
    because = [reason for reason in document["because"] if reason["plant"] in staying]
    return {**document, "plants": staying, "because": because}


def _join(chores: dict[str, Document], new: Document, closed: AbstractSet[str]) -> None:
    """Add a chore to the one of its way and hour, or beside the others under an id of its own."""
    base, number = new["id"], 1
    while True:
        key = base if number == 1 else f"{base}-{number}"
        known = chores.get(key)
        if known is None and key not in closed:
            chores[key] = {**new, "id": key}
            return
        if known is not None and _are_alike(known, new):
            chores[key] = {
                **known,
                "changed": new["changed"],
                "plants": [*known["plants"], *new["plants"]],
                "because": [*known["because"], *new["because"]],
            }
            return
        number += 1


def _are_alike(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    """Whether two chores of one kind and origin are at the same hour and go the same way."""
    return all(one[key] == other[key] for key in ("before", "not_before", "to"))
