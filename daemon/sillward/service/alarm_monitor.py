"""Alarms: what cannot wait for a round. Each is told once, and again on every day that it lasts."""

import logging
from collections.abc import Callable
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial

from sillward.ledger.merging import HISTORY_RESET
from sillward.service.context import ServiceContext
from sillward.wording import alarms
from sillward.wording.push import Message
from sillward_rules.sheet import Round
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import Freshness

ALARM_GOOD_FOR = timedelta(hours=12)
"""An alarm that could not be sent for so long is told anew by the next day's."""

log = logging.getLogger(__name__)


BLIND = "blind"
"""The alarm that there is no forecast one can go by."""


def blind(context: ServiceContext) -> Message:
    """What that alarm says now."""
    best = context.keeper.shelf.best(context.site)
    sheet, trouble = context.sheet(Round.DUSK, context.weather()), context.keeper.shelf.trouble()
    why = None if trouble is None else context.voice.retold(trouble)
    if best is None:
        return alarms.blind(sheet, None, why, context.voice)
    why = why or context.voice.say("nothing_new", source=best.source.name)
    # What a source repeats day after day is fetched anew, and as old as it was.
    since = best.weather.issued_at or best.stored.fetched_at
    return alarms.blind(sheet, since, why, context.voice)


@dataclass(slots=True)
class AlarmMonitor:
    """Looks for states that a grower must hear of, and puts their alarms down for sending."""

    context: ServiceContext

    def look(self, *, patient: bool) -> None:
        """Tell what cannot wait: nothing known of the weather, a wrong clock, a ledger in trouble.

        That it is over is told once. At night nobody is woken for it: what the dusk round said
        holds. patient: whether a forecast may still come in a moment.
        """
        context = self.context
        now = context.clock()
        if not self._by_day(now):
            return
        sees = context.has_forecast()
        if sees or not patient:
            lasts = None if sees else partial(blind, context)
            # Once the dusk round is told, it has said what is to do tonight.
            today = context.site.local_date(now)
            said = (
                context.ledger.rounds.told_at(context.site.name, Round.DUSK.value, today)
                is not None
            )
            self._episode(BLIND, now, lasts, self._sighted, said=said, ends=self._sees_well())
        self.look_at_clock(now)
        self._look_at_ledger(now)

    def look_at_clock(self, now: datetime, *, unset: bool = False) -> None:
        """Tell that this machine's clock is wrong, or is right again.

        unset: it shows a time at which there was no sillward.
        """
        doubt = self.context.keeper.shelf.clock_doubt()
        if unset:
            doubt = f"this machine's clock says {now:%d %b %Y}: it has not been set"
        doubtful = (
            None if doubt is None else partial(alarms.doubtful_clock, doubt, self.context.voice)
        )
        self._episode("clock", now, doubtful, partial(alarms.right_clock, self.context.voice))

    def tell_at_once(self, kind: str, words: Message) -> None:
        """Tell something that the grower has just caused, at whatever hour.

        kind: names it in the ledger; nothing of that name is told twice on one day.
        """
        self._alarm(kind, self.context.clock(), lambda: words)

    def _look_at_ledger(self, now: datetime) -> None:
        ledger = self.context.ledger
        voice = self.context.voice
        afloat = partial(alarms.no_ledger, voice) if ledger.in_memory else None
        self._episode("ledger", now, afloat, partial(alarms.ledger_back, voice))
        reset, told = ledger.marks.get(HISTORY_RESET), f"{HISTORY_RESET}, {self.context.site.name}"
        if reset is None:
            return
        known = ledger.marks.get(told)
        if known is None or known.at != reset.at:
            self._alarm("history", now, partial(alarms.history_reset, reset.text, voice))
            ledger.marks.set(told, reset.at, "told")

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
        ledger, site = self.context.ledger, self.context.site
        mark = f"{name}, {site.name}"
        since = ledger.marks.get(mark)
        if lasts is not None:
            if since is None:
                ledger.marks.set(mark, now, "")
            if not said:
                self._alarm(name, now, lasts)
        elif since is not None and ends:
            # The network that brings the forecast brings notices too: what still waits is untrue
            # now, and who never heard of the trouble need not hear of its end.
            reached = ledger.notices.withdraw(site.name, name, site.local_date(since.at))
            deaf = {channel for channel, told in reached.items() if not told}
            self._alarm(f"{name} over", now, over, deaf)
            ledger.marks.remove(mark)

    def _alarm(
        self,
        kind: str,
        now: datetime,
        words: Callable[[], Message],
        without: AbstractSet[str] = frozenset(),
    ) -> None:
        """Put an alarm down for sending, once a day; not to the channels without."""
        context = self.context
        day = context.site.local_date(now)
        if context.ledger.rounds.told_at(context.site.name, kind, day) is not None:
            return
        message = words()
        notices = [
            context.notice(channel, kind, day, message, now + ALARM_GOOD_FOR)
            for channel in context.alarmed()
            if channel.name not in without
        ]
        context.ledger.keep_round(
            context.site.name, kind, day, now, notices=notices, chores=[], states={}
        )
        log.warning("alarm.told kind=%s day=%s", kind, day)

    def _sighted(self) -> Message:
        context = self.context
        return alarms.sighted(context.sheet(Round.DUSK, context.weather()), context.voice)

    def _sees_well(self) -> bool:
        """Whether what is held will do for hours: one that is nearly too old would come and go."""
        best = self.context.keeper.shelf.best(self.context.site)
        return best is not None and best.weather.freshness(self.context.clock()) is Freshness.FRESH

    def _by_day(self, now: datetime) -> bool:
        """Whether it is between sunrise and the end of the usual time for carrying in."""
        collection = self.context.household.collection
        events = sun.day_events(collection.site, collection.site.local_date(now))
        return events.sunrise <= now <= events.sunset + collection.habits.latest_after_sunset
