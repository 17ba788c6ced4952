"""The forecast updater: asks the sources by their schedules and keeps what is good.

Asking, reading and checking are one unit: only a forecast that passed all three becomes the last
good one. While a source fails the next one in the grower's list is asked; the last good forecast
ages visibly until it is of no use, and then nothing is known.
"""

import logging
import random
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from functools import partial
from itertools import islice

from sillward.errors import DoubtError, LedgerError, SourceError
from sillward.forecast import doubt_wording, schedule
from sillward.forecast.ensemble import Ensemble
from sillward.forecast.parsing import Reading
from sillward.forecast.source import Source
from sillward.forecast.store import CLOCK_MARK, ForecastStore, HeldForecast, doubted_key
from sillward.ledger import CallSchedule, StoredForecast
from sillward.net import fetch
from sillward.net.http import Answer
from sillward_rules.weather.hourly import Weather, no_weather, same_forecast
from sillward_rules.weather.night_summary import nights_of
from sillward_rules.weather.plausibility import agree, believed_at_last
from sillward_rules.weather.site import Site

TRIES = 3
"""How often one call is tried, if what went wrong may be over soon; after a failed call, once."""

MIN_TRY_S = 5.0
"""The least time that is left for another try [s]."""

SECOND_OPINION_INTERVAL = timedelta(hours=3)
"""How often a second source is asked for its opinion: with all other calls 30 a day."""

CLOCK_OFF = timedelta(minutes=5)
"""A clock further from a provider's is doubtful."""

CLOCK_RIGHT = CLOCK_OFF / 2
"""A doubtful clock is right again within this. Judgement: half the bound, so that a clock near it
does not change with each call."""

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class _Provider:
    """Whom to call, how often and for how many sites at once.

    fetch_once: makes one call for some sites within the seconds that are left, and returns how long
    the answer is good for, if the provider says so. keeps_interval: after a failure too the next
    call is no sooner than after `interval`.
    """

    name: str
    interval: timedelta
    max_sites: int
    fetch_once: Callable[[Sequence[Site], float], timedelta | None]
    keeps_interval: bool = False


@dataclass(slots=True)
class _Outcome:
    """What came of the calls for all sites: how many were made, and the first error."""

    calls: int = 0
    error: SourceError | None = None
    answers_good_for: list[timedelta] = field(default_factory=list)

    @property
    def good_for(self) -> timedelta | None:
        """How long the answers are good, by the longest of them; None if none says so."""
        return max(self.answers_good_for, default=None)


@dataclass(slots=True)
class ForecastUpdater:
    """Asks for the forecasts of some sites, and keeps the good ones."""

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
    """Called after each call to a provider: a sign of life."""

    def replace_site(self, before: Site, after: Site) -> None:
        """Ask for another site in the place of one of these from now on."""
        if after != before:
            self.sites = tuple(after if site == before else site for site in self.sites)
            self.store.forget(before)

    # -- which sources are asked

    def refresh_due(self, *needed: Site) -> None:
        """Ask every source that is due and needed. Failures are logged, and the next call planned.

        needed: the sites that decide which sources are needed, by default all; a source is asked
        for all sites. So each of many desks looks at its own site, and all together look at each
        site once.
        """
        needed = needed or tuple(self.sites)
        for place, source in enumerate(self.store.sources):
            interval = source.interval
            if place and not self._is_fallback_needed(place, needed):
                if place > 1 or self.store.second_opinion_k is None:
                    continue
                interval = _second_opinion_interval(source)
            if self._is_due(source, interval, needed):
                self._ask_source(source, interval)
        self.refresh_due_members()

    def refresh_due_members(self) -> None:
        """Ask for the members of an ensemble, if they are due and the network works."""
        ensemble = self.store.ensemble
        if ensemble is None or self._is_failing(self.store.sources[0]):
            return  # without a network no provider answers
        plan = self.store.ledger.call_schedules.get(ensemble.name)
        if schedule.is_due(plan, self.store.clock(), ensemble.interval):
            self._ask_ensemble(ensemble)

    def fetch_now(self) -> None:
        """Ask the sources now, in order, until each site has a sound forecast.

        A source that asked not to be called yet is left out; its last forecast counts. A forecast
        that cannot be true counts as given, and the next source is asked too. Raise SourceError,
        the first source's, if no source gave anything.
        """
        first: SourceError | None = None
        given = False
        for source in self.store.sources:
            if self._is_forbidden(source):
                given = given or all(self._has_sound(source, site) for site in self.sites)
            else:
                error = self._ask_source(source, source.interval, by_hand=True)
                doubted = isinstance(error, DoubtError)  # then that is what is to be told
                first, given = first or error, given or error is None or doubted
                if doubted:
                    continue
            if self._all_have_sound(self.store.sources, self.sites):
                break
        self._fetch_second_opinion()
        if not given:
            raise first or SourceError(f"{self.store.sources[0].name}: asked not to be asked yet")

    def _fetch_second_opinion(self) -> None:
        """Ask the second source, if its opinion is wanted and due. A failure is only remembered."""
        if self.store.second_opinion_k is None or len(self.store.sources) < 2:
            return
        second = self.store.sources[1]
        interval = _second_opinion_interval(second)
        if self._is_due(second, interval, self.sites):
            self._ask_source(second, interval, by_hand=True)

    def _is_forbidden(self, source: Source) -> bool:
        """Whether a source asked not to be called yet."""
        plan = self.store.ledger.call_schedules.get(source.name)
        return schedule.is_forbidden(plan, self.store.clock())

    def _is_failing(self, source: Source) -> bool:
        """Whether a source gave nothing the last time, or has not been asked."""
        plan = self.store.ledger.call_schedules.get(source.name)
        return plan is None or plan.failures > 0

    def _is_due(self, source: Source, interval: timedelta, sites: Sequence[Site]) -> bool:
        """Whether a source is to be asked now, by its schedule or by what is held of it."""
        plan, now = self.store.ledger.call_schedules.get(source.name), self.store.clock()
        if plan is not None and not plan.failures and not schedule.is_forbidden(plan, now):
            held = [self.store.forecast_of(source, site) for site in sites]
            if any(forecast is None or forecast.stored.fetched_at > now for forecast in held):
                return True  # a new site, or the clock has been set back
            # Another process with this ledger may have taken our turns for its own sites.
            late, good_until = now - interval - schedule.SLACK, plan.not_before or now - interval
            if good_until <= now - schedule.SLACK and any(
                forecast is not None and forecast.stored.fetched_at < late for forecast in held
            ):
                return True
        return schedule.is_due(plan, now, interval)

    def _is_fallback_needed(self, place: int, sites: Sequence[Site]) -> bool:
        """Whether the sources before this one fail, or leave a site without a sound forecast."""
        before = self.store.sources[:place]
        return all(map(self._is_failing, before)) or not self._all_have_sound(before, sites)

    def _all_have_sound(self, sources: Sequence[Source], sites: Sequence[Site]) -> bool:
        """Whether each site has a sound forecast of one of these sources."""
        return all(any(self._has_sound(source, site) for source in sources) for site in sites)

    def _has_sound(self, source: Source, site: Site) -> bool:
        held = self.store.forecast_of(source, site)
        return held is not None and held.is_sound(site, self.store.clock())

    # -- calls, and when the next ones are

    def _ask_source(
        self, source: Source, interval: timedelta, *, by_hand: bool = False
    ) -> SourceError | None:
        """Ask a source for all sites, and plan the next call. Return what went wrong."""
        fetch_once = partial(self._fetch_once, source)
        provider = _Provider(source.name, interval, source.max_sites, fetch_once)
        return self._ask_and_plan(provider, by_hand=by_hand)

    def _ask_ensemble(self, ensemble: Ensemble) -> None:
        fetch_once = partial(self._fetch_members_once, ensemble)
        # Members cost much and no plant depends on them: a failed call is one of the day's.
        self._ask_and_plan(
            _Provider(
                ensemble.name,
                ensemble.interval,
                ensemble.max_sites,
                fetch_once,
                keeps_interval=True,
            )
        )

    def _ask_and_plan(self, provider: _Provider, *, by_hand: bool = False) -> SourceError | None:
        """Make the calls and plan the next. A call by hand puts off no call of the daemon's."""
        calls = self.store.ledger.call_schedules
        before = calls.get(provider.name)
        plan = before or CallSchedule(self.store.clock())
        # Before the call: where nothing can be written, and where a call ends the process, the
        # next tick, or the next start, would ask again, and so on for ever.
        ahead = replace(plan, next_at=self.store.clock() + schedule.PAUSES[0])
        calls.keep(provider.name, ahead if before else replace(ahead, failures=1))
        tries = 1 if provider.keeps_interval or plan.failures or not self.live else TRIES
        outcome = self._ask_for_all_sites(provider, tries)
        now = self.store.clock()
        plan = schedule.counted(plan, now, outcome.calls)
        if outcome.error is None:
            plan = schedule.after_success(plan, now, provider.interval, outcome.good_for, self.rng)
        else:
            plan = self._after_failure(plan, before if by_hand else None, provider, outcome.error)
            # A person who asked by hand is told by the command.
            level = logging.INFO if by_hand else logging.WARNING
            log.log(level, "forecast.failed reason=%s next_try=%s", outcome.error, plan.next_at)
        calls.keep(provider.name, plan)
        return outcome.error

    def _ask_for_all_sites(self, provider: _Provider, tries: int) -> _Outcome:
        """Call a provider for all sites, as many at once as it takes, within one deadline."""
        outcome = _Outcome()
        ends = self.monotonic() + fetch.DEADLINE_S
        for sites in _batched(self.sites, provider.max_sites):
            self.step_done()
            try:
                good_for = self._try_call(tries, partial(provider.fetch_once, sites), outcome)
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

    def _try_call(
        self, tries: int, call: Callable[[float], timedelta | None], outcome: _Outcome
    ) -> timedelta | None:
        """Ask, read and check as one unit, a few times if it may help, within one deadline."""
        ends = self.monotonic() + fetch.DEADLINE_S
        for number in range(1, tries + 1):
            outcome.calls += 1
            try:
                return call(ends - self.monotonic())
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
        provider: _Provider,
        error: SourceError,
    ) -> CallSchedule:
        """Remember a failure and return the schedule after it.

        daemons: what the daemon had planned, if the call was made by hand.
        """
        now = self.store.clock()
        plan = schedule.after_failure(plan, now, str(error), error.wait, self.rng)
        if provider.keeps_interval:
            plan = replace(plan, next_at=max(plan.next_at, now + provider.interval))
        if daemons is not None and error.wait is None:
            next_at = min(daemons.next_at, plan.next_at)
            plan = replace(plan, next_at=next_at, failures=max(daemons.failures, 1))
        self.store.ledger.marks.set(f"fetch failed, {provider.name}", now, str(error))
        return plan

    # -- one call

    def _fetch_once(self, source: Source, sites: Sequence[Site], left_s: float) -> timedelta | None:
        """Make one call: ask, read, check and keep. Return how long the answer is good for."""
        held = [self.store.forecast_of(source, site) for site in sites]
        conditions = _conditions(held[0]) if len(held) == 1 and held[0] is not None else {}
        answer = self.ask(
            source.query(sites), source=source.name, conditions=conditions, deadline_s=left_s
        )
        now = self.store.clock()
        if answer.status == 304 and conditions:
            self._confirm(source, sites[0], answer, now)
            return answer.good_for(now)
        source.accept(answer, now)
        failed: SourceError | None = None
        for site, body, before in zip(sites, source.split(answer.body, sites), held, strict=True):
            try:
                self._take(source, site, body, before, answer, now)
            except SourceError as error:  # the others' may be good
                failed = failed or error
        if failed is not None:
            raise failed
        log.info("forecast.fetched source=%s bytes=%d", source.name, len(answer.body))
        return answer.good_for(now)

    def _confirm(self, source: Source, site: Site, answer: Answer, now: datetime) -> None:
        """Note that the source has nothing newer than what is held."""
        self._note_clock(source.name, answer)
        self.store.ledger.forecasts.mark_unchanged(site.name, source.name, now)
        self.store.ledger.forecasts.forget(site.name, doubted_key(source))
        log.info("forecast.confirmed source=%s", source.name)

    def _take(
        self,
        source: Source,
        site: Site,
        body: bytes,
        before: HeldForecast | None,
        answer: Answer,
        now: datetime,
    ) -> None:
        """Read and check the forecast of one site, and keep it. Raise SourceError if it is no good.

        before: the last good one.
        """
        weather = source.read(body, site, now)
        self._note_clock(source.name, answer)
        self._check(source, weather, before, now)
        self._require_plausible(source, site, weather, body, now)
        changed = before is None or not same_forecast(before.weather, weather, now)
        # Of an answer with another status (203) a provider keeps no validators.
        has_validators = answer.status == 200
        self.store.ledger.forecasts.keep(
            site.name,
            StoredForecast(
                source=source.name,
                fetched_at=now,
                changed_at=now if before is None or changed else before.stored.changed_at,
                body=body,
                last_modified=answer.last_modified if has_validators else None,
                etag=answer.etag if has_validators else None,
            ),
        )
        if changed and self.live:
            nights = nights_of(site, self.store.spread_over(site, weather), now)
            self.store.ledger.nights.keep(site.name, source.name, now, nights)
            self.store.ledger.nights.prune(now)

    def _fetch_members_once(
        self, ensemble: Ensemble, sites: Sequence[Site], left_s: float
    ) -> timedelta | None:
        """Make one call for the members of an ensemble, as `_fetch_once` does for a source."""
        answer = self.ask(
            ensemble.query(sites), source=ensemble.name, conditions={}, deadline_s=left_s
        )
        now = self.store.clock()
        ensemble.accept(answer, now)
        bodies = ensemble.split(answer.body, sites)
        for site, body in zip(sites, bodies, strict=True):
            ensemble.read(body, site, no_weather(ensemble.name, now).times)
            self.store.ledger.forecasts.keep(
                site.name, StoredForecast(ensemble.name, now, now, body)
            )
        log.info("forecast.members source=%s bytes=%d", ensemble.name, len(answer.body))
        return answer.good_for(now)

    def _check(
        self, source: Source, weather: Weather, before: HeldForecast | None, now: datetime
    ) -> None:
        """Raise SourceError unless a forecast is for these days and no older than the last one."""
        if self.live:
            Reading(source.name).check_present(weather, now)
        issued, last = weather.issued_at, None if before is None else before.weather.issued_at
        if issued is not None and last is not None and issued < last:
            # Its servers do not all have the same run; the next may.
            msg = f"{source.name}: gives an older forecast than before"
            raise SourceError(msg, passing=True)

    def _require_plausible(
        self, source: Source, site: Site, weather: Weather, body: bytes, now: datetime
    ) -> None:
        """Raise DoubtError for a forecast that cannot be believed, after keeping it apart.

        One that is doubted only for a jump is believed once it has been much the same for long.
        """
        ledger, key = self.store.ledger, doubted_key(source)
        found = self.store.doubts_about(source, site, weather, now)
        last = self.store.doubted_of(source, site)
        since = now
        if last is not None and agree(weather, last.weather, now):
            since = min(last.stored.changed_at, now)
        if not found or believed_at_last(found, since, now):
            if last is not None:
                log.warning("forecast.believed_again source=%s site=%s", source.name, site.name)
            ledger.forecasts.forget(site.name, key)
            return
        ledger.forecasts.keep(site.name, StoredForecast(key, now, since, body))
        msg = f"{source.name}: the forecast looks wrong: {doubt_wording.reason(found)}"
        raise DoubtError(msg)

    def _note_clock(self, name: str, answer: Answer) -> None:
        """Remember how far this machine's clock is from a provider's, as long as it is far."""
        said, now = answer.date, self.store.clock()
        if said is None or self.pretending:
            return
        behind = said - now
        if abs(behind) > CLOCK_OFF:
            log.warning("clock.doubtful behind=%s by=%s", behind, name)
            self.store.ledger.marks.set(CLOCK_MARK, now, f"{behind.total_seconds():.0f} by {name}")
        elif abs(behind) <= CLOCK_RIGHT and self.store.ledger.marks.get(CLOCK_MARK) is not None:
            self.store.ledger.marks.remove(CLOCK_MARK)


def _second_opinion_interval(source: Source) -> timedelta:
    """Return how often a source is asked that is needed for its second opinion only."""
    return max(source.interval, SECOND_OPINION_INTERVAL)


def _conditions(held: HeldForecast) -> dict[str, str]:
    """Return the headers by which an unchanged forecast need not be sent again."""
    given = {
        "If-Modified-Since": held.stored.last_modified,
        "If-None-Match": held.stored.etag,
    }
    return {name: value for name, value in given.items() if value}


def _batched(sites: Sequence[Site], most: int) -> Iterator[Sequence[Site]]:
    """Yield the sites in groups of at most so many."""
    rest = iter(sites)
    while batch := tuple(islice(rest, most)):
        yield batch
