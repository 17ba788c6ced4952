"""Reminders: an order that nobody has acknowledged is repeated once, then told to the next."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from sillward.config.household import Channel
from sillward.ledger import Notice, NoticeState, Stage, StoredChore
from sillward.ledger.records import to_text
from sillward.service.context import ServiceContext
from sillward.service.corrections import told_rounds
from sillward.wording import follow_up, phrases
from sillward_rules.chore import ChoreKind
from sillward_rules.revision import ORDERS
from sillward_rules.sheet import Round

BREATH = timedelta(minutes=15)
"""Nobody is reminded sooner than this after having been told. Judgement."""

ANSWER = timedelta(minutes=5)
"""So long who has been told has to acknowledge before the next is told. Judgement."""

SILENT_DAYS = timedelta(days=7)
"""Who has acknowledged nothing for so long is not in the habit of it. Judgement."""

_FIRST_HAND = frozenset({Stage.TOLD, Stage.CHANGE})


@dataclass(frozen=True, slots=True)
class _Told:
    """A round that was told, with its open orders and all its notices. until: it is worth that."""

    round: Round
    day: date
    until: datetime
    orders: Sequence[StoredChore]
    notices: Sequence[Notice]

    def at(self, order: StoredChore) -> datetime | None:
        """When somebody was first told of an order, at its present hour; None: nobody was."""
        changed = order.document.get("changed", "")
        sent = [one.sent_at for one in self.notices if one.sent_at and one.stage in _FIRST_HAND]
        return min((at for at in sent if to_text(at) >= changed), default=max(sent, default=None))


@dataclass(slots=True)
class Reminders:
    """Looks for orders that are overdue, or whose deadline comes near, and that are still open."""

    context: ServiceContext

    def look(self) -> None:
        """Put down the reminders that are due now."""
        context = self.context
        now, site = context.clock(), context.site.name
        for round_, day, until in told_rounds(context, now):
            orders = [
                one
                for one in context.ledger.chores.of_day(site, day)
                if one.open
                and one.round == round_.value
                and ChoreKind(one.kind) in ORDERS
                and (one.before > now or _still_helps(one, now))
                and context.chore(one) is not None
            ]
            if orders:
                notices = context.ledger.notices.of_round(site, round_.value, day, stage=None)
                told = _Told(round_, day, until, orders, notices)
                self._remind(told)
                self._pass_on(told)

    def _remind(self, told: _Told) -> None:
        context, ahead = self.context, self.context.household.policy.remind
        first_hand = [one for one in told.notices if one.stage != Stage.PASSED_ON]
        sent = [one.sent_at for one in first_hand if one.sent_at is not None]
        if ahead is None or not sent or context.clock() - max(sent) < BREATH:
            return
        due = _due(
            [one for one in told.orders if one.reminded_at is None],
            lambda one: self._is_due(one, self._counted_from(told, one, BREATH) - ahead),
        )
        if not due:
            return
        reached = {one.channel for one in first_hand if one.state is NoticeState.SENT}
        counts = context.ledger.notices.count_by_channel(
            context.site.name, told.round.value, told.day
        )
        # What is still to do may use the messages that are kept for it.
        able = [
            one
            for one in context.household.channels
            if one.name in reached
            and counts.get(one.name, 0) < context.household.policy.max_messages
        ]
        notices = self._notices(able, told, due, Stage.REMINDER)
        ids = [one.id for one in due]
        context.ledger.enqueue(context.site.name, context.clock(), notices, reminded=ids)

    def _pass_on(self, told: _Told) -> None:
        """To the first channel that takes alarms and has heard nothing of this round."""
        context, policy = self.context, self.context.household.policy
        now, names = context.clock(), {one.name for one in context.household.channels}
        on_their_way = any(
            one.state is NoticeState.WAITING and not one.attempts and one.channel in names
            for one in told.notices
        )
        sent = [one.sent_at for one in told.notices if one.sent_at and one.stage in _FIRST_HAND]
        if policy.pass_on is None or on_their_way or any(now - at < ANSWER for at in sent):
            return
        ahead, deaf = policy.pass_on, not any(one.state is NoticeState.SENT for one in told.notices)
        if deaf:  # nobody could be reached so far
            ahead = max(ahead, policy.remind or ahead)
        elif self._says_nothing(told.day):
            return
        due = _due(
            [one for one in told.orders if one.passed_on_at is None],
            lambda one: self._is_due(
                one, self._counted_from(told, one, ANSWER) - ahead, anyhow=deaf
            ),
        )
        if not due:
            return
        heard = {one.channel for one in told.notices}
        others = [
            one
            for one in context.household.channels
            if "alarm" in one.rounds and one.name not in heard
        ]
        notices = self._notices(others[:1], told, due, Stage.PASSED_ON)
        ids = [one.id for one in due]
        context.ledger.enqueue(context.site.name, context.clock(), notices, passed_on=ids)

    def _counted_from(self, told: _Told, order: StoredChore, least: timedelta) -> datetime:
        """The hour that a reminder of an order is counted back from: its deadline.

        Where that left less than this time to follow it, the reminder comes as long after the
        order was told as it would have come before its deadline, and it is passed on after that.
        """
        policy, told_at = self.context.household.policy, told.at(order)
        ahead = policy.remind or policy.pass_on
        if told_at is None or ahead is None or order.before > told_at + least:
            return order.before
        return told_at + 2 * ahead

    def _says_nothing(self, day: date) -> bool:
        """Whether orders have been told for days and none was acknowledged: then it means nothing
        that this one is not, and nobody else is troubled for it."""
        since = day - SILENT_DAYS
        told = self.context.ledger.rounds.told_at
        regular = any(
            told(self.context.site.name, Round.DUSK.value, since - timedelta(days=one))
            for one in range(3)
        )
        return regular and not self.context.ledger.chores.any_confirmed_since(
            self.context.site.name, since
        )

    def _is_due(self, order: StoredChore, at: datetime, *, anyhow: bool = False) -> bool:
        """Whether the hour to repeat an order has come.

        What would be repeated in quiet hours is repeated before they start or, unless `anyhow`,
        not at all: it has been told. Nor does an order that is overdue disturb them.
        """
        now, quiet = self.context.clock(), self.context.household.rounds.quiet
        earlier = quiet.before(self.context.site, at)
        if anyhow:
            return now >= at
        silent = quiet.until(self.context.site, now) is not None
        if earlier == at:
            return now >= at and not (silent and order.before <= now)
        return earlier <= now <= max(at, order.before) and not silent

    def _notices(
        self, channels: Sequence[Channel], told: _Told, due: Sequence[StoredChore], stage: Stage
    ) -> list[Notice]:
        """The notices about what is due. What is overdue is in them, though it was repeated before:
        it comes first."""
        context, now = self.context, self.context.clock()
        late = [one for one in told.orders if one.before <= now and one not in due]
        chores = [chore for one in (*late, *due) if (chore := context.chore(one)) is not None]
        passed_on = stage is Stage.PASSED_ON
        words = follow_up.reminder(chores, now, context.voice, passed_on=passed_on)
        # Told anew for the same chore only if its hour has become another one.
        of_what = f"{due[0].id[len('2026-01-01-') :]} {due[0].before:%H:%M}"
        name = f"{told.round.value} {stage} {of_what}"
        until = max(one.before for one in due) + follow_up.LATE
        if until <= now + follow_up.LATE:  # overdue: it is of use as long as the round is
            until = max(told.until, until)
        return [
            context.notice(
                channel, name, told.day, words, until, round_=told.round.value, stage=stage
            )
            for channel in channels
        ]


def _still_helps(order: StoredChore, now: datetime) -> bool:
    """Whether following an order that is overdue still does some good, as far as it is known.

    A plant that is too cold is taken in late rather than never; what was to be covered before hail
    or secured before gusts has had them.
    """
    untils = [one.get("until") for one in order.document.get("because", ())]
    over = bool(untils) and all(one and datetime.fromisoformat(one) <= now for one in untils)
    return order.kind == ChoreKind.CARRY_IN.value and not over


def _due(fresh: Sequence[StoredChore], is_due: Callable[[StoredChore], bool]) -> list[StoredChore]:
    """What is due, and what would be due on the same trip."""
    due = [one for one in fresh if is_due(one)]
    if not due:
        return []
    latest: datetime = max(one.before for one in due) + phrases.SAME_TRIP
    return [one for one in fresh if one.before <= latest]
