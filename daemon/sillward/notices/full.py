"""A sheet in full, for the terminal and for mail: every chore, every plant, every number."""

from collections.abc import Iterator, Sequence
from datetime import date, datetime

from sillward.notices import phrases, remarks
from sillward.notices.short import mist_advice
from sillward.tables_text import cut, padded, width, wrapped
from sillward_rules.chore import Chore, ChoreKind, Reason
from sillward_rules.planners.outlook import Outlook
from sillward_rules.sheet import Round, Sheet
from sillward_rules.site import Site
from sillward_rules.spread import percent

_HEADINGS = {
    ChoreKind.CARRY_IN: "Carry in",
    ChoreKind.CARRY_OUT: "Carry out",
    ChoreKind.MIST: "Mist",
    ChoreKind.FEED: "Feed",
    ChoreKind.FLUSH: "Rinse",
    ChoreKind.STOP_WETTING: "No wet crowns",
    ChoreKind.SHADE: "Shade",
    ChoreKind.COVER: "Cover",
    ChoreKind.SECURE: "Secure against gusts",
    ChoreKind.DAMP_DOWN: "Damp down",
    ChoreKind.STAY_IN: "Stay in",
}

_NOTHING = {
    Round.DUSK: "Nothing to carry in tonight.",
    Round.MORNING: "Nothing to carry out or mist from now on today.",
    Round.WEEK: "No carrying in this week.",
}

CAUTION = (
    "A forecast is no promise, and these are no guarantees: look at your plants and at your own "
    "thermometer, and decide yourself."
)


def text(sheet: Sheet, site: Site, attribution: str, footer: Sequence[str] = ()) -> str:
    """The whole sheet as plain text, at most 78 characters wide.

    footer: what else is to be told, before the forecast's origin and the cautions.
    """
    lines = _lines(sheet, site, attribution, footer)
    return "\n".join(wrapped(line) for line in lines).rstrip() + "\n"


def _lines(sheet: Sheet, site: Site, attribution: str, footer: Sequence[str]) -> Iterator[str]:
    local = sheet.at.astimezone(site.zone)
    yield f"{sheet.site}: {sheet.round.value} round, {local:%A %d %B %Y, %H:%M}"
    yield ""
    if sheet.outlook is not None:
        yield from _outlook(sheet.outlook, site)
    if not any(chore.kind is not ChoreKind.STOP_WETTING for chore in sheet.chores):
        reaches = sheet.outlook is None or bool(sheet.outlook.nights)
        yield _NOTHING[sheet.round] if reaches else "No forecast reaches that far."
        yield ""
    for kind, heading in _HEADINGS.items():
        of_kind = [chore for chore in sheet.chores if chore.kind is kind]
        if of_kind and sheet.round is not Round.WEEK:
            yield heading.upper()
            for chore in of_kind:
                yield from _chore(chore, sheet, site)
            yield ""
    if sheet.round is Round.WEEK and sheet.chores:
        yield "CARRYING, if each day's advice is followed"
        yield from (f"  {day:%a %d %b}  {text}" for day, text in carrying(sheet.chores, site))
        yield ""
    if sheet.warnings:
        yield "WATCH OUT"
        yield from (f"  {text}" for text in remarks.texts(sheet.warnings, site))
        yield ""
    if sheet.assumptions:
        yield "TAKEN FOR GRANTED"
        yield from (f"  {text}" for text in sheet.assumptions)
        yield ""
    if footer:
        yield from footer
        yield ""
    yield f"Forecast: {sheet.source}, {phrases.age(sheet.age)}. {attribution}."
    if sheet.spread is not None and sheet.round is not Round.MORNING:
        yield f"Chances: {sheet.spread}."
    if sheet.notes:
        yield f"Of this forecast: {'; '.join(sheet.notes)}."
    yield CAUTION


def _chore(chore: Chore, sheet: Sheet, site: Site) -> Iterator[str]:
    yield f"  {_head(chore, sheet, site)}"
    widest = max(width(name) for name in chore.plants)
    shared = _shared(chore, site)
    if shared:
        yield f"    {shared}{phrases.chance(chore.because)}"
        for reason in chore.because:
            yield f"    - {padded(reason.plant, widest)}  {_of_plant(reason)}"
    else:
        alike: dict[str, list[str]] = {}
        for reason in chore.because:
            alike.setdefault(because(reason, chore, site), []).append(reason.plant)
        yield from (f"    - {', '.join(plants)}: {text}" for text, plants in alike.items())
    yield f"    [{chore.id}]"


def _shared(chore: Chore, site: Site) -> str:
    """What all plants of a chore go through alike, told once; empty if they differ."""
    first = chore.because[0]
    alike = {(one.quantity, one.value, one.at) for one in chore.because}
    if len(alike) > 1 or first.quantity in _OF_FILMS:
        return ""
    return _number_line(first, chore, site)


def _number_line(reason: Reason, chore: Chore, site: Site) -> str:
    at = phrases.hour(reason.at, site)
    if reason.value is None:
        return "night not known, treated as cold"
    outlook = chore.kind is ChoreKind.CARRY_OUT or _whole_day(chore)
    word = "outside" if chore.kind is ChoreKind.STAY_IN else "down to"
    if outlook or reason.above:
        word = "up to"
    why = ", too short above the limits" if _whole_day(chore) else ""
    return f"{phrases.quantity(reason)} {word} {phrases.number(reason)} at {at}{why}"


_OF_FILMS = frozenset({"film life", "film until rinse", "rinse", "crown drying time"})


def _whole_day(chore: Chore) -> bool:
    return chore.kind is ChoreKind.STAY_IN and chore.not_before is not None


def _of_plant(reason: Reason) -> str:
    text = f"limit {phrases.limit(reason)} ({phrases.whose(reason)})"
    if reason.hours is None or reason.degree_hours is None:
        return text
    return f"{text}, {reason.hours:.0f} h and {reason.degree_hours:.0f} K h under it"


def because(reason: Reason, chore: Chore, site: Site) -> str:
    """A plant's reason in full."""
    at = phrases.hour(reason.at, site)
    if reason.quantity in ("film until rinse", "rinse"):
        why = reason.origin.removeprefix("rinse ")
        within = "" if reason.value is None else f" within {reason.value:.0f} min of its feed"
        return f"rinse with plain water{within}, {why}"
    if reason.quantity == "film life":
        if reason.value is None:
            return "the film outlasts the day"
        if reason.limit is not None and reason.value >= reason.limit:
            return f"film lasts {reason.value:.0f} min at {at}"
        return f"film gone in {reason.value:.0f} min at {at}, wants {phrases.limit(reason)}"
    if reason.quantity == "crown drying time":
        took = "outlasts the day" if reason.value is None else f"takes {reason.value:.1f} h to dry"
        return f"a crown wetted at {at} {took} ({phrases.whose(reason)})"
    return f"{_number_line(reason, chore, site)}, {_of_plant(reason)}{phrases.chance([reason])}"


def heading(kind: ChoreKind) -> str:
    """The heading of a kind of chore."""
    return _HEADINGS[kind]


def when(chore: Chore, now: datetime, site: Site) -> str:
    """A chore's time and way: "by 17:50, pergola > sunroom"."""
    before = phrases.clock(chore.before, now, site)
    start = phrases.clock(chore.not_before, now, site) if chore.not_before else None
    way = f"{chore.from_spot} > {chore.to_spot}"
    if chore.kind is ChoreKind.CARRY_IN:
        return f"{'now' if before == 'now' else f'by {before}'}, {way}"
    if chore.kind is ChoreKind.CARRY_OUT:
        return f"{'now' if start == 'now' else f'from {start}'}, {way}"
    if chore.kind is ChoreKind.STAY_IN:
        until = "tonight" if start is None else f"{chore.before.astimezone(site.zone):%a %d %b}"
        return f"{until}, {chore.from_spot}"
    if chore.kind is ChoreKind.STOP_WETTING:
        return f"{'all day' if phrases.no_wetting(chore) else f'after {before}'}, {chore.from_spot}"
    if chore.not_before is None:
        return f"{'now' if before == 'now' else f'by {before}'}, {chore.from_spot}"
    opens = phrases.hour(chore.not_before, site)
    return f"{opens} to {phrases.hour(chore.before, site)}, {chore.from_spot}"


def _head(chore: Chore, sheet: Sheet, site: Site) -> str:
    head = f"{when(chore, sheet.at, site)}: {phrases.plants(len(chore.plants))}"
    if chore.kind is ChoreKind.FEED:
        return f"{head}; {sheet.feed or 'weak'}, and rinse"
    if chore.kind is ChoreKind.FLUSH:
        return f"{head}; plain water"
    if chore.kind is ChoreKind.MIST:
        feeds = [one for one in sheet.chores if one.kind is ChoreKind.FEED]
        return head + mist_advice(chore, feeds, site)
    return head


def carrying(chores: Sequence[Chore], site: Site) -> Iterator[tuple[date, str]]:
    """For each day of a week: out from when, in by when, how many."""
    days: dict[date, list[Chore]] = {}
    for chore in sorted(chores, key=lambda one: told_at(one, site)):
        days.setdefault(told_at(chore, site).date(), []).append(chore)
    for day, walks in days.items():
        parts = []
        for kind, words in ((ChoreKind.CARRY_OUT, "out from"), (ChoreKind.CARRY_IN, "in by")):
            same = [walk for walk in walks if walk.kind is kind]
            if same:
                count = phrases.plants(sum(len(walk.plants) for walk in same))
                parts.append(f"{words} {told_at(same[0], site):%H:%M}, {count}")
        yield day, "; ".join(parts)


def told_at(chore: Chore, site: Site) -> datetime:
    """The hour that a walk is told by, as clocks show it there."""
    out = chore.kind is ChoreKind.CARRY_OUT
    return ((chore.not_before if out else None) or chore.before).astimezone(site.zone)


def _outlook(ahead: Outlook, site: Site) -> Iterator[str]:
    told = [*([ahead.turn] if ahead.turn else []), *ahead.spells, *ahead.dark]
    yield from map(phrases.capital, remarks.texts(told, site))
    yield f"Trips expected: {ahead.trips} in {len(ahead.nights)} nights"
    yield ""
    yield from _nights(ahead)
    yield ""
    yield "DAYS           warmest   driest   mistings"
    for day in ahead.days:
        dry = "?" if day.humidity_low_pct is None else f"{day.humidity_low_pct:.0f} %"
        mist = f"{day.mistings} for {phrases.plants(day.misted_plants)}" if day.mistings else "-"
        others = "".join(f"; {kind.value} {count}" for kind, count in day.others)
        yield f"  {day.day:%a %d %b}{_degrees(day.high_c):>11}{dry:>9}   {mist}{others}"
    yield ""


def _nights(ahead: Outlook) -> Iterator[str]:
    """A table while the spots fit beside each other, else a line for each night."""
    spots = list(ahead.nights[0].lows) if ahead.nights else []
    table = len(spots) <= MOST_COLUMNS
    if table:
        yield (
            "NIGHTS      "
            + "".join(padded(cut(spot, 12), 13, right=True) for spot in spots)
            + f"{'chance':>9}   plants in"
        )
    else:
        yield "NIGHTS"
    for night in ahead.nights:
        count = f"{len(night.plants_in) or '-'}"
        chance = "-" if night.chance is None else percent(night.chance)
        unsure = "" if night.judged else "  (too few known hours)"
        if table:
            lows = "".join(f"{_degrees(night.lows[spot]):>13}" for spot in spots)
            yield f"  {night.day:%a %d %b}{lows}{chance:>9}   {count}{unsure}"
        else:
            lows = ", ".join(f"{spot} {_degrees(night.lows[spot])}" for spot in spots)
            sure = "" if night.chance is None else f", chance {chance}"
            yield f"  {night.day:%a %d %b}  plants in: {count}{sure}{unsure}; {lows}"


MOST_COLUMNS = 3
"""Spots that fit beside each other in the table of nights."""


def _degrees(value: float | None) -> str:
    return "?" if value is None else f"{phrases.fixed(value, 1)} °C"
