"""What `sillward skill` prints: how good the forecasts have been at the spots with thermometers."""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from sillward.charts.data import SkillChart, SourceLine
from sillward.errors import one_line
from sillward.forecast.store import ForecastStore
from sillward.readings.read_nights import thermometers
from sillward.reports.json_encoding import plain
from sillward.text.columns import PIPE, Cell, Column, Mark, Screen, table
from sillward.text.units import fixed
from sillward.wording.voice import Voice
from sillward_rules.plants.collection import Collection
from sillward_rules.readings.skill import (
    DAYS,
    ENOUGH_NIGHTS,
    LEAST_NIGHTS,
    TOLD_RANGE,
    Comparison,
    LeadSkill,
    Skill,
)
from sillward_rules.readings.skill import skill as skill_of
from sillward_rules.scores import MeanDifference
from sillward_rules.weather.uncertainty import USUAL_ERROR_K

MAX_NAMED = 3
"""Spots that are named before they are counted."""

MAX_NAME = 34
"""Characters of a name in a picture."""


@dataclass(frozen=True, slots=True)
class SkillReport:
    """How good forecasts have been, and of what.

    Args:
        spots: outdoors, with readings.
        nights: dates of the evenings that were read and told, in order.
        in_use: the source that is asked first.
        keys: the keys of the sources in the settings, by the sources' names.
    """

    site: str
    spots: Sequence[str]
    nights: Sequence[date]
    in_use: str
    keys: Mapping[str, str]
    skill: Skill


def report_of(collection: Collection, store: ForecastStore, keys: Mapping[str, str]) -> SkillReport:
    """Return how good forecasts have been at the spots of a collection.

    keys: the keys of the sources in the settings, by their names; the one in use first.
    """
    site, ledger = collection.site, store.ledger
    in_use, *_ = keys
    names = list(dict.fromkeys([in_use, *ledger.nights.sources(site.name)]))
    spots, read = thermometers(ledger, collection, names, store.here_since(site))
    told = {name: store.past_lows(site, name) for name in names}
    both = {night for lows in told.values() for night in lows.night.tolist()}
    nights = [date.fromordinal(night) for night in read.night.tolist() if night in both]
    return SkillReport(site.label, spots, nights, in_use, keys, skill_of(told, read))


# -- for machines


def document(report: SkillReport) -> dict[str, Any]:
    """Return the skill as plain types; differences in K."""
    skill = report.skill
    return {
        "schema": 1,
        "site": report.site,
        "spots": list(report.spots),
        "nights": len(report.nights),
        "first": report.nights[0].isoformat() if report.nights else None,
        "last": report.nights[-1].isoformat() if report.nights else None,
        "in_use": report.in_use,
        "better": None if skill.better is None else skill.better.other,
        "skill": [_row_document(row) for row in skill.rows],
        "compared": [_comparison_document(found) for found in skill.comparisons],
    }


def _row_document(row: LeadSkill) -> dict[str, Any]:
    return {
        "source": row.source,
        "day": row.day,
        "nights": row.nights,
        "bias_k": plain(row.bias_k, 3),
        "mae_k": plain(row.mae_k, 3),
        "rmse_k": plain(row.rmse_k, 3),
        "crps_k": plain(row.crps_k, 3),
        "within_80": plain(row.within, 3),
        "within_80_low": _of_range(row.range_off, "low"),
        "within_80_high": _of_range(row.range_off, "high"),
    }


def _of_range(off: MeanDifference | None, end: str) -> float | None:
    """Return an end of the interval of the share within the told range."""
    return None if off is None else plain(min(max(TOLD_RANGE + getattr(off, end), 0.0), 1.0), 3)


def _comparison_document(found: Comparison) -> dict[str, Any]:
    better = found.better_k
    return {
        "source": found.source,
        "other": found.other,
        "day": found.day,
        "nights": better.pairs,
        "other_better_by_k": plain(better.mean, 3),
        "low_k": plain(better.low, 3),
        "high_k": plain(better.high, 3),
        "clear": better.is_clear,
    }


# -- as a picture


def chart(report: SkillReport, voice: Voice) -> SkillChart:
    """Return the chart of the skill; there are rows."""
    skill = report.skill
    clear = {(found.other, found.day) for found in skill.comparisons if found.better_k.is_clear}
    lines = []
    for name in dict.fromkeys(row.source for row in skill.rows):
        rows = [row for row in skill.rows if row.source == name]
        lines.append(
            SourceLine(
                one_line(name, MAX_NAME),
                name == report.in_use,
                tuple(row.day for row in rows),
                tuple(row.mae_k for row in rows),
                tuple(row.bias_k for row in rows),
                tuple((name, row.day) in clear for row in rows),
            )
        )
    of_spots = voice.names([one_line(spot, MAX_NAME) for spot in report.spots], MAX_NAMED)
    return SkillChart(
        f"{one_line(report.site, MAX_NAME)}: how good forecasts of the low are",
        f"{_nights(len(report.nights))} at {of_spots}, {_span(report)}",
        tuple(lines),
        tuple(sd_k * _MEAN_SIZE for sd_k in USUAL_ERROR_K),
        _FOOTER,
        voice.units,
    )


_MEAN_SIZE = (2 / math.pi) ** 0.5
"""Mean size of a Gaussian error, as a share of its standard deviation."""

_FOOTER = (
    "error: without the bias, which is of the spots and the source together",
    "filled mark: clearly different from the source in use",
    "usual: what is assumed without readings",
)

# -- for people

_COLUMNS = (
    Column(),
    *(Column(right=True, fixed=True) for _ in range(7)),
)


def text(report: SkillReport, voice: Voice, screen: Screen = PIPE) -> str:
    """Return what was found: first in words, then by source and day ahead, then what it means."""
    skill = report.skill
    if not skill.rows:
        return "\n".join(screen.lines(_nothing(report)))
    spots = voice.names(report.spots, MAX_NAMED)
    head = f"{report.site}: forecasts of the low against the thermometer at {spots}"
    lines = [*screen.lines(head), *screen.lines(f"{_nights(len(report.nights))}, {_span(report)}")]
    lines.append("")
    for line, mark in _words(report, voice):
        lines += screen.lines(line, mark)
    lines += ["", f"in {voice.units.temperature}, by night ahead"]
    lines += table([_HEAD, *_table_rows(skill, voice)], _COLUMNS, screen)
    lines.append("")
    for line in _MEANINGS:
        lines += screen.lines(line)
    return "\n".join(lines)


def _nothing(report: SkillReport) -> str:
    if not report.spots:
        return f"{report.site}: no spot outdoors has readings yet; enter one with sillward read"
    told = len(report.nights)
    return (
        f"{report.site}: {_nights(told)} read and told so far; from {LEAST_NIGHTS} on at one spot "
        "there is something to say"
    )


def _words(report: SkillReport, voice: Voice) -> Iterator[tuple[str, Mark | None]]:
    """Yield what a grower wants to know, a line each."""
    skill = report.skill
    first = next((row for row in skill.rows if row.source == report.in_use), None)
    if first is not None:
        size = voice.kelvins(first.mae_k)
        yield f"{first.source}, in use: the first night is off by {size} on average", None
        yield from _range_words(first)
    else:
        yield f"{report.in_use}, in use: not enough nights yet", None
    better = skill.better
    for found in skill.comparisons:
        if found.day == DAYS[0]:
            yield from _compared(found, report, voice, best=found is better)
    compared = {found.other for found in skill.comparisons}
    others = dict.fromkeys(row.source for row in skill.rows if row.source != report.in_use)
    for other in others:
        if other not in compared:
            yield f"{other}: compared from {ENOUGH_NIGHTS} nights on that both have told", None


def _compared(
    found: Comparison, report: SkillReport, voice: Voice, *, best: bool
) -> Iterator[tuple[str, Mark | None]]:
    """Yield how another source compares with the one in use on the first night."""
    better = found.better_k
    nights = _nights(better.pairs)
    if not better.is_clear:
        most = voice.kelvins(max(abs(better.low), abs(better.high)))
        yield (
            f"{found.other}: no clear difference in {nights}; at most {most} either way",
            None,
        )
        return
    ends = sorted((abs(better.low), abs(better.high)))
    low, high = (voice.kelvins(end) for end in ends)
    size, which = voice.kelvins(abs(better.mean)), "less" if better.mean > 0 else "more"
    line = f"{found.other}: off by {size} {which} on the first night (by {low} to {high}, {nights})"
    if not best:
        yield line, None
        return
    yield line, Mark.OK
    setting = _setting(report, found.other)
    yield f"  it is better here; to use it first (docs/service.md, Settings): {setting}", Mark.OK


def _setting(report: SkillReport, better: str) -> str:
    """Return the setting that would put a source first."""
    keys = [key for name, key in report.keys.items() if name != better]
    if better not in report.keys:
        return "put it first in SILLWARD_FORECAST__SOURCE"
    return f"SILLWARD_FORECAST__SOURCE={','.join([report.keys[better], *keys])}"


def _range_words(row: LeadSkill) -> Iterator[tuple[str, Mark | None]]:
    """Yield whether the told range is too narrow or too wide, if that is clear."""
    off = row.range_off
    if off is None or not off.is_clear:
        return
    came, which = fixed(100 * row.within, 0), "narrow" if off.mean < 0 else "wide"
    yield (
        f"  its stated range is too {which}: {came} nights of 100 fell within it, not 80",
        Mark.TROUBLE if off.mean < 0 else None,
    )


_HEAD = ("source", "night", "nights", "bias", "error", "RMSE", "CRPS", "in range")


def _table_rows(skill: Skill, voice: Voice) -> Iterator[tuple[Cell, ...]]:
    """Yield a row for each source and night ahead, without units."""
    before = None
    for row in skill.rows:
        bias, *sizes = (
            voice.units.difference(value)[0]
            for value in (row.bias_k, row.mae_k, row.rmse_k, row.crps_k)
        )
        yield (
            "" if row.source == before else row.source,
            str(row.day),
            str(row.nights),
            f"{round(bias, 1) + 0.0:+.1f}",
            *(fixed(size, 1) for size in sizes),
            f"{fixed(100 * row.within, 0)} %",
        )
        before = row.source


_MEANINGS = (
    "night: 1 is the night after the afternoon of the forecast",
    "nights: told so long ahead and read; not those of a thermometer with fewer than "
    f"{LEAST_NIGHTS} nights in its place, as after it was moved",
    "bias: told too warm (+) or too cold (-), of the spots and the source together; readings "
    "cannot tell which of the two it is, and it is taken away from what follows",
    "error: mean size of what is left; RMSE: the same with large errors counting more; CRPS: the "
    "error with its told range; for all three, less is better",
    "in range: nights whose low came within the range that was told for 80 of 100",
)


def _span(report: SkillReport) -> str:
    first, last = (f"{night:%d %b %Y}" for night in (report.nights[0], report.nights[-1]))
    return f"{first} to {last}"


def _nights(count: int) -> str:
    return "1 night" if count == 1 else f"{count} nights"
