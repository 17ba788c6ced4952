"""Pieces of wording about chores that every message shares: the number that matters, and heads."""

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from typing import Any, TypeVar

from sillward.notices.voice import Voice
from sillward_rules.chore import Chore, ChoreKind, Reason
from sillward_rules.sheet import Sheet
from sillward_rules.spread import SURE, percent

SAME_TRIP = timedelta(minutes=30)
"""Walks this close together are one number in a title."""


def number(reason: Reason, voice: Voice) -> str:
    """The value with its unit; digits enough that it is visibly on its side of the limit."""
    if reason.value is None:
        return voice.say("not_known")
    digits = 0 if reason.unit in ("min", "%") else 1
    if reason.limit is None:
        return voice.measure(reason.value, reason.unit, digits)
    return voice.beside(reason.value, reason.limit, reason.unit, digits)


def limit(reason: Reason, voice: Voice) -> str:
    """The limit with its unit, bare."""
    return "" if reason.limit is None else voice.bound(reason.limit, reason.unit)


def chance(reasons: Sequence[Reason], voice: Voice) -> str:
    """ ", 68 % chance", ", 68 to 93 % chance"; nothing where all is unknown, or near certain."""
    known = [reason.chance for reason in reasons if reason.chance is not None]
    if not known or min(known) >= SURE:
        return ""
    low, high = percent(min(known)), percent(max(known))
    same = low == high
    return ", " + voice.say("chance", low=high if same else low.removesuffix(" %"), high=high)


def deciding(chores: Sequence[Chore]) -> Reason:
    """The reason that lies furthest beyond its limit: what nobody knows comes first."""

    def margin(reason: Reason) -> float:
        if reason.value is None or reason.limit is None:
            return float("-inf")
        gap = reason.value - reason.limit
        low_is_bad = reason.quantity in _LOW_IS_BAD and not reason.above
        return gap if low_is_bad else -gap

    return min((reason for chore in chores for reason in chore.because), key=margin)


_LOW_IS_BAD = frozenset({"temperature", "leaf temperature", "humidity", "film life"})


def why(chores: Sequence[Chore], voice: Voice) -> str:
    """The number that matters most, whose limit it breaks, and when."""
    reason = deciding(chores)
    if reason.value is None:
        return voice.say("night_not_known")
    return voice.say(
        "why",
        quantity=reason.quantity,
        value=number(reason, voice),
        hour=voice.hour(reason.at),
        limit="" if reason.limit is None else voice.bare(reason.limit, reason.unit),
        plant=reason.plant,
        chance=chance([reason], voice),
    )


def head_of(chores: Sequence[Chore], now: datetime, voice: Voice) -> str:
    """ "in by 17:50: 14 plants", ": 4 plants, 12 by 19:00" where the walks lie far apart; "cover by
    21:00: 3 plants". chores: of one kind, by their hours."""
    kind = chores[0].kind
    if kind is ChoreKind.CARRY_IN:
        return voice.say("head_in", **trips(chores, now, voice))
    by, count = voice.by(chores[0].before, now), count_of(chores)
    return voice.say("head_order", kind=kind.value, by=by, count=count)


def trips(chores: Sequence[Chore], now: datetime, voice: Voice) -> dict[str, Any]:
    """What a head tells of those that are one trip with the first, and of those that come later."""
    in_order = sorted(chores, key=lambda one: one.before)
    soon = [one for one in in_order if one.before - in_order[0].before <= SAME_TRIP]
    rest = in_order[len(soon) :]
    return {
        "by": voice.by(soon[0].before, now),
        "count": count_of(soon),
        "later": count_of(rest),
        "later_by": voice.by(rest[0].before, now) if rest else "",
    }


def known_lows(sheet: Sheet) -> list[tuple[str, float]]:
    """Tonight's low at each spot where it is known [°C]."""
    return [(spot, low) for spot, low in sheet.lows.items() if low is not None]


def count_of(chores: Sequence[Chore]) -> int:
    """How many plants, each once for every chore."""
    return sum(len(chore.plants) for chore in chores)


def plants_of(chores: Iterable[Chore]) -> frozenset[str]:
    """All plants of some chores."""
    return frozenset(name for chore in chores for name in chore.plants)


def plants_of_each(chores: Iterable[Chore]) -> tuple[frozenset[str], ...]:
    """The plants of each chore."""
    return tuple(frozenset(chore.plants) for chore in chores)


def crowded(
    kind: ChoreKind,
    chores: Sequence[Chore],
    now: datetime | None,
    voice: Voice,
    *,
    later: bool = False,
) -> str:
    """All chores of a kind in one line, the plants counted: of carrying in, or of protection.

    now: none where their hours are no matter any more. later: beside others of the day.
    """
    chores = sorted(chores, key=lambda one: one.before)
    if kind is not ChoreKind.CARRY_IN:
        by = voice.by(chores[0].before, now) if now else voice.say("now")
        counts: dict[str, int] = {}
        for one in chores:
            counts[way(one)] = counts.get(way(one), 0) + len(one.plants)
        spots = list(counts.items())
        return voice.say("crowded_guard", kind=kind.value, by=by, spots=spots)
    at: dict[str, list[Chore]] = {}
    for chore in chores:
        at.setdefault(chore.from_spot, []).append(chore)
    walks = [
        (
            voice.clock(of_spot[0].before, now) if now else "",
            spot,
            [(len(one.plants), one.to_spot) for one in of_spot],
        )
        for spot, of_spot in at.items()
    ]
    return voice.say("crowded_in", walks=once(walks), later=later)


Walk = TypeVar("Walk")


def once(walks: Sequence[tuple[str, str, Walk]]) -> list[tuple[str, str, Walk]]:
    """The same, the hour empty where it is the one before."""
    before = ["", *(when for when, _, _ in walks)]
    return [
        ("" if when == last else when, spot, what)
        for last, (when, spot, what) in zip(before, walks, strict=False)
    ]


def whose(reason: Reason, voice: Voice) -> str:
    """Whose limit it is, without the source behind it: "yours", "cattleya"."""
    head = reason.origin.split(":")[0]
    if head.startswith("group "):
        return head.removeprefix("group ").strip('"')
    return voice.retold(voice.say("whose", origin=head))


def way(chore: Chore) -> str:
    """Where a chore is, or from where to where it goes."""
    goes = chore.kind in (ChoreKind.CARRY_IN, ChoreKind.CARRY_OUT, ChoreKind.MOVE)
    return f"{chore.from_spot} > {chore.to_spot}" if goes else chore.from_spot


def back(chore: Chore, voice: Voice) -> str:
    """From when on all that was moved out of the heat may come back; empty where some stay."""
    hours = [reason.until for reason in chore.because]
    known = [one for one in hours if one is not None]
    return voice.hour(max(known)) if hours and len(known) == len(hours) else ""


def no_wetting(chore: Chore) -> bool:
    """Whether a stop-wetting chore means that nothing may be wetted all day."""
    return (
        chore.kind is ChoreKind.STOP_WETTING
        and chore.not_before is not None
        and chore.before <= chore.not_before
    )
