"""What a grower types of a thermometer: the value, with or without its unit, and its time."""

import re
from collections.abc import Collection, Iterable
from dataclasses import replace
from datetime import date, datetime, time, timedelta
from typing import NamedTuple

import numpy as np

from sillward.errors import UsageError, one_line
from sillward.ledger import Ledger
from sillward.ledger.tables.readings import READINGS_DAYS, HandReading
from sillward.readings.forecast_here import UNITS
from sillward.text.units import Temperature
from sillward.wording.voice import Voice
from sillward_rules.readings.hourly_readings import Quantity
from sillward_rules.readings.quality import (
    BOUNDS,
    CLOCK_AHEAD,
    OTHER_UNIT_FAR_K,
    OTHER_UNIT_NEAR_K,
    as_can_be,
)
from sillward_rules.weather.site import Site
from sillward_rules.weather.sun import Night, night_at_or_after, night_of

BEFORE_SUNRISE = timedelta(hours=2)
"""From so long before sunrise on, the lowest of the night is that of the night that goes on.
Judgement: a thermometer read before this is meant to say what the night before was."""

UNLIKELY_C = {"°C": (-15.0, 45.0), "°F": (0.0, 45.0)}
"""A value in the grower's unit without the unit written is asked about outside of these [°C], where
there is no forecast to hold it against. Judgement: 40 in °F is 4 °C, and 20 in °C is -7 if it was
meant as °F."""

_VALUE = r"(?P<number>[-+\u2212]?[0-9]{1,4}(?:[.,][0-9]{0,6})?)\s*(?P<unit>°?\s?[CF]|[℃℉]|º[CF]|%)?"
_SPOT_AND_VALUE = re.compile(rf"(?:(?P<spot>.*\S)\s+)?{_VALUE}", re.I | re.S)
_ONE_VALUE = re.compile(_VALUE, re.I)
_CLOCK = re.compile(
    r"(?P<before>yesterday,?\s+)?"
    r"(?P<hour>[0-9]{1,2})(?:[:.](?P<minute>[0-9]{2}))?(?::[0-9]{2})?\s*(?:(?P<half>[ap])\.?m\.?)?",
    re.I,
)


class Measured(NamedTuple):
    """A value that was read.

    value: [°C or %]. written: as it was typed. has_unit: whether its unit was typed.
    """

    quantity: Quantity
    value: float
    written: str
    has_unit: bool


def spot_and_value(words: str, spots: Collection[str] = ()) -> tuple[str, str]:
    """Return the spot and the value in "wall bench 11.4 °C". Raise UsageError.

    spots: the names of all spots, as one may end in a number.
    """
    option = re.search(r"(?:^|\s)(--\w\S{0,30})", words)
    if option is not None:
        msg = f'there is no option "{one_line(option[1], 30)}"; `sillward read --help` lists them'
        raise UsageError(msg)
    found = _SPOT_AND_VALUE.fullmatch(words.strip())
    is_spot = " ".join(words.lower().split()) in {spot.lower() for spot in spots}
    if found is None or not found["spot"] or is_spot:
        msg = "say where, and what the thermometer shows, for example: sillward read pergola 11.4"
        raise UsageError(msg)
    return found["spot"], words.strip()[found.start("number") :]


def measured(text: str, unit: Temperature, *, humidity: bool) -> Measured:
    """Return a value that a grower typed. Raise UsageError for one that cannot be.

    unit: the unit of temperatures without one. humidity: whether a humidity was asked for.
    """
    found = _ONE_VALUE.fullmatch(text.strip())
    if found is None:
        msg = f'"{one_line(text, 30)}" is not a value; write for example 11.4, 11,4 or 52F'
        raise UsageError(msg)
    number = float(found["number"].replace(",", ".").replace("\u2212", "-"))
    written = (found["unit"] or "").upper()
    if written == "%" or (humidity and not written):
        quantity, value = Quantity.HUMIDITY, number
    elif humidity:
        msg = f'"{one_line(text, 30)}" is a temperature, not a humidity'
        raise UsageError(msg)
    else:
        quantity = Quantity.TEMPERATURE
        is_fahrenheit = written[-1:] in ("F", "℉") if written else unit == "°F"
        value = (number - 32) / 1.8 if is_fahrenheit else number
    value = float(as_can_be(np.array(value), quantity))
    result = Measured(quantity, value, text.strip(), bool(written))
    low, high = BOUNDS[quantity]
    if not low <= value <= high:
        msg = f"{_with_unit(result, unit)} cannot be: {_between(quantity, unit)}"
        if quantity is Quantity.TEMPERATURE and not written:
            msg += "; if it is in another unit, write it: 52F or 11.4C"
        raise UsageError(msg)
    return result


def _with_unit(value: Measured, unit: Temperature) -> str:
    if value.has_unit:
        return value.written
    return f"{value.written} {'%' if value.quantity is Quantity.HUMIDITY else unit}"


def _between(quantity: Quantity, unit: Temperature) -> str:
    low, high = BOUNDS[quantity]
    if quantity is Quantity.HUMIDITY:
        return f"humidities are from {low:g} to {high:g} %"
    if unit == "°F":
        low, high = low * 1.8 + 32, high * 1.8 + 32
    return f"air at plants is from {low:g} to {high:g} {unit}"


class UnitChoice(NamedTuple):
    """A way to write a value so that its unit is clear: "52F", "if it is in °F", "52 °F"."""

    written: str
    condition: str
    shown: str


class UnitDoubt(NamedTuple):
    """Why a value without a unit is likely in another one, and how either is written."""

    why: str
    choices: tuple[UnitChoice, UnitChoice]


def unit_doubt(value: Measured, told_c: float | None, voice: Voice) -> UnitDoubt | None:
    """Return whether a value without a unit is likely in another one; None if it is not.

    told_c: the forecast at that time and spot [°C]; None if it is not known.
    """
    if value.has_unit:
        return None
    if value.quantity is Quantity.HUMIDITY:
        if not 0.0 < value.value <= 1.0:
            return None
        share, bare = f"{100 * value.value:g}", f"{value.value:g}"
        choices = (
            UnitChoice(f"{share}%", "if it is a share", f"{share} %"),
            UnitChoice(f"{bare}%", "if it is really in %", f"{bare} %"),
        )
        return UnitDoubt(f"{bare} % is unlikely", choices)
    unit = voice.units.temperature
    number = value.value * 1.8 + 32 if unit == "°F" else value.value
    other_c = number if unit == "°F" else (number - 32) / 1.8
    other = "°C" if unit == "°F" else "°F"
    if told_c is not None:
        is_likely = (
            abs(value.value - told_c) > OTHER_UNIT_FAR_K
            and abs(other_c - told_c) < OTHER_UNIT_NEAR_K
        )
        because = f", with {voice.degrees(told_c)} expected there"
    else:
        low, high = UNLIKELY_C[unit]
        is_likely, because = not low <= value.value <= high, ""
    if not is_likely:
        return None
    choices = (
        UnitChoice(f"{number:g}{other[-1]}", f"if it is in {other}", f"{number:g} {other}"),
        UnitChoice(f"{number:g}{unit[-1]}", f"if it is really in {unit}", f"{number:g} {unit}"),
    )
    return UnitDoubt(f"{number:g} {unit} is unlikely{because}", choices)


def check_unit(value: Measured, told_c: float | None, voice: Voice) -> None:
    """Raise UsageError for a value without a unit that is likely in another one.

    told_c: as for `unit_doubt`.
    """
    doubt = unit_doubt(value, told_c, voice)
    if doubt is not None:
        first, second = doubt.choices
        msg = (
            f"{doubt.why}: write {first.written} {first.condition}, and {second.written}"
            f" {second.condition}"
        )
        raise UsageError(msg)


# -- when


def moment_told(text: str, site: Site, now: datetime) -> datetime:
    """Return when a reading was taken: a time of the last 24 hours, or an ISO time. UsageError.

    A time alone is the last such time of the site's clocks; "yesterday" may be before it.
    """
    at = clock_time(text, site, now) or _iso_time(text, site)
    if at is None:
        msg = (
            f'"{one_line(text, 40)}" is not a time; write for example 06:40,'
            ' "yesterday 06:40", or 2026-05-14T06:40 for another day'
        )
        raise UsageError(msg)
    check_moment(at, now, text)
    return at


def check_moment(at: datetime, now: datetime, text: str) -> None:
    """Raise UsageError for a moment in the future, or so long ago that it would not be kept."""
    if at > now + CLOCK_AHEAD:
        msg = f"{one_line(text, 40)} is in the future"
        raise UsageError(msg)
    if at < now - timedelta(days=READINGS_DAYS):
        msg = f"{one_line(text, 40)} is too long ago: readings are kept for {READINGS_DAYS} days"
        raise UsageError(msg)


def clock_time(text: str, site: Site, now: datetime) -> datetime | None:
    """Return the moment of "06:40", "6:40 am" or "yesterday 06:40"; None for another text.

    A time alone is the last such time of the site's clocks.
    """
    found = _CLOCK.fullmatch(text.strip())
    if found is None or not (found["minute"] or found["half"]):
        return None
    hour, minute = int(found["hour"]), int(found["minute"] or 0)
    if found["half"]:
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if found["half"] in "pP" else 0)
    if hour > 23 or minute > 59:
        return None
    today = site.local_date(now)
    at = site.at_clock(today, time(hour, minute))
    if found["before"] or at > now + CLOCK_AHEAD:
        at = site.at_clock(today - timedelta(days=1), time(hour, minute))
    return at


def _iso_time(text: str, site: Site) -> datetime | None:
    try:
        at = datetime.fromisoformat(text.strip())
    except ValueError:
        return None
    if len(text.strip()) <= 10 or not 1971 <= at.year <= 2199:  # a date alone is no time
        return None
    return at.replace(tzinfo=site.zone) if at.tzinfo is None else at


def night_told(text: str | None, site: Site, now: datetime) -> Night:
    """Return the night whose lowest is noted: by the date of its evening, or the last one.

    Raise UsageError for one that has not ended.
    """
    if text is None:
        to_come = night_at_or_after(site, now + BEFORE_SUNRISE)
        return night_of(site, to_come.day - timedelta(days=1))
    try:
        is_yesterday = text.strip().lower() == "yesterday"
        yesterday = site.local_date(now) - timedelta(days=1)
        day = yesterday if is_yesterday else date.fromisoformat(text.strip())
    except ValueError:
        msg = (
            f'--night "{one_line(text, 40)}" is not a date; write that of the evening, for example'
            " 2026-05-13"
        )
        raise UsageError(msg) from None
    if not 1971 <= day.year <= 2199 or night_of(site, day).end - BEFORE_SUNRISE > now:
        msg = f"the night of {text.strip()} is not over"
        raise UsageError(msg)
    check_moment(night_of(site, day).end, now, text)
    return night_of(site, day)


def in_words(quantity: Quantity, value: float, voice: Voice) -> str:
    """Return a value as "11.4 °C", "52.5 °F" or "61 %"."""
    return voice.measure(value, UNITS[quantity], 1 if quantity is Quantity.TEMPERATURE else 0)


# -- into the ledger


class Noted(NamedTuple):
    """A reading as it was noted, and the one of the same moment or night that it replaced.

    colder: the coldest of those that were noted in the same night, if this is said to be the lowest
    and is above it.
    """

    reading: HandReading
    replaced: HandReading | None
    colder: HandReading | None = None


def note(
    ledger: Ledger,
    site: Site,
    spot: str,
    value: Measured,
    at: datetime,
    night: Night | None,
    now: datetime,
) -> Noted:
    """Write a reading, to the minute."""
    at = at.replace(second=0, microsecond=0)
    day = None if night is None else night.day
    reading = HandReading(spot, value.quantity, value.value, at, day)
    with ledger.database.transaction():
        others = [
            other
            for other in ledger.readings.by_hand(site.name, spot)
            if other.quantity is value.quantity
        ]
        known = [
            other for other in others if other.night == day and (day is not None or other.at == at)
        ]
        number = ledger.readings.add_by_hand(site.name, reading, now)
    noted = replace(reading, id=number)
    return Noted(noted, known[0] if known else None, colder_that_night(noted, others, site))


def colder_that_night(
    reading: HandReading, others: Iterable[HandReading], site: Site
) -> HandReading | None:
    """Return the coldest that was noted at a moment of a night whose lowest is said to be warmer;
    None if there is none, or if it is a reading of one moment."""
    if reading.night is None:
        return None
    night = night_of(site, reading.night)
    colder = [
        other
        for other in others
        if other.quantity is reading.quantity
        and other.night is None
        and night.start <= other.at <= night.end
        and other.value < reading.value
    ]
    return min(colder, key=lambda other: other.value, default=None)
