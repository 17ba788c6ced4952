"""Tonight's low at every spot that follows the weather, and how certain it is."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from sillward_rules.weather import sun
from sillward_rules.weather.climate import climate_by_night, climate_of
from sillward_rules.weather.hourly import Weather, covers, moment, rows_from_to
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import Spot
from sillward_rules.weather.spot_doubt import doubt_factor
from sillward_rules.weather.sun import Night
from sillward_rules.weather.uncertainty import usual_spread


@dataclass(frozen=True, slots=True)
class SpotLow:
    """The lowest leaf temperature of a night at a spot; None where the night is not wholly known.

    leaf_c, air_c : leaf and air at that moment [°C]. sd_k : standard deviation of the forecast then
    at the spot [K].
    """

    spot: str
    leaf_c: float | None
    at: datetime | None
    air_c: float | None
    sd_k: float | None


@dataclass(frozen=True, slots=True)
class Tonight:
    """A night, its low at each spot that follows the weather, and where their spread comes from."""

    night: Night
    lows: tuple[SpotLow, ...]
    spread: str


def tonight(site: Site, spots: Sequence[Spot], weather: Weather, now: datetime) -> Tonight:
    """Return the lows of the night at or after a moment."""
    night = sun.night_at_or_after(site, now)
    hourly = climate_of(site, spots, weather)
    climate = climate_by_night(site, hourly, weather)
    spread = weather.spread_in(rows_from_to(weather.times, night.start, night.cold_until))
    usual = usual_spread(weather.times, weather.issued_at or weather.fetched_at)
    sd_k = doubt_factor(hourly, weather.times, spread, usual.error_k) * spread.sd_k[:, None]
    rows = rows_from_to(climate.times, night.start, night.cold_until)
    known = rows.size > 0 and covers(weather, night.start, night.cold_until)
    lows = []
    for column, spot in enumerate(climate.spots):
        if spot.holds_itself:
            continue
        leaf = climate.leaf_c[rows, column]
        if not known or np.isnan(leaf).any():
            lows.append(SpotLow(spot.name, None, None, None, None))
            continue
        row = int(rows[np.argmin(leaf)])
        lows.append(
            SpotLow(
                spot=spot.name,
                leaf_c=float(climate.leaf_c[row, column]),
                at=moment(climate.times[row]),
                air_c=float(climate.temp_c[row, column]),
                sd_k=float(np.interp(climate.times[row], weather.times, sd_k[:, column])),
            )
        )
    return Tonight(night, tuple(lows), spread.origin)
