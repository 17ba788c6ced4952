"""Where the link of a message leads: a page with one button, and what pressing it does.

Asking for the page changes nothing, however often: mail scanners and previews follow links. A
phone's own button posts to the same address without having seen the page. It answers what its
message told, if that is still the same; the page posts the plants that it has shown.

Whoever has the link may answer, so there is neither a session nor a token of forms; the address is
never logged.
"""

from collections.abc import Iterable, Sequence
from datetime import datetime
from http import HTTPStatus

from werkzeug.exceptions import NotFound
from werkzeug.wrappers import Response

from sillward.ledger import StoredChore
from sillward.links.token import LENGTH, Purpose, Token, digest, read
from sillward.page import cards
from sillward.page.cards import Card
from sillward.page.keys import key_of
from sillward.page.route import Access, Route
from sillward.page.views.today import headline_now
from sillward.page.visit import Visit
from sillward.service import answer_links, answers
from sillward.wording.voice import Voice
from sillward_rules.chore import URGENT, ChoreKind

TRIED = "This works"
"""What the link of a trial says."""

TOO_OLD = "This link is too old to answer with: its night or day is over."

UNKNOWN = (
    "This link does not work. Part of it may be missing, or the page has had a new key since. The"
    " page itself shows what there is to do."
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
            return _plain(
                f"{TRIED}: there was nothing to do, and nothing was changed.", HTTPStatus.OK
            )
        return visit.page("tap_tried.html", pressed=True, token=token)
    if known.is_expired(visit.now):
        return _refused(visit, known, HTTPStatus.GONE, TOO_OLD)
    choose = _ticked if "shown" in visit.request.form else _all_told
    context = visit.context
    person, ledger = answer_links.person_of(context, known), context.ledger
    try:
        with ledger.transaction():  # nothing changes between what is looked at and what is written
            # The last first: it decides where a plant is now.
            chosen = sorted(choose(visit, known), key=lambda one: one[0].before, reverse=True)
            results = answers.confirm(ledger, context.site.name, chosen, context.clock(), person)
    except _NotTakenError as reason:
        return _refused(visit, known, reason.status, str(reason))
    return _written_down(visit, known, results)


class _NotTakenError(Exception):
    """Nothing is taken as done; the text says why."""

    def __init__(self, why: str, status: HTTPStatus = HTTPStatus.CONFLICT) -> None:
        super().__init__(f"{why}, so nothing was taken as done.")
        self.status = status


def _all_told(visit: Visit, token: Token) -> answers.Chosen:
    """Return all that a message told, if it is still the same and its time has come."""
    told, now = answer_links.told_with(visit.context, token), visit.now
    if told is None:
        msg = "This has changed since you were told"
        raise _NotTakenError(msg)
    begun = [chore for chore in told if _has_begun(chore, now)]
    if not begun:
        msg = "None of this has begun yet"
        raise _NotTakenError(msg)
    needed = list(filter(_is_needed, begun))
    if not needed:
        msg = "This is no longer needed"
        raise _NotTakenError(msg)
    return [(chore, chore.plants) for chore in needed]


def _ticked(visit: Visit, token: Token) -> answers.Chosen:
    """Return the plants that are ticked, of those that the page of the link shows."""
    context = visit.context
    told = answer_links.told_with(context, token)
    if told is None:
        told = answer_links.open_now(context, token)
    allowed = list(filter(_is_needed, told))
    of_round = {
        key_of(chore.id): chore
        for chore in context.ledger.chores.of_day(context.site.name, token.day)
        if chore.round == token.round
    }
    chosen: dict[str, tuple[StoredChore, set[str]]] = {}
    for key, _, plant in (value.partition(".") for value in visit.fields("plant")):
        shown = of_round.get(key)
        found = None if shown is None else _as_it_is(shown, plant, allowed)
        if found is not None:
            chore, name = found
            chosen.setdefault(chore.id, (chore, set()))[1].add(name)
    if not chosen:
        msg = "No plant is ticked that was to do"
        raise _NotTakenError(msg, HTTPStatus.UNPROCESSABLE_ENTITY)
    return [(chore, sorted(names)) for chore, names in chosen.values()]


def _as_it_is(
    shown: StoredChore, plant: str, allowed: Iterable[StoredChore]
) -> tuple[StoredChore, str] | None:
    """Return the chore in which a plant is now that was shown in another, and the plant's name.

    Return None if it is in none that goes the same way: the page may have been drawn a while ago.
    The hour of an order may be another one since; any other chore may come again at another hour.

    plant: its key.
    """
    alike = [
        (chore, name)
        for chore in allowed
        if _way(chore) == _way(shown) and (chore.before == shown.before or chore.kind in URGENT)
        for name in chore.plants
        if key_of(name) == plant
    ]

    def difference(one: tuple[StoredChore, str]) -> tuple[bool, bool, bool]:
        chore = one[0]
        return chore.id != shown.id, chore.before != shown.before, not chore.open

    return min(alike, key=difference, default=None)


def _way(chore: StoredChore) -> tuple[ChoreKind, str, str]:
    return chore.kind, chore.chore.from_spot, chore.chore.to_spot


def _is_needed(chore: StoredChore) -> bool:
    """Whether a chore is to do, or done; neither called off nor declined."""
    return chore.open or chore.done_at is not None


def _written_down(visit: Visit, token: Token, results: Sequence[answers.Answered]) -> Response:
    """Say what was done, and what is left."""
    context = visit.context
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
    """Say why nothing was done, and what is to do now, whatever the link was about."""
    first = headline_now(visit)
    if not _wants_a_page(visit):
        return _plain(f"{why} Now: {first}. Look at the page.", status)
    return visit.page(
        "tap_refused.html",
        status=status,
        is_old=status is HTTPStatus.GONE,
        headline=first,
        why=why,
        left=_cards(visit, answer_links.open_now(visit.context, token)),
    )


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
    when = "done" if before is None else f"was already done at {voice.hour(before)}"
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
