"""The words of a notice, found at the moment at which it is sent.

A notice is stored with the words of the moment at which it was written. By the time it is sent an
order may have been confirmed, its hour may be near or past, and a newer forecast may have changed
it. Each stage of a notice has one method here, which returns what the notice has to say now.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from sillward.config.channel import Channel
from sillward.ledger import Alarm, Notice, NoticeState, Stage, StoredChore, Subject
from sillward.service.alarm_monitor import blind
from sillward.service.context import ServiceContext
from sillward.service.corrections import is_done, save_revision
from sillward.service.weekly_mail import WeeklyMail
from sillward.wording import follow_up
from sillward.wording.push import Message
from sillward_rules.chore import URGENT, Chore, only
from sillward_rules.revision import Revision
from sillward_rules.sheet import Round, Sheet
from sillward_rules.told_orders import RoundInForce

LOST_ROUND_TOLD_WITHIN = timedelta(hours=36)
"""A round that could not be sent is mentioned in the next one, if that comes this soon."""


@dataclass(slots=True)
class NoticeWording:
    """Finds the words of notices that are about to be sent."""

    context: ServiceContext
    weekly_mail: WeeklyMail

    def message_now(self, notice: Notice, channel: Channel) -> Message | None:
        """Return what a notice says if it is sent now, or None if it is not needed any more."""
        subject = notice.subject
        if subject.round is Round.WEEK and channel.full_mail:
            return self._of_week_mail(notice)
        if subject == Subject(Alarm.NO_FORECAST):
            return self._of_blind_alarm(notice)
        if subject.daily_round is None:
            return stored_message(notice)
        if self.context.is_told_nothing(channel, day_of(notice)):  # the helper has been thanked
            return None
        return _BY_STAGE[notice.stage](self, notice, channel)

    def forget_old(self) -> None:
        """Drop the week's mail that was kept for other channels, if that was a while ago."""
        self.weekly_mail.forget_old()

    # -- outside the daily rounds

    def _of_week_mail(self, notice: Notice) -> Message:
        mail = self.weekly_mail.mail(day_of(notice))
        self.context.run.step_done()
        return mail

    def _of_blind_alarm(self, notice: Notice) -> Message:
        """Return the newest words that there is no forecast, or the old ones if there is one."""
        return stored_message(notice) if self.context.has_forecast() else blind(self.context)

    # -- a stage each

    def _of_round(self, notice: Notice, channel: Channel) -> Message:
        """Return a round as it was told, or drawn up again, or the news that it was missed."""
        written_at = self._written_at(notice)
        orders = self._orders_since(notice, written_at)
        if self._are_missed(orders):
            return self._missed(orders)
        redrawn = None
        if not notice.perhaps_sent:
            redrawn = self._redrawn(notice, channel, orders, written_at)
        if redrawn is not None:
            orders = self._orders_since(notice, written_at)
        worded_at = written_at if redrawn is None else self.context.clock()
        message = redrawn or stored_message(notice)
        return self._with_lost_round(notice, channel, self._timed(message, orders, worded_at))

    def _of_change(self, notice: Notice, channel: Channel) -> Message:
        """Return a change or an alarm as it was told, with the time left until the deadlines that
        it set."""
        written_at = self._written_at(notice)
        orders = self._orders_since(notice, written_at)
        if self._are_missed(orders):
            return self._missed(orders)
        deadlines = self._changed_deadlines(notice, written_at)
        changed = [chore for chore in orders if chore.before in deadlines]
        message = self._timed(stored_message(notice), changed, written_at)
        return self._with_lost_round(notice, channel, message)

    def _of_call_off(self, notice: Notice, _channel: Channel) -> Message:
        """Return a call-off as it was written: it has no hour that could have come near."""
        return stored_message(notice)

    def _of_reminder(self, notice: Notice, channel: Channel) -> Message | None:
        """Return the orders that are still open, in words of now, or None if none is."""
        context, now = self.context, self.context.clock()
        orders = orders_of(context, notice)
        if not orders:  # confirmed, or called off, in the meantime
            return None
        passed_on = notice.stage is Stage.PASSED_ON
        linked = context.links is not None
        message = follow_up.reminder(orders, now, context.voice, passed_on=passed_on, linked=linked)
        if any(chore.kind not in URGENT for chore in orders):  # a list, as it was asked for
            return self._with_lost_round(notice, channel, message)
        if all(chore.before > now for chore in orders):  # else its words say how late it is
            message = self._timed(message, orders, self._written_at(notice))
        return self._with_lost_round(notice, channel, message)

    # -- what the stages have in common

    def _written_at(self, notice: Notice) -> datetime | None:
        ledger, site = self.context.ledger, self.context.site
        return ledger.rounds.enqueued_at(
            site.name, notice.round, day_of(notice), notice.change_number
        )

    def _orders_since(self, notice: Notice, since: datetime | None) -> list[Chore]:
        """Return the open orders due after this; earlier ones were told in time before."""
        orders = orders_of(self.context, notice)
        return [chore for chore in orders if since is None or chore.before >= since]

    def _are_missed(self, orders: Sequence[Chore]) -> bool:
        """Whether the deadlines of all orders are so long past that "now" would be wrong."""
        latest = max((chore.before for chore in orders), default=None)
        return latest is not None and self.context.clock() > latest + follow_up.LATE

    def _missed(self, orders: Sequence[Chore]) -> Message:
        return follow_up.missed(orders, self.context.clock(), self.context.voice)

    def _timed(
        self, message: Message, orders: Sequence[Chore], worded_at: datetime | None
    ) -> Message:
        """Return the message with the time that is left, urgent if that is little.

        worded_at: when the message got its words. If an order was due then, they say "now" already.
        """
        now = self.context.clock()
        deadlines = [chore.before for chore in orders]
        ahead = [deadline for deadline in deadlines if deadline > now - follow_up.LATE]
        if not ahead:
            return message
        message = replace(message, urgent=min(ahead) - now <= follow_up.SOON)
        if worded_at is not None and min(deadlines) > worded_at:
            message = follow_up.in_time(message, min(deadlines), now, self.context.voice)
        return message

    def _redrawn(
        self,
        notice: Notice,
        channel: Channel,
        orders: Sequence[Chore],
        written_at: datetime | None,
    ) -> Message | None:
        """Return the round drawn up again if it has changed, or is old and its hours still lie
        ahead; else None."""
        context, round_ = self.context, notice.subject.daily_round
        now = context.clock()
        is_old = written_at is not None and now - written_at > follow_up.STALE_WORDS
        is_ahead = all(chore.before > now for chore in orders)
        has_changed = (
            context.ledger.rounds.change_count(context.site.name, notice.round, day_of(notice)) > 0
        )
        is_outdated = has_changed or (is_old and is_ahead)
        if round_ is None or not is_outdated or not context.has_forecast():
            return None
        sheet = context.sheet(round_, context.weather())
        self._save_new_orders(notice, round_, sheet)
        return context.message(channel, _with_orders(sheet, orders))

    def _save_new_orders(self, notice: Notice, round_: Round, sheet: Sheet) -> None:
        """Write the orders of a sheet that the ledger does not have, since it is about to be sent.

        They are those that were not worth a correction when the newest forecast came.
        """
        context, day, states = self.context, day_of(notice), self.context.states()
        known = {
            (chore.kind, name)
            for chore in context.ledger.chores.of_day(context.site.name, day)
            if chore.round == notice.round
            for name in chore.plants
            if chore.open or is_done(chore, states.get(name))
        }
        added = [
            only(chore, names)
            for chore in sheet.chores
            if chore.kind in URGENT
            and chore.overdue_since is None
            and (names := [name for name in chore.plants if (chore.kind, name) not in known])
        ]
        if added:
            told = RoundInForce(round_, day, notice.expires_at)
            save_revision(context, told, sheet, Revision(added=tuple(added)))

    def _changed_deadlines(self, notice: Notice, since: datetime | None) -> set[datetime]:
        """Return the deadlines that a change, or a later one, has set."""
        return {
            chore.before
            for chore in _open_chores(self.context, notice)
            if since is not None and chore.changed_at is not None and chore.changed_at >= since
        }

    def _with_lost_round(self, notice: Notice, channel: Channel, message: Message) -> Message:
        """Return the message, with a first line if the round before could not be sent."""
        context, now = self.context, self.context.clock()
        notices = context.ledger.notices.latest(context.site.name, channel=channel.name)
        last_sent = max((other.sent_at for other in notices if other.sent_at), default=None)
        lost = [
            other
            for other in notices
            if other.state is NoticeState.EXPIRED
            and other.subject.daily_round is not None
            and other.stage is Stage.TOLD
            and other.key != notice.key
            and now - LOST_ROUND_TOLD_WITHIN < other.expires_at <= now
            and (last_sent is None or other.expires_at > last_sent)
        ]
        if not lost:
            return message
        line = context.voice.say("not_sent", round=lost[0].round, day=day_of(lost[0]))
        # It goes first: where not all lines fit, the last ones are cut.
        return replace(message, body=f"{context.voice.say('watch_out', text=line)}\n{message.body}")


_StageWording = Callable[[NoticeWording, Notice, Channel], Message | None]

_BY_STAGE: dict[Stage, _StageWording] = {
    Stage.TOLD: NoticeWording._of_round,
    Stage.CHANGE: NoticeWording._of_change,
    Stage.ALARM: NoticeWording._of_change,
    Stage.CALL_OFF: NoticeWording._of_call_off,
    Stage.REMINDER: NoticeWording._of_reminder,
    Stage.PASSED_ON: NoticeWording._of_reminder,
}


def _with_orders(sheet: Sheet, orders: Sequence[Chore]) -> Sheet:
    """Return the sheet with these orders, for the plants for which it has no such order itself.

    An order that a newer forecast did not call off stands, though it may just not be needed.
    """
    named = {(chore.kind, name) for chore in sheet.chores for name in chore.plants}
    lacking = [
        only(order, names)
        for order in orders
        if (names := [name for name in order.plants if (order.kind, name) not in named])
    ]
    chores = sorted([*sheet.chores, *lacking], key=lambda chore: chore.before)
    return replace(sheet, chores=tuple(chores)) if lacking else sheet


def stored_message(notice: Notice) -> Message:
    """Return the words that a notice was written with."""
    return Message(notice.title, notice.body)


def orders_of(context: ServiceContext, notice: Notice) -> list[Chore]:
    """Return the open orders that a notice is about, without plants that were removed.

    A reminder says nothing of what the grower has put off since, and names also other chores of
    which the grower asked to be reminded.
    """
    chores, now = _open_chores(context, notice), context.clock()
    if notice.stage is Stage.REMINDER:
        chores = [
            chore
            for chore in chores
            if chore.reminded_at is not None
            and not chore.is_put_off(now)
            and (chore.kind in URGENT or chore.later_until is not None)
        ]
    else:
        chores = [chore for chore in chores if chore.kind in URGENT]
    if notice.stage is Stage.PASSED_ON:
        chores = [
            chore
            for chore in chores
            if chore.passed_on_at is not None and not chore.is_put_off(now)
        ]
    return [order for chore in chores if (order := context.chore(chore)) is not None]


def was_asked_for(context: ServiceContext, notice: Notice) -> bool:
    """Whether a notice is a reminder for which the grower has asked at this hour."""
    now = context.clock()
    return notice.stage is Stage.REMINDER and any(
        chore.reminded_at is not None and chore.later_until is not None and now >= chore.later_until
        for chore in _open_chores(context, notice)
    )


def _open_chores(context: ServiceContext, notice: Notice) -> list[StoredChore]:
    """Return what is still to do of the round that a notice belongs to."""
    chores = context.ledger.chores.of_day(context.site.name, day_of(notice))
    return [chore for chore in chores if chore.open and chore.round == notice.round]


def day_of(notice: Notice) -> date:
    """Return the day of the round that a notice belongs to."""
    return date.fromisoformat(notice.day)
