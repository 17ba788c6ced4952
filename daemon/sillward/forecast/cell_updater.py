"""The updater for many households: each cell is fetched when its own forecast is due.

For one household a source has one schedule. For hundreds of cells that would call them all at once,
and a single failure would repeat all the calls. So here the source's schedule in the ledger says
only whether it may be called at all and how much of its quota is spent; which cells are due follows
from when their forecasts were fetched. Everything else (waiting times that a provider asked for,
cells that fail) is kept in memory: at worst, a cell is asked for too soon once after a restart.

Providers are asked beside other work (`asking`): one look begins a call, and a later one takes up
the answer.
"""

import logging
from collections import deque
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from functools import partial

from sillward.errors import SourceError
from sillward.forecast import asking, quota, schedule
from sillward.forecast.asking import Answered, Answers, Begin, Request
from sillward.forecast.cells import cell_of, cells_of
from sillward.forecast.ensemble import Ensemble
from sillward.forecast.provider_calls import Provider, batched
from sillward.forecast.source import Source
from sillward.forecast.updater import SECOND_OPINION_INTERVAL, ForecastUpdater, conditions_of
from sillward.ledger import CallSchedule
from sillward.net import fetch
from sillward.net.http import Answer
from sillward_rules.weather.hourly import OLD_AFTER
from sillward_rules.weather.site import Site

REQUESTS_A_LOOK = 10
"""Requests to one provider before other work gets a turn. Judgement: a few seconds."""

MAX_PLACES = 50
"""Places for which a provider is asked at once, at most. Measured: their answers take a third of a
second to read, while nobody has a turn."""

CLAIM = timedelta(minutes=2)
"""If several processes share a ledger, only one of them asks a provider; if it dies or hangs,
another may after this time. No call takes longer."""
assert CLAIM.total_seconds() > asking.CALL_S + fetch.REQUEST_DEADLINE_S

KEPT = timedelta(days=7)
"""How long the forecast of a cell that nobody needs any more is kept. Judgement."""

MINUTE_S = 60.0
_MINUTE = timedelta(minutes=1)

log = logging.getLogger(__name__)


@dataclass(slots=True)
class CellUpdater(ForecastUpdater):
    """Fetches forecasts of the cells in which the sites lie, within what their providers allow.

    Its store must share cells.
    """

    begin: Begin = asking.at_once
    """Begins to ask; by default the answers are waited for."""
    _calls: dict[str, "Future[list[Answered]]"] = field(default_factory=dict)
    """By provider, what is being asked."""
    _answered: dict[str, deque[Answered]] = field(default_factory=dict)
    """By provider, what was answered and not taken up yet."""
    _news: set[str] = field(default_factory=set)
    """The keys of cells with numbers that nobody has looked at."""
    _not_before: dict[tuple[str, str], datetime] = field(default_factory=dict)
    """By provider and cell: until when to wait after a failure, or because the provider said so."""
    _failures: dict[tuple[str, str], int] = field(default_factory=dict)
    """By provider and cell, how often in a row it failed."""
    _unsound: dict[str, set[str]] = field(default_factory=dict)
    """By source, the cells whose forecast is not sufficient by itself."""
    _asked: deque[tuple[float, str, int]] = field(default_factory=deque)
    """In the last hour: when, which provider, for how many sites."""

    def refresh_due(self, *needed: Site) -> None:
        """Call every provider that may be called for the cells that are due.

        needed: has no effect; each cell shows by itself whether it is due.
        """
        for provider in self._providers():
            self._take_up(provider)
        for place, source in enumerate(self.store.sources):
            interval, sites = source.interval, list(self.sites)
            if any(map(self._is_being_asked, self.store.sources[:place])):
                break  # what they lack is known once they have answered
            if place:
                sites = list(self._lacking(place))
                if place == 1 and self.store.second_opinion_k is not None:
                    self._refresh(source, self.sites, max(interval, SECOND_OPINION_INTERVAL))
            self._refresh(source, sites, interval)
        self.refresh_due_members()

    def refresh_due_members(self) -> None:
        """Call the ensemble for the cells that are due, if the network works."""
        ensemble = self.store.ensemble
        if ensemble is not None and not self._is_failing(self.store.sources[0]):
            self._refresh(ensemble, self.sites, ensemble.interval)

    @property
    def has_answers(self) -> bool:
        """Whether there is something to take up."""
        return any(map(self._has_answered, self._providers()))

    def sites_with_news(self) -> list[str]:
        """Return the sites for which new numbers have come since the last call."""
        news, self._news = self._news, set()
        if not news:
            return []
        return [
            site.name
            for site in self.sites
            if any(cell_of(provider, site).name in news for provider in self._providers())
        ]

    def _providers(self) -> Sequence[Source | Ensemble]:
        ensemble = self.store.ensemble
        return [*self.store.sources, *([] if ensemble is None else [ensemble])]

    # -- what is due

    def _refresh(
        self, provider: Source | Ensemble, sites: Sequence[Site], interval: timedelta
    ) -> None:
        """Call a provider for those of the sites' cells that are due, as far as it allows."""
        now, plan = self.store.clock(), self.store.ledger.call_schedules.get(provider.name)
        if self._is_being_asked(provider):
            return
        if plan is not None and (
            schedule.is_forbidden(plan, now)
            or (plan.failures and not schedule.is_due(plan, now, interval))
        ):
            return
        spent = plan.calls if plan is not None and plan.day == self.store.today() else 0
        cells = cells_of(provider, sites)
        fetched_at = self.store.ledger.forecasts.fetched_at(provider.name)
        for name in [name for name, at in fetched_at.items() if now - at > KEPT]:
            self.store.ledger.forecasts.forget(name, provider.name)

        pace = quota.pace(provider.quota, interval, list(cells.values()), fetched_at, spent, now)
        due = [
            cell
            for name, cell in cells.items()
            if self._is_cell_due(
                provider, cell, fetched_at.get(name), pace.interval(cell, interval, now)
            )
        ]
        chosen = pace.chosen(due, self._room(provider, spent, fetched_at.values()), now)
        if chosen and self._claim(provider, plan, now):
            current = self.store.ledger.forecasts.fetched_at(provider.name)
            # Another process may have asked for some between the look and the claim.
            left = [cell for cell in chosen if current.get(cell.name) == fetched_at.get(cell.name)]
            self._begin_call(provider, left)

    def _claim(self, provider: Source | Ensemble, plan: CallSchedule | None, now: datetime) -> bool:
        """Take the next call to a provider, unless another process has it.

        The mark of a claim is there before the first call too, so that one that ends the process
        is not made again and again.
        """
        schedules = self.store.ledger.call_schedules
        if plan is None:
            schedules.keep(provider.name, CallSchedule(now + CLAIM, failures=1))
            return True
        return schedules.claim(provider.name, now, now + CLAIM)

    def _is_cell_due(
        self,
        provider: Source | Ensemble,
        cell: Site,
        fetched_at: datetime | None,
        every: timedelta,
    ) -> bool:
        """Whether a cell is due now.

        fetched_at: when its last good forecast was fetched; every: the time between two.
        """
        now = self.store.clock()
        until = self._not_before.get((provider.name, cell.name))
        if until is not None and now < until <= now + schedule.MAX_WAIT:
            return False
        if fetched_at is None or fetched_at > now:  # new, or the clock was set back
            return True
        if schedule.is_crowded(now):
            return False
        return now - fetched_at >= every

    def _room(
        self, provider: Source | Ensemble, spent: float, fetched_at: Collection[datetime]
    ) -> int:
        """Return for how many sites a provider may be asked now.

        fetched_at: when forecasts came, for this process, for another, or before a restart.
        """
        most = REQUESTS_A_LOOK * provider.max_sites
        now_s = self.monotonic()
        while self._asked and self._asked[0][0] <= now_s - 60 * MINUTE_S:
            self._asked.popleft()
        if provider.quota is None:
            return most
        own = [(at_s, sites) for at_s, name, sites in self._asked if name == provider.name]
        in_minute = sum(sites for at_s, sites in own if at_s > now_s - MINUTE_S)
        in_hour = sum(sites for _, sites in own)
        ages = [self.store.clock() - at for at in fetched_at]
        in_minute = max(in_minute, sum(timedelta(0) <= age < _MINUTE for age in ages))
        in_hour = max(in_hour, sum(timedelta(0) <= age < 60 * _MINUTE for age in ages))
        return min(most, provider.quota.sites_left(in_minute, in_hour, spent))

    def _lacking(self, place: int) -> Iterator[Site]:
        """Yield the sites for which no earlier source has a sufficient forecast."""
        now, suffices = self.store.clock(), dict[str, set[str]]()
        for source in self.store.sources[:place]:
            fetched_at = self.store.ledger.forecasts.fetched_at(source.name)
            fresh = {cell for cell, at in fetched_at.items() if now - at <= OLD_AFTER}
            suffices[source.name] = fresh - self._unsound.get(source.name, set())
        for site in self.sites:
            if not any(
                cell_of(source, site).name in suffices[source.name]
                for source in self.store.sources[:place]
            ):
                yield site

    # -- calls

    def _begin_call(self, provider: Source | Ensemble, cells: Sequence[Site]) -> None:
        """Begin to ask for some cells. What comes at once is taken up at once."""
        if isinstance(provider, Ensemble):
            # Members cost much and no plant depends on them: a failed call is one of the day's.
            until = self.store.clock() + provider.interval
            self._not_before.update({(provider.name, cell.name): until for cell in cells})
        requests = [
            Request(group, provider.query(group), self._conditions(provider, group))
            for group in batched(cells, min(provider.max_sites, MAX_PLACES))
        ]
        self._asked.append((self.monotonic(), provider.name, len(cells)))
        store = self.store
        self._calls[provider.name] = self.begin(
            partial(asking.ask_each, self.ask, provider, requests, store.clock, self.monotonic)
        )
        while self._has_answered(provider):  # they were waited for
            self._take_up(provider)

    def _conditions(self, provider: Source | Ensemble, cells: Sequence[Site]) -> Mapping[str, str]:
        if isinstance(provider, Ensemble) or len(cells) > 1:
            return {}  # what is held of many is not looked up for nothing
        return conditions_of([self.store.forecast_of(provider, cell) for cell in cells])

    def _is_being_asked(self, provider: Source | Ensemble) -> bool:
        """Whether a call to a provider goes on, or what it answered is not all taken up."""
        return provider.name in self._calls or provider.name in self._answered

    def _has_answered(self, provider: Source | Ensemble) -> bool:
        call = self._calls.get(provider.name)
        return provider.name in self._answered or (call is not None and call.done())

    def _take_up(self, provider: Source | Ensemble) -> None:
        """Read and keep what a provider has answered to one request, if it has; the next one has to
        wait for the next look, as many places take seconds to read."""
        call = self._calls.get(provider.name)
        if call is not None and call.done():
            del self._calls[provider.name]
            self._answered[provider.name] = deque(call.result())
        answered = self._answered.get(provider.name)
        if answered is None:
            return
        ours = [answered.popleft()] if answered else []
        if not answered:
            del self._answered[provider.name]
        self._keep(provider, ours)
        if answered:
            now = self.store.clock()
            self.store.ledger.call_schedules.claim(provider.name, now, now + CLAIM)

    def _keep(self, provider: Source | Ensemble, answered: Sequence[Answered]) -> None:
        """Keep what is good of some answers, and plan the next call."""
        ask = Answers(answered).ask
        if isinstance(provider, Ensemble):
            request = partial(self._request_members_of, provider, ask)
        else:
            request = partial(self._request_cells, provider, ask)
        of_site = None if provider.quota is None else provider.quota.of_site
        made = Provider(provider.name, timedelta(0), provider.max_sites, request, of_site=of_site)
        cells = [cell for each in answered for cell in each.request.cells]
        replace(self._caller(), retries=False).call(made, cells, by_hand=False)

    def _request_cells(
        self, source: Source, ask: Callable[..., Answer], cells: Sequence[Site], left_s: float
    ) -> timedelta | None:
        """Ask a source once. An error about one place does not concern the others."""
        try:
            return self._request_forecasts(source, ask, cells, left_s)
        except SourceError as error:
            for cell in cells:  # also if others are good: the next call may be at once
                self._put_off(source, cell, error)
            if not error.of_place:
                raise
        return None

    def _request_members_of(
        self, ensemble: Ensemble, ask: Callable[..., Answer], cells: Sequence[Site], left_s: float
    ) -> timedelta | None:
        good_for = self._request_members(ensemble, ask, cells, left_s)
        self._news.update(cell.name for cell in cells)
        return good_for

    def _note_outcomes(
        self,
        source: Source,
        outcomes: Mapping[Site, SourceError | None],
        good_for: timedelta | None,
    ) -> SourceError | None:
        """Note what came of each cell. Return an error only if all of several failed: one that
        fails is asked for again by itself, after a pause."""
        now = self.store.clock()
        for cell, error in outcomes.items():
            key = source.name, cell.name
            if error is not None:
                self._put_off(source, cell, error)
                self._news.add(cell.name)  # it may be doubted
                continue
            self._failures.pop(key, None)
            self._not_before[key] = now + min(good_for or timedelta(0), schedule.MAX_EXPIRY)
            held = self.store.forecast_of(source, cell)
            unsound = self._unsound.setdefault(source.name, set())
            if held is None or not held.is_sound(cell, now):
                unsound.add(cell.name)
            else:
                unsound.discard(cell.name)
            if held is not None and held.saved.changed_at == held.saved.fetched_at:
                self._news.add(cell.name)
        errors = [error for error in outcomes.values() if error is not None]
        return errors[0] if len(errors) == len(outcomes) > 1 else None

    def _put_off(self, source: Source, cell: Site, error: SourceError) -> None:
        """Ask for a cell again after a pause, as after a failed call."""
        key, now = (source.name, cell.name), self.store.clock()
        failures = self._failures[key] = self._failures.get(key, 0) + 1
        pause = schedule.PAUSES[min(failures, len(schedule.PAUSES)) - 1]
        self._not_before[key] = now + max(pause, error.wait or pause)
        log.warning("forecast.failed cell=%s reason=%s", cell.name, error)
