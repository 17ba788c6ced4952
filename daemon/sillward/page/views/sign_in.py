"""Signing in and out."""

import logging

from werkzeug.exceptions import HTTPException
from werkzeug.wrappers import Response

from sillward.errors import one_line
from sillward.page.log_flood import FloodFilter
from sillward.page.people.door import NotSignedInError
from sillward.page.route import Access, Route
from sillward.page.visit import Visit

log = logging.getLogger(__name__)
log.addFilter(FloodFilter())

MAX_ADDRESS = 300
"""Characters of the address that one wanted to go to. Judgement: ours are shorter."""


def form(visit: Visit) -> Response:
    """Show the form."""
    return _shown(visit, visit.request.args.get("to", ""))


def sign_in(visit: Visit) -> Response:
    """Let somebody in who knows the passphrase, and lead to where they wanted to go."""
    door, to = visit.door, visit.field("to")
    if door is None or door.open:
        return visit.redirect("today")
    address = visit.request.remote_addr or ""
    try:
        session = door.sign_in(visit.field("name"), visit.field("passphrase"), address)
    except NotSignedInError as error:
        log.warning("page.not_signed_in address=%s reason=%s", one_line(address, 50), error)
        response = _shown(visit, to, str(error), status=429 if error.wait_s else 403)
        if error.wait_s:
            response.headers["Retry-After"] = str(int(error.wait_s) + 1)
        return response
    visit.entry.sign_in(session)
    wanted = _own_page(visit, to)
    if wanted is None:
        return visit.redirect("today")
    return Response(status=303, headers={"Location": wanted})


def sign_out(visit: Visit) -> Response:
    """Forget who has signed in with this browser."""
    visit.entry.sign_out()
    return visit.redirect("sign_in")


def _shown(visit: Visit, to: str, wrong: str = "", *, status: int = 200) -> Response:
    door = visit.door
    if door is None or door.open:
        return visit.redirect("today")
    name = visit.field("name") if wrong else ""
    facts = {"to": to[:MAX_ADDRESS], "wrong": wrong, "name": name}
    return visit.page("sign_in.html", status=status, asks_for_name=door.asks_for_name, **facts)


def _own_page(visit: Visit, to: str) -> str | None:
    """Return the address of a page of ours to look at; None for anything else, however it is
    written: what counts is which route it leads to."""
    if len(to) > MAX_ADDRESS:
        return None
    try:
        name, values = visit.addresses.match(to, method="GET")
    except HTTPException:
        return None
    return visit.url(name, **values)


ROUTES = (
    Route("/sign-in", "sign_in", form, access=Access.ANYBODY),
    Route("/sign-in", "sign_in_now", sign_in, "POST", Access.ANYBODY, is_kept=False),
    Route("/sign-out", "sign_out", sign_out, "POST", is_kept=False),
)
