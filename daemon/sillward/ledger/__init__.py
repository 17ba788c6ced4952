"""The ledger: what the daemon must not forget, in one SQLite file."""

from sillward.ledger.ledger import Ledger
from sillward.ledger.records import (
    Activity,
    CalendarEventVersion,
    CallSchedule,
    Mark,
    Notice,
    NoticeState,
    SavedForecast,
    Stage,
    StoredChore,
)
from sillward.ledger.subjects import Alarm, Subject

__all__ = [
    "Activity",
    "Alarm",
    "CalendarEventVersion",
    "CallSchedule",
    "Ledger",
    "Mark",
    "Notice",
    "NoticeState",
    "SavedForecast",
    "Stage",
    "StoredChore",
    "Subject",
]
