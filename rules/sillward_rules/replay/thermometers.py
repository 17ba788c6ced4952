"""The thermometers of a replay: read at the full hours of every night, they show the air at their
spots by the weather that was. What they teach counts from the next noon on, as in the daemon."""

from dataclasses import dataclass, field, replace
from datetime import date, datetime

import numpy as np

from sillward_rules.plants.collection import Collection
from sillward_rules.readings.hourly_readings import by_the_hour
from sillward_rules.readings.night_correction import learn, nights_at
from sillward_rules.readings.night_lows import lows_of_sensor
from sillward_rules.readings.nowcast import BEFORE_SUNSET, Readings, with_nowcasts
from sillward_rules.weather import sun
from sillward_rules.weather.climate import Climate, climate_by_night, climate_of
from sillward_rules.weather.hourly import Weather, hours_within
from sillward_rules.weather.night_summary import NightForecast, nights_of
from sillward_rules.weather.spot import Spot

MOST_NIGHTS = 120
"""So many of the last nights teach. Judgement: what is older weighs nothing in the filter, and a
year would take twice the time."""

_SENSOR = "replayed"


@dataclass(slots=True)
class Thermometers:
    """The thermometers at some spots of a collection: what they show, and what that has taught."""

    collection: Collection
    spots: frozenset[str]
    _readings: Readings = field(init=False, default_factory=dict)
    _taught: tuple[Spot, ...] = field(init=False)
    _past: dict[str, list[tuple[float, NightForecast]]] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        self._taught = self.collection.spots

    def hours_of(self, day: date) -> np.ndarray:
        """Return when they are read in a night [unix s]; never, where there are none."""
        if not self.spots:
            return np.empty(0, dtype=np.int64)
        night = sun.night_of(self.collection.site, day)
        return hours_within(night.start - BEFORE_SUNSET, night.cold_until)

    def begin_night(self, day: date, climate: Climate) -> None:
        """Take what they will show in a night. climate : the true one, in steps by night."""
        rows = np.flatnonzero(np.isin(climate.times, self.hours_of(day)))
        self._readings = {
            spot.name: {_SENSOR: by_the_hour(climate.times[rows], climate.temp_c[rows, column])}
            for column, spot in enumerate(climate.spots)
            if spot.name in self.spots
        }

    def end_night(self, day: date, told: Weather) -> None:
        """Learn from a night. told : the forecast that there was when it began."""
        site = self.collection.site
        forecast = next(
            (of for of in nights_of(site, told, told.fetched_at) if of.night == day), None
        )
        if forecast is None:
            return
        for name, sensors in self._readings.items():
            lows = lows_of_sensor(site, sensors[_SENSOR], _SENSOR)
            past = self._past.setdefault(name, [])
            past += [(low.low_c, forecast) for low in lows if low.night == day]
            del past[:-MOST_NIGHTS]
        self._taught = tuple(self._taught_spot(spot) for spot in self.collection.spots)

    def _taught_spot(self, spot: Spot) -> Spot:
        past = self._past.get(spot.name, ())
        if not past or spot.indoors:
            return spot
        lows, told = zip(*past, strict=True)
        days = [forecast.night for forecast in told]
        nights = nights_at(spot, days, np.array(lows), told)
        return replace(spot, learned=learn(nights).learned)

    def spots_at(self, weather: Weather, now: datetime) -> tuple[Spot, ...]:
        """Return the spots of the collection with what has been read there so far."""
        site, factor = self.collection.site, self.collection.habits.axil_factor
        if not self._readings:
            return self._taught
        hourly = climate_of(site, self._taught, weather, axil_factor=factor)
        return with_nowcasts(site, climate_by_night(site, hourly, weather), self._readings, now)
