"""The page of the weekly mail: the week sheet as HTML, with the same facts as its text.

Mail programs drop what they do not support. So styles are inline, tables are plain, nothing is
loaded from anywhere, and colours are readable with and without the style sheet, whose few rules
only add dark colours for readers who prefer them.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from sillward.errors import one_line
from sillward.ledger.week_review import WeekReview
from sillward.wording.origin import origin_of
from sillward.wording.voice import Voice, capital
from sillward.wording.weekly_mail import last_week, week_ahead
from sillward_rules.planners.outlook import DayAhead, NightAhead, Outlook
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.plant import Plant
from sillward_rules.remark import Remark
from sillward_rules.sheet import Sheet
from sillward_rules.weather.uncertainty import percent

LIGHT: Mapping[str, tuple[str, str]] = {
    "page": ("#1b211e", "#ffffff"),
    "quiet": ("#4d5852", "#ffffff"),
    "head": ("#1b211e", "#e8efe9"),
    "cold": ("#7a1f0c", "#fbe9e3"),
    "link": ("#0b5a8a", "#ffffff"),
}
"""Colours of text and background by purpose. Their contrast is at least 4.5:1 (WCAG 2.2, 1.4.3),
which the tests compute."""

DARK: Mapping[str, tuple[str, str]] = {
    "page": ("#e7ecea", "#14181a"),
    "quiet": ("#aeb8b3", "#14181a"),
    "head": ("#e7ecea", "#252e2f"),
    "cold": ("#ffd9cc", "#4a2016"),
    "link": ("#8cc8f5", "#14181a"),
}
"""The same for dark screens."""

MAX_SPOTS = 12
"""Spots with a table of their own; the text has the others.
Judgement: so that a mail stays short."""

MAX_NAME = 60
"""Characters of a name in a table. Judgement: it still fits next to the numbers."""

MAX_FACTS = 40
"""Warnings, and assumptions, that are told; the text has all.
Judgement: so that a mail stays short."""

_ADDRESS = re.compile(r"https://[\w./-]*\w/?", re.ASCII)


@dataclass(frozen=True, slots=True)
class Picture:
    """A chart that is attached to the mail: its content id, and a description in words."""

    cid: str
    alt: str


def html(
    sheet: Sheet,
    collection: Collection,
    voice: Voice,
    credit: str,
    *,
    life: str,
    review: WeekReview | None = None,
    charts: Sequence[Picture] = (),
    strict: bool = False,
) -> str:
    """Return the week as one HTML document.

    credit: the attribution that the forecast source asks for; only there links are made.
    life: the line that shows that the daemon is running.
    review: the review of the last week, if there is one.
    charts: the charts that are attached to the mail.
    strict: whether to raise what the grower's own page raises, instead of using the packaged one.
    """
    ahead = sheet.outlook
    nights = ahead.nights if ahead else ()
    spots = list(_spots(nights, collection, voice)) if nights else []
    warnings = [voice.remark(warning) for warning in sheet.warnings]
    return voice.page(
        strict=strict,
        light=LIGHT,
        dark=DARK,
        site=_name(sheet.site),
        told=voice.long_day(sheet.at),
        sentence=_sentence(ahead, voice),
        warnings=warnings[:MAX_FACTS],
        left_out=max(0, len(warnings) - MAX_FACTS),
        nights=[_night(night, ahead, voice) for night in nights] if ahead else [],
        trips=ahead.trips if ahead else 0,
        spots=spots[:MAX_SPOTS],
        more_spots=max(0, len(spots) - MAX_SPOTS),
        carrying=[(voice.day(day), text) for day, text in week_ahead.carrying(sheet.chores, voice)],
        days=[_day(day, voice) for day in ahead.days] if ahead else [],
        misted=any(day.mistings for day in ahead.days) if ahead else False,
        feed=list(week_ahead.feeding(sheet, voice)) if ahead and ahead.days else [],
        dark_spots=[capital(voice.remark(spot)) for spot in ahead.dark] if ahead else [],
        season=[capital(voice.remark(remark)) for remark in _season(ahead)] if ahead else [],
        charts=charts,
        week=None if review is None else _last_week(review, voice),
        life=life,
        origin=origin_of(sheet, voice),
        credit=_with_links(credit),
        assumptions=[voice.question(question) for question in sheet.assumptions[:MAX_FACTS]],
        caution=voice.say("caution"),
    )


def _sentence(ahead: Outlook | None, voice: Voice) -> str:
    """Return the week in one sentence."""
    nights, days = (ahead.nights, ahead.days) if ahead else ((), ())
    counts = [len(night.plants_in) for night in nights if night.plants_in]
    return voice.say(
        "week_sentence",
        nights=len(nights),
        cold=len(counts),
        least=min(counts, default=0),
        most=max(counts, default=0),
        trips=ahead.trips if ahead else 0,
        misted=sum(bool(day.mistings) for day in days),
        days=len(days),
    )


# -- nights


@dataclass(frozen=True, slots=True)
class _NightRow:
    day: str
    chance: str
    plants: str
    trips: str
    cold: bool


def _night(night: NightAhead, ahead: Outlook, voice: Voice) -> _NightRow:
    trips = sum(week_ahead.told_at(chore, voice).date() == night.day for chore in ahead.chores)
    return _NightRow(
        voice.day(night.day),
        "–" if night.chance is None else percent(night.chance),
        voice.say("plants_in", count=len(night.plants_in), judged=night.judged),
        f"{trips or voice.say('nothing')}",
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


def _spots(nights: Sequence[NightAhead], collection: Collection, voice: Voice) -> Iterator[_Spot]:
    """Yield each outdoor spot with its lows, compared with the night limits of its plants."""
    residents: dict[str, list[Plant]] = {}
    for plant in collection.plants:
        residents.setdefault(plant.home, []).append(plant)
    for spot in nights[0].lows:
        limits = [
            (plant.limits.night_low.value, plant.name)
            for plant in residents.get(spot, ())
            if plant.limits.night_low is not None
        ]
        yield _Spot(
            _name(spot),
            _limits(limits, voice),
            tuple(_low(night.day, night.lows.get(spot), limits, voice) for night in nights),
        )


def _limits(limits: Sequence[tuple[float, str]], voice: Voice) -> str:
    highest_c, tenderest = max(limits, default=(0.0, ""))
    return voice.say(
        "night_limits",
        count=len(limits),
        least_c=min(limits, default=(0.0, ""))[0],
        most_c=highest_c,
        tenderest=_name(tenderest),
    )


def _low(
    day: date, low_c: float | None, limits: Sequence[tuple[float, str]], voice: Voice
) -> _LowRow:
    """Return the low of a night at a spot, and how many plants are under their limits."""
    shown_day, say = voice.day(day), voice.say
    if low_c is None:
        return _LowRow(shown_day, say("not_known"), say("treat_as_cold"), "–", cold=True)
    if not limits:
        return _LowRow(shown_day, _degrees(low_c, voice), "–", "–", cold=False)
    under = sum(limit > low_c for limit, _ in limits)
    return _LowRow(
        shown_day,
        _degrees(low_c, voice),
        say("under_limit", under=under, count=len(limits)),
        say("room", room_k=low_c - max(limits)[0]),
        cold=under > 0,
    )


def _degrees(value_c: float, voice: Voice) -> str:
    """Return a temperature with a no-break space before its unit."""
    return voice.degrees(value_c).replace(" ", "\N{NO-BREAK SPACE}")


def _name(text: str) -> str:
    return one_line(text, MAX_NAME)


# -- water, feed, season


@dataclass(frozen=True, slots=True)
class _DayRow:
    day: str
    high: str
    dry: str
    mistings: str


def _day(day: DayAhead, voice: Voice) -> _DayRow:
    unknown = voice.say("not_known")
    return _DayRow(
        voice.day(day.day),
        unknown if day.high_c is None else _degrees(day.high_c, voice),
        unknown if day.humidity_low_pct is None else f"{day.humidity_low_pct:.0f} %",
        week_ahead.day_asks(day, voice, voice.say("nothing")),
    )


def _season(ahead: Outlook) -> list[Remark]:
    return [fact for fact in (ahead.turn, ahead.season, *ahead.spells) if fact is not None]


# -- the last week, and the origin of the numbers


@dataclass(frozen=True, slots=True)
class _LastWeek:
    heading: str
    facts: tuple[str, ...]
    nights: tuple[tuple[str, str, str, str], ...]


def _last_week(review: WeekReview, voice: Voice) -> _LastWeek:
    return _LastWeek(
        last_week.heading(review, voice),
        tuple(last_week.sentences(review, voice)),
        tuple(
            (
                voice.day(night.day),
                _degrees(night.at_dusk_c, voice),
                _degrees(night.last_c, voice),
                voice.say("off", off_k=night.off_k),
            )
            for night in review.nights
        ),
    )


def _with_links(credit: str) -> list[tuple[str, str]]:
    """Return the credit in pieces: text, and the address that it links to, empty for none."""
    pieces, end = [], 0
    for match in _ADDRESS.finditer(credit):
        pieces += [(credit[end : match.start()], ""), (match[0], match[0])]
        end = match.end()
    return [*pieces, (credit[end:], "")]
