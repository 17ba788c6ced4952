"""The times of a CSV file: how they are written, and in which zone.

The order of day and month is found from all dates of a file together. What is left open is an error
that shows both readings.
"""

import re
from collections.abc import Callable, Sequence
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

WHOLE = ("time", "datetime", "date_time", "timestamp", "valid_time", "local_time", "unixtime")
"""Names of a column with whole times."""

DATES, CLOCKS = ("date",), ("time", "clock", "hour")
"""Names of two columns that make a time together. "date" alone may hold whole times too."""

_TIME = re.compile(
    r"""(?P<first>\d{1,4})(?P<mark>[-/.])(?P<second>\d{1,2})(?P=mark)(?P<third>\d{1,4})
    (?:(?:T|\s+)(?P<hour>\d{1,2})(?::(?P<minute>\d\d)(?::(?P<sec>\d\d)(?:[.,]\d+)?)?)?
       (?:\s*(?P<half>[AP])\.?M\.?)?)?
    \s*(?P<offset>Z|UTC|GMT|[+-]\d\d:?\d\d|[+-]\d\d)?""",
    re.VERBOSE | re.ASCII | re.IGNORECASE,
)
_OFFSET = re.compile(r"(?:UTC|GMT)?\s*(?P<sign>[+-])(?P<hour>\d{1,2})(?::?(?P<minute>\d\d))?", re.I)
_UNIX = ("unix", "unixtime", "epoch", "s")

MAX_OFFSET_S = 18 * 3600
"""Clocks are never further from UTC."""


@dataclass(frozen=True, slots=True)
class Clock:
    """What the head of a column of times says of them.

    Args:
        zone: the zone; None if it says none.
        unix: whether they are unix seconds.
    """

    zone: tzinfo | None = None
    unix: bool = False


def clock_of(head: str, site: Site, reader: Reading) -> Clock:
    """Return what the head of times says: "time (UTC)", "time (local)", "Date Time, GMT+02:00"."""
    name, said = parts_of(head)
    words = name.split("_")
    if said is None and words[-1] in ("utc", "gmt", "local", *_UNIX[:3]):
        said = words[-1]
    if said is None:
        return Clock(site.zone) if words[0] == "local" else Clock()
    if said.lower() in _UNIX:
        return Clock(unix=True)
    if said.lower() in ("utc", "gmt", "z"):
        return Clock(UTC)
    if said.lower() in ("local", "local time"):
        return Clock(site.zone)
    if said.lower() == "iso8601":
        return Clock()
    zone = fixed_offset(said)
    if zone is None and "/" in said and len(said) < 64:
        try:
            zone = ZoneInfo(said)
        except (ValueError, OSError, KeyError):
            zone = None
    if zone is None:
        reader.refuse(f'has times in "{one_line(said, 40)}", which is no zone that is known')
    return Clock(zone)


def is_time(head: str, names: Sequence[str]) -> bool:
    """Whether a head is one of these names, with or without a zone in it."""
    name = parts_of(head)[0]
    return name in names or any(
        name == f"{known}_{ending}"
        for known in names
        for ending in ("utc", "gmt", "local", *_UNIX[:3])
    )


def fixed_offset(text: str) -> tzinfo | None:
    """Return an offset such as "GMT+02:00", "UTC-3" or "+0530" as a zone; None for other texts."""
    found = _OFFSET.fullmatch(text.strip())
    if found is None:
        return None
    minutes = int(found["hour"]) * 60 + int(found["minute"] or 0)
    if minutes * 60 > MAX_OFFSET_S:
        return None
    return timezone(timedelta(minutes=-minutes if found["sign"] == "-" else minutes))


def seconds(
    texts: Sequence[str], clock: Clock, site: Site, line: Callable[[int], int], reader: Reading
) -> np.ndarray:
    """Return times as unix seconds (given,). Raise SourceError for one that is none.

    line: gives the line of the file that a row is in.
    """
    if clock.unix:
        return _unix(texts, line, reader)
    found = [_TIME.fullmatch(text) for text in texts]
    for row, match in enumerate(found):
        if match is None:
            reader.refuse(_no_time(texts[row], line(row)))
    matches = [match for match in found if match is not None]
    if all(match["hour"] is None for match in matches):
        reader.refuse("has dates without hours; only hourly values can be replayed")
    order = _order(matches, reader)
    wall = np.empty(len(matches), dtype=np.int64)
    for row, match in enumerate(matches):
        try:
            wall[row] = _wall(match, order)
        except ValueError:
            reader.refuse(_no_time(texts[row], line(row)))
    if wall.min() < FIRST_SECOND or wall.max() >= parsing.LAST_SECOND:
        reader.refuse("has times before 1940, or impossible ones")
    offsets = [match["offset"] for match in matches]
    if all(offset is not None for offset in offsets):
        return np.asarray(wall - np.array([_offset_s(offset) for offset in offsets], np.int64))
    if any(offset is not None for offset in offsets):
        row = offsets.index(None)
        reader.refuse(f'has times with an offset and without: "{texts[row]}" in line {line(row)}')
    if clock.zone is None:
        reader.refuse(_two_zones(texts[0], int(wall[0]), site))
    return _in_zone(wall, clock.zone, reader)


def _no_time(text: str, line: int) -> str:
    hint = ': for unix seconds write "time (unix)" in the head' if text.isdigit() else ""
    return f'has "{one_line(text, 30)}" in line {line}, which is no time{hint}'


def _unix(texts: Sequence[str], line: Callable[[int], int], reader: Reading) -> np.ndarray:
    for row, text in enumerate(texts):
        if not (text.isascii() and text.isdigit() and len(text) <= 10):
            reader.refuse(f'has "{one_line(text, 30)}" in line {line(row)}, not unix seconds')
    return np.array([int(text) for text in texts], dtype=np.int64)


def _order(matches: Sequence[re.Match[str]], reader: Reading) -> str:
    """Return the order of year, month and day in all dates: "ymd", "dmy" or "mdy".

    Raise SourceError if there is not one order, or more than one.
    """
    year_first = [len(match["first"]) == 4 for match in matches]
    if all(year_first):
        return "ymd"
    if any(year_first):
        reader.refuse("has dates that begin with the year and others that do not")
    example = matches[0]
    shown = example["mark"].join((example["first"], example["second"], example["third"]))
    if not all(len(match["third"]) == 4 for match in matches):
        reader.refuse(
            f'has dates such as "{shown}", of which the year may be {example["first"]} or'
            f" {example['third']}: write them as 2024-05-14"
        )
    day_first = any(int(match["first"]) > 12 for match in matches)
    month_first = any(int(match["second"]) > 12 for match in matches)
    if day_first and month_first:
        reader.refuse("has dates with the day first and others with the month first")
    if not day_first and not month_first:
        one, other, year = (int(example[part]) for part in ("first", "second", "third"))
        reader.refuse(
            f'has dates such as "{shown}", which may be {_day(year, other, one)} or'
            f" {_day(year, one, other)}: write them as 2024-05-14"
        )
    return "dmy" if day_first else "mdy"


def _day(year: int, month: int, day: int) -> str:
    try:
        return f"{day} {date(year, month, day):%B %Y}"
    except ValueError:
        return "none"


_PLACES = {
    "ymd": ("first", "second", "third"),
    "dmy": ("third", "second", "first"),
    "mdy": ("third", "first", "second"),
}
_EPOCH = date(1970, 1, 1).toordinal()


def _wall(match: re.Match[str], order: str) -> int:
    """Return what a clock showed, as seconds since 1970 by that clock. Raise ValueError."""
    year, month, day = (int(match[place]) for place in _PLACES[order])
    hour, minute, second = (int(match[part] or 0) for part in ("hour", "minute", "sec"))
    if match["half"] is not None:
        if not 1 <= hour <= 12:
            raise ValueError
        hour = hour % 12 + (12 if match["half"] in "Pp" else 0)
    if hour > 23 or minute > 59 or second > 59:
        raise ValueError
    days = date(year, month, day).toordinal() - _EPOCH
    return days * 86400 + hour * 3600 + minute * 60 + second


def _offset_s(text: str) -> int:
    if text[0] not in "+-":
        return 0
    digits = text[1:].replace(":", "")
    size = int(digits[:2]) * 3600 + int(digits[2:] or 0) * 60
    return -size if text[0] == "-" else size


def _two_zones(text: str, wall: int, site: Site) -> str:
    """Return that a time has no zone, with the two moments that it may be."""
    shown = datetime.fromtimestamp(wall, UTC)
    local = shown.replace(tzinfo=site.zone).astimezone(UTC)
    return (
        f'does not say its zone: "{one_line(text, 30)}" may be {parsing.at(wall)} or'
        f' {local:%Y-%m-%d %H:%M} UTC (local time): write "time (UTC)", "time (local)" or'
        ' "time (UTC+02:00)" in the head'
    )


def _in_zone(wall: np.ndarray, zone: tzinfo, reader: Reading) -> np.ndarray:
    """Return the moments [unix s] at which clocks of a zone showed these times, in either order.

    An hour that clocks show twice in autumn must be there twice. Raise SourceError for one that is
    there once, or that clocks skip in spring.
    """
    if wall[0] > wall[-1]:
        return _in_zone(wall[::-1], zone, reader)[::-1]
    shown = [datetime.fromtimestamp(second, UTC).replace(tzinfo=zone) for second in wall.tolist()]
    first = wall - _offsets(shown)
    if isinstance(zone, timezone):
        return np.asarray(first)
    second = wall - _offsets([at.replace(fold=1) for at in shown])
    for row in np.flatnonzero(first != second).tolist():
        label = f"{shown[row]:%Y-%m-%d %H:%M}"
        if first[row] > second[row]:
            reader.refuse(
                f"has {label}, which clocks of {zone} skip: is it standard time all year? Then"
                ' write its offset in the head, such as "time (UTC+01:00)"'
            )
        if row and wall[row - 1] == wall[row]:
            first[row] = second[row]
        elif row + 1 == wall.size or wall[row + 1] != wall[row]:
            reader.refuse(
                f"has {label} once, which clocks of {zone} show twice: it may be"
                f" {parsing.at(first[row])} or {parsing.at(second[row])}"
            )
    return np.asarray(first)


def _offsets(shown: Sequence[datetime]) -> np.ndarray:
    offsets = [at.utcoffset() or timedelta(0) for at in shown]
    return np.array([offset.total_seconds() for offset in offsets], dtype=np.int64)
