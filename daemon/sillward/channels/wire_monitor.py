"""What really went over the wire while Apprise sent one message.

Apprise reports whether a plugin succeeded, and any 2xx is a success to a plugin: a login page in
between that answers 200 is a success to it, and a mail server that fell silent after taking a mail
is the same failure as one that was never reached. So `requests` and `smtplib`, by which nearly all
plugins speak, are watched while a monitor is open, and their connections are cut at its deadline.

Apprise works in threads of its own, in a copy of the caller's context: a context variable is how
they find the monitor. Other users of these libraries find none and notice nothing.
"""

import re
import smtplib
import socket
import threading
import time
from collections.abc import Callable
from contextvars import ContextVar
from datetime import UTC, datetime, timedelta
from functools import cache
from io import BytesIO
from types import TracebackType
from typing import Any, Self

import requests
import urllib3
from requests.adapters import BaseAdapter

from sillward.errors import DeliveryError, NoThreadError
from sillward.net.deadline import Deadline, DeadlineAdapter, MayDial
from sillward.net.http import Answer

MAX_REPLY_BYTES = 1_000_000
"""Of an answer to a notice; the usual ones have some hundred. Judgement."""

_PAGE = re.compile(rb"<(!doctype\s+html|html|head|meta|title|script)\b", re.IGNORECASE)
_PAGE_START_BYTES = 1_024
_PIECE_BYTES = 16_384
_GO_AHEAD = 354
"""The mail server waits for the mail (RFC 5321, 4.2.2); the next thing it says is its answer."""

_current: ContextVar["WireMonitor | None"] = ContextVar("wire_monitor", default=None)


class WireMonitor:
    """One attempt to send: a context in which connections are bounded and answers remembered.

    To enter it raises DeliveryError if its bounds cannot be kept: then nothing is sent.
    """

    def __init__(self, channel: str, seconds: float, may_dial: MayDial | None = None) -> None:
        """Take the name of the channel, and how long connections may last [s], counted from now.

        may_dial: see `DeadlineAdapter`.
        """
        self._channel = channel
        self.seen = False
        """Whether the plugin speaks by what is watched here."""
        self.unanswered = False
        """Whether the message may have gone out and no answer to it came back whole."""
        self.page = False
        """Whether the last answer was a yes and a web page."""
        self.status: int | None = None
        """The last answer that was a refusal: an HTTP status or an SMTP code."""
        self.wait: timedelta | None = None
        """For how long the other side asked to be left alone."""
        self.reason: str | None = None
        """Why there was no connection, in words."""
        self.deadline = Deadline(seconds, time.monotonic)
        self.adapter = _WatchedAdapter(self, may_dial)

    def __enter__(self) -> Self:
        _install()
        try:
            self.deadline.__enter__()
        except NoThreadError as error:
            msg = f"channel {self._channel}: {error}"
            raise DeliveryError(msg) from None
        self._token = _current.set(self)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.deadline.__exit__(kind, error, trace)
        self.adapter.close()
        _current.reset(self._token)

    def why(self, *, perhaps_sent: bool) -> str:
        """Return why a message was not taken, in words."""
        if perhaps_sent:
            return "no answer in time; perhaps it arrived all the same"
        if self.page:
            return "answered with a web page; a login page in between?"
        if self.reason is not None:
            return self.reason
        number = "" if self.status is None else f" ({self.status})"
        return f"the service refused it{number}"

    # -- over HTTP

    def request_begins(self) -> None:
        """Note that a request is about to be made: only its answer counts from now on."""
        self.seen, self.reason = True, _LATE
        self.unanswered = self.page = False
        self.status = self.wait = None

    def request_goes_out(self) -> None:
        """Note that a request begins to be sent: the other side may have it from now on."""
        self.unanswered = True

    def request_failed(self, error: requests.RequestException) -> None:
        """Note why a request failed, if nothing of it went out."""
        if not self.unanswered:
            self.reason = _in_words(error)

    def answer_began(self, response: requests.Response) -> None:
        """Note the head of an answer."""
        status = response.status_code
        self.status = None if 200 <= status < 300 else status
        self.reason = None
        # A refusal means that it was not taken, whatever becomes of the rest of the answer.
        self.unanswered = self.status is None
        headers = {name.lower(): value for name, value in response.headers.items()}
        answer = Answer(status, headers, b"")
        asked = answer.retry_after(answer.date or datetime.now(UTC))
        self.wait = asked if status in (429, 503) else None

    def answer_ended(self, body: bytes) -> None:
        """Note that an answer has come back whole."""
        self.unanswered = False
        self.page = self.status is None and is_page(body)

    # -- over SMTP

    def mail_connects(self) -> None:
        """Note that a connection to a mail server is about to be made."""
        self.seen, self.reason = True, _UNREACHABLE

    def mail_connected(self, sock: socket.socket) -> None:
        """Watch a connection to a mail server."""
        self.deadline.watch(sock)
        self.reason = None

    def mail_replied(self, code: int) -> None:
        """Note what a mail server said."""
        self.unanswered = code == _GO_AHEAD
        # Its goodbye comes after a refusal and takes nothing back.
        self.status = code if code >= 400 else self.status

    def mail_fell_silent(self) -> None:
        """Note that a reply did not come. After a refusal that is the reason, not the silence."""
        self.reason = _SILENT if self.status is None else None


class _WatchedAdapter(DeadlineAdapter):
    """The adapter of `requests` that reports to a monitor what happens."""

    def __init__(self, monitor: WireMonitor, may_dial: MayDial | None) -> None:
        super().__init__(monitor.deadline, may_dial)
        self._monitor = monitor

    def send(self, request: requests.PreparedRequest, *args: Any, **kwargs: Any) -> Any:
        """Send once, and read the answer, bounded in size, before Apprise does."""
        request.headers["Accept-Encoding"] = "identity"
        self._monitor.request_begins()
        try:
            response = super().send(request, *args, **kwargs)
        except requests.RequestException as error:
            self._monitor.request_failed(error)
            raise
        self._monitor.answer_began(response)
        body = self._body(response)
        self._monitor.answer_ended(body)
        response.raw = BytesIO(body)
        return response

    def get_connection_with_tls_context(self, *args: Any, **kwargs: Any) -> Any:
        """Return the pool for a request, whose connections report when they begin to send it."""
        pool: Any = super().get_connection_with_tls_context(*args, **kwargs)
        connect = pool.ConnectionCls

        def connection(*args: Any, **kwargs: Any) -> Any:
            made = connect(*args, **kwargs)
            request = made.request

            # By then TLS has been agreed on; a plain connection would only be made in there.
            def sending(*args: Any, **kwargs: Any) -> None:
                if made.is_closed:
                    made.connect()
                self._monitor.request_goes_out()
                request(*args, **kwargs)

            made.request = sending
            return made

        pool.ConnectionCls = connection
        return pool

    def _body(self, response: requests.Response) -> bytes:
        """Read an answer. Raise requests.ConnectionError if it is not whole, or too large."""
        body = bytearray()
        try:
            while piece := response.raw.read(_PIECE_BYTES, decode_content=True):
                body += piece
                if len(body) > MAX_REPLY_BYTES:
                    break
        except (OSError, urllib3.exceptions.HTTPError) as error:
            response.raw.close()
            raise requests.ConnectionError(type(error).__name__) from None
        response.raw.close()
        # A connection that was cut can look like the end of a body.
        if len(body) > MAX_REPLY_BYTES or self._monitor.deadline.passed:
            raise requests.ConnectionError
        return bytes(body)


def is_page(body: bytes) -> bool:
    """Whether an answer is a web page, by what it holds: some APIs call a bare "ok" text/html."""
    start = body.removeprefix(b"\xef\xbb\xbf").lstrip()[:_PAGE_START_BYTES]
    return start.startswith(b"<") and _PAGE.search(start) is not None


def _in_words(error: requests.RequestException) -> str:
    """Return why nothing of the message went out."""
    return next((text for kind, text in _REASONS if isinstance(error, kind)), _UNREACHABLE)


_UNREACHABLE = "cannot be reached"
_SILENT = "stopped answering"
_LATE = "cannot be reached in time"
_REASONS: tuple[tuple[type[Exception], str], ...] = (
    (requests.exceptions.InvalidProxyURL, "has a proxy that cannot be used"),
    (requests.exceptions.ProxyError, "cannot be reached through the proxy"),
    (requests.exceptions.SSLError, "no safe connection can be made; is its certificate good?"),
    (requests.Timeout, _LATE),
    (requests.exceptions.InvalidURL, "has no usable address"),
)


# -- where the libraries are watched


_installing = threading.Lock()


def _install() -> None:
    """Put the watchers in, once. Outside of a monitor they do as the originals."""
    with _installing:
        _install_once()


@cache
def _install_once() -> None:
    _wrap(requests.Session, "get_adapter", _get_adapter)
    _wrap(smtplib.SMTP, "_get_socket", _get_socket)
    _wrap(smtplib.SMTP, "getreply", _getreply)


def _wrap(owner: type, name: str, wrapper: Callable[..., Any]) -> None:
    """Replace a method by one that calls the wrapper where a monitor is open."""
    original = getattr(owner, name)

    def watched(self: Any, *args: Any, **kwargs: Any) -> Any:
        monitor = _current.get()
        if monitor is None:
            return original(self, *args, **kwargs)
        return wrapper(monitor, original, self, *args, **kwargs)

    setattr(owner, name, watched)


_Original = Callable[..., Any]


def _get_adapter(monitor: WireMonitor, original: _Original, session: Any, url: str) -> BaseAdapter:
    return monitor.adapter


def _get_socket(
    monitor: WireMonitor, original: _Original, mail: Any, host: str, port: int, timeout: Any
) -> socket.socket:
    # TLS comes after this, so that the handshake is watched, too.
    monitor.mail_connects()
    left_s = monitor.deadline.left_s()
    if left_s <= 0:
        raise TimeoutError
    sock: socket.socket = original(mail, host, port, min(timeout, left_s))
    monitor.mail_connected(sock)
    return sock


def _getreply(monitor: WireMonitor, original: _Original, mail: Any) -> tuple[int, bytes]:
    try:
        reply: tuple[int, bytes] = original(mail)
    except (OSError, smtplib.SMTPException):
        monitor.mail_fell_silent()
        raise
    monitor.mail_replied(reply[0])
    return reply
