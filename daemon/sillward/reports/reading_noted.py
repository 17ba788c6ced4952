"""What `sillward read` answers: what was noted, and what the forecast is there."""

from datetime import date, datetime, timedelta
from typing import Any

from sillward.readings.by_hand import Noted, in_words
from sillward.readings.forecast_here import UNITS
from sillward.reports.json_encoding import iso_in_zone_of
from sillward.wording.voice import Voice
from sillward_rules.arrays import finite_or_none
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import Spot

WEEKDAY_ALONE = timedelta(days=6)
"""Until then a weekday says which day is meant."""


def document(noted: Noted, told: float | None, site: Site) -> dict[str, Any]:
    """Return it as plain types, with the time in the site's zone.

    told: what the forecast is there [°C or %]; None if it is not known.
    """
    reading, replaced = noted
    return {
        "schema": 1,
        "site": site.name,
        "number": reading.id,
        "spot": reading.spot,
        "quantity": reading.quantity.value,
        "value": round(reading.value, 2),
        "unit": UNITS[reading.quantity],
        "at": iso_in_zone_of(site)(reading.at),
        "night": None if reading.night is None else str(reading.night),
        "forecast": None if told is None else finite_or_none(told, 1),
        "replaced": None if replaced is None else round(replaced.value, 2),
    }


def text(noted: Noted, told: float | None, spot: Spot, now: datetime, voice: Voice) -> str:
    """Return it as a sentence: "pergola 11.4 °C at 06:40, forecast there 12.6 °C"."""
    reading, replaced = noted
    value = in_words(reading.quantity, reading.value, voice)
    if reading.night is not None:
        nights = night_in_words(reading.night, voice)
        what = f"{reading.spot} {value} as the lowest of {nights}"
    else:
        is_recent = now - reading.at < WEEKDAY_ALONE
        when = voice.clock_of_day(reading.at, now) if is_recent else voice.date_and_hour(reading.at)
        what = f"{reading.spot} {value} at {when}"
    beside = ""
    if told is not None:
        expected = in_words(reading.quantity, told, voice)
        source = "taken to be" if spot.holds_itself else "forecast there"
        beside = f", {source} {expected}"
    before = ""
    if replaced is not None and round(replaced.value, 2) != round(reading.value, 2):
        before = f"; it was {in_words(reading.quantity, replaced.value, voice)} before"
    return f"noted as number {reading.id}: {what}{beside}{before}"


def night_in_words(night: date, voice: Voice) -> str:
    """Return a night as "the night from Wed 13 May to Thu 14 May"."""
    return f"the night from {voice.day(night)} to {voice.day(night + timedelta(days=1))}"
