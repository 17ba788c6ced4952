"""The pages of several households in one server, each below a path of its own."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from http import HTTPStatus
from typing import TYPE_CHECKING, Any

from werkzeug.exceptions import HTTPException, MethodNotAllowed, NotFound
from werkzeug.wrappers import Request, Response

from sillward.links.token import digest, read
from sillward.page.application import Application
from sillward.page.guard import Guard
from sillward.page.refusals import in_words
from sillward.page.rendering import packaged
from sillward.page.static_files import PREFIX

if TYPE_CHECKING:
    from _typeshed.wsgi import StartResponse


@dataclass(frozen=True, slots=True)
class SitePage:
    """The page of a household, and what its site is called."""

    name: str
    application: Application


class Sites:
    """Passes a request on to the page that it is for; at the top it lists them."""

    def __init__(self, households: Mapping[str, SitePage], guard: Guard) -> None:
        """Take the households by their paths, such as "/courtyard".

        guard: checks requests for the list, which is open to whoever reaches the page.
        """
        self._households, self._guard = households, guard
        self._files = next(iter(households.values())).application
        self._templates = packaged()

    def __call__(self, environ: dict[str, Any], start_response: "StartResponse") -> Iterable[bytes]:
        """Answer one request (PEP 3333)."""
        path = environ.get("PATH_INFO", "")
        if path.startswith(PREFIX):
            return self._files(environ, start_response)
        first, slash, rest = path[1:].partition("/")
        of_link = self._path_of_link(rest) if first == "t" else None
        household = self._households.get(of_link or f"/{first}")
        if household is not None and slash:
            at, within = (of_link, path) if of_link else (f"/{first}", f"/{rest}")
            environ["SCRIPT_NAME"], environ["PATH_INFO"] = at, within
            return household.application(environ, start_response)
        request = Request(environ)
        response = self._own(request, f"/{first}/" if household is not None else None)
        return response(environ, start_response)

    def _path_of_link(self, text: str) -> str | None:
        """Return the path of the household that a link is of, which was made when that was the only
        one, or by a command that knows no other."""
        token = read(text, self._guard.key)
        return next(
            (
                path
                for path, household in self._households.items()
                if token is not None and token.site == digest(household.name)
            ),
            None,
        )

    def _own(self, request: Request, moved: str | None) -> Response:
        """Return the list, or a page that leads to it. moved: the address that was meant."""
        try:
            self._guard.check_host(request)
            response = self._listed(request, moved)
        except HTTPException as error:
            response = self._page("no_site.html", error.code or 400, reason=in_words(error))
        self._guard.finish(request, response, self._guard.entry(request))
        return response

    def _listed(self, request: Request, moved: str | None) -> Response:
        if moved is not None:
            return Response(status=HTTPStatus.PERMANENT_REDIRECT, headers={"Location": moved})
        if request.path != "/":
            raise NotFound
        if request.method not in ("GET", "HEAD"):
            raise MethodNotAllowed
        return self._page("sites.html", 200)

    def _page(self, template: str, status: int, **facts: Any) -> Response:
        sites = {f"{path}/": household.name for path, household in self._households.items()}
        text = self._templates.render(template, sites=sites, **facts)
        return Response(text, status, content_type="text/html; charset=utf-8")
