"""What the forecast that is held expects at one spot, to hold readings against."""

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from sillward_rules.arrays import Array
from sillward_rules.readings.hourly_readings import Quantity
from sillward_rules.weather.climate import climate_of
from sillward_rules.weather.hourly import Weather, at_hours, between, hours_within
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import Spot
from sillward_rules.weather.sun import Night

UNITS = {Quantity.TEMPERATURE: "°C", Quantity.HUMIDITY: "%"}
"""The unit in which each quantity is kept."""


@dataclass(frozen=True, slots=True)
class ForecastHere:
    """What a forecast says of one spot."""

    site: Site
    spot: Spot
    weather: Weather | None

    def expected(self, quantity: Quantity, at: datetime, night: Night | None) -> float | None:
        """Return what is expected at a moment, or as the lowest of a night if one is given."""
        return self.at(quantity, at) if night is None else self.low(night)

    def at(self, quantity: Quantity, at: datetime) -> float | None:
        """Return what is expected there at a moment [°C or %]; None if that is not known."""
        if self.weather is None:
            return None
        value = between(self.weather.times, self.course(quantity), np.array([at.timestamp()]))[0]
        return float(value) if np.isfinite(value) else None

    def low(self, night: Night) -> float | None:
        """Return the lowest temperature expected there in a night; None if not all is known."""
        if self.weather is None:
            return None
        hours = hours_within(night.start, night.cold_until)
        values = at_hours(self.weather.times, self.course(Quantity.TEMPERATURE), hours)
        return float(values.min()) if values.size and np.isfinite(values).all() else None

    def course(self, quantity: Quantity) -> Array:
        """Return what is expected there at each time of the forecast (time,) [°C or %]."""
        if self.weather is None:
            return np.empty(0)
        climate = climate_of(self.site, [self.spot], self.weather)
        series = climate.temp_c if quantity is Quantity.TEMPERATURE else climate.rh_pct
        return np.asarray(series[:, 0])
