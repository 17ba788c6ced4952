"""What a form about readings has just done, in words; the redirect carries what it was."""

from dataclasses import dataclass
from datetime import datetime

from sillward.ledger.tables.readings import HandReading
from sillward.page.visit import Visit
from sillward.readings.by_hand import Noted, colder_that_night, in_words
from sillward.readings.forecast_here import ForecastHere
from sillward.reports import cold_reading, reading_noted
from sillward.wording.voice import capital
from sillward_rules.readings.hourly_readings import Quantity
from sillward_rules.weather.spot import Spot
from sillward_rules.weather.sun import Night, night_of


@dataclass(frozen=True, slots=True)
class Said:
    """What was done, in words.

    correct: the number of a reading that may have to be corrected; None for none.
    is_grave: whether plants may be too cold now.
    """

    text: str
    correct: int | None = None
    is_grave: bool = False


def expected(
    visit: Visit, spot: Spot, quantity: Quantity, at: datetime, night: Night | None
) -> float | None:
    """Return what the forecast is at a spot, at a moment or as the lowest of a night; None if that
    is not known."""
    context = visit.context
    return ForecastHere(context.site, spot, context.weather()).expected(quantity, at, night)


def said(visit: Visit, spot: Spot) -> Said | None:
    """Return what was just done about the readings of a spot; None if nothing was."""
    query, voice = visit.request.args, visit.voice
    noted = _reading(visit, spot, query.get("noted", type=int))
    if noted is not None:
        return _noted(visit, spot, noted, query.get("before", type=int))
    corrected = _reading(visit, spot, query.get("corrected", type=int))
    if corrected is not None:
        value = in_words(corrected.quantity, corrected.value, voice)
        return Said(f"Corrected: the reading is {value}.", corrected.id)
    if "deleted" in query:
        return Said("The reading is deleted.")
    if "explained" in query:
        return Said("Noted: the thermometer hangs in the right place; learning starts again.")
    return None


def _reading(visit: Visit, spot: Spot, number: int | None) -> HandReading | None:
    readings = visit.context.ledger.readings.by_hand(visit.context.site.name, spot.name)
    return next((reading for reading in readings if reading.id == number), None)


def _noted(visit: Visit, spot: Spot, reading: HandReading, before: int | None) -> Said:
    """Return what `sillward read` says, and what to do if it is colder there than was expected.

    before: what it replaced, in hundredths.
    """
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
        noted, told, spot, context.site, visit.now, visit.voice, numbered=False
    )
    if told is not None and reading_noted.is_far(reading, told, spot):
        text += ". If it is a slip, correct it"
    plants, states = context.household.collection.plants, context.states()
    in_need = cold_reading.in_need(reading, told, plants, states, visit.now, visit.voice)
    if in_need:
        text += f". {cold_reading.do_not_wait(in_need, visit.voice)}"
    return Said(f"{capital(text)}.", reading.id, is_grave=bool(in_need))
