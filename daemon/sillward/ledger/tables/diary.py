"""The diary of each plant: what people saw, their photos, and when they moved it.

Entries are kept for good, also those of plants that are not in the collection any more.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum

from sillward.ledger.database import Database, Row
from sillward.ledger.records import to_moment, to_text
from sillward.ledger.tables.row_reader import RowReader

ALL = 2**31 - 1
"""More entries than a plant has."""


class EntryKind(StrEnum):
    """What an entry of a diary is."""

    OBSERVATION = "observation"
    PHOTO = "photo"
    """A photo, with or without a text."""
    MOVE = "move"
    """Somebody moved the plant; the text is the name of the spot where it is since."""
    DAMAGE = "damage"
    """Harm that showed. What: "spots", "soft tissue"; amount: "a few", "some", "most", a count."""
    ROOT = "root"
    """New roots; amount: how many."""
    GROWTH = "growth"
    """New growth; amount: how many."""
    SPIKE = "spike"
    """A flower spike; amount: how many."""
    FLOWER = "flower"
    """Flowers opened; amount: how many."""
    FADED = "faded"
    """The last flower of a blooming is over."""
    REPOTTED = "repotted"
    """What: the medium, if it was said."""
    LOOK = "look"
    """A look that was asked for. What: "pot" or "leaf"; amount: the word that was found for it."""


@dataclass(frozen=True, slots=True)
class DiaryEntry:
    """One entry.

    Args:
        seen_at: when it was seen, which may be before it was entered.
        person: who entered it; None if that is not known.
        photo: the name of its photo, which `page.photos` keeps.
        what, amount: what was seen, and how much of it, for the kinds that have these; amount is
            a word ("some") or a count in digits.
        id: its number in the ledger; 0 before it is there.
    """

    plant: str
    seen_at: datetime
    entered_at: datetime
    kind: EntryKind
    text: str
    person: str | None = None
    photo: str | None = None
    what: str | None = None
    amount: str | None = None
    id: int = 0

    @property
    def count(self) -> int | None:
        """How many were seen; None if they were not counted."""
        amount = (self.amount or "")[:9]
        return int(amount) if amount.isascii() and amount.isdigit() else None


class DiaryTable:
    """The diaries of the plants of all sites. An entry that cannot be read is left out."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._reader = RowReader(_entry_of, "diary_entry", "id")

    def add(self, site: str, entries: Sequence[DiaryEntry]) -> list[DiaryEntry]:
        """Write entries in one transaction; return them with their numbers."""
        written = []
        with self._database.transaction():
            for entry in entries:
                values = {
                    "site": site,
                    "plant": entry.plant,
                    "seen_at": to_text(entry.seen_at),
                    "entered_at": to_text(entry.entered_at),
                    "person": entry.person,
                    "kind": entry.kind.value,
                    "text": entry.text,
                    "photo": entry.photo,
                    "what": entry.what,
                    "amount": entry.amount,
                }
                number = self._database.insert_numbered("diary", values)
                written.append(replace(entry, id=number))
        return written

    def of_plant(
        self,
        site: str,
        plant: str,
        most: int = ALL,
        *,
        skip: int = 0,
        kind: EntryKind | None = None,
    ) -> list[DiaryEntry]:
        """Return the entries of a plant, the last one seen first; at most so many, or all.

        skip: how many of the first ones are left out. kind: those of this kind alone.
        """
        rows = self._database.rows(
            "SELECT * FROM diary WHERE site = ? AND plant = ? AND (? IS NULL OR kind = ?)"
            " ORDER BY seen_at DESC, id DESC LIMIT ? OFFSET ?",
            site,
            plant,
            kind,
            kind,
            most,
            skip,
        )
        return self._reader.readable(rows)

    def moves_since(self, site: str, plant: str, since: datetime) -> list[DiaryEntry]:
        """Return when a plant was moved from a time on, in order."""
        rows = self._database.rows(
            "SELECT * FROM diary WHERE site = ? AND plant = ? AND kind = ? AND seen_at >= ?"
            " ORDER BY seen_at, id",
            site,
            plant,
            EntryKind.MOVE.value,
            to_text(since),
        )
        return self._reader.readable(rows)

    def of_kind(
        self, site: str, kind: EntryKind, since: datetime, plant: str | None = None
    ) -> list[DiaryEntry]:
        """Return what was seen of a kind from a time on, of all plants or one, in order."""
        rows = self._database.rows(
            "SELECT * FROM diary WHERE site = ? AND kind = ? AND seen_at >= ?"
            " AND (? IS NULL OR plant = ?) ORDER BY seen_at, id",
            site,
            kind.value,
            to_text(since),
            plant,
            plant,
        )
        return self._reader.readable(rows)

    def last_of_kind(
        self, site: str, plant: str, kind: EntryKind, what: str | None = None
    ) -> DiaryEntry | None:
        """Return what was seen last of a kind, and of what if that is given; None for nothing."""
        rows = self._database.rows(
            "SELECT * FROM diary WHERE site = ? AND plant = ? AND kind = ?"
            " AND (? IS NULL OR what = ?) ORDER BY seen_at DESC, id DESC LIMIT 1",
            site,
            plant,
            kind.value,
            what,
            what,
        )
        return next(iter(self._reader.readable(rows)), None)

    def seen_since(self, site: str, since: datetime) -> list[DiaryEntry]:
        """Return what was seen of any plant from a time on, in order."""
        rows = self._database.rows(
            "SELECT * FROM diary WHERE site = ? AND seen_at >= ? ORDER BY seen_at, id",
            site,
            to_text(since),
        )
        return self._reader.readable(rows)

    def last_entered(self, site: str, most: int, kind: EntryKind | None = None) -> list[DiaryEntry]:
        """Return what was entered last, of any plant, the last one first.

        kind: those of this kind alone; else of any but moves.
        """
        rows = self._database.rows(
            "SELECT * FROM diary WHERE site = ? AND (kind = ? OR (? IS NULL AND kind <> ?))"
            " ORDER BY id DESC LIMIT ?",
            site,
            kind,
            kind,
            EntryKind.MOVE.value,
            most,
        )
        return self._reader.readable(rows)

    def entry(self, site: str, number: int) -> DiaryEntry | None:
        """Return the entry of this number; None if there is none."""
        rows = self._database.rows("SELECT * FROM diary WHERE site = ? AND id = ?", site, number)
        return next(iter(self._reader.readable(rows)), None)

    def counts(self, site: str) -> dict[str, int]:
        """Return how many entries each plant has that has any."""
        rows = self._database.rows(
            "SELECT plant, COUNT(*) AS entries FROM diary WHERE site = ? GROUP BY plant", site
        )
        return {row["plant"]: row["entries"] for row in rows}

    def kinds(self, site: str, plant: str) -> dict[str, int]:
        """Return how many entries of each kind a plant has."""
        rows = self._database.rows(
            "SELECT kind, COUNT(*) AS entries FROM diary WHERE site = ? AND plant = ?"
            " GROUP BY kind",
            site,
            plant,
        )
        return {row["kind"]: row["entries"] for row in rows}

    def has_photo(self, site: str, photo: str) -> bool:
        """Whether an entry has a photo of this name."""
        rows = self._database.rows(
            "SELECT 1 FROM diary WHERE photo = ? AND site = ? LIMIT 1", photo, site
        )
        return bool(rows)

    def correct(self, site: str, entry: DiaryEntry) -> bool:
        """Give the entry of this number another time, kind, text, what and amount.

        Return whether there is one of this number.
        """
        changed = self._database.execute(
            "UPDATE diary SET seen_at = ?, kind = ?, text = ?, what = ?, amount = ?"
            " WHERE site = ? AND id = ?",
            to_text(entry.seen_at),
            entry.kind.value,
            entry.text,
            entry.what,
            entry.amount,
            site,
            entry.id,
        )
        return changed > 0

    def remove_move(self, site: str, plant: str, at: datetime) -> None:
        """Remove what was written of a move: it has been taken back."""
        self._database.execute(
            "DELETE FROM diary WHERE site = ? AND plant = ? AND seen_at = ? AND kind = ?",
            site,
            plant,
            to_text(at),
            EntryKind.MOVE.value,
        )

    def remove(self, site: str, number: int) -> None:
        """Remove an entry."""
        self._database.execute("DELETE FROM diary WHERE site = ? AND id = ?", site, number)


def _entry_of(row: Row) -> DiaryEntry:
    return DiaryEntry(
        row["plant"],
        to_moment(row["seen_at"]),
        to_moment(row["entered_at"]),
        EntryKind(row["kind"]),
        row["text"],
        row["person"],
        row["photo"],
        row["what"],
        row["amount"],
        row["id"],
    )
