"""A sheet in full, for the terminal and for mail: every chore, every plant, every number."""

from collections.abc import Iterator
from textwrap import fill

from sillward.notices import phrases
from sillward.notices.short import mist_advice
from sillward_rules.chore import Chore, ChoreKind, Reason
from sillward_rules.planners.outlook import Outlook
from sillward_rules.sheet import Round, Sheet
from sillward_rules.site import Site

WIDTH = 78

_HEADINGS = {
    ChoreKind.CARRY_IN: "Carry in",
    ChoreKind.CARRY_OUT: "Carry out",
    ChoreKind.MIST: "Mist",
    ChoreKind.FEED: "Feed",
    ChoreKind.STOP_WETTING: "No wet crowns",
    ChoreKind.STAY_IN: "Stay in",
}

_NOTHING = {
    Round.DUSK: "Nothing to carry in tonight.",
    Round.MORNING: "Nothing to carry or mist today.",
    Round.WEEK: "No carrying in this week.",
}

CAUTION = (
    "A forecast is no promise, and these are no guarantees: look at your plants and at your own "
    "thermometer, and decide yourself."
)


def text(sheet: Sheet, site: Site, attribution: str) -> str:
    """The whole sheet as plain text, at most 78 characters wide."""
    return "\n".join(_wrapped(line) for line in _lines(sheet, site, attribution)).rstrip() + "\n"


def _wrapped(line: str) -> str:
    if len(line) <= WIDTH:
        return line
    indent = len(line) - len(line.lstrip()) + 2
    return fill(line, WIDTH, subsequent_indent=" " * indent, break_on_hyphens=False)


def _lines(sheet: Sheet, site: Site, attribution: str) -> Iterator[str]:
    local = sheet.at.astimezone(site.zone)
    yield f"{sheet.site}: {sheet.round.value} round, {local:%A %d %B %Y, %H:%M}"
    yield ""
    if sheet.outlook is not None:
        yield from _outlook(sheet.outlook)
    if not any(chore.kind is not ChoreKind.STOP_WETTING for chore in sheet.chores):
        yield from (_NOTHING[sheet.round], "")
    for kind, heading in _HEADINGS.items():
        of_kind = [chore for chore in sheet.chores if chore.kind is kind]
        if of_kind and sheet.round is not Round.WEEK:
            yield heading.upper()
            for chore in of_kind:
                yield from _chore(chore, sheet, site)
            yield ""
    if sheet.round is Round.WEEK and sheet.chores:
        yield "CARRY IN"
        yield from (_week_line(chore, sheet, site) for chore in sheet.chores)
        yield ""
    if sheet.warnings:
        yield "WATCH OUT"
        yield from (f"  {text}" for text in sheet.warnings)
        yield ""
    if sheet.assumptions:
        yield "TAKEN FOR GRANTED"
        yield from (f"  {text}" for text in sheet.assumptions)
        yield ""
    yield f"Forecast: {sheet.source}, {phrases.age(sheet.age)}. {attribution}."
    yield CAUTION


def _chore(chore: Chore, sheet: Sheet, site: Site) -> Iterator[str]:
    yield f"  {_head(chore, sheet, site)}  [{chore.id}]"
    width = max(len(name) for name in chore.plants)
    for reason in chore.because:
        yield f"      {reason.plant:<{width}}  {_because(reason, chore, site)}"


def _head(chore: Chore, sheet: Sheet, site: Site) -> str:
    now = sheet.at
    before = phrases.clock(chore.before, now, site)
    start = phrases.clock(chore.not_before, now, site) if chore.not_before else None
    way = f"{chore.from_spot} > {chore.to_spot}"
    count = phrases.plants(len(chore.plants))
    if chore.kind is ChoreKind.CARRY_IN:
        when = "now" if before == "now" else f"by {before}"
        return f"{when}  {way}  {count}"
    if chore.kind is ChoreKind.CARRY_OUT:
        return f"{'now' if start == 'now' else f'from {start}'}  {way}  {count}"
    if chore.kind is ChoreKind.STAY_IN:
        until = "tonight" if start is None else f"{chore.before.astimezone(site.zone):%a %d %b}"
        return f"{until}  {chore.from_spot}  {count}"
    if chore.kind is ChoreKind.STOP_WETTING:
        until = "all day" if phrases.no_wetting(chore) else f"after {before}"
        return f"{until}  {chore.from_spot}  {count}"
    if chore.kind is ChoreKind.FEED:
        return f"{start}-{phrases.hour(chore.before, site)}  {chore.from_spot}  {count}; weak feed"
    feeds = [one for one in sheet.chores if one.kind is ChoreKind.FEED]
    advice = mist_advice(chore, feeds)
    return f"{start}-{phrases.hour(chore.before, site)}  {chore.from_spot}  {count}{advice}"


def _because(reason: Reason, chore: Chore, site: Site) -> str:
    at = phrases.hour(reason.at, site)
    whose = f" ({reason.origin.split(':')[0]})" if reason.origin else ""
    if chore.kind is ChoreKind.FEED:
        if reason.value is None:
            return "rinse before it dries"
        return f"rinse with plain water within {reason.value:.0f} min"
    if reason.quantity == "film life":
        if reason.value is None:
            return "the film outlasts the day"
        return f"film gone in {reason.value:.0f} min at {at}; wants {phrases.limit(reason)}"
    if reason.quantity == "crown drying time":
        took = "longer than the day" if reason.value is None else f"{reason.value:.1f} h"
        return f"crown dries in {took} at {at}; {reason.limit:.1f} h are left{whose}"
    if reason.value is None:
        return f"night not known, treated as cold; limit {phrases.limit(reason)}{whose}"
    word = "up to " if chore.kind in (ChoreKind.CARRY_OUT, ChoreKind.STAY_IN) else ""
    if chore.kind is ChoreKind.STAY_IN and chore.not_before is None:
        word = "outside "
    return (
        f"{reason.quantity} {word}{phrases.number(reason)} at {at}, "
        f"limit {phrases.limit(reason)}{whose}"
    )


def _week_line(chore: Chore, sheet: Sheet, site: Site) -> str:
    local = chore.before.astimezone(site.zone)
    named = phrases.names(chore.plants, 6, whole=False)
    return f"  {local:%a %d %b} by {local:%H:%M}  {chore.from_spot} > {chore.to_spot}: {named}"


def _outlook(ahead: Outlook) -> Iterator[str]:
    for fact in [*([ahead.turn] if ahead.turn else []), *ahead.spells]:
        yield fact[0].upper() + fact[1:]
    yield f"Trips expected: {ahead.trips} in {len(ahead.nights)} nights"
    yield ""
    spots = list(ahead.nights[0].lows) if ahead.nights else []
    if spots:
        yield "NIGHTS      " + "".join(f"{spot[:12]:>13}" for spot in spots) + "   plants in"
    for night in ahead.nights:
        lows = "".join(f"{_degrees(night.lows[spot]):>13}" for spot in spots)
        unsure = "" if night.judged else "  (too few known hours)"
        yield f"  {night.day:%a %d %b}{lows}   {len(night.plants_in) or '-'}{unsure}"
    yield ""
    yield "DAYS           warmest   driest   mistings"
    for day in ahead.days:
        dry = "?" if day.humidity_low_pct is None else f"{day.humidity_low_pct:.0f} %"
        mist = f"{day.mistings} for {phrases.plants(day.misted_plants)}" if day.mistings else "-"
        yield f"  {day.day:%a %d %b}{_degrees(day.high_c):>11}{dry:>9}   {mist}"
    yield ""


def _degrees(value: float | None) -> str:
    return "?" if value is None else f"{value:.1f} °C"
