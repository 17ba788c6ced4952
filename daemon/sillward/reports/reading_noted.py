"""What `sillward read` answers: what was noted, and what the forecast is there."""

from datetime import date, datetime, timedelta
from typing import Any

from sillward.ledger.tables.readings import HandReading
from sillward.readings.by_hand import Noted, in_words
from sillward.readings.forecast_here import UNITS
from sillward.reports.json_encoding import iso_in_zone_of
from sillward.wording.voice import Voice
from sillward_rules.arrays import finite_or_none
from sillward_rules.readings.hourly_readings import Quantity
from sillward_rules.readings.night_lows import low_by_hand
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import Spot

FAR_OUTDOORS_K = 8.0
FAR_IN_A_ROOM_K = 4.0
"""A reading further from what is expected may be a slip, of a digit or a sign [K]. Judgement: spots
outdoors differ from a forecast by 5 K at most, and the sun adds some; rooms change little. It is
said and not asked: it may be the night in which the heating failed."""

LAST_YEAR = timedelta(days=300)
"""From this age on a night has its year."""

WEEKDAY_ALONE = timedelta(days=6)
"""Until then a weekday says which day is meant."""


def document(noted: Noted, told: float | None, site: Site) -> dict[str, Any]:
    """Return it as plain types, with the time in the site's zone.

    told: what the forecast is there [°C or %]; None if it is not known.
    """
    reading, replaced, colder = noted
    return {
        "schema": 1,
        "site": site.label,
        "number": reading.id,
        "spot": reading.spot,
        "quantity": reading.quantity.value,
        "value": round(reading.value, 2),
        "unit": UNITS[reading.quantity],
        "at": iso_in_zone_of(site)(reading.at),
        "night": None if reading.night is None else str(reading.night),
        "forecast": None if told is None else finite_or_none(told, 1),
        "replaced": None if replaced is None else round(replaced.value, 2),
        "colder_that_night": None if colder is None else round(colder.value, 2),
    }


def text(
    noted: Noted,
    told: float | None,
    spot: Spot,
    site: Site,
    now: datetime,
    voice: Voice,
    *,
    numbered: bool = True,
) -> str:
    """Return it as a sentence: "pergola 11.4 °C at 06:40, expected there 12.6 °C".

    numbered: whether to name the numbers of readings, by which commands correct them.
    """
    reading, replaced, colder = noted
    value = in_words(reading.quantity, reading.value, voice)
    if reading.night is not None:
        nights = night_in_words(reading.night, voice)
        if now - reading.at > LAST_YEAR:
            nights += f" {voice.local(reading.at).year}"
        what = f"{reading.spot} {value} as the lowest of {nights}"
    else:
        is_recent = now - reading.at < WEEKDAY_ALONE
        when = voice.clock_of_day(reading.at, now) if is_recent else voice.date_and_hour(reading.at)
        what = f"{reading.spot} {value} at {when}"
        if _is_low(reading, site):
            what += " (counts as the lowest of the night)"
    beside = ""
    if told is not None:
        expected = in_words(reading.quantity, told, voice)
        source = "taken to be" if spot.holds_itself else "expected there"
        beside = f", {source} {expected}"
    before = ""
    if replaced is not None and round(replaced.value, 2) != round(reading.value, 2):
        before = f"; it was {in_words(reading.quantity, replaced.value, voice)} before"
    doubt = ""
    if colder is not None:
        lower = in_words(reading.quantity, colder.value, voice)
        at = voice.clock_of_day(colder.at, now)
        number = f", as number {colder.id}" if numbered else ""
        doubt = f". But {lower} was noted for {at} of that night{number}"
    elif told is not None and is_far(reading, told, spot):
        doubt = ". That is far from what is expected"
        if numbered:
            doubt += f"; if it is a slip: sillward readings --correct {reading.id} VALUE"
    number = f" as number {reading.id}" if numbered else ""
    return f"noted{number}: {what}{beside}{before}{doubt}"


def _is_low(reading: HandReading, site: Site) -> bool:
    """Whether a reading at one moment stands for the low of a night."""
    if reading.quantity is not Quantity.TEMPERATURE:
        return False
    return low_by_hand(site, reading.at, reading.value, None) is not None


def is_far(reading: HandReading, told: float, spot: Spot) -> bool:
    """Whether a reading may be a slip."""
    far = FAR_IN_A_ROOM_K if spot.holds_itself else FAR_OUTDOORS_K
    return reading.quantity is Quantity.TEMPERATURE and abs(reading.value - told) > far


def night_in_words(night: date, voice: Voice) -> str:
    """Return a night as "the night from Wed 13 May to Thu 14 May"."""
    return f"the night from {voice.day(night)} to {voice.day(night + timedelta(days=1))}"
