"""What people note of their plants: checked, written with what follows from it, and amended.

An entry, what it changes about the plant's state and its row of the log of deeds are one
transaction. What was noted of a plant that is gone can still be amended and added to.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from types import MappingProxyType

from sillward.errors import UsageError, one_line
from sillward.ledger import Deed, Ledger
from sillward.ledger.tables.diary import DiaryEntry, EntryKind
from sillward.readings.by_hand import clock_time
from sillward.service.diary_effects import state_without, states_after
from sillward.text.printable import blanked
from sillward.wording.diary_words import HEADS, NAMES, told
from sillward_rules.plants.collection import Collection
from sillward_rules.readings.quality import CLOCK_AHEAD
from sillward_rules.weather.site import Site

MAX_TEXT = 2_000
"""Characters of a note. Judgement: a long note of a plant."""

MAX_WHAT = 60
"""Characters of what was seen. Judgement: a few words."""

MAX_COUNT = 9_999
"""Judgement: nobody counts more flowers."""

OLDEST_YEAR = 1971
"""Before this nothing was seen: times of SQLite and of clocks that are not set lie there."""

NOTED, CORRECTED, DELETED = "noted", "note corrected", "note deleted"
"""The names of these deeds."""

DEEDS = frozenset({NOTED, CORRECTED, DELETED})

DAMAGE_WHATS = (
    "spots",
    "yellow leaves",
    "soft tissue",
    "dropped leaves",
    "crown rot",
    "burnt tips",
)
"""What damage is called where nothing else is typed."""

SHARES = ("a few", "some", "most")
"""An amount where nobody counts."""

HAS_WHAT = frozenset({EntryKind.DAMAGE, EntryKind.REPOTTED})
"""The kinds that say what: the damage, the new medium."""

COUNTED = frozenset({EntryKind.ROOT, EntryKind.GROWTH, EntryKind.SPIKE, EntryKind.FLOWER})

HAS_AMOUNT = COUNTED | {EntryKind.DAMAGE}
"""The kinds that say how much or how many."""

CAN_BE_NOTED = frozenset(NAMES)
"""The kinds that a grower notes as such; moves, looks and photos are noted in their own ways."""

_WORDS: Mapping[str, EntryKind] = MappingProxyType(
    {
        **{kind.value: kind for kind in NAMES},
        "note": EntryKind.OBSERVATION,
        "harm": EntryKind.DAMAGE,
        "roots": EntryKind.ROOT,
        "new root": EntryKind.ROOT,
        "new roots": EntryKind.ROOT,
        "new growth": EntryKind.GROWTH,
        "growths": EntryKind.GROWTH,
        "spikes": EntryKind.SPIKE,
        "open": EntryKind.FLOWER,
        "opened": EntryKind.FLOWER,
        "flowers": EntryKind.FLOWER,
        "bloom": EntryKind.FLOWER,
        "over": EntryKind.FADED,
        "repot": EntryKind.REPOTTED,
        "potted": EntryKind.REPOTTED,
    }
)

MOVED = frozenset({"move", "moved"})
"""What a note of a move of a past day begins with, in the words of growers."""

PHOTO = "photos are noted on the page of the plant"

_ELSEWHERE = {
    **dict.fromkeys(MOVED, "say where it stands now: sillward move PLANT SPOT"),
    "look": "say what you found: sillward look PLANT WORD",
    "photo": PHOTO,
}

_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
_WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")


# -- what was typed


def kind_or_none(text: str) -> EntryKind | None:
    """Return the kind that a word stands for; None if it is none."""
    return _WORDS.get(" ".join(text.lower().split()))


def leading_kind(word: str) -> EntryKind | None:
    """Return the kind with which a note begins; None for other words, also for "open" and "over",
    with which sentences begin."""
    kind = kind_or_none(word)
    plain = word.lower().removesuffix("s")
    return kind if kind is not EntryKind.OBSERVATION and kind and plain == kind.value else None


def kind_named(text: str, *, to_look_for: bool = False) -> EntryKind:
    """Return the kind that a word stands for. Raise UsageError.

    to_look_for: whether it may also be one that is not noted as such: a look, a photo, a move.
    """
    kind = kind_or_none(text)
    word = " ".join(text.lower().split())
    if kind is None and to_look_for and word in set(EntryKind):
        kind = EntryKind(word)
    if kind is not None:
        return kind
    known = ", ".join(kind.value for kind in NAMES)
    msg = _ELSEWHERE.get(
        word, f'"{one_line(text, 40)}" is not a kind of note; choose one of {known}'
    )
    raise UsageError(msg)


def amount_named(text: str) -> str:
    """Return an amount as it is kept: one of `SHARES`, or a count in digits. Raise UsageError."""
    word = " ".join(text.lower().split())
    if word == "few":
        return SHARES[0]
    if word in SHARES:
        return word
    if word in _NUMBERS[1:]:
        return str(_NUMBERS.index(word))
    if word.isascii() and word.isdigit() and 1 <= int(word[:9]) <= MAX_COUNT:
        return str(int(word))
    msg = (
        f'"{one_line(text, 40)}" is not an amount; write a count of 1 to {MAX_COUNT:,}, or one of'
        f" {', '.join(SHARES)}"
    )
    raise UsageError(msg)


def clean_text(typed: str) -> str:
    """Return what was typed with its lines, and without characters that cannot be seen."""
    return "\n".join(blanked(line).rstrip() for line in typed.splitlines()).strip()


def seen_on(text: str, site: Site, now: datetime) -> datetime:
    """Return when something was seen that is told by a day, a time, or both. Raise UsageError.

    A day is a date (2026-05-14), today, yesterday, or the last weekday of a name; it stands for its
    noon. A time is as for `sillward read`.
    """
    today = site.local_date(now)
    day = _day(text.strip().lower(), today)
    if day == today:
        return min(site.at_clock(day, time(12)), now)
    at: date | datetime | None = day or clock_time(text, site, now) or _iso_time(text, site)
    if at is None:
        msg = (
            f'"{one_line(text, 40)}" is not a day; write it as 2026-05-14, yesterday, fri or'
            " 2026-05-14T06:40"
        )
        raise UsageError(msg)
    if at.year < OLDEST_YEAR:
        msg = f"{one_line(text, 40)} is before {OLDEST_YEAR}"
        raise UsageError(msg)
    if at.year <= today.year and not isinstance(at, datetime):
        at = site.at_clock(at, time(12))
    if not isinstance(at, datetime) or at.year > today.year + 1 or at > now + CLOCK_AHEAD:
        msg = f"{one_line(text, 40)} is in the future"
        raise UsageError(msg)
    return min(at, now)


def _day(word: str, today: date) -> date | None:
    """Return the day of a word, the last one of a weekday; None if it is no day."""
    if word in ("today", "yesterday"):
        return today - timedelta(days=int(word == "yesterday"))
    for number, name in enumerate(_WEEKDAYS):
        if word in (name, name[:3]):
            return today - timedelta(days=(today.weekday() - number) % 7)
    try:
        return date.fromisoformat(word)
    except ValueError:
        return None


def _iso_time(text: str, site: Site) -> datetime | None:
    """Return the moment of an ISO time, by the site's clocks if it has no offset; None if it is
    none."""
    try:
        at = datetime.fromisoformat(text.strip())
    except ValueError:
        return None
    return at.replace(tzinfo=site.zone) if at.tzinfo is None else at


def checked(entry: DiaryEntry) -> DiaryEntry:
    """Return an entry as it can be kept: cleaned, and complete. Raise UsageError.

    What and amount of looks and moves are left as they are: they are made elsewhere.
    """
    text, kind = clean_text(entry.text), entry.kind
    if len(text) > MAX_TEXT:
        msg = f"the note is longer than {MAX_TEXT:,} characters; shorten it, or write two"
        raise UsageError(msg)
    if not text and kind is EntryKind.OBSERVATION and entry.photo is None:
        msg = "write what you see, or add a photo"
        raise UsageError(msg)
    if kind in (EntryKind.LOOK, EntryKind.MOVE):
        return replace(entry, text=text)
    called = HEADS[kind]
    what = one_line(entry.what or "", MAX_WHAT + 1)
    if len(what) > MAX_WHAT:
        msg = f"what you saw is longer than {MAX_WHAT} characters; write more in the text"
        raise UsageError(msg)
    if what and kind not in HAS_WHAT:
        msg = f"what is for damage, and for the medium of repotting, not for {called}"
        raise UsageError(msg)
    amount = entry.amount or ""
    if amount.strip() and kind not in HAS_AMOUNT:
        msg = f"an amount is for damage, roots, growth, spikes and flowers, not for {called}"
        raise UsageError(msg)
    amount = amount_named(amount) if amount.strip() else ""
    return replace(entry, text=text, what=what or None, amount=amount or None)


# -- into the ledger


def note(
    ledger: Ledger, collection: Collection, entries: Sequence[DiaryEntry], now: datetime
) -> list[DiaryEntry]:
    """Write entries of one person, that say the same and were `checked`; return them numbered."""
    site = collection.site.name
    with ledger.transaction():
        written = ledger.diary.add(site, entries)
        _take_effect(ledger, collection, entries)
        _log(ledger, site, NOTED, entries, now)
    return written


def noted_last(ledger: Ledger, site: str) -> list[DiaryEntry]:
    """Return what was noted last, all plants of one note; empty if nothing was."""
    # A move that is told late is noted; any other is taken back as such.
    entered = [
        *(one for one in ledger.diary.last_entered(site, -1) if one.kind in CAN_BE_NOTED),
        *(one for one in ledger.diary.last_entered(site, -1, EntryKind.MOVE) if is_late_move(one)),
    ]
    return of_last_answer(sorted(entered, key=lambda one: one.id, reverse=True))


def of_last_answer(entries: Sequence[DiaryEntry]) -> list[DiaryEntry]:
    """Return those entries that were written with the first one, in their order.

    entries: by their numbers, the last one first.
    """
    found: dict[str, DiaryEntry] = {}
    for entry in entries:
        is_same = (entry.entered_at, told(entry)) == (entries[0].entered_at, told(entries[0]))
        if not is_same or entry.plant in found:
            break
        found[entry.plant] = entry
    return list(reversed(found.values()))


def is_late_move(entry: DiaryEntry) -> bool:
    """Whether an entry is a move of a past day, which was noted and changed nothing else."""
    return entry.kind is EntryKind.MOVE and entry.seen_at != entry.entered_at


def correct(
    ledger: Ledger,
    collection: Collection,
    entry: DiaryEntry,
    now: datetime,
    person: str | None = None,
) -> bool:
    """Write an entry anew that was `checked`. Return whether there is one of its number.

    With another kind or time it takes effect on the plant's state anew, as if the one before had
    been deleted.
    """
    site = collection.site.name
    with ledger.transaction():
        before = ledger.diary.entry(site, entry.id)
        if before is None or not ledger.diary.correct(site, entry):
            return False
        if (before.kind, before.seen_at) != (entry.kind, entry.seen_at):
            _take_out(ledger, collection.site, before)
            _take_effect(ledger, collection, [entry])
        _log(ledger, site, CORRECTED, [replace(entry, person=person)], now)
        return True


def delete(
    ledger: Ledger, site: Site, entry: DiaryEntry, now: datetime, person: str | None = None
) -> None:
    """Delete an entry, with what it has changed about the plant's state, as far as that can be."""
    delete_together(ledger, site, [entry], now, person)


def delete_together(
    ledger: Ledger,
    site: Site,
    entries: Sequence[DiaryEntry],
    now: datetime,
    person: str | None = None,
) -> None:
    """Delete entries that say the same of their plants: all of them, or none."""
    with ledger.transaction():
        for entry in entries:
            _take_out(ledger, site, entry)
            ledger.diary.remove(site.name, entry.id)
        _log(ledger, site.name, DELETED, [replace(entry, person=person) for entry in entries], now)


def _take_out(ledger: Ledger, site: Site, entry: DiaryEntry) -> None:
    """Take out of a plant's state what an entry has changed, as far as that can be."""
    known = ledger.plant_states.of_site(site.name).get(entry.plant)
    if known is None:
        return
    noted = ledger.diary.of_plant(site.name, entry.plant)
    after = state_without(entry, known, site, [one for one in noted if one.id != entry.id])
    if after != known:
        ledger.plant_states.keep(site.name, {entry.plant: after})


def _take_effect(ledger: Ledger, collection: Collection, entries: Sequence[DiaryEntry]) -> None:
    site = collection.site.name
    changed = states_after(entries, ledger.plant_states.of_site(site), collection)
    if changed:
        ledger.plant_states.keep(site, changed)


def _log(
    ledger: Ledger, site: str, what: str, entries: Sequence[DiaryEntry], now: datetime
) -> None:
    """Write a deed about entries that say the same of their plants."""
    first = entries[0]
    about = {
        "plants": [entry.plant for entry in entries],
        "entry": first.kind.value,
        "seen": told(first, MAX_WHAT) or first.kind.value,
    }
    ledger.deeds.insert(site, Deed(now, first.person, what, about))
