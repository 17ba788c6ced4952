"""The versions of the events in the calendar file."""

from collections.abc import Mapping
from datetime import date, datetime

from sillward.ledger.database import Database, Row
from sillward.ledger.records import CalendarEventVersion, to_moment, to_text


class CalendarEventTable:
    """How often each event of a site's calendar has changed, and when last."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def versions(
        self, site: str, digests: Mapping[str, str], now: datetime
    ) -> dict[str, CalendarEventVersion]:
        """Return the version of each event, after giving a new one to those whose content changed.

        Nothing is written if no content changed. `digests` has a digest of the content of each
        event, by the id of its chore.
        """
        known = self._events(site)
        if any(event not in known or known[event]["digest"] != digests[event] for event in digests):
            self._database.execute_each(
                "INSERT INTO calendar_event (site, id, digest, sequence, changed_at)"
                " VALUES (?, ?, ?, 0, ?) ON CONFLICT (site, id) DO UPDATE SET"
                " digest = excluded.digest, sequence = calendar_event.sequence + 1,"
                # Clocks are set back: it never is earlier than it was.
                " changed_at = CASE WHEN calendar_event.changed_at > excluded.changed_at"
                " THEN calendar_event.changed_at ELSE excluded.changed_at END"
                " WHERE calendar_event.digest != excluded.digest",
                [(site, event, digest, to_text(now)) for event, digest in digests.items()],
            )
            known = self._events(site)
        return {
            event: CalendarEventVersion(
                known[event]["sequence"], to_moment(known[event]["changed_at"])
            )
            for event in digests
        }

    def prune(self, oldest: date) -> None:
        """Drop the events of chores before a day."""
        own, site = self._database.own_rows()
        self._database.execute(f"DELETE FROM calendar_event WHERE id < ?{own}", str(oldest), *site)

    def _events(self, site: str) -> dict[str, Row]:
        rows = self._database.rows("SELECT * FROM calendar_event WHERE site = ?", site)
        return {row["id"]: row for row in rows}
