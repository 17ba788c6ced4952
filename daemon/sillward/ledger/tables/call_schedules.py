"""When each forecast source is to be called again."""

from datetime import datetime

from sillward.ledger.database import Database
from sillward.ledger.records import CallSchedule, call_schedule_of, columns_of, to_text


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

    def claim(self, source: str, now: datetime, until: datetime) -> bool:
        """Take the next call to a source that may be called now. Return False if another process
        has taken it, until a time that is not over."""
        changed = self._database.execute(
            "UPDATE call_schedule SET next_at = ? WHERE source = ?"
            " AND (next_at <= ? OR next_at > ?)",
            to_text(until),
            source,
            to_text(now),
            to_text(until),
        )
        return changed == 1 or self.get(source) is None
