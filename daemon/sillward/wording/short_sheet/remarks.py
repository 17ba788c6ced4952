"""The remarks on a sheet: what to beware of, and what is not known."""

from collections.abc import Iterable

from sillward.wording import chore_phrases
from sillward.wording.push import Line, Part, plain_part
from sillward.wording.short_sheet.sheet_writer import SheetWriter
from sillward_rules.remark import (
    DamageAsked,
    FeedWaits,
    LimitProposed,
    LookAtLeaf,
    NotConfirmed,
    Remark,
    ShelterFailing,
)

_CAN_WAIT = (DamageAsked, FeedWaits, LimitProposed, LookAtLeaf)
"""Remarks that a push may leave out: they change nothing about this day."""

MAX_ASKED = 2
"""Plants that the question about last night names. Judgement: it comes back every morning until it
is answered, and must leave room for the day."""


def warnings(remarks: Iterable[Remark], writer: SheetWriter) -> list[Part]:
    """Return a part for each remark, except those that are told with the orders."""
    return [
        _failing_shelter(remark, writer)
        if isinstance(remark, ShelterFailing)
        else Part(
            (chore_phrases.warning_line(remark, writer.voice),),
            optional=isinstance(remark, _CAN_WAIT),
        )
        for remark in remarks
        if not chore_phrases.is_too_cold(remark)
    ]


def _failing_shelter(remark: ShelterFailing, writer: SheetWriter) -> Part:
    """Return a shelter that will not hold: told once, and therefore never cut."""
    voice, plants = writer.voice, frozenset(remark.plants)

    def in_short(most: int) -> str:
        who = voice.names(remark.plants, most)
        facts = {"nights": remark.nights, "low_c": remark.low_c, "who": who}
        text = writer.say("too_cold_ahead", spot=remark.spot, **facts)
        return writer.say("watch_out", text=text)

    line = chore_phrases.warning_line(remark, voice)
    return Part((line,), lambda: [Line(in_short, plants)], plants=(plants,), kept=True)


def question_about_last_night(remark: NotConfirmed, writer: SheetWriter) -> Part:
    """Return the question whether plants were carried in, short and never cut."""
    line = chore_phrases.warning_line(remark, writer.voice)
    return Part((lambda most: line(min(most, MAX_ASKED)),), kept=True)


def open_questions(writer: SheetWriter) -> Part:
    """Return one line on what the grower has not said of the spots; it is the same every day."""
    spots = sorted({question.spot for question in writer.sheet.assumptions})
    line = writer.say("defaults_used", spots=spots) if spots else ""
    return plain_part(line and writer.say("watch_out", text=line), optional=True)
