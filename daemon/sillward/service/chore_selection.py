"""What the words of `sillward done` select: which chores, and for which of their plants."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sillward.errors import UsageError, listed
from sillward.ledger import StoredChore
from sillward.text.numbered_names import unfolded
from sillward.wording.voice import Voice
from sillward_rules.chore import URGENT, WETTINGS, ChoreKind

ALL, BUT, ALL_DAY = "all", " but ", "all day"
"""Words of a confirmation that are not names."""

_IN_ITS_HOUR = WETTINGS | {ChoreKind.CARRY_OUT, ChoreKind.DAMP_DOWN}
"""Kinds that are not done before their hour has come. A plant is not misted at seven for noon."""

_IDS = [
    (spelling, kind)
    for kind in ChoreKind
    for spelling in dict.fromkeys((kind.value, kind.value.replace("-", " ")))
]
"""How ids spell each kind, with a hyphen or a blank."""

_SURE_IDS = [(spelling, kind) for spelling, kind in _IDS if kind is not ChoreKind.FLUSH]
"""Without the one that messages use for another kind: leaching is "flush" there, this "rinse"."""

Selection = Mapping[str, Sequence[str]]
"""Chores by their ids, with the plants for which each is done."""


@dataclass(frozen=True, slots=True)
class _Told:
    """What may be confirmed at a time.

    chores: also those that are answered.
    """

    chores: Sequence[StoredChore]
    plants: Sequence[str]
    now: datetime
    voice: Voice

    @property
    def begun(self) -> list[StoredChore]:
        """The open chores whose time has come."""
        return [chore for chore in self.chores if chore.open and _has_begun(chore, self.now)]

    def of(self, kind: ChoreKind) -> list[StoredChore]:
        """The open chores of a kind, of the latest day."""
        return _latest([chore for chore in self.chores if chore.kind is kind and chore.open])

    def words(self) -> list[tuple[str, ChoreKind]]:
        """What messages and sheets call each kind, in small letters.

        It is asked for where ids do not tell: templates take a while to load.
        """
        return [
            (self.voice.say(macro, name=kind.value).lower(), kind)
            for macro in ("verb", "kind")
            for kind in ChoreKind
        ]


def select_chores(
    text: str,
    told: Sequence[StoredChore],
    plants: Sequence[str],
    now: datetime,
    voice: Voice,
) -> Selection:
    """Return the open chores that a confirmation is about. Raise UsageError if it is not clear.

    text: an id or a part of one, a kind, a spot, plants, a kind with plants, or "all". All of these
        except plants may be followed by "but" and plants.
    told: the chores that may be confirmed.
    plants: the names of the collection.
    """
    words = " ".join(text.split())
    known = _Told(told, plants, now, voice)
    exact = [chore for chore in told if chore.id == words]
    if exact:
        return {exact[0].id: exact[0].plants}
    head, but, rest = words.partition(BUT)
    if but and not _named(words, plants):
        return _without(_select(head, known), _plants(rest, plants))
    return _select(words, known)


def _select(words: str, told: _Told) -> Selection:
    """Return what a confirmation without "but" is about."""
    lower, begun, plants = words.lower(), told.begun, told.plants
    if lower == ALL:
        return _whole(_latest(begun), words, told)
    kind, names = _kind_and_names(words, told)
    if kind is not None:
        return _of_kind(kind, names, words, told)
    at_spot = [chore for chore in begun if chore.chore.from_spot.lower() == lower]
    found = _named(words, plants)
    if at_spot and found:
        msg = f'"{words}" is a spot and a plant; say a kind with it, or the id of a chore'
        raise UsageError(msg)
    if at_spot:
        return _whole(_latest(at_spot), words, told)
    if not found:
        near = [chore for chore in told.chores if lower.replace(" ", "-") in chore.id]
        if near:
            return _one_of(near, words)
        found = _plants_or_none(words, plants)
    if not found:
        return _whole([], words, told)
    return _for_plants(found, _one_kind(words, found, begun), words)


def _kind_and_names(words: str, told: _Told) -> tuple[ChoreKind | None, str]:
    """Return the kind that a confirmation begins with, and what follows it.

    As ids or as messages spell it, the longest first; of several kinds one that is open.
    """
    lower = words.lower()
    for spelling, kind in _SURE_IDS:
        if lower.removesuffix(f" {ALL_DAY}") == spelling and told.of(kind):
            return kind, words[len(spelling) :].strip()
    known = sorted([*told.words(), *_IDS], key=lambda each: len(each[0]), reverse=True)
    found = [
        (kind, words[len(spelling) :].strip())
        for spelling, kind in known
        if spelling and f"{lower} ".startswith(f"{spelling} ")
    ]
    return next((each for each in found if told.of(each[0])), found[0] if found else (None, ""))


def _of_kind(kind: ChoreKind, names: str, words: str, told: _Told) -> Selection:
    """Return what a confirmation is about that begins with a kind.

    Of what is done in its hour, what has begun; if nothing has, the first was done early.
    """
    is_all, same = names.lower() == ALL_DAY, told.of(kind)
    chosen = _plants(names, told.plants) if names and not is_all and same else []
    meant = [chore for chore in same if not chosen or not set(chosen).isdisjoint(chore.plants)]
    if kind in _IN_ITS_HOUR and not is_all:
        meant = _begun_or_first(meant, told.now)
    return _for_plants(chosen, meant, words) if chosen else _whole(meant, words, told)


def left_for_later(
    selected: Selection, told: Sequence[StoredChore], now: datetime
) -> list[StoredChore]:
    """Return what stays open for a later hour of the day, of the kind that was confirmed.

    Nothing where only some plants of a chore were confirmed, or several kinds.
    """
    done = [chore for chore in told if chore.id in selected]
    days = {(chore.kind, chore.day) for chore in done}
    if len(days) > 1 or any(len(selected[chore.id]) < len(chore.plants) for chore in done):
        return []
    return [
        chore
        for chore in told
        if chore.open
        and chore.kind in _IN_ITS_HOUR
        and (chore.kind, chore.day) in days
        and chore.id not in selected
        and not _has_begun(chore, now)
    ]


def _begun_or_first(chores: Sequence[StoredChore], now: datetime) -> list[StoredChore]:
    """Return the chores whose time has come, or else those of the first hour."""
    begun = [chore for chore in chores if _has_begun(chore, now)]
    first = min((chore.chore.not_before or now for chore in chores), default=now)
    return begun or [chore for chore in chores if chore.chore.not_before == first]


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


def _whole(chores: Sequence[StoredChore], words: str, told: _Told) -> Selection:
    """Return these chores for all of their plants. Raise UsageError if there are none."""
    if chores:
        return {chore.id: chore.plants for chore in chores}
    usual = {kind: called for called, kind in reversed(told.words())}
    kinds = dict.fromkeys(usual[chore.kind] for chore in told.chores if chore.open)
    msg = f'"{words}" is not a chore you were told of; open: {", ".join(kinds) or "nothing"}'
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
