"""Orders once they have been told: which round holds, what a newer forecast makes of its chores,
and how much of that is said.

The daemon and the replay both go by this; what either keeps its orders in is its own.
"""

from collections.abc import Callable, Mapping
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime

from sillward_rules.chore import Chore, ChoreKind, Grounds, only
from sillward_rules.revision import Order, Revision, hour_of
from sillward_rules.round import Round
from sillward_rules.sheet import Sheet
from sillward_rules.weather import sun
from sillward_rules.weather.site import Site

KEPT_FOR_MORE = 2
"""This many of a round's messages are kept for what is more to do. Judgement."""


# -- which round holds


@dataclass(frozen=True, slots=True)
class RoundInForce:
    """A daily round that has been told.

    until: the time until which its orders are worth following.
    """

    round: Round
    day: date
    until: datetime


def round_in_force(
    site: Site,
    now: datetime,
    is_told: Callable[[Round, date], bool],
    dusk_on: Callable[[date], datetime],
) -> RoundInForce | None:
    """Return the round whose orders hold now: tonight's dusk, else this morning until dusk.

    None if it has not been told. is_told: whether the round of a date was told. dusk_on: when the
    dusk round of a date is due.
    """
    night = sun.night_at_or_after(site, now)
    if is_told(Round.DUSK, night.day):
        return RoundInForce(Round.DUSK, night.day, night.end)
    today = site.local_date(now)
    if is_told(Round.MORNING, today):
        dusk = dusk_on(today)
        if now < dusk:
            return RoundInForce(Round.MORNING, today, dusk)
    return None


def chores_of(sheet: Sheet, day: date) -> list[Chore]:
    """Return the chores that belong to a round of this date.

    What is still open from an earlier day is on its sheet too, but belongs to the round of that
    day.
    """
    return [chore for chore in sheet.chores if chore.overdue_since is None or chore.day >= str(day)]


# -- what is said of a revision


def allowed_messages(revision: Revision, max_messages: int) -> int:
    """Return how many messages of a round a channel may have had for a revision still to be told.

    It must be fewer. max_messages: the most that a channel gets of a round.
    """
    return max_messages if revision.added else max(1, max_messages - KEPT_FOR_MORE)


def without_messages(revision: Revision) -> Revision:
    """Return what holds of a revision for which no channel has messages left.

    New orders are open from now on: `status`, the next sheet and a reminder show them. What is off,
    or due at another hour, stays as it was told.
    """
    return Revision(added=revision.added)


# -- what a revision changes about chores


PatchedChore = tuple[Chore, datetime | None]
"""A chore, and when it last got another hour or more plants, if it did since it was told."""


def order_of(chore: Chore) -> Order:
    """Return a chore as it was told."""
    return Order(chore.id, chore.kind, chore.plants, chore.from_spot, chore.to_spot, hour_of(chore))


def patch_chores(
    before: Mapping[str, PatchedChore],
    closed: AbstractSet[str],
    revision: Revision,
    at: datetime,
) -> tuple[list[PatchedChore], list[str]]:
    """Return the chores that a revision changes, as they are from now on, and the ids of those
    that are called off.

    Every plant leaves the chore that it was in, and joins one at its new hour. A chore that plants
    join is marked with the time `at`.

    before: the open chores of the round, by id. closed: the ids of the others.
    """
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
