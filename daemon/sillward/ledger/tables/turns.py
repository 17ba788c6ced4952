"""When each household of a ledger on a server is looked at next, and which worker has it now.

One row for each household, which moves, and no row for each thing to do: a table that is written
all the time stays small. A worker takes a batch of those that are due, for some minutes (a
*lease*), in one statement that is a transaction of its own; while it works with them no lock is
held. If it dies, its lease runs out and another worker takes them: what it had written is there,
what it had not is done then. So a lease is not what keeps a round from being told twice, if a
worker only seemed dead: that is the key of `round`, and the claim on each notice.

Only on a server: SKIP LOCKED, by which workers do not wait for each other, is PostgreSQL's.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sillward.ledger.database import Database
from sillward.ledger.records import to_text

HORIZON = timedelta(hours=1)
"""What is due, or leased, for longer than this was written while a clock was ahead. Judgement: far
beyond the minutes for which a turn is put off, or a lease holds."""

AT_ONCE = ""
"""A moment before all others, for what is to have its turn at once."""


@dataclass(frozen=True, slots=True)
class Turn:
    """A household that is due, and this worker's until `until`.

    calls: how often it was called to its turn, as from outside; see `TurnTable.end`.
    """

    site: str
    until: datetime
    calls: int


class TurnTable:
    """The turns of all households."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add(self, sites: Sequence[str]) -> None:
        """Begin to look after households; those that are known keep their turn."""
        for site in sites:
            self._database.rows(
                "INSERT INTO turn (site, due_at) VALUES (?, ?) ON CONFLICT (site) DO NOTHING"
                " RETURNING site",
                *(site, AT_ONCE),
            )

    def remove(self, site: str) -> None:
        """Look after a household no longer."""
        self._database.rows("DELETE FROM turn WHERE site = ? RETURNING site", site)

    def sites(self) -> set[str]:
        """Return the households that are looked after."""
        return {row["site"] for row in self._database.rows("SELECT site FROM turn")}

    def claim(self, now: datetime, until: datetime, most: int) -> list[Turn]:
        """Take households that are due, the longest first, until a moment; at most so many.

        Another worker that does the same at this moment takes others.
        """
        rows = self._database.rows(
            "UPDATE turn SET owner = ?, leased_until = ? FROM"
            " (SELECT site FROM turn WHERE due_at <= ?"
            " AND (leased_until IS NULL OR leased_until <= ? OR leased_until > ?)"
            " ORDER BY due_at LIMIT ? FOR UPDATE SKIP LOCKED) AS due"
            " WHERE turn.site = due.site RETURNING turn.site, turn.calls, turn.due_at",
            *(self._database.worker, to_text(until), to_text(now), to_text(now)),
            *(to_text(now + HORIZON), most),
        )
        in_order = sorted(rows, key=lambda row: row["due_at"])
        return [Turn(row["site"], until, row["calls"]) for row in in_order]

    def extend(self, turn: Turn, until: datetime) -> bool:
        """Keep a household for longer. Return False if it is another worker's by now."""
        return self._still_own("SET leased_until = ?", turn, to_text(until))

    def end(self, turn: Turn, next_at: datetime) -> bool:
        """Give a household back, with its next turn. Return False if it is another worker's by now.

        If it was called meanwhile, it is due at once: the turn may have been too early to see why.
        """
        return self._still_own(
            "SET due_at = CASE WHEN calls = ? THEN ? ELSE ? END, owner = NULL, leased_until = NULL",
            turn,
            *(turn.calls, to_text(next_at), AT_ONCE),
        )

    def call(self, site: str) -> None:
        """Give a household its turn at once, whoever looks after it."""
        self._database.rows(
            "UPDATE turn SET due_at = ?, calls = calls + 1 WHERE site = ? RETURNING site",
            *(AT_ONCE, site),
        )

    def call_all(self) -> None:
        """Give all households their turn at once."""
        self._database.rows(
            "UPDATE turn SET due_at = ?, calls = calls + 1 WHERE due_at <> ? RETURNING site",
            *(AT_ONCE, AT_ONCE),
        )

    def set_right(self, now: datetime) -> None:
        """Let those be due whose turn was put off by a clock that was far ahead."""
        self._database.rows(
            "UPDATE turn SET due_at = ? WHERE due_at > ? RETURNING site",
            *(AT_ONCE, to_text(now + HORIZON)),
        )

    def _still_own(self, change: str, turn: Turn, *values: object) -> bool:
        rows = self._database.rows(
            f"UPDATE turn {change} WHERE site = ? AND owner = ? RETURNING site",
            *(*values, turn.site, self._database.worker),
        )
        return bool(rows)
