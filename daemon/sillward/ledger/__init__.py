"""The ledger: what the daemon must not forget, in one SQLite file."""

from sillward.ledger.records import (
    EventVersion,
    Life,
    Mark,
    Notice,
    Poll,
    Stage,
    StoredChore,
    StoredForecast,
)
from sillward.ledger.store import Ledger

__all__ = [
    "EventVersion",
    "Ledger",
    "Life",
    "Mark",
    "Notice",
    "Poll",
    "Stage",
    "StoredChore",
    "StoredForecast",
]
