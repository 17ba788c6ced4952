"""Time expressions as a grower writes them: durations, times by clock or sun, hours of the day.

    "45 min"  "2 h"  "1h30min"  "7 d"        a duration
    "17:30"   "sunset-90min"  "sunrise+1h"    a moment of a day
    "sun 18:00"                               a moment of a week
    "day"  "night"  "any"  "10:00-17:00"  "sunrise+1h to sunset-2h"    hours of a day

Every parser raises ValueError with what is wrong and what would be right.
"""

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from enum import Enum
from typing import Literal

import numpy as np

from sillward_rules.weather import sun
from sillward_rules.weather.site import Site

_DURATION = re.compile(
    r"(?:(\d+(?:\.\d+)?)\s*d)?\s*(?:(\d+(?:\.\d+)?)\s*h)?\s*(?:(\d+(?:\.\d+)?)\s*min)?",
    re.ASCII,
)
_CLOCK = re.compile(r"(\d{1,2}):(\d{2})", re.ASCII)
_BY_SUN = re.compile(r"(sunrise|sunset)\s*(?:([+-])\s*(.+))?", re.ASCII)
_FROM_TO = re.compile(r"\d{1,2}:\d{2}\s*-\s*\d{1,2}:\d{2}", re.ASCII)
_WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_DAY_NAMES = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_MAX_DURATION_H = 10_000


def parse_duration(text: str) -> timedelta:
    """Read "45 min", "2 h", "1h30min" or "7 d"."""
    match = _DURATION.fullmatch(text.strip())
    if match is None or not any(match.groups()):
        msg = f'"{text}" is not a duration; write for example "45 min", "2 h", "1h30min" or "7 d"'
        raise ValueError(msg)
    days, whole, minutes = (float(part or 0) for part in match.groups())
    hours = 24 * days + whole + minutes / 60
    if hours > _MAX_DURATION_H:
        msg = f'"{text:.40}" is too long; a day has 24 h'
        raise ValueError(msg)
    return timedelta(hours=hours)


@dataclass(frozen=True, slots=True)
class Moment:
    """A moment of any day: by the clock (`clock`) or by the sun (`anchor` plus `offset`)."""

    text: str
    clock: time | None = None
    anchor: Literal["sunrise", "sunset"] = "sunset"
    offset: timedelta = timedelta(0)

    def on(self, site: Site, day: date) -> datetime:
        """Return this moment on a local date, in UTC."""
        if self.clock is not None:
            return site.at_clock(day, self.clock)
        events = sun.day_events(site, day)
        base = events.sunrise if self.anchor == "sunrise" else events.sunset
        return base + self.offset


def parse_moment(text: str) -> Moment:
    """Read "17:30", "sunset-90min" or "sunrise+15min"."""
    stripped = text.strip().lower()
    if match := _CLOCK.fullmatch(stripped):
        hour, minute = int(match.group(1)), int(match.group(2))
        if hour < 24 and minute < 60:
            return Moment(text, clock=time(hour, minute))
    elif match := _BY_SUN.fullmatch(stripped):
        offset = parse_duration(match.group(3)) if match.group(3) else timedelta(0)
        if offset < timedelta(hours=12):
            anchor: Literal["sunrise", "sunset"] = (
                "sunrise" if match.group(1) == "sunrise" else "sunset"
            )
            return Moment(text, None, anchor, -offset if match.group(2) == "-" else offset)
    msg = f'"{text}" is not a time of day; write for example "17:30" or "sunset-90min"'
    raise ValueError(msg)


@dataclass(frozen=True, slots=True)
class WeeklyMoment:
    """A moment of one weekday (Monday is 0)."""

    weekday: int
    moment: Moment

    @property
    def text(self) -> str:
        """The same as a grower writes it."""
        return f"{_WEEKDAYS[self.weekday]} {self.moment.text}"


def parse_weekly(text: str) -> WeeklyMoment:
    """Read "sun 18:00" or "sat sunset-2h": a weekday, then a moment."""
    head, _, tail = text.strip().partition(" ")
    name = head.lower()
    if name not in _WEEKDAYS + _DAY_NAMES or not tail.strip():
        msg = f'"{text}" is not a time of the week; write for example "sun 18:00"'
        raise ValueError(msg)
    return WeeklyMoment(_WEEKDAYS.index(name[:3]), parse_moment(tail))


class _Whole(Enum):
    """A whole part of a day."""

    ANY = "any"
    DAY = "day"
    NIGHT = "night"


@dataclass(frozen=True, slots=True)
class Hours:
    """Hours of every day: a whole part of it, or from one moment to another (over midnight too)."""

    text: str
    whole: _Whole | None = None
    start: Moment | None = None
    end: Moment | None = None

    def of_night(self, site: Site, night: sun.Night) -> tuple[datetime, datetime] | None:
        """Return the span of these hours in a night; None if they are not hours of a night.

        Those of a night are "night" and hours from a time by sunset to one by sunrise.
        """
        if self.whole is _Whole.NIGHT:
            return night.start, night.end
        if self.start is None or self.end is None:
            return None
        if (self.start.clock, self.start.anchor) != (None, "sunset"):
            return None
        if (self.end.clock, self.end.anchor) != (None, "sunrise"):
            return None
        return night.start + self.start.offset, night.end + self.end.offset

    def mask(self, site: Site, unix_seconds: np.ndarray, night: np.ndarray) -> np.ndarray:
        """Return which of these moments (time,) lie in the hours, both ends included.

        night (time,) : as in `sun.is_night` for the same moments.
        """
        if self.whole is _Whole.NIGHT:
            return night
        if self.whole is _Whole.DAY:
            return ~night
        if self.start is None or self.end is None or unix_seconds.size == 0:
            return np.ones(unix_seconds.shape, dtype=bool)
        return self._between(site, unix_seconds, self.start, self.end)

    def _between(
        self, site: Site, unix_seconds: np.ndarray, start: Moment, end: Moment
    ) -> np.ndarray:
        mask = np.zeros(unix_seconds.shape, dtype=bool)
        day = _date_of(site, unix_seconds[0]) - timedelta(days=1)
        while day <= _date_of(site, unix_seconds[-1]):
            opens, closes = start.on(site, day), end.on(site, day)
            if closes <= opens:
                closes = end.on(site, day + timedelta(days=1))
            mask |= (unix_seconds >= opens.timestamp()) & (unix_seconds <= closes.timestamp())
            day += timedelta(days=1)
        return mask


def parse_hours(text: str) -> Hours:
    """Read "day", "night", "any", "10:00-17:00" or "sunrise+1h to sunset-2h"."""
    stripped = text.strip().lower()
    for whole in _Whole:
        if stripped == whole.value:
            return Hours(text, whole=whole)
    parts = re.split(r"\s+to\s+", stripped)
    if len(parts) == 1 and _FROM_TO.fullmatch(stripped):
        parts = stripped.split("-")
    if len(parts) != 2:
        msg = (
            f'"{text}" are not hours of the day; write "day", "night", "any", "10:00-17:00" '
            'or "sunrise+1h to sunset-2h"'
        )
        raise ValueError(msg)
    return Hours(text, start=parse_moment(parts[0]), end=parse_moment(parts[1]))


def _date_of(site: Site, second: float) -> date:
    return site.local_date(datetime.fromtimestamp(float(second), UTC))
