"""The rounds that were told, with the plant states that hold once somebody has been told."""

import sqlite3
from collections.abc import Mapping
from datetime import date, datetime

from sillward.ledger.database import Database
from sillward.ledger.records import states_from_json, states_to_json, to_moment, to_text
from sillward_rules.plants.state import PlantState


class RoundTable:
    """Rounds by site, name and day; each of their changes has a row of its own, and a number."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def told_at(self, site: str, round_: str, day: date, change: int = 0) -> datetime | None:
        """Return when a round, or a change of it, was put into the outbox, if it was."""
        rows = self._database.rows(
            "SELECT at FROM round WHERE site = ? AND round = ? AND day = ? AND change = ?",
            site,
            round_,
            str(day),
            change,
        )
        return to_moment(rows[0]["at"]) if rows else None

    def is_followed(self, site: str, round_: str, day: date) -> bool:
        """Whether a notice of this round reached somebody."""
        rows = self._database.rows(
            "SELECT followed FROM round WHERE site = ? AND round = ? AND day = ? AND change = 0",
            site,
            round_,
            str(day),
        )
        return bool(rows and rows[0]["followed"])

    def change_count(self, site: str, round_: str, day: date) -> int:
        """Return how often a round has been changed since it was told."""
        ((count,),) = self._database.rows(
            "SELECT COUNT(*) FROM round WHERE site = ? AND round = ? AND day = ? AND change > 0",
            site,
            round_,
            str(day),
        )
        return int(count)

    def insert(
        self,
        site: str,
        round_: str,
        day: date,
        at: datetime,
        after: Mapping[str, PlantState],
        *,
        change: int = 0,
        usable: bool = True,
    ) -> None:
        """Write a round, or a change of it. Raise LedgerError if it has been told before."""
        self._database.insert(
            "round",
            {
                "site": site,
                "round": round_,
                "day": str(day),
                "change": change,
                "at": to_text(at),
                "after": states_to_json(after),
                "usable": int(usable),
            },
        )

    def set_after(self, site: str, round_: str, day: date, after: Mapping[str, PlantState]) -> None:
        """Replace the states to come of a round and its changes, as far as none is followed yet."""
        self._database.execute(
            "UPDATE round SET after = ? WHERE site = ? AND round = ? AND day = ? AND followed = 0",
            states_to_json(after),
            site,
            round_,
            str(day),
        )

    def last_after(
        self, site: str, round_: str, day: date
    ) -> tuple[str, dict[str, PlantState]] | None:
        """Return when (as stored) a round, or its last change, was told, and its states to come.

        None if it is followed already, or was not told.
        """
        rows = self._database.rows(
            "SELECT at, after FROM round WHERE site = ? AND round = ? AND day = ? AND followed = 0"
            " ORDER BY at DESC LIMIT 1",
            site,
            round_,
            str(day),
        )
        return (rows[0]["at"], states_from_json(rows[0]["after"])) if rows else None

    def mark_followed(self, notice_key: str) -> sqlite3.Row | None:
        """Count the round of a notice as followed.

        Return its site, its states to come (`after`) and when it was told, or None if it counted
        as followed before.
        """
        rows = self._database.rows(
            "UPDATE round SET followed = 1 FROM notice WHERE notice.key = ? AND followed = 0"
            " AND round.site = notice.site AND round.round = notice.round"
            " AND round.day = notice.day AND round.change = notice.change"
            " RETURNING round.site, round.at, round.after",
            notice_key,
        )
        return rows[0] if rows else None

    def remove_told_after(self, site: str, latest: datetime) -> list[sqlite3.Row]:
        """Remove the rounds that were told after a time; return what each of them was."""
        return self._database.rows(
            "DELETE FROM round WHERE site = ? AND at > ? RETURNING round, day, change, at",
            site,
            to_text(latest),
        )

    def usable_dusks(self, site: str, since: date) -> tuple[int, int]:
        """Return how many dusk rounds were told since a day, and how many had a forecast."""
        (row,) = self._database.rows(
            "SELECT COUNT(*) AS told, COALESCE(SUM(usable), 0) AS usable FROM round"
            " WHERE site = ? AND round = 'dusk' AND day >= ?",
            site,
            str(since),
        )
        return row["told"], row["usable"]

    def prune(self, oldest: date, last_followed: date) -> None:
        """Drop the rounds before a day, and the states to come before the day last followed."""
        self._database.execute("DELETE FROM round WHERE day < ?", str(oldest))
        # The longest part of a row, and of use until its notices are sent or given up.
        self._database.execute(
            "UPDATE round SET after = '{}' WHERE day < ? AND after != '{}'", str(last_followed)
        )
