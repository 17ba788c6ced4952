"""What `sillward season` prints: when nights turn cold and safe again, by past years."""

import math
from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from typing import Any

from sillward.reports.replay import notes
from sillward.text.columns import PIPE, Cell, Column, Mark, Screen, table
from sillward.text.units import fixed
from sillward.wording.voice import Voice
from sillward_rules.replay.records import as_json
from sillward_rules.replay.season import (
    ENOUGH_YEARS,
    LimitOutlook,
    MissingNights,
    Safe,
    SeasonOutlook,
    Turn,
)
from sillward_rules.weather.year_day import YearDay

MAX_NAMED = 3
"""Plants that are named before they are counted."""

Walks = Mapping[int, float]
"""How many walks of carrying are expected in each month of the year."""

_DATES = (*(Column(fixed=True) for _ in range(4)), Column(right=True, fixed=True))
_MONTHS = "JFMAMJJASOND"

# -- for machines


def document(
    outlook: SeasonOutlook, site: str, walks: Walks | None, remarks: Sequence[str]
) -> dict[str, Any]:
    """Return the outlook as plain types; days of the calendar are written as "11-14".

    walks: expected in each month, if they were worked out.
    """
    return {
        "schema": 1,
        "site": site,
        "first": outlook.first.isoformat(),
        "last": outlook.last.isoformat(),
        "cut": _written(outlook.cut),
        "limits": [_limit_document(limit) for limit in outlook.limits],
        "missing": as_json(outlook.missing),
        "walks_by_month": None if walks is None else [as_json(walks[n]) for n in range(1, 13)],
        "remarks": list(remarks),
    }


def _limit_document(found: LimitOutlook) -> dict[str, Any]:
    return {
        "spot": found.limit.spot,
        "limit_c": found.limit.limit_c,
        "rest_limit_c": found.limit.rest_limit_c,
        "plants": list(found.plants),
        "safe": found.safe.value,
        "safe_from": _written(found.safe_from),
        "safe_until": _written(found.safe_until),
        "first": _turn_document(found.first),
        "last": _turn_document(found.last),
        "nights_by_month": as_json(found.by_month),
        "seasons": as_json(found.seasons),
    }


def _turn_document(turn: Turn) -> dict[str, Any]:
    return {
        "one_of_ten": _written(turn.early),
        "median": _written(turn.median),
        "nine_of_ten": _written(turn.late),
        "years": turn.years,
        "years_without": turn.without,
    }


def _written(day: YearDay | None) -> str | None:
    return None if day is None else f"{day.month:02}-{day.day:02}"


# -- for people


def text(
    outlook: SeasonOutlook,
    site: str,
    walks: Walks | None,
    voice: Voice,
    remarks: Sequence[str],
    screen: Screen = PIPE,
) -> str:
    """Return the outlook: what is safe first, then the dates, then the months."""
    head = f"{site}: nights from {_date(outlook.first)} to {_date(outlook.last)}"
    lines = screen.lines(head)
    for note in _notes(outlook):
        lines += screen.lines(f"! {note}", Mark.TROUBLE)
    if not outlook.limits:
        lines += screen.lines("No plant that lives outdoors has a night limit.")
    for limit in outlook.limits:
        lines += ["", *_block(limit, voice, screen)]
    lines += _months(outlook, walks, voice, screen)
    return "\n".join([*lines, *notes(remarks, screen)])


def _notes(outlook: SeasonOutlook) -> Iterator[str]:
    """Yield what limits the outlook as a whole: few years, and missing nights."""
    if outlook.limits and outlook.years < ENOUGH_YEARS:
        yield (
            f"{_years(outlook.years)} of nights: too few for odds, which take ten or more; the "
            "dates for one year of ten are the earliest and the latest so far"
        )
    if outlook.missing:
        named = ", ".join(map(_missing, outlook.missing[:4]))
        more = f" and {len(outlook.missing) - 4} more seasons" if len(outlook.missing) > 4 else ""
        yield (
            f"nights are missing: {named}{more}; such a season counts only where they cannot matter"
        )


def _missing(missing: MissingNights) -> str:
    if missing.nights == 1:
        return _date(missing.first)
    return f"{missing.nights} from {_date(missing.first)} to {_date(missing.last)}"


def _block(found: LimitOutlook, voice: Voice, screen: Screen) -> list[str]:
    """Return the safe part of the year for a limit, and its first and last nights by chance."""
    limit = found.limit
    rest = "" if limit.rest_limit_c is None else f", at rest {voice.bound(limit.rest_limit_c)}"
    names = voice.names(found.plants, MAX_NAMED)
    lines = screen.lines(f"{limit.spot}, limit {voice.bound(limit.limit_c)}{rest}: {names}")
    words, mark = _safe(found)
    lines += screen.lines(f"  {words}", mark)
    if not found.first.years and not found.last.years:
        return lines
    if found.first.without == found.first.years and found.last.without == found.last.years:
        return [*lines, *screen.lines(f"  no night under it in {_years(found.first.years)}")]
    rows: list[tuple[Cell, ...]] = [("", "1 in 10", "median", "9 in 10", "years")]
    for label, turn in (("first cold", found.first), ("last cold", found.last)):
        days = [_day(day) if turn.years else "?" for day in (turn.early, turn.median, turn.late)]
        rows.append((label, *days, str(turn.years)))
    lines += table(rows, _DATES, screen, indent=2)
    if found.first.without:
        without = f"{found.first.without} of {_years(found.first.years)}"
        lines += screen.lines(f"  none: no night under the limit, as in {without}")
    return lines


def _safe(found: LimitOutlook) -> tuple[str, Mark | None]:
    years = min(found.first.years, found.last.years)
    enough = found.first.enough and found.last.enough
    often = "in nine years out of ten" if enough else f"in {_all(years)}"
    if found.safe is Safe.ALL_YEAR:
        return f"nights are safe all year, {often}", Mark.OK
    if found.safe_from is not None and found.safe_until is not None:
        last = YearDay.numbered(found.safe_until.number - 1)
        return f"nights are safe from {_day(found.safe_from)} to {_day(last)}, {often}", Mark.OK
    if found.safe is Safe.NEVER:
        return f"there is no time of the year that is safe {often}", Mark.COLD
    known = (
        f"{what} cold night is known of {_years(turn.years) if turn.years else 'no year'}"
        for what, turn in (("the first", found.first), ("the last", found.last))
    )
    return f"when nights are safe is not known: {', '.join(known)}", Mark.TROUBLE


def _months(
    outlook: SeasonOutlook, walks: Walks | None, voice: Voice, screen: Screen
) -> Iterator[str]:
    """Yield the nights under each limit by month, the cold season in the middle, and the walks."""
    order = [(outlook.cut.month + number - 1) % 12 for number in range(12)]
    spots = dict.fromkeys(found.limit.spot for found in outlook.limits)
    for spot in spots:
        there = [found for found in outlook.limits if found.limit.spot == spot]
        labels = [voice.bound(found.limit.limit_c) for found in there]
        width = max(map(len, labels))
        yield ""
        yield from screen.lines(f"nights under the limit in a month, {spot}")
        yield f"  {'':{width}}{''.join(f'{_MONTHS[month]:>3}' for month in order)}"
        for label, found in zip(labels, there, strict=True):
            cells = "".join(f"{_nights(found.by_month[month]):>3}" for month in order)
            yield f"  {label:>{width}}{cells}"
    if walks is None:
        return
    named = [
        f"{YearDay(month + 1, 1).in_year(2001):%b} {fixed(walks[month + 1], 0)}"
        for month in order
        if walks[month + 1] >= 0.5
    ]
    total = sum(walks.values())
    yield ""
    whole = "" if math.isnan(total) else f"; {fixed(total, 0)} a year"
    yield from screen.lines(
        "walks expected, in and out, if every forecast came true: "
        f"{', '.join(named) or 'none'}{whole}"
    )


def _nights(mean: float) -> str:
    """Return a mean number of nights in two characters."""
    if math.isnan(mean):
        return "?"
    return "." if mean == 0 else "<1" if mean < 0.5 else f"{math.floor(mean + 0.5)}"


def _day(day: YearDay | None) -> str:
    return "none" if day is None else f"{day.in_year(2001):%d %b}"


def _date(day: date) -> str:
    return f"{day:%d %b %Y}"


def _years(count: int) -> str:
    return "1 year" if count == 1 else f"{count} years"


def _all(years: int) -> str:
    return "the one known year" if years == 1 else f"all {years} known years"
