"""The years of a plant in words, a row for each thing; for the page and for `sillward plant`."""

from collections.abc import Iterator, Sequence
from datetime import datetime

from sillward.errors import one_line
from sillward.ledger.tables.coldest_nights import ColdNight
from sillward.ledger.tables.diary import DiaryEntry
from sillward.ledger.tables.plant_years import Given
from sillward.reports.plant_years import Blooming, PlantYear
from sillward.wording.diary_words import told
from sillward.wording.voice import Voice

MAX_TEXT = 200
"""Characters of an entry's text. Judgement: some lines of a phone."""

MAX_ENTRIES = 6
"""Entries of a year that are told, of each kind. Judgement: the diary has them all."""

MAX_LOOKS = 8
"""Looks at a leaf that are told. Judgement: four months of a course."""

_GIVEN = {
    "mist": "misted",
    "feed": "fed",
    "flush": "rinsed",
    "course": "given",
    "water": "watered",
    "leach": "flushed",
}
"""What was done with water, by the kind of its chores."""


def year_rows(year: PlantYear, now: datetime, voice: Voice) -> list[tuple[str, str]]:
    """Return what is known of a year: "Flowers" and "7 opened", a row for each line."""
    return [
        *(("Flowers", text) for text in _flowers(year, now, voice)),
        *(("Growth", text) for text in _growth(year)),
        *(("Repotted", text) for text in _entries(year.repotted, voice)),
        *(("Damage", text) for text in _entries(year.damage, voice)),
        *(("Leaf", text) for text in _looks(year.looks, voice)),
        *(("Given", text) for text in _given(year.given)),
        *(("Coldest", text) for text in _coldest(year.coldest, voice)),
    ]


def _flowers(year: PlantYear, now: datetime, voice: Voice) -> Iterator[str]:
    parts = []
    if year.spikes:
        parts.append(f"{year.spikes} spike{'s' if year.spikes > 1 else ''}")
    if year.flowers:
        parts.append(f"{year.flowers} opened")
    if parts:
        yield ", ".join(parts)
    for blooming in year.bloomings:
        yield _blooming(blooming, voice)


def _blooming(blooming: Blooming, voice: Voice) -> str:
    first = voice.day(blooming.first)
    if blooming.last is None:
        return f"in flower since {first}" if blooming.lasts else f"from {first}, end not noted"
    days = blooming.days or 0
    return f"{first} to {voice.day(blooming.last)}, {days} day{'' if days == 1 else 's'}"


def _growth(year: PlantYear) -> Iterator[str]:
    for count, one, several in (
        (year.growths, "new growth", "new growths"),
        (year.roots, "new root", "new roots"),
    ):
        if count:
            yield f"{count} {one if count == 1 else several}"


def _entries(entries: Sequence[DiaryEntry], voice: Voice) -> Iterator[str]:
    """Yield a line for each entry, the last ones if there are many."""
    if len(entries) > MAX_ENTRIES:
        yield f"{len(entries)} times, last:"
    for entry in entries[-MAX_ENTRIES:]:
        yield _entry(entry, voice)


def _looks(looks: Sequence[DiaryEntry], voice: Voice) -> Iterator[str]:
    """Yield how a leaf has looked over time, in one line."""
    shown = [f"{voice.day(look.seen_at)} {look.amount}" for look in looks[-MAX_LOOKS:]]
    if shown:
        yield one_line(", ".join(shown), 2 * MAX_TEXT)


def _entry(entry: DiaryEntry, voice: Voice) -> str:
    """Return "Fri 27 Nov: spots, some; on the old leaves", without the name of its kind."""
    words = told(entry, MAX_TEXT).removeprefix(entry.kind.value).lstrip(":; ")
    day = voice.day(entry.seen_at)
    return one_line(f"{day}: {words}" if words else day, 2 * MAX_TEXT)


def _given(given: tuple[Given, ...]) -> Iterator[str]:
    for each in given:
        times = {1: "once", 2: "twice"}.get(each.count, f"{each.count:,} times")
        what = one_line(each.what, 60)
        done = _GIVEN.get(each.kind, one_line(each.kind, 30))
        if each.kind == "water" and what:
            what = f"with {what}"
        yield " ".join(word for word in (done, what, times) if word)


def _coldest(night: ColdNight | None, voice: Voice) -> Iterator[str]:
    if night is None:
        return
    how = "read" if night.is_read else "expected"
    low = voice.degrees(night.low_c)
    limit = ""
    if night.limit_c is not None:
        low, limit = voice.beside(night.low_c, night.limit_c), voice.bound(night.limit_c)
        limit = f", limit {limit}"
    where = f" at {' or '.join(night.spots)}" if night.spots else ""
    assumed = "" if night.is_known else " (assumed)"
    yield one_line(f"{low} {how}{where}{assumed}, {voice.day(night.night)}{limit}", 2 * MAX_TEXT)
