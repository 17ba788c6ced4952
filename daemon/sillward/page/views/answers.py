"""What a person says of a chore: done for these plants, later, not needed; and taken back.

A form posts the plants that were shown with it, so that one that joined the chore meanwhile is not
answered for. What is not needed by older numbers is not declined by newer ones: the form says which
it was shown with.
"""

from datetime import timedelta

from werkzeug.exceptions import BadRequest
from werkzeug.wrappers import Response

from sillward.errors import UsageError
from sillward.ledger import StoredChore
from sillward.page import cards
from sillward.page.keys import key_of
from sillward.page.route import Route
from sillward.page.visit import Visit, whole_number
from sillward.service import answers, looks
from sillward_rules.plants.course_progress import LEAF_WORDS

WAIT = timedelta(minutes=30)
"""How long "later" puts a reminder off. Judgement: a meal."""


def answer(visit: Visit) -> Response:
    """Write down what was said of a chore, and show what is to do now."""
    context, person, given = visit.context, visit.person, visit.field("answer")
    chore = _chore(visit)
    names = [name for name in visit.fields("plant") if name in chore.plants]
    ledger, site, now = context.ledger, context.site.name, context.clock()
    if given == "later":
        (put_off,) = answers.put_off(ledger, site, [chore], now + WAIT, now, person)
        if put_off.until is None and put_off.chore.open:
            msg = "its deadline is too close to wait; it stays to do"
            raise UsageError(msg)
    elif given in ("done", "not-needed"):
        if not names:
            msg = "no plant is ticked: tick the ones you mean, and press again"
            raise UsageError(msg)
        if given == "not-needed" and visit.field("told") not in ("", cards.version_of(chore)):
            msg = "it has changed since this page was shown: look at it again, then decide"
            raise UsageError(msg)
        say = answers.confirm if given == "done" else answers.decline
        say(ledger, site, [(chore, names)], now, person)
    else:
        raise BadRequest
    return visit.redirect("today")


def _chore(visit: Visit) -> StoredChore:
    """Return the chore that a form is about. Raise UsageError if it is gone."""
    context = visit.context
    recent = answers.answerable(
        context.ledger, context.site.name, context.clock(), cards.LOOKED_BACK
    )
    wanted = visit.field("chore")
    for chore in recent:
        if chore.id == wanted:
            return chore
    msg = "that no longer needs doing; look at today's page again"
    raise UsageError(msg)


def undo(visit: Visit) -> Response:
    """Take back an answer, by its number: not what somebody else has said since.

    One that was taken back already, as by a press that was sent twice, is no mistake.
    """
    number, context = whole_number(visit.field("answer")), visit.context
    if number is None:
        raise BadRequest
    ledger, site = context.ledger, context.site.name
    answers.take_back_number(ledger, site, number, context.clock(), visit.person)
    return visit.redirect("today")


def look(visit: Visit) -> Response:
    """Write down how the leaves of a plant are while a course runs. Raise UsageError."""
    context, word = visit.context, visit.field("word")
    names = {key_of(plant.name): plant.name for plant in context.household.collection.plants}
    name = names.get(visit.field("plant"))
    if name is None or word not in LEAF_WORDS:
        raise BadRequest
    now = context.clock()
    looks.look(context.ledger, context.household.collection, name, word, now, now, visit.person)
    return visit.redirect("today")


ROUTES = (
    Route("/look", "look", look, method="POST"),
    Route("/answer", "answer", answer, method="POST"),
    Route("/undo", "undo", undo, method="POST"),
)
