"""How far off the forecast is at each spot, beside what is told of it at the site."""

import numpy as np

from sillward_rules.arrays import Array
from sillward_rules.weather.climate import Climate


def doubt_factor(climate: Climate, times: np.ndarray, told_sd_k: Array) -> Array:
    """Return the factor on the told departures of a forecast at each spot: (time, spot).

    It is 1 where nothing was read. Elsewhere it brings the told standard deviation to what past
    nights have shown on calm and clear nights or on others, and adds the doubt about the learned
    correction. For the rest of a night on which a thermometer has shown colder air than forecast,
    the error of that course counts.

    climate : with all of these times. times (time,) : [unix s]. told_sd_k (time,) : standard
    deviation of the forecast as it is told [K].
    """
    factor = np.ones((times.size, len(climate.spots)))
    certain = told_sd_k == 0.0
    told = np.where(certain, 1.0, told_sd_k)
    share = climate.weather_share[np.searchsorted(climate.times, times)]
    for column, spot in enumerate(climate.spots):
        if spot.learned is not None and not spot.indoors:
            own = spot.learned.factor(share) ** 2
            factor[:, column] = np.sqrt(own + spot.learned.variance(share) / told**2)
        if spot.tonight is not None:
            there = (times >= spot.tonight.at[0]) & (times <= spot.tonight.at[-1])
            sd_k = np.interp(times, spot.tonight.at, spot.tonight.sd_k)
            factor[there, column] = (sd_k / told)[there]
    factor[certain] = 1.0
    return np.asarray(np.where(np.isnan(factor), 1.0, factor))
