"""One GET with a bounded time and a bounded size, and what its answer says of itself.

What is asked and what came back are here, for all who speak of them; `wire` makes the call.
"""

import json
import re
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime

from sillward.errors import SourceError, one_line

DEADLINE_S = 40.0
"""For everything together: connecting, handshake, headers, body, redirects [s]."""

BUSY_WAIT = timedelta(hours=1)
"""After "too many requests" without a word for how long. Judgement."""

BLOCKED_WAIT = timedelta(hours=6)
"""After "forbidden": who is blocked is not let in minutes later. Judgement."""

LONGEST_RETRY_AFTER = timedelta(hours=24)
"""A server that asks for more is asked again after this. Judgement."""

LONGEST_VALUE = 200
"""Of a header value that we read or send back; a date has 29 characters. Judgement."""


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
    from sillward.forecast import wire

    return wire.get(query, source, conditions, deadline_s, monotonic)


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
