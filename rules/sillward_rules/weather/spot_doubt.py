"""How far off the forecast is at each spot, beside what is told of it at the site."""

import numpy as np

from sillward_rules.arrays import Array
from sillward_rules.weather.climate import Climate
from sillward_rules.weather.uncertainty import Spread


def doubt_factor(climate: Climate, times: np.ndarray, spread: Spread, usual_k: Array) -> Array:
    """Return the factor on the told departures of a forecast at each spot: (time, spot).

    Where nothing was read it is 1, or brings an error that was learned at other spots, after their
    correction, to the usual one at least. Elsewhere it brings the told standard deviation to what
    past nights have shown of such nights, beside the usual error or the members, and adds the doubt
    about the learned correction. For the rest of a night on which a thermometer has shown colder
    air than forecast, the error of that course counts.

    times (time,) : [unix s], within the climate's. spread : of the forecast at these times.
    usual_k (time,) : the usual error then [K].
    """
    told = spread.sd_k**2
    certain = ~(told > 0.0)
    told = np.where(certain, 1.0, told)[:, None]
    learned = climate.learned.at(times)
    # The factors were learned beside the usual error, or beside members and their own.
    unshown = (spread.error_k if spread.deviations.any() else usual_k)[:, None] ** 2
    members = (spread.sd_k**2 - spread.error_k**2)[:, None]
    taught = learned.own * unshown + learned.share * members + learned.unsure_k2
    is_taught = np.array([spot.learned is not None for spot in climate.spots], dtype=bool)
    factor = np.where(is_taught, np.sqrt(taught / told), 1.0)
    if spread.corrected:
        at_least = np.sqrt(np.maximum(usual_k[:, None] ** 2 / told, 1.0))
        factor[:, ~is_taught] = at_least
    for column, spot in enumerate(climate.spots):
        if spot.tonight is not None:
            there = (times >= spot.tonight.at[0]) & (times <= spot.tonight.at[-1])
            sd_k = np.interp(times, spot.tonight.at, spot.tonight.sd_k)
            factor[there, column] = sd_k[there] / np.sqrt(told[there, 0])
    factor[certain] = 1.0
    return np.asarray(np.where(np.isnan(factor), 1.0, factor))
