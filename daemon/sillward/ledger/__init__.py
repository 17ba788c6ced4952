"""The ledger: what the daemon must not forget, in one SQLite file."""

from sillward.ledger.ledger import Ledger
from sillward.ledger.records import (
    Activity,
    CallSchedule,
    EventVersion,
    Mark,
    Notice,
    NoticeState,
    Stage,
    StoredChore,
    StoredForecast,
)

__all__ = [
    "Activity",
    "CallSchedule",
    "EventVersion",
    "Ledger",
    "Mark",
    "Notice",
    "NoticeState",
    "Stage",
    "StoredChore",
    "StoredForecast",
]
