"""What is typed after `sillward note`: the plant, and a note that may begin with its kind."""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from sillward.cli import plant_names
from sillward.errors import UsageError, listed, one_line
from sillward.ledger.tables.diary import EntryKind
from sillward.service import diary

_HOW = 'say of which plant, and what you see, for example: sillward note blue basket "a new root"'


class Read(NamedTuple):
    """What a note says; None for what is not said."""

    kind: EntryKind | None
    what: str | None
    amount: str | None
    text: str


def plants_and_rest(names: Sequence[str], words: Sequence[str]) -> tuple[list[str], str]:
    """Return the plants and the text in "blue basket, lime a new root". Raise UsageError.

    A plant's name goes as far as it can, first by the words as they were quoted. Others follow
    after a comma or "and", or are words of their own that are whole names.
    """
    if not words:
        raise UsageError(_HOW)
    bare = plant_names.with_blanks(" ".join(words)).split()
    for pieces in (words, bare):
        plant, cut = _plant_before(names, pieces)
        if plant is not None:
            plants, rest = _others_after(names, plant, pieces, cut, are_quoted=pieces is words)
            return list(dict.fromkeys(plants)), " ".join(rest)
    first = words[0] if len(words) > 1 else " ".join(bare[:1])
    return [plant_names.one_name(names, first.rstrip(","))], ""  # which says why there is none


def _plant_before(names: Sequence[str], pieces: Sequence[str]) -> tuple[str | None, int]:
    """Return the plant with which words begin, and how many of them name it."""
    for cut in range(min(len(pieces), plant_names.MAX_WORDS), 0, -1):
        text = " ".join(pieces[:cut])
        found = plant_names.names_like(names, text)
        found = found or plant_names.names_like(names, text.rstrip(","))
        if len(found) == 1:
            return found[0], cut
    return None, 0


def _others_after(
    names: Sequence[str], plant: str, pieces: Sequence[str], cut: int, *, are_quoted: bool
) -> tuple[list[str], Sequence[str]]:
    """Return a plant with those that are named after it, and what is left. Raise UsageError.

    A text may speak of other plants, so a name has to be clear here.
    """
    plants, whole = [plant], {plant_names.folded(name): name for name in names}
    while True:
        is_listed, pieces = pieces[cut - 1].endswith(","), pieces[cut:]
        if is_listed:
            plant, cut = _named_clearly(names, pieces)
        elif len(pieces) > 1 and pieces[0].lower() == plant_names.AND:
            found, cut = _whole_name_before(whole, pieces[1:])
            if found is None:
                return plants, pieces
            plant, cut = found, cut + 1
        elif are_quoted and pieces and plant_names.folded(pieces[0].rstrip(",")) in whole:
            plant, cut = whole[plant_names.folded(pieces[0].rstrip(","))], 1
        else:
            return plants, pieces
        plants.append(plant)


def _whole_name_before(whole: Mapping[str, str], pieces: Sequence[str]) -> tuple[str | None, int]:
    for cut in range(min(len(pieces), plant_names.MAX_WORDS), 0, -1):
        text = plant_names.folded(" ".join(pieces[:cut]))
        for wanted in (text, text.rstrip(",")):
            if wanted in whole:
                return whole[wanted], cut
    return None, 0


def _named_clearly(names: Sequence[str], pieces: Sequence[str]) -> tuple[str, int]:
    """Return the plant of the first or last words of its name, with which words begin, and how
    many of them name it. Raise UsageError."""
    for cut in range(min(len(pieces), plant_names.MAX_WORDS), 0, -1):
        wanted = plant_names.folded(" ".join(pieces[:cut])).rstrip(",")
        found = [name for name in names if _is_end_of(wanted, name)]
        found = [name for name in found if plant_names.folded(name) == wanted] or found
        if len(found) == 1:
            return found[0], cut
    first = one_line(" ".join(" ".join(pieces).split()[:1]), 40)
    msg = f'"{first}", after a comma, is not clearly a plant here ({listed(names)})'
    raise UsageError(msg)


def _is_end_of(wanted: str, name: str) -> bool:
    words, of = wanted.split(), plant_names.folded(name).split()
    return bool(words) and words in (of[: len(words)], of[-len(words) :])


def led_by_kind(read: Read) -> Read:
    """Return a note with the kind, amount and what that its text begins with.

    "damage some spots on the old leaves" has all of these, and a text.
    """
    first, _, left = read.text.partition(" ")
    kind, left = diary.leading_kind(first), left.strip()
    if kind is None:
        return read
    what, amount = read.what, read.amount
    if amount is None and kind in diary.HAS_AMOUNT:
        amount, left = _led_by_amount(left)
    if left and amount is None and kind in diary.COUNTED:  # "root rot", "spike broken"
        return read
    if what is None and kind is EntryKind.DAMAGE:
        for each in diary.DAMAGE_WHATS:
            if f"{left.lower()} ".startswith(f"{each} "):
                what, left = each, left[len(each) :].strip()
                break
    return Read(kind, what, amount, left)


def _led_by_amount(text: str) -> tuple[str | None, str]:
    pieces = text.split()
    for count in (2, 1):
        try:
            amount = diary.amount_named(" ".join(pieces[:count]))
        except UsageError:
            continue
        return amount, " ".join(pieces[count:])
    return None, text
