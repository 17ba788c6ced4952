"""What thermometers show of the present night, against the forecast that is held."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta

import numpy as np

from sillward.forecast.store import ForecastStore
from sillward.ledger import Ledger
from sillward_rules.plants.collection import Collection
from sillward_rules.readings.hourly_readings import HourlyReadings, Quantity, by_the_hour
from sillward_rules.readings.night_lows import BY_HAND
from sillward_rules.readings.nowcast import BEFORE_SUNSET, with_nowcasts
from sillward_rules.weather import sun
from sillward_rules.weather.climate import climate_by_night, climate_of

EVERY = timedelta(minutes=5)
"""Readings are looked at this often. Judgement: soon enough for an alarm; a sensor may report every
few seconds, and each look works out a night."""

_FURTHER_BACK = timedelta(hours=1)
"""Readings are kept by the hour: that in which the first of the night falls counts too."""


@dataclass(slots=True)
class Tonight:
    """Gives the spots of a collection the course of this night, where sensors show it colder."""

    ledger: Ledger
    forecasts: ForecastStore
    _known: dict[str, tuple[object, Collection]] = field(default_factory=dict)

    def applied(self, collection: Collection, now: datetime) -> Collection:
        """Return the collection with what thermometers show of this night.

        The same object by day, and where no night is colder than forecast.
        """
        site = collection.site
        since = sun.night_at_or_after(site, now).start - BEFORE_SUNSET
        if now < since:
            return collection
        step = int(now.timestamp() // EVERY.total_seconds())
        key = (step, self.forecasts.edition(site), collection)
        known = self._known.get(site.name)
        if known is None or known[0] != key:
            known = self._known[site.name] = key, self._look(collection, since, now)
        return known[1]

    def _look(self, collection: Collection, since: datetime, now: datetime) -> Collection:
        site, spots = collection.site, collection.spots
        found = {spot.name: self._readings(site.name, spot.name, since, now) for spot in spots}
        readings = {name: sensors for name, sensors in found.items() if sensors}
        if not readings:
            return collection
        weather, factor = self.forecasts.weather(site), collection.habits.axil_factor
        hourly = climate_of(site, spots, weather, axil_factor=factor)
        climate = climate_by_night(site, hourly, weather)
        return collection.with_spots(with_nowcasts(site, climate, readings, now))

    def _readings(
        self, site: str, spot: str, since: datetime, now: datetime
    ) -> Mapping[str, HourlyReadings]:
        """Return the temperatures of each sensor at a spot, and what was read by hand."""
        readings, since = self.ledger.readings, since - _FURTHER_BACK
        found = readings.of_spot(site, spot, Quantity.TEMPERATURE, since, now)
        by_hand = [
            (reading.at.timestamp(), reading.value)
            for reading in readings.by_hand(site, spot, since)
            if reading.quantity is Quantity.TEMPERATURE and reading.night is None
        ]
        if by_hand:
            at, values = np.array(by_hand).T
            found[BY_HAND] = by_the_hour(at, values)
        return found
