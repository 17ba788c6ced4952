"""Absences: days on which somebody else looks after the plants, and is told what to do."""

from dataclasses import dataclass
from datetime import date, datetime

from sillward.ledger.database import Database, Row
from sillward.ledger.records import maybe_moment, to_moment, to_text
from sillward.ledger.tables.row_reader import RowReader


@dataclass(frozen=True, slots=True)
class Absence:
    """Some days on which a helper is told of the plants too.

    - first_day, last_day: local dates, both included. The last day goes on until the next sunrise.
    - person, channel: who helps, and the name of the channel by which they are told.
    - note: what the list for them ends with, in the words of the household; often empty.
    - briefed_at: when they were told that they help, and got the list; None if not yet.
    - ended_at: when it was ended before its time; None if it was not.
    - parted_at: when they were told that it is over; None if not yet.
    """

    id: int
    first_day: date
    last_day: date
    person: str
    channel: str
    note: str
    entered_at: datetime
    briefed_at: datetime | None = None
    ended_at: datetime | None = None
    parted_at: datetime | None = None

    def covers(self, day: date) -> bool:
        """Whether the helper looks after the plants on that day and in the night after it."""
        return self.ended_at is None and self.first_day <= day <= self.last_day

    def is_over(self, day: date) -> bool:
        """Whether it was ended, or that day is later than its last one."""
        return self.ended_at is not None or day > self.last_day


class AbsenceTable:
    """The absences of each site, in the order of their days."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._reader = RowReader(_absence_of, "absence", "id")

    def insert(
        self,
        site: str,
        first_day: date,
        last_day: date,
        person: str,
        channel: str,
        at: datetime,
        note: str = "",
    ) -> Absence:
        """Write an absence down, unless there is the same one already, and return it."""
        with self._database.transaction():
            for known in self.of_site(site):
                same = (known.first_day, known.last_day, known.person, known.channel, known.note)
                if known.ended_at is None and same == (first_day, last_day, person, channel, note):
                    return known
            values = {
                "site": site,
                "first_day": str(first_day),
                "last_day": str(last_day),
                "person": person,
                "channel": channel,
                "note": note,
                "entered_at": to_text(at),
            }
            number = self._database.insert_numbered("absence", values)
            (row,) = self._database.rows("SELECT * FROM absence WHERE id = ?", number)
        return _absence_of(row)

    def of_site(self, site: str) -> list[Absence]:
        """Return all absences of a site, also those that are over."""
        rows = self._database.rows(
            "SELECT * FROM absence WHERE site = ? ORDER BY first_day, last_day, id", site
        )
        return self._reader.readable(rows)

    def get(self, number: int) -> Absence | None:
        """Return an absence as it is now; None if it was cancelled, or cannot be read."""
        rows = self._database.rows("SELECT * FROM absence WHERE id = ?", number)
        return next(iter(self._reader.readable(rows)), None)

    def covering(self, site: str, day: date) -> list[Absence]:
        """Return the absences that cover a day and the night after it."""
        return [absence for absence in self.of_site(site) if absence.covers(day)]

    def mark_briefed(self, absence: Absence, at: datetime) -> None:
        """Note when the helper was told that they help."""
        self._mark("briefed_at", absence, at)

    def mark_parted(self, absence: Absence, at: datetime) -> None:
        """Note when the helper was told that it is over."""
        self._mark("parted_at", absence, at)

    def end(self, absence: Absence, at: datetime) -> None:
        """End an absence before its time; forget one of which its helper was not told yet."""
        if absence.briefed_at is None:
            self._database.execute("DELETE FROM absence WHERE id = ?", absence.id)
        else:
            self._mark("ended_at", absence, at)

    def prune(self, oldest: date) -> None:
        """Forget the absences that ended before a day."""
        own, site = self._database.own_rows()
        self._database.execute(f"DELETE FROM absence WHERE last_day < ?{own}", str(oldest), *site)

    def _mark(self, column: str, absence: Absence, at: datetime) -> None:
        self._database.execute(
            f"UPDATE absence SET {column} = ? WHERE id = ?", to_text(at), absence.id
        )


def _absence_of(row: Row) -> Absence:
    return Absence(
        id=row["id"],
        first_day=date.fromisoformat(row["first_day"]),
        last_day=date.fromisoformat(row["last_day"]),
        person=row["person"],
        channel=row["channel"],
        note=row["note"],
        entered_at=to_moment(row["entered_at"]),
        briefed_at=maybe_moment(row["briefed_at"]),
        ended_at=maybe_moment(row["ended_at"]),
        parted_at=maybe_moment(row["parted_at"]),
    )
