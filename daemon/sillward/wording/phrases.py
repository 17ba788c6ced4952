"""Pieces of wording about chores that every message shares: the number that matters, and heads."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any, TypeGuard, TypeVar

from sillward.wording.push import Line, Part, Words
from sillward.wording.voice import Voice
from sillward_rules.chore import Chore, ChoreKind, Reason
from sillward_rules.remark import NoShelter, Remark, ShelterTooCold, ShelterUnknown
from sillward_rules.revision import ORDERS, hour_of
from sillward_rules.sheet import Sheet
from sillward_rules.weather.uncertainty import SURE, percent

SAME_TRIP = timedelta(minutes=30)
"""Walks this close together are reminded of together. Judgement."""


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
    return min((reason for chore in chores for reason in chore.because), key=margin)


def margin(reason: Reason) -> float:
    """How far within its limit it is, negative beyond it; least of all where it is not known."""
    if reason.value is None or reason.limit is None:
        return float("-inf")
    gap = reason.value - reason.limit
    low_is_bad = reason.quantity in _LOW_IS_BAD and not reason.above
    return gap if low_is_bad else -gap


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
        limit=limit(reason, voice),
        plant=reason.plant,
        above=reason.above,
        chance=chance([reason], voice),
    )


def head_of(chores: Sequence[Chore], now: datetime, voice: Voice) -> str:
    """ "in by 17:50: 5 plants, 9 more by 18:10"; "cover by 21:00: 3 plants".

    chores: of one kind.
    """
    kind = chores[0].kind
    facts = trips(chores, now, voice)
    if kind is ChoreKind.CARRY_IN:
        return voice.say("head_in", **facts)
    if kind not in ORDERS:  # then the hour of what comes later is no matter yet
        facts |= {"later_by": "", "several": False}
    return voice.say("head_order", kind=kind.value, **facts)


def by_hour(chores: Iterable[Chore], now: datetime) -> list[tuple[datetime, list[Chore]]]:
    """Chores that are told with one hour, in the order of these; what is overdue is due now.

    Titles and lines both count by it, so that they tell of the same plants.
    """
    at: dict[datetime, list[Chore]] = {}
    for chore in chores:
        at.setdefault(max(hour_of(chore), now), []).append(chore)
    return sorted(at.items(), key=lambda one: one[0])


def when(chore: Chore, now: datetime, voice: Voice) -> str:
    """By which hour a chore is to be done: "17:10", "now", "overdue since 16:10"."""
    if chore.overdue_since is None:
        return voice.clock(chore.before, now)
    return voice.say("overdue_since", hour=voice.clock_of_day(chore.overdue_since, now))


def if_taken_in(out: Chore, voice: Voice, most: int | None) -> str:
    """Who goes out only if somebody has taken them in: "all", or at most so many names."""
    if len(out.unconfirmed) == len(out.plants):
        return "all"
    return voice.names(out.unconfirmed, most) if out.unconfirmed else ""


def overdue(title: str, chores: Iterable[Chore], now: datetime, voice: Voice) -> str:
    """The title, and before it for how long the first of some orders has been overdue, if so."""
    since = min((one.overdue_since for one in chores if one.overdue_since), default=None)
    if since is None:
        return title
    minutes = max(1, int((now - since) / timedelta(minutes=1)))
    return voice.say("overdue", minutes=minutes, title=title)


def trips(chores: Sequence[Chore], now: datetime, voice: Voice) -> dict[str, Any]:
    """What a head tells of those that are due first, and of those that are due later.

    several: whether these have more than one hour, of which the first is told.
    """
    (at, first), *rest = by_hour(chores, now)
    return {
        "by": voice.by(at, now),
        "count": count_of(first),
        "later": sum(count_of(some) for _, some in rest),
        "later_by": voice.by(rest[0][0], now) if rest else "",
        "several": len(rest) > 1,
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
) -> list[Line]:
    """Chores of a kind with the plants counted, a line for each hour: carrying in, or protection.

    now: none where their hours are no matter any more. later: beside others of the day.
    """
    groups = [(None, list(chores))] if now is None else by_hour(chores, now)
    return [_crowded(kind, at, same, now, voice, later=later) for at, same in groups]


def _crowded(
    kind: ChoreKind,
    at: datetime | None,
    chores: Sequence[Chore],
    now: datetime | None,
    voice: Voice,
    *,
    later: bool,
) -> Line:
    by = "" if at is None or now is None else voice.by(at, now)
    at_spots = {
        spot: [one for one in chores if one.from_spot == spot]
        for spot in dict.fromkeys(one.from_spot for one in chores)
    }
    if kind is ChoreKind.CARRY_IN:
        when = "" if at is None or now is None else voice.clock(at, now)
        facts = {"when": by if later else when, "later": later}

        def words(most: int) -> str:
            spots = [(spot, _who_to(same, most)) for spot, same in at_spots.items()]
            return voice.say("crowded_in", spots=spots, **facts)

        return Line(words, plants_of(chores), None if later else at)
    ways: dict[str, int] = {}
    for one in chores:
        ways[way(one)] = ways.get(way(one), 0) + len(one.plants)
    counts = [("", where, count) for where, count in ways.items()]
    text = voice.say("crowded_guard", kind=kind.value, by=by or voice.say("now"), walks=counts)
    return Line(lambda _: text, plants_of(chores), None if later else at)


def _who_to(chores: Sequence[Chore], most: int) -> list[tuple[str, str]]:
    """How many go where; with room for names, those by name of whom there is only one."""
    going: dict[str, list[str]] = {}
    for one in chores:
        going.setdefault(one.to_spot, []).extend(one.plants)
    return [
        (plants[0] if most and len(plants) == 1 else str(len(plants)), to)
        for to, plants in going.items()
    ]


def watch_out(remark: Remark, voice: Voice) -> Words:
    """A remark as a line of a push."""
    return lambda most: voice.say("watch_out", text=voice.remark(remark, most))


MOST_HOMELESS = 2
"""Plants without a shelter that a crowded push names. Judgement: whoever reads it must act."""


def too_cold(warnings: Sequence[Remark], voice: Voice) -> Part:
    """Who is sent, or left, where it is too cold as nothing better is known: never cut."""
    told = tuple(one for one in warnings if is_too_cold(one))
    part = Part(
        tuple(watch_out(one, voice) for one in told),
        plants=tuple(frozenset(one.plants) for one in told),
        kept=True,
    )

    def in_short() -> Iterator[Line]:
        """Those without any shelter, whom the title counts, apart from those sent to a poor one."""
        for homeless in (True, False):
            same = [one for one in told if isinstance(one, NoShelter) is homeless]
            plants = list(dict.fromkeys(name for one in same for name in one.plants))
            if plants:
                who = voice.names(plants, MOST_HOMELESS if homeless else 1)
                text = voice.say("watch_out", text=voice.say("too_cold", who=who))
                yield Line(lambda _, text=text: text, frozenset(plants))  # type: ignore[misc]

    return replace(part, crowded=lambda: list(in_short())) if told else part


def is_too_cold(remark: Remark) -> TypeGuard[NoShelter | ShelterTooCold | ShelterUnknown]:
    """Whether plants spend the night where it is, or may be, too cold for them."""
    if isinstance(remark, ShelterTooCold | ShelterUnknown):
        return remark.better_spot is None
    return isinstance(remark, NoShelter)


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
    return f"{chore.from_spot} to {chore.to_spot}" if goes else chore.from_spot


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
