"""Pushes that follow a round: corrections, alarms, reminders, and what came too late."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from functools import partial

from sillward.wording import chore_phrases, load_words, reason_phrases
from sillward.wording.chore_phrases import count_of
from sillward.wording.push import LineText, Message, Part, composed, plain_part
from sillward.wording.voice import Voice, capital
from sillward_rules.chore import URGENT, Chore, ChoreKind, only
from sillward_rules.remark import Remark
from sillward_rules.revision import Moved, Order, Revision, hour_of
from sillward_rules.sheet import Sheet
from sillward_rules.weather.spot import Spot

SOON = timedelta(minutes=30)
"""Up to this much time before a deadline a title tells the minutes left. Judgement: earlier, the
hour itself is easier to plan by."""

STALE_WORDS = timedelta(minutes=10)
"""A round that has waited this long is worded again when it is sent. Judgement: the minutes and
hours that it gives are no longer true by then."""

LATE = timedelta(minutes=15)
"""How long after a deadline an order still says NOW; after that it says that it was missed.
Judgement: the leaf cools slowly enough for a late trip to help."""


def correction(revision: Revision, sheet: Sheet, voice: Voice, *, last: bool) -> Message:
    """Return a correction: what is new or due at another hour, and what is no longer needed.

    last: it is the last correction of this round.
    """
    say, now = voice.say, sheet.at
    moved_orders = [change for change in revision.moved if change.chore.kind in URGENT]
    later_out = [change for change in revision.moved if change.chore.kind not in URGENT]
    orders = sorted(
        [*revision.added, *(change.chore for change in moved_orders)],
        key=lambda chore: chore.before,
    )
    off = [order for order in revision.called_off if order.kind is ChoreKind.CARRY_IN]
    not_out = [order for order in revision.called_off if order.kind is ChoreKind.CARRY_OUT]
    heads = []
    if moved_orders:
        heads.append(say("head_change", heads=head(orders, now, voice)))
    elif orders:
        more = head if _is_all_there_is_to_do(orders, sheet) else _heads_of_more
        heads.append(say("head_change", heads=more(orders, now, voice)))
    if off:
        heads.append(say("head_off", count=_count_of_orders(off)))
    if not_out:
        heads.append(say("head_not_out", count=_count_of_orders(not_out)))
    if later_out:
        chores = [change.chore for change in later_out]
        hour = voice.hour(min(hour_of(chore) for chore in chores))
        heads.append(say("head_out_later", hour=hour, count=count_of(chores)))

    parts = [
        *_orders([(change.chore, change.was) for change in moved_orders], now, voice),
        *_orders([(order, None) for order in revision.added], now, voice),
        replace(load_words.of_push(orders, now, voice), hours=()),
        _too_cold_part(orders, sheet, voice),
        plain_part(reason_phrases.why(orders, voice) if orders else ""),
        _may_stay_out(off, sheet, voice),
        _not_out(not_out, voice),
        plain_part(_too_cold_out(not_out, sheet, voice)),
        _out_later(later_out, voice),
        _rest_as_told(revision, sheet, voice),
        plain_part(say("last_of_round") if last else "", kept=True),
    ]
    spare = room_for_minutes(orders, now, voice)
    return composed(capital("; ".join(heads[:2])), parts, voice, spare)


def alarm(revision: Revision, sheet: Sheet, spots: Iterable[Spot], voice: Voice) -> Message:
    """Return what thermometers at the spots ask for: which plants must go in, and what was read.

    spots: those of the sheet's collection, with what was read there.
    """
    say, now = voice.say, sheet.at
    orders = sorted(revision.added, key=lambda chore: chore.before)
    emptied = {order.from_spot for order in orders}
    read = {spot.name: spot.tonight for spot in spots if spot.name in emptied and spot.tonight}
    first = next(order.from_spot for order in orders if order.from_spot in read)
    title = say(
        "head_alarm",
        spot=first,
        read_c=read[first].read_c,
        falling=read[first].falling,
        heads=head(orders, now, voice),
    )
    shown = [
        say(
            "read_tonight",
            spot=name,
            read_c=course.read_c,
            hour=voice.hour(course.read_at),
            told_c=course.told_c,
        )
        for name, course in read.items()
    ]
    parts = [
        *_orders([(order, None) for order in revision.added], now, voice),
        _too_cold_part(orders, sheet, voice),
        *(plain_part(line) for line in shown),
        plain_part(reason_phrases.why(orders, voice)),
    ]
    spare = room_for_minutes(orders, now, voice)
    return composed(capital(title), parts, voice, spare)


def _too_cold_part(orders: Sequence[Chore], sheet: Sheet, voice: Voice) -> Part:
    """Return the warnings on where it is too cold, narrowed to the plants of some orders."""
    plants = chore_phrases.plants_of(orders)
    narrowed: list[Remark] = [
        replace(warning, plants=affected)
        for warning in sheet.warnings
        if chore_phrases.is_too_cold(warning)
        and (affected := tuple(name for name in warning.plants if name in plants))
    ]
    return chore_phrases.too_cold_part(narrowed, voice)


def reminder(
    chores: Sequence[Chore],
    now: datetime,
    voice: Voice,
    *,
    passed_on: bool,
    linked: bool = False,
) -> Message:
    """Return a reminder of orders that nobody has confirmed, the overdue and the tenderest first.

    passed_on: it goes to the next channel, because nobody answered on the first.
    linked: it is sent with a link by which to answer.

    Where the grower has asked to be reminded of other chores too, it is a list of all of them.
    """
    if any(chore.kind not in URGENT for chore in chores):
        return _asked_for(chores, now, voice, linked=linked)
    chores = [_as_reminded(chore, now) for chore in chores]
    chores.sort(key=lambda chore: (chore.before, min(map(reason_phrases.margin, chore.because))))
    late = any(chore.overdue_since for chore in chores)
    kinds = sorted({chore.kind.value for chore in chores})
    parts = [
        *_orders([(chore, None) for chore in chores], now, voice),
        replace(load_words.of_push([] if late else chores, now, voice), hours=()),
        plain_part(
            voice.say("acknowledge", kinds=kinds, passed_on=passed_on, linked=linked), kept=True
        ),
        plain_part(reason_phrases.why(chores, voice), optional=True),
    ]
    title = chore_phrases.overdue_title(capital(head(chores, now, voice)), chores, now, voice)
    spare = 0 if late else room_for_minutes(chores, now, voice)
    return replace(composed(title, parts, voice, spare), urgent=late)


def _asked_for(chores: Sequence[Chore], now: datetime, voice: Voice, *, linked: bool) -> Message:
    """Return a reminder of chores of any kind, each with its deadline."""
    chores = sorted(chores, key=lambda chore: chore.before)

    def line(chore: Chore) -> LineText:
        facts = {"way": chore_phrases.way(chore), "by": voice.by(chore.before, now)}
        return lambda most: voice.say(
            "asked_for", kind=chore.kind.value, who=voice.names(chore.plants, most), **facts
        )

    kinds = list(dict.fromkeys(chore.kind for chore in chores))
    heads = []
    for kind in kinds:
        same = [chore for chore in chores if chore.kind is kind]
        by = voice.by(same[0].before, now)
        count = len({name for chore in same for name in chore.plants})
        heads.append(voice.say("head_asked_for", kind=kind.value, by=by, count=count))
    lines = tuple(line(chore) for chore in chores)
    names = [kind.value for kind in kinds]
    parts = [
        Part(lines, plants=chore_phrases.plants_of_each(chores)),
        plain_part(
            voice.say("acknowledge", kinds=names, passed_on=False, linked=linked), kept=True
        ),
    ]
    return composed(capital(", ".join(heads)), parts, voice)


def _as_reminded(chore: Chore, now: datetime) -> Chore:
    """Return an order as unconfirmed, its tenderest plant first, overdue if it is."""
    names = [reason.plant for reason in sorted(chore.because, key=reason_phrases.margin)]
    return replace(
        only(chore, names),
        unconfirmed=chore.plants,
        overdue_since=chore.before if chore.before <= now else None,
    )


def orders_only(orders: Sequence[Chore], now: datetime, voice: Voice) -> Message:
    """Return orders and nothing else, for a sheet that cannot be worded because of a defect."""
    parts = _orders([(order, None) for order in orders], now, voice)
    spare = room_for_minutes(orders, now, voice)
    return composed(capital(head(orders, now, voice)), list(parts), voice, spare)


def missed(chores: Sequence[Chore], now: datetime, voice: Voice) -> Message:
    """Return what is still to do about orders that could not be told in time, and until when."""
    say = voice.say
    reasons = [reason for chore in chores for reason in chore.single_reasons]
    until = max((reason.until for reason in reasons if reason.until), default=None)
    deadline = voice.clock_of_day(chores[0].before, now)
    over = until is not None and until <= now
    what = say("too_late", count=count_of(chores)) if over else _heads_now(chores, voice)
    still = "" if until is None or over else voice.hour(until)

    untimed = [(chore, None) for chore in chores]
    parts = [
        plain_part(say("still", why=reason_phrases.why(chores, voice), until=still)),
        *([_left_out(chores, voice)] if over else _orders(untimed, None, voice)),
        plain_part(say("look_at_them") if over else "", kept=True),
        plain_part(say("nobody_took_it"), optional=True),
    ]
    title = say("missed", hour=deadline, what=what)
    return replace(composed(title, parts, voice), urgent=not over)


def in_time(message: Message, deadline: datetime, now: datetime, voice: Voice) -> Message:
    """Return the message with the minutes left before its title, if they are few, or with NOW."""
    left = deadline - now
    if left <= timedelta(0):
        return replace(message, title=voice.say("at_once", title=message.title))
    if left <= SOON:
        minutes = max(1, int(left / timedelta(minutes=1)))
        title = voice.say("minutes_left", minutes=minutes, title=message.title)
        return replace(message, title=title)
    return message


def room_for_minutes(orders: Iterable[Chore], now: datetime, voice: Voice) -> int:
    """Return how many characters `in_time` may put before the title until it is sent."""
    latest = now + SOON + STALE_WORDS
    if not any(now < order.before <= latest for order in orders):
        return 0
    return len(voice.say("minutes_left", minutes=round(SOON / timedelta(minutes=1)), title="-")) - 1


def head(orders: Sequence[Chore], now: datetime, voice: Voice) -> str:
    """Return "in by 17:10: 5 plants", followed by the other kinds of orders."""
    return ", ".join(chore_phrases.head_of(chores, now, voice) for _, chores in _by_kind(orders))


def _is_all_there_is_to_do(orders: Sequence[Chore], sheet: Sheet) -> bool:
    """Whether the sheet has no other orders than these, so that they are not "more"."""
    others = [chore for chore in sheet.chores if chore.kind in URGENT]
    return count_of(others) <= count_of(orders)


def _heads_of_more(orders: Sequence[Chore], now: datetime, voice: Voice) -> str:
    """Return "2 more in by 17:10", followed by the other kinds of orders."""
    return ", ".join(
        voice.say("head_more", kind=kind.value, **chore_phrases.head_facts(chores, now, voice))
        for kind, chores in _by_kind(orders)
    )


def _heads_now(chores: Sequence[Chore], voice: Voice) -> str:
    """Return "in NOW: 5 plants", followed by the other kinds of orders."""
    return ", ".join(
        voice.say("order_now", kind=kind.value, count=count_of(same))
        for kind, same in _by_kind(chores)
    )


def _by_kind(orders: Iterable[Chore]) -> list[tuple[ChoreKind, list[Chore]]]:
    """Return the orders of each kind by their deadlines, the kind that is due first in front."""
    by_hour = sorted(orders, key=lambda order: order.before)
    kinds = dict.fromkeys(order.kind for order in by_hour if order.kind in URGENT)
    return [(kind, [order for order in by_hour if order.kind is kind]) for kind in kinds]


def _orders(
    orders: Sequence[tuple[Chore, datetime | None]], now: datetime | None, voice: Voice
) -> Iterator[Part]:
    """Yield a part for each kind of order, with a line for each order.

    orders: the orders, each with its earlier hour if that has changed, else None.
    now: the present time, or None where hours no longer matter.
    """
    for kind, chores in _by_kind([chore for chore, _ in orders]):
        lines = tuple(_order(order, was, now, voice) for order, was in orders if order.kind is kind)
        crowded = partial(chore_phrases.crowded_lines, kind, chores, now, voice)
        yield Part(lines, crowded, plants=chore_phrases.plants_of_each(chores))


def _order(chore: Chore, was: datetime | None, now: datetime | None, voice: Voice) -> LineText:
    """Return the line of an order.

    was: its earlier hour, if that has changed.
    """
    when = chore_phrases.when(chore, now, voice) if now else ""
    before = "" if was is None else voice.hour(was)

    def line_text(most: int) -> str:
        return voice.say(
            "order",
            kind=chore.kind.value,
            when=when,
            was="" if before == when else before,
            spot=chore.from_spot,
            to=chore.to_spot,
            who=voice.names(chore.plants, most),
        )

    return line_text


def _at_spots(
    line: Callable[[str, Sequence[str]], LineText], orders: Iterable[Chore | Order]
) -> Part:
    """Return a line for each spot, with all the plants that are there."""
    spots: dict[str, list[str]] = {}
    for order in orders:
        spots.setdefault(order.from_spot, []).extend(order.plants)
    lines = tuple(line(spot, plants) for spot, plants in spots.items())
    return Part(lines, plants=tuple(map(frozenset, spots.values())))


def _left_out(chores: Sequence[Chore], voice: Voice) -> Part:
    """Return where plants stood in a night that is over."""

    def line(spot: str, plants: Sequence[str]) -> LineText:
        return lambda most: voice.say("left_out", spot=spot, who=voice.names(plants, most))

    return _at_spots(line, chores)


def _may_stay_out(orders: Sequence[Order], sheet: Sheet, voice: Voice) -> Part:
    """Return where plants may stay that were to be carried in, and how cold it gets there."""

    def line(spot: str, plants: Sequence[str]) -> LineText:
        low = sheet.lows.get(spot)
        return lambda most: voice.say(
            "may_stay_out", spot=spot, who=voice.names(plants, most), low_c=low
        )

    return _at_spots(line, orders)


def _rest_as_told(revision: Revision, sheet: Sheet, voice: Voice) -> Part:
    """Return how many plants still go in as they were told, besides those that changed."""
    new_orders = [*revision.added, *(change.chore for change in revision.moved)]
    changed = {name for chore in new_orders for name in chore.plants}
    rest = [
        chore
        for chore in sheet.chores
        if chore.kind is ChoreKind.CARRY_IN and not changed.issuperset(chore.plants)
    ]
    plants = chore_phrases.plants_of(rest) - changed
    kinds = {chore.kind for chore in new_orders} | {order.kind for order in revision.called_off}
    if not plants or ChoreKind.CARRY_IN not in kinds:
        return Part(())
    first = max(min(hour_of(chore) for chore in rest), sheet.at)
    by = voice.by(first, sheet.at)
    return plain_part(voice.say("rest_as_told", count=len(plants), by=by))


def _not_out(orders: Sequence[Order], voice: Voice) -> Part:
    """Return the plants that were to go out, and stay in."""
    plants = [name for order in orders for name in order.plants]

    def line_text(most: int) -> str:
        return voice.say("not_out_today", who=voice.names(plants, most))

    return Part((line_text,) if plants else (), plants=(frozenset(plants),))


def _too_cold_out(orders: Sequence[Order], sheet: Sheet, voice: Voice) -> str:
    """Return why the present sheet keeps plants in that were to go out.

    The reason is that of the coldest plant; the text is empty if none is known.
    """
    plants = {name for order in orders for name in order.plants}
    reasons = [
        reason
        for chore in sheet.chores
        if chore.kind is ChoreKind.STAY_IN and not plants.isdisjoint(chore.plants)
        for reason in chore.because
        if reason.plant in plants and reason.value is not None and reason.limit is not None
    ]
    if not reasons:
        return ""
    worst = min(reasons, key=lambda reason: (reason.value or 0.0) - (reason.limit or 0.0))
    return voice.say(
        "too_cold_out",
        value=reason_phrases.number(worst, voice),
        hour=voice.hour(worst.at),
        limit=reason_phrases.limit(worst, voice),
        plant=worst.plant,
        short=(worst.value or 0.0) > (worst.limit or 0.0),
    )


def _out_later(moved: Sequence[Moved], voice: Voice) -> Part:
    """Return the plants that go out at another hour, with the earlier one."""

    def line(change: Moved) -> LineText:
        hour, was = voice.hour(hour_of(change.chore)), voice.hour(change.was)
        return lambda most: voice.say(
            "out_later", hour=hour, was=was, who=voice.names(change.chore.plants, most)
        )

    plants = chore_phrases.plants_of_each(change.chore for change in moved)
    return Part(tuple(line(change) for change in moved), plants=plants)


def _count_of_orders(orders: Sequence[Order]) -> int:
    return sum(len(order.plants) for order in orders)
