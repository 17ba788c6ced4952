"""Remarks on a sheet beside its chores: what to beware of, and what is not known."""

from collections.abc import Iterable

from sillward.wording import phrases
from sillward.wording.push import Part, plain_part
from sillward.wording.short_sheet.words import SheetWords
from sillward_rules.remark import NotConfirmed, Remark

MAX_ASKED = 2
"""Plants that the question about last night names. Judgement: it comes back every morning until it
is answered, and must leave room for the day."""


def warnings(remarks: Iterable[Remark], words: SheetWords) -> list[Part]:
    """Return a part for each remark, except those that are told with the orders."""
    return [
        Part((phrases.watch_out(remark, words.voice),))
        for remark in remarks
        if not phrases.is_too_cold(remark)
    ]


def question_about_last_night(remark: NotConfirmed, words: SheetWords) -> Part:
    """Return the question whether plants were carried in, short and never cut."""
    line = phrases.watch_out(remark, words.voice)
    return Part((lambda most: line(min(most, MAX_ASKED)),), kept=True)


def open_questions(words: SheetWords) -> Part:
    """Return one line on what the grower has not said of the spots; it is the same every day."""
    spots = sorted({question.spot for question in words.sheet.assumptions})
    line = words.say("defaults_used", spots=spots) if spots else ""
    return plain_part(line and words.say("watch_out", text=line), optional=True)
