"""What the words of `sillward done` stand for: which chores, and for which of their plants."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime

from sillward.errors import UsageError
from sillward.ledger import StoredChore
from sillward_rules.chore import ChoreKind
from sillward_rules.revision import ORDERS

ALL, BUT = "all", " but "
"""Words of an answer beside names."""

_KINDS = {kind.value: kind for kind in ChoreKind}

Meant = Mapping[str, Sequence[str]]
"""Chores by their ids, with the plants for which each is done."""


def meant(text: str, told: Sequence[StoredChore], plants: Sequence[str], now: datetime) -> Meant:
    """The open chores that an answer is about. Raise UsageError if it is not clear.

    text: an id or a part of one, a kind, a spot, plants, a kind with plants, "all", and each of
    the first with "but" and plants. told: what may be acknowledged. plants: of the collection.
    """
    words = " ".join(text.split())
    begun = [one for one in told if one.open and _has_begun(one, now)]
    exact = [one for one in told if one.id == words]
    if exact:
        return {exact[0].id: exact[0].plants}
    head, but, rest = words.partition(BUT)
    if but and not _named(words, plants):
        return _without(_group(head, told, begun, plants, now), _plants(rest, plants))
    return _group(words, told, begun, plants, now)


def _group(
    words: str,
    told: Sequence[StoredChore],
    begun: Sequence[StoredChore],
    plants: Sequence[str],
    now: datetime,
) -> Meant:
    lower = words.lower()
    if lower == ALL:
        return _whole(_latest(begun), words, told)
    kind, names = _kind_and_names(lower, words)
    if kind is not None:
        # A kind that lies ahead is meant all the same: it was done early.
        same = _latest([one for one in told if one.kind == kind.value and one.open])
        if not names or not same:
            return _whole(same, words, told)
        return _for_plants(_plants(names, plants), same, words)
    at_spot = [one for one in begun if one.document["from"].lower() == lower]
    found = _named(words, plants)
    if at_spot and found:
        msg = f'"{words}" is a spot and a plant; say a kind with it, or the id of a chore'
        raise UsageError(msg)
    if at_spot:
        return _whole(_latest(at_spot), words, told)
    if not found:
        near = [one for one in told if lower.replace(" ", "-") in one.id]
        if near:
            return _one_of(near, words)
        found = _plants_or_none(words, plants)
    if not found:
        return _whole([], words, told)
    return _for_plants(found, _one_kind(words, found, begun), words)


def _kind_and_names(lower: str, words: str) -> tuple[ChoreKind | None, str]:
    """The kind that an answer begins with, in either spelling, and what follows it."""
    for name, kind in _KINDS.items():
        for spelling in (name, name.replace("-", " ")):
            if lower == spelling or lower.startswith(f"{spelling} "):
                return kind, words[len(spelling) :].strip()
    return None, ""


def _one_kind(words: str, plants: Sequence[str], begun: Sequence[StoredChore]) -> list[StoredChore]:
    """What is open for these plants: the orders among it, or else all, if it is of one kind."""
    about = [one for one in begun if not set(plants).isdisjoint(one.plants)]
    orders = [one for one in about if ChoreKind(one.kind) in ORDERS]
    mine = _latest(orders or about)
    kinds = sorted({one.kind for one in mine})
    if len(kinds) > 1:
        ways = " or ".join(f'"{kind} {words}"' for kind in kinds)
        msg = f'"{words}" has more than one open chore; say {ways}'
        raise UsageError(msg)
    return mine


def _for_plants(plants: Sequence[str], chores: Sequence[StoredChore], words: str) -> Meant:
    meant = {
        one.id: [name for name in one.plants if name in plants]
        for one in chores
        if not set(plants).isdisjoint(one.plants)
    }
    missing = [name for name in plants if not any(name in names for names in meant.values())]
    if missing:
        msg = f'"{words}": nothing that has begun is open for {", ".join(missing)}'
        raise UsageError(msg)
    return meant


def _without(meant: Meant, plants: Sequence[str]) -> Meant:
    rest = {key: [one for one in names if one not in plants] for key, names in meant.items()}
    return {key: names for key, names in rest.items() if names}


def _whole(chores: Sequence[StoredChore], words: str, told: Sequence[StoredChore]) -> Meant:
    if chores:
        return {one.id: one.plants for one in chores}
    msg = f'"{words}" is not a chore you were told of; open: {_listed(told)}'
    raise UsageError(msg)


def _one_of(near: Sequence[StoredChore], words: str) -> Meant:
    """The chore whose id contains this, the latest open one of several days."""
    ways = {one.id[10:] for one in near}  # without the date
    still = [one for one in near if one.open]
    if len({one.id[10:] for one in still}) == 1 or (len(ways) == 1 and not still):
        chosen = max(still or near, key=lambda one: one.id)
        return {chosen.id: chosen.plants}
    msg = f'"{words}" is more than one chore; open: {_listed(near)}'
    raise UsageError(msg)


def _listed(chores: Iterable[StoredChore]) -> str:
    return ", ".join(one.id for one in chores if one.open) or "none"


def _latest(chores: Sequence[StoredChore]) -> list[StoredChore]:
    """Those of the latest day, the last first: where a plant is now goes by the last of them."""
    day = max((one.day for one in chores), default="")
    mine = [one for one in chores if one.day == day]
    return sorted(mine, key=lambda one: one.before, reverse=True)


def _has_begun(chore: StoredChore, now: datetime) -> bool:
    start = chore.document.get("not_before")
    return start is None or datetime.fromisoformat(start) <= now


# -- names


def _plants(text: str, plants: Sequence[str]) -> list[str]:
    found = _plants_or_none(text, plants)
    if found:
        return found
    msg = f'"{text}" is not a plant here ({", ".join(plants)})'
    raise UsageError(msg)


def _named(text: str, plants: Sequence[str]) -> list[str]:
    """The plant of exactly this name."""
    return [name for name in plants if name.lower() == text.lower()][:1]


def _plants_or_none(text: str, plants: Sequence[str]) -> list[str]:
    """The plants of a list with commas; a name may hold commas itself. Empty if one is no plant.

    Of each as much as makes it clear. Raise UsageError if it does not.
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
            near = [name for name in plants if piece.lower() in name.lower()] if piece else []
            if len(near) > 1:
                msg = f'"{piece}" is more than one plant here ({", ".join(near)})'
                raise UsageError(msg)
            if not near:
                return []
            found += near
    return list(dict.fromkeys(found))
