"""When each household of a ledger on a server is looked at next, and which worker has it now.

One row for each household, which moves, and no row for each thing to do: a table that is written
all the time stays small. A worker takes a batch of those that are due, for some minutes (a
*lease*), in one statement that is a transaction of its own; while it works with them no lock is
held. If it dies, its lease runs out and another worker takes them: what it had written is there,
what it had not is done then. So a lease is not what keeps a round from being told twice, if a
worker only seemed dead: that is the key of `round`, and the claim on each notice.

Only on a server: SKIP LOCKED, by which workers do not wait for each other, is PostgreSQL's.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from sillward.ledger.database import Database
from sillward.ledger.records import maybe_moment, to_text

HORIZON = timedelta(hours=1)
"""What is due, or leased, for longer than this was written while a clock was ahead. Judgement: far
beyond the minutes for which a turn is put off, or a lease holds."""

KEPT_UNSEEN = timedelta(days=3)
"""The row of a household whose folder no worker sees is kept for so long. Judgement: it costs next
to nothing, and days are beyond what any copy, or share that lags behind, takes."""

AT_ONCE = ""
"""A moment before all others, for what is to have its turn at once."""

UNSYNCED = "WITH unsynced AS MATERIALIZED (SELECT set_config('synchronous_commit', 'off', true))"
"""Before an UPDATE that reads from it: its commit does not wait until it is on the disk, as one for
each turn would cost more than a turn in which nothing is due. All others see it at once. If the
server loses power, a part of the last second of these is lost: a household whose turn had ended is
looked at once more, and one that was taken may be taken by another worker, which is no harm, as the
module says. What is told and answered is committed by others, which wait."""


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

    def keep(self, sites: Sequence[str], today: date) -> None:
        """Look after households, whose folders a worker sees; those that are known keep their turn.

        Those that no worker has seen for days are forgotten. One worker alone can take away
        nobody's turn: its folder may lag behind, or be another one.
        """
        names = list(sites)
        self._database.rows(
            "INSERT INTO turn (site, due_at, seen_on) SELECT site, ?, ? FROM unnest(?::text[])"
            " AS there (site) ON CONFLICT (site) DO NOTHING RETURNING site",
            *(AT_ONCE, str(today), names),
        )
        self._database.rows(  # once a day; SKIP LOCKED, since another worker may do it just now
            "UPDATE turn SET seen_on = ? WHERE site IN (SELECT site FROM turn WHERE seen_on < ?"
            " AND site = ANY (?::text[]) FOR UPDATE SKIP LOCKED) RETURNING site",
            *(str(today), str(today), names),
        )
        self._database.rows(
            "DELETE FROM turn WHERE seen_on < ? RETURNING site", str(today - KEPT_UNSEEN)
        )

    def forget(self, site: str) -> int:
        """Look after a household no longer. Return how many rows went."""
        return self._database.execute("DELETE FROM turn WHERE site = ?", site)

    def claim(
        self, now: datetime, until: datetime, most: int, without: Collection[str] = ()
    ) -> list[Turn]:
        """Take households that are due, the longest first, until a moment; at most so many.

        without: those that this worker cannot look after.
        Another worker that does the same at this moment takes others.
        """
        rows = self._database.rows(
            f"{UNSYNCED} UPDATE turn SET owner = ?, leased_until = ? FROM unsynced,"
            " (SELECT site FROM turn WHERE due_at <= ?"
            " AND (leased_until IS NULL OR leased_until <= ? OR leased_until > ?)"
            " AND NOT site = ANY (?::text[])"
            " ORDER BY due_at LIMIT ? FOR UPDATE SKIP LOCKED) AS due"
            " WHERE turn.site = due.site RETURNING turn.site, turn.calls, turn.due_at",
            *(self._database.worker, to_text(until), to_text(now), to_text(now)),
            *(to_text(now + HORIZON), list(without), most),
        )
        in_order = sorted(rows, key=lambda row: row["due_at"])
        return [Turn(row["site"], until, row["calls"]) for row in in_order]

    def due_since(self, now: datetime, without: Collection[str] = ()) -> datetime | None:
        """Return since when one is due that no worker has; None if there is none. Those that were
        called do not count: it is not known since when.

        without: those that this worker cannot look after.
        """
        ((since,),) = self._database.rows(
            "SELECT min(due_at) FROM turn WHERE due_at <= ? AND due_at <> ?"
            " AND (leased_until IS NULL OR leased_until <= ?) AND NOT site = ANY (?::text[])",
            *(to_text(now), AT_ONCE, to_text(now), list(without)),
        )
        return maybe_moment(since)

    def extend(self, turn: Turn, until: datetime) -> bool:
        """Keep a household for longer. Return False if it is another worker's by now."""
        return self._still_own("SET leased_until = ?", turn, to_text(until))

    def end(self, turn: Turn, next_at: datetime | None) -> bool:
        """Give a household back, with its next turn. Return False if it is another worker's by now.

        next_at: None for at once. So it is if it was called meanwhile: the turn may have been too
        early to see why.
        """
        return self._still_own(
            "SET due_at = CASE WHEN calls = ? THEN ? ELSE ? END, owner = NULL, leased_until = NULL",
            turn,
            *(turn.calls, AT_ONCE if next_at is None else to_text(next_at), AT_ONCE),
        )

    def pass_on(self, turn: Turn) -> bool:
        """Give a household back, as due as it was. Return False if it was another worker's."""
        return self._still_own("SET owner = NULL, leased_until = NULL", turn)

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
            f"{UNSYNCED} UPDATE turn {change} FROM unsynced WHERE site = ? AND owner = ?"
            " RETURNING site",
            *(*values, turn.site, self._database.worker),
        )
        return bool(rows)
