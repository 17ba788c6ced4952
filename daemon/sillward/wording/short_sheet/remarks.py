"""The remarks on a sheet: what to beware of, and what is not known."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime

from sillward.wording import chore_phrases
from sillward.wording.push import Line, Part, plain_part
from sillward.wording.short_sheet.sheet_writer import SheetWriter
from sillward_rules.chore import ChoreKind
from sillward_rules.remark import (
    DamageAsked,
    FeedWaits,
    LimitProposed,
    LookAtLeaf,
    NotConfirmed,
    PotsUnknown,
    Remark,
    RootsHot,
    ShelterFailing,
    WaterUnlessHeavy,
)
from sillward_rules.sheet import Round

_Question = PotsUnknown | DamageAsked | LookAtLeaf | LimitProposed

_ASKED: Mapping[type[_Question], str] = {
    PotsUnknown: "pots",
    DamageAsked: "damage",
    LookAtLeaf: "leaves",
    LimitProposed: "limits",
}
"""What is asked of plants, and what about."""

_CARRYING = (ChoreKind.CARRY_IN, ChoreKind.CARRY_OUT)

_CAN_WAIT = (FeedWaits,)
"""Remarks that a push may leave out: they change nothing about this day."""

MAX_ASKED = 2
"""Plants that the question about last night names. Judgement: it comes back every morning until it
is answered, and must leave room for the day."""


def warnings(remarks: Iterable[Remark], writer: SheetWriter) -> list[Part]:
    """Return a part for each remark, except questions and those that are told with the orders."""
    return [
        _warning(remark, writer)
        for remark in remarks
        if not chore_phrases.is_too_cold(remark) and not isinstance(remark, _Question)
    ]


def _warning(remark: Remark, writer: SheetWriter) -> Part:
    if isinstance(remark, ShelterFailing):
        return _failing_shelter(remark, writer)
    if isinstance(remark, RootsHot):
        return hot_pots(remark, writer)
    if isinstance(remark, WaterUnlessHeavy):
        return _unless_heavy(remark, writer)
    line = chore_phrases.warning_line(remark, writer.voice)
    return Part((line,), optional=isinstance(remark, _CAN_WAIT))


def questions(remarks: Iterable[Remark], writer: SheetWriter) -> Part:
    """Return what the grower is asked of plants: a line for each question, or one for all.

    It is told before what can wait, and is not cut: each is asked on few days, and without an
    answer less is known every day. That on pots alone gives way to what is carried: it comes again
    with the week.
    """
    asked = [remark for remark in remarks if isinstance(remark, _Question)]
    if not asked:
        return Part(())

    def in_short() -> list[Line]:
        about = list(_counted(asked))
        return [Line(lambda most: writer.say("to_answer", asked=about, where=most > 0))]

    lines = tuple(chore_phrases.warning_line(remark, writer.voice) for remark in asked)
    can_wait = all(isinstance(question, PotsUnknown) for question in asked)
    carrying = writer.sheet.round is not Round.WEEK and writer.chores(*_CARRYING)
    return Part(lines, in_short, kept=not (can_wait and carrying))


def _counted(asked: Sequence[_Question]) -> Iterator[tuple[str, int]]:
    """Yield what is asked about, and of how many plants."""
    for kind, about in _ASKED.items():
        plants = {
            name
            for question in asked
            if isinstance(question, kind)
            for name in (
                [question.plant] if isinstance(question, LimitProposed) else question.plants
            )
        }
        if plants:
            yield about, len(plants)


def hot_pots(remark: RootsHot, writer: SheetWriter, by: datetime | None = None) -> Part:
    """Return a line on pots whose roots get too hot.

    by: the hour among whose lines it is told.
    """

    def in_short(most: int) -> str:
        who = writer.voice.names(remark.plants, most)
        text = writer.say("pots_hot", root_c=remark.root_c, who=who)
        return writer.say("watch_out", text=text)

    line = chore_phrases.warning_line(remark, writer.voice)
    return Part((line,), lambda: [Line(in_short, at=by)], hours=(by,) if by else ())


def _unless_heavy(remark: WaterUnlessHeavy, writer: SheetWriter) -> Part:
    """Return the pots that may run dry: not cut, for no order to water them comes."""

    def in_short(most: int) -> str:
        who = writer.voice.names(remark.plants, most)
        return writer.say("watch_out", text=writer.say("pots_unless_heavy", who=who))

    line = chore_phrases.warning_line(remark, writer.voice)
    return Part((line,), lambda: [Line(in_short)], kept=True)


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
