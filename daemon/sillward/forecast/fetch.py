"""One GET with a bounded time and a bounded size."""

import json
import time
from collections.abc import Callable, Mapping

import requests
import urllib3
from requests.adapters import HTTPAdapter
from urllib3.util.retry import Retry

from sillward import __version__
from sillward.errors import SourceError

CONNECT_S, READ_S = 5.0, 10.0
DEADLINE_S = 40.0
"""For everything together: `requests` bounds each read, not the whole, so a drip would hold us."""

MOST_BYTES = 5_000_000

# Busy answers (429) are not retried: each try costs quota, and a Retry-After would sleep here.
_RETRY = Retry(
    total=2,
    status=2,
    backoff_factor=1,
    backoff_jitter=1,
    status_forcelist=(500, 502, 503, 504),
    allowed_methods={"GET"},
    respect_retry_after_header=False,
    raise_on_status=False,
)


def get(
    url: str,
    params: Mapping[str, str],
    *,
    source: str,
    monotonic: Callable[[], float] = time.monotonic,
) -> bytes:
    """Fetch a body. Raise SourceError on any failure; the query never appears in its text."""
    ends = monotonic() + DEADLINE_S
    try:
        with requests.Session() as session:
            for scheme in ("https://", "http://"):
                session.mount(scheme, HTTPAdapter(max_retries=_RETRY))
            session.headers["User-Agent"] = f"sillward/{__version__}"
            with session.get(
                url,
                params=dict(params),
                timeout=(CONNECT_S, READ_S),
                stream=True,
                allow_redirects=False,
            ) as response:
                body = _read(response, ends, source, monotonic)
                return _accepted(response.status_code, body, source)
    except (requests.RequestException, urllib3.exceptions.HTTPError, UnicodeError) as error:
        msg = f"{source}: {_reason(error)}"
        raise SourceError(msg) from None


def _read(
    response: requests.Response, ends: float, source: str, monotonic: Callable[[], float]
) -> bytes:
    body = bytearray()
    # read1 returns what has come so far: the clock is looked at between any two pieces.
    while chunk := response.raw.read1(16_384, decode_content=True):
        body += chunk
        if len(body) > MOST_BYTES:
            msg = f"{source}: the answer is larger than {MOST_BYTES // 1_000_000} MB"
            raise SourceError(msg)
        if monotonic() > ends:
            msg = f"{source}: no whole answer within {DEADLINE_S:.0f} s"
            raise SourceError(msg)
    return bytes(body)


def _accepted(status: int, body: bytes, source: str) -> bytes:
    if status == 200:
        return body
    if status == 429:
        msg = f"{source}: too many requests (429){_said(body)}"
    elif 300 <= status < 400:
        msg = f"{source}: sends us elsewhere ({status}); a login page in between?"
    else:
        msg = f"{source}: answered {status}{_said(body)}"
    raise SourceError(msg)


def _said(body: bytes) -> str:
    """The reason that an API gives in JSON, in one short line."""
    try:
        reason = json.loads(body)["reason"]
    except (ValueError, KeyError, TypeError, RecursionError):
        return ""
    return f': "{" ".join(str(reason).split()):.120}"'


def _reason(error: Exception) -> str:
    """A short reason without addresses or keys."""
    unnamed = f"failed ({type(error).__name__})"
    return next((text for kind, text in _REASONS if isinstance(error, kind)), unnamed)


# The first that fits: urllib3's own come while the body is read, requests' before.
_REASONS: tuple[tuple[type[Exception], str], ...] = (
    (requests.exceptions.SSLError, "its certificate cannot be trusted"),
    (requests.exceptions.ConnectTimeout, "cannot be reached in time"),
    (requests.exceptions.ReadTimeout, "stopped answering"),
    (urllib3.exceptions.ReadTimeoutError, "stopped answering"),
    (requests.exceptions.ContentDecodingError, "sent an answer that cannot be unpacked"),
    (requests.exceptions.ChunkedEncodingError, "broke off in the middle of its answer"),
    (urllib3.exceptions.DecodeError, "sent an answer that cannot be unpacked"),
    (urllib3.exceptions.ProtocolError, "broke off in the middle of its answer"),
    (requests.exceptions.ConnectionError, "cannot be reached"),
    (requests.exceptions.InvalidURL, "has no usable address"),
    (urllib3.exceptions.LocationValueError, "has no usable address"),
    (UnicodeError, "has no usable address"),
)
