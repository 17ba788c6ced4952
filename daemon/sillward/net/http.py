"""What goes into a call and comes out of it: the query of one GET, and its answer."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime

MAX_RETRY_AFTER = timedelta(hours=24)
"""The longest wait that a server can ask for. Judgement: a quota of a day is over by then."""

MAX_VALUE = 200
"""The most characters of a header value that is read or sent back. Judgement: a date has 29."""


@dataclass(frozen=True, slots=True)
class Query:
    """What to ask for. Its repr shows no secrets.

    With `follow` redirects within the provider's own domain are followed.
    """

    url: str
    params: Mapping[str, str] = field(repr=False)
    headers: Mapping[str, str] = field(default_factory=dict, repr=False)
    follow: bool = False


@dataclass(frozen=True, slots=True)
class Answer:
    """What came back, with header names in lower case and the body decompressed.

    A property is None where its header is missing or unusable.
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
        """The time until which the answer is good, by the provider's clock."""
        return _moment(self.headers.get("expires"))

    def good_for(self, now: datetime) -> timedelta | None:
        """Return how long the answer is good, by the provider's own clock if it is known."""
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
        """Return how long the provider asks us to wait, at most `MAX_RETRY_AFTER`."""
        value = self.headers.get("retry-after")
        wait_s: float | None = _seconds(value)
        if wait_s is None:
            at = _moment(value)
            wait_s = None if at is None else (at - now).total_seconds()
        if wait_s is None or wait_s < 0:
            return None
        return timedelta(seconds=min(wait_s, MAX_RETRY_AFTER.total_seconds()))


# -- header values


def _text(value: str | None) -> str | None:
    if not value or len(value) > MAX_VALUE:
        return None
    return value if value.isascii() and value.isprintable() else None


def _moment(value: str | None) -> datetime | None:
    """Return the time of an HTTP date (RFC 9110, 5.6.7: three forms, all in GMT), or None."""
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
