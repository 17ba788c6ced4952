"""The ledger: what the daemon must not forget, in one SQLite file."""

from sillward.ledger.records import Mark, Notice, Poll, StoredChore, StoredForecast
from sillward.ledger.store import Ledger

__all__ = ["Ledger", "Mark", "Notice", "Poll", "StoredChore", "StoredForecast"]
