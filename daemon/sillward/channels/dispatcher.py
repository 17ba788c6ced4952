"""Sending for many households at once: what may begin, what is being sent, and the outcomes.

A desk begins an attempt and goes on; the outcome waits here until the desk looks again. The
dispatcher outlives desks and connections to ledgers, so that no outcome is lost with one.

No household holds up another: there is at most one attempt at a time for each channel of a
household, few for each household, and for each kind of service at most half of all, so that the
others go on while one service hangs. A household that found no room is called when there is some
for its kind, first come, first served. The room it was offered is reserved until it has had its
turn, so that each free place calls only one household.
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
"""The most attempts at a time. Judgement: a push takes a tenth of a second to a second, so that
2,000 are out in about a minute; each takes one thread of the child process and, with TLS, a
megabyte. The limits of tasks of the units suffice for these."""

OF_ONE_KIND = AT_ONCE // 2
"""The most of them to services of one kind."""

OF_ONE_HOUSEHOLD = 2
"""The most of them for one household: its other channels wait while two hang. Judgement."""

OFFERED = timedelta(seconds=30)
"""How long a place is reserved for a household that was called. It may never come, since another
process can have its turns. Judgement: a household with something left to send has a turn as
often."""


_Claim = tuple[str, str]
"""A site that waits for room, and the kind of service that it needs."""


@dataclass(frozen=True, slots=True)
class Attempt:
    """A claimed notice that is being sent, as it was worded.

    notice: as it was before it was claimed.
    """

    notice: Notice
    channel: Channel
    message: Message


@dataclass(frozen=True, slots=True)
class Outcome:
    """The outcome of an attempt, and when it came.

    error: None if the channel took it; a DeliveryError, or whatever a defect raised.
    """

    attempt: Attempt
    at: datetime
    error: Exception | None


class Dispatcher:
    """The attempts of many households. Any thread may use it; outcomes come from other threads."""

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
        """Begin with nothing being sent.

        submit: begins to send; the result is set once the channel took the message, or raises
            DeliveryError.
        news: called from any thread with the name of a site whose desk should look again, since
            there is an outcome, or room. It must return at once.
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
        """Those that found no room, in the order in which they will be called."""
        self._offered: dict[_Claim, datetime] = {}
        """Those that were called and have had no turn since, and when."""

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
        """Begin an attempt for which there is room. The caller has claimed its notice."""
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
        """Return the outcomes of a site's attempts that are not settled yet, oldest first."""
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
        """Return the keys of a site's notices that are being sent or not settled yet."""
        with self._lock:
            under_way = {key for key, one in self._under_way.items() if one.notice.site == site}
            return under_way | self._ended.get(site, {}).keys()

    def looked(self, site: str) -> None:
        """Note that a desk has begun all that it could: the room it left goes to others."""
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
        """Wait until nothing is being sent. Return False if the time is up before that."""
        with self._lock:
            return self._lock.wait_for(lambda: not self._under_way, seconds)

    @property
    def under_way(self) -> int:
        """How many messages are being sent."""
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
        """Take those for which there is room out of the queue, and return their sites."""
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
