"""What the indoor spots of a site are taken to hold on the nights of a forecast, as was learned."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sillward_rules.arrays import Array
from sillward_rules.weather.forecast_nights import NO_NIGHTS, ForecastNights, forecast_nights
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.indoor_response import running_mean
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import Spot


@dataclass(frozen=True, slots=True, eq=False)
class IndoorNights:
    """The nights that begin within a forecast, in order, and one more that stands for all others.

    - nights: the nights, with their lows outdoors.
    - means_c (night, spot): the running mean of these that counts for a spot [°C].
    - taken_c (night, spot): what a spot is taken to hold (`IndoorResponse.taken_to_hold`) [°C]. NaN
      where nothing was learned.
    - margin_k (night, spot): how far the low that is expected there is above that [K]; 0 where
      nothing was learned.
    - gain (night, spot): by how much it changes within the night for each kelvin outdoors.

    A night whose low is not known counts as cold as the coldest of these and of those that were
    learned from.
    """

    nights: ForecastNights
    means_c: Array
    taken_c: Array
    margin_k: Array
    gain: Array


def indoor_nights(site: Site, spots: Sequence[Spot], weather: Weather) -> IndoorNights:
    """Return what was learned of the indoor spots for the nights of a forecast."""
    has_response = any(spot.response is not None for spot in spots)
    nights = forecast_nights(site, weather) if has_response else NO_NIGHTS
    lows = nights.low_c
    nothing = np.full((lows.size, len(spots)), np.nan)
    means, taken, gain = nothing, nothing.copy(), nothing.copy()
    margin = np.zeros(nothing.shape)
    for column, spot in enumerate(spots):
        response = spot.response
        if response is None:
            continue
        # A forecast may begin with days that are over, which the recent mean has in it.
        over = nights.days <= response.recent_night.toordinal()
        found = np.append(
            running_mean(lows[over], response.lag_nights),
            running_mean(lows[~over], response.lag_nights, response.recent_c),
        )
        coldest = min(response.coldest_c, float(np.nanmin(np.append(found, np.inf))))
        found = np.where(np.isnan(found), coldest, found)
        means[:, column] = found
        taken[:, column] = response.taken_to_hold(found, spot.night_low_c, spot.night_offset_k)
        gain[:, column] = response.gain_tonight(found)
        margin[:, column] = np.nan_to_num(response.predict(found)[0] - taken[:, column], nan=0.0)
    return IndoorNights(nights, means, taken, margin, gain)
