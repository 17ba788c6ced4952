"""Many households in one daemon: each gets its turn when something may be due for it.

The times of the turns are kept in memory, in a heap (`turn_heap`): all are due at the start, and
the ledgers hold facts, never schedules. Several workers keep them in a table on the server that
holds the ledgers (`shared_turns`). A tick takes the turns that are due, for at most a few seconds,
so that the watchdog sees progress. Events from outside cause a turn at once: answers and edits are
noticed by the time stamps of a household's files, a new forecast causes turns for the households
that use it, and a clock that was set causes one for everybody.
"""

import logging
import time
from collections.abc import Callable, Collection, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from queue import Empty, SimpleQueue
from typing import Generic, Protocol, TypeVar
from zlib import crc32

from sillward.errors import LedgerError, one_line
from sillward.service.run_control import RunControl
from sillward.service.turn_heap import TurnHeap, Turns
from sillward.service.turns import AGAIN, NET

TICK_S = 5.0
"""Time from the beginning of one tick to the next [s]. A tick without a turn costs next to nothing,
and one that runs out of time continues in the next."""

WORK_S = 4.0
"""How long a tick takes turns [s]. Judgement: most of the time until the next."""

NEWS_S = 1.0
"""How long a tick with nothing to do waits for the outcome of a message that is being sent [s], so
that room for the next one is used before the next tick. Judgement: a push takes a second."""

LOOK_EVERY = timedelta(seconds=30)
"""How often to look for events from outside: as often as a single desk does."""

BEHIND = timedelta(minutes=5)
"""Turns that come later than this are a trouble. Judgement: orders have a lead of half an hour, and
after a start thousands take a minute or two."""

CLOCK_JUMP = timedelta(seconds=90)
"""A clock that jumps by more than this between two ticks, beyond the time that passed, was set."""

MAX_GONE_SHARE = 0.5
"""If more than this share of the households disappears at once, the folder is assumed to be
unavailable. Judgement: a disk that is not mounted; nobody removes half of them at one time."""

MAX_TROUBLE = 200
"""Characters of what is wrong with the folder, in the log."""

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)

log = logging.getLogger(__name__)

Place = TypeVar("Place")


class Member(Protocol):
    """What the house needs of a household."""

    def turn(self) -> datetime:
        """Do what is due. Return when to look again."""
        ...

    def note_defect(self, error: Exception) -> None:
        """Say that a turn of it has failed by a defect of ours."""
        ...

    def stamp(self) -> object:
        """Return a value that changes whenever its files do."""
        ...

    def close(self) -> None:
        """Stop what runs between its turns."""
        ...

    @property
    def is_needed(self) -> bool:
        """Whether it holds something that exists nowhere else, such as a message that is being
        sent: then its turns stay with this process."""
        ...

    @property
    def is_refused(self) -> bool:
        """Whether this process cannot look after it; another, which knows it already, might."""
        ...

    def leave(self) -> None:
        """Forget it: it is no longer looked after."""
        ...

    @property
    def troubles(self) -> list[str]:
        """What was wrong at its last turn, in words."""
        ...


@dataclass(slots=True)
class House(Generic[Place]):
    """The households of a folder, and when each has its next turn.

    find: returns the households there are, by name; raises OSError if they cannot be listed.
    take_in: begins to look after one.
    refresh: fetches the forecasts that are due, for all; returns who has new ones.
    has_answers: whether `refresh` has some to take up, which is not put off to the next look.
    """

    find: Callable[[], Mapping[str, Place]]
    take_in: Callable[[Place], Member]
    refresh: Callable[[], Collection[str]]
    clock: Callable[[], datetime]
    run: RunControl
    monotonic: Callable[[], float] = time.monotonic
    has_answers: Callable[[], bool] = lambda: False
    is_sending: Callable[[], bool] = lambda: False
    """Whether messages are being sent, whose outcomes will be news."""
    settle: Callable[[], None] = lambda: None
    """Records their outcomes while no turns are taken."""
    members: dict[str, Member] = field(default_factory=dict)
    troubles: list[str] = field(default_factory=list)
    """What is wrong with the folder."""
    shared_turns: Turns | None = None
    """The turns, if they are shared with other workers; otherwise they are in memory."""
    turns: Turns = field(init=False)
    _stamps: dict[str, object] = field(default_factory=dict)
    _failures: dict[str, int] = field(default_factory=dict)
    _fresh: set[str] = field(default_factory=set)
    """Those that have had no turn yet."""
    _news: "SimpleQueue[str]" = field(default_factory=SimpleQueue)
    _looked_at: datetime | None = None
    _is_idle: bool = False
    """Whether it takes no turns until the next look."""
    _last: tuple[datetime, float] | None = None

    def __post_init__(self) -> None:
        """Begin without a household."""
        self.turns = self.shared_turns or TurnHeap(self.clock)

    def tick(self) -> None:
        """Take the turns that are due, as far as there is time.

        If turns cannot be claimed, for example because the ledger's server is away, the house is
        in trouble; the next tick tries again.
        """
        try:
            self._tick()
        except LedgerError as error:
            self._looked_at = None
            self._go_on(str(error))

    def _tick(self) -> None:
        now = self.clock()
        was_set = self._clock_was_set(now, self.monotonic())
        if was_set:
            log.warning("house.clock_set now=%s", now)
            self._looked_at = None
        is_time = self._looked_at is None or not timedelta(0) <= now - self._looked_at < LOOK_EVERY
        if is_time or self.has_answers():
            self._looked_at = now
            self._is_idle = not self._look_around()
        if self._is_idle:
            self.settle()
            return
        if was_set:
            self.wake_all()
        began_s = self.monotonic()  # whatever the look took: nobody's turn is left out for it
        while (left_s := began_s + WORK_S - self.monotonic()) > 0 and not self.run.stop_requested:
            self._take_news(wait_s=0.0)
            name = self.turns.next_due()
            if name is not None:
                self._give_turn(name)
            elif not self.is_sending() or not self._take_news(wait_s=min(left_s, NEWS_S)):
                break

    @property
    def has_due(self) -> bool:
        """Whether somebody's turn has come."""
        return self.turns.has_due

    def note_news(self, name: str) -> None:
        """Give a household a turn as soon as there is time. Any thread may call this."""
        self._news.put(name)

    def wake_all(self) -> None:
        """Give everybody a turn as soon as there is time."""
        self.turns.wake_all()

    def wake(self, name: str) -> None:
        """Give a household a turn as soon as there is time."""
        self.turns.wake(name)

    def close(self) -> None:
        """End what runs between the turns."""
        for member in self.members.values():
            member.close()
        with suppress(LedgerError):  # without it others wait until the leases are over
            self.turns.give_back()

    # -- turns

    def _take_news(self, wait_s: float) -> bool:
        """Wake those that have news, waiting this long for the first. Return whether there was
        any."""
        came = False
        with suppress(Empty):
            while True:
                name = (
                    self._news.get(timeout=wait_s) if wait_s and not came else self._news.get(False)
                )
                came = True
                if name in self.members:
                    self.wake(name)
        return came

    def _give_turn(self, name: str) -> None:
        """Let one household do what is due; whatever fails there harms nobody else."""
        member, now = self.members.get(name), self.clock()
        if member is None:  # other workers see its folder, or did
            self.turns.pass_on(name, now + LOOK_EVERY)
            return
        try:
            at = member.turn()
        except Exception as error:
            log.exception("household.failed name=%s", name)
            member.note_defect(error)
            self._failures[name] = self._failures.get(name, 0) + 1
            at = now + min(AGAIN * 2 ** min(self._failures[name] - 1, 8), NET)
        else:
            self._failures.pop(name, None)
        if name in self._fresh:
            self._fresh.discard(name)
            if not self._fresh:
                self._looked_at = None  # now the forecasts
        self._stamps[name] = member.stamp()  # not what it has written itself
        at = min(at, _look_of(name, self.clock()))
        if member.is_refused:
            self.turns.pass_on(name, at)
        else:
            self.turns.schedule(name, at, keep=member.is_needed)
        self.run.step_done()

    # -- what comes from outside

    def _clock_was_set(self, now: datetime, at_s: float) -> bool:
        before, self._last = self._last, (now, at_s)
        if before is None:
            return False
        passed = timedelta(seconds=at_s - before[1])
        return not -CLOCK_JUMP <= now - before[0] - passed <= CLOCK_JUMP

    def _look_around(self) -> bool:
        """Look for households that came or went, changed files, and new forecasts.

        Return whether turns may be taken.
        """
        may_give = self.turns.look_around()
        for name in self.turns.given_up():
            if name in self.members:
                self.members[name].close()
        if not may_give:
            self._go_on(self.turns.trouble or "")
            return False
        self._look_at_folder()
        if self.turns.trouble is not None:
            self.troubles.append(self.turns.trouble)
        self._look_at_backlog()
        for name, member in self.members.items():
            stamp = member.stamp()
            if stamp != self._stamps.get(name):
                self._stamps[name] = stamp
                self.wake(name)
        if self._fresh:
            return True  # forecasts are fetched for all at once, so only when all are known
        try:
            for name in self.refresh():
                if name in self.members:
                    self.wake(name)
        except Exception:
            log.exception("forecast.failed_to_refresh")
        self.run.step_done()
        return True

    def _look_at_backlog(self) -> None:
        """Say so if turns are given late: there is more to do than there is time."""
        due_since = self.turns.due_since()
        behind = timedelta(0) if due_since is None else self.clock() - due_since
        if behind > BEHIND:
            minutes = behind // timedelta(minutes=1)
            trouble = f"{minutes} minutes behind: more to do than one process can"
            log.error("house.behind minutes=%d", minutes)
            self.troubles.append(trouble)

    def _look_at_folder(self) -> None:
        try:
            found = self.find()
        except OSError as error:
            self._go_on(f"the folder of households cannot be read: {error.strerror or error}")
            return
        gone = [name for name in self.members if name not in found]
        if len(gone) > 1 and len(gone) > MAX_GONE_SHARE * len(self.members):
            self._go_on(f"{len(gone)} of {len(self.members)} households are gone at once")
            return
        self.troubles.clear()
        for name in gone:
            log.warning("household.gone name=%s", name)
            self.members.pop(name).leave()
            self.turns.remove(name)
            for known in (self._stamps, self._failures):
                known.pop(name, None)
            self._fresh.discard(name)
        new = [name for name in found if name not in self.members]
        for name in new:
            self.members[name] = self.take_in(found[name])
            self._stamps[name] = self.members[name].stamp()
        if self.turns.all_come_here:
            self._fresh.update(new)
        self.turns.keep(list(self.members))

    def _go_on(self, trouble: str) -> None:
        """Go on with the known households while the folder cannot be read."""
        if trouble not in self.troubles:
            log.error("house.in_trouble reason=%s", one_line(trouble, MAX_TROUBLE))
        self.troubles[:] = [trouble]


def _look_of(name: str, now: datetime) -> datetime:
    """Return when a household is looked at next if nothing is due for it before.

    Each has a moment of its own within `NET`. After a start, or a forecast for many, they have had
    their turns one right after the other, and would all be looked at together from then on.
    """
    own = timedelta(seconds=crc32(name.encode()) % int(NET.total_seconds()))
    return now + NET - (now - _EPOCH - own) % NET
