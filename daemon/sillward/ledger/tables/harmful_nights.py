"""Nights that may have harmed a plant, what the grower was asked about them, and what was answered.

They are kept for good: limits learn from them, and neither readings nor forecasts are kept so long.
"""

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime

from sillward.ledger.database import Database, Row
from sillward.ledger.records import maybe_moment, to_moment, to_text
from sillward.ledger.tables.row_reader import RowReader

COLUMNS = 15
"""Columns of the table."""


@dataclass(frozen=True, slots=True)
class HarmfulNight:
    """A night of a plant.

    Args:
        night: the date of its evening.
        low_c: the lowest temperature of its leaves where it stood [°C]; sd_k: how well that is
            known [K]. is_read: whether a thermometer there showed it, or a forecast said it.
        is_known: whether it is known where the plant stood; else it may have been warmer, and only
            whether it shows damage is of interest.
        limit_c: its limit in that night [°C]; None if it had none.
        asked_at: when the grower was last asked whether damage shows; None if not yet.
        answered_at: when it was answered, by whom (person, None if not known), and whether there
            was damage; None if it was not.
        looked_at: when somebody last looked and saw no damage; None if nobody has. Before two
            weeks are over that is no answer: damage may show later.
        given: the limits of cold that its collection gave it then, by name [°C].
    """

    plant: str
    night: date
    low_c: float
    sd_k: float
    is_read: bool
    is_known: bool
    limit_c: float | None
    noted_at: datetime
    asked_at: datetime | None = None
    answered_at: datetime | None = None
    damaged: bool | None = None
    person: str | None = None
    looked_at: datetime | None = None
    given: Mapping[str, float] = field(default_factory=dict)


class HarmfulNightTable:
    """The harmful nights of each site."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._reader = RowReader(_night_of, "harmful_night", "plant")

    def note(self, site: str, nights: Sequence[HarmfulNight]) -> None:
        """Write nights down; one that is there already stays as it is."""
        with self._database.transaction():
            for night in nights:
                self._database.execute(
                    f"INSERT INTO harmful_night VALUES ({', '.join('?' * COLUMNS)})"
                    " ON CONFLICT (site, plant, night) DO NOTHING",
                    *_values(site, night),
                )

    def keep(self, site: str, night: HarmfulNight) -> None:
        """Write a night down, in place of what was known of it."""
        self._database.replace_each("harmful_night", [_values(site, night)])

    def remove(self, site: str, night: HarmfulNight) -> None:
        """Remove what is known of a night."""
        self._database.execute(
            "DELETE FROM harmful_night WHERE site = ? AND plant = ? AND night = ?",
            site,
            night.plant,
            str(night.night),
        )

    def of_plant(self, site: str, plant: str) -> list[HarmfulNight]:
        """Return the nights of a plant, in order."""
        rows = self._database.rows(
            "SELECT * FROM harmful_night WHERE site = ? AND plant = ? ORDER BY night", site, plant
        )
        return self._reader.readable(rows)

    def unanswered(self, site: str, since: date) -> list[HarmfulNight]:
        """Return the nights from a date on that are not answered, by night and plant."""
        rows = self._database.rows(
            "SELECT * FROM harmful_night WHERE site = ? AND night >= ? AND answered_at IS NULL"
            " ORDER BY night, plant",
            site,
            str(since),
        )
        return self._reader.readable(rows)

    def answered(self, site: str) -> list[HarmfulNight]:
        """Return all nights that are answered, by night and plant; also those of which the answer
        says nothing."""
        rows = self._database.rows(
            "SELECT * FROM harmful_night WHERE site = ? AND answered_at IS NOT NULL"
            " ORDER BY night, plant",
            site,
        )
        return self._reader.readable(rows)

    def mark_asked(self, site: str, nights: Sequence[HarmfulNight], at: datetime) -> None:
        """Note that the grower was asked about nights."""
        self._database.execute_each(
            "UPDATE harmful_night SET asked_at = ? WHERE site = ? AND plant = ? AND night = ?",
            [(to_text(at), site, night.plant, str(night.night)) for night in nights],
        )


def _values(site: str, night: HarmfulNight) -> tuple[object, ...]:
    """Return the columns of a night, in order."""
    return (
        site,
        night.plant,
        str(night.night),
        night.low_c,
        night.sd_k,
        night.is_read,
        night.is_known,
        night.limit_c,
        to_text(night.noted_at),
        None if night.asked_at is None else to_text(night.asked_at),
        None if night.answered_at is None else to_text(night.answered_at),
        night.damaged,
        night.person,
        None if night.looked_at is None else to_text(night.looked_at),
        json.dumps(dict(night.given)),
    )


def _night_of(row: Row) -> HarmfulNight:
    if not (math.isfinite(row["low"]) and row["sd"] >= 0):
        raise ValueError
    return HarmfulNight(
        row["plant"],
        date.fromisoformat(row["night"]),
        row["low"],
        row["sd"],
        bool(row["read"]),
        bool(row["known"]),
        row["limit_c"],
        to_moment(row["noted_at"]),
        maybe_moment(row["asked_at"]),
        maybe_moment(row["answered_at"]),
        None if row["damaged"] is None else bool(row["damaged"]),
        row["person"],
        maybe_moment(row["looked_at"]),
        _limits_of(row["given"]),
    )


def _limits_of(text: str) -> dict[str, float]:
    """Return limits by name. Raise ValueError if they cannot be read."""
    limits = json.loads(text)
    if not isinstance(limits, dict) or not all(map(_is_finite, limits.values())):
        raise ValueError
    return limits


def _is_finite(value: object) -> bool:
    return isinstance(value, int | float) and math.isfinite(value)
