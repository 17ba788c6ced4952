"""One GET with a bounded time and a bounded size."""

import time
from collections.abc import Callable, Mapping

import requests
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
    except requests.RequestException as error:
        msg = f"{source}: {_reason(error)}"
        raise SourceError(msg) from None


def _read(
    response: requests.Response, ends: float, source: str, monotonic: Callable[[], float]
) -> bytes:
    body = bytearray()
    for chunk in response.iter_content(16_384):
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
        msg = f"{source}: too many requests (429)"
    elif 300 <= status < 400:
        msg = f"{source}: sends us elsewhere ({status}); a login page in between?"
    else:
        msg = f"{source}: answered {status}"
    raise SourceError(msg)


def _reason(error: requests.RequestException) -> str:
    """A short reason without addresses or keys."""
    named = {
        requests.exceptions.SSLError: "its certificate cannot be trusted",
        requests.exceptions.ConnectTimeout: "cannot be reached in time",
        requests.exceptions.ReadTimeout: "stopped answering",
        requests.exceptions.ChunkedEncodingError: "broke off in the middle of its answer",
        requests.exceptions.ContentDecodingError: "sent an answer that cannot be unpacked",
        requests.exceptions.ConnectionError: "cannot be reached",
    }
    for kind, text in named.items():
        if isinstance(error, kind):
            return text
    return f"failed ({type(error).__name__})"
