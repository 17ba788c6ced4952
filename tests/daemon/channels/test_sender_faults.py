"""Everything the other side can do wrong while a notice is sent, over real wires on loopback.

Of each fault: whether the notice counts as sent, as failed, or as perhaps sent; that one request
goes out and never two; that it is over in time, leaves nothing behind, and tells no secret.
"""

import logging
import socket
import ssl
import threading
import time
from base64 import b64encode
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import timedelta
from io import StringIO

import pytest
import trustme
from pydantic import SecretStr

from sillward.channels import apprise_sender
from sillward.channels.wire_monitor import MAX_REPLY_BYTES, is_page
from sillward.config.channel import Channel
from sillward.errors import DeliveryError
from sillward.wording.push import Message
from tests.support.loopback_server import (
    CHUNKED,
    LONG_S,
    SHORT_S,
    Talk,
    dripping,
    hanging,
    head,
    open_sockets,
    pouring,
    resetting,
    saying,
    serving,
    whole,
)

HELLO = Message("Carry in 2 plants by 17:10", "17:10 bench > room: Left pot")
WEEK = Message("Week", "the text", "<p>the page</p>", (("chart@sillward", b"png" * 50_000),))
"""A mail that is ours, over the connection that the plugin makes: it must fail in the same ways."""
SECRETS = ("us3r-Ann", "p4ss-Word", "t0ken-Path", "qu3ry-Key", "h3ader-Key")
USER, PASSWORD, PATH, QUERY, HEADER = SECRETS
BASIC = b64encode(f"{USER}:{PASSWORD}".encode()).decode()
SMTP_LOGIN = b64encode(f"\0{USER}\0{PASSWORD}".encode()).decode()

SENT, FAILED, PERHAPS = "sent", "failed", "perhaps sent"
ANSWER_IN_TIME = f"{LONG_S:.0f}"


# -- what is asked of every test here


@pytest.fixture(autouse=True)
def _nothing_left() -> Iterator[None]:
    """No socket stays behind, no thread but those that Apprise keeps, and those are idle."""
    import apprise.apprise

    before, sockets = set(threading.enumerate()), open_sockets()
    yield
    left = set(threading.enumerate()) - before
    assert [
        thread.name for thread in left if not thread.name.startswith("ThreadPoolExecutor")
    ] == []
    assert all(future.done() for future, *_ in apprise.apprise._abandoned_futures)
    assert open_sockets() <= sockets


@pytest.fixture(autouse=True)
def _bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    """Bound every attempt, with time enough for a busy machine; tests of a hang take less."""
    monkeypatch.setattr(apprise_sender, "WIRE_S", LONG_S)


@pytest.fixture
def _soon(monkeypatch: pytest.MonkeyPatch, _bounded: None) -> None:
    monkeypatch.setattr(apprise_sender, "WIRE_S", SHORT_S)


def soon_if(hangs: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    if hangs:
        monkeypatch.setattr(apprise_sender, "WIRE_S", 2 * SHORT_S)


@pytest.fixture(autouse=True)
def _no_secret_is_told(capfd: pytest.CaptureFixture[str]) -> Iterator[None]:
    """No secret is in any log at DEBUG, by any logger, nor on a stream."""
    import apprise  # noqa: F401  # its logger is to be among those that are turned up

    heard = StringIO()
    handler = logging.StreamHandler(heard)
    named = [logging.getLogger(name) for name in sorted(logging.root.manager.loggerDict)]
    loggers = [logging.root, *named]
    levels = [(logger, logger.level) for logger in loggers]
    for logger in loggers:
        logger.setLevel(logging.DEBUG)
        logger.addHandler(handler)
    logging.getLogger("sillward.wording").debug("a word")
    yield
    for logger, level in levels:
        logger.setLevel(level)
        logger.removeHandler(handler)
    assert "a word" in heard.getvalue()
    streams = capfd.readouterr()
    for secret in (*SECRETS, BASIC, SMTP_LOGIN):
        assert secret not in heard.getvalue()
        assert secret not in streams.out + streams.err


def outcome(url: str, message: Message = HELLO) -> tuple[str, str, timedelta | None]:
    """Send once; return how it ended, in what words, and for how long to wait."""
    channel = Channel("phone", SecretStr(url), ("dusk",), all_clear=False, full_length=False)
    began = time.monotonic()
    try:
        apprise_sender.send(channel, message)
    except DeliveryError as error:
        ended, wait = PERHAPS if error.perhaps_sent else FAILED, error.wait
        text, told = str(error), f"{error!r} {error.__cause__!r}"
    else:
        ended, wait, text, told = SENT, None, "", ""
    assert not any(secret in told for secret in (*SECRETS, "127.0.0.1"))
    assert time.monotonic() - began < LONG_S
    assert "\n" not in text
    return ended, text.removeprefix("channel phone: "), wait


def pushed(address: str) -> tuple[str, str, timedelta | None]:
    """A push to a URL with a secret wherever it can hold one."""
    scheme, _, server = address.partition("://")
    kind = "jsons" if scheme == "https" else "json"
    tail = f"-key={QUERY}&+X-Key={HEADER}&rto={ANSWER_IN_TIME}"
    return outcome(f"{kind}://{USER}:{PASSWORD}@{server}/{PATH}/?{tail}")


# -- pushes

REFUSED = "the service refused it"
SILENT = "no answer in time; perhaps it arrived all the same"
LOGIN_PAGE = b"<!DOCTYPE html>\n<html><head><title>Welcome to our hotel</title></head></html>"
PORTAL = "answered with a web page; a login page in between?"
OK = b'{"ok": true}'

FAULTS: dict[str, tuple[Talk, str, str]] = {
    "well": (whole(OK, "Content-Type: application/json"), SENT, ""),
    "nothing in it": (whole(b""), SENT, ""),
    "no content": (saying(head(status="204 No Content")), SENT, ""),
    "a bare word called a page": (whole(b"ok", "Content-Type: text/html"), SENT, ""),
    "400": (whole(OK, status="400 Bad Request"), FAILED, f"{REFUSED} (400)"),
    "401": (whole(b"", status="401 Unauthorized"), FAILED, f"{REFUSED} (401)"),
    "500": (whole(b"", status="500 Broken"), FAILED, f"{REFUSED} (500)"),
    "500 as a page": (whole(LOGIN_PAGE, status="500 Broken"), FAILED, f"{REFUSED} (500)"),
    "503": (whole(b"", status="503 Busy"), FAILED, f"{REFUSED} (503)"),
    "500, then a hang": (
        hanging(head("Content-Length: 9", status="500 Broken")),
        FAILED,
        f"{REFUSED} (500)",
    ),
    "a login page": (whole(LOGIN_PAGE, "Content-Type: text/html"), FAILED, PORTAL),
    "a login page called JSON": (whole(LOGIN_PAGE, "Content-Type: text/json"), FAILED, PORTAL),
    "a redirect": (
        whole(b"", "Location: /login", status="302 Found"),
        FAILED,
        f"{REFUSED} (302)",
    ),
    "a redirect that keeps the method": (
        whole(b"", "Location: /login", status="307 Temporary Redirect"),
        FAILED,
        f"{REFUSED} (307)",
    ),
    "takes it and hangs up": (saying(), PERHAPS, SILENT),
    "takes it and resets": (resetting(), PERHAPS, SILENT),
    "takes it and hangs": (hanging(), PERHAPS, SILENT),
    "half a status line": (saying(b"HTTP/1."), PERHAPS, SILENT),
    "no HTTP at all": (saying(b"220 mail.example ESMTP\r\n"), PERHAPS, SILENT),
    "drips its headers": (dripping(b"HTTP/1.1 200 OK\r\nX-Slow: ", b"a"), PERHAPS, SILENT),
    "drips its body": (dripping(head("Content-Length: 9999"), b"a"), PERHAPS, SILENT),
    "drips a body without end": (dripping(head(), b"a"), PERHAPS, SILENT),
    "breaks off": (saying(head("Content-Length: 99"), OK), PERHAPS, SILENT),
    "breaks off in pieces": (saying(head(CHUNKED), b"5\r\nab"), PERHAPS, SILENT),
    "pours": (pouring(head(), b"x" * 65_536), PERHAPS, SILENT),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_what_a_web_server_does_wrong(fault: str, monkeypatch: pytest.MonkeyPatch) -> None:
    talk, ended, words = FAULTS[fault]
    soon_if(bool({"hang", "hangs", "drips"} & set(fault.split())), monkeypatch)

    with serving(talk, ends=b"}") as server:
        assert pushed(server.address)[:2] == (ended, words)

    (request,) = server.asked
    assert BASIC.encode() in request
    assert all(secret.encode() in request for secret in (PATH, QUERY, HEADER))


def test_the_connection_is_refused() -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = listener.getsockname()[1]

    assert pushed(f"http://127.0.0.1:{port}") == (FAILED, "cannot be reached", None)


@pytest.mark.usefixtures("_soon")
def test_a_server_that_hangs_before_it_takes_the_request() -> None:
    """It is in the system's buffers, and it is not known whether it will be read."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        assert pushed(f"http://127.0.0.1:{listener.getsockname()[1]}")[:2] == (PERHAPS, SILENT)


@pytest.mark.usefixtures("_soon")
@pytest.mark.parametrize("user_limit", [True, False])
def test_whichever_limit_comes_first_ends_a_hang(user_limit: bool) -> None:
    query = "rto=0.05" if user_limit else "rto=60&cto=60"
    with serving(hanging(), ends=b"}") as server:
        url = f"json://{server.address.removeprefix('http://')}/?{query}"
        assert outcome(url)[:2] == (PERHAPS, SILENT)

    assert len(server.asked) == 1


@pytest.mark.parametrize("status", ["429 Too Many Requests", "503 Busy"])
@pytest.mark.parametrize(
    ("header", "wait"),
    [
        ("Retry-After: 90", timedelta(seconds=90)),
        ("Retry-After: 9999999", timedelta(hours=24)),
        ("Retry-After: soon", None),
        ("X-Nothing: 1", None),
    ],
)
def test_a_busy_server_says_for_how_long(status: str, header: str, wait: timedelta | None) -> None:
    with serving(whole(b"", header, status=status), ends=b"}") as server:
        assert pushed(server.address) == (FAILED, f"{REFUSED} ({status[:3]})", wait)

    assert len(server.asked) == 1


def test_a_moment_to_come_back_at_is_counted_by_the_servers_clock() -> None:
    talk = whole(
        b"",
        "Date: Thu, 14 May 2026 20:00:00 GMT",
        "Retry-After: Thu, 14 May 2026 20:05:00 GMT",
        status="429 Too Many Requests",
    )
    with serving(talk, ends=b"}") as server:
        assert pushed(server.address)[2] == timedelta(minutes=5)


# -- TLS


def presenting(certificate: trustme.LeafCert) -> ssl.SSLContext:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    certificate.configure_cert(context)
    return context


def test_a_certificate_of_nobody_knows_whom() -> None:
    tls = presenting(trustme.CA().issue_cert("127.0.0.1"))

    with serving(whole(OK), tls, ends=b"}") as server:
        ended, words, _ = pushed(server.address)

    assert (ended, words) == (FAILED, "no safe connection can be made; is its certificate good?")
    assert server.asked == []


@pytest.mark.usefixtures("_soon")
def test_a_handshake_that_hangs_has_sent_nothing() -> None:
    """Otherwise the notice would be taken for sent after a few of them."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        ended, *_ = pushed(f"https://127.0.0.1:{listener.getsockname()[1]}")

    assert ended == FAILED


@pytest.mark.usefixtures("_soon")
def test_no_tls_where_it_is_asked_for() -> None:
    with serving(whole(OK), ends=b"\x00") as server:
        ended, *_ = pushed(server.address.replace("http:", "https:"))

    assert ended == FAILED


# -- pages and other answers


@pytest.mark.parametrize(
    "body",
    [
        LOGIN_PAGE,
        b"\xef\xbb\xbf\r\n  <HTML>",
        b"<!-- portal v2 --><html lang='en'>",
        b'<?xml version="1.0"?>\n<!DOCTYPE html PUBLIC "-//W3C//DTD XHTML 1.0 Strict//EN">',
        b"<head><meta http-equiv='refresh' content='0; url=/login'></head>",
        b"<script>location='/login'</script>",
    ],
)
def test_a_page_is_known_by_what_it_holds(body: bytes) -> None:
    assert is_page(body)


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"ok",
        b"Congratulations! You've fired the event",
        b'{"html": "<html>"}',
        b'<?xml version="1.0"?><api><success code="200"/></api>',
        b"see <html> in the manual",
        b"<",
        b"\xff\xfe",
    ],
)
def test_what_honest_services_answer_is_no_page(body: bytes) -> None:
    """From memory: webhooks answer with nothing or a word, some push services in XML."""
    assert not is_page(body)


@pytest.mark.parametrize("kind", ["json", "xml", "ntfy"])
def test_a_login_page_is_seen_whatever_speaks(kind: str) -> None:
    with serving(whole(LOGIN_PAGE), ends=b"") as server:
        url = f"{kind}://{server.address.removeprefix('http://')}/{PATH}"
        assert outcome(url)[:2] == (FAILED, PORTAL)


def test_a_form_is_thanked_for_with_a_page() -> None:
    with serving(whole(b"<html>Thank you</html>"), ends=b"") as server:
        assert outcome(f"form://{server.address.removeprefix('http://')}/{PATH}")[0] == SENT


def test_an_answer_is_read_up_to_a_bound() -> None:
    with serving(whole(b" " * MAX_REPLY_BYTES), ends=b"}") as server:
        assert pushed(server.address)[0] == SENT
    with serving(whole(b" " * (MAX_REPLY_BYTES + 1)), ends=b"}") as server:
        assert pushed(server.address)[0] == PERHAPS


# -- mail


@dataclass
class Post:
    """A mail server that follows a script: what it says to each command, None for nothing."""

    says: dict[str, bytes | None]
    port: int = 0
    heard: list[str] = field(default_factory=list)
    mails: int = 0


HANG: bytes | None = None
HANG_UP = b""


@contextmanager
def posting(**says: bytes | None) -> Iterator[Post]:
    """Serve one caller after another; what is not scripted is accepted."""
    listener = socket.create_server(("127.0.0.1", 0))
    post, gone = Post(says, listener.getsockname()[1]), threading.Event()
    usual = {
        "EHLO": b"250-here\r\n250 AUTH PLAIN\r\n",
        "AUTH": b"235 in\r\n",
        "DATA": b"354 go\r\n",
    }

    def tell(connection: socket.socket, word: str) -> bool:
        """Answer one command; return whether the conversation goes on."""
        text = post.says.get(word, usual.get(word, b"250 OK\r\n"))
        if text is None:
            gone.wait(2 * LONG_S)
        if not text:
            return False
        connection.sendall(text)
        return word != "QUIT"

    def converse(connection: socket.socket) -> None:
        if not tell(connection, "GREETING"):
            return
        with connection.makefile("rb") as lines:
            while line := lines.readline():
                word = line.decode().split()[0].upper()
                post.heard.append(word)
                if not tell(connection, word):
                    return
                if word == "DATA" and "DATA" not in post.says:
                    while lines.readline() not in (b".\r\n", b""):
                        pass
                    post.mails += 1
                    if not tell(connection, "MAIL_END"):
                        return

    def serve() -> None:
        while True:
            connection, _ = listener.accept()
            with connection:
                if gone.is_set():
                    return
                connection.settimeout(2 * LONG_S)
                with suppress(OSError):
                    converse(connection)

    thread = threading.Thread(target=serve)
    post.says.setdefault("GREETING", b"220 here\r\n")
    thread.start()
    try:
        yield post
    finally:
        gone.set()
        socket.create_connection(listener.getsockname()).close()
        thread.join()
        listener.close()


def mailed(
    port: int, kind: str = "mailto", message: Message = HELLO
) -> tuple[str, str, timedelta | None]:
    people = "from=desk@court.example&to=grower@court.example"
    return outcome(
        f"{kind}://{USER}:{PASSWORD}@127.0.0.1:{port}/?{people}&cto={ANSWER_IN_TIME}", message
    )


MUTE = "stopped answering"

MAIL_FAULTS: dict[str, tuple[dict[str, bytes | None], str, str, int]] = {
    "well": ({}, SENT, "", 1),
    "hangs at the goodbye": ({"QUIT": HANG}, SENT, "", 1),
    "hangs before it greets": ({"GREETING": HANG}, FAILED, MUTE, 0),
    "hangs up before it greets": ({"GREETING": HANG_UP}, FAILED, MUTE, 0),
    "greets and hangs": ({"EHLO": HANG}, FAILED, MUTE, 0),
    "greets and hangs up": ({"EHLO": HANG_UP}, FAILED, MUTE, 0),
    "greets with a no": ({"GREETING": b"554 no\r\n"}, FAILED, f"{REFUSED} (554)", 0),
    "refuses the login": ({"AUTH": b"535 no\r\n"}, FAILED, f"{REFUSED} (535)", 0),
    "refuses the sender": ({"MAIL": b"550 no\r\n"}, FAILED, f"{REFUSED} (550)", 0),
    "refuses the recipient": ({"RCPT": b"550 no such box\r\n"}, FAILED, f"{REFUSED} (550)", 0),
    "busy with the recipient": ({"RCPT": b"450 later\r\n"}, FAILED, f"{REFUSED} (450)", 0),
    "refuses to take a mail": ({"DATA": b"451 no\r\n"}, FAILED, f"{REFUSED} (451)", 0),
    "refuses the mail": ({"MAIL_END": b"554 spam\r\n"}, FAILED, f"{REFUSED} (554)", 1),
    "hangs when asked to take a mail": ({"DATA": HANG}, FAILED, MUTE, 0),
    "takes the mail and hangs": ({"MAIL_END": HANG}, PERHAPS, SILENT, 1),
    "takes the mail and hangs up": ({"MAIL_END": HANG_UP}, PERHAPS, SILENT, 1),
}


@pytest.mark.parametrize("message", [HELLO, WEEK], ids=["text", "page"])
@pytest.mark.parametrize("fault", MAIL_FAULTS)
def test_what_a_mail_server_does_wrong(
    fault: str, message: Message, monkeypatch: pytest.MonkeyPatch
) -> None:
    says, ended, words, mails = MAIL_FAULTS[fault]
    soon_if(HANG in says.values(), monkeypatch)

    with posting(**says) as post:
        assert mailed(post.port, message=message)[:2] == (ended, words)

    assert post.mails == mails
    assert post.heard.count("MAIL") <= 1


@pytest.mark.usefixtures("_soon")
@pytest.mark.parametrize("message", [HELLO, WEEK], ids=["text", "page"])
def test_a_mail_server_that_drips_is_cut_off(message: Message) -> None:
    listener = socket.create_server(("127.0.0.1", 0))
    gone = threading.Event()

    def drip() -> None:
        connection, _ = listener.accept()
        with connection, suppress(OSError):
            while not gone.wait(0.02):
                connection.sendall(b"220-slow\r\n")

    thread = threading.Thread(target=drip)
    thread.start()
    assert mailed(listener.getsockname()[1], message=message)[0] == FAILED
    gone.set()
    thread.join()
    listener.close()


def test_the_mail_server_is_not_there() -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = listener.getsockname()[1]

    assert mailed(port) == (FAILED, "cannot be reached", None)


@pytest.mark.usefixtures("_soon")
def test_a_tls_handshake_with_a_mail_server_that_hangs_has_sent_nothing() -> None:
    with posting(GREETING=HANG) as post:
        ended, *_ = mailed(post.port, "mailtos")

    assert ended == FAILED


# -- what cannot be watched or cut


@pytest.mark.usefixtures("_soon")
def test_a_name_look_up_that_hangs_has_sent_nothing_and_sends_nothing_later(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """It cannot be cut short: Apprise's own limit ends the wait, and what comes later is late."""
    resolved, done = threading.Event(), threading.Event()
    look_up = socket.getaddrinfo

    def slow(*args: object, **kwargs: object) -> object:
        if threading.current_thread() is threading.main_thread():
            return look_up(*args, **kwargs)  # type: ignore[arg-type]
        resolved.wait(LONG_S)
        done.set()
        return look_up("127.0.0.1", 80, type=socket.SOCK_STREAM)

    monkeypatch.setattr(apprise_sender, "SEND_S", 2 * SHORT_S)
    monkeypatch.setattr(socket, "getaddrinfo", slow)
    with serving(whole(OK), ends=b"}") as server:
        port = server.address.rpartition(":")[2]
        ended, words, _ = pushed(f"http://localhost:{port}")
        resolved.set()
        assert done.wait(LONG_S)
        _wait_for_apprise()

    assert (ended, words) == (FAILED, "cannot be reached in time")
    assert server.asked == []


def _wait_for_apprise() -> None:
    import apprise.apprise

    for future, *_ in apprise.apprise._abandoned_futures:
        future.exception(LONG_S)


def test_nobody_else_is_watched() -> None:
    """Where no monitor is open the libraries do as they always did."""
    import requests

    with serving(whole(OK), ends=b"}") as server:
        assert pushed(server.address)[0] == SENT
    with serving(whole(LOGIN_PAGE)) as server:
        answer = requests.get(server.address, timeout=LONG_S)

    assert answer.content == LOGIN_PAGE
    assert type(requests.Session().get_adapter("http://x")) is requests.adapters.HTTPAdapter
