"""What follows a round, in the words of a push: changes, reminders, and what was told too late."""

from collections.abc import Callable, Sequence
from datetime import datetime, timedelta

from sillward.notices import phrases
from sillward.notices.short import Message, fits, shortened
from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.revision import Moved, Order, Revision, hour_of
from sillward_rules.sheet import Sheet
from sillward_rules.site import Site

VERBS = {ChoreKind.CARRY_IN: "in", ChoreKind.COVER: "cover", ChoreKind.SECURE: "secure"}
"""What an order asks for, in a word."""

SOON = timedelta(minutes=30)
"""Time that is left is told in minutes from here on. Judgement."""

LATE = timedelta(minutes=15)
"""So long after a deadline an order still says NOW; then it says that it was missed. Judgement."""

LAST = "No more of this round: go by your own thermometer"


def change(revision: Revision, sheet: Sheet, site: Site, *, last: bool) -> Message:
    """A correction: what is new or at another hour, and what is not needed any more."""
    moved_orders = [one for one in revision.moved if one.chore.kind in VERBS]
    later_out = [one for one in revision.moved if one.chore.kind not in VERBS]
    orders = sorted(
        [*revision.added, *(one.chore for one in moved_orders)], key=lambda one: one.before
    )
    off = [one for one in revision.called_off if one.kind is ChoreKind.CARRY_IN]
    not_out = [one for one in revision.called_off if one.kind is ChoreKind.CARRY_OUT]
    heads = []
    if moved_orders:
        heads.append(f"change: {head(orders, sheet.at, site)}")
    elif orders:
        heads.append(f"change: {_more(orders, sheet.at, site)}")
    if off:
        heads.append(f"no longer needed: {_count(off)} may stay out")
    if not_out:
        heads.append(f"stay in today: {_count(not_out)}")
    if later_out:
        chores = [one.chore for one in later_out]
        hour = phrases.hour(min(hour_of(chore) for chore in chores), site)
        heads.append(f"out later, from {hour}: {_count(chores)}")

    def lines(most: int) -> list[str]:
        told = [
            *(_moved(one, sheet.at, site, most) for one in moved_orders),
            *(phrases.capital(_way(chore, sheet.at, site, most)) for chore in revision.added),
        ]
        told += [phrases.why(orders, site)] if orders else []
        told += [_off(one, sheet, most) for one in off]
        told += [f"Not out today: {phrases.names(one.plants, most)}" for one in not_out]
        told += [
            f"From {phrases.hour(hour_of(one.chore), site)}, not {phrases.hour(one.was, site)}: "
            f"{phrases.names(one.chore.plants, most)}"
            for one in later_out
        ]
        return [*told, LAST] if last else told

    return _fitted(phrases.capital("; ".join(heads[:2])), lines)


def reminder(chores: Sequence[Chore], now: datetime, site: Site, *, passed_on: bool) -> Message:
    """What nobody has acknowledged and is due soon."""
    nobody = "nobody has said that it is done" if passed_on else "not acknowledged yet"

    def lines(most: int) -> list[str]:
        return [
            *(phrases.capital(_way(chore, now, site, most)) for chore in chores),
            phrases.why(chores, site),
            f"{phrases.capital(nobody)}: {_how_to_say(chores)}",
        ]

    return _fitted(phrases.capital(head(chores, now, site)), lines)


def missed(chores: Sequence[Chore], now: datetime, site: Site) -> Message:
    """Orders of which nobody could be told in time: what is still to do, and until when."""
    until = max((one.until for chore in chores for one in chore.because if one.until), default=None)
    deadline = phrases.clock_of_day(chores[0].before, now, site)
    over = until is not None and until <= now
    what = f"{_count(chores)} may have been too cold" if over else f"{_now(chores)}"

    def lines(most: int) -> list[str]:
        still = ""
        if until is not None and not over:
            still = f"; still under limit until {phrases.hour(until, site)}"
        look = ["Look at them"] if over else []
        return [
            phrases.why(chores, site) + still,
            *(phrases.capital(_way(chore, now, site, most, timed=False)) for chore in chores),
            *look,
            "No channel took the notice in time",
        ]

    return _fitted(f"Missed {deadline}: {what}", lines)


def in_time(message: Message, deadline: datetime, now: datetime) -> Message:
    """The message with the minutes that are left, if they are few; or with NOW."""
    left = deadline - now
    if left <= timedelta(0):
        return Message(f"NOW: {message.title}", message.body)
    if left <= SOON:
        minutes = max(1, int(left / timedelta(minutes=1)))
        return Message(f"{minutes} min left: {message.title}", message.body)
    return message


def head(orders: Sequence[Chore], now: datetime, site: Site) -> str:
    """ "in by 17:10: 5 plants", with the other kinds of orders after it."""
    parts = []
    for kind, verb in VERBS.items():
        chores = [one for one in orders if one.kind is kind]
        if chores and kind is ChoreKind.CARRY_IN:
            parts.append(phrases.in_head(chores, now, site))
        elif chores:
            when = phrases.by(phrases.clock(chores[0].before, now, site))
            parts.append(f"{verb} {when}: {_count(chores)}")
    return ", ".join(parts)


def _more(orders: Sequence[Chore], now: datetime, site: Site) -> str:
    """ "2 more in by 17:10", with the other kinds of orders after it."""
    parts = []
    for kind, verb in VERBS.items():
        chores = [one for one in orders if one.kind is kind]
        if chores:
            when = phrases.by(phrases.clock(chores[0].before, now, site))
            parts.append(f"{sum(len(one.plants) for one in chores)} more {verb} {when}")
    return ", ".join(parts)


def _now(chores: Sequence[Chore]) -> str:
    parts = []
    for kind, verb in VERBS.items():
        same = [one for one in chores if one.kind is kind]
        if same:
            parts.append(f"{verb} NOW {_count(same)}")
    return ", ".join(parts)


def _way(chore: Chore, now: datetime, site: Site, most: int, *, timed: bool = True) -> str:
    when = f"{phrases.clock(chore.before, now, site)} " if timed else ""
    names = phrases.names(chore.plants, most)
    if chore.kind is ChoreKind.CARRY_IN:
        return f"{when}{chore.from_spot} > {chore.to_spot}: {names}"
    return f"{when}{VERBS[chore.kind]} {chore.from_spot}: {names}"


def _moved(one: Moved, now: datetime, site: Site, most: int) -> str:
    was = phrases.hour(one.was, site)
    when = phrases.clock(one.chore.before, now, site)
    told = f"{when}, not {was}," if when != was else when
    return phrases.capital(f"{told} {_way(one.chore, now, site, most, timed=False)}")


def _off(order: Order, sheet: Sheet, most: int) -> str:
    names = phrases.names(order.plants, most)
    low = sheet.lows.get(order.from_spot)
    tonight = "" if low is None else f"; tonight {phrases.fixed(low, 1)} °C"
    return f"{phrases.capital(order.from_spot)}: {names} may stay out{tonight}"


def _count(chores: Sequence[Chore] | Sequence[Order]) -> str:
    return phrases.plants(sum(len(chore.plants) for chore in chores))


def _how_to_say(chores: Sequence[Chore]) -> str:
    kinds = {chore.kind.value for chore in chores}
    return " and ".join(f"`sillward done {kind}`" for kind in sorted(kinds))


def _fitted(title: str, lines: Callable[[int], list[str]]) -> Message:
    """As many names, and then as many lines, as a push may have."""
    for most in (8, 5, 3, 2, 1, 0):
        body = "\n".join(lines(most))
        if fits(title, body):
            return Message(title, body)
    return shortened(title, lines(0))
