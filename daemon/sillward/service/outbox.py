"""Delivery: what waits is claimed, worded for the moment, sent and marked; until it is too late."""

import logging
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from traceback import format_tb

from sillward.channels.apprise_sender import SEND_S
from sillward.config.loader import Channel
from sillward.errors import DeliveryError, LedgerError
from sillward.ledger import Notice, Stage, StoredChore
from sillward.ledger.records import to_text
from sillward.service.alarm_monitor import BLIND, blind
from sillward.service.context import ServiceContext
from sillward.service.due_rounds import round_named
from sillward.service.weekly_mail import WeeklyMail
from sillward.wording import follow_up, push
from sillward.wording.push import Message
from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.revision import ORDERS
from sillward_rules.sheet import Round

MOST_DOUBTFUL = 2
"""After so many tries that may have arrived, one more without an answer is the last."""

LEASE = timedelta(seconds=2 * SEND_S)
"""A claim on a notice older than this is nobody's any more."""

SEND_PAUSES = tuple(timedelta(seconds=s) for s in (30, 60, 120, 300, 600, 900))
"""Between attempts to send."""

OWNED_UP_WITHIN = timedelta(hours=36)
"""A round that could not be sent is owned up to in the next one, if that comes this soon."""

_DAILY = {Round.DUSK.value: Round.DUSK, Round.MORNING.value: Round.MORNING}

_ABOUT_ORDERS = frozenset({Stage.TOLD, Stage.CHANGE, Stage.REMINDER, Stage.PASSED_ON})

log = logging.getLogger(__name__)


@dataclass(slots=True)
class Outbox:
    """The notices of one household on their way to their channels."""

    context: ServiceContext
    weekly: WeeklyMail = field(init=False)
    _arrived: dict[str, datetime] = field(default_factory=dict)
    """What this process has sent and when, should the ledger not have taken it down."""

    def __post_init__(self) -> None:
        self.weekly = WeeklyMail(self.context)

    def deliver(self, *, by_hand: bool = False, only: str | None = None) -> int:
        """Send every notice that waits and is due. Return how many could not be sent.

        by_hand: also in quiet hours. only: of this round alone.
        """
        context = self.context
        context.ledger.release_claims(context.site.name, context.clock())
        if only is None:
            for notice in context.ledger.expire(context.site.name, context.clock()):
                log.error("notice.expired key=%s last_error=%s", notice.key, notice.last_error)
        channels = {channel.name: channel for channel in context.household.channels}
        self._hand_over(channels)
        failed = 0
        for notice in context.ledger.waiting(context.site.name, context.clock(), SEND_PAUSES[-1]):
            channel = channels.get(notice.channel)
            if context.stopping():
                break
            if channel is None or only not in (None, notice.round):
                continue
            if not by_hand and self._must_wait(notice):
                continue
            failed += not self._deliver_one(notice, channel)
            context.working()
        self.weekly.forget_old()
        return failed

    def _hand_over(self, channels: Mapping[str, Channel]) -> None:
        """Give what waits for a channel that is no more to one that has come since, if any has.

        That is one that is told the same rounds and has heard nothing of this one.
        """
        context = self.context
        for notice in context.ledger.waiting_for_others(context.site.name, list(channels)):
            family, day = round_named(_family(notice)), _day(notice)
            takes = family if family in {one.value for one in Round} else "alarm"
            of_round = context.ledger.of_round(context.site.name, _family(notice), day, stage=None)
            heard = {one.channel for one in of_round}
            heirs = (name for name, one in channels.items() if takes in one.rounds)
            heir = next((name for name in heirs if name not in heard), None)
            if heir is not None and context.ledger.hand_over(notice, heir, context.clock()):
                log.warning("notice.handed_over key=%s channel=%s", notice.key, heir)

    def _deliver_one(self, notice: Notice, channel: Channel) -> bool:
        ledger, now = self.context.ledger, self.context.clock()
        message = self._worded_or_as_it_was(notice, channel)
        if message is None:
            ledger.drop(notice.key)
            return True
        if not ledger.claim(notice.key, now + LEASE):
            return True
        if notice.key in self._arrived:  # it went out, and then the ledger failed
            ledger.sent(notice.key, self._arrived[notice.key])
            return True
        return self._attempt(notice, channel, message)

    def _attempt(self, notice: Notice, channel: Channel, message: Message) -> bool:
        ledger, clock = self.context.ledger, self.context.clock
        if notice.perhaps_sent:
            message = replace(message, title=self.context.voice.say("repeat", title=message.title))
        if not channel.full_length:
            message = push.trimmed(message, self.context.voice)
        try:
            self.context.sender(channel, message)
        except DeliveryError as error:
            if error.perhaps_sent and notice.perhaps_sent >= MOST_DOUBTFUL:
                ledger.sent(notice.key, clock(), str(error))
                log.warning("notice.doubtful key=%s reason=%s", notice.key, error)
                return True
            self._put_back(notice, error)
            return False
        except Exception as error:  # a defect of ours must hold up nothing else
            reason = f"channel {channel.name}: {type(error).__name__}, see the log"
            # Where it was, but not what it says: that may hold the channel's URL.
            where = "".join(format_tb(error.__traceback__))
            log.error("notice.failed_to_send key=%s reason=%s\n%s", notice.key, reason, where)
            self._put_back(notice, DeliveryError(reason, perhaps_sent=True))
            return False
        self._arrived[notice.key] = clock()
        ledger.sent(notice.key, clock(), words=(message.title, message.body))
        del self._arrived[notice.key]
        log.info("notice.sent key=%s attempts=%d", notice.key, notice.attempts + 1)
        return True

    def _put_back(self, notice: Notice, error: DeliveryError) -> None:
        """Have a notice tried again later."""
        pause = SEND_PAUSES[min(notice.attempts, len(SEND_PAUSES) - 1)]
        if error.wait is not None:  # what the other side asked for, as far as there is time
            pause = min(max(pause, error.wait), SEND_PAUSES[-1])
        next_at = self.context.clock() + pause
        self.context.ledger.put_back(
            notice.key, next_at, str(error), perhaps_sent=error.perhaps_sent
        )
        log.warning("notice.failed key=%s reason=%s next_try=%s", notice.key, error, pause)

    # -- quiet hours

    def _must_wait(self, notice: Notice) -> bool:
        """Whether it is a quiet hour, and no order in it is due, nor it lost, before that ends."""
        context = self.context
        until = context.household.rounds.quiet.until(context.site, context.clock())
        if until is None or notice.expires_at <= until:
            return False
        return not any(chore.before <= until for chore in self._orders(notice))

    # -- words

    def _worded_or_as_it_was(self, notice: Notice, channel: Channel) -> Message | None:
        """The words for this moment; a defect of ours in finding them must not hold it up."""
        try:
            return self._worded(notice, channel)
        except LedgerError:
            raise
        except Exception:
            log.exception("notice.failed_to_word key=%s", notice.key)
            return Message(notice.title, notice.body)

    def _worded(self, notice: Notice, channel: Channel) -> Message | None:
        """What the notice says if it is sent now; None if it is not needed any more."""
        message, stage = Message(notice.title, notice.body), Stage(notice.stage)
        if round_named(notice.round) == Round.WEEK.value and channel.full_mail:
            message = self.weekly.mail(_day(notice))
            self.context.working()
            return message
        if notice.round == BLIND and not self.context.has_forecast():
            return blind(self.context)  # its hour may have come while it waited
        if stage not in _ABOUT_ORDERS or _family(notice) not in _DAILY:
            return message
        context = self.context
        now = context.clock()
        put_down = context.ledger.round_told_at(context.site.name, notice.round, _day(notice))
        orders, anew = self._orders(notice), None
        repeats = stage in (Stage.REMINDER, Stage.PASSED_ON)
        if not repeats:  # what was told before a change has been told in time
            orders = [one for one in orders if put_down is None or one.before >= put_down]
        if repeats and not orders:
            return None  # acknowledged, or called off, in the meantime
        if repeats:
            passed_on = stage is Stage.PASSED_ON
            message = follow_up.reminder(orders, now, context.voice, passed_on=passed_on)
            if any(one.before <= now for one in orders):  # its words say how late it is
                return self._owning_up(notice, channel, message)
        elif orders and now > max(one.before for one in orders) + follow_up.LATE:
            return follow_up.missed(orders, now, context.voice)
        if stage is Stage.TOLD and not notice.perhaps_sent:
            anew = self._anew(notice, channel, orders, put_down)
            message = anew or message
        told_at = now if anew else put_down
        due = [one.before for one in orders]
        if stage is Stage.CHANGE:
            changed = self._changed(notice, put_down)
            due = [one for one in due if one in changed]
        ahead = [one for one in due if one > now - follow_up.LATE]
        if ahead:
            message = replace(message, urgent=min(ahead) - now <= follow_up.SOON)
        if ahead and told_at is not None and min(due) > told_at:  # else its words say "now"
            message = follow_up.in_time(message, min(due), now, context.voice)
        return self._owning_up(notice, channel, message)

    def _anew(
        self, notice: Notice, channel: Channel, orders: list[Chore], told_at: datetime | None
    ) -> Message | None:
        """The round drawn up again, if it has changed, or is old and its hours lie ahead still."""
        context, round_ = self.context, _DAILY[notice.round]
        now = context.clock()
        old = told_at is not None and now - told_at > follow_up.STALE_WORDS
        ahead = all(one.before > now for one in orders)
        changed = context.ledger.changes(context.site.name, notice.round, _day(notice)) > 0
        if not (changed or (old and ahead)) or not context.has_forecast():
            return None
        return context.message(channel, context.sheet(round_, context.weather()))

    def _owning_up(self, notice: Notice, channel: Channel, message: Message) -> Message:
        """The message, and that the round before it could not be sent, if that is so."""
        context = self.context
        now, told = context.clock(), context.ledger.notices(context.site.name, channel=channel.name)
        since = max((one.sent_at for one in told if one.sent_at), default=None)
        lost = [
            one
            for one in told
            if one.state == "expired"
            and one.round in _DAILY
            and one.stage == Stage.TOLD.value
            and one.key != notice.key
            and now - OWNED_UP_WITHIN < one.expires_at <= now
            and (since is None or one.expires_at > since)
        ]
        if not lost:
            return message
        line = context.voice.say("not_sent", round=lost[0].round, day=_day(lost[0]))
        # First: where there is no room for all, the end is cut off.
        return replace(message, body=f"{context.voice.say('watch_out', text=line)}\n{message.body}")

    def _open(self, notice: Notice) -> list[StoredChore]:
        """What is still to do of the round that a notice is of."""
        chores = self.context.ledger.chores_of(self.context.site.name, _day(notice))
        return [one for one in chores if one.open and one.round == _family(notice)]

    def _changed(self, notice: Notice, since: datetime | None) -> set[datetime]:
        """The deadlines that a change, or a later one, has set."""
        return {
            one.before
            for one in self._open(notice)
            if since is not None and one.document.get("changed", "") >= to_text(since)
        }

    def _orders(self, notice: Notice) -> list[Chore]:
        """The orders among it, for plants that are still there; those that a reminder is about."""
        open_orders = [one for one in self._open(notice) if ChoreKind(one.kind) in ORDERS]
        if notice.stage == Stage.REMINDER.value:
            open_orders = [one for one in open_orders if one.reminded_at is not None]
        if notice.stage == Stage.PASSED_ON.value:
            open_orders = [one for one in open_orders if one.passed_on_at is not None]
        return [chore for one in open_orders if (chore := self.context.chore(one)) is not None]


def _family(notice: Notice) -> str:
    """The round that a notice is of, or of whose change it is."""
    return notice.round.split(" change ")[0]


def _day(notice: Notice) -> date:
    return date.fromisoformat(notice.day)
