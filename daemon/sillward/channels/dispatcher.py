"""Sending for many households at once: what may begin, what is under way, and what came of it.

A desk begins an attempt and goes on; what became of it waits here until the desk looks again. The
dispatcher outlives desks and connections to ledgers, so that no outcome is lost with one.

None holds up another: there is at most one attempt at a time for each channel of a household, few
for each household, and for each kind of service no more than half of all, so that the others go on
while one service hangs. Who found no room is called when there is some for its kind, first come,
first called; what room was offered is nobody else's until that household was looked at, so that
each place calls one.
"""

import threading
from collections import Counter, OrderedDict
from collections.abc import Callable
from concurrent.futures import CancelledError, Future
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial

from sillward.config.channel import Channel
from sillward.ledger import Notice
from sillward.wording.push import Message

AT_ONCE = 32
"""Attempts at a time. Judgement: a push takes a tenth of a second to a second, so that 2,000 are
out in about a minute; each takes one thread of the child process and, with TLS, a megabyte.
The limits of tasks of the units suffice for these."""

OF_ONE_KIND = AT_ONCE // 2
"""Of them, those to services of one kind."""

OF_ONE_HOUSEHOLD = 2
"""Of them, those of one household: its other channels wait while two hang. Judgement."""

OFFERED = timedelta(seconds=30)
"""So long a place is kept for who was called. It may never come: another process can have its
turns. Judgement: as often a household is looked at that has something left to send."""


_Claim = tuple[str, str]
"""A site, and the kind of service through which it is to be told."""


@dataclass(frozen=True, slots=True)
class Attempt:
    """A claimed notice on its way, in the words in which it goes out.

    notice: as it was before it was claimed.
    """

    notice: Notice
    channel: Channel
    message: Message


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of an attempt, and when.

    error: None if the channel took it; a DeliveryError, or what only a defect raises.
    """

    attempt: Attempt
    at: datetime
    error: Exception | None


class Dispatcher:
    """The attempts of many households. Any thread may ask it; outcomes come from others."""

    def __init__(
        self,
        submit: Callable[[Channel, Message], "Future[None]"],
        clock: Callable[[], datetime],
        *,
        news: Callable[[str], None],
        at_once: int = AT_ONCE,
        of_one_kind: int = OF_ONE_KIND,
        of_one_household: int = OF_ONE_HOUSEHOLD,
    ) -> None:
        """Take what sends, and what is told.

        submit: begins to send; its result is there once the channel took the message, or raises
            DeliveryError.
        news: called with the name of a site whose desk is to look again, from any thread: there is
            an outcome, or room. It must return at once.
        """
        self._submit, self._clock, self._news = submit, clock, news
        self._at_once, self._of_one_kind = at_once, of_one_kind
        self._of_one_household = of_one_household
        self._lock = threading.Condition()
        """Notified when an attempt has ended."""
        self._under_way: dict[str, Attempt] = {}
        """By the key of the notice."""
        self._ended: dict[str, dict[str, Outcome]] = {}
        """By site and key, until they are settled."""
        self._waiting: OrderedDict[_Claim, None] = OrderedDict()
        """Who found no room, in the order in which they are called."""
        self._offered: dict[_Claim, datetime] = {}
        """Who was called and has not been looked at since, and when."""

    # -- for a desk

    def has_room(self, notice: Notice, channel: Channel) -> bool:
        """Whether an attempt may begin now. If not, its site is called when it may."""
        kind = _kind_of(channel)
        with self._lock:
            under_way = list(self._under_way.values())
            own = [one for one in under_way if one.notice.site == notice.site]
            if len(own) >= self._of_one_household:
                return False  # the outcome of one of them calls
            if any(one.channel.name == channel.name for one in own):
                return False
            if self._unsettled_on(notice.site, channel):
                return False
            alike = sum(_kind_of(one.channel) == kind for one in under_way)
            if len(under_way) < self._at_once and alike < self._of_one_kind:
                return True
            claim = notice.site, kind
            self._waiting.setdefault(claim)
            if claim in self._offered:  # it came, and others were faster
                self._waiting.move_to_end(claim, last=False)
            return False

    def begin(self, attempt: Attempt) -> None:
        """Begin an attempt for which there is room. Its notice has been claimed."""
        key, claim = attempt.notice.key, (attempt.notice.site, _kind_of(attempt.channel))
        with self._lock:
            self._under_way[key] = attempt
            self._offered.pop(claim, None)
            self._waiting.pop(claim, None)
        try:
            future = self._submit(attempt.channel, attempt.message)
        except BaseException:
            with self._lock:
                del self._under_way[key]
            raise
        future.add_done_callback(partial(self._end, attempt))

    def outcomes(self, site: str) -> list[Outcome]:
        """Return what came of a site's attempts and is not settled yet, oldest first."""
        with self._lock:
            return list(self._ended.get(site, {}).values())

    def settle(self, outcome: Outcome) -> None:
        """Forget an outcome: the ledger has it."""
        site = outcome.attempt.notice.site
        with self._lock:
            ended = self._ended.get(site, {})
            ended.pop(outcome.attempt.notice.key, None)
            if not ended:
                self._ended.pop(site, None)

    def keys_of(self, site: str) -> set[str]:
        """Return the keys of a site's notices that are under way, or not settled yet."""
        with self._lock:
            under_way = {key for key, one in self._under_way.items() if one.notice.site == site}
            return under_way | self._ended.get(site, {}).keys()

    def looked(self, site: str) -> None:
        """Note that a desk has begun all that it could: what room it left is another's."""
        with self._lock:
            for claim in [claim for claim in self._offered if claim[0] == site]:
                del self._offered[claim]
            called = self._call()
        for name in called:
            self._news(name)

    # -- for whoever drives the desks

    def sites(self) -> list[str]:
        """Return the sites with outcomes that are not settled yet."""
        with self._lock:
            return list(self._ended)

    def wait(self, seconds: float) -> bool:
        """Wait until nothing is under way. Return whether that is so by then."""
        with self._lock:
            return self._lock.wait_for(lambda: not self._under_way, seconds)

    @property
    def under_way(self) -> int:
        """How many attempts are under way."""
        with self._lock:
            return len(self._under_way)

    # -- outcomes

    def _end(self, attempt: Attempt, future: "Future[None]") -> None:
        error = _error_of(future)
        site, key = attempt.notice.site, attempt.notice.key
        outcome = Outcome(attempt, self._clock(), error)
        with self._lock:
            del self._under_way[key]
            self._ended.setdefault(site, {})[key] = outcome
            called = self._call()
            self._lock.notify_all()
        for name in (site, *(other for other in called if other != site)):
            self._news(name)

    def _call(self) -> list[str]:
        """Take those out of the line for whom there is room, and return their sites."""
        now = self._clock()
        self._offered = {
            claim: at
            for claim, at in self._offered.items()
            if timedelta(0) <= now - at < OFFERED  # negative: the clock was set back
        }
        taken = Counter(_kind_of(one.channel) for one in self._under_way.values())
        taken.update(kind for _, kind in self._offered)
        room, called = self._at_once - taken.total(), list[_Claim]()
        for claim in self._waiting:
            if room <= 0:
                break
            if taken[claim[1]] < self._of_one_kind:
                called.append(claim)
                taken[claim[1]] += 1
                room -= 1
        for claim in called:
            del self._waiting[claim]
            self._offered[claim] = now
        return list(dict.fromkeys(site for site, _ in called))

    def _unsettled_on(self, site: str, channel: Channel) -> bool:
        ended = self._ended.get(site, {}).values()
        return any(one.attempt.channel.name == channel.name for one in ended)


def _kind_of(channel: Channel) -> str:
    """Return the kind of service that a channel is: the scheme of its URL."""
    return "" if channel.url is None else channel.url.get_secret_value().partition(":")[0].lower()


def _error_of(future: "Future[None]") -> Exception | None:
    if future.cancelled():
        return CancelledError()
    error = future.exception()
    if error is None or isinstance(error, Exception):
        return error
    return RuntimeError(type(error).__name__)
