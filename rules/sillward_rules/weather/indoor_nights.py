"""What the indoor spots of a site are taken to hold on the nights of a forecast, as was learned."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import takewhile

import numpy as np

from sillward_rules.arrays import HOUR_S, Array
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import Weather, bridge_gaps, moment, rows_from_to
from sillward_rules.weather.indoor_response import running_mean
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import Spot
from sillward_rules.weather.sun import Night


@dataclass(frozen=True, slots=True, eq=False)
class IndoorNights:
    """The nights that begin within a forecast, in order, and one more that stands for all others.

    - ends (night - 1,): when each ends [unix s].
    - lows_c (night,): the lowest air temperature outdoors by the forecast [°C]; NaN where it is not
      known to the end of the cold, and for the last.
    - means_c (night, spot): the running mean of these that counts for a spot [°C].
    - taken_c (night, spot): what a spot is taken to hold (`IndoorResponse.taken_to_hold`) [°C]. NaN
      where nothing was learned.
    - gain (night, spot): by how much it changes within the night for each kelvin outdoors.

    A night whose low is not known counts as cold as the coldest of these and of those that were
    learned from.
    """

    ends: Array
    lows_c: Array
    means_c: Array
    taken_c: Array
    gain: Array

    def rows_at(self, times: np.ndarray) -> np.ndarray:
        """Return the row of the night that goes on at each moment [unix s], or of the next one."""
        return np.asarray(np.searchsorted(self.ends, times))

    def row_of(self, night: Night) -> int:
        """Return the row of a night."""
        row = int(np.searchsorted(self.ends, night.end.timestamp()))
        same = row < self.ends.size and self.ends[row] == night.end.timestamp()
        return row if same else self.ends.size


def indoor_nights(site: Site, spots: Sequence[Spot], weather: Weather) -> IndoorNights:
    """Return what was learned of the indoor spots for the nights of a forecast."""
    ends, lows = np.empty(0), np.full(1, np.nan)
    if any(spot.response is not None for spot in spots):
        ends, lows = _lows_outdoors(site, weather)
    nothing = np.full((lows.size, len(spots)), np.nan)
    means, taken, gain = nothing, nothing.copy(), nothing.copy()
    for column, spot in enumerate(spots):
        response = spot.response
        if response is None:
            continue
        found = running_mean(lows, response.lag_nights, response.recent_c)
        coldest = min(response.coldest_c, float(np.nanmin(np.append(found, np.inf))))
        found = np.where(np.isnan(found), coldest, found)
        means[:, column] = found
        taken[:, column] = response.taken_to_hold(found, spot.night_low_c, spot.night_offset_k)
        gain[:, column] = response.gain_tonight(found)
    return IndoorNights(ends, lows, means, taken, gain)


def _lows_outdoors(site: Site, weather: Weather) -> tuple[Array, Array]:
    """Return when the nights of a forecast end [unix s], and their lows with one unknown [°C].

    The low is that at a full hour, as in the archive of nights. Of the night that goes on when the
    forecast begins it is that of the hours that are left.
    """
    whole = weather.times % HOUR_S == 0
    times, temp = weather.times[whole], bridge_gaps(weather.temp_c[whole])
    if not times.size:
        return np.empty(0), np.full(1, np.nan)
    begun = takewhile(
        lambda night: night.start.timestamp() <= times[-1],
        sun.nights_from(site, moment(times[0])),
    )
    ends, lows = [], []
    for night in begun:
        rows = rows_from_to(times, night.start, night.cold_until)
        reaches = rows.size and times[-1] > night.cold_until.timestamp() - HOUR_S
        ends.append(night.end.timestamp())
        lows.append(float(temp[rows].min()) if reaches else np.nan)
    return np.array(ends), np.array([*lows, np.nan])
