"""The times of a CSV file: how they are written, and in which zone.

The order of day and month is found from all dates of a file together. What is left open is an error
that shows the readings, unless somebody has said which is right.

A million times are read in seconds: they are grouped by their shape, which is the text with every
digit as 0, and what stands where is found once for each shape.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo

import numpy as np

from sillward.archive.columns import parts_of
from sillward.archive.table import FIRST_SECOND
from sillward.errors import one_line
from sillward.forecast import parsing
from sillward.forecast.parsing import Reading
from sillward_rules.weather.site import Site

WHOLE = (
    *("time", "datetime", "date_time", "timestamp", "valid_time", "local_time", "unixtime"),
    *("created_at", "recorded_at", "last_changed", "fecha_hora", "fecha_y_hora", "zeitstempel"),
)
"""Names of a column with whole times, in the languages of many loggers."""

DATES = ("date", "fecha", "datum")
CLOCKS = ("time", "clock", "hour", "hora", "zeit", "uhrzeit", "heure")
"""Names of two columns that make a time together. "date" alone may hold whole times too."""

_LONG_TIMESTAMP = "timestamp_for_"
"""How a long name of a column with whole times begins: "Timestamp for sample frequency ..."."""

_TIME = re.compile(
    r"""(?P<first>\d{1,4})(?P<mark>[-/.])(?P<second>\d{1,2})(?P=mark)(?P<third>\d{1,4})
    (?:(?:T|\s+)(?P<hour>\d{1,2})(?::(?P<minute>\d\d)(?::(?P<sec>\d\d)(?:[.,]\d+)?)?)?
       (?:\s*(?P<half>[AP])\.?M\.?)?)?
    \s*(?P<offset>Z|UTC|GMT|[+-]\d\d:?\d\d|[+-]\d\d)?""",
    re.VERBOSE | re.ASCII | re.IGNORECASE,
)
_OFFSET = re.compile(r"(?:UTC|GMT)?\s*(?P<sign>[+-])(?P<hour>\d{1,2})(?::?(?P<minute>\d\d))?", re.I)
DAY_S = 86400

_UNIX = ("unix", "unixtime", "epoch", "s")
_CLOCK_WORDS = ("utc", "gmt", "local", *_UNIX[:3])

MAX_OFFSET_S = 18 * 3600
"""Clocks are never further from UTC."""

MAX_LENGTH = 48
"""Characters of a time at most. Judgement: the longest that is known has 35."""

_TIMES_AT_ONCE = 2**16
"""So many times are looked at together, which bounds the memory that it takes."""

_QUARTER_S = 900
"""Clocks are changed at quarters of an hour. From memory: since 1972 everywhere."""

_DATE_FORM = re.compile(r"[dmyhs/.: -]+", re.I)
"""What some heads say of times: "yyyy/mm/dd"."""


@dataclass(frozen=True, slots=True)
class Clock:
    """What the head of a column of times says of them.

    Args:
        zone: the zone; None if it says none.
        unix: whether they are unix seconds.
    """

    zone: tzinfo | None = None
    unix: bool = False


@dataclass(frozen=True, slots=True)
class Told:
    """What is known of the times besides the file, and what errors advise.

    Args:
        order: the order of year, month and day: "ymd", "dmy" or "mdy"; None if nobody has said it.
        short_years: whether years of two digits may be meant, of this century.
        order_advice: how to say the order, with {orders} for those that are possible.
        zone_advice: how to say the zone.
        offset_advice: how to say that clocks have the same offset from UTC all year.
    """

    order: str | None = None
    short_years: bool = False
    order_advice: str = "write them as 2024-05-14"
    zone_advice: str = 'write "time (UTC)", "time (local)" or "time (UTC+02:00)" in the head'
    offset_advice: str = 'write its offset in the head, such as "time (UTC+01:00)"'


NOTHING_TOLD = Told()


def clock_of(head: str, site: Site, reader: Reading, advice: str = "") -> Clock:
    """Return what the head of times says: "time (UTC)", "time (local)", "Date Time, GMT+02:00".

    Raise SourceError, with the advice, for a zone that is not known.
    """
    name, said = _name_and_clock(head)
    if said is None:
        return Clock(site.zone) if name.startswith("local_") else Clock()
    if says_unix(head):
        return Clock(unix=True)
    if said.lower() in ("utc", "gmt", "z"):
        return Clock(UTC)
    if said.lower() in ("local", "local time"):
        return Clock(site.zone)
    if said.lower() == "iso8601" or _DATE_FORM.fullmatch(said):
        return Clock()
    zone = zone_named(said)
    if zone is None:
        reader.refuse(
            f'has times in "{one_line(said, 40)}", which is not a known time zone{advice}'
        )
    return Clock(zone)


def says_unix(head: str) -> bool:
    """Whether the head of times says that they are unix seconds."""
    return (_name_and_clock(head)[1] or "").lower() in _UNIX


def _name_and_clock(head: str) -> tuple[str, str | None]:
    """Return the name in the head of times, and what it says of their zone or kind."""
    name, said = parts_of(head)
    last = name.rpartition("_")[2]
    return name, last if said is None and last in _CLOCK_WORDS else said


def is_time(head: str, names: Sequence[str]) -> bool:
    """Whether a head is one of these names, with or without a zone in it."""
    name = parts_of(head)[0]
    if names is WHOLE and name.startswith(_LONG_TIMESTAMP):
        return True
    return name in names or any(
        name == f"{known}_{ending}" for known in names for ending in _CLOCK_WORDS
    )


def looks_like_time(text: str, clock: Clock) -> bool:
    """Whether a text is written as a time."""
    if clock.unix:
        return text.isascii() and text.isdigit()
    return len(text) <= MAX_LENGTH and _TIME.fullmatch(text) is not None


def zone_named(text: str) -> tzinfo | None:
    """Return an offset from UTC, or a zone such as Europe/Madrid; None for what is neither."""
    zone = fixed_offset(text)
    if zone is None and "/" in text and len(text) < 64:
        try:
            return ZoneInfo(text)
        except (ValueError, OSError, KeyError):
            return None
    return zone


def fixed_offset(text: str) -> tzinfo | None:
    """Return an offset such as "GMT+02:00", "UTC-3" or "+0530" as a zone; None for other texts."""
    found = _OFFSET.fullmatch(text.strip())
    if found is None:
        return None
    minutes = int(found["hour"]) * 60 + int(found["minute"] or 0)
    if minutes * 60 > MAX_OFFSET_S:
        return None
    return timezone(timedelta(minutes=-minutes if found["sign"] == "-" else minutes))


def as_bytes(texts: Sequence[str], lines: Sequence[int], reader: Reading) -> np.ndarray:
    """Return times as they are written as an array of ASCII (row,). Raise SourceError.

    lines: the line of the file that each is in.
    """
    joined = "\n".join(texts)
    if not joined.isascii():
        texts = [text.replace("\u202f", " ").replace("\xa0", " ") for text in texts]
    for text, line in zip(texts, lines, strict=True):
        if len(text) > MAX_LENGTH or not text.isascii():
            reader.refuse(_no_time(text, line))
    return np.array(texts, dtype=np.bytes_)


def seconds(
    texts: np.ndarray,
    lines: np.ndarray,
    clock: Clock,
    site: Site,
    reader: Reading,
    told: Told = NOTHING_TOLD,
) -> np.ndarray:
    """Return times as unix seconds (row,). Raise SourceError for one that is none.

    texts: as they are written (row,), ASCII.
    lines: the line of the file that each is in (row,).
    """
    if clock.unix:
        return _unix(texts, lines, reader)
    parts = _parts(texts, lines, reader)
    if not parts["has_hour"].any():
        reader.refuse("has dates without hours")
    day, is_day = _days(parts, _order(parts, told, reader))
    wrong = np.flatnonzero(~(is_day & parts["is_clock"]))
    if wrong.size:
        reader.refuse(_no_time(_text(texts, wrong[0]), int(lines[wrong[0]])))
    wall = day * DAY_S + parts["clock_s"]
    if wall.min() < FIRST_SECOND or wall.max() >= parsing.LAST_SECOND:
        reader.refuse("has times before 1940, or impossible ones")
    if parts["has_offset"].all():
        return np.asarray(wall - parts["offset_s"])
    if parts["has_offset"].any():
        row = int(np.flatnonzero(~parts["has_offset"])[0])
        reader.refuse(
            f'has times with an offset and without: "{_text(texts, row)}" in line {lines[row]}'
        )
    if clock.zone is None:
        reader.refuse(_two_zones(_text(texts, 0), int(wall[0]), site, told))
    return _in_zone(wall, clock.zone, reader, told)


def _text(texts: np.ndarray, row: int) -> str:
    return bytes(texts[row]).decode()


def _no_time(text: str, line: int) -> str:
    hint = ': for unix seconds write "time (unix)" in the head' if text.isdigit() else ""
    return f'has "{one_line(text, 30)}" in line {line}, which is not a time{hint}'


def _unix(texts: np.ndarray, lines: np.ndarray, reader: Reading) -> np.ndarray:
    if texts.dtype.itemsize <= 10 and np.char.isdigit(texts).all():
        return texts.astype(np.int64)
    for row in range(texts.size):
        text = _text(texts, row)
        if not (text.isdigit() and len(text) <= 10):
            reader.refuse(f'has "{one_line(text, 30)}" in line {lines[row]}, not unix seconds')
    return texts.astype(np.int64)


# -- what stands where


_PARTS = np.dtype(
    [
        *((name, np.int32) for name in ("first", "second", "third", "clock_s", "offset_s")),
        *((name, bool) for name in ("year_first", "year_last", "is_clock", "has_hour")),
        ("has_offset", bool),
        ("mark", np.uint8),
    ]
)
"""What times hold, as it is written.

- first, second, third: the parts of the date; year_first, year_last: whether the first, or the
  third, has four digits; mark: what stands between them.
- clock_s: seconds since midnight; is_clock: whether that is a time of day; has_hour: whether it is
  written.
- offset_s: the offset from UTC [s]; has_offset: whether it is written.
"""


def _parts(texts: np.ndarray, lines: np.ndarray, reader: Reading) -> np.ndarray:
    """Return what times hold as `_PARTS` (row,). Raise SourceError for one that is none."""
    return np.concatenate(
        [
            _parts_of_block(texts[start : start + _TIMES_AT_ONCE], lines[start:], reader)
            for start in range(0, texts.size, _TIMES_AT_ONCE)
        ]
    )


def _parts_of_block(texts: np.ndarray, lines: np.ndarray, reader: Reading) -> np.ndarray:
    letters = np.ascontiguousarray(texts).view(np.uint8).reshape(texts.size, -1)
    is_digit = (letters >= ord("0")) & (letters <= ord("9"))
    shapes = np.where(is_digit, np.uint8(ord("0")), letters).view(texts.dtype).reshape(-1)
    kinds, kind_of = np.unique(shapes, return_inverse=True)
    matches = [_TIME.fullmatch(bytes(kind).decode()) for kind in kinds]
    unknown = np.array([match is None for match in matches], bool)[kind_of]
    if unknown.any():
        row = int(unknown.argmax())
        reader.refuse(_no_time(_text(texts, row), int(lines[row])))
    parts = np.zeros(texts.size, _PARTS)
    digits = letters - np.uint8(ord("0"))
    for number, match in enumerate(matches):
        if match is not None:
            rows = np.flatnonzero(kind_of == number)
            parts[rows] = _parts_of_shape(match, digits[rows])
    return parts


def _parts_of_shape(match: re.Match[str], digits: np.ndarray) -> np.ndarray:
    """Return what some times of the same shape hold as `_PARTS` (row,).

    match: of their shape. digits (row, character) : the digits, where there are some.
    """
    parts = np.zeros(len(digits), _PARTS)

    def number(start: int, end: int) -> np.ndarray:
        total = np.zeros(len(digits), np.int32)
        for column in range(start, end):
            total = total * 10 + digits[:, column]
        return total

    def part(name: str) -> np.ndarray:
        return number(*match.span(name)) if match[name] else np.zeros(len(digits), np.int32)

    for name in ("first", "second", "third"):
        parts[name] = part(name)
    parts["year_first"], parts["year_last"] = len(match["first"]) == 4, len(match["third"]) == 4
    parts["mark"] = ord(match["mark"])
    hour, minute, second = part("hour"), part("minute"), part("sec")
    is_clock = (minute <= 59) & (second <= 59)
    if match["half"] is None:
        is_clock &= hour <= 23
    else:
        is_clock &= (hour >= 1) & (hour <= 12)
        hour = hour % 12 + (12 if match["half"] in "Pp" else 0)
    parts["clock_s"], parts["is_clock"] = hour * 3600 + minute * 60 + second, is_clock
    parts["has_hour"], parts["has_offset"] = bool(match["hour"]), bool(match["offset"])
    if match["offset"] and match["offset"][0] in "+-":
        start, end = match.span("offset")
        size = number(start + 1, start + 3) * 3600
        if end - start > 3:
            size += number(end - 2, end) * 60
        parts["offset_s"] = -size if match["offset"][0] == "-" else size
    return parts


# -- dates


def _order(parts: np.ndarray, told: Told, reader: Reading) -> str:
    """Return the order of year, month and day in all dates: "ymd", "dmy" or "mdy".

    Raise SourceError if there is not one order, or more than one.
    """
    if parts["year_first"].all():
        return "ymd"
    if parts["year_first"].any():
        reader.refuse("has dates that begin with the year and others that do not")
    if parts["year_last"].all():
        day_first, month_first = (parts["first"] > 12).any(), (parts["second"] > 12).any()
        if day_first and month_first:
            reader.refuse("has dates with the day first and others with the month first")
        if day_first or month_first:
            return "dmy" if day_first else "mdy"
        possible = ["dmy", "mdy"]
    elif told.short_years and not parts["year_last"].any():
        possible = [order for order in _PLACES if _days(parts, order)[1].all()]
        if len(possible) == 1:
            return possible[0]
    else:
        shown = _date(parts)
        reader.refuse(
            f'has dates such as "{shown}", of which the year may be {parts["first"][0]:02d}'
            f" or {parts['third'][0]:02d}: {told.order_advice}"
        )
    if told.order in possible:
        return told.order
    if possible and _agree(parts, possible):
        return possible[0]
    if not possible:
        reader.refuse(f'has dates such as "{_date(parts)}", of which some are none in any order')
    readings = " or ".join(_day(parts, order) for order in possible)
    advice = told.order_advice.format(orders=" or ".join(f"--dates {order}" for order in possible))
    reader.refuse(f'has dates such as "{_date(parts)}", which may be {readings}: {advice}')


def _agree(parts: np.ndarray, orders: Sequence[str]) -> bool:
    """Whether all dates, such as 04/04/2021, are the same in these orders."""
    days = [_days(parts, order)[0] for order in orders]
    return all(np.array_equal(days[0], other) for other in days[1:])


def _date(parts: np.ndarray) -> str:
    """Return the first date as it is written."""
    return chr(parts["mark"][0]).join(
        f"{part[0]:02d}" for part in (parts["first"], parts["second"], parts["third"])
    )


def _day(parts: np.ndarray, order: str) -> str:
    """Return the first date as it reads in an order."""
    days, is_day = _days(parts, order)
    if not is_day[0]:
        return "none"
    found = date.fromordinal(_EPOCH + int(days[0]))
    return f"{found.day} {found:%B %Y}"


_PLACES = {
    "ymd": ("first", "second", "third"),
    "dmy": ("third", "second", "first"),
    "mdy": ("third", "first", "second"),
}
ORDERS = tuple(_PLACES)
"""The orders of year, month and day that dates may have."""

_EPOCH = date(1970, 1, 1).toordinal()


def _days(parts: np.ndarray, order: str) -> tuple[np.ndarray, np.ndarray]:
    """Return dates in this order as days since 1970 (row,), and which of them there are."""
    year, month, day = (parts[place].astype(np.int64) for place in _PLACES[order])
    short = ~(parts["year_first"] if order == "ymd" else parts["year_last"])
    year = year + np.where(short, 2000, 0)
    is_month = (year >= 1) & (month >= 1) & (month <= 12)
    months = (year - 1970) * 12 + np.where(is_month, month - 1, 0)
    first = months.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    length = (months + 1).astype("datetime64[M]").astype("datetime64[D]").astype(np.int64) - first
    return first + day - 1, is_month & (day >= 1) & (day <= length)


# -- zones


def _two_zones(text: str, wall: int, site: Site, told: Told) -> str:
    """Return that a time has no zone, with the two moments that it may be."""
    shown = datetime.fromtimestamp(wall, UTC)
    here = shown.astimezone(site.zone)
    return (
        f'does not say its zone: "{one_line(text, 30)}" may be by the clocks of {site.zone}, or'
        f" UTC, when these showed {here:%Y-%m-%d %H:%M}: {told.zone_advice}"
    )


def _in_zone(wall: np.ndarray, zone: tzinfo, reader: Reading, told: Told) -> np.ndarray:
    """Return the moments [unix s] at which clocks of a zone showed these times, in either order.

    An hour that clocks show twice in autumn must be there twice. Raise SourceError for one that is
    there once, or that clocks skip in spring.
    """
    if wall[0] > wall[-1]:
        return _in_zone(wall[::-1], zone, reader, told)[::-1]
    first = wall - _offsets(wall, zone, 0)
    if isinstance(zone, timezone):
        return np.asarray(first)
    second = wall - _offsets(wall, zone, 1)

    def label(row: int) -> str:
        return f"{datetime.fromtimestamp(int(wall[row]), UTC):%Y-%m-%d %H:%M}"

    skipped = np.flatnonzero(first > second)
    if skipped.size:
        reader.refuse(
            f"has {label(skipped[0])}, which clocks of {zone} skip: is it standard time all year?"
            f" Then {told.offset_advice}"
        )
    for start, end in _shown_twice(wall, first < second):
        again = _shown_again(wall[start:end])
        if again is None:
            reader.refuse(
                f"has {label(start)} once, which clocks of {zone} show twice: it may be"
                f" {parsing.at(first[start])} or {parsing.at(second[start])}. Is it standard time"
                f" all year? Then {told.offset_advice}"
            )
        first[start + again : end] = second[start + again : end]
    return np.asarray(first)


def _shown_twice(wall: np.ndarray, twice: np.ndarray) -> Iterator[tuple[int, int]]:
    """Yield from which row to before which the times are of one hour that clocks show twice."""
    rows = np.flatnonzero(twice)
    if rows.size:
        apart = (np.diff(rows) > 1) | (np.abs(np.diff(wall[rows])) > DAY_S)
        starts = np.append(0, np.flatnonzero(apart) + 1)
        yield from zip(rows[starts], rows[np.append(starts[1:], rows.size) - 1] + 1, strict=True)


def _shown_again(wall: np.ndarray) -> int | None:
    """Return from which row on clocks show an hour the second time; None if they do not."""
    steps = np.diff(wall)
    back = np.flatnonzero(steps < 0)
    if back.size == 0 and wall.size == 2:
        back = np.flatnonzero(steps == 0)
    return int(back[0]) + 1 if back.size else None


def _offsets(wall: np.ndarray, zone: tzinfo, fold: int) -> np.ndarray:
    """Return how far the clocks of a zone are from UTC when they show these times [s]."""
    quarters, quarter_of = np.unique(wall // _QUARTER_S, return_inverse=True)
    shown = [datetime.fromtimestamp(quarter * _QUARTER_S, UTC) for quarter in quarters.tolist()]
    offsets = [at.replace(tzinfo=zone, fold=fold).utcoffset() or timedelta(0) for at in shown]
    return np.array([offset.total_seconds() for offset in offsets], dtype=np.int64)[quarter_of]
