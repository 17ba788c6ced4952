"""Looks at plants: a word for what was seen, kept in the diary; it corrects what is worked out."""

from collections.abc import Mapping
from datetime import datetime
from types import MappingProxyType

from sillward.errors import UsageError, one_line
from sillward.ledger import Ledger
from sillward.ledger.tables.diary import DiaryEntry, EntryKind
from sillward.service import diary
from sillward.service.diary_effects import LEAF, POT
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.course_progress import LEAF_WORDS
from sillward_rules.plants.pot_water import POT_WORDS

WORDS: Mapping[str, str] = MappingProxyType(
    dict.fromkeys(POT_WORDS, POT) | dict.fromkeys(LEAF_WORDS, LEAF)
)
"""The words of a look, each with what it is at."""


def word_named(text: str) -> str:
    """Return the word of a look. Raise UsageError."""
    word = text.strip().lower()
    if word in WORDS:
        return word
    msg = f'"{one_line(text, 40)}" is no look; say one of {", ".join(WORDS)}'
    raise UsageError(msg)


def look(
    ledger: Ledger,
    collection: Collection,
    plant: str,
    word: str,
    seen_at: datetime,
    now: datetime,
    person: str | None = None,
) -> DiaryEntry:
    """Write a look at a plant into its diary, with what it changes about the plant's state.

    word: one of `WORDS`.
    """
    entry = DiaryEntry(plant, seen_at, now, EntryKind.LOOK, "", person, None, WORDS[word], word)
    return diary.note(ledger, collection, [entry], now)[0]


def take_back(
    ledger: Ledger, site: str, plant: str, now: datetime, person: str | None = None
) -> DiaryEntry | None:
    """Take the last look at a plant back and return it; None if there is none.

    What a morning has made of it stays: another look corrects that.
    """
    looks = [one for one in ledger.diary.of_plant(site, plant, -1) if one.kind is EntryKind.LOOK]
    if not looks:
        return None
    last = max(looks, key=lambda one: (one.entered_at, one.id))
    diary.delete(ledger, site, last, now, person)
    return last
