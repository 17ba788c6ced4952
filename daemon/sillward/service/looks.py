"""Looks at plants: a word for what was seen, kept in the diary; it corrects what is worked out."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
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
from sillward_rules.weather.site import Site

WORDS: Mapping[str, str] = MappingProxyType(
    dict.fromkeys(POT_WORDS, POT) | dict.fromkeys(LEAF_WORDS, LEAF)
)
"""The words of a look, each with what it is at."""


def word_named(text: str) -> str:
    """Return the word of a look. Raise UsageError."""
    word = text.strip().lower()
    if word in WORDS:
        return word
    msg = f'"{one_line(text, 40)}" is not a look; say one of {", ".join(WORDS)}'
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
    return look_at_each(ledger, collection, [plant], word, seen_at, now, person)[0]


def look_at_each(
    ledger: Ledger,
    collection: Collection,
    plants: Sequence[str],
    word: str,
    seen_at: datetime,
    now: datetime,
    person: str | None = None,
) -> list[DiaryEntry]:
    """Write looks at plants that all found the same, as one answer; return the entries."""
    look = DiaryEntry("", seen_at, now, EntryKind.LOOK, "", person, None, WORDS[word], word)
    entries = [replace(look, plant=plant) for plant in plants]
    return diary.note(ledger, collection, entries, now)


def take_back_each(
    ledger: Ledger, site: Site, plants: Sequence[str], now: datetime, person: str | None = None
) -> list[DiaryEntry]:
    """Take the last look at each of these plants back, and return them. Raise UsageError if one
    has none: then all stay.

    A pot whose look a morning has counted is not known any more.
    """
    taken = []
    for plant in plants:
        found = ledger.diary.of_plant(site.name, plant, kind=EntryKind.LOOK)
        if not found:
            msg = f'no look at "{one_line(plant, 60)}" is left to take back'
            raise UsageError(msg)
        taken.append(max(found, key=lambda one: (one.entered_at, one.id)))
    by_word: dict[str | None, list[DiaryEntry]] = {}
    for entry in taken:
        by_word.setdefault(entry.amount, []).append(entry)
    with ledger.transaction():
        for same in by_word.values():
            diary.delete_together(ledger, site, same, now, person)
    return taken


def take_last_back(
    ledger: Ledger, site: Site, now: datetime, person: str | None = None
) -> list[DiaryEntry]:
    """Take the looks of the last answer back, and return them. Raise UsageError if none is left."""
    entered = ledger.diary.last_entered(site.name, -1, EntryKind.LOOK)
    if not entered:
        msg = "no look is left to take back"
        raise UsageError(msg)
    taken = diary.of_last_answer(entered)
    diary.delete_together(ledger, site, taken, now, person)
    return taken
