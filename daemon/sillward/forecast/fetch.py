"""One GET with a bounded time and a bounded size, and what its answer says of itself."""

import http.client
import ipaddress
import json
import re
import ssl
import time
import zlib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from typing import Protocol
from urllib.parse import SplitResult, urljoin, urlsplit

import requests
import urllib3

from sillward import __version__
from sillward.errors import SourceError, one_line
from sillward.forecast.deadline import CONNECT_S, Deadline, DeadlineAdapter

DEADLINE_S = 40.0
"""For everything together: connecting, handshake, headers, body, redirects [s]."""

READ_S = 10.0
"""For the next piece of an answer [s]."""

MOST_BYTES = 5_000_000
"""Of an answer, on the wire and unpacked."""

MOST_HOPS = 3
"""Redirects of one call that are followed. Judgement."""

BUSY_WAIT = timedelta(hours=1)
"""After "too many requests" without a word for how long. Judgement."""

BLOCKED_WAIT = timedelta(hours=6)
"""After "forbidden": who is blocked is not let in minutes later. Judgement."""

LONGEST_RETRY_AFTER = timedelta(hours=24)
"""A server that asks for more is asked again after this. Judgement."""

LONGEST_VALUE = 200
"""Of a header value that we read or send back; a date has 29 characters. Judgement."""

_PIECE = 16_384


@dataclass(frozen=True, slots=True)
class Query:
    """What to ask: its repr shows no secrets.

    follow: whether redirects within the provider's own domain are followed.
    """

    url: str
    params: Mapping[str, str] = field(repr=False)
    headers: Mapping[str, str] = field(default_factory=dict, repr=False)
    follow: bool = False


@dataclass(frozen=True, slots=True)
class Answer:
    """What came back: header names in lower case, the body unpacked.

    A header that is missing, or that says nothing one could use, is None.
    """

    status: int
    headers: Mapping[str, str]
    body: bytes = field(repr=False)

    @property
    def date(self) -> datetime | None:
        """The provider's clock when the answer arrived: Date, and Age from caches (RFC 9111)."""
        at = _moment(self.headers.get("date"))
        if at is None or "age" not in self.headers:
            return at
        age_s = _seconds(self.headers["age"])
        try:
            return None if age_s is None else at + timedelta(seconds=age_s)
        except OverflowError:
            return None

    @property
    def expires(self) -> datetime | None:
        """Until when the answer is good, by the provider's clock."""
        return _moment(self.headers.get("expires"))

    def good_for(self, now: datetime) -> timedelta | None:
        """How long the answer is good, counted by the provider's own clock if it tells it."""
        expires = self.expires
        return None if expires is None else expires - (self.date or now)

    @property
    def last_modified(self) -> str | None:
        """The exact text, to be sent back as If-Modified-Since."""
        return _text(self.headers.get("last-modified"))

    @property
    def etag(self) -> str | None:
        """The exact text, to be sent back as If-None-Match."""
        return _text(self.headers.get("etag"))

    def retry_after(self, now: datetime) -> timedelta | None:
        """How long the provider asks us to stay away, at most `LONGEST_RETRY_AFTER`."""
        value = self.headers.get("retry-after")
        wait_s: float | None = _seconds(value)
        if wait_s is None:
            at = _moment(value)
            wait_s = None if at is None else (at - now).total_seconds()
        if wait_s is None or wait_s < 0:
            return None
        return timedelta(seconds=min(wait_s, LONGEST_RETRY_AFTER.total_seconds()))


def ask(
    query: Query,
    *,
    source: str,
    conditions: Mapping[str, str] = {},
    deadline_s: float = DEADLINE_S,
    monotonic: Callable[[], float] = time.monotonic,
) -> Answer:
    """Send one GET, once, and return what came back, whatever its status.

    conditions: headers such as If-Modified-Since. The body of a redirect is not read, that of an
    error (4xx, 5xx) is empty if it cannot be.

    Raise SourceError if there is no whole answer; nothing of the query appears in its text.
    """
    with Deadline(deadline_s, monotonic) as deadline, _Session() as session:
        for scheme in ("https://", "http://"):
            session.mount(scheme, DeadlineAdapter(deadline))
        session.headers["User-Agent"] = f"sillward/{__version__}"
        session.headers["Accept-Encoding"] = "gzip"
        session.headers["Connection"] = "close"
        outcome: Answer | SourceError
        try:
            outcome = _answer(session, query, conditions, deadline)
        except (OSError, urllib3.exceptions.HTTPError, UnicodeError, _UnreadableError) as error:
            outcome = _failure(error, source)
        # A connection that was cut can look like any failure, or like the end of a body.
        if deadline.passed:
            outcome = SourceError(f"{source}: no whole answer within {deadline_s:.3g} s")
    if isinstance(outcome, SourceError):
        raise outcome
    return outcome


def accepted(answer: Answer, source: str, now: datetime) -> None:
    """Raise SourceError unless the status is 200."""
    status = answer.status
    if status == 200:
        return
    wait: timedelta | None = None
    text = f"answered {status}{_said(answer.body)}"
    if status == 429:
        text = f"too many requests (429){_said(answer.body)}"
        wait = answer.retry_after(now)
        wait = BUSY_WAIT if wait is None else wait
    elif status == 403:
        wait = BLOCKED_WAIT
    elif status >= 500:
        wait = answer.retry_after(now)
    elif 300 <= status < 400 and status != 304:
        text = f"sends us elsewhere ({status}); a login page in between?"
    passing = status in (500, 502, 503, 504) and not wait
    msg = f"{source}: {text}"
    raise SourceError(msg, passing=passing, wait=wait)


# -- the call


class _Session(requests.Session):
    def get_redirect_target(self, resp: requests.Response) -> None:
        """None: to prepare a next request, `requests` would read a redirect's body to its end."""


class _UnreadableError(Exception):
    """An answer that cannot be taken; its text is for the grower."""

    def __init__(self, text: str, *, passing: bool = False) -> None:
        super().__init__(text)
        self.passing = passing


def _answer(
    session: requests.Session, query: Query, conditions: Mapping[str, str], deadline: Deadline
) -> Answer:
    # As bytes: a name in a contact need not be Latin-1.
    sent = {name: text.encode() for name, text in {**query.headers, **conditions}.items()}
    url, params = query.url, dict(query.params)
    hops = 0
    while True:
        with session.get(
            url,
            params=params,
            headers=sent,
            timeout=(CONNECT_S, READ_S),
            stream=True,
            allow_redirects=False,
        ) as response:
            headers = {name.lower(): value for name, value in response.headers.items()}
            if not query.follow or hops == MOST_HOPS or response.status_code not in _REDIRECTS:
                target = None
            else:
                target = _target(str(response.url), headers.get("location", ""))
            if target is None:
                body = _body(response, headers, deadline)
                return Answer(response.status_code, headers, body)
        url, params = target, {}
        hops += 1


def _body(response: requests.Response, headers: Mapping[str, str], deadline: Deadline) -> bytes:
    if 300 <= response.status_code < 400:
        return b""
    try:
        return _whole(response, headers, deadline)
    except (OSError, urllib3.exceptions.HTTPError, _UnreadableError):
        if response.status_code < 400:
            raise
        return b""


def _whole(response: requests.Response, headers: Mapping[str, str], deadline: Deadline) -> bytes:
    """The body of a response, unpacked while it comes, given up as soon as it is too much."""
    unpacker = _unpacker(headers)
    body, taken = bytearray(), 0
    # read1 returns what has come so far: the clock is looked at between any two pieces.
    while piece := response.raw.read1(_PIECE, decode_content=False):
        taken += len(piece)
        body += unpacker.unpack(piece, MOST_BYTES + 1 - len(body))
        if max(taken, len(body)) > MOST_BYTES:
            msg = f"the answer is larger than {MOST_BYTES // 1_000_000} MB"
            raise _UnreadableError(msg)
        if deadline.passed:
            break
    if taken and not unpacker.whole:
        raise _UnreadableError(_BROKE_OFF, passing=True)
    return bytes(body)


class _Unpacker(Protocol):
    @property
    def whole(self) -> bool:
        """Whether nothing is missing at the end of what was unpacked so far."""

    def unpack(self, piece: bytes, most: int) -> bytes:
        """The next bytes; when there are `most` of them there may be more to come."""


class _AsItIs:
    whole = True

    def unpack(self, piece: bytes, most: int) -> bytes:
        return piece


class _Gzip:
    """Of our own: urllib3 unpacks without a bound before 2.6, and takes half a file for a whole."""

    def __init__(self) -> None:
        self._member = zlib.decompressobj(_GZIP_WBITS)

    @property
    def whole(self) -> bool:
        return self._member.eof

    def unpack(self, piece: bytes, most: int) -> bytes:
        body = bytearray()
        try:
            while piece and len(body) < most:
                if self._member.eof:
                    self._member = zlib.decompressobj(_GZIP_WBITS)
                body += self._member.decompress(piece, most - len(body))
                piece = self._member.unconsumed_tail or self._member.unused_data
        except zlib.error:
            raise _UnreadableError(_NOT_UNPACKED) from None
        return bytes(body)


_GZIP_WBITS = 16 + zlib.MAX_WBITS


def _unpacker(headers: Mapping[str, str]) -> _Unpacker:
    """What unpacks a body with these headers. Raise if its form or length is not clear."""
    if headers.get("transfer-encoding", "chunked").strip().lower() != "chunked":
        raise _UnreadableError(_NOT_UNPACKED)
    # RFC 9112, 6.3: such a length makes the whole answer void; the same one twice does not.
    lengths = {one.strip() for one in headers.get("content-length", "0").split(",")}
    if len(lengths) > 1 or not re.fullmatch("[0-9]+", lengths.pop()):
        raise _UnreadableError(_UNCLEAR_LENGTH)
    coding = headers.get("content-encoding", "identity").strip().lower()
    if coding in ("", "identity"):
        return _AsItIs()
    if coding in ("gzip", "x-gzip"):
        return _Gzip()
    raise _UnreadableError(_NOT_UNPACKED)


# -- redirects

_REDIRECTS = (301, 302, 303, 307, 308)


def _target(url: str, location: str) -> str | None:
    """Where a redirect leads, if it may be followed from this address.

    To the same host, below it, or beside it under one parent of two labels or more
    (api.example.org to new.example.org); by the same port, and never from https to http.
    """
    # What parsers may read differently is no address to send a key to.
    if not re.fullmatch(r"[!-\[\]-~]+", location):
        return None
    try:
        target = urljoin(url, location)
        here, there = urlsplit(url), urlsplit(target)
        same_port = _port(here) == _port(there)
    except ValueError:
        return None
    if there.scheme not in ("http", "https") or (here.scheme, there.scheme) == ("https", "http"):
        return None
    if "@" in there.netloc or not same_port:
        return None
    return target if _is_akin(here.hostname or "", there.hostname or "") else None


def _port(parts: SplitResult) -> int | None:
    """The port, None for the scheme's own: http on 80 may lead to https on 443."""
    return None if parts.port == {"http": 80, "https": 443}.get(parts.scheme) else parts.port


def _is_akin(host: str, other: str) -> bool:
    if host == other:
        return True
    if _is_number(host) or _is_number(other):
        return False
    parent = host.partition(".")[2]
    return other.endswith(f".{host}") or ("." in parent and other.endswith(f".{parent}"))


def _is_number(host: str) -> bool:
    """Whether a host is an IP address, however it is written."""
    try:
        ipaddress.ip_address(host)
    except ValueError:
        return re.fullmatch("[0-9]+|0x[0-9a-f]*", host.rpartition(".")[2]) is not None
    return True


# -- header values


def _text(value: str | None) -> str | None:
    if not value or len(value) > LONGEST_VALUE:
        return None
    return value if value.isascii() and value.isprintable() else None


def _moment(value: str | None) -> datetime | None:
    """An HTTP date (RFC 9110, 5.6.7: three forms, all in GMT)."""
    text = _text(value)
    if text is None:
        return None
    try:
        at = parsedate_to_datetime(text)
        return at.replace(tzinfo=UTC) if at.tzinfo is None else at.astimezone(UTC)
    except (ValueError, TypeError, OverflowError, IndexError):
        return None


def _seconds(value: str | None) -> int | None:
    text = _text(value)
    return int(text) if text is not None and re.fullmatch("[0-9]+", text) else None


def _said(body: bytes) -> str:
    """The reason that an API gives in JSON, in one short line."""
    try:
        reason = json.loads(body)["reason"]
    except (ValueError, KeyError, TypeError, RecursionError):
        return ""
    return f': "{one_line(reason, 120)}"'


# -- failures in words

_BROKE_OFF = "broke off in the middle of its answer"
_NOT_UNPACKED = "sent an answer that cannot be unpacked"
_UNCLEAR_LENGTH = "sent an answer of unclear length"
_UNTRUSTED = "its certificate cannot be trusted"
_WRONG_CLOCK = "its certificate is out of date or not valid yet; is this machine's clock right?"
_NO_ADDRESS = "has no usable address"
_UNREACHABLE = "cannot be reached"

_WRONG_CLOCK_CODES = (9, 10)
"""X509_V_ERR_CERT_NOT_YET_VALID and X509_V_ERR_CERT_HAS_EXPIRED of OpenSSL."""


def _failure(error: Exception, source: str) -> SourceError:
    """What went wrong, without addresses or keys, and whether it may be over in a moment."""
    if isinstance(error, _UnreadableError):
        return SourceError(f"{source}: {error}", passing=error.passing)
    causes = list(_causes(error))
    text, passing = next(
        (
            (text, passing)
            for kind, cause, text, passing in _REASONS
            if isinstance(error, kind) and any(isinstance(one, cause) for one in causes)
        ),
        (f"failed ({type(error).__name__})", False),
    )
    if any(getattr(one, "verify_code", 0) in _WRONG_CLOCK_CODES for one in causes):
        text = _WRONG_CLOCK
    return SourceError(f"{source}: {text}", passing=passing)


def _causes(error: BaseException) -> Iterator[BaseException]:
    """An error and what it was made from; requests and urllib3 wrap several times over."""
    seen: set[int] = set()
    left = [error]
    while left:
        one = left.pop()
        if id(one) in seen:
            continue
        seen.add(id(one))
        yield one
        inner = (*one.args, getattr(one, "reason", None), one.__cause__, one.__context__)
        left += [other for other in inner if isinstance(other, BaseException)]


_Kinds = type[BaseException] | tuple[type[BaseException], ...]
_rx, _u3 = requests.exceptions, urllib3.exceptions

# The first that fits: the error, what it was made from, the words, whether it may be over soon.
# urllib3's own come while the body is read, requests' before.
_REASONS: tuple[tuple[_Kinds, _Kinds, str, bool], ...] = (
    (_rx.InvalidProxyURL, Exception, "has a proxy that cannot be used", False),
    (_rx.ProxyError, Exception, "cannot be reached through the proxy", False),
    ((_rx.SSLError, _u3.SSLError), ssl.SSLCertVerificationError, _UNTRUSTED, False),
    ((_rx.SSLError, _u3.SSLError), ssl.SSLError, "no safe connection can be made", False),
    (_rx.SSLError, Exception, _UNTRUSTED, False),
    (_rx.ConnectTimeout, Exception, "cannot be reached in time", False),
    ((_rx.ReadTimeout, _u3.ReadTimeoutError), Exception, "stopped answering", False),
    (_rx.ContentDecodingError, Exception, _NOT_UNPACKED, False),
    (_rx.InvalidHeader, _u3.InvalidHeader, _UNCLEAR_LENGTH, False),
    ((_rx.ChunkedEncodingError, _u3.ProtocolError), Exception, _BROKE_OFF, True),
    (_rx.ConnectionError, (ConnectionResetError, BrokenPipeError), _UNREACHABLE, True),
    (_rx.ConnectionError, http.client.HTTPException, "sent an answer that cannot be read", False),
    (_rx.ConnectionError, Exception, _UNREACHABLE, False),
    ((_rx.InvalidURL, _rx.InvalidSchema, _rx.MissingSchema), Exception, _NO_ADDRESS, False),
    ((_u3.LocationValueError, UnicodeError), Exception, _NO_ADDRESS, False),
)
