"""The rounds that were enqueued, with the plant states that hold once they are delivered."""

from collections.abc import Mapping
from datetime import date, datetime

from sillward.ledger.database import Database, Row
from sillward.ledger.records import states_from_json, states_to_json, to_moment, to_text
from sillward_rules.plants.state import PlantState


class RoundTable:
    """Rounds by site, name and day; each of their changes has a row of its own, and a number.

    A round is *enqueued* when its notices are written to the ledger, all at once, and *delivered*
    when the first of them has been sent.
    """

    def __init__(self, database: Database) -> None:
        self._database = database

    def enqueued_at(
        self, site: str, round_: str, day: date, change_number: int = 0
    ) -> datetime | None:
        """Return when a round, or a change of it, was enqueued; None if it was not."""
        rows = self._database.rows(
            "SELECT enqueued_at FROM round"
            " WHERE site = ? AND round = ? AND day = ? AND change_number = ?",
            site,
            round_,
            str(day),
            change_number,
        )
        return to_moment(rows[0]["enqueued_at"]) if rows else None

    def was_delivered(self, site: str, round_: str, day: date) -> bool:
        """Whether a notice of this round has been sent to anybody."""
        rows = self._database.rows(
            "SELECT delivered FROM round"
            " WHERE site = ? AND round = ? AND day = ? AND change_number = 0",
            site,
            round_,
            str(day),
        )
        return bool(rows and rows[0]["delivered"])

    def change_count(self, site: str, round_: str, day: date) -> int:
        """Return how often a round has been changed since it was enqueued."""
        ((count,),) = self._database.rows(
            "SELECT COUNT(*) FROM round"
            " WHERE site = ? AND round = ? AND day = ? AND change_number > 0",
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
        states_once_delivered: Mapping[str, PlantState],
        *,
        change_number: int = 0,
        had_forecast: bool = True,
    ) -> None:
        """Write a round, or a change of it. Raise LedgerError if it was enqueued before."""
        self._database.insert(
            "round",
            {
                "site": site,
                "round": round_,
                "day": str(day),
                "change_number": change_number,
                "enqueued_at": to_text(at),
                "states_once_delivered": states_to_json(states_once_delivered),
                "had_forecast": int(had_forecast),
            },
        )

    def replace_states_once_delivered(
        self, site: str, round_: str, day: date, states: Mapping[str, PlantState]
    ) -> None:
        """Replace the states to come of a round and its changes, where none is delivered yet."""
        self._database.execute(
            "UPDATE round SET states_once_delivered = ?"
            " WHERE site = ? AND round = ? AND day = ? AND delivered = 0",
            states_to_json(states),
            site,
            round_,
            str(day),
        )

    def last_undelivered(
        self, site: str, round_: str, day: date
    ) -> tuple[str, dict[str, PlantState]] | None:
        """Return when (as stored) a round or its last change was enqueued, and its states to come.

        None if it has been delivered, or was not enqueued.
        """
        rows = self._database.rows(
            "SELECT enqueued_at, states_once_delivered FROM round"
            " WHERE site = ? AND round = ? AND day = ? AND delivered = 0"
            " ORDER BY enqueued_at DESC LIMIT 1",
            site,
            round_,
            str(day),
        )
        if not rows:
            return None
        return rows[0]["enqueued_at"], states_from_json(rows[0]["states_once_delivered"])

    def mark_delivered(self, notice_key: str) -> Row | None:
        """Mark the round of a notice as delivered, and forget its states to come, which are half of
        what a ledger grows by.

        Return its `site`, `enqueued_at` and `states_once_delivered`, or None if it was marked
        before.
        """
        of_notice = (
            "notice.key = ? AND delivered = 0"
            " AND round.site = notice.site AND round.round = notice.round"
            " AND round.day = notice.day AND round.change_number = notice.change_number"
        )
        with self._database.transaction():
            rows = self._database.rows(
                "SELECT round.site, round.enqueued_at, round.states_once_delivered"
                f" FROM round, notice WHERE {of_notice}",
                notice_key,
            )
            self._database.execute(
                "UPDATE round SET delivered = 1, states_once_delivered = '{}'"
                f" FROM notice WHERE {of_notice}",
                notice_key,
            )
        return rows[0] if rows else None

    def has_enqueued_after(self, site: str, latest: datetime) -> bool:
        """Whether a round was enqueued after a time."""
        return bool(
            self._database.rows(
                "SELECT 1 FROM round WHERE site = ? AND enqueued_at > ? LIMIT 1",
                *(site, to_text(latest)),
            )
        )

    def remove_enqueued_after(self, site: str, latest: datetime) -> list[Row]:
        """Remove the rounds that were enqueued after a time; return what each of them was."""
        return self._database.rows(
            "DELETE FROM round WHERE site = ? AND enqueued_at > ?"
            " RETURNING round, day, change_number, enqueued_at",
            site,
            to_text(latest),
        )

    def dusks_with_forecast(self, site: str, since: date) -> tuple[int, int]:
        """Return how many dusk rounds were enqueued since a day, and how many had a forecast."""
        (row,) = self._database.rows(
            "SELECT COUNT(*) AS enqueued, COUNT(CASE WHEN had_forecast != 0 THEN 1 END)"
            " AS with_forecast"
            " FROM round WHERE site = ? AND round = 'dusk' AND day >= ?",
            site,
            str(since),
        )
        return row["enqueued"], row["with_forecast"]

    def prune(self, oldest: date, oldest_undelivered: date) -> None:
        """Drop the rounds before a day, and the states to come of rounds before another day."""
        own, site = self._database.own_rows()
        self._database.execute(f"DELETE FROM round WHERE day < ?{own}", str(oldest), *site)
        # The longest part of a row, and of use until its notices are sent or given up.
        self._database.execute(
            "UPDATE round SET states_once_delivered = '{}'"
            f" WHERE day < ? AND states_once_delivered != '{{}}'{own}",
            str(oldest_undelivered),
            *site,
        )
