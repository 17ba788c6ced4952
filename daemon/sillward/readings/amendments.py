"""What a grower takes back or explains of readings: a slip, one that was none, a thermometer."""

from collections.abc import Iterable
from datetime import datetime

from sillward.errors import UsageError
from sillward.ledger import Ledger
from sillward.ledger.tables.readings import HandReading
from sillward.readings import by_hand
from sillward.readings.by_hand import in_words
from sillward.readings.lessons import Lessons
from sillward.wording.voice import Voice
from sillward_rules.readings.hourly_readings import Quantity
from sillward_rules.weather.learned_nights import LearnedNights
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import Spot

_LISTS = "`sillward readings` lists them"


def reading_of(ledger: Ledger, site: Site, number: int) -> HandReading:
    """Return a reading by hand. Raise UsageError if there is none of this number."""
    for reading in ledger.readings.by_hand(site.name):
        if reading.id == number:
            return reading
    msg = f"there is no reading {number} by hand; {_LISTS}"
    raise UsageError(msg)


def correct(ledger: Ledger, site: Site, number: int, text: str, voice: Voice) -> str:
    """Give a reading another value, as it was typed, and say so. Raise UsageError."""
    reading = reading_of(ledger, site, number)
    humidity = reading.quantity is Quantity.HUMIDITY
    value = by_hand.measured(text, voice.units.temperature, humidity=humidity)
    if value.quantity is not reading.quantity:
        msg = f"reading {number} is a {reading.quantity}, not in %"
        raise UsageError(msg)
    by_hand.check_unit(value, None, voice)
    ledger.readings.correct_by_hand(site.name, number, value.value)
    before, after = (
        in_words(reading.quantity, each, voice) for each in (reading.value, value.value)
    )
    return f"corrected: reading {number}, {reading.spot}, is {after} instead of {before}"


def delete(ledger: Ledger, site: Site, number: int) -> str:
    """Delete a reading, and say so. Raise UsageError if there is none of this number."""
    reading_of(ledger, site, number)
    ledger.readings.delete_by_hand(site.name, number)
    return f"deleted: reading {number}"


def asked_about(spots: Iterable[Spot]) -> dict[str, LearnedNights]:
    """Return what was learned of each spot whose thermometer seems to have been moved."""
    return {
        spot.name: spot.learned for spot in spots if spot.learned is not None and spot.learned.asks
    }


def note_hangs_right(
    lessons: Lessons, spots: Iterable[Spot], spot: str | None, now: datetime, voice: Voice
) -> str:
    """Note that the thermometer of a spot hangs right, and say so. Raise UsageError if that is not
    asked."""
    asked = asked_about(spots)
    learned = asked.get(spot or "")
    if spot is None or learned is None or learned.since is None:
        names = ", ".join(asked) or "of no spot"
        msg = (
            f"say of which spot; asked is: {names}"
            if spot is None
            else (f"nothing is asked about the thermometer at {spot}; asked is: {names}")
        )
        raise UsageError(msg)
    lessons.note_hangs_right(voice.site, spot, learned.since, now)
    since = voice.day(learned.since)
    return f"noted: the thermometer at {spot} hangs right; it is learned from anew since {since}"
