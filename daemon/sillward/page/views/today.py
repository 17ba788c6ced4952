"""What is to do today and tonight, in walking order, with a button for each answer."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from werkzeug.wrappers import Response

from sillward.ledger.tables.confirmations import Answer
from sillward.page import cards, deed_words
from sillward.page.cards import Group
from sillward.page.route import Route
from sillward.page.visit import Visit
from sillward.service import due_rounds
from sillward.wording import chore_phrases
from sillward.wording.voice import Voice, capital
from sillward_rules.chore import Chore, ChoreKind

RECENT = timedelta(minutes=30)
"""What was answered this recently is told on top, to be taken back. Judgement: slips show soon."""


HEADINGS = (
    (Group.LATE, "Overdue"),
    (Group.NOW, "Now"),
    (Group.AHEAD, "Later"),
    (Group.KNOW, "Keep in mind"),
)
"""The parts of the page, with their headings."""

MAX_WARNINGS = 8
"""Judgement: more are not read; the full sheet has them all."""


def today(visit: Visit) -> Response:
    """Show it."""
    context, now, voice = visit.context, visit.now, visit.voice
    stored = context.ledger.chores.due_since(context.site.name, now - cards.LATE_SHOWN)
    today_ = str(context.site.local_date(now))
    chores = {
        kept.id: chore
        for kept in stored
        if kept.day <= today_ and (chore := context.chore(kept)) is not None
    }
    spots = [spot.name for spot in context.household.collection.spots]
    answers = context.ledger.confirmations.last_by_chore(context.site.name, now - cards.LATE_SHOWN)
    made = cards.cards(stored, chores, spots, now, voice, answers)
    groups = {group: [card for card in made if card.group is group] for group in Group}
    warnings = visit.desk.sheet(due_rounds.nearest(context.site, now)).warnings
    lines = [
        (chore_phrases.is_too_cold(warning), capital(voice.remark(warning)))
        for warning in warnings[:MAX_WARNINGS]
    ]
    return visit.page(
        "today.html",
        headline=_headline([chores[card.id] for card in made if card.is_open], now, voice),
        day=voice.long_day(now),
        groups=groups,
        headings=HEADINGS,
        settled=groups[Group.SETTLED],
        last=_last(visit, answers),
        cold=[line for is_cold, line in lines if is_cold],
        warnings=[line for is_cold, line in lines if not is_cold],
        caution=voice.say("caution"),
    )


@dataclass(frozen=True, slots=True)
class _Last:
    """What was answered last: in words, and the number by which it can be taken back, if it can."""

    text: str
    answer: int | None


def _last(visit: Visit, answers: Mapping[str, int]) -> _Last | None:
    """Return what anybody answered last, if that was a moment ago."""
    context = visit.context
    for deed in context.ledger.deeds.latest(context.site.name, 1):
        if context.clock() - deed.at < RECENT:
            can_be_undone = deed.what in (Answer.DONE, Answer.NOT_NEEDED, Answer.LATER)
            number = answers.get(str(deed.about.get("chore", ""))) if can_be_undone else None
            return _Last(deed_words.line(deed, visit.voice), number)
    return None


def _headline(open_chores: Sequence[Chore], now: datetime, voice: Voice) -> str:
    """Return the most pressing order in half a line."""
    for kind in (ChoreKind.CARRY_IN, ChoreKind.COVER, ChoreKind.SECURE):
        orders = [chore for chore in open_chores if chore.kind is kind]
        if orders:
            return capital(chore_phrases.head_of(orders, now, voice))
    return "Nothing is urgent"


ROUTES = (Route("/", "today", today),)
