"""What follows a round, in the words of a push: changes, reminders, and what was told too late."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import replace
from datetime import datetime, timedelta
from functools import partial

from sillward.wording import phrases
from sillward.wording.phrases import count_of
from sillward.wording.push import Message, Part, Words, composed, said
from sillward.wording.voice import Voice, capital
from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.remark import Remark
from sillward_rules.revision import ORDERS, Moved, Order, Revision, hour_of, only
from sillward_rules.sheet import Sheet

SOON = timedelta(minutes=30)
"""Time that is left is told in minutes from here on. Judgement."""

STALE_WORDS = timedelta(minutes=10)
"""A round that has waited so long is worded anew when it is sent. Judgement."""

LATE = timedelta(minutes=15)
"""So long after a deadline an order still says NOW; then it says that it was missed. Judgement."""


def change(revision: Revision, sheet: Sheet, voice: Voice, *, last: bool) -> Message:
    """A correction: what is new or at another hour, and what is not needed any more."""
    say, now = voice.say, sheet.at
    moved_orders = [one for one in revision.moved if one.chore.kind in ORDERS]
    later_out = [one for one in revision.moved if one.chore.kind not in ORDERS]
    orders = sorted(
        [*revision.added, *(one.chore for one in moved_orders)], key=lambda one: one.before
    )
    off = [one for one in revision.called_off if one.kind is ChoreKind.CARRY_IN]
    not_out = [one for one in revision.called_off if one.kind is ChoreKind.CARRY_OUT]
    heads = []
    if moved_orders:
        heads.append(say("head_change", heads=head(orders, now, voice)))
    elif orders:
        more = head if _are_all(orders, sheet) else _more
        heads.append(say("head_change", heads=more(orders, now, voice)))
    if off:
        heads.append(say("head_off", count=_count_of_orders(off)))
    if not_out:
        heads.append(say("head_not_out", count=_count_of_orders(not_out)))
    if later_out:
        chores = [one.chore for one in later_out]
        hour = voice.hour(min(hour_of(chore) for chore in chores))
        heads.append(say("head_out_later", hour=hour, count=count_of(chores)))

    parts = [
        *_orders([(one.chore, one.was) for one in moved_orders], now, voice),
        *_orders([(one, None) for one in revision.added], now, voice),
        phrases.too_cold(_about(phrases.plants_of(orders), sheet.warnings), voice),
        said(phrases.why(orders, voice) if orders else ""),
        _may_stay_out(off, sheet, voice),
        _not_out(not_out, voice),
        said(_too_cold_out(not_out, sheet, voice)),
        _out_later(later_out, voice),
        _rest_as_told(revision, sheet, voice),
        said(say("last_of_round") if last else "", kept=True),
    ]
    spare = room_for_minutes(orders, now, voice)
    return composed(capital("; ".join(heads[:2])), parts, voice, spare)


def _about(plants: AbstractSet[str], warnings: Iterable[Remark]) -> list[Remark]:
    """The warnings on where it is too cold, about these plants alone."""
    told = (one for one in warnings if phrases.is_too_cold(one))
    some = ((one, tuple(name for name in one.plants if name in plants)) for one in told)
    return [replace(one, plants=names) for one, names in some if names]


def reminder(chores: Sequence[Chore], now: datetime, voice: Voice, *, passed_on: bool) -> Message:
    """What nobody has acknowledged: what is overdue, the tenderest first, and what is due soon."""
    chores = [_told_before(one, now) for one in chores]
    chores.sort(key=lambda one: (one.before, min(map(phrases.margin, one.because))))
    late = any(one.overdue_since for one in chores)
    kinds = sorted({chore.kind.value for chore in chores})
    parts = [
        *_orders([(one, None) for one in chores], now, voice),
        said(voice.say("acknowledge", kinds=kinds, passed_on=passed_on), kept=True),
        said(phrases.why(chores, voice), optional=True),
    ]
    title = phrases.overdue(capital(head(chores, now, voice)), chores, now, voice)
    spare = 0 if late else room_for_minutes(chores, now, voice)
    return replace(composed(title, parts, voice, spare), urgent=late)


def _told_before(chore: Chore, now: datetime) -> Chore:
    """An order that was told and that nobody has confirmed, the tenderest of its plants first."""
    names = [reason.plant for reason in sorted(chore.because, key=phrases.margin)]
    return replace(
        only(chore, names),
        unconfirmed=chore.plants,
        overdue_since=chore.before if chore.before <= now else None,
    )


def in_few_words(orders: Sequence[Chore], now: datetime, voice: Voice) -> Message:
    """Orders, and nothing else: for a sheet that cannot be told as it should be."""
    parts = _orders([(one, None) for one in orders], now, voice)
    spare = room_for_minutes(orders, now, voice)
    return composed(capital(head(orders, now, voice)), list(parts), voice, spare)


def missed(chores: Sequence[Chore], now: datetime, voice: Voice) -> Message:
    """Orders of which nobody could be told in time: what is still to do, and until when."""
    say = voice.say
    until = max((one.until for chore in chores for one in chore.because if one.until), default=None)
    deadline = voice.clock_of_day(chores[0].before, now)
    over = until is not None and until <= now
    what = say("too_late", count=count_of(chores)) if over else _now(chores, voice)
    still = "" if until is None or over else voice.hour(until)

    untimed = [(one, None) for one in chores]
    parts = [
        said(say("still", why=phrases.why(chores, voice), until=still)),
        *([_left_out(chores, voice)] if over else _orders(untimed, None, voice)),
        said(say("look_at_them") if over else "", kept=True),
        said(say("nobody_took_it"), optional=True),
    ]
    title = say("missed", hour=deadline, what=what)
    return replace(composed(title, parts, voice), urgent=not over)


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


def room_for_minutes(orders: Iterable[Chore], now: datetime, voice: Voice) -> int:
    """Signs to be left for what `in_time` may put before a title until it is sent."""
    latest = now + SOON + STALE_WORDS
    if not any(now < one.before <= latest for one in orders):
        return 0
    return len(voice.say("minutes_left", minutes=round(SOON / timedelta(minutes=1)), title="-")) - 1


def head(orders: Sequence[Chore], now: datetime, voice: Voice) -> str:
    """ "in by 17:10: 5 plants", with the other kinds of orders after it."""
    return ", ".join(phrases.head_of(chores, now, voice) for _, chores in _by_kind(orders))


def _are_all(orders: Sequence[Chore], sheet: Sheet) -> bool:
    """Whether nothing but these is to be done: they are not more than something."""
    others = [one for one in sheet.chores if one.kind in ORDERS]
    return count_of(others) <= count_of(orders)


def _more(orders: Sequence[Chore], now: datetime, voice: Voice) -> str:
    """ "2 more in by 17:10", with the other kinds of orders after it."""
    return ", ".join(
        voice.say("head_more", kind=kind.value, **phrases.trips(chores, now, voice))
        for kind, chores in _by_kind(orders)
    )


def _now(chores: Sequence[Chore], voice: Voice) -> str:
    return ", ".join(
        voice.say("order_now", kind=kind.value, count=count_of(same))
        for kind, same in _by_kind(chores)
    )


def _by_kind(orders: Iterable[Chore]) -> list[tuple[ChoreKind, list[Chore]]]:
    """The orders of each kind by their hours, the kind that is due first at the beginning."""
    by_hour = sorted(orders, key=lambda one: one.before)
    kinds = dict.fromkeys(one.kind for one in by_hour if one.kind in ORDERS)
    return [(kind, [one for one in by_hour if one.kind is kind]) for kind in kinds]


def _orders(
    orders: Sequence[tuple[Chore, datetime | None]], now: datetime | None, voice: Voice
) -> Iterator[Part]:
    """A line for each order, with the hour before if it is another one now; on crowded days one
    for each kind. now: none where their hours are no matter any more."""
    for kind, chores in _by_kind([chore for chore, _ in orders]):
        lines = tuple(_order(one, was, now, voice) for one, was in orders if one.kind is kind)
        crowded = partial(phrases.crowded, kind, chores, now, voice)
        yield Part(lines, crowded, plants=phrases.plants_of_each(chores))


def _order(chore: Chore, was: datetime | None, now: datetime | None, voice: Voice) -> Words:
    when = phrases.when(chore, now, voice) if now else ""
    before = "" if was is None else voice.hour(was)

    def words(most: int) -> str:
        return voice.say(
            "order",
            kind=chore.kind.value,
            when=when,
            was="" if before == when else before,
            spot=chore.from_spot,
            to=chore.to_spot,
            who=voice.names(chore.plants, most),
        )

    return words


def _at_spots(line: Callable[[str, Sequence[str]], Words], orders: Iterable[Chore | Order]) -> Part:
    """A line for each spot, with all the plants that are there."""
    spots: dict[str, list[str]] = {}
    for one in orders:
        spots.setdefault(one.from_spot, []).extend(one.plants)
    lines = tuple(line(spot, plants) for spot, plants in spots.items())
    return Part(lines, plants=tuple(map(frozenset, spots.values())))


def _left_out(chores: Sequence[Chore], voice: Voice) -> Part:
    """Who stood where in a night that is over."""

    def at(spot: str, plants: Sequence[str]) -> Words:
        return lambda most: voice.say("left_out", spot=spot, who=voice.names(plants, most))

    return _at_spots(at, chores)


def _may_stay_out(orders: Sequence[Order], sheet: Sheet, voice: Voice) -> Part:
    def at(spot: str, plants: Sequence[str]) -> Words:
        low = sheet.lows.get(spot)
        return lambda most: voice.say(
            "may_stay_out", spot=spot, who=voice.names(plants, most), low_c=low
        )

    return _at_spots(at, orders)


def _rest_as_told(revision: Revision, sheet: Sheet, voice: Voice) -> Part:
    """Who is still to be carried in as it was told: a change of some is none of the others."""
    news = [*revision.added, *(one.chore for one in revision.moved)]
    changed = {name for chore in news for name in chore.plants}
    rest = [
        one
        for one in sheet.chores
        if one.kind is ChoreKind.CARRY_IN and not changed.issuperset(one.plants)
    ]
    plants = phrases.plants_of(rest) - changed
    kinds = {one.kind for one in news} | {one.kind for one in revision.called_off}
    if not plants or ChoreKind.CARRY_IN not in kinds:
        return Part(())
    first = max(min(hour_of(one) for one in rest), sheet.at)
    by = voice.by(first, sheet.at)
    return said(voice.say("rest_as_told", count=len(plants), by=by))


def _not_out(orders: Sequence[Order], voice: Voice) -> Part:
    plants = [name for one in orders for name in one.plants]

    def words(most: int) -> str:
        return voice.say("not_out_today", who=voice.names(plants, most))

    return Part((words,) if plants else (), plants=(frozenset(plants),))


def _too_cold_out(orders: Sequence[Order], sheet: Sheet, voice: Voice) -> str:
    """What keeps in who was to go out, by the sheet of now: the coldest of them; empty if nothing
    of it is known."""
    plants = {name for one in orders for name in one.plants}
    reasons = [
        reason
        for chore in sheet.chores
        if chore.kind is ChoreKind.STAY_IN and not plants.isdisjoint(chore.plants)
        for reason in chore.because
        if reason.plant in plants and reason.value is not None and reason.limit is not None
    ]
    if not reasons:
        return ""
    worst = min(reasons, key=lambda one: (one.value or 0.0) - (one.limit or 0.0))
    return voice.say(
        "too_cold_out",
        value=phrases.number(worst, voice),
        hour=voice.hour(worst.at),
        limit=phrases.limit(worst, voice),
        plant=worst.plant,
        short=(worst.value or 0.0) > (worst.limit or 0.0),
    )


def _out_later(moved: Sequence[Moved], voice: Voice) -> Part:
    def line(one: Moved) -> Words:
        hour, was = voice.hour(hour_of(one.chore)), voice.hour(one.was)
        return lambda most: voice.say(
            "out_later", hour=hour, was=was, who=voice.names(one.chore.plants, most)
        )

    plants = phrases.plants_of_each(one.chore for one in moved)
    return Part(tuple(line(one) for one in moved), plants=plants)


def _count_of_orders(orders: Sequence[Order]) -> int:
    return sum(len(one.plants) for one in orders)
