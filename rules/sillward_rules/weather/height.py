"""A forecast for one height, taken to another: what a site has of one for its surroundings."""

from dataclasses import replace

import numpy as np

from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.seasonal_range import LAPSE_K_PER_M

MIXED_W_M2 = 100.0
"""From this much sunlight on, in the mean of the hour, air is taken to be mixed up to some hundred
metres, so that it is warmer below [W/m2]. Judgement: an hour or two after sunrise, until about as
long before sunset; under a low winter sun, which leaves cold air in valleys all day, never."""


def at_height(weather: Weather, from_m: float, to_m: float) -> Weather:
    """Return a forecast for a height as that for another height nearby.

    Higher up it is colder by `LAPSE_K_PER_M`, at all hours. Lower down it is warmer by as much in
    hours of sunlight alone (`MIXED_W_M2`): on calm clear nights cold air pools in hollows, where
    the difference has the other sign as often as not (-1.2 to more than +10 K per 100 m were
    measured), and nothing says here which hours are such. Unknown sunlight counts as none.

    The dew point stays, but is never above the temperature; all else stays. The spread holds for
    either height, as it is about differences.

    from_m, to_m : metres above the sea; return the weather itself where they are the same.
    """
    warmer_k = LAPSE_K_PER_M * (from_m - to_m)
    if warmer_k == 0.0:
        return weather
    by_hour = np.full(weather.times.shape, warmer_k)
    if warmer_k > 0.0:
        with np.errstate(invalid="ignore"):
            mixed = weather.direct_w_m2 + weather.diffuse_w_m2 >= MIXED_W_M2
        by_hour = np.where(mixed, warmer_k, 0.0)
    temp_c = weather.temp_c + by_hour
    return replace(weather, temp_c=temp_c, dew_point_c=np.minimum(weather.dew_point_c, temp_c))
