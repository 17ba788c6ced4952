"""Reminders: an order that nobody has acknowledged is repeated once, then told to the next."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from sillward.collection import Channel
from sillward.corrections import KEPT_FOR_MORE, told_rounds
from sillward.kit import Kit
from sillward.ledger import Notice, Stage, StoredChore
from sillward.notices import follow_up, phrases
from sillward_rules.chore import ChoreKind
from sillward_rules.revision import ORDERS
from sillward_rules.sheet import Round

BREATH = timedelta(minutes=15)
"""Nobody is reminded sooner than this after having been told. Judgement."""

ANSWER = timedelta(minutes=5)
"""So long who has been told has to acknowledge before the next is told. Judgement."""

SILENT_DAYS = timedelta(days=7)
"""Who has acknowledged nothing for so long is not in the habit of it. Judgement."""

_FIRST_HAND = frozenset({Stage.TOLD.value, Stage.CHANGE.value})


@dataclass(slots=True)
class Reminders:
    """Looks for orders whose deadline comes near, and that are still open."""

    kit: Kit

    def look(self) -> None:
        """Put down the reminders that are due now."""
        kit = self.kit
        now = kit.clock()
        for round_, day, _ in told_rounds(kit, now):
            orders = [
                one
                for one in kit.ledger.chores_of(kit.site.name, day)
                if one.open
                and one.round == round_.value
                and ChoreKind(one.kind) in ORDERS
                and one.before > now
                and kit.chore(one) is not None
            ]
            if orders:
                of_round = kit.ledger.of_round(kit.site.name, round_.value, day, stage=None)
                self._remind(round_, day, orders, of_round)
                self._pass_on(round_, day, orders, of_round)

    def _remind(
        self, round_: Round, day: date, orders: Sequence[StoredChore], of_round: Sequence[Notice]
    ) -> None:
        ahead = self.kit.household.manners.remind
        fresh = [one for one in orders if one.reminded_at is None]
        due = _with_the_next(fresh, [one for one in fresh if self._is_due(one, ahead)])
        first_hand = [one for one in of_round if one.stage != Stage.PASSED_ON.value]
        sent = [one.sent_at for one in first_hand if one.sent_at is not None]
        if not due or not sent or self.kit.clock() - max(sent) < BREATH:
            return
        reached = {one.channel for one in first_hand if one.state == "sent"}
        counts = self.kit.ledger.messages(self.kit.site.name, round_.value, day)
        room = max(1, self.kit.household.manners.most - KEPT_FOR_MORE)
        able = [
            one
            for one in self.kit.household.channels
            if one.name in reached and counts.get(one.name, 0) < room
        ]
        notices = self._notices(able, round_, day, due, Stage.REMINDER)
        ids = [one.id for one in due]
        self.kit.ledger.put_down(self.kit.site.name, self.kit.clock(), notices, reminded=ids)

    def _pass_on(
        self, round_: Round, day: date, orders: Sequence[StoredChore], of_round: Sequence[Notice]
    ) -> None:
        """To the first channel that takes alarms and has heard nothing of this round."""
        manners = self.kit.household.manners
        now, names = self.kit.clock(), {one.name for one in self.kit.household.channels}
        on_their_way = any(
            one.state == "waiting" and not one.attempts and one.channel in names for one in of_round
        )
        told = [one.sent_at for one in of_round if one.sent_at and one.stage in _FIRST_HAND]
        if manners.pass_on is None or on_their_way or any(now - at < ANSWER for at in told):
            return
        ahead, deaf = manners.pass_on, not any(one.state == "sent" for one in of_round)
        if deaf:  # nobody could be reached so far
            ahead = max(ahead, manners.remind or ahead)
        elif self._says_nothing(day):
            return
        fresh = [one for one in orders if one.passed_on_at is None]
        due = [one for one in fresh if self._is_due(one, ahead, anyhow=deaf)]
        due = _with_the_next(fresh, due)
        if not due:
            return
        heard = {one.channel for one in of_round}
        others = [
            one
            for one in self.kit.household.channels
            if "alarm" in one.rounds and one.name not in heard
        ]
        notices = self._notices(others[:1], round_, day, due, Stage.PASSED_ON)
        ids = [one.id for one in due]
        self.kit.ledger.put_down(self.kit.site.name, self.kit.clock(), notices, passed_on=ids)

    def _says_nothing(self, day: date) -> bool:
        """Whether orders have been told for days and none was acknowledged: then it means nothing
        that this one is not, and nobody else is troubled for it."""
        since = day - SILENT_DAYS
        told = self.kit.ledger.round_told_at
        regular = any(
            told(self.kit.site.name, Round.DUSK.value, since - timedelta(days=one))
            for one in range(3)
        )
        return regular and not self.kit.ledger.acknowledged(self.kit.site.name, since)

    def _is_due(self, order: StoredChore, ahead: timedelta | None, *, anyhow: bool = False) -> bool:
        """Whether its deadline is as near as that.

        What would be repeated in quiet hours is repeated before they start or, unless `anyhow`,
        not at all: it has been told.
        """
        if ahead is None:
            return False
        now, quiet = self.kit.clock(), self.kit.household.rounds.quiet
        at = order.before - ahead
        earlier = quiet.before(self.kit.site, at)
        if anyhow or earlier == at:
            return now >= at
        return now >= earlier and quiet.until(self.kit.site, now) is None

    def _notices(
        self,
        channels: Sequence[Channel],
        round_: Round,
        day: date,
        due: Sequence[StoredChore],
        stage: Stage,
    ) -> list[Notice]:
        kit = self.kit
        chores = [chore for one in due if (chore := kit.chore(one)) is not None]
        now, passed_on = kit.clock(), stage is Stage.PASSED_ON
        words = follow_up.reminder(chores, now, kit.voice, passed_on=passed_on)
        # Told anew for the same chore only if its hour has become another one.
        of_what = f"{due[0].id[len('2026-01-01-') :]} {due[0].before:%H:%M}"
        name = f"{round_.value} {stage.value} {of_what}"
        until = max(one.before for one in due) + follow_up.LATE
        return [
            kit.notice(channel, name, day, words, until, round_=round_.value, stage=stage)
            for channel in channels
        ]


def _with_the_next(fresh: Sequence[StoredChore], due: Sequence[StoredChore]) -> list[StoredChore]:
    """What is due, and what would be due on the same trip."""
    if not due:
        return []
    latest: datetime = max(one.before for one in due) + phrases.SAME_TRIP
    return [one for one in fresh if one.before <= latest]
