"""What really went over the wire while Apprise sent one message.

Apprise tells whether a plugin was content, and a plugin is content with any 2xx: a login page in
between that answers 200 is a success to it, and a mail server that fell silent after taking a mail
is the same failure as one that was never reached. So `requests` and `smtplib`, by which nearly all
plugins speak, are watched while an exchange is open, and their connections are cut at its deadline.

Apprise works in threads of its own, in a copy of the caller's context: a context variable is what
they find the exchange by. Whoever else uses these libraries finds none and notices nothing.
"""

import re
import smtplib
import socket
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

from sillward.net.deadline import Deadline, DeadlineAdapter
from sillward.net.http import Answer

MOST_BYTES = 1_000_000
"""Of an answer to a notice; the usual ones have some hundred. Judgement."""

_PAGE = re.compile(rb"<(!doctype\s+html|html|head|meta|title|script)\b", re.IGNORECASE)
_PAGE_START = 1_024
_PIECE = 16_384
_GO_AHEAD = 354
"""The mail server waits for the mail (RFC 5321, 4.2.2); the next thing it says is its answer."""

_open: ContextVar["WireMonitor | None"] = ContextVar("exchange", default=None)


class WireMonitor:
    """One attempt to send: a context in which connections are bounded and answers remembered."""

    def __init__(self, seconds: float) -> None:
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
        self.adapter = _WatchedAdapter(self)

    def __enter__(self) -> Self:
        _install()
        self._token = _open.set(self)
        self.deadline.__enter__()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.deadline.__exit__(kind, error, trace)
        self.adapter.close()
        _open.reset(self._token)

    def replied(self, code: int) -> None:
        """Take note of what a mail server said."""
        self.unanswered = code == _GO_AHEAD
        # Its goodbye comes after a refusal and takes nothing back.
        self.status = code if code >= 400 else self.status

    def answered(self, response: requests.Response) -> None:
        """Take note of the head of an answer over HTTP."""
        status = response.status_code
        self.status = None if 200 <= status < 300 else status
        self.reason = None
        # Who says no has not taken it, whatever becomes of the rest of the answer.
        self.unanswered = self.status is None
        headers = {name.lower(): value for name, value in response.headers.items()}
        answer = Answer(status, headers, b"")
        asked = answer.retry_after(answer.date or datetime.now(UTC))
        self.wait = asked if status in (429, 503) else None


class _WatchedAdapter(DeadlineAdapter):
    def __init__(self, exchange: WireMonitor) -> None:
        super().__init__(exchange.deadline)
        self._exchange = exchange

    def send(self, request: requests.PreparedRequest, *args: Any, **kwargs: Any) -> Any:
        """Send once, and read the answer, bounded in size, before Apprise does."""
        exchange = self._exchange
        request.headers["Accept-Encoding"] = "identity"
        exchange.seen, exchange.reason = True, _LATE
        exchange.unanswered = exchange.page = False
        exchange.status = exchange.wait = None
        try:
            response = super().send(request, *args, **kwargs)
        except requests.RequestException as error:
            if not exchange.unanswered:
                exchange.reason = _in_words(error)
            raise
        exchange.answered(response)
        body = self._body(response)
        exchange.unanswered = False
        exchange.page = exchange.status is None and is_page(body)
        response.raw = BytesIO(body)
        return response

    def get_connection_with_tls_context(self, *args: Any, **kwargs: Any) -> Any:
        """The pool for a request, whose connections say when they begin to send it."""
        pool: Any = super().get_connection_with_tls_context(*args, **kwargs)
        connect = pool.ConnectionCls

        def connection(*args: Any, **kwargs: Any) -> Any:
            made = connect(*args, **kwargs)
            request = made.request

            # By then TLS has been agreed on; a plain connection would only be made in there.
            def sending(*args: Any, **kwargs: Any) -> None:
                if made.is_closed:
                    made.connect()
                self._exchange.unanswered = True
                request(*args, **kwargs)

            made.request = sending
            return made

        pool.ConnectionCls = connection
        return pool

    def _body(self, response: requests.Response) -> bytes:
        body = bytearray()
        try:
            while piece := response.raw.read(_PIECE, decode_content=True):
                body += piece
                if len(body) > MOST_BYTES:
                    break
        except (OSError, urllib3.exceptions.HTTPError) as error:
            response.raw.close()
            raise requests.ConnectionError(type(error).__name__) from None
        response.raw.close()
        # A connection that was cut can look like the end of a body.
        if len(body) > MOST_BYTES or self._exchange.deadline.passed:
            raise requests.ConnectionError
        return bytes(body)


def is_page(body: bytes) -> bool:
    """Whether an answer is a web page, by what it holds: some APIs call a bare "ok" text/html."""
    start = body.removeprefix(b"\xef\xbb\xbf").lstrip()[:_PAGE_START]
    return start.startswith(b"<") and _PAGE.search(start) is not None


def _in_words(error: requests.RequestException) -> str:
    """Why nothing of the message went out."""
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


@cache
def _install() -> None:
    """Put the watchers in, once. Outside of an exchange they do as the originals."""
    _wrap(requests.Session, "get_adapter", _get_adapter)
    _wrap(smtplib.SMTP, "_get_socket", _get_socket)
    _wrap(smtplib.SMTP, "getreply", _getreply)


def _wrap(owner: type, name: str, wrapper: Callable[..., Any]) -> None:
    original = getattr(owner, name)

    def watched(self: Any, *args: Any, **kwargs: Any) -> Any:
        exchange = _open.get()
        if exchange is None:
            return original(self, *args, **kwargs)
        return wrapper(exchange, original, self, *args, **kwargs)

    setattr(owner, name, watched)


_Original = Callable[..., Any]


def _get_adapter(exchange: WireMonitor, original: _Original, session: Any, url: str) -> BaseAdapter:
    return exchange.adapter


def _get_socket(
    exchange: WireMonitor, original: _Original, mail: Any, host: str, port: int, timeout: Any
) -> socket.socket:
    # TLS comes after this, so that the handshake is watched, too.
    exchange.seen, exchange.reason = True, _UNREACHABLE
    left_s = exchange.deadline.left_s()
    if left_s <= 0:
        raise TimeoutError
    sock: socket.socket = original(mail, host, port, min(timeout, left_s))
    exchange.deadline.watch(sock)
    exchange.reason = None
    return sock


def _getreply(exchange: WireMonitor, original: _Original, mail: Any) -> tuple[int, bytes]:
    try:
        reply: tuple[int, bytes] = original(mail)
    except (OSError, smtplib.SMTPException):
        # After a refusal it may well hang up; the refusal is the reason.
        exchange.reason = _SILENT if exchange.status is None else None
        raise
    exchange.replied(reply[0])
    return reply
