"""What `sillward replay` prints: how the daily tool would have done in past weather.

Counts are of plants night by night: two plants that are missed in one night are two.
"""

from collections.abc import Iterator, Mapping, Sequence
from datetime import date, timedelta
from itertools import groupby
from typing import Any

from sillward.charts.data.year import MEANINGS, NightMark, months_of
from sillward.text.columns import PIPE, Cell, Column, Mark, Marked, Screen, table
from sillward.text.units import fixed
from sillward.wording.voice import Voice
from sillward_rules.replay import summary
from sillward_rules.replay.records import (
    DEEP_K,
    Cause,
    Exposure,
    NearMiss,
    NightRecord,
    ReplayResult,
    Warned,
    as_json,
)
from sillward_rules.replay.summary import SHALLOW_K, Totals
from sillward_rules.weather.site import Site
from sillward_rules.weather.uncertainty import percent

MAX_WORST = 5
"""Exposures that are told one by one. Judgement: as many as one remembers."""

MAX_NEAR = 2
"""Nights that are told of those that went well, in each list. Judgement: as above."""

NIGHTS_OF_YEAR = 365.25

MAX_NAMED = 2
"""Plants that a line names before it counts."""

MAX_MONTHS = 26
"""Up to so many months, each has a line with a letter for each night. Judgement: a screen."""

_CAUSES: Mapping[Cause, str] = {
    Cause.MISSED: "not asked in",
    Cause.LATE: "asked in too late",
    Cause.OUT_TOO_EARLY: "let out again too early",
    Cause.NOT_DONE: "asked in, not carried",
    Cause.NO_COVER: "no cover that is warm enough",
}

_WARNED: Mapping[Warned, str] = {
    Warned.NOTHING: "",
    Warned.CLOSE_CALL: ", named as a close call",
    Warned.DIP_BORNE: ", named as a dip that it can take",
}

_LABELLED = (Column(fixed=True), Column())
"""A label, and what is said about it."""

# -- for machines


def document(result: ReplayResult, site: Site, remarks: Sequence[str]) -> dict[str, Any]:
    """Return a replay as plain types: every night, and what all of them come to.

    remarks: what is to be said of the past weather.
    """
    return {"schema": 1, **result_document(result, site), "remarks": list(remarks)}


def result_document(result: ReplayResult, site: Site) -> dict[str, Any]:
    """Return what one replay found; times are in the site's zone."""
    plain: dict[str, Any] = as_json(result, site.zone)
    nights = plain.pop("nights")
    return plain | {
        "totals": as_json(summary.totals(result.nights)),
        "by_month": as_json(summary.by_month(result.nights)),
        "harm_by_plant": as_json(summary.harm_by_plant(result.nights)),
        "reliability": as_json(summary.reliability(result.nights)),
        "nights": nights,
    }


# -- for people


def text(result: ReplayResult, voice: Voice, remarks: Sequence[str], screen: Screen = PIPE) -> str:
    """Return a replay as a summary that is read in a minute."""
    lines = head(result, voice, screen)
    if not result.nights:
        return "\n".join(lines)
    totals = summary.totals(result.nights)
    whole = (result.last - result.first).days + 1
    rows = [*_rows(totals, whole, voice), *_alarms(result, totals, voice)]
    lines += ["", *table(rows, _LABELLED, screen)]
    lines += screen.lines("Plants are counted night by night: one on two nights is two.")
    for title, told in (
        ("what suffered most", _worst(result.nights, voice)),
        ("what came closest outside", _narrowest(result.nights, voice)),
        ("what cover saved", _saved(result.nights, voice)),
    ):
        if told:
            lines += ["", title]
            for line in told:
                lines += screen.lines(f"  {line}")
    lines += ["", *_calendar(result.nights, screen), *notes(remarks, screen)]
    return "\n".join(lines)


def head(result: ReplayResult, voice: Voice, screen: Screen) -> list[str]:
    """Return what was replayed, and how far it came."""
    whole = span(result.first, result.last, voice)
    lines = screen.lines(f"{result.site}, {whole}: {plants(result.plants)}")
    lines += screen.lines(forecasts(result, voice))
    if not result.complete:
        count = (result.last - result.first).days + 1
        spans = [span(first, last, voice) for first, last in _spans(result.nights)]
        there = f": {', '.join(spans)}" if spans else ""
        told = f"interrupted: {number(len(result.nights))} of {number(count)} nights{there}"
        lines += screen.lines(told, Mark.TROUBLE)
    return lines


def notes(remarks: Sequence[str], screen: Screen) -> list[str]:
    """Return what is to be said of the past weather."""
    lines = [""] if remarks else []
    for remark in remarks:
        lines += screen.lines(f"note: {remark}")
    return lines


def forecasts(result: ReplayResult, voice: Voice) -> str:
    """Return what forecasts the tool had, and the seed of their errors."""
    seed = "" if result.seed is None else f" (--seed {result.seed})"
    return voice.retold(result.forecasts) + seed


def day_and_year(day: date, voice: Voice) -> str:
    """Return a date as "Thu 14 May 2026"."""
    return f"{voice.day(day)} {day.year}"


def number(value: float) -> str:
    """Return a count as "1,204"."""
    return f"{value:,.0f}"


def _spans(nights: Sequence[NightRecord]) -> list[tuple[date, date]]:
    """Return the first and the last date of nights in a row."""
    spans: list[tuple[date, date]] = []
    for night in nights:
        if spans and night.night == spans[-1][1] + timedelta(days=1):
            spans[-1] = spans[-1][0], night.night
        else:
            spans.append((night.night, night.night))
    return spans


def span(first: date, last: date, voice: Voice) -> str:
    """Return two dates as "Sun 01 Jun 2025 to Sun 31 May 2026"; one for the same date twice."""
    days = dict.fromkeys(day_and_year(day, voice) for day in (first, last))
    return " to ".join(days)


def _rows(totals: Totals, whole: int, voice: Voice) -> Iterator[tuple[Cell, Cell]]:
    """Yield the lines of the summary, each a label and what is said about it.

    whole: the nights that were asked for.
    """
    few = "" if totals.nights == whole else f" of {number(whole)} only"
    away = f", {number(totals.away)} of them away" if totals.away else ""
    yield "nights", f"{number(totals.nights)}{few}{away}"
    yield "walks", f"{number(totals.walks)}, in and out; {_of(totals.needless_walks)}"
    yield "carried in", f"{plants(totals.carried_in)}, {_of(totals.needless_carried)}"
    yield "carried out", plants(totals.carried_out)
    pushes, corrections = totals.pushes / max(1, totals.nights), totals.corrections
    share = fixed(100 * (totals.corrected_share or 0.0), 1)
    on_nights = f", on {share} % of nights" if corrections else ""
    yield (
        "messages",
        f"{fixed(pushes, 1)} a day; {counted(corrections, 'correction')}{on_nights}",
    )
    yield "needed cover", f"{plants(totals.needed)}; {number(totals.covered)} had it the whole time"
    yield "missed", _missed(totals, voice)
    kept = ""
    if totals.deadlines:
        share_pct = 100 * (totals.deadline_kept or 0.0)
        share = fixed(share_pct, int(share_pct < 100))
        kept = f"; {share} % of {number(totals.deadlines)} deadlines kept"
    yield "told too late", _trouble(totals.late, kept)
    yield "out too early", _trouble(totals.out_too_early)
    if totals.not_done:
        yield "not carried", _trouble(totals.not_done)
    if totals.no_cover:
        yield "cover too cold", _trouble(totals.no_cover)
    yield "under the limit", f"{number(totals.hours_under)} plant-hours"
    yield "harm", f"{fixed(totals.harm, 2)}, where 1 is a plant that lost leaves"
    if totals.unjudged:
        yield "not judged", f"{plants(totals.unjudged)}: too little is known of the weather"


def _alarms(result: ReplayResult, totals: Totals, voice: Voice) -> Iterator[tuple[Cell, Cell]]:
    """Yield what thermometers at the spots would have called in, if there were any."""
    if not result.sensors:
        return
    where = voice.names(result.sensors, MAX_NAMED)
    years = totals.nights / NIGHTS_OF_YEAR
    a_year = f", {fixed(totals.false_alarms / years, 1)} a year" if totals.false_alarms else ""
    yield "thermometers", f"{where}, read every hour of the night"
    yield "alarms", f"{number(totals.alarms)}; {_of(totals.false_alarms)}{a_year}"
    deep = voice.kelvins(DEEP_K)
    if not totals.deep_left:
        yield "without them", Marked(f"no plant left to fall {deep} under its limit", Mark.OK)
        return
    late = totals.deep_left - totals.caught - totals.eased
    parts = (
        (totals.caught, "called in before that"),
        (totals.eased, "before the coldest hour"),
        (late, "too late or not at all"),
    )
    told = ", ".join(f"{number(count)} {how}" for count, how in parts if count)
    yield "without them", f"{plants(totals.deep_left)} left to fall {deep} under its limit: {told}"


def _of(needless: int) -> str:
    return f"{number(needless) if needless else 'none'} for nothing"


def _missed(totals: Totals, voice: Voice) -> Cell:
    """Return the misses by depth, and those of which nothing at all was said."""
    if not totals.misses:
        return Marked("none", Mark.OK)
    half, deep = voice.kelvins(SHALLOW_K), voice.kelvins(DEEP_K)
    by_depth = (
        (totals.shallow, f"by less than {half}"),
        (totals.half_k, f"by {half} to {deep}"),
        (totals.deep, f"by {deep} or more"),
        (totals.unwarned, "not even mentioned"),
    )
    parts = [f"{number(count)} {how}" for count, how in by_depth if count]
    return Marked(f"{plants(totals.misses)}: {', '.join(parts)}", Mark.TROUBLE)


def _trouble(count: int, more: str = "") -> Cell:
    return Marked(f"{plants(count)}{more}", Mark.TROUBLE) if count else f"none{more}"


def plants(count: int) -> str:
    """Return "1 plant" or "1,204 plants"."""
    return counted(count, "plant")


def counted(count: int, one: str) -> str:
    """Return "1 walk" or "12 walks"."""
    return f"{number(count)} {one}{'' if count == 1 else 's'}"


# -- single nights


def _worst(nights: Sequence[NightRecord], voice: Voice) -> list[str]:
    return [
        f"{day_and_year(night, voice)}: {_exposure(exposure, voice)}"
        for night, exposure in summary.worst(nights, MAX_WORST)
    ]


def _exposure(exposure: Exposure, voice: Voice) -> str:
    hours = fixed(exposure.hours, 1)
    low = voice.beside(exposure.low_c, exposure.limit_c)
    odds = "" if exposure.chance is None else percent(exposure.chance)
    chance = f"; the forecast gave it a chance of {odds}" if odds else ""
    return (
        f"{voice.names(exposure.plants, MAX_NAMED)}, {exposure.spot}: {low}, "
        f"limit {voice.bound(exposure.limit_c)}, for {hours} h; {_CAUSES[exposure.cause]}"
        f"{_WARNED[exposure.warned]}{chance}"
    )


def _narrowest(nights: Sequence[NightRecord], voice: Voice) -> list[str]:
    return [
        f"{day_and_year(night, voice)}: {_near_miss(near, voice)}, "
        f"{voice.kelvins(near.margin_k)} above it"
        for night, near in summary.narrowest(nights, MAX_NEAR)
    ]


def _saved(nights: Sequence[NightRecord], voice: Voice) -> list[str]:
    return [
        f"{day_and_year(night, voice)}: {_near_miss(near, voice)}, "
        f"{voice.kelvins(-near.margin_k)} under it"
        for night, near in summary.saved(nights, MAX_NEAR)
    ]


def _near_miss(near: NearMiss, voice: Voice) -> str:
    low = voice.beside(near.low_c, near.limit_c)
    names = voice.names(near.plants, MAX_NAMED)
    return f"{names}, {near.spot}: {low}, limit {voice.bound(near.limit_c)}"


# -- the calendar

_COLOURS: Mapping[NightMark, Mark] = {
    NightMark.MISSED: Mark.TROUBLE,
    NightMark.LATE: Mark.TROUBLE,
    NightMark.NOT_DONE: Mark.TROUBLE,
    NightMark.NO_COVER: Mark.TROUBLE,
    NightMark.IN: Mark.COLD,
}

_YEAR_COLUMNS = (Column(fixed=True), *(Column(right=True, fixed=True) for _ in range(6)))


def _calendar(nights: Sequence[NightRecord], screen: Screen) -> list[str]:
    """Return a line of letters for each month; of many years a line of numbers for each."""
    months = months_of(nights)
    if len(months) > MAX_MONTHS:
        return _years(nights, screen)
    walks = {month: totals.walks for month, totals in summary.by_month(nights).items()}
    lines = [f"{'':7}  {'1   5    10   15   20   25   30':<31}  walks"]
    for month, marks in months.items():
        strip = ""
        for mark, run in groupby(marks.get(day) for day in range(1, 32)):
            letters = (mark.value if mark else " ") * len(list(run))
            strip += screen.painted(letters, _COLOURS.get(mark) if mark else None)
        lines.append(f"{month}  {strip}  {number(walks[month]):>5}")
    used = {mark for marks in months.values() for mark in marks.values()}
    for mark, meaning in MEANINGS.items():
        if mark in used:
            lines += screen.lines(f"  {mark.value}  {meaning}")
    return lines


def _years(nights: Sequence[NightRecord], screen: Screen) -> list[str]:
    rows: list[tuple[Cell, ...]] = [("year", "nights", "in", "walks", "idle", "missed", "hours")]
    for year, of_year in groupby(nights, lambda night: night.night.year):
        totals = summary.totals(list(of_year))
        missed = number(totals.misses)
        rows.append(
            (
                str(year),
                number(totals.nights),
                number(totals.carried_in),
                number(totals.walks),
                number(totals.needless_walks),
                Marked(missed, Mark.TROUBLE) if totals.misses else missed,
                number(totals.hours_under),
            )
        )
    note = "in: plants carried in; idle: walks for nothing; hours: plant-hours under the limit"
    return [*table(rows, _YEAR_COLUMNS, screen), *screen.lines(note)]
