"""What is typed after `sillward note`: the plant, and a note that may begin with its kind."""

from collections.abc import Sequence
from typing import NamedTuple

from sillward.cli import plant_names
from sillward.errors import UsageError
from sillward.ledger.tables.diary import EntryKind
from sillward.service import diary

_HOW = 'say of which plant, and what you see, for example: sillward note blue basket "a new root"'

MAX_WORDS = 20
"""A name of a plant has no more words. Judgement: names get ten at most."""


class Read(NamedTuple):
    """What a note says; None for what is not said."""

    kind: EntryKind | None
    what: str | None
    amount: str | None
    text: str


def plant_and_rest(names: Sequence[str], words: Sequence[str]) -> tuple[str, str]:
    """Return the plant and the text in "blue basket a new root". Raise UsageError.

    The plant's name goes as far as it can, first by the words as they were quoted.
    """
    if not words:
        raise UsageError(_HOW)
    bare = " ".join(words).split()
    for pieces in (words, bare):
        for cut in range(min(len(pieces), MAX_WORDS), 0, -1):
            found = plant_names.names_like(names, " ".join(pieces[:cut]))
            if len(found) == 1:
                return found[0], " ".join(pieces[cut:])
    first = words[0] if len(words) > 1 else " ".join(bare[:1])
    return plant_names.one_name(names, first), ""  # which says why there is none


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
