"""The morning sheet: what goes out, what is misted, and what is due later in the day."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import datetime

from sillward.wording import chore_phrases, load_words, reason_phrases
from sillward.wording.push import Part, plain_part
from sillward.wording.short_sheet.carrying import carry_in, carry_out, stay_in
from sillward.wording.short_sheet.deadlines import Due, due_chores
from sillward.wording.short_sheet.remarks import (
    hot_pots,
    open_questions,
    question_about_last_night,
    questions,
    warnings,
)
from sillward.wording.short_sheet.sheet_writer import SheetWriter, start_of, title_of
from sillward.wording.short_sheet.watering import first_mistings, mist, stop_wetting
from sillward.wording.voice import Voice, capital
from sillward_rules.chore import URGENT, Chore, ChoreKind, Reason
from sillward_rules.planners.heat import AGAINST_HEAT
from sillward_rules.remark import (
    ForecastElsewhere,
    NotConfirmed,
    RootsHot,
    WateringIncomplete,
    WateringUnplanned,
    WaterUnlessHeavy,
    nothing_known,
)

HOT_DAY_C = 35.0
"""From so much on the title of a push says how hot it gets [°C]. Judgement: most containers
want something then, whatever their limits; below it the chores say enough."""


def title_and_parts(writer: SheetWriter) -> tuple[str, list[Part]]:
    """Return the title and the parts of the body.

    Carrying in comes first whatever its hour, because later it is of no use. Only where plants go
    out before they come back in does it take its place among the hours of the day.
    """
    # What is open since last night is asked about in one line instead.
    today = str(writer.voice.local(writer.sheet.at).date())
    into = [chore for chore in writer.chores(ChoreKind.CARRY_IN) if chore.day >= today]
    out = writer.chores(ChoreKind.CARRY_OUT)
    out_first = bool(out and into) and start_of(out[0]) < into[0].before
    carrying = carry_in(into, writer, later=True, by_hour=out_first)
    due = due_chores(into, carrying, writer)
    title = chore_phrases.overdue_title(
        _title(due, out, writer, out_first=out_first), into, writer.sheet.at, writer.voice
    )
    return title or _nothing_today(writer), _parts(due, into, out, writer, out_first=out_first)


def _parts(
    due: Sequence[Due],
    into: Sequence[Chore],
    out: Sequence[Chore],
    writer: SheetWriter,
    *,
    out_first: bool,
) -> list[Part]:
    """Return the parts of the body in their order."""
    sheet, voice = writer.sheet, writer.voice
    # On a hot day the title has no room for what stays in.
    told = _heat_of_day(writer) is None
    of_night = [remark for remark in sheet.warnings if isinstance(remark, NotConfirmed)]
    unless_heavy = [remark for remark in sheet.warnings if isinstance(remark, WaterUnlessHeavy)]
    roots_hot = [remark for remark in sheet.warnings if isinstance(remark, RootsHot)]
    apart = (*of_night, *unless_heavy, *roots_hot)
    others = [remark for remark in sheet.warnings if remark not in apart]
    carrying = [chores.part for chores in due if chores.kind is ChoreKind.CARRY_IN]
    guards = [at for chores in due if chores.kind in AGAINST_HEAT for at in chores.part.hours]
    # Roots die in hot pots: they are told before all else that is done against the heat.
    by_hour = [hot_pots(remark, writer, min(guards, default=remark.at)) for remark in roots_hot]
    by_hour += [carry_out(out, writer), *mist(writer.chores(ChoreKind.MIST), writer)]
    long_walk = load_words.of_push(into, sheet.at, voice)
    by_hour += [long_walk] if out_first and long_walk.lines else []
    by_hour += [
        replace(chores.part, kept=True) if chores.kind is ChoreKind.CARRY_IN else chores.part
        for chores in due
        if out_first or chores.kind is not ChoreKind.CARRY_IN
    ]
    return [
        *([] if out_first else carrying),
        chore_phrases.too_cold_part(sheet.warnings, voice),
        *([] if out_first else [long_walk]),
        *([plain_part(reason_phrases.why(into, voice))] if into else []),
        *(question_about_last_night(remark, writer) for remark in of_night),
        *sorted(by_hour, key=lambda part: part.hours[:1]),
        *warnings(unless_heavy, writer),
        questions(others, writer),
        stop_wetting(writer),
        # Where nothing goes out, the title has told that it stays in.
        stay_in("stay_in", writer.chores(ChoreKind.STAY_IN), writer, optional=not out and told),
        *warnings(others, writer),
        *(plain_part(capital(voice.remark(read)), optional=True) for read in sheet.last_night[:1]),
        open_questions(writer),
    ]


def _title(
    due: Sequence[Due], out: Sequence[Chore], writer: SheetWriter, *, out_first: bool
) -> str:
    """Return the title: an order comes before everything but what goes out before it."""
    order = [chores for chores in due[:1] if chores.kind in URGENT]
    of_day = [
        *heads_of_day(out, writer.chores(ChoreKind.MIST), writer.sheet.at, writer.voice),
        *((chores.at, chores.head) for chores in due if chores not in (*order, *_last(due))),
    ]
    heads = [head for _, head in sorted(of_day, key=lambda timed: timed[0])]
    heads += [chores.head for chores in _last(due)]
    before = heads[: int(out_first)]
    heads = [*before, *(chores.head for chores in order), *heads[len(before) :]]
    stay = writer.chores(ChoreKind.STAY_IN)
    if stay and not out:
        heads.append(writer.say("head_stay", count=chore_phrases.count_of(stay)))
    title, hot = title_of(heads), _heat_of_day(writer)
    if hot is None or not title or order:
        return title
    value, hour = writer.voice.measure(hot.value, hot.unit, 1), writer.voice.hour(hot.at)
    return writer.say("head_heat", value=value, hour=hour, title=title)


def _heat_of_day(writer: SheetWriter) -> Reason | None:
    """Return the hottest air for which something is to be done, if it makes the day a hot one."""
    beyond = [
        reason
        for chore in writer.chores(*AGAINST_HEAT)
        for reason in chore.single_reasons
        if reason.quantity == "temperature" and reason.above and reason.value is not None
    ]
    hottest = max(beyond, key=lambda reason: reason.value or 0.0, default=None)
    is_hot = hottest is not None and (hottest.value or 0.0) >= HOT_DAY_C
    return hottest if is_hot else None


def _last(due: Sequence[Due]) -> list[Due]:
    """Return what can wait for all else, whatever its hour: a damp floor is a help, no rescue."""
    return [chores for chores in due if chores.kind is ChoreKind.DAMP_DOWN]


def _nothing_today(writer: SheetWriter) -> str:
    unknown = (WateringIncomplete, WateringUnplanned, ForecastElsewhere)
    known = not any(
        isinstance(remark, unknown) or nothing_known(remark) for remark in writer.sheet.warnings
    )
    return writer.say("nothing_today" if known else "today_not_known")


def heads_of_day(
    out: Sequence[Chore], mistings: Sequence[Chore], now: datetime, voice: Voice
) -> Iterator[tuple[datetime, str]]:
    """Yield what a title says of going out and of misting, each with its first hour."""
    if out:
        at, count, later = _first_and_later(out, now)
        yield at, voice.say("head_out", when=voice.since(at, now), count=count, later=later)
    if mistings:
        at, count, later = _first_and_later(first_mistings(mistings), now)
        yield at, voice.say("head_mist", by=voice.by(at, now), count=count, later=later)


def _first_and_later(chores: Sequence[Chore], now: datetime) -> tuple[datetime, int, int]:
    """Return the first hour of some chores, how many plants it concerns, and how many later."""
    (at, first), *rest = chore_phrases.by_hour(chores, now)
    return (
        at,
        chore_phrases.count_of(first),
        sum(chore_phrases.count_of(chores) for _, chores in rest),
    )
