"""Phrases about chores that all messages share: heads of titles, hours, counts, crowded lines."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any, TypeGuard, TypeVar

from sillward.wording.push import Line, LineText, Part
from sillward.wording.voice import Voice
from sillward_rules.chore import URGENT, Chore, ChoreKind, Reason
from sillward_rules.remark import NoShelter, Remark, ShelterTooCold, ShelterUnknown
from sillward_rules.revision import hour_of
from sillward_rules.sheet import Sheet

SAME_TRIP = timedelta(minutes=30)
"""Trips this close together are reminded of together. Judgement: going out once is enough for
both."""


def head_of(chores: Sequence[Chore], now: datetime, voice: Voice) -> str:
    """Return "in by 17:50: 5 plants, 9 more by 18:10" or "cover by 21:00: 3 plants".

    chores: of one kind.
    """
    kind = chores[0].kind
    facts = head_facts(chores, now, voice)
    if kind is ChoreKind.CARRY_IN:
        return voice.say("head_in", **facts)
    if kind not in URGENT:  # then the hour of what comes later is no matter yet
        facts |= {"later_by": "", "several": False}
    return voice.say("head_order", kind=kind.value, **facts)


def by_hour(chores: Iterable[Chore], now: datetime) -> list[tuple[datetime, list[Chore]]]:
    """Return the chores of each hour in the order of the hours; what is overdue is due now.

    Titles and lines both count by it, so that they speak of the same plants.
    """
    at: dict[datetime, list[Chore]] = {}
    for chore in chores:
        at.setdefault(max(hour_of(chore), now), []).append(chore)
    return sorted(at.items(), key=lambda timed: timed[0])


def when(chore: Chore, now: datetime, voice: Voice) -> str:
    """Return the deadline of a chore: "17:10", "now", or "overdue since 16:10"."""
    if chore.overdue_since is None:
        return voice.clock(chore.before, now)
    return voice.say("overdue_since", hour=voice.clock_of_day(chore.overdue_since, now))


def if_taken_in(out: Chore, voice: Voice, most: int | None) -> str:
    """Return which plants go out only if they were taken in: "all", names, or an empty text."""
    if len(out.unconfirmed) == len(out.plants):
        return "all"
    return voice.names(out.unconfirmed, most) if out.unconfirmed else ""


def overdue_title(title: str, chores: Iterable[Chore], now: datetime, voice: Voice) -> str:
    """Return the title, after the time for which the first order is overdue, if any is."""
    since = min((chore.overdue_since for chore in chores if chore.overdue_since), default=None)
    if since is None:
        return title
    minutes = max(1, int((now - since) / timedelta(minutes=1)))
    return voice.say("overdue", minutes=minutes, title=title)


def head_facts(chores: Sequence[Chore], now: datetime, voice: Voice) -> dict[str, Any]:
    """Return the facts of a head: how many plants are due first and how many later.

    several: whether the later ones have more than one hour; only the first of these is given.
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
    """Return tonight's low at each spot where it is known [°C]."""
    return [(spot, low) for spot, low in sheet.lows.items() if low is not None]


def count_of(chores: Sequence[Chore]) -> int:
    """Return the number of plants in some chores; a plant counts in each of its chores."""
    return sum(len(chore.plants) for chore in chores)


def plants_of(chores: Iterable[Chore]) -> frozenset[str]:
    """Return all plants of some chores."""
    return frozenset(name for chore in chores for name in chore.plants)


def pot_water(reason: Reason, chore: Chore, voice: Voice) -> str:
    """Return why a pot is watered, and how much it gets.

    "1.5 L; 75 % of its water left, enough until 11:00 (kept above 65 %)"
    """
    low = reason.value is None or reason.limit is None or reason.value <= reason.limit
    begins = chore.not_before or chore.before
    return voice.say(
        "pot_water",
        left=voice.measure(reason.value or 0.0, reason.unit, 0),
        enough="" if low or reason.at <= begins else voice.hour(reason.at),
        at=voice.hour(reason.at) if low and reason.at > begins else "",
        wants=voice.bound(reason.limit or 0.0, reason.unit),
        litres=litres([reason], voice),
        again=reason.plant in chore.unconfirmed,
    )


def litres(reasons: Iterable[Reason], voice: Voice) -> str:
    """Return how much plants are given in all: "1.5 L"."""
    amount = round(sum(reason.litres or 0.0 for reason in reasons), 2)
    digits = next((places for places in (0, 1) if round(amount, places) == amount), 2)
    return voice.measure(amount, "L", digits)


def plants_of_each(chores: Iterable[Chore]) -> tuple[frozenset[str], ...]:
    """Return the plants of each chore."""
    return tuple(frozenset(chore.plants) for chore in chores)


def crowded_lines(
    kind: ChoreKind,
    chores: Sequence[Chore],
    now: datetime | None,
    voice: Voice,
    *,
    later: bool = False,
) -> list[Line]:
    """Return the lines of a crowded day: the plants of each hour, counted.

    kind: carrying in, or a kind of protection.
    now: the present time, or None where the hours no longer matter.
    later: whether the lines are among other chores of the day.
    """
    groups = [(None, list(chores))] if now is None else by_hour(chores, now)
    return [
        _crowded(kind, at, same, now, voice, later=later)
        for at, together in groups
        for same in _by_what(together)
    ]


def _by_what(chores: Sequence[Chore]) -> list[list[Chore]]:
    """Return the chores apart by what they give: pots with feed from those with plain water."""
    by_what: dict[str, list[Chore]] = {}
    for chore in chores:
        by_what.setdefault(chore.what, []).append(chore)
    return list(by_what.values())


def _crowded(
    kind: ChoreKind,
    at: datetime | None,
    chores: Sequence[Chore],
    now: datetime | None,
    voice: Voice,
    *,
    later: bool,
) -> Line:
    """Return the line of one hour.

    at: the hour, or None where it no longer matters. chores: that give the same.
    """
    by = "" if at is None or now is None else voice.by(at, now)
    at_spots = {
        spot: [chore for chore in chores if chore.from_spot == spot]
        for spot in dict.fromkeys(chore.from_spot for chore in chores)
    }
    if kind is ChoreKind.CARRY_IN:
        when = "" if at is None or now is None else voice.clock(at, now)
        facts = {"when": by if later else when, "later": later}

        def line_text(most: int) -> str:
            spots = [(spot, _who_to(same, most)) for spot, same in at_spots.items()]
            return voice.say("crowded_in", spots=spots, **facts)

        return Line(line_text, plants_of(chores), None if later else at)
    ways: dict[str, int] = {}
    for chore in chores:
        ways[way(chore)] = ways.get(way(chore), 0) + len(chore.plants)
    counts = [("", where, count) for where, count in ways.items()]
    text = voice.say(
        "crowded_guard",
        kind=kind.value,
        by=by or voice.say("now"),
        walks=counts,
        given=chores[0].what,
    )
    return Line(lambda _: text, plants_of(chores), None if later else at)


def _who_to(chores: Sequence[Chore], most: int) -> list[tuple[str, str]]:
    """Return how many plants go where; with room for names, a single plant by its name."""
    going: dict[str, list[str]] = {}
    for chore in chores:
        going.setdefault(chore.to_spot, []).extend(chore.plants)
    return [
        (plants[0] if most and len(plants) == 1 else str(len(plants)), to)
        for to, plants in going.items()
    ]


def warning_line(remark: Remark, voice: Voice) -> LineText:
    """Return a remark as a line of a push."""
    return lambda most: voice.say("watch_out", text=voice.remark(remark, most))


MAX_HOMELESS = 2
"""Plants without a shelter that a crowded push names. Judgement: the reader must act for them."""


def too_cold_part(warnings: Sequence[Remark], voice: Voice) -> Part:
    """Return which plants are left, or sent, where it is too cold because nothing better is known.

    The part is never cut.
    """
    cold = tuple(warning for warning in warnings if is_too_cold(warning))
    part = Part(
        tuple(warning_line(warning, voice) for warning in cold),
        plants=tuple(frozenset(warning.plants) for warning in cold),
        kept=True,
    )

    def in_short() -> Iterator[Line]:
        """Yield the plants without a shelter, which the title counts, and those in a poor one."""
        for homeless in (True, False):
            same = [warning for warning in cold if isinstance(warning, NoShelter) is homeless]
            plants = list(dict.fromkeys(name for warning in same for name in warning.plants))
            if plants:
                who = voice.names(plants, MAX_HOMELESS if homeless else 1)
                text = voice.say("watch_out", text=voice.say("too_cold", who=who))
                yield Line(lambda _, text=text: text, frozenset(plants))  # type: ignore[misc]

    return replace(part, crowded=lambda: list(in_short())) if cold else part


def is_too_cold(remark: Remark) -> TypeGuard[NoShelter | ShelterTooCold | ShelterUnknown]:
    """Whether plants spend the night where it is, or may be, too cold for them."""
    if isinstance(remark, ShelterTooCold | ShelterUnknown):
        return remark.better_spot is None
    return isinstance(remark, NoShelter)


T = TypeVar("T")


def without_repeats(lines: Sequence[tuple[str, str, T]]) -> list[tuple[str, str, T]]:
    """Return the same lines, with the hour left empty where it repeats the one before."""
    previous = ["", *(when for when, _, _ in lines)]
    return [
        ("" if when == last else when, spot, what)
        for last, (when, spot, what) in zip(previous, lines, strict=False)
    ]


def way(chore: Chore) -> str:
    """Return the spot of a chore, or "pergola to sunroom" if plants are carried."""
    moves = chore.kind in (ChoreKind.CARRY_IN, ChoreKind.CARRY_OUT, ChoreKind.MOVE)
    return f"{chore.from_spot} to {chore.to_spot}" if moves else chore.from_spot


def back_hour(chore: Chore, voice: Voice) -> str:
    """Return from when on all plants may come back that were moved; empty if some stay."""
    hours = [reason.until for reason in chore.because]
    known = [until for until in hours if until is not None]
    return voice.hour(max(known)) if hours and len(known) == len(hours) else ""


def forbids_wetting(chore: Chore) -> bool:
    """Whether a stop-wetting chore means that nothing may be wetted all day."""
    return (
        chore.kind is ChoreKind.STOP_WETTING
        and chore.not_before is not None
        and chore.before <= chore.not_before
    )
