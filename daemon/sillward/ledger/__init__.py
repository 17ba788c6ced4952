"""The ledger: what the daemon must not forget, in one SQLite file.

`ledger` is what the rest of the shell uses: an object for each of the `tables`, and the
transactions over several of them. They read and write `records`, `subjects` and chores
(`chore_codec`) through one `database`. `ledger_file` is the file under it, with its `opening`
(`ownership`, `integrity`, `schema`, `migrations`), its `copies`, and the way to memory and back
(`merging`). `week_review` is worked out from its rows.
"""

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
from sillward.ledger.tables.absences import Absence
from sillward.ledger.tables.confirmations import Answer
from sillward.ledger.tables.deeds import Deed
from sillward.ledger.tables.devices import Device

__all__ = [
    "Absence",
    "Activity",
    "Alarm",
    "Answer",
    "CalendarEventVersion",
    "CallSchedule",
    "Deed",
    "Device",
    "Ledger",
    "Mark",
    "Notice",
    "NoticeState",
    "SavedForecast",
    "Stage",
    "StoredChore",
    "Subject",
]
