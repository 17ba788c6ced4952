"""Turns that several workers share, in the table of a server (`ledger.tables.turns`).

In the place of the heap in memory that one machine has (`service.house`).
"""

from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from sillward.ledger.tables.turns import Turn, TurnTable

BATCH = 50
"""So many turns a worker takes at once. Measured: the gain of more is small beside the work itself,
and a worker that dies keeps fewer households waiting."""

LEASE = timedelta(minutes=3)
"""So long they are its own; it is prolonged while it works on them. Judgement: so long those of a
worker that died wait, at most; far longer than a turn takes, with a slow forecast server too."""


@dataclass(slots=True)
class SharedTurns:
    """The turns of this worker, out of those of all."""

    table: TurnTable
    clock: Callable[[], datetime]
    batch: int = BATCH
    lease: timedelta = LEASE
    _waiting: deque[Turn] = field(default_factory=deque)
    """Taken and not begun."""
    _begun: dict[str, Turn] = field(default_factory=dict)

    def add(self, names: Sequence[str]) -> None:
        """Begin to look after households, whoever will."""
        known = self.table.sites()
        self.table.add([name for name in names if name not in known])

    def remove(self, name: str) -> None:
        """Look after a household no longer."""
        self.table.remove(name)

    def next_due(self) -> str | None:
        """Return who is due and nobody else's; None if nobody is."""
        while True:
            now = self.clock()
            if not self._waiting:
                self._waiting.extend(self.table.claim(now, now + self.lease, self.batch))
            if not self._waiting:
                return None
            turn = self._waiting.popleft()
            # With less than half of it left, a long turn could outlast it.
            if now < turn.until - self.lease / 2 or self.table.extend(turn, now + self.lease):
                self._begun[turn.site] = turn
                return turn.site

    def schedule(self, name: str, at: datetime) -> None:
        """End a turn that was begun: the next one is at this moment."""
        turn = self._begun.pop(name, None)
        if turn is not None:
            self.table.end(turn, at)

    def wake(self, name: str) -> None:
        """Give a household a turn as soon as anybody has time."""
        self.table.call(name)

    def wake_all(self) -> None:
        """Give everybody a turn as soon as anybody has time."""
        self.table.call_all()

    def give_back(self) -> None:
        """Let others have what is not begun: this worker ends."""
        while self._waiting:
            self.table.end(self._waiting.popleft(), self.clock())
