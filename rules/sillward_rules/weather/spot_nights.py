"""What readings have taught of the nights of a forecast at the spots outdoors."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sillward_rules.arrays import Array
from sillward_rules.weather.forecast_nights import NO_NIGHTS, ForecastNights, forecast_nights
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.night_error import Circumstances, NightError
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import Spot
from sillward_rules.weather.spot_offset import night_offset_shares, weather_share


@dataclass(frozen=True, slots=True, eq=False)
class SpotNights:
    """What readings have taught of the nights of a forecast: (night, spot).

    - nights: the nights.
    - bias_k: what is added at night, beside what the grower said [K]; 0 where nothing was learned.
    - own, share: factors on the variance that a forecast does not show, and on that of its members;
      unsure_k2: the variance of the bias [K²]. 1, 1 and 0 where nothing was learned.
    """

    nights: ForecastNights
    bias_k: Array
    own: Array
    share: Array
    unsure_k2: Array

    def at(self, times: np.ndarray) -> "SpotNights":
        """Return the same by moments (time,) [unix s] instead of by nights: (time, spot)."""
        rows = self.nights.rows_at(times)
        by_time = (of[rows] for of in (self.bias_k, self.own, self.share, self.unsure_k2))
        return SpotNights(self.nights, *by_time)


def spot_nights(site: Site, spots: Sequence[Spot], weather: Weather) -> SpotNights:
    """Return what was learned of the spots outdoors for the nights of a forecast."""
    learned = [spot.learned is not None and not spot.indoors for spot in spots]
    nights = forecast_nights(site, weather) if any(learned) else NO_NIGHTS
    shape = (nights.low_c.size, len(spots))
    bias, unsure = np.zeros(shape), np.zeros(shape)
    own, share = np.ones(shape), np.ones(shape)
    left = weather_share(nights.wind_m_s, nights.cloud, nights.warming)
    said = night_offset_shares(spots, left)
    for column, spot in enumerate(spots):
        if spot.learned is None or spot.indoors:
            continue
        low_c = nights.low_c + (spot.night_offset_k or 0.0) * said[:, column]
        air = zip(low_c, nights.wind_m_s, nights.above_dew_point_k, strict=True)
        for row, (low, wind, dry) in enumerate(air):
            days = max(1, nights.days[row] - spot.learned.last.toordinal())
            night = Circumstances(1.0, float(low), 0.0, float(wind), float(dry), days)
            expected = spot.learned.error.expect(night)
            unknown_k = _unknown_k(spot.learned.error, night)
            bias[row, column] = spot.learned.bias_k(expected, days) - unknown_k
            own[row, column] = expected.own - expected.unsure_k2
            share[row, column] = expected.share
            unsure[row, column] = expected.unsure_k2
    return SpotNights(nights, bias, own, share, unsure)


def _unknown_k(error: NightError, night: Circumstances) -> float:
    """Return by how much colder the bias is where wind or dew point are not known: the colder case
    within what is usual there."""
    if not error.by_kind:
        return 0.0
    unknown = np.isnan([night.wind_m_s, night.above_dew_point_k])
    return float(np.abs(error.bias[1:3])[unknown].sum())
