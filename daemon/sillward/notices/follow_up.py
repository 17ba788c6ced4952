"""What follows a round, in the words of a push: changes, reminders, and what was told too late."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from sillward.notices import phrases
from sillward.notices.phrases import count_of
from sillward.notices.push import Message, fits, shortened
from sillward.notices.voice import Voice, capital
from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.revision import Order, Revision, hour_of
from sillward_rules.sheet import Sheet

VERBS = (ChoreKind.CARRY_IN, ChoreKind.COVER, ChoreKind.SECURE)
"""Orders, the most urgent first."""

SOON = timedelta(minutes=30)
"""Time that is left is told in minutes from here on. Judgement."""

LATE = timedelta(minutes=15)
"""So long after a deadline an order still says NOW; then it says that it was missed. Judgement."""


def change(revision: Revision, sheet: Sheet, voice: Voice, *, last: bool) -> Message:
    """A correction: what is new or at another hour, and what is not needed any more."""
    say, now = voice.say, sheet.at
    moved_orders = [one for one in revision.moved if one.chore.kind in VERBS]
    later_out = [one for one in revision.moved if one.chore.kind not in VERBS]
    orders = sorted(
        [*revision.added, *(one.chore for one in moved_orders)], key=lambda one: one.before
    )
    off = [one for one in revision.called_off if one.kind is ChoreKind.CARRY_IN]
    not_out = [one for one in revision.called_off if one.kind is ChoreKind.CARRY_OUT]
    heads = []
    if moved_orders:
        heads.append(say("head_change", heads=head(orders, now, voice)))
    elif orders:
        heads.append(say("head_change", heads=_more(orders, now, voice)))
    if off:
        heads.append(say("head_off", count=_count_of_orders(off)))
    if not_out:
        heads.append(say("head_not_out", count=_count_of_orders(not_out)))
    if later_out:
        chores = [one.chore for one in later_out]
        hour = voice.hour(min(hour_of(chore) for chore in chores))
        heads.append(say("head_out_later", hour=hour, count=count_of(chores)))

    def lines(most: int) -> list[str]:
        told = [_order(one.chore, now, voice, most, was=one.was) for one in moved_orders]
        told += [_order(chore, now, voice, most) for chore in revision.added]
        told += [phrases.why(orders, voice)] if orders else []
        told += [_off(one, sheet, voice, most) for one in off]
        told += [say("not_out_today", who=voice.names(one.plants, most)) for one in not_out]
        told += [
            say(
                "out_later",
                hour=voice.hour(hour_of(one.chore)),
                was=voice.hour(one.was),
                who=voice.names(one.chore.plants, most),
            )
            for one in later_out
        ]
        return [*told, say("last_of_round")] if last else told

    return _fitted(capital("; ".join(heads[:2])), lines)


def reminder(chores: Sequence[Chore], now: datetime, voice: Voice, *, passed_on: bool) -> Message:
    """What nobody has acknowledged and is due soon."""
    kinds = sorted({chore.kind.value for chore in chores})

    def lines(most: int) -> list[str]:
        return [
            *(_order(chore, now, voice, most) for chore in chores),
            phrases.why(chores, voice),
            voice.say("acknowledge", kinds=kinds, passed_on=passed_on),
        ]

    return _fitted(capital(head(chores, now, voice)), lines)


def missed(chores: Sequence[Chore], now: datetime, voice: Voice) -> Message:
    """Orders of which nobody could be told in time: what is still to do, and until when."""
    say = voice.say
    until = max((one.until for chore in chores for one in chore.because if one.until), default=None)
    deadline = voice.clock_of_day(chores[0].before, now)
    over = until is not None and until <= now
    what = say("too_late", count=count_of(chores)) if over else _now(chores, voice)
    still = "" if until is None or over else voice.hour(until)

    def lines(most: int) -> list[str]:
        return [
            say("still", why=phrases.why(chores, voice), until=still),
            *(_order(chore, now, voice, most, timed=False) for chore in chores),
            *([say("look_at_them")] if over else []),
            say("nobody_took_it"),
        ]

    return replace(_fitted(say("missed", hour=deadline, what=what), lines), urgent=not over)


def in_time(message: Message, deadline: datetime, now: datetime, voice: Voice) -> Message:
    """The message with the minutes that are left, if they are few; or with NOW."""
    left = deadline - now
    if left <= timedelta(0):
        return replace(message, title=voice.say("at_once", title=message.title))
    if left <= SOON:
        minutes = max(1, int(left / timedelta(minutes=1)))
        title = voice.say("minutes_left", minutes=minutes, title=message.title)
        return replace(message, title=title)
    return message


def head(orders: Sequence[Chore], now: datetime, voice: Voice) -> str:
    """ "in by 17:10: 5 plants", with the other kinds of orders after it."""
    parts = []
    for kind, chores in _by_kind(orders):
        if kind is ChoreKind.CARRY_IN:
            parts.append(phrases.head_in(chores, now, voice))
        else:
            by, count = voice.by(chores[0].before, now), count_of(chores)
            parts.append(voice.say("head_order", kind=kind.value, by=by, count=count))
    return ", ".join(parts)


def _more(orders: Sequence[Chore], now: datetime, voice: Voice) -> str:
    """ "2 more in by 17:10", with the other kinds of orders after it."""
    return ", ".join(
        voice.say(
            "head_more",
            kind=kind.value,
            by=voice.by(chores[0].before, now),
            count=count_of(chores),
        )
        for kind, chores in _by_kind(orders)
    )


def _now(chores: Sequence[Chore], voice: Voice) -> str:
    return ", ".join(
        voice.say("order_now", kind=kind.value, count=count_of(same))
        for kind, same in _by_kind(chores)
    )


def _by_kind(orders: Sequence[Chore]) -> list[tuple[ChoreKind, list[Chore]]]:
    kinds = [(kind, [one for one in orders if one.kind is kind]) for kind in VERBS]
    return [(kind, chores) for kind, chores in kinds if chores]


def _order(
    chore: Chore,
    now: datetime,
    voice: Voice,
    most: int,
    *,
    timed: bool = True,
    was: datetime | None = None,
) -> str:
    """One order, with its hour, and with the hour before if that was another one."""
    when = voice.clock(chore.before, now) if timed else ""
    before = "" if was is None else voice.hour(was)
    return voice.say(
        "order",
        kind=chore.kind.value,
        when=when,
        was="" if before == when else before,
        spot=chore.from_spot,
        to=chore.to_spot,
        who=voice.names(chore.plants, most),
    )


def _off(order: Order, sheet: Sheet, voice: Voice, most: int) -> str:
    who = voice.names(order.plants, most)
    low = sheet.lows.get(order.from_spot)
    return voice.say("may_stay_out", spot=order.from_spot, who=who, low_c=low)


def _count_of_orders(orders: Sequence[Order]) -> int:
    return sum(len(one.plants) for one in orders)


def _fitted(title: str, lines: Callable[[int], list[str]]) -> Message:
    """As many names, and then as many lines, as a push may have."""
    for most in (8, 5, 3, 2, 1, 0):
        body = "\n".join(lines(most))
        if fits(title, body):
            return Message(title, body)
    return shortened(title, lines(0))
