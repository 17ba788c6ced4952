"""Requests that mean harm, byte by byte to the real server on loopback.

Nothing is let in, nothing is told, nothing changes, and the next good request is answered.

The page is that of the packaged example, with people who sign in. What is refused and how follows
RFC 9110 and 9112; where a reference is named it is from memory, the answers are measured.
"""

import re
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import closing, suppress
from dataclasses import dataclass, field

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sillward.links.page_links import PageLinks
from sillward.page.application import MAX_FORM_PARTS, Application
from sillward.page.desk import PageDesk
from sillward.page.guard import Guard
from sillward.page.http_server import LIMITS, Limits
from sillward.page.keys import key_of
from sillward.page.people import passphrases
from sillward.page.people.door import Door
from sillward.page.people.sessions import Session, Sessions
from sillward.page.route import MAX_FORM_BYTES
from sillward.page.server import PageServer
from tests.support.page_people import NOON, Yard, passphrase_of, quick_hash
from tests.support.pages import KEY, an_evening, link_of_dusk

CLOSED = 0
"""Hung up without an answer."""

PATIENCE_S = 20

PLANT = f"/plants/{key_of('Blue basket')}"

SCRIPT = "<script>alert(1)</script>"

QUICK = Limits(idle_s=0.2, request_s=0.2, look_s=0.02)
"""Of a server that loses its patience soon."""


@dataclass
class Answer:
    raw: bytes

    @property
    def status(self) -> int:
        found = re.match(rb"HTTP/1\.[01] (\d{3}) ", self.raw)
        return int(found[1]) if found else CLOSED

    @property
    def statuses(self) -> list[int]:
        """Of all answers on the connection."""
        return [int(status) for status in re.findall(rb"HTTP/1\.[01] (\d{3}) ", self.raw)]

    @property
    def head(self) -> str:
        return self.raw.partition(b"\r\n\r\n")[0].decode("latin-1")

    @property
    def text(self) -> str:
        return self.raw.partition(b"\r\n\r\n")[2].decode()

    def headers(self, name: str) -> list[str]:
        lines = (line.partition(": ") for line in self.head.split("\r\n")[1:])
        return [value for key, _, value in lines if key.lower() == name]


@dataclass
class Page:
    """A server with the page, and what Inés' browser knows, who has signed in."""

    desk: PageDesk
    guard: Guard
    server: PageServer
    cookie: str = ""
    token: str = field(default="", repr=False)

    def send(self, *pieces: bytes) -> Answer:
        """Send pieces, and return all that comes until the other side hangs up."""
        said = b""
        address = self.server.host, self.server.bound_port
        connection = socket.create_connection(address, timeout=PATIENCE_S)
        with closing(connection), suppress(ConnectionError):  # it may hang up before all is sent
            for piece in pieces:
                connection.sendall(piece)
            while got := connection.recv(65_536):
                said += got
        return Answer(said)

    def ask(
        self,
        line: str,
        *headers: str,
        body: bytes = b"",
        host: str = "localhost",
        known: bool = True,
    ) -> Answer:
        """Send a request that is well formed as far as it is given. known: by Inés' browser."""
        return self.send(self.request(line, *headers, body=body, host=host, known=known))

    def request(
        self,
        line: str,
        *headers: str,
        body: bytes = b"",
        host: str = "localhost",
        known: bool = True,
    ) -> bytes:
        lines = [f"{line} HTTP/1.1", f"Host: {host}", "Connection: close", *headers]
        if known:
            lines.append(f"Cookie: {self.cookie}")
        if body and not any(name.lower().startswith("transfer-") for name in headers):
            lines.append(f"Content-Length: {len(body)}")
        return "\r\n".join([*lines, "", ""]).encode("utf-8", "surrogateescape") + body

    def form(self, path: str, *headers: str, body: bytes | None = None) -> Answer:
        """Send a form with the right token."""
        plain = "Content-Type: application/x-www-form-urlencoded"
        return self.ask(f"POST {path}", plain, *headers, body=body or self.fields())

    def fields(self, token: str | None = None, more: str = "") -> bytes:
        return f"form_token={self.token if token is None else token}{more}".encode()

    def changes(self) -> int:
        """How many rows of the ledger were ever changed."""
        with self.desk.open() as context:
            changes: int = context.ledger.database.connection.total_changes
            return changes

    @property
    def door(self) -> Door:
        assert self.guard.door is not None
        return self.guard.door

    def sign_in(self) -> None:
        """Let Inés' browser have a session and the token of its forms."""
        first = self.ask("GET /sign-in", known=False)
        self.cookie = _cookies(first)
        body = self.fields(_token(first), f"&name=Inés&passphrase={passphrase_of('Inés')}&to=/")
        second = self.form("/sign-in", body=body)
        assert second.status == 303, second.raw
        self.cookie = _cookies(second)
        self.token = _token(self.ask("GET /"))


def _cookies(answer: Answer) -> str:
    return "; ".join(line.partition(";")[0] for line in answer.headers("set-cookie"))


def _token(answer: Answer) -> str:
    found = re.search(r'name="form_token" value="([0-9a-f]+)"', answer.text)
    assert found, answer.raw
    return found[1]


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Page]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(passphrases, "_NOBODY", quick_hash("nobody"))
        desk = an_evening()
        desk.context.links = PageLinks(KEY, "")
        yard = Yard(tmp_path_factory.mktemp("passphrases"))
        guard = yard.guard()
        limits = Limits(look_s=0.02)
        server = PageServer(Application(desk, guard), "127.0.0.1", 0, limits=limits)
        server.start()
        with closing(server):
            page = Page(desk, guard, server)
            page.sign_in()
            yield page


@pytest.fixture
def page(served: Page, caplog: pytest.LogCaptureFixture) -> Iterator[Page]:
    """The page, which afterwards is as it was, has said nothing it should not, and goes on."""
    before = served.changes()
    yield served
    assert served.changes() == before
    assert [record for record in caplog.records if record.exc_info] == []
    assert served.cookie not in caplog.text
    good = served.ask("GET /more")
    assert good.status == 200
    assert "Signed in as Inés." in good.text


def harmless(answer: Answer, *statuses: int) -> None:
    """An answer is one of these, and tells nothing of what is behind it."""
    assert answer.status in statuses, answer.raw[:500]
    said = answer.raw.decode("utf-8", "replace").lower()
    for word in ("traceback", "waitress", "werkzeug", "python", "sillward/", "root:", ".py"):
        assert word not in said, word
    assert SCRIPT not in said
    assert not answer.headers("server")
    assert not answer.headers("x-evil")


# -- addresses

ADDRESSES = {
    "traversal": "/../../etc/passwd",
    "traversal below the files": "/assets/../guard.py",
    "traversal, encoded": "/assets/%2e%2e/%2e%2e/etc/passwd",
    "traversal, slashes encoded": "/assets/..%2f..%2fetc%2fpasswd",
    "traversal, twice encoded": "/assets/%252e%252e%252fguard.py",
    "traversal, overlong": "/assets/%c0%ae%c0%ae/guard.py",
    "traversal, backslashes": "/assets/..\\..\\guard.py",
    "traversal, dots and dots": "/assets/....//....//etc/passwd",
    "traversal to the photos": "/photos/../ledger.sqlite3",
    "traversal to the ledger, encoded": "/photos/..%2fledger.sqlite3",
    "a file of the system": "/photos/%2fetc%2fpasswd",
    "NUL behind a name": "/assets/page.css%00.png",
    "bytes that are no UTF-8": "/plants/%ff%fe",
    "a lone half of a character": "/plants/%ed%a0%80",
    "a script for a name": f"{PLANT}{SCRIPT}",
    "a script, encoded": "/spots/%3Cscript%3Ealert(1)%3C/script%3E",
    "a line break": "/plants/x%0d%0aX-Evil:%201",
    "a number beyond the ledger's": "/notes/99999999999999999999999",
    "a number beyond, of readings": f"/spots/{key_of('pergola')}/readings/99999999999999999999999",
    "a number beyond, of absences": "/away/list/99999999999999999999999",
    "a day that is none": "/told/2026-13-45/x",
    "a day before all days": "/told/0000-00-00/x",
    "a link that nobody signed": f"/t/{'A' * 56}",
    "a link that is a script": f"/t/{SCRIPT}",
    "a template": "/templates/page.html",
    "the collection": "/collection.toml",
    "a console": "/console?__debugger__=yes&cmd=1",
    "a template's braces": "/plants/{{7*7}}",
    "SQL": "/plants/x'%20OR%201=1--",
    "a very long name": "/plants/" + "x" * 8_000,
}


@pytest.mark.parametrize("path", ADDRESSES.values(), ids=ADDRESSES)
def test_what_is_not_an_address_of_ours_leads_nowhere(page: Page, path: str) -> None:
    harmless(page.ask(f"GET {path}"), 400, 404)


def test_a_script_in_a_query_or_a_name_is_shown_as_text(page: Page) -> None:
    quoted = "%22%3E%3Cscript%3Ealert(1)%3C/script%3E"
    harmless(page.ask(f"GET /sign-in?to={quoted}", known=False), 200)
    harmless(page.ask(f"GET /?done={quoted}&chore={quoted}"), 200)
    first = page.ask("GET /sign-in", known=False)
    body = page.fields(_token(first), f"&name={quoted}&passphrase={quoted}&to={quoted}")
    sent = page.request(
        "POST /sign-in", _FORM, f"Cookie: {_cookies(first)}", body=body, known=False
    )
    harmless(page.send(sent), 403)


def test_a_long_query_is_a_query(page: Page) -> None:
    harmless(page.ask("GET /?" + "a=1&" * 3_000), 200)
    harmless(page.ask("GET " + "/" * 1_000), 200, 404)


_FORM = "Content-Type: application/x-www-form-urlencoded"


# -- forms

FORMS: dict[str, Callable[[Page], tuple[list[str], bytes]]] = {
    "no token": lambda page: ([_FORM], b"answer=done"),
    "an empty token": lambda page: ([_FORM], page.fields("")),
    "a forged token": lambda page: ([_FORM], page.fields("0" * 64)),
    "a token that is no ASCII": lambda page: ([_FORM], page.fields("é" * 64)),
    "a token of somebody else": lambda page: ([_FORM], page.fields(_token_of_tomas(page))),
    "a token of before the sign-in": lambda page: ([_FORM], page.fields(_first_token(page))),
    "another site": lambda page: ([_FORM, "Origin: https://evil.example"], page.fields()),
    "no site": lambda page: ([_FORM, "Origin: null"], page.fields()),
    "our name with https": lambda page: ([_FORM, "Origin: https://localhost"], page.fields()),
    "our name at another port": lambda page: ([_FORM, "Origin: http://localhost:1"], page.fields()),
    "our name and more": lambda page: ([_FORM, "Origin: http://localhost.evil"], page.fields()),
    "an origin that is none": lambda page: ([_FORM, "Origin: http://[::1"], page.fields()),
    "a foreign site": lambda page: ([_FORM, "Sec-Fetch-Site: cross-site"], page.fields()),
    "a neighbour of ours": lambda page: ([_FORM, "Sec-Fetch-Site: same-site"], page.fields()),
    "a simple request": lambda page: (["Content-Type: text/plain"], page.fields()),
    "JSON": lambda page: (["Content-Type: application/json"], b'{"form_token": "' + page.fields()),
    "no type": lambda page: ([], page.fields()),
    "parts without a boundary": lambda page: (["Content-Type: multipart/form-data"], page.fields()),
    "parts without an end": lambda page: (_parts(), b"--b\r\nContent-Disposition: form-data; na"),
    "parts that are none": lambda page: (_parts(), b"\x00\xff" * 500),
    "a token that is a file": lambda page: (
        _parts(),
        b'--b\r\nContent-Disposition: form-data; name="form_token"; filename="a"\r\n\r\n'
        + page.token.encode() + b"\r\n--b--\r\n",
    ),
    "text in UTF-16": lambda page: (
        [_FORM + "; charset=utf-16"], page.fields().decode().encode("utf-16")
    ),
}  # fmt: skip


def _parts() -> list[str]:
    return ["Content-Type: multipart/form-data; boundary=b"]


def _first_token(page: Page) -> str:
    return _token(page.ask("GET /sign-in", known=False))


def _token_of_tomas(page: Page) -> str:
    other = Page(page.desk, page.guard, page.server)
    session = _session(page, "Tomás")
    other.cookie = f"sillward-session={page.door.cookie(session)}"
    return _token(other.ask("GET /"))


def _session(page: Page, person: str, issued: float = NOON) -> Session:
    mark = page.door._mark(person)
    assert mark is not None
    return Session.new(person, mark, issued)


@pytest.mark.parametrize("path", ["/sign-out", f"{PLANT}/notes"])
@pytest.mark.parametrize("form", FORMS.values(), ids=FORMS)
def test_a_form_that_is_not_ours_changes_nothing(
    page: Page, form: Callable[[Page], tuple[list[str], bytes]], path: str
) -> None:
    headers, body = form(page)
    harmless(page.ask(f"POST {path}", *headers, body=body), 400, 403, 413)


def test_a_token_in_the_address_is_none(page: Page) -> None:
    harmless(page.ask(f"POST /sign-out?form_token={page.token}", _FORM, body=b"x=1"), 403)
    harmless(page.ask(f"GET /sign-out?form_token={page.token}"), 405)


def test_the_right_token_without_its_session_is_none(page: Page) -> None:
    for cookie in ("", "sillward-session=x", "sillward-visit=" + "0" * 32):
        sent = page.request(
            "POST /answer", _FORM, f"Cookie: {cookie}", body=page.fields(), known=False
        )
        harmless(page.send(sent), 403)


OVERRIDES = ["X-HTTP-Method-Override: POST", "X-Method-Override: POST", "X-Http-Method: DELETE"]


@pytest.mark.parametrize("header", OVERRIDES)
def test_a_look_stays_a_look(page: Page, header: str) -> None:
    harmless(page.ask("GET /sign-out", header, body=page.fields()), 405)
    harmless(page.ask("GET /?_method=POST&answer=done", header), 200)


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "TRACE", "OPTIONS", "PROPFIND", "X"])
def test_other_methods_are_refused_and_repeat_nothing(page: Page, method: str) -> None:
    answer = page.ask(f"{method} /", "X-Secret: mushrooms")
    harmless(answer, 400, 405, 501)
    assert b"mushrooms" not in answer.raw
    assert page.cookie.encode() not in answer.raw


def test_nobody_is_connected_further(page: Page) -> None:
    harmless(page.ask("CONNECT evil.example:443"), 400, 404, 405)


# -- sessions


def _forged(page: Page) -> dict[str, str]:
    session, keys = _session(page, "Tomás"), page.door
    good = keys.cookie(session)
    body, _, signature = good.partition(".")
    return {
        "no signature": body,
        "an empty one": f"{body}.",
        "half of it": f"{body}.{signature[:32]}",
        "another body": f"{body[:-4]}AAAA.{signature}",
        "another key": Sessions(b"x" * 32, "Courtyard").cookie(session),
        "another site": Sessions(KEY, "Terrace").cookie(session),
        "another passphrase": keys.cookie(
            Session("Tomás", "0" * 32, int(NOON), int(NOON), "a" * 32)
        ),
        "nobody of the household": keys.cookie(
            Session("Mallory", session.mark, int(NOON), int(NOON), "a")
        ),
        "no person": keys.cookie(Session(None, session.mark, int(NOON), int(NOON), "a")),
        "too old": keys.cookie(_session(page, "Tomás", NOON - 31 * 24 * 3600)),
        "very long": "A" * 9_000,
        "no ASCII": "é.é",
        "a script": SCRIPT,
    }


def test_a_session_that_is_not_ours_opens_nothing(page: Page) -> None:
    for name, cookie in _forged(page).items():
        answer = page.ask("GET /", f"Cookie: sillward-session={cookie}", known=False)
        assert answer.status == 303, name
        harmless(answer, 303)
        assert answer.headers("location") == ["/sign-in?to=/"]


def test_a_cookie_among_hundreds_is_found(page: Page) -> None:
    stuffed = "; ".join(f"a{number}=x" for number in range(500))
    harmless(page.ask("GET /", f"Cookie: {stuffed}; {page.cookie}", known=False), 200)


def test_the_same_cookie_twice_is_no_way_in(page: Page) -> None:
    twice = "sillward-session=x; " * 50
    harmless(page.ask("GET /", f"Cookie: {twice}", known=False), 303)


# -- hosts and proxies

HOSTS = [
    "evil.example", "evil.example:80", "localhost.evil.example", "localhost@evil.example", "",
    "localhost:99999999", "localhost/../evil", "10.0.0.9", "[::2]", "localhost evil.example",
    "plants.example.evil.example", "127.0.0.1.evil.example", "localhost,evil.example", SCRIPT,
]  # fmt: skip


@pytest.mark.parametrize("host", HOSTS)
def test_another_name_than_ours_is_not_answered(page: Page, host: str) -> None:
    """As after a foreign name was made to point here (DNS rebinding)."""
    answer = page.ask("GET /", host=host)
    harmless(answer, 400)
    assert "Courtyard" not in answer.text


def test_a_name_given_twice_or_never_is_not_answered(page: Page) -> None:
    harmless(page.ask("GET /", "Host: evil.example"), 400)
    harmless(page.send(b"GET / HTTP/1.1\r\nConnection: close\r\n\r\n"), 400)
    harmless(page.send(b"GET / HTTP/1.0\r\n\r\n"), 400)


def test_what_a_stranger_forwards_is_not_believed(page: Page) -> None:
    forwarded = ["X-Forwarded-Host: evil.example", "X-Forwarded-Proto: https"]
    answer = page.ask("GET /", *forwarded, "Forwarded: host=evil.example;proto=https")
    harmless(answer, 200)
    assert b"evil" not in answer.raw
    assert not answer.headers("strict-transport-security")
    harmless(page.form("/sign-out", "Origin: https://localhost", *forwarded), 403)


def test_an_address_with_another_host_in_it_leads_nowhere_else(page: Page) -> None:
    answer = page.ask("GET http://evil.example/", known=False)
    harmless(answer, 303, 400)
    assert b"evil" not in answer.raw


# -- requests that are none

GARBAGE = {
    "HTTP/0.9": b"GET /\r\n\r\n",
    "another version": b"GET / HTTP/9.9\r\nHost: localhost\r\nConnection: close\r\n\r\n",
    "HTTP/2": b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n",
    "TLS": bytes.fromhex("1603010200010001fc0303") + b"\x00" * 200 + b"\r\n\r\n",
    "nothing but noise": bytes(range(256)) + b"\r\n\r\n",
    "NUL in the address": b"GET /\x00 HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n",
    "NUL in a header": b"GET / HTTP/1.1\r\nHost: localhost\r\nX: a\x00b\r\n\r\n",
    "a header without a colon": b"GET / HTTP/1.1\r\nHost: localhost\r\nX\r\n\r\n",
    "a blank before the colon": b"GET / HTTP/1.1\r\nHost : localhost\r\n\r\n",
    "a line break alone": b"GET / HTTP/1.1\r\nHost: localhost\r\nX: a\nX-Evil: 1\r\n\r\n",
    "a carriage return alone": b"GET / HTTP/1.1\r\nHost: localhost\r\nX: a\rX-Evil: 1\r\n\r\n",
    "a header with no name": b"GET / HTTP/1.1\r\nHost: localhost\r\n: x\r\n\r\n",
    "blanks in the first line": b"GET  /  HTTP/1.1\r\nHost: localhost\r\n\r\n",
    "no method": b" / HTTP/1.1\r\nHost: localhost\r\n\r\n",
    "a small method": b"get / HTTP/1.1\r\nHost: localhost\r\n\r\n",
    "an asterisk": b"GET * HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n",
}


@pytest.mark.parametrize("sent", GARBAGE.values(), ids=GARBAGE)
def test_what_is_no_request_is_refused(page: Page, sent: bytes) -> None:
    harmless(page.send(sent), CLOSED, 303, 400, 404, 501)


LENGTHS = {
    "two lengths": ["Content-Length: 5", "Content-Length: 6"],
    "a length and chunks": ["Content-Length: 5", "Transfer-Encoding: chunked"],
    "chunks and a length": ["Transfer-Encoding: chunked", "Content-Length: 5"],
    "chunks, said twice": ["Transfer-Encoding: chunked", "Transfer-Encoding: identity"],
    "chunks and more": ["Transfer-Encoding: chunked, identity"],
    "more and chunks": ["Transfer-Encoding: gzip, chunked"],
    "nearly chunks": ["Transfer-Encoding: xchunked"],
    "chunks after a tab": ["Transfer-Encoding: \x0bchunked"],
    "a length below zero": ["Content-Length: -1"],
    "a length with a sign": ["Content-Length: +5"],
    "a length in words": ["Content-Length: five"],
    "a length in hexadecimal": ["Content-Length: 0x5"],
    "two lengths in a line": ["Content-Length: 5, 6"],
    "a length of digits of others": ["Content-Length: ٥"],
    "a length with a low line": ["Content-Length: 1_0"],
}


@pytest.mark.parametrize("headers", LENGTHS.values(), ids=LENGTHS)
def test_a_request_whose_end_is_in_doubt_is_refused_with_all_that_follows(
    page: Page, headers: list[str]
) -> None:
    """Request smuggling: RFC 9112, sections 6.1 and 11.2."""
    head = "\r\n".join(["POST /answer HTTP/1.1", "Host: localhost", *headers, "", ""]).encode()
    hidden = b"0\r\n\r\n" + page.request("GET /")
    answer = page.send(head + hidden)
    harmless(answer, 400, 501)
    assert len(answer.statuses) == 1


CHUNKS = {
    "a size that is none": b"zz\r\nhello\r\n0\r\n\r\n",
    "a size below zero": b"-1\r\nhello\r\n0\r\n\r\n",
    "a size with a sign": b"+5\r\nhello\r\n0\r\n\r\n",
    "a size in hexadecimal, as Python writes it": b"0x5\r\nhello\r\n0\r\n\r\n",
    "a piece longer than it says": b"2\r\nhello\r\n0\r\n\r\n",
    "an extension with a line break": b"5;a=\n\r\nhello\r\n0\r\n\r\n",
}


@pytest.mark.parametrize("body", CHUNKS.values(), ids=CHUNKS)
def test_pieces_that_are_none_are_refused_with_all_that_follows(page: Page, body: bytes) -> None:
    head = b"POST /answer HTTP/1.1\r\nHost: localhost\r\nTransfer-Encoding: chunked\r\n\r\n"
    answer = page.send(head + body + page.request("GET /"))
    harmless(answer, 400, 413)
    assert len(answer.statuses) == 1


def test_what_follows_an_honest_request_is_a_request_of_its_own(page: Page) -> None:
    first = page.request("GET /sign-in").replace(b"Connection: close\r\n", b"")
    second = page.request("GET /", known=False)
    answer = page.send(first + second)
    assert answer.statuses == [200, 303]


def test_an_expectation_is_met_or_refused(page: Page) -> None:
    harmless(page.ask("POST /answer", _FORM, "Expect: the Spanish", body=b"x"), 403, 417)
    answer = page.ask("POST /answer", _FORM, "Expect: 100-continue", body=b"x=1")
    assert answer.statuses in ([100, 403], [403])


def test_a_connection_becomes_nothing_else(page: Page) -> None:
    upgrade = [
        "Upgrade: h2c, websocket",
        "HTTP2-Settings: AAMAAABkAAQAAP__",
        "Sec-WebSocket-Key: x",
    ]
    harmless(page.ask("GET /", *upgrade), 200)


def test_a_piece_of_a_page_is_never_kept_for_another(page: Page) -> None:
    answer = page.ask("GET /", "Range: bytes=0-10,5-15", "If-None-Match: *")
    harmless(answer, 200)
    assert answer.headers("cache-control") == ["no-store"]


# -- too much


def test_too_long_a_head_is_refused(page: Page) -> None:
    harmless(page.ask("GET /", f"X: {'x' * LIMITS.head_bytes}"), CLOSED, 431)
    harmless(page.ask("GET /", *(f"X{n}: x" for n in range(5_000))), CLOSED, 431)
    harmless(page.ask(f"GET /{'x' * LIMITS.head_bytes}"), CLOSED, 431)


def test_too_long_a_body_is_refused_before_it_has_come(page: Page) -> None:
    head = f"Content-Length: {LIMITS.body_bytes + 1}"
    harmless(page.ask(f"POST {PLANT}/notes", _FORM, head), 413)
    harmless(page.ask("POST /answer", _FORM, "Content-Length: 99999999999999999999"), 413)


def test_too_many_pieces_are_refused_as_they_come(page: Page) -> None:
    piece = b"fffff\r\n" + b"x" * 0xFFFFF + b"\r\n"
    head = page.request(f"POST {PLANT}/notes", _FORM, "Transfer-Encoding: chunked")
    harmless(page.send(head, *[piece] * 12), CLOSED, 413)


def test_a_form_holds_only_so_much(page: Page) -> None:
    harmless(page.form("/answer", body=page.fields(more="&x=" + "x" * MAX_FORM_BYTES)), 413)
    many = b"--b\r\nContent-Disposition: form-data; name=a\r\n\r\nx\r\n" * (MAX_FORM_PARTS + 10)
    harmless(page.ask(f"POST {PLANT}/notes", *_parts(), body=many + b"--b--\r\n"), 413)
    harmless(page.form(f"{PLANT}/notes", body=page.fields(more="&x=" + "x" * 800_000)), 413)


def test_a_deep_form_costs_nothing(page: Page) -> None:
    many = "&".join(f"plant={n}" for n in range(5_000))
    harmless(page.form("/answer", body=page.fields(more=f"&answer=done&{many}")), 413, 422)


# -- too slow


@pytest.fixture
def impatient(served: Page) -> Iterator[Page]:
    """The same page, from a server that waits for nobody."""
    server = PageServer(served.server.application, "127.0.0.1", 0, limits=QUICK)
    server.start()
    with closing(server):
        yield Page(served.desk, served.guard, server, served.cookie, served.token)


SLOW = {
    "nothing": b"",
    "half a head": b"GET / HTTP/1.1\r\nHost: local",
    "half a body": b"POST /answer HTTP/1.1\r\nHost: localhost\r\nContent-Length: 90\r\n\r\nx",
    "half a piece": (
        b"POST /answer HTTP/1.1\r\nHost: localhost\r\nTransfer-Encoding: chunked\r\n\r\n5\r\nhe"
    ),
    "a piece beyond all": (
        b"POST /answer HTTP/1.1\r\nHost: localhost\r\nTransfer-Encoding: chunked\r\n\r\n"
        b"fffffffffffffffff\r\nhello"
    ),
}


@pytest.mark.parametrize("sent", SLOW.values(), ids=SLOW)
def test_who_does_not_go_on_is_hung_up_on(impatient: Page, sent: bytes) -> None:
    harmless(impatient.send(sent), CLOSED)
    assert impatient.ask("GET /").status == 200


def test_who_sends_a_byte_now_and_then_is_hung_up_on_too(impatient: Page) -> None:
    """Each byte would keep it from being idle for ever."""
    address = impatient.server.host, impatient.server.bound_port
    gone = threading.Event()
    sent = 0
    with closing(socket.create_connection(address, timeout=0.05)) as connection:
        connection.sendall(b"GET / HTTP/1.1\r\nX: ")
        while not gone.is_set() and sent < PATIENCE_S / 0.05:
            try:
                connection.sendall(b"x")
                sent += 1
                if connection.recv(1) == b"":
                    gone.set()
            except TimeoutError:
                continue
            except ConnectionError:
                gone.set()
    assert gone.is_set()
    assert impatient.ask("GET /").status == 200


def test_many_who_say_nothing_do_not_keep_others_out_for_long(impatient: Page) -> None:
    address = impatient.server.host, impatient.server.bound_port
    silent = [
        socket.create_connection(address, timeout=PATIENCE_S) for _ in range(QUICK.connections + 20)
    ]
    try:
        assert impatient.ask("GET /").status == 200
    finally:
        for connection in silent:
            connection.close()


# -- anything

PIECES = [
    b"\r\n", b"\n", b"\r", b"\r\n\r\n", b"\x00", b" ", b"\t", b":", b";", b"-", b"?", b"#", b"\xff",
    b"%00", b"%2e%2e/", b"HTTP/1.0", b"0\r\n\r\n", b"99999999999", b"Content-Length: 3\r\n",
    b"Transfer-Encoding: chunked\r\n", b"Host: evil.example\r\n", b"Origin: null\r\n",
    b"Cookie: sillward-session=x\r\n",
]  # fmt: skip


@pytest.mark.parametrize("examples", [40, pytest.param(5_000, marks=pytest.mark.slow)])
def test_a_request_with_anything_changed_in_it_is_answered_or_hung_up_on(
    examples: int, impatient: Page
) -> None:
    good = [
        impatient.request("GET /more"),
        impatient.request("POST /answer", _FORM, body=impatient.fields(more="&answer=done")),
        impatient.request("POST /sign-in", *_parts(), body=b"--b\r\n\r\nx\r\n--b--\r\n"),
    ]
    before = impatient.changes()

    @settings(max_examples=examples, deadline=None)
    @given(st.sampled_from(good), st.data())
    def answered(sent: bytes, data: st.DataObject) -> None:
        for _ in range(data.draw(st.integers(1, 4))):
            at = data.draw(st.integers(0, len(sent)))
            gone = data.draw(st.integers(0, 6))
            piece = data.draw(st.sampled_from(PIECES) | st.binary(max_size=3))
            sent = sent[:at] + piece + sent[at + gone :]
        answer = impatient.send(sent)
        harmless(answer, answer.status)
        assert 500 not in answer.statuses
        assert "evil" not in answer.raw.decode("latin-1")

    answered()
    assert impatient.changes() == before
    assert impatient.ask("GET /more").status == 200


# -- what gets in because it may, and stays harmless


def test_a_script_in_a_note_or_a_photo_s_name_is_text(served: Page) -> None:
    quoted, before = "%3Cscript%3Ealert(1)%3C/script%3E", served.changes()
    plain = served.form(f"{PLANT}/notes", body=served.fields(more=f"&text={quoted}"))
    assert plain.status == 303
    parts = [
        f'--b\r\nContent-Disposition: form-data; name="form_token"\r\n\r\n{served.token}\r\n',
        f'--b\r\nContent-Disposition: form-data; name="text"\r\n\r\n"><img onerror={SCRIPT}>\r\n',
        f'--b\r\nContent-Disposition: form-data; name="photo"; filename="../{SCRIPT}.html"\r\n',
        "Content-Type: text/html\r\n\r\n<html>\r\n--b--\r\n",
    ]
    answer = served.ask(f"POST {PLANT}/notes", *_parts(), body="".join(parts).encode())
    harmless(answer, 303, 422)

    assert served.changes() > before
    shown = served.ask(f"GET {PLANT}")
    harmless(shown, 200)
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in shown.text


def test_a_link_answers_for_its_own_message_alone(page: Page) -> None:
    link = link_of_dusk(page.desk)
    for path in (link[:-1], f"{link}A", link[:10] + "AAAA" + link[14:], f"{link}/..", f"{link}%00"):
        harmless(page.ask(f"GET {path}", known=False), 404)
        harmless(page.ask(f"POST {path}", known=False), 404)
    harmless(page.ask(f"GET {link}", host="evil.example", known=False), 400)


def test_no_log_line_holds_a_link_a_query_or_a_cookie(
    page: Page, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    link = link_of_dusk(page.desk)
    caplog.set_level("DEBUG")
    page.ask(f"GET {link}?secret=mushrooms")
    page.send(f"GET {link} HTTP/1.1\r\nHost: localhost\r\nX: \x00\r\n\r\n".encode())
    page.ask("GET /?secret=mushrooms")

    assert "mushrooms" not in caplog.text
    assert link not in caplog.text
