"""The ledger and the household as the page sees them, for one request at a time.

The page has a connection to the ledger of its own, which is open only during a request: the daemon
can repair or replace the file in between. It has a household of its own too, because the voice of
one cannot be used by two threads at once.
"""

import threading
from collections.abc import Callable, Hashable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import TypeVar

from sillward.config.household import Household
from sillward.errors import SillwardError
from sillward.ledger.address import PostgresAddress
from sillward.ledger.ledger_file import IN_MEMORY
from sillward.page.photos.folder import NOWHERE, PhotoFolder
from sillward.service.context import ServiceContext
from sillward_rules.memo import Memo
from sillward_rules.sheet import Round, Sheet

Result = TypeVar("Result")

WAIT_S = 10.0
"""How long a request waits for the ones before it [s]. Judgement: a browser shows nothing yet."""

MAX_KEPT = 40
"""Results that are kept. Judgement: charts of some ten spots, and the sheets of a day."""


@dataclass(frozen=True, slots=True, eq=False)
class _This:
    """An object as a part of a key: equal to itself alone. What readings teach is made anew when
    there is more, and holds arrays, which cannot be compared."""

    it: object

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _This) and other.it is self.it

    def __hash__(self) -> int:
        return id(self.it)


class BusyError(SillwardError):
    """Too many requests wait for the ledger."""


@dataclass(slots=True)
class PageDesk:
    """Opens the ledger for requests.

    context: with a ledger that nobody else uses; it is open now, and rests between requests.
    current: returns the household that is in force.
    obstacle: returns why nothing can be written down just now, or None.
    troubles: returns what is wrong with the service at this moment, in words.
    photos: where photos are kept; by default beside the ledger, and nowhere for one without a file.
    """

    context: ServiceContext
    current: Callable[[], Household]
    obstacle: Callable[[], str | None] = lambda: None
    troubles: Callable[[], list[str]] = list
    photos: PhotoFolder = NOWHERE
    kept: Memo = field(default_factory=partial(Memo, MAX_KEPT), init=False)
    """What was worked out for a page, while nothing that it depends on has changed."""
    _lock: threading.Lock = field(default_factory=threading.Lock, init=False)
    _seen: Household | None = field(default=None, init=False)

    def __post_init__(self) -> None:
        """Let the ledger rest until the first request."""
        self.context.ledger.rest()
        path = self.context.ledger.file.path
        is_file = path != IN_MEMORY and not PostgresAddress.is_one(path)
        if self.photos.folder is None and is_file:
            self.photos = PhotoFolder.beside(Path(path))

    @contextmanager
    def open(self) -> Iterator[ServiceContext]:
        """Open the ledger for a request. Raise BusyError, LedgerError."""
        if not self._lock.acquire(timeout=WAIT_S):
            msg = "the page is busy; try again in a moment"
            raise BusyError(msg)
        try:
            ledger = self.context.ledger
            ledger.wake()
            try:
                self._take_over()
                yield self.context
            finally:
                ledger.rest()
        finally:
            self._lock.release()

    def worked_out(self, what: Hashable, make: Callable[[], Result]) -> Result:
        """Return what was made before, within an hour, while nothing that is known has changed.

        what: a name for what is made, with all that it is made for besides the household.
        """
        context = self.context
        states = tuple(sorted(context.states().items()))
        hour = context.clock().replace(minute=0, second=0, microsecond=0)
        forecast = repr(context.forecasts.edition(context.site))
        return self.kept.of((what, hour, forecast, _This(context.collection), states), make)

    def sheet(self, round_: Round) -> Sheet:
        """Return the sheet of a round as of now; within an hour the same, if nothing has changed.

        For what it says besides chores: those on a page are the ones that were told.
        """
        context = self.context
        return self.worked_out(("sheet", round_), lambda: context.sheet(round_, context.weather()))

    def _take_over(self) -> None:
        """Use the household that is in force, with the limits that are accepted by now."""
        household = self.current()
        if household is not self._seen:
            old = self.context.site
            self.context.replace_household(replace(household))
            self.context.updater.replace_site(old, household.collection.site)
            self._seen = household
        else:
            self.context.replace_household(self.context.household)
