"""Whether the temperatures of a file are likely in the other unit than it says.

A head that says °C over values in °F is common: a program was switched over and its template was
not. The same question is asked of what is typed (`by_hand.check_unit`).
"""

import numpy as np

from sillward.errors import SourceError
from sillward.readings.forecast_here import ForecastHere
from sillward.readings.logger_file import Series
from sillward_rules.arrays import Array
from sillward_rules.readings.hourly_readings import Quantity, by_the_hour
from sillward_rules.readings.quality import OTHER_UNIT_FAR_K, OTHER_UNIT_H, OTHER_UNIT_NEAR_K
from sillward_rules.weather.hourly import at_hours

A_DAY_H = 20
WARM_LOW_C = 30.0
WARM_MEDIAN_C = 40.0
COLD_HIGH_C = -3.0
"""Without a forecast: the values of about a day or more whose lowest, or median, is above these, or
whose highest is below the last, are hardly of a place where tender plants stand [°C]. Judgement:
nights of the hottest coasts stay below 33, and 8 to 22 °C read as °F are -13 to -6."""


def check_unit(name: str, series: Series, here: ForecastHere) -> None:
    """Raise SourceError for temperatures that are likely in the other unit.

    name: of the file. here: what was expected at the spot.
    """
    if series.quantity is not Quantity.TEMPERATURE:
        return
    hours = by_the_hour(series.times, series.values)
    values = hours.mean
    other = (values - 32) / 1.8 if not series.fahrenheit else values * 1.8 + 32
    if here.weather is not None:
        told = at_hours(here.weather.times, here.course(Quantity.TEMPERATURE), hours.hour)
    else:
        told = np.full(values.shape, np.nan)
    known = np.isfinite(told)
    if known.sum() >= OTHER_UNIT_H:
        is_likely = bool(
            abs(np.median((values - told)[known])) > OTHER_UNIT_FAR_K
            and abs(np.median((other - told)[known])) < OTHER_UNIT_NEAR_K
        )
    else:
        is_likely = values.size >= A_DAY_H and _is_unlikely(values, fahrenheit=series.fahrenheit)
    if is_likely:
        unit, another = ("°F", "°C") if series.fahrenheit else ("°C", "°F")
        shown = series.values * 1.8 + 32 if series.fahrenheit else series.values
        msg = (
            f"{name}: its temperatures, from {shown.min():.0f} to {shown.max():.0f} {unit}, are"
            f" unlikely at {here.spot.name}, and would fit in {another}: say --unit {another[1]},"
            f" or --unit {unit[1]} if they are really in {unit}"
        )
        raise SourceError(msg)


def _is_unlikely(values: Array, *, fahrenheit: bool) -> bool:
    """Whether the means of some hours (hour,) [°C] are hardly of air at tender plants."""
    if fahrenheit:
        return bool(values.max() < COLD_HIGH_C)
    return bool(values.min() > WARM_LOW_C or np.median(values) > WARM_MEDIAN_C)
