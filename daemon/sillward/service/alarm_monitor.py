"""Alarms: what cannot wait for a round. Each is told once, and again on every day that it lasts."""

import logging
from collections.abc import Callable
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial

from sillward.ledger import Alarm, Subject
from sillward.ledger.merging import HISTORY_RESET
from sillward.service.absences import unreached
from sillward.service.context import ServiceContext
from sillward.wording import alarms
from sillward.wording.push import Message
from sillward_rules.sheet import Round
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import Freshness

ALARM_GOOD_FOR = timedelta(hours=12)
"""An alarm is tried to be sent for this long; the next day's takes its place."""

FOR_HELPERS = frozenset({Alarm.NO_FORECAST, Alarm.WRONG_CLOCK})
"""Alarms that those are told too who look after the plants for some days: they change what is to be
done this evening. The others are about a machine that is not theirs. Judgement."""

Words = Callable[[], Message]
"""Words an alarm when it is told."""

log = logging.getLogger(__name__)


def blind(context: ServiceContext) -> Message:
    """Return what the alarm that there is no forecast says now."""
    best = context.forecasts.best(context.site)
    sheet, trouble = context.sheet(Round.DUSK, context.weather()), context.forecasts.trouble()
    why = None if trouble is None else context.voice.retold(trouble)
    if best is None:
        return alarms.blind(sheet, None, why, context.voice)
    why = why or context.voice.say("nothing_new", source=best.source.name)
    # A forecast that a source repeats day after day is fetched again, but is no newer for that.
    since = best.weather.issued_at or best.saved.fetched_at
    return alarms.blind(sheet, since, why, context.voice)


@dataclass(frozen=True, slots=True)
class _Episode:
    """A state that a grower must hear of, as it is now.

    While it lasts the ledger has a mark of it, and an alarm is told each day; its end is told once.
    """

    kind: Alarm
    words: Words | None
    """The alarm, or None if the state does not last (any more)."""
    end: Words
    """The message at its end."""
    was_said: bool = False
    """Whether a round has told of it today."""
    may_end: bool = True
    """Whether it is over for good if it does not last; otherwise its end is not told yet."""


@dataclass(slots=True)
class AlarmMonitor:
    """Looks for states that a grower must hear of, and enqueues their alarms."""

    context: ServiceContext

    def look(self) -> None:
        """Tell what cannot wait: no forecast, a wrong clock, a ledger in trouble.

        None of it is told at night: what the dusk round said holds.
        """
        now = self.context.clock()
        if self._is_by_day(now):
            self._look_at_forecast(now)
        self.look_at_clock_and_ledger()

    def look_at_clock_and_ledger(self) -> None:
        """Tell what cannot wait, but not that there is no forecast: one may come in a moment."""
        now = self.context.clock()
        if self._is_by_day(now):
            self._look_at_clock(now)
            self._look_at_ledger(now)
            self._look_at_helpers(now)

    def tell_clock_is_unset(self, now: datetime) -> None:
        """Tell that the clock shows a time before the first version of sillward."""
        self._tell_of_clock(f"this machine's clock says {now:%d %b %Y}: it has not been set", now)

    def _look_at_forecast(self, now: datetime) -> None:
        context = self.context
        today = context.site.local_date(now)
        # Once the dusk round is told, it has said what is to do tonight.
        dusk_enqueued_at = context.ledger.rounds.enqueued_at(
            context.site.name, Round.DUSK.value, today
        )
        episode = _Episode(
            Alarm.NO_FORECAST,
            None if context.has_forecast() else partial(blind, context),
            self._end_of_no_forecast,
            was_said=dusk_enqueued_at is not None,
            may_end=self._has_fresh_forecast(),
        )
        self._follow(episode, now)

    def _look_at_clock(self, now: datetime) -> None:
        """Tell that this machine's clock is wrong, or is right again."""
        self._tell_of_clock(self.context.forecasts.clock_doubt(), now)

    def _tell_of_clock(self, doubt: str | None, now: datetime) -> None:
        voice = self.context.voice
        alarm = None if doubt is None else partial(alarms.doubtful_clock, doubt, voice)
        episode = _Episode(Alarm.WRONG_CLOCK, alarm, partial(alarms.right_clock, voice))
        self._follow(episode, now)

    def _look_at_ledger(self, now: datetime) -> None:
        ledger, voice = self.context.ledger, self.context.voice
        alarm = partial(alarms.no_ledger, voice) if ledger.in_memory else None
        episode = _Episode(Alarm.NO_LEDGER, alarm, partial(alarms.ledger_back, voice))
        self._follow(episode, now)
        reset = ledger.marks.get(HISTORY_RESET)
        if reset is None:
            return
        told_mark = f"{HISTORY_RESET}, {self.context.site.name}"
        told = ledger.marks.get(told_mark)
        if told is None or told.at != reset.at:
            words = partial(alarms.history_reset, reset.text, voice)
            self._alarm(Subject(Alarm.HISTORY_RESET), now, words)
            ledger.marks.set(told_mark, reset.at, "told")

    def _look_at_helpers(self, now: datetime) -> None:
        """Tell the household that somebody who is to look after the plants cannot be told."""
        context, voice = self.context, self.context.voice
        mark = f"{Alarm.HELPER_UNREACHED}, {context.site.name}"
        if context.helpers(context.day):
            missing = unreached(context.household, context.ledger, now)
            alarm = partial(alarms.helper_unreached, missing, voice) if missing else None
            end = partial(alarms.helper_reached, voice)
            self._follow(_Episode(Alarm.HELPER_UNREACHED, alarm, end), now)
        elif context.ledger.marks.get(mark) is not None:
            context.ledger.marks.remove(mark)

    def tell_at_once(self, alarm: Alarm, at: datetime, words: Message) -> None:
        """Tell something that the grower has just caused, at any hour, once for each time `at`."""
        subject = Subject(alarm, time=f"{at:%H:%M:%S}")
        self._alarm(subject, self.context.clock(), lambda: words)

    def _follow(self, episode: _Episode, now: datetime) -> None:
        """Tell the alarm of a state while it lasts, and its end."""
        ledger, site = self.context.ledger, self.context.site
        mark = f"{episode.kind}, {site.name}"
        since = ledger.marks.get(mark)
        if episode.words is not None:
            if since is None:
                ledger.marks.set(mark, now, "")
            if not episode.was_said:
                self._alarm(Subject(episode.kind), now, episode.words)
        elif since is not None and episode.may_end:
            # The network that brings the forecast brings notices too: what still waits is untrue
            # now, and a channel that never heard of the trouble need not hear of its end.
            may_have_arrived = ledger.notices.withdraw(
                site.name, episode.kind, site.local_date(since.at)
            )
            uninformed = {channel for channel, arrived in may_have_arrived.items() if not arrived}
            self._alarm(Subject(episode.kind, is_over=True), now, episode.end, uninformed)
            ledger.marks.remove(mark)

    def _alarm(
        self,
        subject: Subject,
        now: datetime,
        words: Words,
        without: AbstractSet[str] = frozenset(),
    ) -> None:
        """Enqueue an alarm, once a day. without: names of channels that do not get it."""
        context = self.context
        name, day = str(subject), context.site.local_date(now)
        if context.ledger.rounds.enqueued_at(context.site.name, name, day) is not None:
            return
        message = words()
        notices = [
            context.notice(channel, name, day, message, now + ALARM_GOOD_FOR)
            for channel in context.alarmed(context.day, helpers=subject.kind in FOR_HELPERS)
            if channel.name not in without
        ]
        context.ledger.keep_round(
            context.site.name, name, day, now, notices=notices, chores=[], states_now={}
        )
        log.warning("alarm.told kind=%s day=%s", name, day)

    def _end_of_no_forecast(self) -> Message:
        context = self.context
        return alarms.forecast_back(context.sheet(Round.DUSK, context.weather()), context.voice)

    def _has_fresh_forecast(self) -> bool:
        """Whether there is a forecast for hours to come: one nearly too old would come and go."""
        best = self.context.forecasts.best(self.context.site)
        return best is not None and best.weather.freshness(self.context.clock()) is Freshness.FRESH

    def _is_by_day(self, now: datetime) -> bool:
        """Whether it is between sunrise and the end of the usual time for carrying in."""
        collection = self.context.household.collection
        events = sun.day_events(collection.site, collection.site.local_date(now))
        return events.sunrise <= now <= events.sunset + collection.habits.latest_after_sunset
