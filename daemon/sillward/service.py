"""What the daemon does: keep a forecast, tell rounds when they are due, deliver what waits.

`Desk` holds every collaborator and does one thing at a time when asked; it has no thread and
no clock of its own. `run` is the loop around it. The loop is level-triggered: each tick asks
"what is due and not yet told?" of the ledger, so a late, doubled or lost tick harms nothing.
"""

import logging
from collections.abc import Callable, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import partial
from typing import Any

from sillward import document, rounds
from sillward.collection import Channel, Household
from sillward.errors import DeliveryError, LedgerError
from sillward.forecast.keeper import Keeper
from sillward.forecast.shelf import Clock, utc_now
from sillward.ledger import Ledger, Notice
from sillward.notices import alarms, full, short
from sillward.notices.channels import SEND_S, Sender
from sillward.notices.short import Message
from sillward.rounds import Occasion
from sillward_rules import sun
from sillward_rules.collection import PlantState, State
from sillward_rules.sheet import Round, Sheet, believed, draw_up, next_state
from sillward_rules.site import Site
from sillward_rules.weather import Freshness, Weather

PATIENCE = timedelta(minutes=20)
"""A round that is due while there is no usable forecast waits so long for one."""

MOST_DOUBTFUL = 2
"""After so many tries that may have arrived, one more without an answer is the last."""

ALARM_GOOD_FOR = timedelta(hours=12)
"""An alarm that could not be sent for so long is told anew by the next day's."""

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


@dataclass(slots=True)
class Desk:
    """Forecasts, ledger, rounds and channels of one household, ready to be asked."""

    household: Household
    keeper: Keeper
    ledger: Ledger
    sender: Sender
    clock: Clock = utc_now
    stopping: Callable[[], bool] = lambda: False
    """Asked between two notices: whether to leave the rest for the next start."""
    _started: datetime | None = None

    @property
    def _site(self) -> str:
        return self.household.collection.site.name

    # -- forecast

    def weather(self) -> Weather:
        """The best forecast at hand; weather of which nothing is known if there is none."""
        return self.keeper.shelf.weather(self.household.collection.site)

    def _has_forecast(self) -> bool:
        """Whether one can go by what is held; a defect of ours in it must hold up no round."""
        try:
            return self.keeper.shelf.usable(self.household.collection.site)
        except LedgerError:
            raise
        except Exception:
            log.exception("forecast.failed_to_read")
            return False

    def _sees_well(self) -> bool:
        """Whether what is held will do for hours: one that is nearly too old would come and go."""
        best = self.keeper.shelf.best(self.household.collection.site)
        return best is not None and best.weather.freshness(self.clock()) is Freshness.FRESH

    def _refresh(self) -> None:
        """Ask for forecasts; a defect of ours in it must not hold up what is to be told."""
        try:
            self.keeper.refresh()
        except LedgerError:
            raise
        except Exception:
            log.exception("forecast.failed_to_refresh")

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
        until = max(occasion.until, now + timedelta(minutes=5))
        return self._notice_of(
            channel, occasion.name, occasion.day, message, now, until, silent=silent
        )

    def _notice_of(
        self,
        channel: Channel,
        name: str,
        day: date,
        message: Message,
        now: datetime,
        until: datetime,
        *,
        silent: bool = False,
    ) -> Notice:
        return Notice(
            key=f"{self._site}/{day}/{name}/{channel.name}",
            site=self._site,
            round=name,
            day=str(day),
            channel=channel.name,
            title=message.title,
            body=message.body,
            state="not needed" if silent else "waiting",
            attempts=0,
            next_at=now,
            expires_at=until,
        )

    def message(self, channel: Channel, sheet: Sheet) -> Message:
        """The sheet as this channel gets it."""
        site = self.household.collection.site
        brief = short.message(sheet, site)
        if not channel.full_length:
            return brief
        return Message(
            brief.title, full.text(sheet, site, self.keeper.shelf.attribution(sheet.source))
        )

    # -- alarms

    def watch(self) -> None:
        """Tell what cannot wait for a round: that nothing is known, that the clock is wrong.

        Each is told once, and again on every day that it lasts; that it is over is told once. At
        night nobody is woken for it: what the dusk round said holds.
        """
        now = self.clock()
        if not self._by_day(now):
            return
        sees = self._has_forecast()
        if sees or now >= self._start(now) + PATIENCE:
            blind = None if sees else self._blind
            # Once the dusk round is told, it has said what is to do tonight.
            today = self.household.collection.site.local_date(now)
            said = self.ledger.round_told_at(self._site, Round.DUSK.value, today) is not None
            self._episode("blind", now, blind, self._sighted, said=said, ends=self._sees_well())
        doubt = self.keeper.shelf.clock_doubt()
        doubtful = None if doubt is None else partial(alarms.doubtful_clock, doubt)
        self._episode("clock", now, doubtful, alarms.right_clock)

    def _episode(
        self,
        name: str,
        now: datetime,
        lasts: Callable[[], Message] | None,
        over: Callable[[], Message],
        *,
        said: bool = False,
        ends: bool = True,
    ) -> None:
        """Tell the alarm of a state while it lasts, unless it has been said, and its end.

        ends: whether it is over for good; while it is not, and does not last, nothing is told.
        """
        mark = f"{name}, {self._site}"
        since = self.ledger.marks().get(mark)
        if lasts is not None:
            if since is None:
                self.ledger.mark(mark, now, "")
            if not said:
                self._alarm(name, now, lasts)
        elif since is not None and ends:
            # The network that brings the forecast brings notices too: what still waits is untrue
            # now, and who never heard of the trouble need not hear of its end.
            first = self.household.collection.site.local_date(since.at)
            reached = self.ledger.withdraw(self._site, name, first)
            deaf = {channel for channel, told in reached.items() if not told}
            self._alarm(f"{name} over", now, over, deaf)
            self.ledger.unmark(mark)

    def _alarm(
        self,
        kind: str,
        now: datetime,
        words: Callable[[], Message],
        without: AbstractSet[str] = frozenset(),
    ) -> None:
        """Put an alarm down for sending, once a day: to the channels that take alarms, or to all
        if none does; not to those without."""
        day = self.household.collection.site.local_date(now)
        if self.ledger.round_told_at(self._site, kind, day) is not None:
            return
        listening = [one for one in self.household.channels if "alarm" in one.rounds]
        message, until = words(), now + ALARM_GOOD_FOR
        notices = [
            self._notice_of(channel, kind, day, message, now, until)
            for channel in listening or self.household.channels
            if channel.name not in without
        ]
        self.ledger.keep_round(self._site, kind, day, now, notices=notices, chores=[], states={})
        log.warning("alarm.told kind=%s day=%s", kind, day)

    def _blind(self) -> Message:
        site = self.household.collection.site
        best = self.keeper.shelf.best(site)
        sheet, why = self.sheet(Round.DUSK, self.weather()), self.keeper.shelf.trouble()
        if best is None:
            return alarms.blind(sheet, None, why, site)
        # What a source repeats day after day is fetched anew, and as old as it was.
        since = best.weather.issued_at or best.stored.fetched_at
        return alarms.blind(sheet, since, why or f"{best.source.name} has nothing new", site)

    def _sighted(self) -> Message:
        sheet = self.sheet(Round.DUSK, self.weather())
        return alarms.sighted(sheet, self.household.collection.site)

    def _by_day(self, now: datetime) -> bool:
        """Whether it is between sunrise and the end of the usual time for carrying in."""
        site = self.household.collection.site
        events = sun.day_events(site, site.local_date(now))
        latest = events.sunset + self.household.collection.habits.latest_after_sunset
        return events.sunrise <= now <= latest

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
        self._start(self.clock())
        try:
            self.deliver()  # first what waits: a server that dawdles must not hold it up
            self._refresh()
            site, told = self.household.collection.site, self.household.rounds
            for occasion in rounds.occasions(site, told, self.clock()):
                if self._has_forecast() or not self._patient(occasion):
                    self._tell_or_own_up(occasion)
            self._watch_or_own_up()
            self.deliver()
        except LedgerError as error:
            log.error("ledger.failed reason=%s", error)

    def _patient(self, occasion: Occasion) -> bool:
        """Whether to wait for a forecast a little longer: after the due hour, after the start."""
        now = self.clock()
        return now < max(occasion.due_at, self._start(now)) + PATIENCE

    def _start(self, now: datetime) -> datetime:
        """When this desk was first asked, or its clock set back; the network may come up later."""
        if self._started is None or now < self._started:
            self._started = now
        return self._started

    def _watch_or_own_up(self) -> None:
        """Watch; a defect of ours in it must not hold up what waits for delivery."""
        try:
            self.watch()
        except LedgerError:
            raise
        except Exception:
            log.exception("alarm.failed")

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
