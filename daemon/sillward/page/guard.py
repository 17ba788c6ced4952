"""Who may ask what of the page: the host that it is called by, where a form comes from, who asks.

The page changes nothing unless a form of ours asks for it: GET never changes anything. A form is
ours if its browser says so (`Origin`, `Sec-Fetch-Site`) and it carries a token that fits a cookie
which no other site can read or set.
"""

import hmac
import ipaddress
import secrets
from collections.abc import Collection
from dataclasses import dataclass
from urllib.parse import urlsplit

from werkzeug.exceptions import BadRequest, Forbidden
from werkzeug.wrappers import Request, Response

from sillward.page.route import Access

VISIT_COOKIE = "sillward-visit"
"""A random word by which the forms of a browser are known again."""

VISIT_S = 30 * 24 * 3600
"""How long a browser keeps it [s]. Judgement: a page that stays open over a holiday still works."""

_MIN_WORD = 20


@dataclass(frozen=True, slots=True)
class Guard:
    """Checks requests.

    key: signs the tokens of forms.
    hosts: the names by which the page may be called, besides addresses of loopback.
    """

    key: bytes
    hosts: Collection[str] = ()

    def check_host(self, request: Request) -> None:
        """Raise BadRequest unless the page was called by a name of its own.

        Otherwise a foreign site could have its name point here and read the page (DNS rebinding).
        """
        host = urlsplit(f"//{request.host}").hostname or ""
        if host not in self.hosts and not _is_loopback(host):
            msg = "the page is not called by that name; SILLWARD_PAGE__HOSTS can add it"
            raise BadRequest(msg)

    def word_of(self, request: Request) -> str:
        """Return the word of the browser, or a new one."""
        known = request.cookies.get(VISIT_COOKIE, "")
        return known if len(known) >= _MIN_WORD and known.isalnum() else secrets.token_hex(16)

    def form_token(self, word: str) -> str:
        """Return what the forms of this browser carry."""
        return hmac.new(self.key, f"form {word}".encode(), "sha256").hexdigest()

    def check_form(self, request: Request, access: Access) -> None:
        """Raise Forbidden unless a form comes from a page of ours."""
        if access is Access.LINK:
            return
        site = request.headers.get("Sec-Fetch-Site", "same-origin")
        origin = request.headers.get("Origin")
        foreign = site not in ("same-origin", "none")
        if origin is not None and urlsplit(origin).netloc != request.host:
            foreign = True
        word = request.cookies.get(VISIT_COOKIE, "")
        given = request.form.get("form_token", "") or request.headers.get("X-Form-Token", "")
        if foreign or not hmac.compare_digest(given.encode(), self.form_token(word).encode()):
            msg = "this form did not come from the page, or is too old; open the page again"
            raise Forbidden(msg)

    def finish(self, request: Request, response: Response, word: str) -> None:
        """Set the headers and cookies that every answer has."""
        if request.cookies.get(VISIT_COOKIE) != word:
            response.set_cookie(
                VISIT_COOKIE,
                word,
                max_age=VISIT_S,
                httponly=True,
                samesite="Strict",
                secure=request.is_secure,
            )
        headers = response.headers
        headers.setdefault("Cache-Control", "no-store")
        headers["Content-Security-Policy"] = POLICY
        headers["X-Content-Type-Options"] = "nosniff"
        # No other site learns an address. "no-referrer" would hide the origin of our own forms too
        # (Fetch, "append a request Origin header"), and browsers without scripts could send none.
        headers["Referrer-Policy"] = "same-origin"
        headers["Cross-Origin-Opener-Policy"] = "same-origin"
        headers["Cross-Origin-Resource-Policy"] = "same-origin"


POLICY = (
    "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; connect-src 'self';"
    " manifest-src 'self'; worker-src 'self'; form-action 'self'; frame-ancestors 'none';"
    " base-uri 'none'"
)
"""What a browser may load: only what the page itself serves, no inline script or style."""


def _is_loopback(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False
