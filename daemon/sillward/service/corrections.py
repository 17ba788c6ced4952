"""Corrections: what a newer forecast changes about a round that has been told, told once.

And alarms: what a thermometer at a spot shows in the night, if plants must go in because of it. An
alarm is an order like all others, but it is told in quiet hours too, to the channels that are told
alarms, and is none of the messages of its round.
"""

import logging
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from functools import cache

from sillward.config.channel import Channel
from sillward.ledger import Notice, NoticeState, Stage, StoredChore
from sillward.service.context import ServiceContext
from sillward.service.round_in_force import round_in_force
from sillward.wording import follow_up
from sillward_rules.chore import ChoreKind
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.state import PlantState
from sillward_rules.revision import (
    CORRECTED,
    Order,
    Revision,
    parted,
    revise,
    safe_outside,
    watched_spots,
)
from sillward_rules.sheet import Round, Sheet
from sillward_rules.told_orders import (
    RoundInForce,
    allowed_messages,
    order_of,
    patch_chores,
    without_messages,
)
from sillward_rules.transitions import after_revision
from sillward_rules.weather.spot import Spot

_CHANGES = frozenset({Stage.CHANGE, Stage.CALL_OFF})

log = logging.getLogger(__name__)


LEDGER_STEP = timedelta(seconds=1)
"""The ledger keeps times to this."""


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
        """Until when to send it: a call-off until the hour at which it would have been done."""
        if self.asks_something:
            return self.told.until
        return max(order.at for order in self.revision.called_off)

    @property
    def outdated(self) -> list[Notice]:
        """Changes that still wait: they may be untrue by now, and would be sent after this one."""
        return [
            notice
            for notice in self.notices
            if notice.state is NoticeState.WAITING and notice.stage in _CHANGES
        ]


@dataclass(frozen=True, slots=True)
class Known:
    """What orders are worked out from: they change only with one of these.

    - newest: the day, the forecast, the collection and the last answer.
    - tonight: the same collection with what thermometers showed of the night.
    """

    newest: tuple[object, ...]
    tonight: Collection


@dataclass(slots=True)
class Corrections:
    """Compares what was told with each new forecast, and after each answer of the grower."""

    context: ServiceContext
    compared: dict[Round, Known] = field(default_factory=dict)
    """For each round what was known when it was told, or last compared with that."""

    def look(self) -> None:
        """Enqueue a correction or an alarm if a newer forecast, or what was read, asks for one.

        After an answer the same forecast may ask for one: what was said of a milder night does not
        hold, or a plant that was carried in has been put out again.
        """
        context = self.context
        if not context.has_forecast():
            return
        told = round_in_force(context, context.clock())
        if told is None:
            return
        answered = context.ledger.deeds.latest(context.site.name, 1)
        if any(abs(context.clock() - deed.at) < LEDGER_STEP for deed in answered):
            return  # at the next tick: what is told now must be later than what was said
        known = self.known_for(told.day)
        before = self.compared.get(told.round)
        is_newer = before is None or before.newest != known.newest
        shows_more = before is None or before.tonight != known.tonight
        if is_newer or (shows_more and watched_spots(known.tonight.spots)):
            self._compare(told, is_newer=is_newer)
        self.compared[told.round] = known

    def known_for(self, day: date) -> Known:
        """Return what is known now that the orders of a day depend on."""
        context = self.context
        answered = context.ledger.deeds.latest(context.site.name, 1)
        edition = context.forecasts.edition(context.site)
        return Known((day, edition, context.taught_collection, answered), context.collection)

    def note_told(self, round_: Round, known: Known) -> None:
        """Note that a round was told of all that was known when it was worked out.

        It is what the newest forecast asks for: to plan it once more at once would change nothing.
        What has come in meanwhile is compared at the next look.
        """
        self.compared[round_] = known

    def forget_comparisons(self) -> None:
        """Compare at the next look even if the forecast is still the same."""
        self.compared.clear()

    def _compare(self, told: RoundInForce, *, is_newer: bool) -> None:
        """Draw up the round again, and tell what has changed about it.

        is_newer: whether there is a newer forecast. If not, only an alarm is told.
        """
        context = self.context
        collection = context.collection
        weather, state = context.weather(), context.states()
        chores = _corrected_chores(context, told)
        open_orders = [
            order
            for chore in chores
            if chore.open and (order := _order(context, chore)) is not None
        ]
        goes_out = any(order.kind is ChoreKind.CARRY_OUT for order in open_orders)
        orders = context.orders(told.round, weather, goes_out=goes_out)
        revision = revise(
            open_orders,
            orders,
            cache(lambda: safe_outside(collection, weather, state, orders.at)),
            {
                (chore.kind, name)
                for chore in chores
                for name in chore.plants
                if is_done(chore, state.get(name))
            },
            context.household.policy.moved_by,
            collection.habits.out_after,
            watched_spots(collection.spots),
        )
        alarm, correction = parted(revision, watched_spots(collection.spots))
        if alarm:
            self._raise_alarm(told, context.sheet(told.round, weather), alarm, collection.spots)
        if correction and is_newer:
            notices = context.ledger.notices.of_round(
                context.site.name, told.round.value, told.day, stage=None
            )
            sheet = context.sheet(told.round, weather)
            self._tell(_Correction(told, sheet, correction, notices))

    def _raise_alarm(
        self, told: RoundInForce, sheet: Sheet, alarm: Revision, spots: Sequence[Spot]
    ) -> None:
        """Enqueue an alarm: what thermometers ask for, at once. spots: with what was read there."""
        context = self.context
        message = follow_up.alarm(alarm, sheet, spots, context.voice)
        change = _next_change(context, told)
        notices = [
            context.notice(
                channel,
                f"{told.round.value} alarm {change}",
                told.day,
                message,
                told.until,
                round_=told.round.value,
                change=change,
                stage=Stage.ALARM,
            )
            for channel in context.alarmed(told.day)
        ]
        save_revision(context, told, sheet, alarm, notices=notices)
        plants = sum(len(chore.plants) for chore in alarm.added)
        log.warning("alarm.told kind=tonight day=%s plants=%d", told.day, plants)

    def _tell(self, correction: _Correction) -> None:
        """Enqueue a correction for the channels that are to hear of it and have messages left."""
        told, revision = correction.told, correction.revision
        counts = self._counts(correction)
        audience = self._audience(correction)
        max_messages = self.context.household.policy.max_messages
        allowed = allowed_messages(revision, max_messages)
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
        """Return how many messages of the round each channel got, without those to be replaced."""
        told = correction.told
        counts = self.context.ledger.notices.count_by_channel(
            self.context.site.name, told.round.value, told.day
        )
        return Counter(counts) - Counter(notice.channel for notice in correction.outdated)

    def _save(
        self, correction: _Correction, channels: Sequence[Channel], counts: Mapping[str, int]
    ) -> None:
        """Write a correction to the ledger: its notices, and what it changes."""
        change = _next_change(self.context, correction.told)
        save_revision(
            self.context,
            correction.told,
            correction.sheet,
            correction.revision,
            notices=[
                self._notice(correction, channel, change, counts.get(channel.name, 0))
                for channel in channels
            ],
            replaces=correction.outdated,
        )

    def _save_untold(self, correction: _Correction) -> None:
        """Write what holds of a correction for which no channel has messages left."""
        revision = without_messages(correction.revision)
        if revision:
            save_revision(self.context, correction.told, correction.sheet, revision)

    def _notice(self, correction: _Correction, channel: Channel, change: int, count: int) -> Notice:
        """Return the notice for a channel. It replaces a change that waits by the whole round."""
        context, told = self.context, correction.told
        replaces_change = any(notice.channel == channel.name for notice in correction.outdated)
        if replaces_change:
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
            told.until if replaces_change else correction.good_until,
            round_=told.round.value,
            change=change,
            stage=Stage.CHANGE if replaces_change or correction.asks_something else Stage.CALL_OFF,
            skip=not replaces_change and self._is_slept_through(correction),
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

        A channel that is told this round hears of it

        - if the round, a change or a reminder has reached it, or may have;
        - if a change waits for it, because this correction comes after that change;
        - if there are new orders, and there was nothing to tell it so far.

        Where the round itself still waits, it gets the newest words when it is sent.

        Any other channel that was reached had an order passed on to it. It hears what is off or
        moved; of new orders it hears only after another change, which may have said "may stay out".
        """
        revision = correction.revision
        has_orders = bool(revision.added)
        changes_orders = bool(revision.moved or revision.called_off)
        told = correction.told
        of_round = {
            channel.name for channel in self.context.channels_for(told.round.value, told.day)
        }
        audience = []
        for channel in self.context.channels:
            notices = [notice for notice in correction.notices if notice.channel == channel.name]
            was_quiet = has_orders and _had_nothing_to_hear(notices)
            if channel.name in of_round:
                is_to_hear = (has_orders and not notices) or was_quiet or _was_reached(notices)
            else:
                is_to_hear = (was_quiet or _was_reached(notices)) and (
                    changes_orders or _heard_of_a_change(notices)
                )
            if is_to_hear:
                audience.append(channel)
        return audience


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
    chores = _corrected_chores(context, told)
    patched, called_off = patch_chores(
        {chore.id: (chore.chore, chore.changed_at) for chore in chores if chore.open},
        {chore.id for chore in chores if not chore.open},
        revision,
        sheet.at,
    )
    ledger.keep_change(
        site.name,
        name,
        _next_change(context, told),
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


def _next_change(context: ServiceContext, told: RoundInForce) -> int:
    """Return the number of the next change of a round, from 1."""
    name, rounds = told.round.value, context.ledger.rounds
    return rounds.change_count(context.site.name, name, told.day) + 1


def _corrected_chores(context: ServiceContext, told: RoundInForce) -> list[StoredChore]:
    """Return the chores of a round that a newer forecast may change."""
    return [
        chore
        for chore in context.ledger.chores.of_day(context.site.name, told.day)
        if chore.round == told.round.value and chore.kind in CORRECTED
    ]


def is_done(chore: StoredChore, state: PlantState | None) -> bool:
    """Whether a chore has been confirmed, and the plant not been moved by hand since.

    A plant that was carried in and then put out again is no better off than before.
    """
    if chore.done_at is None:
        return False
    if chore.kind is not ChoreKind.CARRY_IN or state is None or state.since is None:
        return True
    was_moved = not state.assumed and state.since > chore.done_at
    return not was_moved or state.spot == chore.chore.to_spot


def _was_reached(notices: Iterable[Notice]) -> bool:
    """Whether one of a channel's notices has arrived, or may have, or is a change that will."""
    return any(_may_be_heard(notice) for notice in notices)


def _heard_of_a_change(notices: Iterable[Notice]) -> bool:
    """Whether one of the notices that reached a channel is about a change."""
    return _was_reached(notice for notice in notices if notice.stage in _CHANGES)


def _had_nothing_to_hear(notices: Iterable[Notice]) -> bool:
    """Whether one of a channel's notices was not sent because there was nothing in it."""
    return any(notice.state is NoticeState.NOT_NEEDED for notice in notices)


def _may_be_heard(notice: Notice) -> bool:
    """Whether a notice has arrived, may have, or is a change that will."""
    return (
        notice.state in (NoticeState.SENT, NoticeState.SENDING)
        or notice.perhaps_sent > 0
        or (notice.state is NoticeState.WAITING and notice.stage in _CHANGES)
    )


def _order(context: ServiceContext, stored: StoredChore) -> Order | None:
    """Return a stored chore as it was told, or None if all of its plants were removed."""
    chore = context.chore(stored)
    return None if chore is None else order_of(chore)
