"""Lines on what is carried in, carried out, and stays in."""

from collections.abc import Sequence
from collections.abc import Set as AbstractSet
from datetime import datetime
from functools import partial
from typing import Any

from sillward.wording import chore_phrases
from sillward.wording.chore_phrases import plants_of, plants_of_each
from sillward.wording.push import Line, LineText, Part
from sillward.wording.short_sheet.sheet_writer import SheetWriter, start_of, told_hours
from sillward.wording.voice import shorter_to_exclude
from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.remark import NoShelter

UNSURE_NAMED = 2
"""Plants that are not confirmed to be in and named in any case. Judgement: one line of a phone."""


def carry_in(
    into: Sequence[Chore], writer: SheetWriter, *, later: bool = False, by_hour: bool = True
) -> Part:
    """Return a line for each deadline and spot.

    later: the lines stand among other chores of the day, so each says that it means carrying in.
    by_hour: the lines are sorted by their hours among those of other parts.
    """
    kind, now = ChoreKind.CARRY_IN, writer.sheet.at
    trips = [
        (at, [chore for chore in chores if chore.from_spot == spot])
        for at, chores in chore_phrases.by_hour(into, now)
        for spot in dict.fromkeys(chore.from_spot for chore in chores)
    ]
    carried = plants_of(into)
    return Part(
        tuple(_in_from_spot(at, chores, carried, writer, later=later) for at, chores in trips),
        partial(chore_phrases.crowded_lines, kind, into, now, writer.voice, later=later),
        plants=tuple(plants_of(chores) for _, chores in trips),
        hours=tuple(at for at, _ in trips) if by_hour else (),
    )


def _in_from_spot(
    at: datetime,
    chores: Sequence[Chore],
    carried: AbstractSet[str],
    writer: SheetWriter,
    *,
    later: bool,
) -> LineText:
    """Return the line on what goes in from one spot by one deadline, to whichever shelters.

    carried: all plants that are carried in, from any spot.
    """
    spot, voice = chores[0].from_spot, writer.voice
    going, present = plants_of(chores), writer.plants_at(spot)
    staying = present - carried
    without_shelter = [remark for remark in writer.sheet.warnings if isinstance(remark, NoShelter)]
    homeless = any(not staying.isdisjoint(remark.plants) for remark in without_shelter)
    name_staying = shorter_to_exclude(staying, list(going)) and not homeless
    shelters = {to: _going_to(to, chores) for to in dict.fromkeys(each.to_spot for each in chores)}
    # With an empty set of others the voice may say "all": then all that stand there go one way.
    others = set[str]() if present <= going and len(shelters) == 1 else None

    def line(most: int) -> str:
        ways = [(voice.names(names, most, others), to) for to, names in shelters.items()]
        all_named = all(len(names) <= max(1, most + 1) for names in shelters.values())
        stays = ", ".join(sorted(staying)) if name_staying and not all_named else ""
        facts: dict[str, Any] = {"spot": spot, "ways": ways, "stays": stays}
        if later:
            return writer.say("carry_in_later", by=voice.by(at, writer.sheet.at), **facts)
        return writer.say("carry_in", when=writer.clock(at), **facts)

    return line


def _going_to(shelter: str, chores: Sequence[Chore]) -> list[str]:
    """Return the plants that go to one shelter, also if some of them are long overdue there."""
    return [name for chore in chores if chore.to_spot == shelter for name in chore.plants]


def stay_in(
    macro: str,
    stay: Sequence[Chore],
    writer: SheetWriter,
    *,
    optional: bool = False,
    unsure: bool | None = None,
) -> Part:
    """Return one line on what stays in, wherever it stands.

    unsure: True for plants that nobody has confirmed to be in, False for the others, None for all.
        Some of the first are always named: they are what the reader has to look for.
    """
    plants = [
        name
        for chore in stay
        for name in chore.plants
        if unsure is None or (name in chore.unconfirmed) is unsure
    ]
    facts = {} if unsure is None else {"unsure": unsure}
    least = UNSURE_NAMED if unsure else 0

    def line(most: int) -> str:
        return writer.say(macro, who=writer.voice.names(plants, max(most, least)), **facts)

    named = (frozenset(plants),)
    return Part((line,) if plants else (), None, optional, named, kept=bool(unsure))


def carry_out(out: Sequence[Chore], writer: SheetWriter) -> Part:
    """Return a line for each trip out; on crowded days a line for each hour."""
    now = writer.sheet.at

    def crowded() -> list[Line]:
        return [_out_at(at, chores, writer) for at, chores in chore_phrases.by_hour(out, now)]

    lines = tuple(_out_one_way(chore, writer) for chore in out)
    return Part(lines, crowded, plants=plants_of_each(out), hours=told_hours(out, now))


def _out_at(at: datetime, out: Sequence[Chore], writer: SheetWriter) -> Line:
    """Return all that goes out from one hour on, in one line."""
    spots = [(chore.to_spot, len(chore.plants)) for chore in out]
    text = writer.say(
        "crowded_out",
        when=writer.voice.since(at, writer.sheet.at),
        spots=spots,
        if_in=any(chore.unconfirmed for chore in out),
    )
    return Line(lambda _: text, plants_of(out), at)


def _out_one_way(chore: Chore, writer: SheetWriter) -> LineText:
    """Return the line of one trip out."""

    def line(most: int) -> str:
        return writer.say(
            "carry_out",
            when=writer.voice.since(start_of(chore), writer.sheet.at),
            spot=chore.from_spot if most else "",  # the grower knows where it stands
            to=chore.to_spot,
            who=writer.names(chore, most),
            if_in=chore_phrases.if_taken_in(chore, writer.voice, most),
        )

    return line


def out_again(writer: SheetWriter) -> str:
    """Return when plants may go out again tomorrow; empty if nothing is known of it."""
    out, stay = writer.chores(ChoreKind.CARRY_OUT), writer.chores(ChoreKind.STAY_IN)
    kept = chore_phrases.count_of([chore for chore in stay if chore.not_before is not None])
    if not out and not kept:
        return ""
    when = writer.clock(start_of(out[0])) if out else ""
    return writer.say("out_again", when=when, count=chore_phrases.count_of(out), kept=kept)
