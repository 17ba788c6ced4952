"""The page as a WSGI application: a request in, a response out."""

import logging
from collections.abc import Iterable, Mapping
from functools import cache
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

from werkzeug.exceptions import (
    Forbidden,
    HTTPException,
    InternalServerError,
    RequestEntityTooLarge,
    ServiceUnavailable,
)
from werkzeug.routing import Map, MapAdapter, RequestRedirect, Rule
from werkzeug.wrappers import Request, Response

from sillward.errors import LedgerError, SillwardError, UsageError
from sillward.page.desk import BusyError, PageDesk
from sillward.page.guard import Guard
from sillward.page.log_flood import FloodFilter
from sillward.page.refusals import in_words
from sillward.page.rendering import packaged
from sillward.page.route import MAX_FORM_BYTES, Route
from sillward.page.routes import ROUTES
from sillward.page.visit import Visit

if TYPE_CHECKING:
    from _typeshed.wsgi import StartResponse

MAX_FORM_PARTS = 1_000
"""Fields of a form. Judgement: the names of some hundred plants."""

log = logging.getLogger(__name__)
log.addFilter(FloodFilter())


class PageRequest(Request):
    """A request with limits on what its form may hold."""

    max_form_memory_size = 10 * MAX_FORM_BYTES
    max_form_parts = MAX_FORM_PARTS


class Application:
    """Answers requests about one household. It is called by several threads at once."""

    def __init__(self, desk: PageDesk, guard: Guard) -> None:
        self._desk, self._guard = desk, guard
        self._templates = packaged()
        self._routes: Mapping[str, Route] = {route.name: route for route in ROUTES}
        self._map = _map_of(ROUTES)

    def __call__(self, environ: dict[str, Any], start_response: "StartResponse") -> Iterable[bytes]:
        """Answer one request (PEP 3333)."""
        try:
            response = self._answer(PageRequest(environ))
        except BaseException:  # also SystemExit: waitress would never end the request
            # It would answer any other, but log the address, which may be a permission.
            log.exception("page.failed")
            response = Response("Something went wrong.\n", 500, content_type="text/plain")
        return response(environ, start_response)

    def _answer(self, request: PageRequest) -> Response:
        """Return the answer to a request, whatever happens."""
        guard, entry = self._guard, self._guard.entry(request)
        # Not by the name that the request calls us by: that is checked, but never written anywhere.
        addresses = self._map.bind(
            "localhost",
            request.root_path,
            default_method=request.method,
            path_info=request.path,
        )
        token = guard.form_token(entry)
        visit = Visit(request, self._desk, self._templates, addresses, guard.door, entry, token)
        try:
            response = self._routed(visit, addresses)
        except Exception as error:
            response = self._refusal(visit, error)
        finally:
            visit.close()
            request.close()  # files that were sent
        guard.finish(request, response, entry)
        return response

    def _routed(self, visit: Visit, addresses: MapAdapter) -> Response:
        request, entry = visit.request, visit.entry
        self._guard.check_host(request)
        self._guard.check_way(request)
        name, values = addresses.match()
        route = self._routes[name]
        if not self._guard.may_enter(entry, route.access):
            return _to_sign_in(visit)
        # Only a form in parts is read piece by piece; any other is held as a whole.
        most = route.max_bytes if request.mimetype == "multipart/form-data" else MAX_FORM_BYTES
        if (request.content_length or 0) > most:
            raise RequestEntityTooLarge
        if request.method == "POST":
            self._guard.check_form(request, route.access, entry)
            self._check_kept(route)
        return route.view(visit, **values)

    def _check_kept(self, route: Route) -> None:
        """Raise ServiceUnavailable if what a form says cannot be written down.

        While the daemon is in memory it would write over what was said meanwhile.
        """
        obstacle = self._desk.obstacle() if route.is_kept else None
        if obstacle is not None:
            msg = f"Nothing can be written down just now: {obstacle}. Try again in a few minutes."
            raise ServiceUnavailable(msg)

    def _refusal(self, visit: Visit, error: Exception) -> Response:
        """Return a page that says in plain words why there is no answer."""
        if isinstance(error, HTTPException):
            refusal = error
        elif isinstance(error, LedgerError | BusyError):
            log.warning("page.unavailable reason=%s", error)
            refusal = ServiceUnavailable(str(error) if isinstance(error, BusyError) else None)
        elif isinstance(error, UsageError):
            return self._page(visit, 422, str(error))
        elif isinstance(error, SillwardError):
            return self._page(visit, 500, str(error))
        else:
            log.error("page.failed", exc_info=error)
            refusal = InternalServerError()
        if isinstance(refusal, RequestRedirect):  # to the address with or without a slash
            path = urlsplit(refusal.new_url).path.lstrip("/")
            return Response(status=refusal.code, headers={"Location": f"/{path}"})
        return self._page(visit, refusal.code or 500, in_words(refusal))

    def _page(self, visit: Visit, status: int, reason: str) -> Response:
        visit.close()
        return visit.page("refusal.html", status=status, number=status, reason=reason)


@cache
def _map_of(routes: tuple[Route, ...]) -> Map:
    """Return the map that all households share: it takes a while to make, and does not change."""
    return Map(
        [Rule(route.rule, endpoint=route.name, methods=[route.method]) for route in routes],
        strict_slashes=True,
        merge_slashes=False,
        redirect_defaults=False,
    )


def _to_sign_in(visit: Visit) -> Response:
    """Lead somebody who has not signed in to where that can be done.

    Whoever follows a link from elsewhere, such as a mail, brings no session (SameSite=Strict). They
    get a page that asks for the same address again, which brings it. Raise Forbidden for a form.
    """
    request = visit.request
    if request.method == "POST":
        msg = "you are not signed in, or not any more; open the page again"
        raise Forbidden(msg)
    if request.headers.get("Sec-Fetch-Site") == "cross-site":
        return visit.page("elsewhere.html", again=f"{request.root_path}{request.path}")
    return visit.redirect("sign_in", to=request.path)
