"""The ledger: what the daemon must not forget, in one SQLite file."""

from sillward.ledger.ledger import Ledger
from sillward.ledger.records import (
    Activity,
    CalendarEventVersion,
    CallSchedule,
    Mark,
    Notice,
    NoticeState,
    Stage,
    StoredChore,
    StoredForecast,
)

__all__ = [
    "Activity",
    "CalendarEventVersion",
    "CallSchedule",
    "Ledger",
    "Mark",
    "Notice",
    "NoticeState",
    "Stage",
    "StoredChore",
    "StoredForecast",
]
