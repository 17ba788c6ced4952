"""Turns that several workers share, in the table of a server (`ledger.tables.turns`).

In the place of the heap in memory that one machine has (`turn_heap`).
"""

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from sillward.ledger.tables.turns import Turn, TurnTable
from sillward.service.worker_clock import WorkerClock

BATCH = 50
"""So many turns a worker takes at once. Measured: the gain of more is small beside the work itself,
and a worker that dies keeps fewer households waiting."""

LEASE = timedelta(minutes=3)
"""So long they are its own; it is prolonged while it works on them. Judgement: so long those of a
worker that died wait, at most; far longer than a turn takes, with a slow forecast server too."""


@dataclass(slots=True)
class SharedTurns:
    """The turns of this worker, out of those of all."""

    all_come_here = False

    table: TurnTable
    clock: WorkerClock
    batch: int = BATCH
    lease: timedelta = LEASE
    _waiting: deque[Turn] = field(default_factory=deque)
    """Taken and not begun."""
    _begun: dict[str, Turn] = field(default_factory=dict)
    _kept: dict[str, tuple[datetime, Turn]] = field(default_factory=dict)
    """Those that have their next turn in this process too, and when."""
    _passed_on: dict[str, datetime] = field(default_factory=dict)
    """Those that this worker cannot look after, and when it tries again."""
    _refused: set[str] = field(default_factory=set)
    """Those that it could not look after the last time."""
    _given_up: list[str] = field(default_factory=list)

    @property
    def trouble(self) -> str | None:
        """What is wrong with the clock of this worker, in words."""
        return self.clock.trouble

    def look_around(self) -> bool:
        """Keep what is kept for longer, and see to what a wrong clock has put off.

        If the clock of this worker is far off, give back what it has instead, and return False.
        """
        if not self.clock.compare():
            self.give_back()
            return False
        now = self.clock()
        self.table.set_right(now)
        for name, (at, turn) in list(self._kept.items()):
            if self.table.extend(turn, now + self.lease):
                self._kept[name] = at, replace(turn, until=now + self.lease)
            else:
                del self._kept[name]
                self._given_up.append(name)
        return True

    def given_up(self) -> Sequence[str]:
        """Return those whose turns were kept here and are others' by now, since the last time."""
        names, self._given_up = self._given_up, []
        return names

    def keep(self, names: Sequence[str]) -> None:
        """Look after these households, whoever will.

        That is said at each look, so that none is lost whatever others have done to the table.
        """
        self.table.keep(names, self.clock().date())

    def remove(self, name: str) -> None:
        """Leave a household to those workers that see its folder."""
        _, turn = self._kept.pop(name, (None, None))
        if turn is not None:
            self.table.end(turn, None)

    @property
    def has_due(self) -> bool:
        """Whether somebody's turn has come, of those that this worker has."""
        now = self.clock()
        return bool(self._waiting) or any(at <= now for at, _ in self._kept.values())

    def due_since(self) -> datetime | None:
        """Return since when those wait whose turn has come; None if nobody does."""
        return self.table.due_since(self.clock(), self._refused)

    def next_due(self) -> str | None:
        """Return who is due and nobody else's; None if nobody is."""
        while True:
            now = self.clock()
            for name, (at, turn) in self._kept.items():
                if at <= now:
                    del self._kept[name]
                    self._begun[name] = turn
                    return name
            if not self._waiting:
                self._waiting.extend(self._claimed(now))
            if not self._waiting:
                return None
            turn = self._waiting.popleft()
            # With less than half of it left, a long turn could outlast it.
            if now < turn.until - self.lease / 2 or self.table.extend(turn, now + self.lease):
                self._begun[turn.site] = turn
                return turn.site

    def schedule(self, name: str, at: datetime, *, keep: bool = False) -> None:
        """End a turn that was begun: the next one is at this moment. keep: in this process."""
        turn = self._begun.pop(name, None)
        self._refused.discard(name)
        if turn is None:
            return
        if not keep:
            self.table.end(turn, at)
        elif self.table.extend(turn, self.clock() + self.lease):
            self._kept[name] = at, turn
        else:
            self._given_up.append(name)

    def pass_on(self, name: str, at: datetime) -> None:
        """End a turn in which this worker could not look after a household: another may do it at
        once, and this one tries again at this moment."""
        turn = self._begun.pop(name, None)
        if turn is not None:
            self.table.pass_on(turn)
        self._passed_on[name] = at
        self._refused.add(name)

    def _claimed(self, now: datetime) -> list[Turn]:
        self._passed_on = {name: at for name, at in self._passed_on.items() if at > now}
        return self.table.claim(now, now + self.lease, self.batch, self._passed_on)

    def wake(self, name: str) -> None:
        """Give a household a turn as soon as anybody has time."""
        self._passed_on.pop(name, None)
        if name in self._kept:
            self._kept[name] = self.clock(), self._kept[name][1]
        else:
            self.table.call(name)

    def wake_all(self) -> None:
        """Give everybody a turn as soon as anybody has time."""
        now = self.clock()
        self._kept = {name: (now, turn) for name, (_, turn) in self._kept.items()}
        self.table.call_all()

    def give_back(self) -> None:
        """Let others have what this worker has not begun, or keeps: it ends."""
        for turn in (*self._waiting, *(turn for _, turn in self._kept.values())):
            self.table.end(turn, None)
        self._given_up.extend(self._kept)
        self._waiting.clear()
        self._kept.clear()
