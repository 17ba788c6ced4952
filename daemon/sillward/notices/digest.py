"""The week sheet as HTML for a mail program: pure, and the same facts as the text beside it.

Mail programs drop what they do not know: so styles are inline, tables are plain, nothing is loaded
from anywhere, and colours are readable with and without the few rules of the style sheet, which
only make it dark where the reader's screen is.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache
from typing import TYPE_CHECKING

from sillward import review
from sillward.errors import one_line
from sillward.notices import full, phrases, remarks
from sillward.review import Review
from sillward_rules.chore import ChoreKind
from sillward_rules.collection import Collection
from sillward_rules.planners.outlook import DayAhead, NightAhead, Outlook
from sillward_rules.plant import Plant
from sillward_rules.sheet import Sheet
from sillward_rules.site import Site
from sillward_rules.spread import percent

if TYPE_CHECKING:
    from jinja2 import Template

LIGHT: Mapping[str, tuple[str, str]] = {
    "page": ("#1b211e", "#ffffff"),
    "quiet": ("#4d5852", "#ffffff"),
    "head": ("#1b211e", "#e8efe9"),
    "cold": ("#7a1f0c", "#fbe9e3"),
    "link": ("#0b5a8a", "#ffffff"),
}
"""Colour of the text and of what it stands on, by what it is for. At least 4.5:1 (WCAG 2.2, 1.4.3),
which the tests compute."""

DARK: Mapping[str, tuple[str, str]] = {
    "page": ("#e7ecea", "#14181a"),
    "quiet": ("#aeb8b3", "#14181a"),
    "head": ("#e7ecea", "#252e2f"),
    "cold": ("#ffd9cc", "#4a2016"),
    "link": ("#8cc8f5", "#14181a"),
}

MOST_SPOTS = 12
"""Spots with a table of their own; of more the text tells. Judgement: so a mail stays short."""

MOST_NAME = 60
"""Signs of a name in a table."""

MOST_FACTS = 40
"""Warnings that are told; the text has all."""

_ADDRESS = re.compile(r"https://[\w./-]*\w/?", re.ASCII)


@dataclass(frozen=True, slots=True)
class Picture:
    """A chart that comes with the mail: its content id, and what it shows in words."""

    cid: str
    alt: str


def html(
    sheet: Sheet,
    collection: Collection,
    credit: str,
    *,
    life: str,
    week: Review | None = None,
    charts: Sequence[Picture] = (),
) -> str:
    """The week as one HTML document.

    credit: the attribution that is due; the only place with links. life: the line that shows that
    somebody is there. week: the review; None where it could not be made.
    """
    site, ahead = collection.site, sheet.outlook
    local = sheet.at.astimezone(site.zone)
    nights = ahead.nights if ahead else ()
    spots = list(_spots(nights, collection)) if nights else []
    return _template().render(
        light=LIGHT,
        dark=DARK,
        site=_name(sheet.site),
        told=f"{local:%A %d %B %Y, %H:%M}",
        sentence=_sentence(ahead),
        warnings=remarks.texts(sheet.warnings[:MOST_FACTS], site),
        left_out=max(0, len(sheet.warnings) - MOST_FACTS),
        nights=[_night(night, ahead, sheet, collection) for night in nights] if ahead else [],
        trips=ahead.trips if ahead else 0,
        spots=spots[:MOST_SPOTS],
        more_spots=max(0, len(spots) - MOST_SPOTS),
        carrying=list(full.carrying(sheet.chores, site)),
        days=[_day(day) for day in ahead.days] if ahead else [],
        misted=any(day.mistings for day in ahead.days) if ahead else False,
        feed=list(_feed(sheet, collection)),
        dark_spots=[*map(phrases.capital, remarks.texts(ahead.dark, site))] if ahead else [],
        season=[phrases.capital(text) for text in _season(ahead, site)] if ahead else [],
        charts=charts,
        week=None if week is None else _week(week),
        life=life,
        origin=list(_origin(sheet)),
        credit=_with_links(credit),
        assumptions=sheet.assumptions[:MOST_FACTS],
        caution=full.CAUTION,
    )


@cache
def _template() -> "Template":
    """Read when first needed: a daemon that mails nothing does without jinja2."""
    from jinja2 import PackageLoader, StrictUndefined
    from jinja2.sandbox import SandboxedEnvironment

    surroundings = SandboxedEnvironment(
        loader=PackageLoader("sillward.notices"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return surroundings.get_template("digest.html.jinja")


# -- the week in one sentence


def _sentence(ahead: Outlook | None) -> str:
    if ahead is None or not ahead.nights:
        return "No forecast reaches the coming nights: treat them as cold."
    cold = [night for night in ahead.nights if night.plants_in]
    count = len(ahead.nights)
    nights = "1 night" if count == 1 else f"{count} nights"
    said = f"Nothing needs to come in for {nights}"
    if cold:
        numbers = [len(night.plants_in) for night in cold]
        low, high = min(numbers), max(numbers)
        plants = phrases.plants(high) if low == high else f"{low} to {phrases.plants(high)}"
        trips = "1 trip" if ahead.trips == 1 else f"{ahead.trips} trips"
        said = f"On {len(cold)} of {nights} {plants} must come in, {trips} in all"
    misted = sum(bool(day.mistings) for day in ahead.days)
    if misted:
        said += f"; misting on {misted} of {len(ahead.days)} days"
    return f"{said}."


# -- nights


@dataclass(frozen=True, slots=True)
class _NightRow:
    day: str
    chance: str
    plants: str
    trips: str
    cold: bool


def _night(night: NightAhead, ahead: Outlook, sheet: Sheet, collection: Collection) -> _NightRow:
    walks = sum(full.told_at(one, collection.site).date() == night.day for one in ahead.chores)
    unsure = "" if night.judged else " (too few known hours)"
    return _NightRow(
        f"{night.day:%a %d %b}",
        "–" if night.chance is None else percent(night.chance),
        f"{len(night.plants_in) or 'none'}{unsure}",
        f"{walks or 'none'}",
        bool(night.plants_in),
    )


@dataclass(frozen=True, slots=True)
class _LowRow:
    day: str
    low: str
    under: str
    room: str
    cold: bool


@dataclass(frozen=True, slots=True)
class _Spot:
    name: str
    limits: str
    rows: tuple[_LowRow, ...]


def _spots(nights: Sequence[NightAhead], collection: Collection) -> Iterator[_Spot]:
    """Each outdoor spot with its lows, held against the night limits of those who live there."""
    living: dict[str, list[Plant]] = {}
    for plant in collection.plants:
        living.setdefault(plant.home, []).append(plant)
    for spot in nights[0].lows:
        limits = [
            (plant.limits.night_low.value, plant.name)
            for plant in living.get(spot, ())
            if plant.limits.night_low is not None
        ]
        yield _Spot(
            _name(spot),
            _limits(limits),
            tuple(_low(night.day, night.lows.get(spot), limits) for night in nights),
        )


def _limits(limits: Sequence[tuple[float, str]]) -> str:
    if not limits:
        return "no plant with a night limit lives there"
    low, (high, who) = min(limits)[0], max(limits)
    values = f"{high:g} °C" if low == high else f"{low:g} to {high:g} °C"
    return f"night limits of {phrases.plants(len(limits))}: {values}; tenderest {_name(who)}"


def _low(day: date, low_c: float | None, limits: Sequence[tuple[float, str]]) -> _LowRow:
    told = f"{day:%a %d %b}"
    if low_c is None:
        return _LowRow(told, "not known", "treat as cold", "–", cold=True)
    if not limits:
        return _LowRow(told, _degrees(low_c), "–", "–", cold=False)
    under = sum(limit > low_c for limit, _ in limits)
    room_k = low_c - max(limits)[0]
    word = "above" if room_k >= 0 else "under"
    return _LowRow(
        told,
        _degrees(low_c),
        f"{under} of {len(limits)}" if under else "none",
        f"{phrases.fixed(abs(room_k), 1)} K {word}",
        cold=under > 0,
    )


def _degrees(value_c: float) -> str:
    """On one line."""
    return review.degrees(value_c).replace(" ", "\N{NO-BREAK SPACE}")


def _name(text: str) -> str:
    return one_line(text, MOST_NAME)


# -- water, feed, season


@dataclass(frozen=True, slots=True)
class _DayRow:
    day: str
    high: str
    dry: str
    mistings: str


def _day(day: DayAhead) -> _DayRow:
    others = "".join(f"; {_WORDS[kind]} {count}" for kind, count in day.others)
    times = "once" if day.mistings == 1 else f"{day.mistings} times"
    return _DayRow(
        f"{day.day:%a %d %b}",
        "not known" if day.high_c is None else _degrees(day.high_c),
        "not known" if day.humidity_low_pct is None else f"{day.humidity_low_pct:.0f} %",
        (f"{times}, {phrases.plants(day.misted_plants)}" if day.mistings else "none") + others,
    )


_WORDS = {kind: full.heading(kind).lower() for kind in ChoreKind}


def _feed(sheet: Sheet, collection: Collection) -> Iterator[str]:
    """The feed in use, and who may have it again from when; the mornings decide."""
    if sheet.feed is None:
        return
    yield f"Mix: {sheet.feed}."
    site, every = collection.site, collection.habits.feed_every
    again: dict[date, int] = {}
    for state in sheet.states.values():
        if state.fed_at is not None:
            day = site.local_date(max(state.fed_at + every, sheet.at))
            again[day] = again.get(day, 0) + 1
    for day, count in sorted(again.items()):
        yield f"{phrases.plants(count)} fed before: again from {day:%a %d %b} at the earliest."
    yield "Each morning round says whether that day is one for feeding."


def _season(ahead: Outlook, site: Site) -> list[str]:
    return remarks.texts([*([ahead.turn] if ahead.turn else []), *ahead.spells], site)


# -- the week behind, and where all this is from


@dataclass(frozen=True, slots=True)
class _Behind:
    heading: str
    facts: tuple[str, ...]
    nights: tuple[tuple[str, str, str, str], ...]


def _week(week: Review) -> _Behind:
    return _Behind(
        review.heading(week),
        tuple(review.facts(week)),
        tuple(
            (
                f"{night.day:%a %d %b}",
                _degrees(night.at_dusk_c),
                _degrees(night.last_c),
                review.off(night.off_k),
            )
            for night in week.nights
        ),
    )


def _origin(sheet: Sheet) -> Iterator[str]:
    yield f"Forecast: {sheet.source}, {phrases.age(sheet.age)}."
    if sheet.spread is not None:
        yield f"Chances: {sheet.spread}."
    if sheet.notes:
        yield f"Of this forecast: {'; '.join(sheet.notes)}."


def _with_links(credit: str) -> list[tuple[str, str]]:
    """The credit in pieces: text, and the address that it links to or nothing."""
    pieces, end = [], 0
    for found in _ADDRESS.finditer(credit):
        pieces += [(credit[end : found.start()], ""), (found[0], found[0])]
        end = found.end()
    return [*pieces, (credit[end:], "")]
