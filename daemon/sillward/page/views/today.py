"""What is to do today and tonight, in walking order, with a button for each answer."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta

from werkzeug.wrappers import Response

from sillward.ledger.tables.confirmations import Answer
from sillward.page import cards, deed_words
from sillward.page.cards import Card, Group, Known
from sillward.page.headline import headline, is_about_forecast
from sillward.page.leaf_questions import leaf_questions
from sillward.page.route import Route
from sillward.page.visit import Visit
from sillward.service import diary, due_rounds
from sillward.service.answers import answerable
from sillward.wording import chore_phrases
from sillward.wording.voice import capital
from sillward_rules.remark import LeftOutByChoice, LookAtLeaf, NotConfirmed, Note, Remark
from sillward_rules.sheet import Round

RECENT = timedelta(minutes=30)
"""What was answered this recently is told on top, to be taken back. Judgement: slips show soon."""

MAX_NOTES = 20
"""So many notes since the last answer are passed over. Judgement: a walk with a phone in hand."""

HEADINGS = (
    (Group.LATE, "Overdue"),
    (Group.NOW, "Now"),
    (Group.AHEAD, "Later"),
    (Group.KNOW, "Keep in mind"),
)
"""The parts of the page, with their headings."""

MAX_WARNINGS = 8
"""Judgement: more are not read; the full sheet has them all."""


@dataclass(frozen=True, slots=True)
class _Board:
    """All that is to do, with the most pressing of it in half a line.

    answers: the number of the last answer about each chore.
    """

    headline: str
    cards: list[Card]
    remarks: tuple[Remark, ...]
    answers: Mapping[str, int]


def today(visit: Visit) -> Response:
    """Show it."""
    voice, board = visit.voice, _board(visit)
    groups = {group: [card for card in board.cards if card.group is group] for group in Group}
    remarks = _not_said_yet(board.cards, board.remarks)[:MAX_WARNINGS]
    return visit.page(
        "today.html",
        headline=board.headline,
        day=voice.long_day(visit.now),
        tonight=_when_told_of_tonight(visit),
        groups=groups,
        headings=HEADINGS,
        settled=groups[Group.SETTLED],
        last=_last(visit, board.answers, board.cards),
        cold=[capital(voice.remark(remark)) for remark in remarks if _is_grave(remark)],
        warnings=[capital(voice.remark(remark)) for remark in remarks if not _is_grave(remark)],
        leaves=leaf_questions(
            visit.context.household.collection, visit.context.states(), visit.now
        ),
        caution=voice.say("caution"),
    )


def headline_now(visit: Visit) -> str:
    """Return what stands above the page at this moment."""
    return _board(visit).headline


def _board(visit: Visit) -> _Board:
    context, now, voice = visit.context, visit.now, visit.voice
    stored = answerable(context.ledger, context.site.name, now, cards.LOOKED_BACK)
    today_ = str(context.site.local_date(now))
    chores = {
        kept.id: chore
        for kept in stored
        if kept.day <= today_ and (chore := context.chore(kept)) is not None
    }
    spots = [spot.name for spot in context.household.collection.spots]
    answers = context.ledger.confirmations.last_by_chore(context.site.name, now - cards.LOOKED_BACK)
    sheet = visit.desk.sheet(due_rounds.nearest(context.site, now))
    known = Known(
        told=visit.told_last,
        is_blind=not context.has_forecast(),
        last_night=next((it for it in sheet.warnings if isinstance(it, NotConfirmed)), None),
        feed=sheet.feed,
        mixes=sheet.mixes,
        salts=sheet.salts,
        standing={
            name: state.spot for name, state in context.states().items() if state.asked is None
        },
        answers=answers,
    )
    made = cards.cards(stored, chores, spots, now, voice, known)
    first = headline(made, sheet.warnings, now, voice, is_blind=known.is_blind)
    return _Board(first, made, sheet.warnings, answers)


def _when_told_of_tonight(visit: Visit) -> str:
    """Return at what hour of this day it is told what must go in; empty once that is over."""
    context, now = visit.context, visit.now
    coming = due_rounds.upcoming(context.site, context.household.rounds, now)[Round.DUSK]
    if coming.day != context.site.local_date(now):
        return ""
    return f"At {visit.voice.hour(coming.due_at)} you will be told what must go in tonight."


def _is_grave(remark: Remark) -> bool:
    """Whether a remark stands above the cards."""
    if isinstance(remark, LeftOutByChoice) and remark.until is not None:  # and still too cold
        return True
    return chore_phrases.is_too_cold(remark) or is_about_forecast(remark)


def _not_said_yet(made: Sequence[Card], remarks: Sequence[Remark]) -> list[Remark]:
    """Return the remarks without those that a card that is to be answered says too."""
    asked = {name for card in made if card.is_question for name in card.chore.plants}
    said = {
        (card.chore.from_spot, reason.quantity)
        for card in made
        if card.is_open
        for reason in card.chore.because
    }

    def is_said(remark: Remark) -> bool:
        if isinstance(remark, NotConfirmed):
            return asked.issuperset(remark.plants)
        if isinstance(remark, LookAtLeaf):  # asked with a button for each answer
            return True
        return isinstance(remark, Note) and (remark.spot, remark.quantity) in said

    return [remark for remark in remarks if not is_said(remark)]


@dataclass(frozen=True, slots=True)
class _Last:
    """What was answered last: in words, and the number by which it can be taken back, if it can."""

    text: str
    answer: int | None


def _last(visit: Visit, answers: Mapping[str, int], made: Sequence[Card]) -> _Last | None:
    """Return what anybody answered last, if that was a moment ago, and what it leaves to do."""
    context = visit.context
    latest = context.ledger.deeds.latest(context.site.name, MAX_NOTES + 1)
    # A note hides no answer that can be taken back.
    deed = next((each for each in latest if each.what not in diary.DEEDS), None)
    if deed is None or context.clock() - deed.at >= RECENT:
        return None
    about = str(deed.about.get("chore", ""))
    can_be_undone = deed.what in (Answer.DONE, Answer.NOT_NEEDED, Answer.LATER)
    number = answers.get(about) if can_be_undone else None
    same = [card for card in made if card.id == about and card.is_open]
    left = [plant.name for card in same for plant in card.plants]
    return _Last(deed_words.last(deed, left, visit.voice), number)


ROUTES = (Route("/", "today", today),)
