"""Lines on what is misted and fed, and on crowns that must dry."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import datetime
from functools import partial
from itertools import accumulate

from sillward.wording import chore_phrases
from sillward.wording.chore_phrases import plants_of, plants_of_each, without_repeats
from sillward.wording.mist_advice import GIVEN, feed_advice, mist_advice
from sillward.wording.push import Line, LineText, Part
from sillward.wording.short_sheet.sheet_writer import SheetWriter, start_of, told_hours
from sillward_rules.chore import WETTINGS, Chore, ChoreKind, Reason

POTS_NAMED = 50
"""Characters of pots that a line on watering names in any case, each with its litres. Judgement:
with its hour that is a line and a half of a phone, and has two to four pots."""

_ON_CROWNS = tuple(kind for kind in WETTINGS if kind is not ChoreKind.WATER)
"""What wets crowns; pots are watered beside them."""


def mist(mistings: Sequence[Chore], writer: SheetWriter) -> list[Part]:
    """Return two parts: first mistings, and repeats.

    A first misting tells by when exactly the same plants are misted again. A repeat for other
    plants has a line of its own, which is cut before anything else.
    """
    first = first_mistings(mistings)
    again = [chore for chore in mistings if chore not in first]
    same = [
        [repeat for repeat in again if _spot_and_plants(repeat) == _spot_and_plants(chore)]
        for chore in first
    ]
    others = [chore for chore in again if not any(chore in repeats for repeats in same)]
    now = writer.sheet.at

    def crowded() -> str:
        feeds, mixes = writer.chores(*GIVEN), writer.sheet.mixes
        advice = feed_advice(first, feeds, writer.voice, mixes, brief=True) or ""
        walks = _counts(first, writer)
        return writer.say("crowded_mist", walks=walks, advice=advice, more=any(same))

    firsts = Part(
        tuple(
            _first_misting(chore, repeats, writer)
            for chore, repeats in zip(first, same, strict=True)
        ),
        plants=plants_of_each(first),
        hours=told_hours(first, now),
    )
    repeats = Part(
        tuple(_repeat(chore, writer) for chore in others),
        plants=plants_of_each(others),
        hours=told_hours(others, now),
        spare=True,
    )
    again_in_one = partial(writer.say, "crowded_again", walks=_counts(others, writer))
    return [_or_in_one(firsts, crowded), _or_in_one(repeats, again_in_one)]


def water_pots(chores: Sequence[Chore], writer: SheetWriter) -> Part:
    """Return a line for each walk with water for pots; on crowded days one for each hour."""
    now = writer.sheet.at

    def in_short() -> list[Line]:
        lines = []
        for at, together in chore_phrases.by_hour(chores, now):
            for alike in _told_alike(together):
                line, shorter = _water_line(alike, writer), _water_line(alike, writer, room=0)
                texts = shorter(1), shorter(0)
                lines.append(Line(line, plants_of(alike), at, texts))
        return lines

    return Part(
        tuple(_water_line([chore], writer, chore.from_spot) for chore in chores),
        in_short,
        plants=plants_of_each(chores),
        hours=tuple(max(chore.before, now) for chore in chores),
    )


def _told_alike(chores: Sequence[Chore]) -> list[list[Chore]]:
    """Return the chores of one hour apart by what is in the water, and whether it may be done."""
    alike: dict[tuple[str, bool], list[Chore]] = {}
    for chore in chores:
        alike.setdefault((chore.what, _may_be_done(chore)), []).append(chore)
    return list(alike.values())


def _may_be_done(chore: Chore) -> bool:
    return len(chore.unconfirmed) == len(chore.plants)


def _water_line(
    chores: Sequence[Chore], writer: SheetWriter, spot: str = "", room: int = POTS_NAMED
) -> LineText:
    """Return the line of pots that are watered by the same hour, the most litres first.

    spot: where they stand; empty where they stand at several.
    room: so many characters of them are named in any case.
    """
    voice, reasons = writer.voice, _reasons(chores)
    pots = [
        _with_litres(one.plant, [one], writer)
        for one in sorted(reasons, key=lambda one: -(one.litres or 0.0))
    ]
    ends = accumulate(len(pot) + len(", ") for pot in pots)
    least = sum(end <= room for end in ends)

    def line(most: int) -> str:
        named, rest = pots[: max(least, most)], pots[max(least, most) :]
        who = ", ".join(named) if named else _in_all(reasons, writer)
        return voice.say(
            "water_pots",
            spot=spot,
            by=writer.by(chores[0]),
            who=voice.say("and_more", names=who, count=len(rest)) if named and rest else who,
            total=chore_phrases.litres(reasons, voice) if rest and most and room else "",
            again=_may_be_done(chores[0]),
            given=chores[0].what,
        )

    return line


def _in_all(reasons: Sequence[Reason], writer: SheetWriter) -> str:
    """Return "6 plants (7.5 L)"."""
    return _with_litres(writer.voice.plants(len(reasons)), reasons, writer)


def _with_litres(who: str, reasons: Sequence[Reason], writer: SheetWriter) -> str:
    if not any(reason.litres for reason in reasons):
        return who
    litres = chore_phrases.litres(reasons, writer.voice)
    return writer.say("with_litres", name=who, litres=litres)


def _reasons(chores: Sequence[Chore]) -> list[Reason]:
    return [reason for chore in chores for reason in chore.because]


def first_mistings(mistings: Sequence[Chore]) -> list[Chore]:
    """Return the chores in which any plant is misted for the first time."""
    first, seen = list[Chore](), set[str]()
    for chore in mistings:
        if not seen.issuperset(chore.plants):
            first.append(chore)
        seen.update(chore.plants)
    return first


def _spot_and_plants(chore: Chore) -> tuple[str, frozenset[str]]:
    return chore.from_spot, frozenset(chore.plants)


def _counts(chores: Sequence[Chore], writer: SheetWriter) -> list[tuple[str, str, int]]:
    """Return deadline, spot and number of plants; the deadline empty where it repeats."""
    counts: dict[tuple[str, str], int] = {}
    for chore in chores:
        key = writer.by(chore), chore.from_spot
        counts[key] = counts.get(key, 0) + len(chore.plants)
    return without_repeats([(by, spot, count) for (by, spot), count in counts.items()])


def _first_misting(first: Chore, again: Sequence[Chore], writer: SheetWriter) -> LineText:
    """Return the line of a first misting with its feed.

    again: repeats for the same plants.
    """
    feeds, voice, mixes = writer.chores(*GIVEN), writer.voice, writer.sheet.mixes

    def line(most: int) -> str:
        return writer.say(
            "mist",
            spot=first.from_spot,
            span=voice.span(start_of(first), first.before),
            who=_misted(first, writer, most),
            advice=mist_advice(first, feeds, voice, mixes, brief=most == 0, most=most),
            again=[voice.hour(chore.before) for chore in again],
        )

    return line


def _repeat(chore: Chore, writer: SheetWriter) -> LineText:
    def line(most: int) -> str:
        span = writer.voice.span(start_of(chore), chore.before)
        who = _misted(chore, writer, most)
        return writer.say("mist_again", spot=chore.from_spot, span=span, who=who)

    return line


def _misted(chore: Chore, writer: SheetWriter, most: int) -> str:
    """Return the plants that get water; what comes out to their spot today stands there too."""
    out = writer.chores(ChoreKind.CARRY_OUT)
    arriving = plants_of(going for going in out if going.to_spot == chore.from_spot)
    others = (writer.plants_at(chore.from_spot) | arriving) - set(chore.plants)
    return writer.voice.names(chore.plants, most, others)


def stop_wetting(writer: SheetWriter) -> Part:
    """Return until when crowns may be wetted: for each spot the first hour of any plant there.

    Plants that the sheet itself wets later are named as exceptions.
    """
    never: dict[str, int] = {}
    until: dict[str, datetime] = {}
    for chore in writer.chores(ChoreKind.STOP_WETTING):
        if chore_phrases.forbids_wetting(chore):
            never[chore.from_spot] = never.get(chore.from_spot, 0) + len(chore.plants)
        else:  # the first one of a spot is about the most sensitive crowns there
            until.setdefault(chore.from_spot, chore.before)
    in_order = sorted(until.items(), key=lambda item: item[1])
    hours = without_repeats(
        [
            (writer.voice.hour(at), spot, sorted(_wetted_after(spot, at, writer)))
            for spot, at in in_order
        ]
    )

    def line(most: int) -> str:
        spots = [
            (hour, spot, writer.voice.names(exceptions, most) if exceptions else "")
            for hour, spot, exceptions in hours
        ]
        return writer.say("stop_wetting", until=spots, never=list(never.items()))

    def crowded() -> str:
        first = min(until.values(), default=None)
        later = {} if first is None else _dry_later(first, until, writer)
        same = len(set(later.values())) == 1
        return writer.say(
            "crowded_stop",
            until=writer.voice.hour(first) if first else "",
            never=sum(never.values()),
            later=len(later),
            later_at=writer.voice.hour(min(later.values())) if same else "",
        )

    return _or_in_one(Part((line,) if until or never else ()), crowded)


def _wetted_after(spot: str, at: datetime, writer: SheetWriter) -> frozenset[str]:
    """Return the plants of a spot that get water after an hour."""
    wettings = writer.chores(*_ON_CROWNS)
    return plants_of(chore for chore in wettings if chore.from_spot == spot and chore.before > at)


def _dry_later(first: datetime, spots: Iterable[str], writer: SheetWriter) -> dict[str, datetime]:
    """Return the plants of some spots that get water after an hour, and when theirs must end.

    That is the hour of their own crowns, or their last watering if nothing else is said.
    """
    ends: dict[str, datetime] = {}
    wetted = frozenset[str]().union(*(_wetted_after(spot, first, writer) for spot in spots))
    for chore in (*writer.chores(*_ON_CROWNS), *writer.chores(ChoreKind.STOP_WETTING)):
        for name in wetted.intersection(chore.plants):
            ends[name] = max(chore.before, ends.get(name, chore.before))
    return ends


def _or_in_one(part: Part, text: Callable[[], str]) -> Part:
    """Return the part, told in this one line on a crowded day."""
    return replace(part, crowded=lambda: [part.in_one(text())])
