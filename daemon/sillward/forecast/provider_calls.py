"""Calls to a provider, tried again where that may help, and the schedule of the next ones.

A *provider* is a forecast source or the ensemble. A *call* to it is one or several requests: one
for each group of sites that it takes at once, and each tried up to `TRIES` times.
"""

import logging
import math
import random
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from functools import partial
from itertools import islice

from sillward.errors import LedgerError, SourceError
from sillward.forecast import schedule
from sillward.ledger import CallSchedule, Ledger
from sillward.net import fetch
from sillward_rules.weather.site import Site

TRIES = 3
"""How often one request is tried if what went wrong may be over soon. After a failed call it is
tried once."""

MIN_TRY_S = 5.0
"""The least time that is left for another try [s]."""

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Provider:
    """What is called, how often and for how many sites at once.

    Args:
        request: makes one request for some sites within the seconds that are left, and returns how
            long the answer is good for, if the provider says so. Raises SourceError.
        keeps_interval: after a failure too the next call is no sooner than after `interval`.
        of_site: what a request counts for each of its sites; by default each request counts one.
    """

    name: str
    interval: timedelta
    max_sites: int
    request: Callable[[Sequence[Site], float], timedelta | None]
    keeps_interval: bool = False
    of_site: float | None = None


@dataclass(slots=True)
class _Outcome:
    """What came of a call: what its requests count, and the first error."""

    count: float = 0.0
    error: SourceError | None = None
    answers_good_for: list[timedelta] = field(default_factory=list)

    @property
    def good_for(self) -> timedelta | None:
        """How long the answers are good, by the longest of them; None if none says so."""
        return max(self.answers_good_for, default=None)


@dataclass(frozen=True, slots=True)
class ProviderCaller:
    """Calls providers for some sites, and keeps in the ledger when to call them next.

    Args:
        retries: whether a request that failed is tried again at once.
        step_done: called after each request, as a sign of life.
        requests: counts them by provider, and by what came of each: good or failed.
    """

    ledger: Ledger
    clock: Callable[[], datetime]
    pause: Callable[[float], None]
    monotonic: Callable[[], float]
    rng: random.Random
    retries: bool
    step_done: Callable[[], None]
    requests: Counter[tuple[str, str]] = field(default_factory=Counter)

    def call(
        self, provider: Provider, sites: Sequence[Site], *, by_hand: bool
    ) -> SourceError | None:
        """Call a provider for all sites and schedule the next call. Return what went wrong.

        A call by hand never puts off the next call of the daemon.
        """
        schedules = self.ledger.call_schedules
        before = schedules.get(provider.name)
        plan = before or CallSchedule(self.clock())
        # Before the call: where nothing can be written, and where a call ends the process, the
        # next tick, or the next start, would call again, and so on for ever.
        ahead = replace(plan, next_at=self.clock() + schedule.PAUSES[0])
        schedules.keep(provider.name, ahead if before else replace(ahead, failures=1))
        tries = 1 if provider.keeps_interval or plan.failures or not self.retries else TRIES
        outcome = self._request_for_all_sites(provider, sites, tries)
        now = self.clock()
        plan = schedule.counted(plan, now, math.ceil(outcome.count))
        if outcome.error is None:
            plan = schedule.after_success(plan, now, provider.interval, outcome.good_for, self.rng)
            if not provider.interval:  # when the next is due is known by others
                plan = replace(plan, next_at=now)
        else:
            plan = self._after_failure(plan, before if by_hand else None, provider, outcome.error)
            # A person who asked by hand is told by the command.
            level = logging.INFO if by_hand else logging.WARNING
            log.log(level, "forecast.failed reason=%s next_try=%s", outcome.error, plan.next_at)
        schedules.keep(provider.name, plan)
        return outcome.error

    def _request_for_all_sites(
        self, provider: Provider, sites: Sequence[Site], tries: int
    ) -> _Outcome:
        """Make a request for each group of sites; once one has failed, within one deadline."""
        outcome = _Outcome()
        ends = self.monotonic() + fetch.REQUEST_DEADLINE_S
        for group in batched(sites, provider.max_sites):
            self.step_done()
            try:
                weight = 1.0 if provider.of_site is None else provider.of_site * len(group)
                good_for = self._request_with_retries(
                    tries, partial(self._request_once, provider, group), outcome, weight
                )
                outcome.answers_good_for += [] if good_for is None else [good_for]
            except LedgerError:
                raise
            except SourceError as error:
                outcome.error = outcome.error or error
            except Exception as error:  # a defect of ours costs a call, no round
                log.exception("forecast.defect source=%s", provider.name)
                failed = SourceError(f"{provider.name}: failed ({type(error).__name__})")
                outcome.error = outcome.error or failed
            # What is wrong with one site's forecast need not be wrong with the next one's.
            if outcome.error is not None and (outcome.error.wait or self.monotonic() > ends):
                break
        self.step_done()
        return outcome

    def _request_once(
        self, provider: Provider, sites: Sequence[Site], left_s: float
    ) -> timedelta | None:
        """Make one request and count it."""
        came = "failed"
        try:
            good_for = provider.request(sites, left_s)
            came = "good"
        finally:
            self.requests[provider.name, came] += 1
        return good_for

    def _request_with_retries(
        self,
        tries: int,
        request: Callable[[float], timedelta | None],
        outcome: _Outcome,
        weight: float,
    ) -> timedelta | None:
        """Make one request, a few times if that may help, within one deadline.

        Asking, reading and checking are tried together: an answer that is torn counts as none.

        weight: what each try counts.
        """
        ends = self.monotonic() + fetch.REQUEST_DEADLINE_S
        for number in range(1, tries + 1):
            outcome.count += weight
            try:
                return request(ends - self.monotonic())
            except SourceError as error:
                pause = schedule.backoff_s(number, self.rng)
                late = self.monotonic() + pause + MIN_TRY_S > ends
                if number == tries or late or error.wait or not error.passing:
                    raise
                log.info("forecast.again reason=%s", error)
                self.pause(pause)
        raise AssertionError  # the last try returns or raises

    def _after_failure(
        self,
        plan: CallSchedule,
        daemons: CallSchedule | None,
        provider: Provider,
        error: SourceError,
    ) -> CallSchedule:
        """Remember a failure and return the schedule after it.

        daemons: the schedule of the daemon, if the call was made by hand.
        """
        now = self.clock()
        plan = schedule.after_failure(plan, now, str(error), error.wait, self.rng)
        if provider.keeps_interval:
            plan = replace(plan, next_at=max(plan.next_at, now + provider.interval))
        if daemons is not None and error.wait is None:
            next_at = min(daemons.next_at, plan.next_at)
            plan = replace(plan, next_at=next_at, failures=max(daemons.failures, 1))
        self.ledger.provider_marks.set(f"fetch failed, {provider.name}", now, str(error))
        return plan


def batched(sites: Sequence[Site], size: int) -> Iterator[Sequence[Site]]:
    """Yield the sites in groups of at most this size."""
    rest = iter(sites)
    while group := tuple(islice(rest, size)):
        yield group
