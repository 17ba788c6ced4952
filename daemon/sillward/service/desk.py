"""The desk of one household: what is done at each tick.

A desk has no thread and no clock of its own. It is level-triggered: each tick asks the ledger what
is due and not yet told, so that a late, doubled or lost tick does no harm.
"""

import logging
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from time import perf_counter
from typing import Self

from sillward.config.household import Household
from sillward.errors import LedgerError
from sillward.ledger import Alarm
from sillward.service import accepted_limits, due_rounds
from sillward.service.absences import Absences
from sillward.service.alarm_monitor import AlarmMonitor
from sillward.service.coldest_nights import ColdestNights
from sillward.service.context import ServiceContext
from sillward.service.corrections import Corrections
from sillward.service.damage_watch import DamageWatch
from sillward.service.defects import Defects
from sillward.service.due_rounds import Occasion
from sillward.service.health import troubles
from sillward.service.ledger_upkeep import LedgerUpkeep
from sillward.service.notice_wording import NoticeWording
from sillward.service.outbox import Outbox
from sillward.service.reading_review import ReadingReview
from sillward.service.reminders import Reminders
from sillward.service.round_teller import RoundTeller
from sillward.service.sensor_readings import SensorReadings
from sillward.service.server_alarm import ServerAlarm
from sillward.service.weekly_mail import WeeklyMail
from sillward_rules.sheet import Sheet
from sillward_rules.weather.site import Site

PATIENCE = timedelta(minutes=20)
"""A round that is due while there is no usable forecast waits this long for one."""

EARLIEST = datetime(2026, 1, 1, tzinfo=UTC)
"""A clock that shows an earlier time has not been set: the first version is younger."""

MAX_LEDGER_FAILURES = 2
"""After this many ticks in a row in which the ledger failed, the desk goes on without its file."""

log = logging.getLogger(__name__)


@dataclass(slots=True)
class Desk:
    """The service of one household: its context and its parts."""

    context: ServiceContext
    rounds: RoundTeller
    outbox: Outbox
    alarms: AlarmMonitor
    corrections: Corrections
    reminders: Reminders
    absences: Absences
    weekly_mail: WeeklyMail
    sensors: SensorReadings
    reading_review: ReadingReview
    damage_watch: DamageWatch
    coldest_nights: ColdestNights
    upkeep: LedgerUpkeep
    defects: Defects
    started_at: datetime | None = None
    """When it ticked first, or first at this place: forecasts are waited for from then on."""
    _ledger_failures: int = 0
    _server_alarm: ServerAlarm | None = None
    """Once the server of the ledger was away; a file never is."""

    @classmethod
    def of(cls, context: ServiceContext) -> Self:
        """Build a desk with all its parts."""
        defects = Defects()
        weekly_mail = WeeklyMail(context)
        return cls(
            context,
            RoundTeller(context, defects),
            Outbox(context, NoticeWording(context, weekly_mail), defects),
            AlarmMonitor(context),
            Corrections(context),
            Reminders(context),
            Absences(context),
            weekly_mail,
            SensorReadings(context),
            ReadingReview(context),
            DamageWatch(context),
            ColdestNights(context),
            LedgerUpkeep(context.ledger),
            defects,
        )

    # -- the tick

    def tick(self) -> None:
        """Do what is due. What fails is logged and tried again at the next tick.

        If the ledger cannot be written the desk goes on in memory: notices are still sent. One on
        a server cannot: then the grower is told that nothing is sent.
        """
        began_s = perf_counter()
        self._do_even_without_file()
        self.context.run.tally.work_s.add(perf_counter() - began_s)

    def _do_even_without_file(self) -> None:
        if self._do_with_ledger() or self.context.ledger.in_memory:
            if self._server_alarm is not None:
                self._server_alarm.note_success()
            return
        if not self.context.ledger.file.can_go_to_memory:
            if self._server_alarm is None:
                self._server_alarm = ServerAlarm(self.context)
            self._server_alarm.note_failure(self.context.clock())
            return
        if self._ledger_failures >= MAX_LEDGER_FAILURES:
            self.upkeep.go_to_memory(self.context.clock())
            self._do_with_ledger()

    def _do_with_ledger(self) -> bool:
        """Do what is due. Return whether the ledger could be read and written.

        The defects are those of this attempt: what an attempt before it left undone is done now.
        """
        self.defects.clear()
        try:
            self._do_what_is_due()
        except LedgerError as error:
            self._ledger_failures += 1
            self.defects.add("ledger.failed")
            log.error("ledger.failed reason=%s", error)
            return False
        self._ledger_failures = 0
        return True

    def _do_what_is_due(self) -> None:
        """Take the steps from a forecast to a push; `sillward.service` lists them."""
        context, contained = self.context, self.defects.contained
        now = context.clock()
        self._note_start(now)
        if now < EARLIEST:
            self._tell_clock_is_unset(now)
            return
        with contained("ledger.failed_to_go_back"):
            self.upkeep.go_back_to_file(now)
        with contained("ledger.failed_to_forget"):
            context.ledger.forget_rounds_of_wrong_clock(context.site.name, now)
        with contained("delivery.failed"):
            self.outbox.deliver()  # before a forecast server that may be slow
        context.run.step_done()
        with contained("limits.failed_to_apply"):
            self._look_at_accepted_limits()
        with contained("forecast.failed_to_refresh"):
            context.updater.refresh_due(context.site)
        context.run.step_done()
        with contained("reading.failed"):
            self.sensors.look()
        with contained("reading.failed_to_review"):
            self.reading_review.look()
        with contained("damage.failed_to_look"):
            self.damage_watch.look()
        with contained("absence.failed"):
            self.absences.look()
        with contained("round.failed"):
            self._tell_due_rounds()
        with contained("alarm.failed"):
            self._raise_alarms()
        with contained("change.failed"):
            self.corrections.look()
        with contained("reminder.failed"):
            self.reminders.look()
        context.run.step_done()
        with contained("delivery.failed"):
            self.outbox.deliver()
        with contained("nights.failed"):
            self.coldest_nights.look()
        with contained("ledger.failed_to_prune"):
            self.upkeep.mark_and_prune(context.clock())
        with contained("ledger.failed_to_copy"):
            self.upkeep.copy_or_repair_daily(context.clock())

    def _look_at_accepted_limits(self) -> None:
        """Work with the limits that were accepted, or taken back, on the page or by a command."""
        household = accepted_limits.applied(self.context.household, self.context.ledger)
        if household is not self.context.household:
            self.take_over(household)
            log.info("limits.accepted site=%s", self.context.site.name)

    def _tell_due_rounds(self) -> None:
        """Tell each round that is due, unless a forecast for it may still come."""
        context = self.context
        for occasion in due_rounds.occasions(
            context.site, context.household.rounds, context.clock()
        ):
            has_forecast = context.has_forecast()
            if has_forecast or not self._may_get_forecast(occasion.due_at):
                known = self.corrections.known_for(occasion.day)
                if self.rounds.tell_or_admit_failure(occasion) is not None and has_forecast:
                    self.corrections.note_told(occasion.round, known)
                context.run.step_done()

    def _raise_alarms(self) -> None:
        """Tell what cannot wait for a round."""
        started_at = self.started_at or self.context.clock()
        if self.context.has_forecast() or not self._may_get_forecast(started_at):
            self.alarms.look()
        else:
            self.alarms.look_at_clock_and_ledger()

    def _tell_clock_is_unset(self, now: datetime) -> None:
        """Tell that the clock is not set, and nothing else: no hour can be relied on before it is,
        and what is over cannot be told from what is to come."""
        log.error("clock.unset now=%s", now)
        with self.defects.contained("alarm.failed"):
            self.alarms.tell_clock_is_unset(now)
        with self.defects.contained("delivery.failed"):
            self.outbox.deliver_alarm(Alarm.WRONG_CLOCK)

    def _note_start(self, now: datetime) -> None:
        """Note the first tick of this desk, or the first one after its clock was set back."""
        if self.started_at is None or now < self.started_at:
            self.started_at = now

    def _may_get_forecast(self, due_at: datetime) -> bool:
        """Whether a forecast may still come for what was due at this time.

        The patience begins at the start of the desk at the earliest, since the network may come up
        later than the desk.
        """
        since = max(due_at, self.started_at or due_at)
        return self.context.clock() < since + PATIENCE

    @property
    def is_needed(self) -> bool:
        """Whether it holds what cannot be worked out again from the ledger and the collection."""
        context = self.context
        return (
            context.ledger.in_memory
            or self._ledger_failures > 0
            or bool(context.household.sensors)
            or self.outbox.has_unwritten
        )

    # -- asked for from outside the tick

    def tell(self, occasion: Occasion) -> Sheet | None:
        """Tell a round now, once for each occasion; return None if it has been told before."""
        return self.rounds.tell(occasion)

    def deliver(self, *, ignore_quiet_hours: bool = False) -> int:
        """Send every notice that waits and is due. Return how many could not be sent."""
        return self.outbox.deliver(ignore_quiet_hours=ignore_quiet_hours)

    def take_over(self, household: Household) -> None:
        """Use this collection from now on. What was told is compared with it at the next tick."""
        old_site = self.context.site
        self.context.replace_household(household)
        self.context.updater.replace_site(old_site, household.collection.site)
        if _is_elsewhere(old_site, household.collection.site):
            self.started_at = None  # its forecast is waited for as at a start
        self.corrections.forget_comparisons()
        self.weekly_mail.forget()

    def close(self) -> None:
        """End what runs between the ticks. The last readings are written, if that can be."""
        with self.defects.contained("reading.failed"), suppress(LedgerError):
            self.sensors.close()

    def troubles(self) -> list[str]:
        """Return everything that is wrong at this moment, in words."""
        context, now = self.context, self.context.clock()
        unset = [] if now >= EARLIEST else [f"this machine's clock says {now:%d %b %Y}"]
        defects = [f"{event}: see the log" for event in self.defects.events]
        try:
            others = troubles(
                context.household, context.ledger, context.forecasts, now, context.voice
            )
        except LedgerError as error:
            others = [str(error)]
        return [*unset, *defects, *others]


def _is_elsewhere(before: Site, after: Site) -> bool:
    """Whether a site has been moved: by a metre is enough, as it may be in another cell."""
    return (before.latitude, before.longitude, before.elevation_m) != (
        after.latitude,
        after.longitude,
        after.elevation_m,
    )
