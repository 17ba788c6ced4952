"""Sending for many households at once: what may begin, what is under way, and what came of it.

A desk begins an attempt and goes on; what became of it waits here until the desk looks again. The
dispatcher outlives desks and connections to ledgers, so that no outcome is lost with one.

None holds up another: there is at most one attempt at a time for each channel of a household, few
for each household, and for each kind of service no more than half of all, so that the others go on
while one service hangs. Who found no room is called when there is some, first come, first called.
"""

import threading
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import CancelledError, Future
from dataclasses import dataclass
from datetime import datetime
from functools import partial

from sillward.config.channel import Channel
from sillward.ledger import Notice
from sillward.wording.push import Message

AT_ONCE = 32
"""Attempts at a time. Judgement: a push takes a tenth of a second to a second, so that 2,000 are
out in about a minute; each takes a thread of the child process and, with TLS, a megabyte."""

OF_ONE_KIND = AT_ONCE // 2
"""Of them, those to services of one kind."""

OF_ONE_HOUSEHOLD = 2
"""Of them, those of one household: its other channels wait while two hang. Judgement."""


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


@dataclass(frozen=True, slots=True)
class SendingCounts:
    """What a dispatcher has done since it began."""

    sent: int = 0
    failed: int = 0


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
        self._waiting: OrderedDict[str, None] = OrderedDict()
        """The sites that found no room, in the order in which they are called."""
        self._called: set[str] = set()
        self._sent = self._failed = 0

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
            self._waiting[notice.site] = None
            if notice.site in self._called:  # it came, and others were faster
                self._waiting.move_to_end(notice.site, last=False)
            return False

    def begin(self, attempt: Attempt) -> None:
        """Begin an attempt for which there is room. Its notice has been claimed."""
        key = attempt.notice.key
        with self._lock:
            self._under_way[key] = attempt
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
            self._called.discard(site)
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

    @property
    def counts(self) -> SendingCounts:
        """How many attempts have succeeded and failed."""
        with self._lock:
            return SendingCounts(self._sent, self._failed)

    # -- outcomes

    def _end(self, attempt: Attempt, future: "Future[None]") -> None:
        error = _error_of(future)
        site, key = attempt.notice.site, attempt.notice.key
        outcome = Outcome(attempt, self._clock(), error)
        with self._lock:
            del self._under_way[key]
            self._ended.setdefault(site, {})[key] = outcome
            self._sent += error is None
            self._failed += error is not None
            called = self._call()
            self._lock.notify_all()
        for name in (site, *(other for other in called if other != site)):
            self._news(name)

    def _call(self) -> list[str]:
        """Take those out of the line for whom there may be room, and return them."""
        room = max(self._at_once - len(self._under_way), 0)
        called = [
            self._waiting.popitem(last=False)[0] for _ in range(min(room, len(self._waiting)))
        ]
        self._called.update(called)
        return called

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
