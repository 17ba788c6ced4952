"""While the household is away: who looks after the plants, and a list for them to print."""

from collections.abc import Mapping
from datetime import date, timedelta

from werkzeug.exceptions import NotFound
from werkzeug.wrappers import Response

from sillward.errors import UsageError
from sillward.ledger import Absence
from sillward.page.route import Route
from sillward.page.views.today import RECENT
from sillward.page.visit import Visit
from sillward.reports import absences as report
from sillward.service import absences
from sillward.wording.helper_list import span_in_words
from sillward.wording.weekly_mail import week_ahead
from sillward_rules.sheet import Round

_FIELDS = ("first", "last", "person", "channel", "note", "shared")

MAX_ROWS = 21
"""Days with boxes to tick on the printed list. Judgement: half a page."""


def away(visit: Visit) -> Response:
    """Show who is told in place of the household, and a form for somebody else."""
    return _page(visit)


def enter(visit: Visit) -> Response:
    """Write an absence down. What cannot be comes back in its form, with the reason."""
    context = visit.context
    today = context.site.local_date(visit.now)
    typed = {name: visit.field(name) for name in _FIELDS}
    try:
        first = absences.day_named(typed["first"], today)
        last = absences.day_named(typed["last"], today, first)
        other = absences.told_already(context, first, last, typed["person"], typed["channel"])
        if other is not None and typed["person"] and not typed["shared"]:
            return _page(visit, status=422, problem="", typed=typed, other=other)
        absences.enter(
            context, first, last, typed["person"], typed["channel"], typed["note"], visit.person
        )
    except UsageError as error:
        return _page(visit, status=422, problem=str(error), typed=typed)
    return visit.redirect("away", said="told")


def end(visit: Visit) -> Response:
    """End or cancel an absence. Ending it twice is ending it once."""
    number = visit.field("absence")
    for absence in absences.not_over(visit.context):
        if str(absence.id) == number:
            absences.end(visit.context, absence, visit.person)
    return visit.redirect("away")


def helper_list(visit: Visit, number: int) -> Response:
    """Show the list for a helper, which prints well."""
    absence = _absence(visit, number)
    return visit.page(
        "away_list.html",
        shown=absences.list_for(visit.context, absence),
        days=_days(visit, absence),
        seen=visit.voice.long_day(visit.now),
    )


def _page(
    visit: Visit,
    *,
    status: int = 200,
    problem: str = "",
    typed: Mapping[str, str] | None = None,
    other: str = "",
) -> Response:
    """other: who else is told through the channel that was chosen."""
    context, voice = visit.context, visit.voice
    today = context.site.local_date(visit.now)
    empty = dict.fromkeys(_FIELDS, "") | {"first": str(today + timedelta(days=1))}
    channels = [channel for channel in context.household.channels if channel.url is not None]
    shown = [
        (absence, report.days(absence, voice), report.briefed(absence, voice))
        for absence in absences.not_over(context)
    ]
    return visit.page(
        "away.html",
        status=status,
        absences=shown,
        channels=sorted(channels, key=lambda channel: len(channel.rounds)),
        problem=problem,
        other=other,
        typed=typed or empty,
        said=visit.request.args.get("said") == "told",
        ended=_ended(visit),
        today=str(today),
        most_note=absences.MAX_NOTE,
        most_person=absences.MAX_PERSON,
    )


def _ended(visit: Visit) -> dict[str, str] | None:
    """Return what was ended a moment ago, in words, and what it takes to enter it once more."""
    deed = absences.just_ended(visit.context, visit.now - RECENT)
    if deed is None:
        return None
    first, last = (date.fromisoformat(deed.about[name]) for name in ("first_day", "last_day"))
    today = visit.context.site.local_date(visit.now)
    return {
        "days": span_in_words((first, last), visit.voice),
        "first": str(max(first, today)),
        "last": str(last),
        "person": deed.about["helper"],
        "channel": deed.about.get("channel", ""),
        "note": deed.about.get("note", ""),
    }


def _absence(visit: Visit, number: int) -> Absence:
    for absence in absences.not_over(visit.context):
        if absence.id == number:
            return absence
    raise NotFound


def _days(visit: Visit, absence: Absence) -> list[tuple[str, str]]:
    """Return the days of an absence from today on, each with what is carried.

    Of a day whose night is not known, that is said: a blank would read as nothing to carry.
    """
    voice, sheet = visit.voice, visit.desk.sheet(Round.WEEK)
    carried: dict[date, str] = dict(week_ahead.carrying(sheet.chores, voice))
    nights = sheet.outlook.nights if sheet.outlook is not None else ()
    expected = {
        night.day: carried.get(night.day, voice.say("list_no_walk"))
        for night in nights
        if night.judged
    }
    unknown = voice.say("list_unknown_day")
    day = max(absence.first_day, visit.context.site.local_date(visit.now))
    rows: list[tuple[str, str]] = []
    while day <= absence.last_day and len(rows) < MAX_ROWS:
        rows.append((voice.day(day), expected.get(day, unknown)))
        day += timedelta(days=1)
    return rows


ROUTES = (
    Route("/away", "away", away),
    Route("/away", "enter_away", enter, method="POST"),
    Route("/away/end", "end_away", end, method="POST"),
    Route("/away/list/<int:number>", "away_list", helper_list),
)
