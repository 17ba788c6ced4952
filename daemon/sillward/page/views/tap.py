"""Where the link of a message leads: a page with one button, and what pressing it does.

Asking for the page changes nothing, however often: mail scanners and previews follow links. A
phone's own button posts to the same address without having seen the page. It answers what its
message told, if that is still the same; the page posts the plants that it has shown.

Whoever has the link may answer, so there is neither a session nor a token of forms; the address is
never logged.
"""

from collections.abc import Sequence
from datetime import datetime
from http import HTTPStatus

from werkzeug.exceptions import NotFound, ServiceUnavailable
from werkzeug.wrappers import Response

from sillward.ledger import StoredChore
from sillward.links.token import LENGTH, Purpose, Token, digest, read
from sillward.page import cards
from sillward.page.cards import Card
from sillward.page.keys import key_of
from sillward.page.route import Access, Route
from sillward.page.visit import Visit
from sillward.service import answer_links, answers
from sillward.wording.voice import Voice

TRIED = "This works"
"""What the link of a trial says."""

TOO_OLD = "This link is too old to answer with: its night or day is over."

UNKNOWN = (
    "This link does not work. A part of it may be missing, or it is from before the page had a new"
    " key. The page itself shows what is to do."
)


def link(visit: Visit, token: str) -> Response:
    """Show what a link is about, and a button. Nothing is changed."""
    known = _token(visit, token)
    if known.purpose is Purpose.TRY:
        return visit.page("tap_tried.html", pressed=False, token=token)
    if known.is_expired(visit.now):
        return _refused(visit, known, HTTPStatus.GONE, TOO_OLD)
    told = answer_links.told_with(visit.context, known)
    if told is None:
        return _form(visit, token, answer_links.open_now(visit.context, known), is_changed=True)
    return _form(visit, token, [chore for chore in told if chore.open], is_changed=False)


def tapped(visit: Visit, token: str) -> Response:
    """Write down what a link, or its page, says is done."""
    known = _token(visit, token)
    if known.purpose is Purpose.TRY:
        if not _wants_a_page(visit):
            return _plain(f"{TRIED}: nothing was to do, and nothing was changed.", HTTPStatus.OK)
        return visit.page("tap_tried.html", pressed=True, token=token)
    if known.is_expired(visit.now):
        return _refused(visit, known, HTTPStatus.GONE, TOO_OLD)
    obstacle = visit.desk.obstacle()
    if obstacle is not None:
        msg = f"Nothing can be written down just now: {obstacle}. Try again in a few minutes."
        raise ServiceUnavailable(msg)
    if "shown" in visit.request.form:
        return _answered_by_page(visit, known)
    return _answered_by_button(visit, known)


def _answered_by_page(visit: Visit, token: Token) -> Response:
    """Take the plants that are ticked as done, and no others."""
    context = visit.context
    ticked = {tuple(value.partition(".")[::2]) for value in visit.fields("plant")}
    names = {key_of(plant.name): plant.name for plant in context.household.collection.plants}
    chosen = [
        (chore, plants)
        for chore in context.ledger.chores.of_day(context.site.name, token.day)
        if chore.round == token.round
        and (plants := [names[of] for key, of in ticked if key == key_of(chore.id) and of in names])
    ]
    if not chosen:
        why = "No plant is ticked that was to do, so nothing was taken as done."
        return _refused(visit, token, HTTPStatus.UNPROCESSABLE_ENTITY, why)
    return _confirmed(visit, token, chosen)


def _answered_by_button(visit: Visit, token: Token) -> Response:
    """Take all that a message told as done, if it is still the same and its time has come."""
    told, now = answer_links.told_with(visit.context, token), visit.now
    if told is None:
        why = "This has changed since you were told, so nothing was taken as done."
        return _refused(visit, token, HTTPStatus.CONFLICT, why)
    begun = [chore for chore in told if _has_begun(chore, now)]
    if not begun:
        why = "None of this has begun yet, so nothing was taken as done."
        return _refused(visit, token, HTTPStatus.CONFLICT, why)
    done = [chore for chore in begun if chore.open or chore.done_at is not None]
    if not done:
        why = "This is not needed any more, so nothing was taken as done."
        return _refused(visit, token, HTTPStatus.CONFLICT, why)
    return _confirmed(visit, token, [(chore, chore.plants) for chore in done])


def _confirmed(
    visit: Visit, token: Token, chosen: Sequence[tuple[StoredChore, Sequence[str]]]
) -> Response:
    """Write down that chores are done, the last first: it decides where a plant is now."""
    context = visit.context
    person = answer_links.person_of(context, token)
    last_first = sorted(chosen, key=lambda one: one[0].before, reverse=True)
    ledger, site = context.ledger, context.site.name
    results = answers.confirm(ledger, site, last_first, context.clock(), person)
    lines = [_said(result, context.voice) for result in reversed(results)]
    left = answer_links.open_now(context, token)
    if not _wants_a_page(visit):
        more = f" Still to do: {_count(left, context.voice)}." if left else ""
        return _plain(f"{'. '.join(lines)}.{more}", HTTPStatus.OK)
    return visit.page("tap_done.html", lines=lines, left=_cards(visit, left))


# -- pages


def _form(visit: Visit, token: str, chores: Sequence[StoredChore], *, is_changed: bool) -> Response:
    begun = {chore.id for chore in chores if _has_begun(chore, visit.now)}
    return visit.page(
        "tap.html",
        token=token,
        cards=[(key_of(card.id), card, card.id in begun) for card in _cards(visit, chores)],
        is_changed=is_changed,
    )


def _refused(visit: Visit, token: Token, status: HTTPStatus, why: str) -> Response:
    """Say why nothing was done, and what is true now."""
    left = answer_links.open_now(visit.context, token)
    if not _wants_a_page(visit):
        text = f"{why} Open now: {_count(left, visit.voice)}. Look at the page."
        return _plain(text, status)
    is_old = status is HTTPStatus.GONE
    heading = "This link is too old" if is_old else "Nothing was written down"
    shown = _cards(visit, left)
    return visit.page("tap_refused.html", status=status, heading=heading, why=why, left=shown)


def _plain(text: str, status: HTTPStatus) -> Response:
    return Response(f"{text}\n", status, content_type="text/plain; charset=utf-8")


def _wants_a_page(visit: Visit) -> bool:
    """Whether a browser asks, rather than the button of a phone's notice."""
    return "text/html" in visit.request.headers.get("Accept", "")


# -- what is shown


def _cards(visit: Visit, stored: Sequence[StoredChore]) -> list[Card]:
    """Return the chores as the page shows them, without plants that were removed."""
    context = visit.context
    chores = {kept.id: chore for kept in stored if (chore := context.chore(kept)) is not None}
    spots = [spot.name for spot in context.household.collection.spots]
    return cards.cards(stored, chores, spots, visit.now, visit.voice)


def _said(result: answers.Answered, voice: Voice) -> str:
    """Return what was written down: "Carry in: 5 plants, done"."""
    plants, before = result.plants, result.done_before
    who = plants[0] if len(plants) == 1 else voice.plants(len(plants))
    when = "done" if before is None else f"was done already at {voice.hour(before)}"
    return f"{voice.say('kind', name=result.chore.kind.value)}: {who}, {when}"


def _count(chores: Sequence[StoredChore], voice: Voice) -> str:
    plants = {name for chore in chores for name in chore.plants}
    return voice.plants(len(plants)) if plants else "nothing"


def _has_begun(chore: StoredChore, now: datetime) -> bool:
    start = chore.chore.not_before
    return start is None or start <= now


# -- tokens


def _token(visit: Visit, text: str) -> Token:
    """Return what a link says. Raise NotFound for anything that is no link of this household."""
    links = visit.context.links
    known = None if links is None or len(text) != LENGTH else read(text, links.key)
    if known is None or known.site != digest(visit.context.site.name):
        raise NotFound(UNKNOWN)
    return known


ROUTES = (
    Route("/t/<token>", "tap", link, access=Access.LINK),
    Route("/t/<token>", "tapped", tapped, method="POST", access=Access.LINK),
)
