"""What the readings of a household teach: its collection, with spots as they really are.

Nothing that is learned is stored. It is worked out from the readings in the ledger and from its
archive of forecasts, so that whatever is corrected or removed there corrects what follows from it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta

import numpy as np

from sillward.forecast.store import ForecastStore
from sillward.ledger import Ledger
from sillward_rules.plants.collection import Collection
from sillward_rules.readings.hourly_readings import HourlyReadings, Quantity
from sillward_rules.readings.night_correction import CorrectionCourse, Nights, learn
from sillward_rules.readings.night_lows import NightLow, lows_at_spot
from sillward_rules.weather import sun
from sillward_rules.weather.learned_error import LearnedError
from sillward_rules.weather.night_summary import NightForecast
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import Spot
from sillward_rules.weather.spot_offset import night_offset_shares, weather_share
from sillward_rules.weather.uncertainty import usual_error_k

LEARNED_FROM = timedelta(days=400)
"""Nights longer ago teach nothing. Judgement: the archive of forecasts goes back as far, and the
filter has forgotten them long before."""

HANGS_RIGHT = "thermometer hangs right"
"""The mark in the ledger, by site and spot, that lists the nights since which a thermometer that
shows something else has been said to hang right."""


@dataclass(frozen=True, slots=True, eq=False)
class Lesson:
    """What the readings of one spot teach.

    Args:
        lows: the low of each night that was read there.
        told: what was forecast at dusk for the site, of those nights for which it is known, and
            for each the name of its source.
        course: how the correction was learned from these nights.
    """

    spot: Spot
    lows: Sequence[NightLow]
    told: Mapping[date, tuple[str, NightForecast]]
    course: CorrectionCourse


@dataclass(slots=True)
class Lessons:
    """Applies what was read to collections. What was worked out is kept while nothing changes."""

    ledger: Ledger
    forecasts: ForecastStore
    _known: dict[str, tuple[object, Collection, dict[str, Lesson]]] = field(default_factory=dict)

    def applied(self, collection: Collection, now: datetime) -> Collection:
        """Return the collection with what readings have taught about its spots.

        The same object, as long as nothing has been read and no night has passed.
        """
        return self._work_out(collection, now)[0]

    def of_spots(self, collection: Collection, now: datetime) -> dict[str, Lesson]:
        """Return what the readings of each outdoor spot teach; spots without readings are left
        out."""
        return self._work_out(collection, now)[1]

    def hangs_right(self, site: Site, spot: str) -> list[date]:
        """Return the nights since which the thermometer of a spot has been said to hang right."""
        mark = self.ledger.marks.get(_mark_of(site, spot))
        return [] if mark is None else [date.fromisoformat(day) for day in mark.text.split()]

    def note_hangs_right(self, site: Site, spot: str, since: date, now: datetime) -> None:
        """Note that the thermometer of a spot hangs right, although it shows something else."""
        days = sorted({*self.hangs_right(site, spot), since})
        self.ledger.marks.set(_mark_of(site, spot), now, " ".join(map(str, days)))

    def _work_out(
        self, collection: Collection, now: datetime
    ) -> tuple[Collection, dict[str, Lesson]]:
        site = collection.site
        last_night = sun.night_at_or_after(site, now).day - timedelta(days=1)
        marks = [self.ledger.marks.get(_mark_of(site, spot.name)) for spot in collection.spots]
        key = (collection, self.ledger.readings.edition(site.name), last_night, marks)
        known = self._known.get(site.name)
        if known is not None and known[0] == key:
            return known[1], known[2]
        lessons = {
            spot.name: lesson
            for spot in collection.spots
            if not spot.indoors
            if (lesson := self._lesson(site, spot, now)) is not None
        }
        spots = tuple(
            replace(spot, learned=lessons[spot.name].course.learned)
            if spot.name in lessons
            else spot
            for spot in collection.spots
        )
        taught = replace(collection, spots=spots) if lessons else collection
        self._known[site.name] = key, taught, lessons
        return taught, lessons

    def _lesson(self, site: Site, spot: Spot, now: datetime) -> Lesson | None:
        """Return what the readings of a spot teach; None without a night that was read."""
        since = max(now - LEARNED_FROM, self.forecasts.here_since(site))
        lows = self.lows(site, spot.name, since)
        told = self._told(site, [low.night for low in lows])
        read = [low for low in lows if low.night in told]
        if not read:
            return None
        nights = _nights(spot, read, [told[low.night][1] for low in read], None)
        course = learn(nights, self.hangs_right(site, spot.name))
        return Lesson(spot, lows, told, course)

    def lows(self, site: Site, spot: str, since: datetime) -> list[NightLow]:
        """Return the low of each night at a spot that was read, from a moment on."""
        readings = self.ledger.readings
        sensors: dict[str, HourlyReadings] = readings.of_spot(
            site.name, spot, Quantity.TEMPERATURE, since
        )
        by_hand = [
            (reading.at, reading.value, reading.night)
            for reading in readings.by_hand(site.name, spot, since)
            if reading.quantity is Quantity.TEMPERATURE
        ]
        return lows_at_spot(site, sensors, by_hand)

    def _told(self, site: Site, nights: Sequence[date]) -> dict[date, tuple[str, NightForecast]]:
        """Return what was forecast of nights before they began, as far as it is known.

        That of the first of the grower's sources which had one; the newest that it had by sunset.
        """
        sources = [source.name for source in self.forecasts.sources]
        begins = {night: sun.night_of(site, night).start for night in nights}
        return self.ledger.nights.before(site.name, sources, begins)


def _nights(
    spot: Spot,
    lows: Sequence[NightLow],
    told: Sequence[NightForecast],
    errors: LearnedError | None,
) -> Nights:
    """Return nights that were read and forecast, as the filter takes them.

    errors: how far off forecasts are told to be; None for the usual errors.
    """

    def known(values: Sequence[float | None]) -> np.ndarray:
        return np.array([np.nan if value is None else value for value in values], dtype=np.float64)

    share = weather_share(
        known([each.wind_m_s for each in told]),
        np.nan_to_num(known([each.cloud for each in told]), nan=0.0),
    )
    said = (spot.night_offset_k or 0.0) * night_offset_shares((spot,), share)[:, 0]
    lead_h = np.array([each.lead_h for each in told])
    usual = usual_error_k(lead_h)
    if errors is not None:
        usual = np.interp(lead_h, errors.lead_h, errors.sd_k)
    with_members = known([each.sd_k for each in told])
    return Nights(
        day=np.array([low.night.toordinal() for low in lows]),
        error_k=np.array([low.low_c for low in lows]) - known([each.low_c for each in told]) - said,
        said_k=said,
        share=share,
        told_sd_k=np.where(with_members > 0, with_members, usual),
    )


def _mark_of(site: Site, spot: str) -> str:
    return f"{HANGS_RIGHT}, {site.name}, {spot}"
