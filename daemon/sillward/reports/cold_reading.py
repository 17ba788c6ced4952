"""What to do about a reading that is colder than forecast: one alone changes no order."""

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta

from sillward.ledger.tables.readings import HandReading
from sillward.reports.plant_words import standing
from sillward.wording.voice import Voice
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.state import State
from sillward_rules.readings.hourly_readings import Quantity

RECENT = timedelta(hours=1)
"""A reading this old is how it is now. Judgement: for a decision at dusk."""

MAX_NAMES = 4
"""Plants that are named before the others are counted."""


def in_need(
    reading: HandReading,
    told: float | None,
    plants: Iterable[Plant],
    states: State,
    now: datetime,
    voice: Voice,
) -> list[str]:
    """Return the plants at its spot that are under their night limit by what was just read.

    told: what was expected there [°C]; None if that is not known.
    """
    is_colder = told is not None and reading.value < told
    is_recent = reading.night is None and now - reading.at <= RECENT
    if reading.quantity is not Quantity.TEMPERATURE or not is_colder or not is_recent:
        return []
    return [
        plant.name
        for plant in plants
        if plant.limits.night_low is not None and reading.value < plant.limits.night_low.value
        if standing(plant, states.get(plant.name), now, voice).spot == reading.spot
    ]


def do_not_wait(in_need: Sequence[str], voice: Voice) -> str:
    """Return what to do for plants that are too cold by a reading that may be a slip.

    A single reading changes no order (`sillward_rules.readings.nowcast.MIN_SPAN`).
    """
    needs = "needs" if len(in_need) == 1 else "need"
    return (
        f"If it is right, do not wait for a message: {voice.names(in_need, MAX_NAMES)} {needs} "
        "more. Orders go by it once a second reading, half an hour later, is as cold"
    )
