"""What the calendar of a replay shows: one letter for each night, told by what became of it."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import Enum
from typing import Any, Literal

from sillward_rules.replay.records import Cause, NightRecord, ReplayResult


class NightMark(Enum):
    """What became of a night, by its letter; where several are true, the first one counts."""

    MISSED = "M"
    LATE = "L"
    NOT_DONE = "D"
    NO_COVER = "C"
    UNJUDGED = "?"
    AWAY = "a"
    IN = "I"
    NEEDLESS = "n"
    MILD = "."


MEANINGS: Mapping[NightMark, str] = {
    NightMark.MISSED: "missed: a plant stood under its limit, not asked in",
    NightMark.LATE: "asked in too late, or out again too early",
    NightMark.NOT_DONE: "asked in, not carried",
    NightMark.NO_COVER: "the cover got too cold",
    NightMark.UNJUDGED: "too little is known of the weather",
    NightMark.AWAY: "away: nothing was done",
    NightMark.IN: "in, and it was needed",
    NightMark.NEEDLESS: "in for nothing",
    NightMark.MILD: "nothing had to go in",
}
"""The marks in words, in their order."""

_BY_CAUSE: Mapping[Cause, NightMark] = {
    Cause.MISSED: NightMark.MISSED,
    Cause.LATE: NightMark.LATE,
    Cause.OUT_TOO_EARLY: NightMark.LATE,
    Cause.NOT_DONE: NightMark.NOT_DONE,
    Cause.NO_COVER: NightMark.NO_COVER,
}


def mark_of(night: NightRecord) -> NightMark:
    """Return what became of a night for the plant that fared worst."""
    marks = {_BY_CAUSE[exposure.cause] for exposure in night.exposures}
    marks |= {NightMark.UNJUDGED} if night.unjudged else set()
    marks |= {NightMark.AWAY} if night.away else set()
    marks |= {NightMark.IN} if night.needed else set()
    marks |= {NightMark.NEEDLESS} if night.needless else set()
    return next((mark for mark in MEANINGS if mark in marks), NightMark.MILD)


def months_of(nights: Sequence[NightRecord]) -> dict[str, dict[int, NightMark]]:
    """Return the marks by month ("2026-05") and day of the month, in order."""
    months: dict[str, dict[int, NightMark]] = {}
    for night in nights:
        months.setdefault(f"{night.night:%Y-%m}", {})[night.night.day] = mark_of(night)
    return months


@dataclass(frozen=True, slots=True)
class YearChart:
    """A calendar of nights, for the drawing.

    nights: each evening's local date with its mark, in order. footer: lines beneath it.
    """

    title: str
    subtitle: str
    nights: tuple[tuple[date, NightMark], ...]
    footer: tuple[str, ...]
    kind: Literal["year"] = "year"

    @property
    def counts(self) -> dict[NightMark, int]:
        """How many nights each mark has that occurs, in the order of `MEANINGS`."""
        counts = Counter(mark for _, mark in self.nights)
        return {mark: counts[mark] for mark in MEANINGS if counts[mark]}


def year_chart(result: ReplayResult, subtitle: str, footer: Sequence[str]) -> YearChart:
    """Return the calendar of a replay."""
    nights = tuple((night.night, mark_of(night)) for night in result.nights)
    return YearChart(f"{result.site}: nights of a replay", subtitle, nights, tuple(footer))


def to_plain(data: YearChart) -> dict[str, Any]:
    """Return a calendar as plain types."""
    return {
        "kind": data.kind,
        "title": data.title,
        "subtitle": data.subtitle,
        "nights": [[night.isoformat(), mark.value] for night, mark in data.nights],
        "footer": list(data.footer),
    }


def from_plain(plain: Mapping[str, Any]) -> YearChart:
    """Return the calendar that `to_plain` wrote. Raise KeyError, TypeError or ValueError."""
    nights = tuple((date.fromisoformat(night), NightMark(mark)) for night, mark in plain["nights"])
    return YearChart(plain["title"], plain["subtitle"], nights, tuple(plain["footer"]))
