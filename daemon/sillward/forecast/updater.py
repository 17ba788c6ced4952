"""The forecast updater: asks the sources by their schedules and keeps what is good.

Asking, reading and checking are one unit: only what passed all three becomes the last good
forecast. While a source fails the next one in the grower's list is asked; what was last good ages
visibly until it is of no use, and then nothing is known.
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
from sillward.forecast import Source, doubt_wording, schedule
from sillward.forecast.ensemble import Ensemble
from sillward.forecast.parsing import Reading
from sillward.forecast.store import CLOCK_MARK, ForecastStore, HeldForecast, doubted_key
from sillward.ledger import CallSchedule, StoredForecast
from sillward.net import fetch
from sillward.net.http import Answer
from sillward_rules.weather.hourly import Weather, no_weather, same_forecast
from sillward_rules.weather.night_summary import nights_of
from sillward_rules.weather.plausibility import agree, believed_at_last
from sillward_rules.weather.site import Site

TRIES = 3
"""Of one call, if what went wrong may be over in a moment; once it has failed, one each time."""

LEAST_TRY_S = 5.0
"""Less than this is not enough for another try [s]."""

SECOND_OPINION_EVERY = timedelta(hours=3)
"""How often a second source is asked for its opinion: with all others 30 calls a day."""

CLOCK_OFF = timedelta(minutes=5)
"""A clock further from a provider's is doubtful."""

CLOCK_RIGHT = CLOCK_OFF / 2
"""Once doubtful it must be as near as this: at the bound itself each call would change its mind.
Judgement."""

log = logging.getLogger(__name__)


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
    """Whether providers are asked. What is in a file need not cover the present hour, and does not
    get better when it is read again."""
    pretending: bool = False
    """Whether the clock is of another time: then it says nothing of this machine's."""
    working: Callable[[], None] = lambda: None
    """Told after each call: a sign of life."""
    _calls: int = 0

    def replace_site(self, before: Site, after: Site) -> None:
        """Ask for another site in the place of one of these from now on."""
        if after != before:
            self.sites = tuple(after if one == before else one for one in self.sites)
            self.store.forget(before)

    # -- asking

    def refresh(self, *needed: Site) -> None:
        """Ask every source that is due and needed. Failures are logged and planned anew.

        needed: the sites whose need counts, all by default; who is asked is asked for all of them.
        So each of many desks looks at its own site, and all together look at each site once.
        """
        needed = needed or tuple(self.sites)
        for place, source in enumerate(self.store.sources):
            every = source.every
            if place and not self._fallback_needed(place, needed):
                if place > 1 or self.store.second_opinion_k is None:
                    continue
                every = _opinion_every(source)
            if self._due(source, every, needed):
                self._poll(source, every)
        self.refresh_members()

    def refresh_members(self) -> None:
        """Ask for the members of an ensemble if they are due and somebody can be reached."""
        members = self.store.ensemble
        if members is None or self._fails(self.store.sources[0]):
            return  # without a network nobody answers
        if schedule.due(
            self.store.ledger.calls.get(members.name), self.store.clock(), members.every
        ):
            self._poll_ensemble(members)

    def fetch(self) -> None:
        """Ask now whom one may ask, in order, until each site has a sound forecast.

        Raise SourceError, the first source's, if nobody gave one; one that cannot be true is given,
        and the next source asked. A source that asked to be left alone for a while is, and what it
        gave last stands.
        """
        first: SourceError | None = None
        given = False
        for source in self.store.sources:
            if schedule.forbidden(self.store.ledger.calls.get(source.name), self.store.clock()):
                given = given or all(self._sound(source, site) for site in self.sites)
            else:
                error = self._poll(source, source.every, by_hand=True)
                doubted = isinstance(error, DoubtError)  # then that is what is to be told
                first, given = first or error, given or error is None or doubted
                if doubted:
                    continue
            if self._all_have_sound(self.store.sources, self.sites):
                break
        if self.store.second_opinion_k is not None and len(self.store.sources) > 1:
            second = self.store.sources[1]
            if self._due(
                second, _opinion_every(second), self.sites
            ):  # it may fail: then the notice says so
                self._poll(second, _opinion_every(second), by_hand=True)
        if not given:
            raise first or SourceError(f"{self.store.sources[0].name}: asked not to be asked yet")

    def _fails(self, source: Source) -> bool:
        """Whether a source gave nothing the last time, or has not been asked."""
        plan = self.store.ledger.calls.get(source.name)
        return plan is None or plan.failures > 0

    def _due(self, source: Source, every: timedelta, sites: Sequence[Site]) -> bool:
        plan, now = self.store.ledger.calls.get(source.name), self.store.clock()
        if plan is not None and not plan.failures and not schedule.forbidden(plan, now):
            held = [self.store.of(source, site) for site in sites]
            if any(one is None or one.stored.fetched_at > now for one in held):
                return True  # a new site, or the clock has been set back
            # Another process with this ledger may have taken our turns for its own sites.
            late, patient = now - every - schedule.SLACK, plan.not_before or now - every
            if patient <= now - schedule.SLACK and any(
                one is not None and one.stored.fetched_at < late for one in held
            ):
                return True
        return schedule.due(plan, now, every)

    def _fallback_needed(self, place: int, sites: Sequence[Site]) -> bool:
        """Whether the sources before this one fail, or leave a site without a sound forecast."""
        before = self.store.sources[:place]
        return all(map(self._fails, before)) or not self._all_have_sound(before, sites)

    def _all_have_sound(self, sources: Sequence[Source], sites: Sequence[Site]) -> bool:
        """Whether each site has a sound forecast of one of these sources."""
        return all(any(self._sound(one, site) for one in sources) for site in sites)

    def _sound(self, source: Source, site: Site) -> bool:
        held = self.store.of(source, site)
        return held is not None and held.sound(site, self.store.clock())

    def _poll(
        self, source: Source, every: timedelta, *, by_hand: bool = False
    ) -> SourceError | None:
        """Ask one source for all sites, and plan the next call. Return what went wrong."""
        once = partial(self._once, source)
        return self._planned(source.name, every, source.max_sites, once, by_hand=by_hand)

    def _poll_ensemble(self, members: Ensemble) -> None:
        once = partial(self._members_once, members)
        # They cost much and are no matter of life and death: a failed call is one of the day's.
        self._planned(members.name, members.every, members.max_sites, once, patient=True)

    def _planned(
        self,
        name: str,
        every: timedelta,
        max_sites: int,
        once: Callable[[Sequence[Site], float], timedelta | None],
        *,
        by_hand: bool = False,
        patient: bool = False,
    ) -> SourceError | None:
        """Make the calls and plan the next. Who asks by hand puts off no call of the daemon's.

        patient: after a failure too the next call is no sooner than after `every`.
        """
        before = self.store.ledger.calls.get(name)
        plan = before or CallSchedule(self.store.clock())
        # Before the call: where nothing can be written, and where a call ends the process, the
        # next tick, or the next start, would ask again, and so on for ever.
        ahead = replace(plan, next_at=self.store.clock() + schedule.PAUSES[0])
        self.store.ledger.calls.keep(name, ahead if before else replace(ahead, failures=1))
        tries = 1 if patient or plan.failures or not self.live else TRIES
        self._calls = 0
        failed: SourceError | None = None
        good_for: list[timedelta] = []
        ends = self.monotonic() + fetch.DEADLINE_S
        for sites in _batched(self.sites, max_sites):
            self.working()
            try:
                lasting = self._tried(tries, partial(once, sites))
                good_for += [] if lasting is None else [lasting]
            except LedgerError:
                raise
            except SourceError as error:
                failed = failed or error
            except Exception as error:  # a defect of ours costs a call, no round
                log.exception("forecast.defect source=%s", name)
                failed = failed or SourceError(f"{name}: failed ({type(error).__name__})")
            # What is wrong with one site's forecast need not be with the next one's.
            if failed is not None and (failed.wait or self.monotonic() > ends):
                break
        self.working()
        now = self.store.clock()
        plan = schedule.counted(plan, now, self._calls)
        if failed is None:
            plan = schedule.after_success(plan, now, every, max(good_for, default=None), self.rng)
        else:
            plan = schedule.after_failure(plan, now, str(failed), failed.wait, self.rng)
            if patient:
                plan = replace(plan, next_at=max(plan.next_at, now + every))
            if by_hand and before is not None and failed.wait is None:
                next_at = min(before.next_at, plan.next_at)
                plan = replace(plan, next_at=next_at, failures=max(before.failures, 1))
            self.store.ledger.marks.set(f"fetch failed, {name}", now, str(failed))
            # Who asks by hand is told by whoever asked for them.
            level = logging.INFO if by_hand else logging.WARNING
            log.log(level, "forecast.failed reason=%s next_try=%s", failed, plan.next_at)
        self.store.ledger.calls.keep(name, plan)
        return failed

    def _tried(self, tries: int, once: Callable[[float], timedelta | None]) -> timedelta | None:
        """Ask, read and check as one unit, a few times if it may help, within one deadline."""
        ends = self.monotonic() + fetch.DEADLINE_S
        for done in range(1, tries + 1):
            self._calls += 1
            try:
                return once(ends - self.monotonic())
            except SourceError as error:
                pause = schedule.backoff_s(done, self.rng)
                late = self.monotonic() + pause + LEAST_TRY_S > ends
                if done == tries or late or error.wait or not error.passing:
                    raise
                log.info("forecast.again reason=%s", error)
                self.pause(pause)
        raise AssertionError  # the last try returns or raises

    def _once(self, source: Source, sites: Sequence[Site], left_s: float) -> timedelta | None:
        """One call: asked, read, checked, kept. Return how long the answer is good for."""
        held = [self.store.of(source, site) for site in sites]
        conditions = _conditions(held[0]) if len(held) == 1 and held[0] is not None else {}
        query = source.query(sites)
        answer = self.ask(query, source=source.name, conditions=conditions, deadline_s=left_s)
        now = self.store.clock()
        if answer.status == 304 and conditions:
            self._note_clock(source.name, answer)
            self.store.ledger.forecasts.confirm(sites[0].name, source.name, now)
            self.store.ledger.forecasts.forget(sites[0].name, doubted_key(source))
            log.info("forecast.confirmed source=%s", source.name)
            return answer.good_for(now)
        source.accept(answer, now)
        bodies = source.split(answer.body, sites)
        # Of an answer with another status (203) a provider keeps no validators.
        lasting = answer.status == 200
        failed: SourceError | None = None
        for site, body, before in zip(sites, bodies, held, strict=True):
            try:
                weather = source.read(body, site, now)
                self._note_clock(source.name, answer)
                self._check(source, weather, before, now)
                self._doubt(source, site, weather, body, now)
            except SourceError as error:  # the others' may be good
                failed = failed or error
                continue
            changed = before is None or not same_forecast(before.weather, weather, now)
            self.store.ledger.forecasts.keep(
                site.name,
                StoredForecast(
                    source=source.name,
                    fetched_at=now,
                    changed_at=now if before is None or changed else before.stored.changed_at,
                    body=body,
                    last_modified=answer.last_modified if lasting else None,
                    etag=answer.etag if lasting else None,
                ),
            )
            if changed and self.live:
                nights = nights_of(site, self.store.spread_over(site, weather), now)
                self.store.ledger.nights.keep(site.name, source.name, now, nights)
                self.store.ledger.nights.prune(now)
        if failed is not None:
            raise failed
        log.info("forecast.fetched source=%s bytes=%d", source.name, len(answer.body))
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

    def _doubt(
        self, source: Source, site: Site, weather: Weather, body: bytes, now: datetime
    ) -> None:
        """Raise SourceError if a forecast cannot be believed, and keep it apart from the good one.

        Unless nothing speaks against it but a jump, and it has been much the same for long enough.
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

    def _members_once(
        self, ensemble: Ensemble, sites: Sequence[Site], left_s: float
    ) -> timedelta | None:
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

    def _note_clock(self, name: str, answer: Answer) -> None:
        """Remember how far this machine's clock is from a provider's, while it is far."""
        said, now = answer.date, self.store.clock()
        if said is None or self.pretending:
            return
        behind = said - now
        if abs(behind) > CLOCK_OFF:
            log.warning("clock.doubtful behind=%s by=%s", behind, name)
            self.store.ledger.marks.set(CLOCK_MARK, now, f"{behind.total_seconds():.0f} by {name}")
        elif abs(behind) <= CLOCK_RIGHT and self.store.ledger.marks.get(CLOCK_MARK) is not None:
            self.store.ledger.marks.remove(CLOCK_MARK)


def _opinion_every(source: Source) -> timedelta:
    return max(source.every, SECOND_OPINION_EVERY)


def _conditions(held: HeldForecast) -> dict[str, str]:
    """What to send so that an unchanged forecast need not be sent again."""
    given = {
        "If-Modified-Since": held.stored.last_modified,
        "If-None-Match": held.stored.etag,
    }
    return {name: value for name, value in given.items() if value}


def _batched(sites: Sequence[Site], most: int) -> Iterator[Sequence[Site]]:
    rest = iter(sites)
    while batch := tuple(islice(rest, most)):
        yield batch
