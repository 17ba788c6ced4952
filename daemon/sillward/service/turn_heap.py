"""When each household is looked at next, on one machine: in memory, all of them due at the start.

The ledgers hold facts, never schedules. Between workers `shared_turns` stands in its place.
"""

import heapq
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Protocol


class Turns(Protocol):
    """The turns that are handed out to this process."""

    @property
    def all_come_here(self) -> bool:
        """Whether every household has its turns in this process."""
        ...

    @property
    def trouble(self) -> str | None:
        """What was wrong at the last look around, in words."""
        ...

    def look_around(self) -> bool:
        """See to what others have left. Return whether this process may give turns."""
        ...

    def given_up(self) -> Sequence[str]:
        """Return those that had their turns in this process and have them elsewhere by now, since
        this was asked last."""
        ...

    def keep(self, names: Sequence[str]) -> None:
        """Look after these households: those that are new are due."""
        ...

    def remove(self, name: str) -> None:
        """Look after a household no longer in this process."""
        ...

    @property
    def has_due(self) -> bool:
        """Whether somebody's turn has come, as far as this process knows."""
        ...

    def due_since(self) -> datetime | None:
        """Return since when those wait whose turn has come; None if nobody does, as far as this
        process knows."""
        ...

    def next_due(self) -> str | None:
        """Return who is due, the longest first, and begin its turn; None if nobody is."""
        ...

    def schedule(self, name: str, at: datetime, *, keep: bool) -> None:
        """End a turn: the next one is at this moment. keep: in this process."""
        ...

    def pass_on(self, name: str, at: datetime) -> None:
        """End a turn in which this process could not look after a household: another may do it at
        once, and this one tries again at this moment."""
        ...

    def wake(self, name: str) -> None:
        """Give a household a turn as soon as there is time."""
        ...

    def wake_all(self) -> None:
        """Give everybody a turn as soon as there is time."""
        ...

    def give_back(self) -> None:
        """Begin none of the turns that are left."""
        ...


@dataclass(slots=True)
class TurnHeap:
    """The turns by their time."""

    all_come_here = True

    clock: Callable[[], datetime]
    _turn_at: dict[str, datetime] = field(default_factory=dict)
    _heap: list[tuple[datetime, str]] = field(default_factory=list)
    """One whose time is not that in `_turn_at` has been replaced."""
    _known: set[str] = field(default_factory=set)

    trouble = None

    def look_around(self) -> bool:
        """Do nothing: nobody else has any."""
        return True

    def given_up(self) -> Sequence[str]:
        """Return none."""
        return ()

    def keep(self, names: Sequence[str]) -> None:
        """Look after these households: those that are new are due."""
        for name in names:
            if name not in self._known:
                self._known.add(name)
                self.wake(name)

    def remove(self, name: str) -> None:
        """Look after a household no longer."""
        self._known.discard(name)
        self._turn_at.pop(name, None)

    @property
    def has_due(self) -> bool:
        """Whether somebody's turn has come."""
        return bool(self._heap) and self._heap[0][0] <= self.clock()

    def due_since(self) -> datetime | None:
        """Return since when those wait whose turn has come; None if nobody does."""
        while self._heap and self._turn_at.get(self._heap[0][1]) != self._heap[0][0]:
            heapq.heappop(self._heap)
        return self._heap[0][0] if self.has_due else None

    def next_due(self) -> str | None:
        """Return who is due, the longest first, and take the turn out of the heap."""
        now = self.clock()
        while self._heap and self._heap[0][0] <= now:
            at, name = heapq.heappop(self._heap)
            if self._turn_at.get(name) == at:
                del self._turn_at[name]
                return name
        return None

    def schedule(self, name: str, at: datetime, *, keep: bool = True) -> None:
        """Have the next turn at this moment."""
        if self._turn_at.get(name) != at:
            self._turn_at[name] = at
            heapq.heappush(self._heap, (at, name))

    def pass_on(self, name: str, at: datetime) -> None:
        """Have the next turn at this moment: there is nobody else."""
        self.schedule(name, at)

    def wake(self, name: str) -> None:
        """Give a household a turn as soon as there is time."""
        now = self.clock()
        self.schedule(name, min(now, self._turn_at.get(name, now)))

    def wake_all(self) -> None:
        """Give everybody a turn as soon as there is time."""
        for name in self._known:
            self.wake(name)

    def give_back(self) -> None:
        """Do nothing: the next start looks at all."""
