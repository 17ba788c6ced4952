"""Delivery: what waits is claimed, worded for the moment, sent and marked, until it is too late.

Where the context has a dispatcher, a notice is handed to it and the outbox goes on: what came of it
is marked when this household is looked at again. Without one the outbox waits for each.
"""

import logging
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from functools import partial
from traceback import format_tb

from sillward.channels.dispatcher import Attempt, Outcome
from sillward.channels.push_address import PushAddress, is_push
from sillward.channels.sender import SEND_S
from sillward.config.channel import Channel
from sillward.errors import DeliveryError
from sillward.ledger import Alarm, Notice, Stage, Subject
from sillward.service.answer_links import links_for
from sillward.service.context import ALARM, ServiceContext
from sillward.service.defects import Defects
from sillward.service.notice_wording import (
    NoticeWording,
    day_of,
    orders_of,
    stored_message,
    was_asked_for,
)
from sillward.wording import push
from sillward.wording.push import Message

MAX_DOUBTFUL = 2
"""After this many attempts that may have arrived, one more without an answer is the last."""

LEASE = timedelta(seconds=2 * SEND_S)
"""A claim on a notice that is older than this has been given up. No attempt takes as long."""

SEND_PAUSES = tuple(timedelta(seconds=s) for s in (30, 60, 120, 300, 600, 900))
"""Pauses between attempts to send; the last one is repeated."""

_FOR_ONE = (Alarm.HELPER, Alarm.DEVICE)
"""What nobody else is told in the place of a channel that was removed."""

log = logging.getLogger(__name__)


@dataclass(slots=True)
class Outbox:
    """The notices of one household on their way to their channels."""

    context: ServiceContext
    wording: NoticeWording
    defects: Defects
    _sent_unmarked: dict[str, datetime] = field(default_factory=dict)
    """What this process has sent and when, as long as the ledger has not recorded it."""

    @property
    def has_unwritten(self) -> bool:
        """Whether it knows of something that the ledger has not recorded."""
        return bool(self._sent_unmarked)

    def deliver(self, *, ignore_quiet_hours: bool = False) -> int:
        """Send every notice that waits and is due. Return how many could not be sent.

        With a dispatcher those count that are known by now not to have been sent.
        """
        ledger, site, clock = self.context.ledger, self.context.site, self.context.clock
        failed = self.settle()
        self._release_claims()
        for notice in ledger.notices.expire(site.name, clock()):
            self._count("expired")
            log.error("notice.expired key=%s last_error=%s", notice.key, notice.last_error)
        self._hand_over()
        failed += self._send(
            notice for notice in self._due() if ignore_quiet_hours or not self._must_wait(notice)
        )
        self.wording.forget_old()
        return failed

    def deliver_alarm(self, alarm: Alarm) -> int:
        """Send the notices of one alarm that wait, and give up none as too late.

        Return how many could not be sent.
        """
        failed = self.settle()
        self._release_claims()
        self._hand_over()
        return failed + self._send(
            notice for notice in self._due() if notice.subject == Subject(alarm)
        )

    def settle(self) -> int:
        """Record what came of the attempts that a dispatcher has finished. Return how many failed.

        An outcome stays with the dispatcher until the ledger has it.
        """
        dispatcher, failed = self.context.dispatcher, 0
        if dispatcher is None:
            return 0
        for outcome in dispatcher.outcomes(self.context.site.name):
            key = outcome.attempt.notice.key
            # After a defect it is as after a crash: its claim is released, and it is repeated.
            failed += not self.defects.contained("notice.failed", f"key={key}").attempt(
                partial(self._record, outcome), otherwise=lambda: False
            )
            dispatcher.settle(outcome)
        return failed

    def _release_claims(self) -> None:
        """Put back what was claimed and is not under way any more."""
        context, dispatcher = self.context, self.context.dispatcher
        site = context.site.name
        under_way = set[str]() if dispatcher is None else dispatcher.keys_of(site)
        context.ledger.notices.release_claims(site, context.clock(), but=under_way)

    def _due(self) -> list[Notice]:
        """Return the notices that wait and are due for a try, oldest first."""
        context = self.context
        return context.ledger.notices.due(context.site.name, context.clock(), SEND_PAUSES[-1])

    def _send(self, notices: Iterable[Notice]) -> int:
        """Send these notices until a stop is requested. Return how many could not be sent.

        A defect in one of them holds up no other.
        """
        context, dispatcher = self.context, self.context.dispatcher
        channels = {channel.name: channel for channel in context.channels}
        failed = 0
        for notice in notices:
            if context.run.stop_requested:
                break
            channel = channels.get(notice.channel)
            if channel is None or (
                dispatcher is not None and not dispatcher.has_room(notice, channel)
            ):
                continue
            failed += not self.defects.contained("notice.failed", f"key={notice.key}").attempt(
                partial(self._deliver_one, notice, channel), otherwise=lambda: False
            )
            context.run.step_done()
        if dispatcher is not None:
            dispatcher.looked(context.site.name)
        return failed

    def _hand_over(self) -> None:
        """Give what waits for a channel that was removed to one that was added since, if any.

        The heir is told the same rounds and has heard nothing of this one.
        """
        context = self.context
        names = [channel.name for channel in context.channels]
        for notice in context.ledger.notices.waiting_for_others(context.site.name, names):
            with self.defects.contained("notice.failed_to_hand_over", f"key={notice.key}"):
                self._hand_over_one(notice)

    def _hand_over_one(self, notice: Notice) -> None:
        context, notices = self.context, self.context.ledger.notices
        if notice.subject.kind in _FOR_ONE:  # it is meant for one person
            return
        round_ = notice.subject.round
        of_round = notices.of_round(context.site.name, notice.round, day_of(notice), stage=None)
        informed = {other.channel for other in of_round}
        heirs = (
            channel.name
            for channel in context.channels_for(
                ALARM if round_ is None else round_.value, day_of(notice)
            )
            if channel.name not in informed
        )
        heir = next(heirs, None)
        if heir is not None and notices.hand_over(notice, heir, context.clock()):
            log.warning("notice.handed_over key=%s channel=%s", notice.key, heir)

    def _must_wait(self, notice: Notice) -> bool:
        """Whether quiet hours hold a notice back.

        They do not if an order in it is due, or the notice of no use any more, before their end; if
        it is an alarm; nor if a defect keeps that from being known.
        """
        return self.defects.contained("notice.failed_to_time", f"key={notice.key}").attempt(
            partial(self._is_held_back, notice), otherwise=lambda: False
        )

    def _is_held_back(self, notice: Notice) -> bool:
        context = self.context
        until = context.household.rounds.quiet.until(context.site, context.clock())
        if until is None or notice.expires_at <= until or notice.stage is Stage.ALARM:
            return False
        if was_asked_for(context, notice):
            return False
        if context.ledger.chores.unreadable(context.site.name, context.clock()):
            return False  # one of them may be an order of this notice
        return not any(chore.before <= until for chore in orders_of(context, notice))

    def _deliver_one(self, notice: Notice, channel: Channel) -> bool:
        """Deliver a notice if it is still needed and not claimed; False if it could not be sent."""
        ledger, now = self.context.ledger, self.context.clock()
        message = self._message_now(notice, channel)
        if message is None:
            ledger.notices.drop(notice.key)
            return True
        message = self._with_links(notice, channel, message)
        if not ledger.notices.claim(notice.key, now + LEASE):
            return True
        if notice.key in self._sent_unmarked:  # it was sent, and then the ledger failed
            ledger.mark_sent(notice.key, self._sent_unmarked[notice.key])
            return True
        if self.context.clock() >= now + LEASE:  # stopped as a whole: others may have sent it since
            log.warning("notice.claim_over key=%s", notice.key)
            return True
        return self._attempt(notice, channel, message)

    def _message_now(self, notice: Notice, channel: Channel) -> Message | None:
        """Return the words for this moment; if a defect prevents that, the stored ones."""
        return self.defects.contained("notice.failed_to_word", f"key={notice.key}").attempt(
            partial(self.wording.message_now, notice, channel),
            otherwise=partial(stored_message, notice),
        )

    def _with_links(self, notice: Notice, channel: Channel, message: Message) -> Message:
        """Return the message with links by which it can be answered at this moment; without, if a
        defect prevents that."""
        return self.defects.contained("notice.failed_to_link", f"key={notice.key}").attempt(
            lambda: replace(
                message,
                links=links_for(
                    self.context, notice, self.context.person_of(channel, day_of(notice))
                ),
            ),
            otherwise=lambda: message,
        )

    def _attempt(self, notice: Notice, channel: Channel, message: Message) -> bool:
        """Send a claimed notice once and record the outcome; False if it is to be sent again.

        A dispatcher only begins it.
        """
        context = self.context
        if notice.perhaps_sent:
            message = replace(message, title=context.voice.say("repeat", title=message.title))
        if notice.subject.kind is not Alarm.HELPER:  # the list for a helper is sent in full
            fitted, kept_for_helpers = context.fitted(channel, message), not channel.rounds
            message = push.led_to_page(fitted, context.voice, to_helper=kept_for_helpers)
        attempt, error = Attempt(notice, channel, message), None
        if context.dispatcher is not None:
            context.dispatcher.begin(attempt)
            return True
        try:
            context.sender(channel, message)
        except Exception as failure:  # a defect too: it must not hold up the other notices
            error = failure
        return self._record(Outcome(attempt, context.clock(), error))

    def _record(self, outcome: Outcome) -> bool:
        """Record what came of an attempt; False if the notice is to be sent again."""
        notice, channel, error = outcome.attempt.notice, outcome.attempt.channel, outcome.error
        ledger, message = self.context.ledger, outcome.attempt.message
        if error is None:
            self._sent_unmarked[notice.key] = outcome.at
            ledger.mark_sent(notice.key, outcome.at, words=(message.title, message.body))
            del self._sent_unmarked[notice.key]
            self._count("sent")
            log.info("notice.sent key=%s attempts=%d", notice.key, notice.attempts + 1)
            return True
        if not isinstance(error, DeliveryError):
            reason = f"channel {channel.name}: {type(error).__name__}, see the log"
            # Where it was raised, but not its text: that may hold the channel's URL.
            where = "".join(format_tb(error.__traceback__))
            log.error("notice.failed_to_send key=%s reason=%s\n%s", notice.key, reason, where)
            self._put_back(notice, DeliveryError(reason, perhaps_sent=True))
            return False
        gone = _address(channel) if error.gone else None
        if gone is not None:
            self._let_go(channel, gone, error)
            self._count("gone")
            return True
        if error.perhaps_sent and notice.perhaps_sent >= MAX_DOUBTFUL:
            ledger.mark_sent(notice.key, outcome.at, str(error))
            self._count("doubtful")
            log.warning("notice.doubtful key=%s reason=%s", notice.key, error)
            return True
        self._put_back(notice, error)
        return False

    def _count(self, outcome: str) -> None:
        self.context.run.tally.notices[outcome] += 1

    def _let_go(self, channel: Channel, address: PushAddress, error: DeliveryError) -> None:
        """Send nothing more to a device that takes no messages any more; its status says so.

        It may have been removed while it was tried, and its name be that of another one.
        """
        ledger, site = self.context.ledger, self.context.site.name
        with ledger.database.transaction():
            if ledger.devices.mark_gone(site, address.to.endpoint, self.context.clock()):
                ledger.notices.drop_of_channel(site, channel.name)
        log.warning("device.gone name=%s reason=%s", channel.name, error)

    def _put_back(self, notice: Notice, error: DeliveryError) -> None:
        """Have a notice tried again later."""
        pause = SEND_PAUSES[min(notice.attempts, len(SEND_PAUSES) - 1)]
        if error.wait is not None:  # what the other side asked for, as far as there is time
            pause = min(max(pause, error.wait), SEND_PAUSES[-1])
        context = self.context
        next_at = context.clock() + pause
        context.ledger.notices.put_back(
            notice.key,
            next_at,
            str(error),
            perhaps_sent=error.perhaps_sent,
            attempt=notice.attempts + 1,
        )
        self._count("failed")
        log.warning("notice.failed key=%s reason=%s next_try=%s", notice.key, error, pause)


def _address(channel: Channel) -> PushAddress | None:
    """Return where a Web Push of a channel goes; None for a channel of another kind."""
    return PushAddress.of_url(channel.url) if channel.url and is_push(channel.url) else None
