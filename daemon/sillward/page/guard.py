"""Who may ask what of the page: the host that it is called by, where a form comes from, who asks.

The page changes nothing unless a form of ours asks for it: GET never changes anything. A form is
ours if its browser says so (`Origin`, `Sec-Fetch-Site`) and it carries a token that fits a cookie
which no other site can read: that of the session, or of the visit where nobody has signed in.
"""

import hmac
import re
import secrets
from dataclasses import dataclass, field

from werkzeug.exceptions import BadRequest, Forbidden
from werkzeug.wrappers import Request, Response

from sillward.page.hosts import Hosts
from sillward.page.http_server import PASSED_ON
from sillward.page.people.door import Door
from sillward.page.people.entry import Entry
from sillward.page.people.sessions import SESSION_S
from sillward.page.route import Access

VISIT_COOKIE = "sillward-visit"
"""A random word by which the forms of a browser are known again."""

SESSION_COOKIE = "sillward-session"
"""Who has signed in."""

VISIT_S = 30 * 24 * 3600
"""How long a browser keeps it [s]. Judgement: a page that stays open over a holiday still works."""

HSTS_S = 365 * 24 * 3600
"""How long a browser asks for the page by https alone, once it came that way [s] (RFC 6797)."""

_WORD = re.compile(r"[0-9a-f]{32}")


@dataclass(frozen=True, slots=True)
class Guard:
    """Checks requests.

    key: signs the tokens of forms.
    hosts: by which the page may be called, besides this machine's own names for itself.
    door: lets people in; None for a page that is open to whoever reaches it.
    """

    key: bytes
    hosts: Hosts = field(default_factory=Hosts)
    door: Door | None = None

    def check_host(self, request: Request) -> None:
        """Raise BadRequest unless the page was called by a name of its own.

        Otherwise a foreign site could have its name point here and read the page (DNS rebinding).
        """
        if not self.hosts.has(request.environ.get("HTTP_HOST", "")):
            msg = "the page is not called by that name; SILLWARD_PAGE__HOSTS can add it"
            raise BadRequest(msg)

    def check_way(self, request: Request) -> None:
        """Raise Forbidden for what a web server that nobody named passes on to an open page.

        It may do so for the whole internet, and by the name that this machine has for itself.
        """
        is_open = self.door is None or self.door.open
        if is_open and PASSED_ON in request.environ:
            msg = (
                "a web server passes this on, and the page is open to whoever reaches it; set"
                " SILLWARD_PAGE__PROXY and SILLWARD_PAGE__URL"
            )
            raise Forbidden(msg)

    def entry(self, request: Request) -> Entry:
        """Return who asks."""
        known = request.cookies.get(_named(VISIT_COOKIE, request), "")
        entry = Entry(known if _WORD.fullmatch(known) else secrets.token_hex(16))
        if self.door is not None and not self.door.open:
            entry.came_with = request.cookies.get(_named(SESSION_COOKIE, request), "")
            entry.session = self.door.session_of(entry.came_with) if entry.came_with else None
        return entry

    def may_enter(self, entry: Entry, access: Access) -> bool:
        """Whether an address is open to who asks."""
        if access is not Access.HOUSEHOLD or entry.session is not None:
            return True
        return self.door is None or self.door.open

    def form_token(self, entry: Entry) -> str:
        """Return what the forms of this session carry, or those of a visit without one."""
        word = entry.word if entry.session is None else f"session {entry.session.word}"
        return hmac.new(self.key, f"form {word}".encode(), "sha256").hexdigest()

    def check_form(self, request: Request, access: Access, entry: Entry) -> None:
        """Raise Forbidden unless a form comes from a page of ours."""
        if access is Access.LINK:
            return
        site = request.headers.get("Sec-Fetch-Site", "same-origin")
        origin = request.headers.get("Origin")
        foreign = site not in ("same-origin", "none") or (
            origin is not None and not self.hosts.is_own_origin(origin, request)
        )
        given = request.form.get("form_token", "")
        if foreign or not hmac.compare_digest(given.encode(), self.form_token(entry).encode()):
            msg = "this form did not come from the page, or is too old; open the page again"
            raise Forbidden(msg)

    def finish(self, request: Request, response: Response, entry: Entry) -> None:
        """Set the headers and cookies that every answer has."""
        headers = response.headers
        headers.setdefault("Cache-Control", "no-store")
        visit = _named(VISIT_COOKIE, request)
        # What a cache in between may keep must not carry one browser's word to others.
        if request.cookies.get(visit) != entry.word and headers["Cache-Control"] == "no-store":
            # Lax: it comes with a link from a mail too, so forms that are open elsewhere stay good.
            _set_cookie(request, response, visit, entry.word, VISIT_S, "Lax")
        self._keep_session(request, response, entry)
        protect(request, response)

    def _keep_session(self, request: Request, response: Response, entry: Entry) -> None:
        """Hand the session to the browser if it is new, or take it back if somebody signed out."""
        name = _named(SESSION_COOKIE, request)
        if entry.session is not None and self.door is not None:
            cookie = self.door.cookie(entry.session)
            if cookie != entry.came_with:
                _set_cookie(request, response, name, cookie, SESSION_S, "Strict")
        elif entry.came_with and entry.is_over:
            _set_cookie(request, response, name, "", 0, "Strict")


def protect(request: Request, response: Response) -> None:
    """Set the headers that every answer has, whoever asks."""
    headers = response.headers
    headers.setdefault("Cache-Control", "no-store")
    headers["Content-Security-Policy"] = POLICY
    headers["X-Content-Type-Options"] = "nosniff"
    # No other site learns an address. "no-referrer" would hide the origin of our own forms too
    # (Fetch, "append a request Origin header"), and browsers without scripts could send none.
    headers["Referrer-Policy"] = "same-origin"
    headers["Cross-Origin-Opener-Policy"] = "same-origin"
    headers["Cross-Origin-Resource-Policy"] = "same-origin"
    if request.is_secure:
        headers["Strict-Transport-Security"] = f"max-age={HSTS_S}"


POLICY = (
    "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; connect-src 'self';"
    " manifest-src 'self'; worker-src 'self'; form-action 'self'; frame-ancestors 'none';"
    " base-uri 'none'"
)
"""What a browser may load: only what the page itself serves, no inline script or style."""


def _path(request: Request) -> str:
    """Return the path below which cookies hold: that of the site."""
    return f"{request.root_path}/"


def _named(cookie: str, request: Request) -> str:
    """Return the name of a cookie with the prefix that browsers hold it to (RFC 6265bis, 4.1.3):
    with __Host- no neighbouring name, and nothing without https, can set it."""
    if not request.is_secure:
        return cookie
    return f"__Host-{cookie}" if _path(request) == "/" else f"__Secure-{cookie}"


def _set_cookie(
    request: Request, response: Response, name: str, value: str, seconds: int, same_site: str
) -> None:
    response.set_cookie(
        name,
        value,
        max_age=seconds,
        path=_path(request),
        secure=request.is_secure,
        httponly=True,
        samesite=same_site,
    )
