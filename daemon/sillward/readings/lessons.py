"""What the readings of a household teach: its collection, with spots as they really are.

Nothing that is learned is stored. It is worked out from the readings in the ledger and from its
archive of forecasts, so that whatever is corrected or removed there corrects what follows from it.
"""

import math
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta

from sillward.forecast.store import ForecastStore
from sillward.ledger import Ledger
from sillward.readings.indoor_lesson import response_of
from sillward.readings.spot_lesson import (
    LEARNED_FROM,
    Lesson,
    hangs_right,
    hangs_right_mark,
    lesson_of,
)
from sillward.readings.tonight import Tonight
from sillward_rules.plants.collection import Collection
from sillward_rules.readings.hourly_readings import Quantity
from sillward_rules.weather import sun
from sillward_rules.weather.learned_nights import OLD_NIGHTS, LearnedNights
from sillward_rules.weather.night_error import Circumstances
from sillward_rules.weather.site import Site
from sillward_rules.weather.uncertainty import USUAL_ERROR_K

STEP_K = 0.5
"""What is learned of a room is worked out anew when it has become so much colder [K]. Judgement: no
household thermometer tells less apart."""

LATE = timedelta(minutes=15)
"""Readings of a night are waited for so long. Judgement: loggers and sensors report every few
minutes."""


@dataclass(slots=True)
class Lessons:
    """Applies what was read to collections. What was worked out is kept while nothing changes."""

    ledger: Ledger
    forecasts: ForecastStore
    _known: dict[str, tuple[object, Collection, dict[str, Lesson]]] = field(default_factory=dict)
    _tonight: Tonight = field(init=False)

    def __post_init__(self) -> None:
        self._tonight = Tonight(self.ledger, self.forecasts)

    def applied(self, collection: Collection, now: datetime) -> Collection:
        """Return the collection with all that readings say of its spots, of this night too."""
        return self._tonight.applied(self.taught(collection, now), now)

    def taught(self, collection: Collection, now: datetime) -> Collection:
        """Return the collection with what past readings have taught about its spots.

        The same object, as long as nothing has been read and no night has passed.
        """
        return self._work_out(collection, now)[0]

    def of_spots(self, collection: Collection, now: datetime) -> dict[str, Lesson]:
        """Return what the readings of each outdoor spot teach; spots without readings are left
        out."""
        return self._work_out(collection, now)[1]

    def hangs_right(self, site: Site, spot: str) -> list[date]:
        """Return the nights since which the thermometer of a spot has been said to hang right."""
        return hangs_right(self.ledger, site, spot)

    def note_hangs_right(self, site: Site, spot: str, since: date, now: datetime) -> None:
        """Note that the thermometer of a spot hangs right, although it shows something else."""
        days = sorted({*hangs_right(self.ledger, site, spot), since})
        self.ledger.marks.set(hangs_right_mark(site, spot), now, " ".join(map(str, days)))

    def _so_far(self, collection: Collection, now: datetime) -> list[int | None]:
        """Return how cold it has become in each room tonight, in steps of `STEP_K`: what a room
        shows may call in plants at once."""
        sunset = sun.night_at_or_after(collection.site, now).start
        readings, site = self.ledger.readings, collection.site.name
        lows = [
            readings.lowest_since(site, spot.name, Quantity.TEMPERATURE, sunset)
            for spot in collection.spots
            if spot.indoors
        ]
        return [None if low is None else math.floor(low / STEP_K) for low in lows]

    def _work_out(
        self, collection: Collection, now: datetime
    ) -> tuple[Collection, dict[str, Lesson]]:
        site = collection.site
        # A night is over once its cold is, and what sensors send late has come.
        current = sun.night_at_or_after(site, now - sun.COLD_MORNING - LATE).day
        marks = [
            self.ledger.marks.get(hangs_right_mark(site, spot.name)) for spot in collection.spots
        ]
        edition, so_far = self.ledger.readings.edition(site.name), self._so_far(collection, now)
        since = self.forecasts.here_since(site)
        key = (collection, edition, current, marks, so_far, since)
        known = self._known.get(site.name)
        if known is not None and known[0] == key:
            return known[1], known[2]
        sources = [source.name for source in self.forecasts.sources]
        since = max(now - LEARNED_FROM, since)
        lessons = {
            spot.name: lesson
            for spot in collection.spots
            if not spot.indoors
            if (lesson := lesson_of(self.ledger, site, spot, sources, since)) is not None
        }
        responses = {
            spot.name: response
            for spot in collection.spots
            if spot.indoors
            if (response := response_of(self.ledger, site, spot, sources, since, now)) is not None
        }
        spots = tuple(
            replace(spot, learned=_as_of(current, lessons[spot.name].course.learned))
            if spot.name in lessons
            else replace(spot, response=responses[spot.name])
            if spot.name in responses
            else spot
            for spot in collection.spots
        )
        taught = collection.with_spots(spots)
        self._known[site.name] = key, taught, lessons
        return taught, lessons


def _as_of(night: date, learned: LearnedNights | None) -> LearnedNights | None:
    """Return what was learned of a spot as it is told before a night: with its age, and as certain
    as that leaves it."""
    if learned is None or (days := (night - learned.last).days) <= OLD_NIGHTS:
        return learned
    usual = learned.error.expect(Circumstances(USUAL_ERROR_K[0], days=days))
    return replace(learned, usual=usual, is_old=True)
