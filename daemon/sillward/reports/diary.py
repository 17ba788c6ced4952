"""What `sillward note` prints: entries of diaries."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from sillward.errors import one_line
from sillward.ledger.tables.diary import DiaryEntry
from sillward.reports.json_encoding import IsoTime, iso_in_zone_of
from sillward.reports.reading_noted import LAST_YEAR
from sillward.text.columns import PIPE, Cell, Column, Screen, table
from sillward.wording.diary_words import seen, with_text
from sillward.wording.voice import Voice, capital
from sillward_rules.weather.site import Site

MOST = 30
"""Entries that are listed unless all are asked for. Judgement: a season of one plant."""

_COLUMNS = (Column(right=True, fixed=True), Column(fixed=True), Column(), Column())


def document(entries: Iterable[DiaryEntry], site: Site, now: datetime) -> dict[str, Any]:
    """Return entries as plain types, with times in the site's zone."""
    iso = iso_in_zone_of(site)
    return {
        "schema": 1,
        "site": site.label,
        "at": iso(now),
        "entries": [entry_document(entry, iso) for entry in entries],
    }


def entry_document(entry: DiaryEntry, iso: IsoTime) -> dict[str, Any]:
    """Return an entry as plain types. seen: what it is in words, without its text."""
    return {
        "number": entry.id,
        "plant": entry.plant,
        "kind": entry.kind.value,
        "seen_at": iso(entry.seen_at),
        "entered_at": iso(entry.entered_at),
        "person": entry.person,
        "text": entry.text,
        "what": entry.what,
        "amount": entry.amount,
        "seen": seen(entry),
        "has_photo": entry.photo is not None,
    }


def text(report: dict[str, Any], voice: Voice, screen: Screen = PIPE) -> str:
    """Return a document of entries as a table."""
    now = datetime.fromisoformat(report["at"])
    rows: list[list[Cell]] = [
        [
            str(entry["number"]),
            day(datetime.fromisoformat(entry["seen_at"]), now, voice),
            one_line(entry["plant"], 60),
            what_was_seen(entry),
        ]
        for entry in report["entries"]
    ]
    if not rows:
        return 'nothing is noted so far; for example: sillward note blue basket "a new root"'
    return "\n".join(table(rows, _COLUMNS, screen))


def day(at: datetime, now: datetime, voice: Voice) -> str:
    """Return "Thu 14 May", with the year for what is long ago."""
    year = f" {voice.local(at).year}" if now - at > LAST_YEAR else ""
    return voice.day(at) + year


def line(entry: dict[str, Any], voice: Voice) -> str:
    """Return "Blue basket, Thu 14 May: 3 flowers opened (entry 7)"."""
    at = datetime.fromisoformat(entry["seen_at"])
    plant = one_line(entry["plant"], 60)
    day_ = f"{voice.day(at)} {voice.local(at).year}"
    return f"{plant}, {day_}: {what_was_seen(entry)} (entry {entry['number']})"


def what_was_seen(entry: dict[str, Any]) -> str:
    """Return what an entry is, with its text on the same line."""
    words = one_line(entry["seen"], 200)
    if entry["kind"] == "move":
        return capital(words)
    written = one_line(entry["text"], 2_000)
    return capital(with_text(words, written))
