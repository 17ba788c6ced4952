"""Readings of a spot: noted, corrected, deleted; and a thermometer that is said to hang right."""

from collections.abc import Mapping
from datetime import datetime
from typing import NamedTuple

from werkzeug.exceptions import BadRequest, NotFound
from werkzeug.wrappers import Response

from sillward.errors import UsageError
from sillward.ledger.tables.readings import HandReading
from sillward.page.noted import expected
from sillward.page.route import Route
from sillward.page.views.spots import show, spot_called
from sillward.page.visit import Visit
from sillward.readings import amendments, by_hand
from sillward.readings.by_hand import Measured, in_words
from sillward.reports.reading_noted import night_in_words
from sillward_rules.readings.hourly_readings import Quantity
from sillward_rules.weather.spot import Spot
from sillward_rules.weather.sun import Night

FIELDS = ("value", "when", "at")
"""What the form of a reading sends."""


class _Typed(NamedTuple):
    """A reading as it was typed: what, when, and of which night it is the lowest, if of one."""

    value: Measured
    at: datetime
    night: Night | None


def note(visit: Visit, key: str) -> Response:
    """Note what a thermometer or hygrometer shows; ask first if its unit is in doubt."""
    context, spot, now = visit.context, spot_called(visit, key), visit.now
    fields = {name: visit.field(name) for name in FIELDS}
    try:
        value, at, night = _typed(fields, visit, now)
    except UsageError as error:
        return show(visit, key, wrong=str(error), typed=fields)
    told = expected(visit, spot, value.quantity, at, night)
    doubt = by_hand.unit_doubt(value, told, visit.voice)
    if doubt is not None:
        return visit.page("reading_unit.html", key=key, name=spot.name, doubt=doubt, typed=fields)
    noted = by_hand.note(context.ledger, context.site, spot.name, value, at, night, now)
    before = None if noted.replaced is None else round(100 * noted.replaced.value)
    return visit.redirect("spot", key=key, noted=noted.reading.id, before=before)


def _typed(fields: Mapping[str, str], visit: Visit, now: datetime) -> _Typed:
    """Read the form. Raise UsageError for what cannot be, BadRequest for another form than ours."""
    site, unit = visit.context.site, visit.voice.units.temperature
    value = by_hand.measured(fields["value"], unit, humidity=False)
    if fields["when"] == "now":
        return _Typed(value, now, None)
    if fields["when"] == "at":
        return _Typed(value, by_hand.moment_told(fields["at"], site, now), None)
    if fields["when"] != "night":
        raise BadRequest
    if value.quantity is Quantity.HUMIDITY:
        msg = "the lowest of a night is a temperature; note a humidity at its own time"
        raise UsageError(msg)
    night = by_hand.night_told(None, site, now)
    return _Typed(value, min(night.end, now), night)


# -- one reading


def reading(visit: Visit, key: str, number: int) -> Response:
    """Show a reading, to be corrected or deleted."""
    return _show(visit, key, number)


def _show(visit: Visit, key: str, number: int, wrong: str | None = None) -> Response:
    spot, known = _reading_of(visit, key, number)
    return visit.page(
        "reading.html",
        status=200 if wrong is None else 422,
        key=key,
        name=spot.name,
        number=number,
        words=_in_words(known, visit),
        wrong=wrong,
    )


def correct(visit: Visit, key: str, number: int) -> Response:
    """Give a reading another value."""
    _reading_of(visit, key, number)
    context = visit.context
    try:
        amendments.correct(context.ledger, context.site, number, visit.field("value"), visit.voice)
    except UsageError as error:
        return _show(visit, key, number, str(error))
    return visit.redirect("spot", key=key, corrected=number)


def deletion(visit: Visit, key: str, number: int) -> Response:
    """Ask whether a reading is to be deleted."""
    spot, known = _reading_of(visit, key, number)
    words = _in_words(known, visit)
    return visit.page("reading_deletion.html", key=key, name=spot.name, number=number, words=words)


def delete(visit: Visit, key: str, number: int) -> Response:
    """Delete a reading. One that is gone already is no mistake: a tap may come twice."""
    spot = spot_called(visit, key)
    context = visit.context
    if any(known.id == number for known in _by_hand(visit, spot)):
        amendments.delete(context.ledger, context.site, number)
    return visit.redirect("spot", key=key, deleted=number)


def hangs_right(visit: Visit, key: str) -> Response:
    """Note that the thermometer of a spot hangs right; do nothing if that is not asked."""
    context, spot = visit.context, spot_called(visit, key)
    if amendments.asked_about([spot]):
        amendments.note_hangs_right(context.lessons, [spot], spot.name, visit.now, visit.voice)
    return visit.redirect("spot", key=key, explained="")


def _by_hand(visit: Visit, spot: Spot) -> list[HandReading]:
    return visit.context.ledger.readings.by_hand(visit.context.site.name, spot.name)


def _reading_of(visit: Visit, key: str, number: int) -> tuple[Spot, HandReading]:
    """Return a spot and a reading there. Raise NotFound."""
    spot = spot_called(visit, key)
    for known in _by_hand(visit, spot):
        if known.id == number:
            return spot, known
    raise NotFound


def _in_words(known: HandReading, visit: Visit) -> str:
    """Return a reading as "11.4 °C, Thu 14 May 06:40"."""
    voice = visit.voice
    when = voice.date_and_hour(known.at)
    if known.night is not None:
        when = f"lowest of {night_in_words(known.night, voice)}"
    return f"{in_words(known.quantity, known.value, voice)}, {when}"


_ONE = "/spots/<key>/readings/<int:number>"

ROUTES = (
    Route("/spots/<key>/readings", "note_reading", note, "POST"),
    Route(_ONE, "reading", reading),
    Route(_ONE, "correct_reading", correct, "POST"),
    Route(f"{_ONE}/delete", "reading_deletion", deletion),
    Route(f"{_ONE}/delete", "delete_reading", delete, "POST"),
    Route("/spots/<key>/hangs-right", "hangs_right", hangs_right, "POST"),
)
