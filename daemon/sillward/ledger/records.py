"""What the ledger holds, as the rest of the shell sees it, and how it lies in the file's columns.

Times are ISO text in UTC, so that they sort; booleans are 0 and 1.
"""

import json
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import UTC, datetime
from typing import Any

from sillward_rules.collection import PlantState


@dataclass(frozen=True, slots=True)
class Notice:
    """One message of a round to one channel."""

    key: str
    site: str
    round: str
    day: str
    channel: str
    title: str
    body: str
    state: str
    attempts: int
    next_at: datetime
    expires_at: datetime
    sent_at: datetime | None = None
    last_error: str | None = None
    perhaps_sent: bool = False
    """An attempt was cut off: nobody knows whether it arrived."""


@dataclass(frozen=True, slots=True)
class StoredChore:
    """A chore that was told, as its machine-readable document."""

    id: str
    kind: str
    before: datetime
    document: dict[str, Any]
    done_at: datetime | None


@dataclass(frozen=True, slots=True)
class Mark:
    """Something that happened last: when, and in words."""

    name: str
    at: datetime
    text: str


def to_text(at: datetime) -> str:
    """A moment as it is stored."""
    return at.astimezone(UTC).isoformat(timespec="seconds")


def iso_to_text(text: str) -> str:
    """A moment from a document as it is stored."""
    return to_text(datetime.fromisoformat(text))


def to_moment(text: str) -> datetime:
    """A stored moment."""
    return datetime.fromisoformat(text)


def maybe_moment(text: str | None) -> datetime | None:
    """A stored moment, or None."""
    return None if text is None else to_moment(text)


def plain(value: object) -> object:
    """A value as a column takes it."""
    if isinstance(value, datetime):
        return to_text(value)
    return int(value) if isinstance(value, bool) else value


def state_of(row: Mapping[str, Any] | sqlite3.Row) -> PlantState:
    """A plant's state from a row or from a document."""
    return PlantState(
        spot=row["spot"],
        since=maybe_moment(row["since"]),
        assumed=bool(row["assumed"]),
        misted_at=maybe_moment(row["misted_at"]),
        fed_at=maybe_moment(row["fed_at"]),
        rinsed_at=maybe_moment(row["rinsed_at"]),
        came_from=row["came_from"],
        brighter_since=maybe_moment(_column(row, "brighter_since")),
    )


def _column(row: Mapping[str, Any] | sqlite3.Row, name: str) -> Any:
    """A value that documents of older versions lack."""
    return row[name] if name in row.keys() else None  # noqa: SIM118 (a Row is no mapping)


def notice_of(row: sqlite3.Row) -> Notice:
    """A notice from its row."""
    values = {field.name: row[field.name] for field in fields(Notice)}
    for name in ("next_at", "expires_at", "sent_at"):
        values[name] = maybe_moment(values[name])
    values["perhaps_sent"] = bool(values["perhaps_sent"])
    return Notice(**values)


def chore_of(row: sqlite3.Row) -> StoredChore:
    """A chore from its row."""
    return StoredChore(
        id=row["id"],
        kind=row["kind"],
        before=to_moment(row["before"]),
        document=json.loads(row["document"]),
        done_at=maybe_moment(row["done_at"]),
    )
