"""What the daemon does: keep a forecast, tell rounds when they are due, deliver what waits.

`Desk` does one thing at a time when asked; it has no thread and no clock of its own. It is
level-triggered: each tick asks "what is due and not yet told?" of the ledger, so a late, doubled
or lost tick harms nothing.
"""

import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from sillward.config.loader import Channel, Household
from sillward.errors import LedgerError
from sillward.ledger import Notice
from sillward.ledger.chore_codec import of_chore
from sillward.service import due_rounds, weekly_mail
from sillward.service.alarm_monitor import AlarmMonitor
from sillward.service.context import ServiceContext
from sillward.service.corrections import Corrections
from sillward.service.due_rounds import Occasion
from sillward.service.health import TICK_KEPT_EVERY, TICK_MARK, troubles
from sillward.service.outbox import Outbox
from sillward.service.reminders import Reminders
from sillward.wording import follow_up
from sillward.wording.push import Message
from sillward_rules.revision import ORDERS
from sillward_rules.sheet import Round, Sheet
from sillward_rules.transitions import first_states, next_state

PATIENCE = timedelta(minutes=20)
"""A round that is due while there is no usable forecast waits so long for one."""

EARLIEST = datetime(2026, 1, 1, tzinfo=UTC)
"""No clock that is right shows a time before this: the first version is younger."""

MOST_FAILURES = 2
"""Ticks that the ledger fails one after the other before one goes on without its file."""

TRY_FILE_EVERY = timedelta(minutes=10)
"""How often one tries to go back to it. Judgement."""

PRUNE_MARK = "pruned"
"""Under this name it remembers when what is long ago was last forgotten."""

log = logging.getLogger(__name__)


@dataclass(slots=True)
class Desk(ServiceContext):
    """The service of one household, ready to be asked."""

    outbox: Outbox = field(init=False)
    alarms: AlarmMonitor = field(init=False)
    corrections: Corrections = field(init=False)
    reminders: Reminders = field(init=False)
    defects: list[str] = field(default_factory=list)
    """What failed in the last tick, by the names under which the log tells more."""
    _started: datetime | None = None
    _failures: int = 0
    _tried_file: datetime | None = None

    def __post_init__(self) -> None:
        self.outbox, self.alarms = Outbox(self), AlarmMonitor(self)
        self.corrections, self.reminders = Corrections(self), Reminders(self)

    # -- the collection

    def take_over(self, household: Household) -> None:
        """Go by this collection from now on. What was told is compared with it at the next tick."""
        before = self.site
        self.household = household
        self.keeper.replace_site(before, household.collection.site)
        self.corrections.compare_anew()
        self.outbox.weekly.forget()

    # -- rounds

    def tell(self, occasion: Occasion) -> Sheet | None:
        """Work out a round and put its notices down for sending, once for each occasion.

        Return None if that has been done before.
        """
        if self.ledger.round_told_at(self.site.name, occasion.name, occasion.day):
            return None
        usable = self.has_forecast()
        sheet = self.sheet(occasion.round, self.weather())
        week = occasion.round is Round.WEEK  # the sheet that shows that somebody is there
        notices = [
            self._notice(
                channel,
                occasion,
                self._words(channel, occasion, sheet),
                silent=not (week or sheet.chores or sheet.warnings or channel.all_clear),
            )
            for channel in self.listening(occasion.round)
        ]
        if week:  # an outlook: nothing to acknowledge, nothing moves
            self._keep(occasion, notices, usable=usable)
        else:
            # What is still open of an earlier day is written down already.
            chores = [
                of_chore(chore, self.site)
                for chore in sheet.chores
                if chore.overdue_since is None or chore.id >= str(occasion.day)
            ]
            self._keep(occasion, notices, chores, sheet, usable=usable)
        log.info(
            "round.told round=%s day=%s chores=%d",
            occasion.round.value,
            occasion.day,
            len(sheet.chores),
        )
        return sheet

    def _words(self, channel: Channel, occasion: Occasion, sheet: Sheet) -> Message:
        """What a channel is told; if a defect of ours prevents it, its orders in few words."""
        try:
            return self.message(channel, sheet, self._footer(channel, occasion))
        except LedgerError:
            raise
        except Exception:
            self._failed("round.failed_to_word", occasion)
        orders = [one for one in sheet.chores if one.kind in ORDERS]
        if orders and occasion.round is not Round.WEEK:
            try:
                return follow_up.in_few_words(orders, sheet.at, self.voice)
            except Exception:
                self._failed("round.failed_to_word", occasion)
        return self._without_sheet(occasion)

    def _failed(self, event: str, occasion: Occasion) -> None:
        log.exception("%s round=%s day=%s", event, occasion.round.value, occasion.day)
        self.defects.append(event)

    def _without_sheet(self, occasion: Occasion) -> Message:
        voice = self.voice
        title = voice.say("no_sheet", round=occasion.round.value)
        return Message(title, voice.say("without_sheet"))

    def _notice(
        self, channel: Channel, occasion: Occasion, message: Message, *, silent: bool = False
    ) -> Notice:
        until = max(occasion.until, self.clock() + timedelta(minutes=5))
        return self.notice(channel, occasion.name, occasion.day, message, until, silent=silent)

    def _keep(
        self,
        occasion: Occasion,
        notices: list[Notice],
        chores: Sequence[dict[str, Any]] = (),
        sheet: Sheet | None = None,
        *,
        usable: bool,
    ) -> None:
        known = self.ledger.states(self.site.name)
        self.ledger.keep_round(
            self.site.name,
            occasion.name,
            occasion.day,
            self.clock() if sheet is None else sheet.at,
            notices=notices,
            chores=chores,
            states={} if sheet is None else first_states(known, sheet),
            after={} if sheet is None else next_state(known, sheet),
            usable=usable,
        )

    def _footer(self, channel: Channel, occasion: Occasion) -> list[str]:
        """What else a week sheet tells a channel."""
        if occasion.round is not Round.WEEK:
            return []
        return weekly_mail.footer(self, occasion.day, mail=channel.full_mail)

    def deliver(self, *, by_hand: bool = False) -> int:
        """Send every notice that waits and is due. Return how many could not be sent."""
        return self.outbox.deliver(by_hand=by_hand)

    def watch(self) -> None:
        """Tell what cannot wait for a round."""
        now = self.clock()
        self.alarms.look(patient=now < self._start(now) + PATIENCE)

    def troubles(self) -> list[str]:
        """All that is wrong just now."""
        now = self.clock()
        unset = [] if now >= EARLIEST else [f"this machine's clock says {now:%d %b %Y}"]
        mine = [f"{one}: see the log" for one in self.defects]
        return [*unset, *mine, *troubles(self.household, self.keeper.shelf, now, self.voice)]

    # -- the tick

    def tick(self) -> None:
        """Do what is due. What fails is logged and tried again at the next tick.

        With a ledger that cannot be written it goes on in memory: notices still go out.
        """
        self.defects = []
        try:
            self._tick()
            self._failures = 0
        except LedgerError as error:
            self._failures += 1
            self.defects.append("ledger.failed")
            log.error("ledger.failed reason=%s", error)
            if self._failures < MOST_FAILURES or self.ledger.afloat:
                return
            log.error("ledger.afloat: nothing can be written; going on in memory")
            self.ledger.to_memory()
            self._tried_file = self.clock()
            self.tick()

    def _tick(self) -> None:
        now = self.clock()
        self._start(now)
        if now < EARLIEST:
            self._tick_without_clock(now)
            return
        self._back_to_file(now)
        self.ledger.disown(self.site.name, now)
        self.deliver()  # first what waits: a server that dawdles must not hold it up
        self.working()
        self._guarded("forecast.failed_to_refresh", self._refresh)
        self.working()
        for occasion in due_rounds.occasions(self.site, self.household.rounds, self.clock()):
            if self.has_forecast() or not self._patient(occasion):
                self._tell_or_own_up(occasion)
                self.working()
        self._guarded("alarm.failed", self.watch)
        self._guarded("change.failed", self.corrections.look)
        self._guarded("reminder.failed", self.reminders.look)
        self.working()
        self.deliver()
        self._keep_house(self.clock())
        self._copy_ledger(self.clock())

    def _refresh(self) -> None:
        """Ask for the forecasts that are due; each call is a step of work."""
        self.keeper.working = self.working
        self.keeper.refresh(self.site)

    def _tick_without_clock(self, now: datetime) -> None:
        """Before the clock is set no hour is right, and what is over cannot be told from what is
        to come: nothing is told but that."""
        log.error("clock.unset now=%s", now)
        self.alarms.look_at_clock(now, unset=True)
        self.outbox.deliver(only="clock")

    def _back_to_file(self, now: datetime) -> None:
        """Try to go back to the file of the ledger, every now and then."""
        if not self.ledger.afloat:
            return
        tried = self._tried_file
        if tried is None or not timedelta(0) <= now - tried < TRY_FILE_EVERY:
            self._tried_file = now
            if self.ledger.to_file():
                log.warning("ledger.back: its file can be written again")

    def _keep_house(self, now: datetime) -> None:
        """Now and then: a copy of the ledger, and away with what is long ago."""
        tick, pruned = self.ledger.mark_of(TICK_MARK), self.ledger.mark_of(PRUNE_MARK)
        if tick is None or not timedelta(0) <= now - tick.at < TICK_KEPT_EVERY:
            self.ledger.mark(TICK_MARK, now, "")
        if pruned is None or not timedelta(0) <= now - pruned.at < timedelta(days=1):
            self.ledger.mark(PRUNE_MARK, now, "")
            self.ledger.prune(now)

    def _copy_ledger(self, now: datetime) -> None:
        """Copy the ledger once a day; if it is found damaged, set that right at once."""
        try:
            self.ledger.copy_daily(now)
        except LedgerError as error:
            log.error("ledger.failed reason=%s", error)
            self.ledger.to_memory()
            self.ledger.to_file()

    def _patient(self, occasion: Occasion) -> bool:
        """Whether to wait for a forecast a little longer: after the due hour, after the start."""
        now = self.clock()
        return now < max(occasion.due_at, self._start(now)) + PATIENCE

    def _start(self, now: datetime) -> datetime:
        """When this desk was first asked, or its clock set back; the network may come up later."""
        if self._started is None or now < self._started:
            self._started = now
        return self._started

    def _guarded(self, event: str, work: Callable[[], None]) -> None:
        """Do it; a defect of ours in it must hold up nothing else."""
        try:
            work()
        except LedgerError:
            raise
        except Exception:
            log.exception(event)
            self.defects.append(event)

    def _tell_or_own_up(self, occasion: Occasion) -> None:
        """Tell a round; if a defect of ours prevents it, say that rather than nothing."""
        try:
            self.tell(occasion)
        except LedgerError:
            raise
        except Exception:
            self._failed("round.failed", occasion)
            words = self._without_sheet(occasion)
            notices = [
                self._notice(channel, occasion, words) for channel in self.listening(occasion.round)
            ]
            self._keep(occasion, notices, usable=False)
