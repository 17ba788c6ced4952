"""What the words of `sillward done` select: which chores, and for which of their plants."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime

from sillward.errors import UsageError, listed
from sillward.ledger import StoredChore
from sillward.text.numbered_names import unfolded
from sillward_rules.chore import URGENT, ChoreKind

ALL, BUT = "all", " but "
"""Words of a confirmation that are not names."""

_KINDS = {kind.value: kind for kind in ChoreKind}

Selection = Mapping[str, Sequence[str]]
"""Chores by their ids, with the plants for which each is done."""


def select_chores(
    text: str, told: Sequence[StoredChore], plants: Sequence[str], now: datetime
) -> Selection:
    """Return the open chores that a confirmation is about. Raise UsageError if it is not clear.

    text: an id or a part of one, a kind, a spot, plants, a kind with plants, or "all". All of these
        except plants may be followed by "but" and plants.
    told: the chores that may be confirmed.
    plants: the names of the collection.
    """
    words = " ".join(text.split())
    begun = [chore for chore in told if chore.open and _has_begun(chore, now)]
    exact = [chore for chore in told if chore.id == words]
    if exact:
        return {exact[0].id: exact[0].plants}
    head, but, rest = words.partition(BUT)
    if but and not _named(words, plants):
        return _without(_select(head, told, begun, plants), _plants(rest, plants))
    return _select(words, told, begun, plants)


def _select(
    words: str,
    told: Sequence[StoredChore],
    begun: Sequence[StoredChore],
    plants: Sequence[str],
) -> Selection:
    """Return what a confirmation without "but" is about.

    begun: the open chores whose time has come.
    """
    lower = words.lower()
    if lower == ALL:
        return _whole(_latest(begun), words, told)
    kind, names = _kind_and_names(lower, words)
    if kind is not None:
        # A kind that lies ahead is meant all the same: it was done early.
        same = _latest([chore for chore in told if chore.kind is kind and chore.open])
        if not names or not same:
            return _whole(same, words, told)
        return _for_plants(_plants(names, plants), same, words)
    at_spot = [chore for chore in begun if chore.chore.from_spot.lower() == lower]
    found = _named(words, plants)
    if at_spot and found:
        msg = f'"{words}" is a spot and a plant; say a kind with it, or the id of a chore'
        raise UsageError(msg)
    if at_spot:
        return _whole(_latest(at_spot), words, told)
    if not found:
        near = [chore for chore in told if lower.replace(" ", "-") in chore.id]
        if near:
            return _one_of(near, words)
        found = _plants_or_none(words, plants)
    if not found:
        return _whole([], words, told)
    return _for_plants(found, _one_kind(words, found, begun), words)


def _kind_and_names(lower: str, words: str) -> tuple[ChoreKind | None, str]:
    """Return the kind that a confirmation begins with, in either spelling, and what follows it."""
    for name, kind in _KINDS.items():
        for spelling in (name, name.replace("-", " ")):
            if lower == spelling or lower.startswith(f"{spelling} "):
                return kind, words[len(spelling) :].strip()
    return None, ""


def _one_kind(words: str, plants: Sequence[str], begun: Sequence[StoredChore]) -> list[StoredChore]:
    """Return what is open for these plants: orders, if there are any, else the rest.

    Raise UsageError if that is more than one kind of chore.
    """
    about = [chore for chore in begun if not set(plants).isdisjoint(chore.plants)]
    orders = [chore for chore in about if chore.kind in URGENT]
    latest = _latest(orders or about)
    kinds = sorted({chore.kind.value for chore in latest})
    if len(kinds) > 1:
        ways = " or ".join(f'"{kind} {words}"' for kind in kinds)
        msg = f'"{words}" has more than one open chore; say {ways}'
        raise UsageError(msg)
    return latest


def _for_plants(plants: Sequence[str], chores: Sequence[StoredChore], words: str) -> Selection:
    """Return the chores for these plants alone. Raise UsageError if one has none."""
    selection = {
        chore.id: [name for name in chore.plants if name in plants]
        for chore in chores
        if not set(plants).isdisjoint(chore.plants)
    }
    missing = [name for name in plants if not any(name in names for names in selection.values())]
    if missing:
        msg = f'"{words}": nothing that has begun is open for {", ".join(missing)}'
        raise UsageError(msg)
    return selection


def _without(selection: Selection, plants: Sequence[str]) -> Selection:
    rest = {
        chore_id: [name for name in names if name not in plants]
        for chore_id, names in selection.items()
    }
    return {chore_id: names for chore_id, names in rest.items() if names}


def _whole(chores: Sequence[StoredChore], words: str, told: Sequence[StoredChore]) -> Selection:
    """Return these chores for all of their plants. Raise UsageError if there are none."""
    if chores:
        return {chore.id: chore.plants for chore in chores}
    msg = f'"{words}" is not a chore you were told of; open: {_listed(told)}'
    raise UsageError(msg)


def _one_of(near: Sequence[StoredChore], words: str) -> Selection:
    """Return the chore whose id contains these words, the latest open one of several days."""
    names = {chore.id_without_day for chore in near}
    still_open = [chore for chore in near if chore.open]
    open_names = {chore.id_without_day for chore in still_open}
    if len(open_names) == 1 or (len(names) == 1 and not still_open):
        chosen = max(still_open or near, key=lambda chore: chore.id)
        return {chosen.id: chosen.plants}
    msg = f'"{words}" is more than one chore; open: {_listed(near)}'
    raise UsageError(msg)


def _listed(chores: Iterable[StoredChore]) -> str:
    return ", ".join(chore.id for chore in chores if chore.open) or "none"


def _latest(chores: Sequence[StoredChore]) -> list[StoredChore]:
    """Return those of the latest day, the last first: it decides where a plant is now."""
    day = max((chore.day for chore in chores), default="")
    of_day = [chore for chore in chores if chore.day == day]
    return sorted(of_day, key=lambda chore: chore.before, reverse=True)


def _has_begun(chore: StoredChore, now: datetime) -> bool:
    start = chore.chore.not_before
    return start is None or start <= now


# -- names


def _plants(text: str, plants: Sequence[str]) -> list[str]:
    """Return the plants that a list names. Raise UsageError if there are none."""
    found = _plants_or_none(text, plants)
    if found:
        return found
    msg = f'"{text}" is not a plant here ({listed(plants)})'
    raise UsageError(msg)


def _named(text: str, plants: Sequence[str]) -> list[str]:
    """Return the plant of exactly this name, in a list that is empty if there is none."""
    return [name for name in plants if name.lower() == text.lower()][:1]


def _plants_or_none(text: str, plants: Sequence[str]) -> list[str]:
    """Return the plants of a list with commas, or nothing if one of its names is no plant.

    A name may hold commas itself, and may be shortened as long as it is clear; "Moth 3-7" is a row
    of numbered ones. Raise UsageError if it is not clear.
    """
    pieces = [piece.strip() for piece in text.split(",")]
    found: list[str] = []
    while pieces:
        for count in range(len(pieces), 0, -1):  # the longest that is a name as a whole
            exact = _named(", ".join(pieces[:count]), plants)
            if exact:
                found += exact
                pieces = pieces[count:]
                break
        else:
            piece = pieces.pop(0)
            row = [_named(name, plants) for name in unfolded(piece)]
            if row and all(row):
                found += [name for (name,) in row]
                continue
            near = [name for name in plants if piece.lower() in name.lower()] if piece else []
            if len(near) > 1:
                msg = f'"{piece}" is more than one plant here ({listed(near)})'
                raise UsageError(msg)
            if not near:
                return []
            found += near
    return list(dict.fromkeys(found))
