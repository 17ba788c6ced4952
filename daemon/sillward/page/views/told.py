"""What was told to whom, and what came of it; and the log of what people did."""

from datetime import date, timedelta

from werkzeug.exceptions import BadRequest, NotFound
from werkzeug.wrappers import Response

from sillward.ledger.ledger import KEPT_DAYS
from sillward.page import deed_words, told_words
from sillward.page.keys import key_of
from sillward.page.route import Route
from sillward.page.visit import Visit

DAYS = 14
"""Days of a page. Judgement: two weeks are remembered; a link leads to those before."""

MAX_WORDS = 40_000
"""Characters of notices that the page holds; the words of older ones are on a page of their own.
Judgement: it loads in a second over a weak network."""

MAX_DEEDS = 200
"""Judgement: some weeks of a household."""


def told(visit: Visit) -> Response:
    """Show what was told on the last days, or on those before a date."""
    context = visit.context
    site, today = context.site.name, visit.now.date()
    newest, oldest = today + timedelta(days=1), today - timedelta(days=KEPT_DAYS)
    last = max(oldest, min(_day(visit.request.args.get("until")) or newest, newest))
    first = min(last, today) - timedelta(days=DAYS - 1)
    days = told_words.days(
        context.ledger.notices.of_days(site, first, last),
        context.ledger.chores.of_days(site, first, last),
        visit.now,
        visit.voice,
    )
    older = first - timedelta(days=1)
    return visit.page(
        "told.html",
        days=days,
        folded=_folded(days),
        older=older if today - older < timedelta(days=KEPT_DAYS) else None,
        is_latest=last >= today,
    )


def _folded(days: list[told_words.ToldDay]) -> set[str]:
    """Return the keys of the notices whose words are on this page, the newest first."""
    keys, room = set[str](), MAX_WORDS
    for day in days:
        for round_ in day.rounds:
            for notice in round_.notices:
                room -= len(notice.body)
                if room < 0:
                    return keys
                keys.add(notice.key)
    return keys


def words(visit: Visit, day: str, key: str) -> Response:
    """Show one notice as it went out, or is to go out."""
    context, on = visit.context, _day(day)
    if on is None:
        raise NotFound
    for notice in context.ledger.notices.of_days(context.site.name, on, on):
        if key_of(notice.key) == key:
            facts = told_words.days([notice], [], visit.now, visit.voice)[0]
            (round_,) = facts.rounds
            return visit.page(
                "told_notice.html", day=facts.day, round=round_.name, notice=round_.notices[0]
            )
    raise NotFound


def _day(text: str | None) -> date | None:
    """Return a date of an address. Raise BadRequest for what is none."""
    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise BadRequest from None


def log(visit: Visit) -> Response:
    """Show who did what, the last first."""
    context, voice = visit.context, visit.voice
    days: dict[str, list[tuple[str, str]]] = {}
    for deed in context.ledger.deeds.latest(context.site.name, MAX_DEEDS):
        line = voice.hour(deed.at), deed_words.line(deed, voice)
        days.setdefault(voice.day(deed.at), []).append(line)
    return visit.page("log.html", days=days)


ROUTES = (
    Route("/told", "told", told),
    Route("/told/<day>/<key>", "told_notice", words),
    Route("/log", "log", log),
)
