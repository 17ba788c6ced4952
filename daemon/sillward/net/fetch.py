"""The entry to the network: one GET with a bounded time and size, and the check of its status.

The layer below is `transport`, which is imported only when a call is made.
"""

import json
import time
from collections.abc import Callable, Mapping
from datetime import datetime, timedelta

from sillward.errors import SourceError, one_line
from sillward.net.http import Answer, Query

REQUEST_DEADLINE_S = 40.0
"""The time for one request: connecting, handshake, headers, body and redirects together [s]."""

BUSY_WAIT = timedelta(hours=1)
"""How long to wait after "too many requests" that names no time. Judgement: a quota of an hour
is over by then."""

BLOCKED_WAIT = timedelta(hours=6)
"""How long to wait after "forbidden". Judgement: a client that is blocked is not let in minutes
later."""


def ask(
    query: Query,
    *,
    source: str,
    conditions: Mapping[str, str] = {},
    deadline_s: float = REQUEST_DEADLINE_S,
    monotonic: Callable[[], float] = time.monotonic,
) -> Answer:
    """Send one GET, once, and return what came back, whatever its status.

    The body of a redirect is not read; that of an error (4xx, 5xx) is empty if it cannot be read.
    `conditions` are headers such as If-Modified-Since.

    Raise SourceError if there is no whole answer; nothing of the query appears in its text.
    """
    from sillward.net import transport

    return transport.get(query, source, conditions, deadline_s, monotonic)


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


def _said(body: bytes) -> str:
    """Return the reason that an API gives in JSON, in one short line; empty if it gives none."""
    try:
        reason = json.loads(body)["reason"]
    except (ValueError, KeyError, TypeError, RecursionError):
        return ""
    return f': "{one_line(reason, 120)}"'
