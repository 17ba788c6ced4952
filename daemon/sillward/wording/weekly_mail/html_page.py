"""The page of the weekly mail: the week sheet as HTML, with the same facts as its text.

Mail programs drop what they do not support. So styles are inline, tables are plain, nothing is
loaded from anywhere, and colours are readable with and without the style sheet, whose few rules
only add dark colours for readers who prefer them.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sillward.ledger.week_review import WeekReview
from sillward.wording.origin import origin_of
from sillward.wording.voice import Voice, capital
from sillward.wording.weekly_mail import last_week, week_ahead, week_tables
from sillward_rules.planners.outlook import Outlook
from sillward_rules.plants.collection import Collection
from sillward_rules.remark import Remark
from sillward_rules.sheet import Sheet

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
    address: str | None = None,
    strict: bool = False,
) -> str:
    """Return the week as one HTML document.

    credit: the attribution that the forecast source asks for; addresses in it become links.
    life: the line that shows that the daemon is running.
    review: the review of the last week, if there is one.
    charts: the charts that are attached to the mail.
    address: of the page with all that is to do; None for no link to it.
    strict: whether to raise what the grower's own page raises, instead of using the packaged one.
    """
    ahead = sheet.outlook
    nights = ahead.nights if ahead else ()
    spots = list(week_tables.spots_by_night(nights, collection, voice)) if nights else []
    warnings = [voice.remark(warning) for warning in sheet.warnings]
    return voice.page(
        strict=strict,
        light=LIGHT,
        dark=DARK,
        site=week_tables.name_of(sheet.site),
        told=voice.long_day(sheet.at),
        sentence=week_tables.sentence(ahead, voice),
        warnings=warnings[:MAX_FACTS],
        left_out=max(0, len(warnings) - MAX_FACTS),
        nights=[week_tables.night_row(night, ahead, voice) for night in nights] if ahead else [],
        trips=ahead.trips if ahead else 0,
        spots=spots[:MAX_SPOTS],
        more_spots=max(0, len(spots) - MAX_SPOTS),
        carrying=[(voice.day(day), text) for day, text in week_ahead.carrying(sheet.chores, voice)],
        days=[week_tables.day_row(day, voice) for day in ahead.days] if ahead else [],
        misted=any(day.mistings for day in ahead.days) if ahead else False,
        feed=list(week_ahead.feeding(sheet, voice)) if ahead and ahead.days else [],
        watering=list(week_ahead.watering(ahead, voice)) if ahead else [],
        dark_spots=[capital(voice.remark(spot)) for spot in ahead.dark] if ahead else [],
        season=[capital(voice.remark(remark)) for remark in _season(ahead)] if ahead else [],
        charts=charts,
        week=None if review is None else _last_week(review, voice),
        life=life,
        address=address,
        origin=origin_of(sheet, voice),
        credit=_with_links(credit),
        assumptions=[voice.question(question) for question in sheet.assumptions[:MAX_FACTS]],
        caution=voice.say("caution"),
    )


def _season(ahead: Outlook) -> list[Remark]:
    facts = (ahead.turn, ahead.season, *ahead.spells, *ahead.resting)
    return [fact for fact in facts if fact is not None]


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
                week_tables.degrees(night.at_dusk_c, voice),
                week_tables.degrees(night.last_c, voice),
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
