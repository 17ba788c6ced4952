"""What the daemon does: keep a forecast, tell rounds when they are due, deliver what waits.

`Desk` holds every collaborator and does one thing at a time when asked; it has no thread and
no clock of its own. `run` is the loop around it. The loop is level-triggered: each tick asks
"what is due and not yet told?" of the ledger, so a late, doubled or lost tick harms nothing.
"""

import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any

from sillward import document, rounds
from sillward.collection import Channel, Household
from sillward.errors import DeliveryError, LedgerError, SourceError
from sillward.forecast import Source
from sillward.ledger import Ledger, Notice, StoredForecast
from sillward.notices import full, short
from sillward.notices.channels import SEND_S, Sender
from sillward.notices.short import Message
from sillward.rounds import Occasion
from sillward_rules import sun
from sillward_rules.collection import PlantState, State
from sillward_rules.sheet import Round, Sheet, believed, draw_up, next_state
from sillward_rules.site import Site
from sillward_rules.weather import STALE, Weather, no_weather

Clock = Callable[[], datetime]

FRESH = timedelta(minutes=60)
"""A forecast younger than this is not asked for again."""

FETCH_PAUSES = tuple(timedelta(minutes=m) for m in (2, 5, 10, 20, 40))
"""Pauses after one failed fetch, two, and so on; the last is kept."""

PATIENCE = timedelta(minutes=20)
"""A round that is due while there is no usable forecast waits so long for one."""

MOST_DOUBTFUL = 2
"""After so many tries that may have arrived, one more without an answer is the last."""

LEASE = timedelta(seconds=2 * SEND_S)
"""A claim on a notice older than this is nobody's any more."""

SEND_PAUSES = tuple(timedelta(seconds=s) for s in (30, 60, 120, 300, 600, 900))
"""Likewise after failed attempts to send."""

log = logging.getLogger(__name__)


def states_at(ledger: Ledger, site: Site, now: datetime) -> State:
    """What the ledger knows of the plants, as far as it can be believed now."""
    states = ledger.states(site.name)
    day = sun.night_at_or_after(site, now).day
    if ledger.round_followed(site.name, Round.MORNING.value, day):
        return states
    return believed(states, site, now)


def utc_now() -> datetime:
    """The clock of the shell."""
    return datetime.now(UTC)


@dataclass(slots=True)
class Desk:
    """Forecast, ledger, rounds and channels of one household, ready to be asked."""

    household: Household
    source: Source
    ledger: Ledger
    sender: Sender
    clock: Clock = utc_now
    stopping: Callable[[], bool] = lambda: False
    """Asked between two notices: whether to leave the rest for the next start."""
    _failed_fetches: int = 0
    _next_fetch: datetime | None = None
    _started: datetime | None = None

    @property
    def _site(self) -> str:
        return self.household.collection.site.name

    # -- forecast

    def refresh(self) -> None:
        """Fetch a forecast if the one at hand is getting old and the last failure is past."""
        now = self.clock()
        held = self._held()
        if held is not None and timedelta(0) <= now - held.fetched_at < FRESH:
            return
        if self._next_fetch is not None and now < self._next_fetch <= now + FETCH_PAUSES[-1]:
            return
        try:
            self.fetch()
        except LedgerError:
            raise
        except Exception as error:
            reason = str(error)
            if not isinstance(error, SourceError):  # a defect of ours costs a fetch, no round
                log.exception("forecast.defect")
                reason = f"failed ({type(error).__name__})"
            pause = FETCH_PAUSES[min(self._failed_fetches, len(FETCH_PAUSES) - 1)]
            self._failed_fetches += 1
            self._next_fetch = now + pause
            log.warning("forecast.failed reason=%s next_try=%s", reason, pause)
            self.ledger.mark(f"fetch failed, {self._site}", now, reason)

    def fetch(self) -> Weather:
        """Fetch a forecast now and keep it. Raise SourceError if it cannot be had."""
        now = self.clock()
        forecast = self.source.fetch(self.household.collection.site, now)
        stored = StoredForecast(self.source.name, now, now, forecast.body)
        self.ledger.keep_forecast(self._site, stored)
        self._failed_fetches, self._next_fetch = 0, None
        log.info("forecast.fetched source=%s bytes=%d", self.source.name, len(forecast.body))
        return forecast.weather

    def weather(self) -> Weather:
        """The last good forecast; weather of which nothing is known if there is none."""
        held = self._held()
        if held is not None:
            return held
        blind = no_weather(self.source.name, self.clock())
        return replace(blind, remarks=("there is no forecast: nothing is known of the weather",))

    def _held(self) -> Weather | None:
        """The stored forecast, if it is this source's and for this place."""
        held = self.ledger.forecast(self._site, self.source.name)
        if held is None:
            return None
        try:
            return self.source.read(held.body, self.household.collection.site, held.fetched_at)
        except Exception as error:  # whatever is wrong with it: it is no forecast
            log.warning("forecast.unreadable reason=%s", error)
            return None

    def _has_forecast(self) -> bool:
        held = self._held()
        return held is not None and self.clock() - held.fetched_at <= STALE

    # -- rounds

    def sheet(self, round_: Round, weather: Weather) -> Sheet:
        """Work out a round now, from what the ledger knows of the plants."""
        now, collection = self.clock(), self.household.collection
        return draw_up(
            round_, collection, weather, states_at(self.ledger, collection.site, now), now
        )

    def tell(self, occasion: Occasion) -> Sheet | None:
        """Work out a round and put its notices down for sending, once for each occasion.

        Return None if that has been done before.
        """
        if self.ledger.round_told_at(self._site, occasion.name, occasion.day):
            return None
        now = self.clock()
        sheet = self.sheet(occasion.round, self.weather())
        site = self.household.collection.site
        always = occasion.round is Round.WEEK  # the sheet that shows that somebody is there
        notices = [
            self._notice(
                channel,
                occasion,
                self.message(channel, sheet),
                now,
                silent=not (always or sheet.chores or sheet.warnings or channel.all_clear),
            )
            for channel in self._listening(occasion)
        ]
        if occasion.round is Round.WEEK:  # an outlook: nothing to acknowledge, nothing moves
            self._keep(occasion, now, notices)
        else:
            chores = [document.of_chore(chore, site) for chore in sheet.chores]
            self._keep(occasion, now, notices, chores, sheet)
        log.info(
            "round.told round=%s day=%s chores=%d",
            occasion.round.value,
            occasion.day,
            len(sheet.chores),
        )
        return sheet

    def _keep(
        self,
        occasion: Occasion,
        now: datetime,
        notices: list[Notice],
        chores: Sequence[dict[str, Any]] = (),
        sheet: Sheet | None = None,
    ) -> None:
        self.ledger.keep_round(
            self._site,
            occasion.name,
            occasion.day,
            now,
            notices=notices,
            chores=chores,
            states={} if sheet is None else self._unknown(sheet),
            after={} if sheet is None else next_state(self.ledger.states(self._site), sheet),
        )

    def _unknown(self, sheet: Sheet) -> dict[str, PlantState]:
        """The sheet's states of plants of which the ledger knows nothing yet."""
        known = self.ledger.states(self._site)
        return {name: state for name, state in sheet.states.items() if name not in known}

    def _listening(self, occasion: Occasion) -> list[Channel]:
        return [
            channel for channel in self.household.channels if occasion.round.value in channel.rounds
        ]

    def _notice(
        self,
        channel: Channel,
        occasion: Occasion,
        message: Message,
        now: datetime,
        *,
        silent: bool = False,
    ) -> Notice:
        return Notice(
            key=f"{self._site}/{occasion.day}/{occasion.name}/{channel.name}",
            site=self._site,
            round=occasion.name,
            day=str(occasion.day),
            channel=channel.name,
            title=message.title,
            body=message.body,
            state="not needed" if silent else "waiting",
            attempts=0,
            next_at=now,
            expires_at=max(occasion.until, now + timedelta(minutes=5)),
        )

    def message(self, channel: Channel, sheet: Sheet) -> Message:
        """The sheet as this channel gets it."""
        site = self.household.collection.site
        brief = short.message(sheet, site)
        if not channel.full_length:
            return brief
        return Message(brief.title, full.text(sheet, site, self.source.attribution))

    # -- delivery

    def deliver(self) -> int:
        """Send every notice that waits and is due. Return how many could not be sent."""
        self.ledger.release_claims(self.clock())
        for notice in self.ledger.expire(self.clock()):
            log.error("notice.expired key=%s last_error=%s", notice.key, notice.last_error)
        channels = {channel.name: channel for channel in self.household.channels}
        failed = 0
        for notice in self.ledger.waiting(self._site, self.clock(), SEND_PAUSES[-1]):
            channel = channels.get(notice.channel)
            if self.stopping():
                break
            if channel is None or not self.ledger.claim(notice.key, self.clock() + LEASE):
                continue
            failed += not self._attempt(notice, channel)
        return failed

    def _attempt(self, notice: Notice, channel: Channel) -> bool:
        repeat = "(repeat) " if notice.perhaps_sent else ""
        try:
            self.sender(channel, self._repeatable(channel, repeat, notice))
        except DeliveryError as error:
            if error.perhaps_sent and notice.perhaps_sent and notice.attempts >= MOST_DOUBTFUL:
                self.ledger.sent(notice.key, self.clock(), str(error))
                log.warning("notice.doubtful key=%s reason=%s", notice.key, error)
                return True
            pause = SEND_PAUSES[min(notice.attempts, len(SEND_PAUSES) - 1)]
            perhaps = notice.perhaps_sent or error.perhaps_sent
            self.ledger.put_back(notice.key, self.clock() + pause, str(error), perhaps_sent=perhaps)
            log.warning("notice.failed key=%s reason=%s next_try=%s", notice.key, error, pause)
            return False
        self.ledger.sent(notice.key, self.clock())
        log.info("notice.sent key=%s attempts=%d", notice.key, notice.attempts + 1)
        return True

    @staticmethod
    def _repeatable(channel: Channel, repeat: str, notice: Notice) -> Message:
        """The notice, marked if it is a repeat, and then no longer than a push may be."""
        lines = notice.body.splitlines()
        title = repeat + notice.title
        if repeat and not channel.full_length:
            while lines and len(title) + len("\n".join(lines)) >= short.MOST_CHARACTERS:
                lines.pop()
            return Message(title, "\n".join(lines))
        return Message(title, notice.body)

    # -- the tick

    def tick(self) -> None:
        """Do what is due. What fails is logged and tried again at the next tick."""
        try:
            self.deliver()  # first what waits: a server that dawdles must not hold it up
            self.refresh()
            site, told = self.household.collection.site, self.household.rounds
            for occasion in rounds.occasions(site, told, self.clock()):
                if self._has_forecast() or not self._patient(occasion):
                    self._tell_or_own_up(occasion)
            self.deliver()
        except LedgerError as error:
            log.error("ledger.failed reason=%s", error)

    def _patient(self, occasion: Occasion) -> bool:
        """Whether to wait for a forecast a little longer: after the due hour, after the start."""
        now = self.clock()
        if self._started is None:
            self._started = now
        return now < max(occasion.due_at, min(self._started, now)) + PATIENCE

    def _tell_or_own_up(self, occasion: Occasion) -> None:
        """Tell a round; if a defect of ours prevents it, say that rather than nothing."""
        try:
            self.tell(occasion)
        except LedgerError:
            raise
        except Exception:
            log.exception("round.failed round=%s day=%s", occasion.round.value, occasion.day)
            now = self.clock()
            words = Message(
                f"No {occasion.round.value} sheet: sillward failed",
                "Treat the coming night as cold and go by your own thermometer. "
                "The log of sillward says why.",
            )
            notices = [
                self._notice(channel, occasion, words, now) for channel in self._listening(occasion)
            ]
            self._keep(occasion, now, notices)
