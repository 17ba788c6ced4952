"""Reminders: an order that nobody has confirmed is repeated once, then told to another channel.

What the grower has put off is repeated when that time has come, and nobody hears of it before.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sillward.config.channel import Channel
from sillward.ledger import Notice, NoticeState, Stage, StoredChore
from sillward.service.context import ALARM, ServiceContext
from sillward.service.round_in_force import round_in_force
from sillward.wording import chore_phrases, follow_up
from sillward_rules.chore import URGENT, ChoreKind
from sillward_rules.sheet import Round
from sillward_rules.told_orders import RoundInForce

MIN_BEFORE_REMINDER = timedelta(minutes=15)
"""A channel is not reminded sooner than this after it was told. Judgement: time to act on it."""

MIN_BEFORE_PASSING_ON = timedelta(minutes=5)
"""A grower who was told has this long to confirm before another channel is told. Judgement."""

UNCONFIRMED_DAYS = timedelta(days=7)
"""A grower who has confirmed nothing for this long does not usually confirm. Judgement."""

REGULAR_WITHIN_DAYS = 3
"""Whether dusk was told regularly that long ago is seen from any of this many days. Judgement."""

_FIRST_HAND = frozenset({Stage.TOLD, Stage.CHANGE, Stage.ALARM})


@dataclass(frozen=True, slots=True)
class _OpenRound:
    """A round that was told, with its open orders and all its notices."""

    told: RoundInForce
    orders: Sequence[StoredChore]
    notices: Sequence[Notice]

    @property
    def first_hand_times(self) -> list[datetime]:
        """When the round, a change of it or an alarm was sent."""
        return [
            notice.sent_at
            for notice in self.notices
            if notice.sent_at is not None and notice.stage in _FIRST_HAND
        ]

    @property
    def has_reached_nobody(self) -> bool:
        """Whether no notice of it has arrived so far."""
        return not any(notice.state is NoticeState.SENT for notice in self.notices)

    def is_untold(self, order: StoredChore) -> bool:
        """Whether plants have joined an order, or its hour has changed, since anybody was told."""
        changed_at = order.changed_at
        return changed_at is not None and all(at < changed_at for at in self.first_hand_times)

    def first_sent_at(self, order: StoredChore) -> datetime | None:
        """Return when an order was first sent with its present hour, or None if it was not."""
        sent, changed_at = self.first_hand_times, order.changed_at
        since = [at for at in sent if changed_at is None or at >= changed_at]
        return min(since, default=max(sent, default=None))


@dataclass(slots=True)
class Reminders:
    """Looks for open orders that are overdue, or whose deadline comes near."""

    context: ServiceContext

    def look(self) -> None:
        """Enqueue the reminders that are due now."""
        told = round_in_force(self.context, self.context.clock())
        if told is None:
            return
        chores, now = self._open_chores(told), self.context.clock()
        orders = [
            chore
            for chore in chores
            if chore.kind in URGENT and (chore.before > now or _still_helps(chore, now))
        ]
        asked_for = [chore for chore in chores if _is_asked_for(chore, now)]
        if not orders and not asked_for:
            return
        notices = self.context.ledger.notices.of_round(
            self.context.site.name, told.round.value, told.day, stage=None
        )
        open_round = _OpenRound(told, orders, notices)
        if asked_for:
            self._remind_as_asked(open_round, asked_for)
        if orders:
            self._remind(open_round)
            self._pass_on(open_round)

    def _open_chores(self, told: RoundInForce) -> list[StoredChore]:
        """Return the chores of a round that are open, and not put off."""
        context, now = self.context, self.context.clock()
        return [
            chore
            for chore in context.ledger.chores.of_day(context.site.name, told.day)
            if chore.open
            and chore.round == told.round.value
            and not chore.is_put_off(now)
            and context.chore(chore) is not None
        ]

    def _remind_as_asked(self, open_round: _OpenRound, due: Sequence[StoredChore]) -> None:
        """Repeat chores that the grower has put off until now, whatever the policy is.

        The channels that were reached are told; if none was, because the answer came from
        elsewhere, those that are told the round.
        """
        context, told = self.context, open_round.told
        reached = {
            notice.channel
            for notice in open_round.notices
            if notice.state is NoticeState.SENT and notice.stage is not Stage.PASSED_ON
        }
        channels = [
            channel for channel in context.household.channels if channel.name in reached
        ] or context.channels_for(told.round.value, told.day)
        notices = self._notices(channels, open_round, due, Stage.REMINDER)
        ids = [chore.id for chore in due]
        context.ledger.enqueue(context.site.name, context.clock(), notices, reminded=ids)

    def _remind(self, open_round: _OpenRound) -> None:
        """Repeat orders, before their deadline, to the channels that were told of them."""
        context, policy = self.context, self.context.household.policy
        ahead = policy.remind
        own = [notice for notice in open_round.notices if notice.stage != Stage.PASSED_ON]
        sent = [notice.sent_at for notice in own if notice.sent_at is not None]
        if ahead is None or not sent or context.clock() - max(sent) < MIN_BEFORE_REMINDER:
            return

        def hour(order: StoredChore) -> datetime:
            at = self._reference_hour(open_round, order, MIN_BEFORE_REMINDER) - ahead
            return self._begins_in_time(open_round, order, at)

        def is_due(order: StoredChore) -> bool:
            at = hour(order)
            if open_round.is_untold(order):
                return context.clock() >= at
            return self._is_due(order, at)

        due = _due(
            (order for order in open_round.orders if not self._was_reminded(order, hour(order))),
            is_due,
        )
        if not due:
            return
        told = open_round.told
        reached = {notice.channel for notice in own if notice.state is NoticeState.SENT}
        counts = context.ledger.notices.count_by_channel(
            context.site.name, told.round.value, told.day
        )
        # What is still to do may use the messages that are kept for it. Where none is left, an
        # order that no message has told of is told by its reminder all the same.
        is_untold = any(open_round.is_untold(order) for order in due)
        channels = [
            channel
            for channel in context.channels
            if channel.name in reached
            and (is_untold or counts.get(channel.name, 0) < policy.max_messages)
        ]
        notices = self._notices(channels, open_round, due, Stage.REMINDER)
        ids = [order.id for order in due]
        context.ledger.enqueue(context.site.name, context.clock(), notices, reminded=ids)

    def _pass_on(self, open_round: _OpenRound) -> None:
        """Tell orders to the first channel for alarms that has heard nothing of this round."""
        context, policy = self.context, self.context.household.policy
        ahead, has_reached_nobody = policy.pass_on, open_round.has_reached_nobody
        if ahead is None or self._may_still_be_confirmed(open_round):
            return
        if has_reached_nobody:
            ahead = max(ahead, policy.remind or ahead)
        elif not self._usually_confirms(open_round.told):
            return

        def is_due(order: StoredChore) -> bool:
            at = self._reference_hour(open_round, order, MIN_BEFORE_PASSING_ON) - ahead
            if order.later_until is not None:  # who put it off is reminded first
                at = max(at, order.later_until + MIN_BEFORE_PASSING_ON)
            if has_reached_nobody:
                return context.clock() >= at
            return self._is_due(order, at)

        due = _due(
            (order for order in open_round.orders if order.passed_on_at is None),
            is_due,
        )
        if not due:
            return
        informed = {notice.channel for notice in open_round.notices}
        others = [
            channel
            for channel in context.channels_for(ALARM, open_round.told.day)
            if channel.name not in informed
        ]
        notices = self._notices(others[:1], open_round, due, Stage.PASSED_ON)
        ids = [order.id for order in due]
        context.ledger.enqueue(context.site.name, context.clock(), notices, passed_on=ids)

    def _may_still_be_confirmed(self, open_round: _OpenRound) -> bool:
        """Whether a notice is about to be sent, or was sent only a moment ago."""
        now = self.context.clock()
        names = {channel.name for channel in self.context.channels}
        is_on_its_way = any(
            notice.is_on_its_way and not notice.failures and notice.channel in names
            for notice in open_round.notices
        )
        return is_on_its_way or any(
            now - at < MIN_BEFORE_PASSING_ON for at in open_round.first_hand_times
        )

    def _reference_hour(
        self, open_round: _OpenRound, order: StoredChore, min_time: timedelta
    ) -> datetime:
        """Return the hour before which an order is repeated, by the time that the policy sets.

        It is the deadline of the order. If the order was sent less than `min_time` before its
        deadline, it is a later hour, such that the reminder comes the set time after the order was
        sent. The order is passed on between the reminder and that hour.
        """
        policy, sent_at = self.context.household.policy, open_round.first_sent_at(order)
        ahead = policy.remind or policy.pass_on
        if sent_at is None or ahead is None or order.before > sent_at + min_time:
            return order.before
        return sent_at + 2 * ahead

    def _begins_in_time(self, open_round: _OpenRound, order: StoredChore, at: datetime) -> datetime:
        """Return the hour of a reminder, no later than when a walk must begin.

        Not if that was over, or nearly so, when the order was sent: it has told to begin then.
        """
        load, sent_at = order.chore.load, open_round.first_sent_at(order)
        if load is None or load.begin_by is None or sent_at is None:
            return at
        return min(at, load.begin_by) if load.begin_by >= sent_at + MIN_BEFORE_REMINDER else at

    def _usually_confirms(self, told: RoundInForce) -> bool:
        """Whether the grower confirms orders at all, so that a missing confirmation is a sign.

        A grower does not if orders have been told for days and none was ever confirmed; then no
        other channel is told of this one.
        """
        ledger, site = self.context.ledger, self.context.site
        since = told.day - UNCONFIRMED_DAYS
        days = (since - timedelta(days=back) for back in range(REGULAR_WITHIN_DAYS))
        is_regular = any(
            ledger.rounds.enqueued_at(site.name, Round.DUSK.value, day) for day in days
        )
        return not is_regular or bool(ledger.chores.any_answered_since(site.name, since))

    def _was_reminded(self, order: StoredChore, at: datetime) -> bool:
        """Whether an order has been repeated, for its deadline and not just as the grower asked.

        at: when it is repeated for its deadline.
        """
        if order.reminded_at is None or order.later_until is None:
            return order.reminded_at is not None
        quiet = self.context.household.rounds.quiet
        return order.reminded_at >= quiet.before(self.context.site, at)

    def _is_due(self, order: StoredChore, at: datetime) -> bool:
        """Whether the time to repeat an order has come, and is outside quiet hours.

        What would be repeated in quiet hours is repeated before they start or not at all, since it
        has been told. An order that is overdue does not disturb them either.
        """
        now, quiet = self.context.clock(), self.context.household.rounds.quiet
        earlier = quiet.before(self.context.site, at)
        is_quiet = quiet.until(self.context.site, now) is not None
        if earlier == at:
            return now >= at and not (is_quiet and order.before <= now)
        return earlier <= now <= max(at, order.before) and not is_quiet

    def _notices(
        self,
        channels: Sequence[Channel],
        open_round: _OpenRound,
        due: Sequence[StoredChore],
        stage: Stage,
    ) -> list[Notice]:
        """Return the notices about what is due.

        They begin with what is overdue, even if it was repeated before. Whether they are urgent is
        found when they are sent (`notice_wording`).
        """
        context, now, told = self.context, self.context.clock(), open_round.told
        late = [order for order in open_round.orders if order.before <= now and order not in due]
        chores = [chore for order in (*late, *due) if (chore := context.chore(order)) is not None]
        is_passed_on = stage is Stage.PASSED_ON
        linked = context.links is not None
        words = follow_up.reminder(
            chores, now, context.voice, passed_on=is_passed_on, linked=linked
        )
        name = f"{told.round.value} {stage} {_intent(due)}"
        until = max(order.before for order in due) + follow_up.LATE
        if until <= now + follow_up.LATE:  # overdue: it is of use as long as the round is
            until = max(told.until, until)
        return [
            context.notice(
                channel, name, told.day, words, until, round_=told.round.value, stage=stage
            )
            for channel in channels
        ]


def _intent(due: Sequence[StoredChore]) -> str:
    """Return what distinguishes a reminder from the others of its round.

    Of one chore there is another reminder only if its hour has become another one, or if plants
    have joined it; or if the grower has asked for it.
    """
    first = due[0]
    intent = f"{first.id_without_day} {first.before:%H:%M}"
    later = max((order.later_until for order in due if order.later_until), default=None)
    if later is not None:
        intent = f"{intent} later {later:%d %H:%M:%S}"
        last = max((order.reminded_at for order in due if order.reminded_at), default=None)
        intent += "" if last is None else f" after {last:%H:%M:%S}"
    changed_at = max((order.changed_at for order in due if order.changed_at), default=None)
    return intent if changed_at is None else f"{intent} changed {changed_at:%H:%M:%S}"


def _is_asked_for(chore: StoredChore, now: datetime) -> bool:
    """Whether the time has come until which the grower has put a chore off."""
    later, reminded_at = chore.later_until, chore.reminded_at
    return later is not None and later <= now and (reminded_at is None or reminded_at < later)


def _still_helps(order: StoredChore, now: datetime) -> bool:
    """Whether following an order that is overdue still does some good, as far as it is known.

    A plant that is too cold is taken in late rather than never; hail or gusts that a plant was to
    be covered or secured against have passed.
    """
    ends = [reason.until for reason in order.chore.single_reasons]
    is_over = bool(ends) and all(end is not None and end <= now for end in ends)
    return order.kind is ChoreKind.CARRY_IN and not is_over


def _due(
    candidates: Iterable[StoredChore], is_due: Callable[[StoredChore], bool]
) -> list[StoredChore]:
    """Return the orders that are due, and those that will be due on the same trip."""
    orders = list(candidates)
    due = [order for order in orders if is_due(order)]
    if not due:
        return []
    latest: datetime = max(order.before for order in due) + chore_phrases.SAME_TRIP
    return [order for order in orders if order.before <= latest]
