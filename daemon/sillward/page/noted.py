"""What a form about readings has just done, in words; the redirect carries what it was."""

from datetime import datetime

from sillward.ledger.tables.readings import HandReading
from sillward.page.visit import Visit
from sillward.readings.by_hand import Noted, colder_that_night, in_words
from sillward.readings.forecast_here import ForecastHere
from sillward.reports import reading_noted
from sillward.wording.voice import capital
from sillward_rules.readings.hourly_readings import Quantity
from sillward_rules.weather.spot import Spot
from sillward_rules.weather.sun import Night, night_of

TO_CORRECT = "correct it under “Read by hand”"


def expected(
    visit: Visit, spot: Spot, quantity: Quantity, at: datetime, night: Night | None
) -> float | None:
    """Return what the forecast is at a spot, at a moment or as the lowest of a night; None if that
    is not known."""
    context = visit.context
    return ForecastHere(context.site, spot, context.weather()).expected(quantity, at, night)


def said(visit: Visit, spot: Spot) -> str | None:
    """Return what was just done about the readings of a spot; None if nothing was."""
    query, voice = visit.request.args, visit.voice
    noted = _reading(visit, spot, query.get("noted", type=int))
    if noted is not None:
        return _noted(visit, spot, noted, query.get("before", type=int))
    corrected = _reading(visit, spot, query.get("corrected", type=int))
    if corrected is not None:
        value = in_words(corrected.quantity, corrected.value, voice)
        return f"Corrected: reading {corrected.id} is {value}."
    if (deleted := query.get("deleted", type=int)) is not None:
        return f"Deleted: reading {deleted}."
    if "explained" in query:
        return "Noted: the thermometer hangs right; it is learned from anew."
    return None


def _reading(visit: Visit, spot: Spot, number: int | None) -> HandReading | None:
    readings = visit.context.ledger.readings.by_hand(visit.context.site.name, spot.name)
    return next((reading for reading in readings if reading.id == number), None)


def _noted(visit: Visit, spot: Spot, reading: HandReading, before: int | None) -> str:
    """Return what `sillward read` says. before: what it replaced, in hundredths."""
    context = visit.context
    replaced = (
        None
        if before is None
        else HandReading(spot.name, reading.quantity, before / 100, reading.at, reading.night)
    )
    night = None if reading.night is None else night_of(context.site, reading.night)
    others = context.ledger.readings.by_hand(context.site.name, spot.name)
    noted = Noted(reading, replaced, colder_that_night(reading, others, context.site))
    told = expected(visit, spot, reading.quantity, reading.at, night)
    text = reading_noted.text(
        noted, told, spot, context.site, visit.now, visit.voice, to_correct=TO_CORRECT
    )
    return f"{capital(text)}."
