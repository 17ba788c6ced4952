"""Corrections: what a newer forecast changes about a round that has been told, told once."""

import logging
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import cache

from sillward.config.household import Channel
from sillward.ledger import Notice, NoticeState, Stage, StoredChore
from sillward.service.chore_patch import patch_chores
from sillward.service.context import ServiceContext
from sillward.service.round_in_force import RoundInForce, round_in_force
from sillward.wording import follow_up
from sillward_rules.revision import (
    CORRECTED,
    Order,
    Revision,
    hour_of,
    revise,
    safe_outside,
)
from sillward_rules.sheet import Round, Sheet
from sillward_rules.transitions import after_revision

KEPT_FOR_MORE = 2
"""This many of a round's messages are kept for what is more to do. Judgement."""

_CHANGES = frozenset({Stage.CHANGE, Stage.CALL_OFF})

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class _Correction:
    """A revision of a round that was told, and the round's notices so far."""

    told: RoundInForce
    sheet: Sheet
    revision: Revision
    notices: Sequence[Notice]

    @property
    def asks_something(self) -> bool:
        """Whether there is more to do, or something at another hour; else it only calls off."""
        return bool(self.revision.added or self.revision.moved)

    @property
    def good_until(self) -> datetime:
        """Until when it is news: a call-off until the hour at which it would have been done."""
        if self.asks_something:
            return self.told.until
        return max(order.at for order in self.revision.called_off)

    @property
    def outdated(self) -> list[Notice]:
        """Changes that still wait: they may be untrue by now, and would come after this one."""
        return [
            notice
            for notice in self.notices
            if notice.state is NoticeState.WAITING and notice.stage in _CHANGES
        ]


@dataclass(slots=True)
class Corrections:
    """Compares what was told with each new forecast."""

    context: ServiceContext
    _compared: dict[Round, object] = field(default_factory=dict)
    """For each round the day and the forecast that it was last compared with."""

    def look(self) -> None:
        """Enqueue a correction if a newer forecast asks for one."""
        context = self.context
        if not context.has_forecast():
            return
        told = round_in_force(context, context.clock())
        if told is None:
            return
        newest = (told.day, context.forecasts.edition(context.site))
        if self._compared.get(told.round) != newest:
            self._compare(told)
            self._compared[told.round] = newest

    def compare_anew(self) -> None:
        """Compare what was told at the next look, even with the same forecast."""
        self._compared.clear()

    def _compare(self, told: RoundInForce) -> None:
        """Draw up the round again, and tell what has changed about it."""
        context = self.context
        collection = context.household.collection
        weather, state = context.weather(), context.states()
        sheet = context.sheet(told.round, weather)
        chores = _corrected_chores(context, told)
        open_orders = (_order(context, chore) for chore in chores if chore.open)
        revision = revise(
            [order for order in open_orders if order is not None],
            sheet,
            cache(lambda: safe_outside(collection, weather, state, sheet.at)),
            {(chore.kind, name) for chore in chores if chore.done_at for name in chore.plants},
            context.household.policy.moved_by,
            collection.habits.out_after,
        )
        if revision:
            notices = context.ledger.notices.of_round(
                context.site.name, told.round.value, told.day, stage=None
            )
            self._tell(_Correction(told, sheet, revision, notices))

    def _tell(self, correction: _Correction) -> None:
        """Enqueue a correction for the channels that are to hear of it and have messages left."""
        told, revision = correction.told, correction.revision
        counts = self._counts(correction)
        audience = self._audience(correction)
        max_messages = self.context.household.policy.max_messages
        allowed = max_messages if revision.added else max(1, max_messages - KEPT_FOR_MORE)
        channels = [channel for channel in audience if counts[channel.name] < allowed]
        if audience and not channels:
            log.warning(
                "change.not_told round=%s day=%s most=%d", told.round.value, told.day, max_messages
            )
            self._save_untold(correction)
            return
        self._save(correction, channels, counts)
        log.info(
            "change.told round=%s day=%s added=%d moved=%d called_off=%d",
            told.round.value,
            told.day,
            len(revision.added),
            len(revision.moved),
            len(revision.called_off),
        )

    def _counts(self, correction: _Correction) -> Counter[str]:
        """How many messages of the round each channel has got, without those that are replaced."""
        told = correction.told
        counts = self.context.ledger.notices.count_by_channel(
            self.context.site.name, told.round.value, told.day
        )
        return Counter(counts) - Counter(notice.channel for notice in correction.outdated)

    def _save(
        self, correction: _Correction, channels: Sequence[Channel], counts: Mapping[str, int]
    ) -> None:
        """Write a correction to the ledger: its notices, and what it changes."""
        told = correction.told
        ledger, site = self.context.ledger, self.context.site
        change = ledger.rounds.change_count(site.name, told.round.value, told.day) + 1
        save_revision(
            self.context,
            told,
            correction.sheet,
            correction.revision,
            notices=[
                self._notice(correction, channel, change, counts.get(channel.name, 0))
                for channel in channels
            ],
            replaces=correction.outdated,
        )

    def _save_untold(self, correction: _Correction) -> None:
        """Write the new orders of a correction, for which no channel has messages left.

        They are open from now on: `status`, the next sheet and a reminder show them. What is off,
        or due at another hour, stays as it was told.
        """
        added = Revision(added=correction.revision.added)
        if added:
            save_revision(self.context, correction.told, correction.sheet, added)

    def _notice(self, correction: _Correction, channel: Channel, change: int, count: int) -> Notice:
        """The notice for a channel; the whole round anew where a change was still waiting."""
        context, told = self.context, correction.told
        is_behind = any(notice.channel == channel.name for notice in correction.outdated)
        if is_behind:
            message = context.message(channel, correction.sheet)
        else:
            is_last = count + 1 >= context.household.policy.max_messages
            message = follow_up.correction(
                correction.revision, correction.sheet, context.voice, last=is_last
            )
        return context.notice(
            channel,
            f"{told.round.value} change {change}",
            told.day,
            message,
            told.until if is_behind else correction.good_until,
            round_=told.round.value,
            change=change,
            stage=Stage.CHANGE if is_behind or correction.asks_something else Stage.CALL_OFF,
            skip=not is_behind and self._is_slept_through(correction),
        )

    def _is_slept_through(self, correction: _Correction) -> bool:
        """Whether a call-off is no news any more when quiet hours end."""
        context = self.context
        quiet_until = context.household.rounds.quiet.until(context.site, correction.sheet.at)
        return (
            not correction.asks_something
            and quiet_until is not None
            and correction.good_until <= quiet_until
        )

    def _audience(self, correction: _Correction) -> list[Channel]:
        """Return the channels that are to hear of a correction.

        They are those that the round reached, or may have reached, by a change or a reminder too.
        One where the round still waits gets the newest words when it is sent; where a change waits,
        what comes after it is told too. What is more to do is also told to channels of the round
        that had nothing to hear so far. A channel that is told only what others do not confirm
        hears of what is more to do if it has been told of a change before: it may have heard "may
        stay out", which holds no longer.
        """
        revision = correction.revision
        adds, changes_others = bool(revision.added), bool(revision.moved or revision.called_off)
        heard: dict[str, bool] = {}
        for notice in correction.notices:
            had_nothing_to_hear = adds and notice.state is NoticeState.NOT_NEEDED
            heard[notice.channel] = (
                heard.get(notice.channel, False) or _may_be_heard(notice) or had_nothing_to_hear
            )
        heard_a_change = {
            notice.channel
            for notice in correction.notices
            if notice.stage in _CHANGES and _may_be_heard(notice)
        }
        listening = {
            channel.name for channel in self.context.channels_for(correction.told.round.value)
        }
        return [
            channel
            for channel in self.context.household.channels
            if (
                heard.get(channel.name, adds)
                if channel.name in listening
                else heard.get(channel.name) and (changes_others or channel.name in heard_a_change)
            )
        ]


def save_revision(
    context: ServiceContext,
    told: RoundInForce,
    sheet: Sheet,
    revision: Revision,
    *,
    notices: Sequence[Notice] = (),
    replaces: Sequence[Notice] = (),
) -> None:
    """Write what a revision changes about a round that was told, with its notices.

    replaces: notices that wait, and are not to be sent any more.
    """
    ledger, site = context.ledger, context.site
    name, day = told.round.value, told.day
    patched, called_off = patch_chores(_corrected_chores(context, told), revision, sheet.at)
    ledger.keep_change(
        site.name,
        name,
        ledger.rounds.change_count(site.name, name, day) + 1,
        day,
        sheet.at,
        notices=notices,
        chores=patched,
        called_off=called_off,
        states_once_delivered=after_revision(
            ledger.states_once_delivered(site.name, name, day), sheet, revision
        ),
        replaces=[notice.key for notice in replaces],
    )


def _corrected_chores(context: ServiceContext, told: RoundInForce) -> list[StoredChore]:
    """Return the chores of a round that a newer forecast may change."""
    return [
        chore
        for chore in context.ledger.chores.of_day(context.site.name, told.day)
        if chore.round == told.round.value and chore.kind in CORRECTED
    ]


def _may_be_heard(notice: Notice) -> bool:
    """Whether a notice has arrived, may have, or is a change that will."""
    return (
        notice.state in (NoticeState.SENT, NoticeState.SENDING)
        or notice.perhaps_sent > 0
        or (notice.state is NoticeState.WAITING and notice.stage in _CHANGES)
    )


def _order(context: ServiceContext, stored: StoredChore) -> Order | None:
    """A stored chore as it was told; None if its plants are no more."""
    chore = context.chore(stored)
    if chore is None:
        return None
    return Order(chore.id, chore.kind, chore.plants, chore.from_spot, chore.to_spot, hour_of(chore))
