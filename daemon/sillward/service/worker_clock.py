"""The clock of a worker, held against that of the server on which the ledgers are.

Workers that share households must agree about the time: one whose clock is wrong would tell rounds
that are not due, take what others have told for a mistake, and hold on to its turns, or lose them.
So all of them go by the clock of the server. A worker whose own is some seconds from it says so:
one of the two is wrong, and somebody must set it right. One that is far from it does nothing else.
"""

import logging
import socket
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta

from sillward.ledger import Ledger

TOLERANCE = timedelta(seconds=30)
"""A difference of less is nobody's trouble. Judgement: far more than a clock that is kept right by
NTP is off, or than a question to the server takes."""

FAR_OFF = timedelta(minutes=59)
"""A worker that differs by more looks after nobody. Judgement: where the server is the wrong one,
rounds that come up to this much too early or late harm less than silence in a night with frost;
whole hours come from a wrong zone, and days from a machine without a battery."""


log = logging.getLogger(__name__)


@dataclass(slots=True)
class WorkerClock:
    """The time by the server's clock, as it was measured last.

    shared: a ledger on the server; own: the clock of this machine.
    """

    shared: Ledger
    own: Callable[[], datetime]
    machine: str = ""
    trouble: str | None = None
    """What was wrong at the last look, in words."""
    _ahead: timedelta = timedelta(0)
    """So far the server's clock is ahead of the machine's."""

    def __post_init__(self) -> None:
        """Find out the name of the machine."""
        self.machine = self.machine or socket.gethostname()

    def __call__(self) -> datetime:
        """Return the time."""
        return self.own() + self._ahead

    def compare(self) -> bool:
        """Measure the difference. Return whether the two are near enough to go on by the server's.

        Raise LedgerError if the server cannot be asked.
        """
        before = self.own()
        there = self.shared.database.server_now()
        after = self.own()
        if there is None:
            return True
        ahead = there - (before + (after - before) / 2)
        self._ahead, is_near = ahead, abs(ahead) < FAR_OFF
        was_told, self.trouble = self.trouble is not None, None
        if abs(ahead) >= TOLERANCE:
            off = "ahead of" if ahead < timedelta(0) else "behind"
            then = "this worker goes by that" if is_near else "this worker looks after nobody"
            self.trouble = (
                f"the clock of {self.machine} is {_length(abs(ahead))} {off} that of the ledger's "
                f"server: {then}; set right whichever is wrong"
            )
            if not was_told:
                log.error("clock.differs reason=%s", self.trouble)
        return is_near


def _length(by: timedelta) -> str:
    """Return how long that is, in one unit."""
    seconds = by.total_seconds()
    for unit, size in (("days", 86400.0), ("hours", 3600.0), ("minutes", 60.0)):
        if seconds >= 2 * size:
            return f"{seconds / size:.0f} {unit}"
    return f"{seconds:.0f} seconds"
