"""The forecast updater: which sources are asked, when, and for which sites.

The daemon calls `refresh_due` at every tick, a command that a person waits for calls `fetch_now`.
Both make *calls* (`provider_calls`), which consist of *requests*: each asks, reads and checks as
one unit, and only a forecast that passes becomes the last good one (`intake`). While a source fails
the next one in the grower's list is asked; the last good forecast ages visibly until it is of no
use, and then nothing is known.
"""

import logging
import random
import time
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import partial

from sillward.errors import DoubtError, SourceError
from sillward.forecast import schedule
from sillward.forecast.cells import HasCells, cells_of
from sillward.forecast.ensemble import Ensemble
from sillward.forecast.intake import ForecastIntake
from sillward.forecast.provider_calls import Provider, ProviderCaller
from sillward.forecast.source import Source
from sillward.forecast.store import ForecastStore, HeldForecast
from sillward.ledger import CallSchedule, SavedForecast
from sillward.net import fetch
from sillward.net.http import Answer
from sillward_rules.weather.hourly import no_weather
from sillward_rules.weather.site import Site

SECOND_OPINION_INTERVAL = timedelta(hours=3)
"""How often a second source is asked for its opinion: with all other calls 30 a day."""

log = logging.getLogger(__name__)


@dataclass(slots=True)
class ForecastUpdater:
    """Asks for the forecasts of some sites, and saves the good ones."""

    store: ForecastStore
    sites: Sequence[Site]
    ask: Callable[..., Answer] = fetch.ask
    pause: Callable[[float], None] = time.sleep
    monotonic: Callable[[], float] = time.monotonic
    rng: random.Random = field(default_factory=random.Random)
    live: bool = True
    """Whether providers are asked. A forecast in a file need not cover the present hour, and is no
    better when it is read again."""
    pretending: bool = False
    """Whether the clock shows another time than now, which says nothing about this machine's."""
    step_done: Callable[[], None] = lambda: None
    """Called after each request to a provider: a sign of life."""
    requests: Counter[tuple[str, str]] = field(default_factory=Counter)
    """How many there were, by provider and by what came of them: good or failed."""

    def replace_site(self, before: Site, after: Site) -> None:
        """Ask for another site in the place of one of these from now on."""
        if after != before:
            self.sites = tuple(after if site == before else site for site in self.sites)
            self.store.forget(before)

    # -- what the daemon and the commands ask for

    def refresh_due(self, *needed: Site) -> None:
        """Call every source that is due and needed, for all sites. Failures are only logged.

        Args:
            needed: the sites whose forecasts decide whether a source is due and needed; all sites
                by default. Each of many desks passes its own, so that one round of ticks looks at
                every site once and not once for each desk.
        """
        needed = needed or tuple(self.sites)
        for place, source in enumerate(self.store.sources):
            interval = source.interval
            if place and not self._is_fallback_needed(place, needed):
                if place > 1 or self.store.second_opinion_k is None:
                    continue
                interval = _second_opinion_interval(source)
            if self._is_due(source, interval, needed):
                self._call_source(source, interval)
        self.refresh_due_members()

    def refresh_due_members(self) -> None:
        """Call the ensemble for its members, if it is due and the network works."""
        ensemble = self.store.ensemble
        if ensemble is None or self._is_failing(self.store.sources[0]):
            return  # without a network no provider answers
        plan = self.store.ledger.call_schedules.get(ensemble.name)
        if schedule.is_due(plan, self.store.clock(), ensemble.interval):
            self._call_ensemble(ensemble)

    def fetch_now(self) -> None:
        """Call the sources now, in order, until each site has a sound forecast.

        A source that asked not to be called yet is left out; its last forecast counts. A forecast
        that cannot be true counts as given, and the next source is called too. Raise SourceError,
        the first source's, if no source gave anything.
        """
        first: SourceError | None = None
        given = False
        for source in self.store.sources:
            if self._is_forbidden(source):
                given = given or all(self._has_sound(source, site) for site in self.sites)
            else:
                error = self._call_source(source, source.interval, by_hand=True)
                doubted = isinstance(error, DoubtError)  # then that is what is to be told
                first, given = first or error, given or error is None or doubted
                if doubted:
                    continue
            if self._all_have_sound(self.store.sources, self.sites):
                break
        self._fetch_due_second_opinion()
        if not given:
            raise first or SourceError(f"{self.store.sources[0].name}: asked not to be asked yet")

    def _fetch_due_second_opinion(self) -> None:
        """Call the second source, if its opinion is wanted and due. A failure is only noted."""
        if self.store.second_opinion_k is None or len(self.store.sources) < 2:
            return
        second = self.store.sources[1]
        interval = _second_opinion_interval(second)
        if self._is_due(second, interval, self.sites):
            self._call_source(second, interval, by_hand=True)

    # -- whether a source is called

    def _is_due(self, source: Source, interval: timedelta, sites: Sequence[Site]) -> bool:
        """Whether a source is to be called now, by its schedule or by what is saved of it."""
        plan, now = self.store.ledger.call_schedules.get(source.name), self.store.clock()
        if plan is not None and not plan.failures and not schedule.is_forbidden(plan, now):
            saved = [self.store.forecast_of(source, site) for site in sites]
            if _lacks_any(saved, now) or _is_behind_schedule(plan, saved, now, interval):
                return True
        return schedule.is_due(plan, now, interval)

    def _is_forbidden(self, source: Source) -> bool:
        """Whether a source asked not to be called yet."""
        plan = self.store.ledger.call_schedules.get(source.name)
        return schedule.is_forbidden(plan, self.store.clock())

    def _is_failing(self, source: Source) -> bool:
        """Whether a source gave nothing the last time, or has not been called."""
        plan = self.store.ledger.call_schedules.get(source.name)
        return plan is None or plan.failures > 0

    def _is_fallback_needed(self, place: int, sites: Sequence[Site]) -> bool:
        """Whether the sources before this one fail, or leave a site without a sound forecast."""
        before = self.store.sources[:place]
        return all(map(self._is_failing, before)) or not self._all_have_sound(before, sites)

    def _all_have_sound(self, sources: Sequence[Source], sites: Sequence[Site]) -> bool:
        """Whether each site has a sound forecast of one of these sources."""
        return all(any(self._has_sound(source, site) for source in sources) for site in sites)

    def _has_sound(self, source: Source, site: Site) -> bool:
        saved = self.store.forecast_of(source, site)
        return saved is not None and saved.is_sound(site, self.store.clock())

    # -- calls

    def _call_source(
        self, source: Source, interval: timedelta, *, by_hand: bool = False
    ) -> SourceError | None:
        """Call a source for all sites, and schedule the next call. Return what went wrong."""
        request = partial(self._request_forecasts, source, self.ask)
        counts = source.quota if self.store.shares_cells else None
        of_site = None if counts is None else counts.of_site
        provider = Provider(source.name, interval, source.max_sites, request, of_site=of_site)
        return self._caller().call(provider, self._places(source), by_hand=by_hand)

    def _call_ensemble(self, ensemble: Ensemble) -> None:
        # Members cost much and no plant depends on them: a failed call is one of the day's.
        provider = Provider(
            ensemble.name,
            ensemble.interval,
            ensemble.max_sites,
            partial(self._request_members, ensemble, self.ask),
            keeps_interval=True,
        )
        self._caller().call(provider, self._places(ensemble), by_hand=False)

    def _places(self, provider: HasCells) -> Sequence[Site]:
        """Return the places for which a provider is asked, each once."""
        if not self.store.shares_cells:
            return self.sites
        return list(cells_of(provider, self.sites).values())

    def _caller(self) -> ProviderCaller:
        return ProviderCaller(
            self.store.ledger,
            self.store.clock,
            self.pause,
            self.monotonic,
            self.rng,
            retries=self.live,
            step_done=self.step_done,
            requests=self.requests,
        )

    # -- one request

    def _request_forecasts(
        self, source: Source, ask: Callable[..., Answer], sites: Sequence[Site], left_s: float
    ) -> timedelta | None:
        """Ask a source once and save what is good. Return how long the answer is good for."""
        saved = [self.store.forecast_of(source, site) for site in sites]
        conditions = conditions_of(saved)
        answer = ask(
            source.query(sites), source=source.name, conditions=conditions, deadline_s=left_s
        )
        now, intake = self.store.clock(), ForecastIntake(self.store, self.live, self.pretending)
        if answer.status == 304 and conditions:
            intake.mark_unchanged(source, sites[0], answer, now)
            self._note_outcomes(source, {sites[0]: None}, answer.good_for(now))
            return self._good_for(answer, now)
        source.accept(answer, now)
        outcomes: dict[Site, SourceError | None] = {}
        for site, body, before in zip(sites, source.split(answer.body, sites), saved, strict=True):
            try:
                intake.take(source, site, body, before, answer, now)
                outcomes[site] = None
            except SourceError as error:  # the others' may be good
                outcomes[site] = error
        failed = self._note_outcomes(source, outcomes, answer.good_for(now))
        if failed is not None:
            raise failed
        log.info("forecast.fetched source=%s bytes=%d", source.name, len(answer.body))
        return self._good_for(answer, now)

    def _good_for(self, answer: Answer, now: datetime) -> timedelta | None:
        """Return how long a provider is not to be asked again, by its answer; of one for a cell
        that says nothing of the others."""
        return None if self.store.shares_cells else answer.good_for(now)

    def _note_outcomes(
        self,
        source: Source,
        outcomes: Mapping[Site, SourceError | None],
        good_for: timedelta | None,
    ) -> SourceError | None:
        """Return the error of a request by what came of its sites, if it is to count as failed."""
        return next((error for error in outcomes.values() if error is not None), None)

    def _request_members(
        self, ensemble: Ensemble, ask: Callable[..., Answer], sites: Sequence[Site], left_s: float
    ) -> timedelta | None:
        """Ask for the members of an ensemble once, as `_request_forecasts` does for a source."""
        answer = ask(ensemble.query(sites), source=ensemble.name, conditions={}, deadline_s=left_s)
        now = self.store.clock()
        ensemble.accept(answer, now)
        bodies = ensemble.split(answer.body, sites)
        for site, body in zip(sites, bodies, strict=True):
            ensemble.read(body, site, no_weather(ensemble.name, now).times)
            self.store.ledger.forecasts.keep(
                site.name, SavedForecast(ensemble.name, now, now, body)
            )
        log.info("forecast.members source=%s bytes=%d", ensemble.name, len(answer.body))
        return self._good_for(answer, now)


def _lacks_any(saved: Sequence[HeldForecast | None], now: datetime) -> bool:
    """Whether a site has no forecast, or one from the future.

    The site is new then, or the clock has been set back since the forecast was fetched.
    """
    return any(forecast is None or forecast.saved.fetched_at > now for forecast in saved)


def _is_behind_schedule(
    plan: CallSchedule,
    saved: Sequence[HeldForecast | None],
    now: datetime,
    interval: timedelta,
) -> bool:
    """Whether a site's forecast is older than the schedule of its source allows.

    That happens where another process has the same ledger: it calls the source for its own sites
    whenever it is due, and moves the schedule, which is kept for each source and not for each site.
    The provider is not called sooner for it than it asked for: not while its last answer is good.
    """
    oldest = now - interval - schedule.SLACK
    good_until = plan.not_before or now - interval
    return good_until <= now - schedule.SLACK and any(
        forecast is not None and forecast.saved.fetched_at < oldest for forecast in saved
    )


def _second_opinion_interval(source: Source) -> timedelta:
    """Return how often a source is called that is needed for its second opinion only."""
    return max(source.interval, SECOND_OPINION_INTERVAL)


def conditions_of(saved: Sequence[HeldForecast | None]) -> dict[str, str]:
    """Return the headers by which an unchanged forecast of a single site is not sent again."""
    if len(saved) != 1 or saved[0] is None:
        return {}
    given = {
        "If-Modified-Since": saved[0].saved.last_modified,
        "If-None-Match": saved[0].saved.etag,
    }
    return {name: value for name, value in given.items() if value}
