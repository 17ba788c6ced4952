"""When each forecast source is to be called again."""

from sillward.ledger.database import Database
from sillward.ledger.records import CallSchedule, call_schedule_of, columns_of


class CallScheduleTable:
    """The schedule of calls, by the name of the source."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def keep(self, source: str, schedule: CallSchedule) -> None:
        """Keep when a source is to be called again."""
        self._database.replace("call_schedule", columns_of(schedule) | {"source": source})

    def get(self, source: str) -> CallSchedule | None:
        """Return when a source is to be called again; None if it never was called."""
        rows = self._database.rows("SELECT * FROM call_schedule WHERE source = ?", source)
        return call_schedule_of(rows[0]) if rows else None
