"""The ledger and the household as the page sees them, for one request at a time.

The page has a connection to the ledger of its own, which is open only during a request: the daemon
can repair or replace the file in between. It has a household of its own too, because the voice of
one cannot be used by two threads at once.
"""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace

from sillward.config.household import Household
from sillward.errors import SillwardError
from sillward.service.context import ServiceContext

WAIT_S = 10.0
"""How long a request waits for the ones before it [s]. Judgement: a browser shows nothing yet."""


class BusyError(SillwardError):
    """Too many requests wait for the ledger."""


@dataclass(slots=True)
class PageDesk:
    """Opens the ledger for requests.

    context: with a ledger that nobody else uses; it is open now, and rests between requests.
    current: returns the household that is in force.
    obstacle: returns why nothing can be written down just now, or None.
    troubles: returns what is wrong with the service at this moment, in words.
    """

    context: ServiceContext
    current: Callable[[], Household]
    obstacle: Callable[[], str | None] = lambda: None
    troubles: Callable[[], list[str]] = list
    _lock: threading.Lock = field(default_factory=threading.Lock, init=False)
    _seen: Household | None = field(default=None, init=False)

    def __post_init__(self) -> None:
        """Let the ledger rest until the first request."""
        self.context.ledger.file.rest()

    @contextmanager
    def open(self) -> Iterator[ServiceContext]:
        """Open the ledger for a request. Raise BusyError, LedgerError."""
        if not self._lock.acquire(timeout=WAIT_S):
            msg = "the page is busy; try again in a moment"
            raise BusyError(msg)
        try:
            self._take_over()
            ledger = self.context.ledger
            ledger.file.wake()
            try:
                yield self.context
            finally:
                ledger.file.rest()
        finally:
            self._lock.release()

    def _take_over(self) -> None:
        """Use the household that is in force."""
        household = self.current()
        if household is not self._seen:
            old = self.context.site
            self.context.replace_household(replace(household))
            self.context.updater.replace_site(old, household.collection.site)
            self._seen = household
