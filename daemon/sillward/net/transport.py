"""The layer below `fetch`: a GET over `requests`, bounded in time and size, its failures in words.

Only `fetch` imports this, and only when a call is made: its libraries take 60 ms to load.
"""

import http.client
import ipaddress
import re
import ssl
import zlib
from collections.abc import Callable, Iterator, Mapping
from typing import Protocol
from urllib.parse import SplitResult, urljoin, urlsplit

import requests
import urllib3

from sillward import __version__
from sillward.errors import NoThreadError, SourceError
from sillward.net.deadline import CONNECT_S, Deadline, DeadlineAdapter
from sillward.net.http import Answer, Query

READ_S = 10.0
"""The time to wait for the next piece of an answer [s]."""

MAX_ANSWER_BYTES = 5_000_000
"""The most bytes of an answer, compressed or not."""

MAX_HOPS = 3
"""The most redirects that one call follows. Judgement: a provider that moves needs one or two."""

_PIECE = 16_384


def get(
    query: Query,
    source: str,
    conditions: Mapping[str, str],
    deadline_s: float,
    monotonic: Callable[[], float],
) -> Answer:
    """Make one call for `fetch.ask`, all of it within `deadline_s` [s]. Raise SourceError."""
    try:
        return _get(query, source, conditions, Deadline(deadline_s, monotonic), deadline_s)
    except NoThreadError as error:
        msg = f"{source}: {error}"
        raise SourceError(msg) from None


def _get(
    query: Query,
    source: str,
    conditions: Mapping[str, str],
    watched: Deadline,
    deadline_s: float,
) -> Answer:
    with watched as deadline, _Session() as session:
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


class _Session(requests.Session):
    def get_redirect_target(self, resp: requests.Response) -> None:
        """Return None: to prepare a next request, `requests` would read a redirect's whole body."""


class _UnreadableError(Exception):
    """An answer that cannot be used. Its text is for the grower."""

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
            if not query.follow or hops == MAX_HOPS or response.status_code not in _REDIRECTS:
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
    """Return the body, unpacked while it comes in. Raise as soon as it is too much."""
    unpacker = _unpacker(headers)
    body, taken = bytearray(), 0
    # read1 returns what has come so far: the clock is looked at between any two pieces.
    while piece := response.raw.read1(_PIECE, decode_content=False):
        taken += len(piece)
        body += unpacker.unpack(piece, MAX_ANSWER_BYTES + 1 - len(body))
        if max(taken, len(body)) > MAX_ANSWER_BYTES:
            msg = f"the answer is larger than {MAX_ANSWER_BYTES // 1_000_000} MB"
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
        """Return the next bytes; if there are `most` of them, more may be left."""


class _AsItIs:
    whole = True

    def unpack(self, piece: bytes, most: int) -> bytes:
        return piece


class _Gzip:
    """Unpacks gzip within a bound: urllib3 before 2.6 has none, and takes half a file as whole."""

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
    """Return what unpacks a body with these headers. Raise if its form or length is unclear."""
    if headers.get("transfer-encoding", "chunked").strip().lower() != "chunked":
        raise _UnreadableError(_NOT_UNPACKED)
    # RFC 9112, 6.3: such a length makes the whole answer void; the same one twice does not.
    lengths = {length.strip() for length in headers.get("content-length", "0").split(",")}
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
    """Return where a redirect leads, or None if it may not be followed from this address.

    It may lead to the same host, to a subdomain of it, or to a sibling under one parent of two
    labels or more (api.example.org to new.example.org), on the same port, and never from https to
    http.
    """
    # An address that parsers may read differently must not get a key.
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
    """Return the port, or None for the scheme's own: http on 80 may lead to https on 443."""
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
    """Return what went wrong, without addresses or keys, and whether it may be over soon."""
    if isinstance(error, _UnreadableError):
        return SourceError(f"{source}: {error}", passing=error.passing)
    causes = list(_causes(error))
    text, passing = next(
        (
            (text, passing)
            for kind, cause, text, passing in _REASONS
            if isinstance(error, kind) and any(isinstance(known, cause) for known in causes)
        ),
        (f"failed ({type(error).__name__})", False),
    )
    if any(getattr(known, "verify_code", 0) in _WRONG_CLOCK_CODES for known in causes):
        text = _WRONG_CLOCK
    return SourceError(f"{source}: {text}", passing=passing)


def _causes(error: BaseException) -> Iterator[BaseException]:
    """Yield an error and all that caused it: requests and urllib3 wrap several times over."""
    seen: set[int] = set()
    left = [error]
    while left:
        current = left.pop()
        if id(current) in seen:
            continue
        seen.add(id(current))
        yield current
        reason = getattr(current, "reason", None)
        inner = (*current.args, reason, current.__cause__, current.__context__)
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
