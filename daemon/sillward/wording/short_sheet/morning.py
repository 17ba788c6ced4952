"""The morning sheet: what goes out, what is misted, and what is due later in the day."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import datetime

from sillward.wording import phrases, reason_phrases
from sillward.wording.push import Part, plain_part
from sillward.wording.short_sheet.carrying import carry_in, carry_out, stay_in
from sillward.wording.short_sheet.deadlines import Due, due_chores
from sillward.wording.short_sheet.remarks import (
    open_questions,
    question_about_last_night,
    warnings,
)
from sillward.wording.short_sheet.watering import first_mistings, mist, stop_wetting
from sillward.wording.short_sheet.words import SheetWords, start_of, title_of
from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.remark import (
    ForecastElsewhere,
    NotConfirmed,
    WateringIncomplete,
    WateringUnplanned,
    nothing_known,
)
from sillward_rules.revision import ORDERS


def title_and_parts(words: SheetWords) -> tuple[str, list[Part]]:
    """Return the title and the parts of the body.

    Carrying in comes first whatever its hour, because later it is of no use. Only where plants go
    out before they come back in does it take its place among the hours of the day.
    """
    # What is open since last night is asked about in one line instead.
    today = str(words.voice.local(words.sheet.at).date())
    into = [chore for chore in words.chores(ChoreKind.CARRY_IN) if chore.id >= today]
    out = words.chores(ChoreKind.CARRY_OUT)
    out_first = bool(out and into) and start_of(out[0]) < into[0].before
    carrying = carry_in(into, words, later=True, by_hour=out_first)
    due = due_chores(into, carrying, words)
    title = phrases.overdue(
        _title(due, out, words, out_first=out_first), into, words.sheet.at, words.voice
    )
    return title or _nothing_today(words), _parts(due, into, out, words, out_first=out_first)


def _parts(
    due: Sequence[Due],
    into: Sequence[Chore],
    out: Sequence[Chore],
    words: SheetWords,
    *,
    out_first: bool,
) -> list[Part]:
    """Return the parts of the body in their order."""
    sheet, voice = words.sheet, words.voice
    questions = [remark for remark in sheet.warnings if isinstance(remark, NotConfirmed)]
    others = [remark for remark in sheet.warnings if remark not in questions]
    carrying = [chores.part for chores in due if chores.kind is ChoreKind.CARRY_IN]
    by_hour = [carry_out(out, words), *mist(words.chores(ChoreKind.MIST), words)]
    by_hour += [
        replace(chores.part, kept=True) if chores.kind is ChoreKind.CARRY_IN else chores.part
        for chores in due
        if out_first or chores.kind is not ChoreKind.CARRY_IN
    ]
    return [
        *([] if out_first else carrying),
        phrases.too_cold(sheet.warnings, voice),
        *([plain_part(reason_phrases.why(into, voice))] if into else []),
        *(question_about_last_night(remark, words) for remark in questions),
        *sorted(by_hour, key=lambda part: part.hours[:1]),
        stop_wetting(words),
        # Where nothing goes out, the title has told that it stays in.
        stay_in("stay_in", words.chores(ChoreKind.STAY_IN), words, optional=not out),
        *warnings(others, words),
        open_questions(words),
    ]


def _title(due: Sequence[Due], out: Sequence[Chore], words: SheetWords, *, out_first: bool) -> str:
    """Return the title: an order comes before everything but what goes out before it."""
    order = [chores for chores in due[:1] if chores.kind in ORDERS]
    of_day = [
        *_heads_of_day(out, words.chores(ChoreKind.MIST), words),
        *((chores.at, chores.head) for chores in due if chores not in order),
    ]
    heads = [head for _, head in sorted(of_day, key=lambda timed: timed[0])]
    before = heads[: int(out_first)]
    heads = [*before, *(chores.head for chores in order), *heads[len(before) :]]
    stay = words.chores(ChoreKind.STAY_IN)
    if stay and not out:
        heads.append(words.say("head_stay", count=phrases.count_of(stay)))
    return title_of(heads)


def _nothing_today(words: SheetWords) -> str:
    unknown = (WateringIncomplete, WateringUnplanned, ForecastElsewhere)
    known = not any(
        isinstance(remark, unknown) or nothing_known(remark) for remark in words.sheet.warnings
    )
    return words.say("nothing_today" if known else "today_not_known")


def _heads_of_day(
    out: Sequence[Chore], mistings: Sequence[Chore], words: SheetWords
) -> Iterator[tuple[datetime, str]]:
    """Yield what the title says of going out and of misting, each with its first hour."""
    now, voice = words.sheet.at, words.voice
    if out:
        at, count, later = _first_and_later(out, now)
        yield at, words.say("head_out", when=voice.since(at, now), count=count, later=later)
    if mistings:
        at, count, later = _first_and_later(first_mistings(mistings), now)
        yield at, words.say("head_mist", by=voice.by(at, now), count=count, later=later)


def _first_and_later(chores: Sequence[Chore], now: datetime) -> tuple[datetime, int, int]:
    """Return the first hour of some chores, how many plants it concerns, and how many later."""
    (at, first), *rest = phrases.by_hour(chores, now)
    return at, phrases.count_of(first), sum(phrases.count_of(chores) for _, chores in rest)
