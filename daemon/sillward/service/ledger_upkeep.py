"""Upkeep of the ledger: marks and pruning now and then, a daily copy, and the way back to its file.

A desk goes on with a copy of the ledger in memory when the file cannot be written.
"""

import logging
from dataclasses import dataclass
from datetime import datetime, timedelta

from sillward.errors import LedgerError
from sillward.ledger import Ledger
from sillward.service.health import TICK_KEPT_EVERY, TICK_MARK, tick_mark
from sillward.service.updates import note_version

TRY_FILE_EVERY = timedelta(minutes=10)
"""Pause between attempts to go back from memory to the file. Judgement: short enough that little is
lost at a crash, long enough that a broken disk is left alone."""

PRUNE_EVERY = timedelta(days=1)
"""How often old rows are deleted."""

MACHINE_KEPT = timedelta(days=7)
"""How long the last sign of life of a machine is kept. Judgement: a container has a new name after
each start."""

PRUNE_MARK = "pruned"
"""The mark under which the ledger remembers when old rows were last deleted."""

log = logging.getLogger(__name__)


@dataclass(slots=True)
class LedgerUpkeep:
    """Keeps the ledger of a desk small, copied and, where that is possible, on disk."""

    ledger: Ledger
    machine: str | None = None
    """The name of this one, if several share the work: each has a sign of life of its own."""
    _ticked_at: datetime | None = None
    _tried_file: datetime | None = None
    _noted_version: bool = False

    def go_to_memory(self, now: datetime) -> None:
        """Go on with a copy in memory, since the file cannot be written."""
        self.ledger.to_memory()
        self._tried_file = now

    def go_back_to_file(self, now: datetime) -> None:
        """Go back from memory to the file, if it can be written again and it is time to try."""
        if not self.ledger.in_memory or not _is_due(self._tried_file, now, TRY_FILE_EVERY):
            return
        self._tried_file = now
        self.ledger.to_file()

    def mark_and_prune(self, now: datetime) -> None:
        """Write which version runs, and a sign of life; delete old rows. Each when it is due."""
        if not self._noted_version:  # before the first sign of life, which shows an earlier run
            note_version(self.ledger, now)
            self._noted_version = True
        tick, pruned = self.ledger.marks.get(TICK_MARK), self.ledger.marks.get(PRUNE_MARK)
        if _is_due(None if tick is None else tick.at, now, TICK_KEPT_EVERY):
            self.ledger.marks.set(TICK_MARK, now, "")
        if self.machine is not None and _is_due(self._ticked_at, now, TICK_KEPT_EVERY):
            self.ledger.marks.set(tick_mark(self.machine), now, "")
            self._ticked_at = now
        if _is_due(None if pruned is None else pruned.at, now, PRUNE_EVERY):
            self.ledger.marks.set(PRUNE_MARK, now, "")
            self.ledger.prune(now)
            for name, mark in self.ledger.marks.all().items():
                if name.startswith(tick_mark("")) and now - mark.at > MACHINE_KEPT:
                    self.ledger.marks.remove(name)

    def copy_or_repair_daily(self, now: datetime) -> None:
        """Copy the ledger once a day; if it is found damaged then, repair it at once.

        Leaving the file and going back to it repairs it. Where there is no way back the ledger
        stays in memory, and `go_back_to_file` tries again later.
        """
        try:
            self.ledger.copy_daily(now)
        except LedgerError as error:
            log.error("ledger.failed reason=%s", error)
            self.ledger.to_memory()
            self.ledger.to_file()


def _is_due(last: datetime | None, now: datetime, every: timedelta) -> bool:
    """Whether something was never done, not lately, or by a clock that has been set back since."""
    return last is None or not timedelta(0) <= now - last < every
