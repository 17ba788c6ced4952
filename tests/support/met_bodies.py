"""Bodies in the shape of MET Norway's documentation (ForecastJSON), with weather of no place."""

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

from tests.support.bodies import SITE, START, Values

UNITS: Mapping[str, str] = {
    "air_pressure_at_sea_level": "hPa",
    "air_temperature": "celsius",
    "air_temperature_max": "celsius",
    "air_temperature_min": "celsius",
    "air_temperature_percentile_10": "celsius",
    "air_temperature_percentile_90": "celsius",
    "cloud_area_fraction": "%",
    "cloud_area_fraction_high": "%",
    "cloud_area_fraction_low": "%",
    "cloud_area_fraction_medium": "%",
    "dew_point_temperature": "celsius",
    "fog_area_fraction": "%",
    "precipitation_amount": "mm",
    "probability_of_precipitation": "%",
    "relative_humidity": "%",
    "wind_from_direction": "degrees",
    "wind_speed": "m/s",
    "wind_speed_of_gust": "m/s",
}

USUAL: Mapping[str, float] = {
    "air_pressure_at_sea_level": 1014.2,
    "air_temperature": 15.0,
    "air_temperature_percentile_10": 14.1,
    "air_temperature_percentile_90": 16.2,
    "cloud_area_fraction": 20.0,
    "dew_point_temperature": 3.8,
    "fog_area_fraction": 0.0,
    "relative_humidity": 47.0,
    "wind_from_direction": 151.8,
    "wind_speed": 2.0,
    "wind_speed_of_gust": 4.0,
}
"""What every instant is like unless a test says otherwise."""

HOURLY, STEPS = 60, 28
"""How many times a body has one hour, and six hours, apart: about what the service gives."""


def met_body(
    start: datetime = START,
    *,
    hourly: int = HOURLY,
    steps: int = STEPS,
    rain_1: Values = 0.0,
    rain_6: Values = 0.0,
    low: Values = 15.0,
    high: Values = 15.0,
    **instants: Values,
) -> dict[str, Any]:
    """A body with so many hourly times from start on, then so many six hours apart, and a last one.

    The last has no period; those of six hours have no next hour. A keyword gives an instant's
    variable, rain_1 and rain_6 the rain of the next hour and six hours, low and high what is
    lowest and highest in the latter: one value for all times, or a list with one for each. None
    leaves it out. Whatever a test needs to be wrong it changes in the result.
    """
    count = hourly + steps + 1
    chosen: dict[str, Values] = {**USUAL, **instants}
    rows = {name: _each(values, count) for name, values in chosen.items()}
    hour = {"precipitation_amount": _each(rain_1, count)}
    six = {
        "precipitation_amount": _each(rain_6, count),
        "air_temperature_min": _each(low, count),
        "air_temperature_max": _each(high, count),
    }
    series = []
    for row in range(count):
        data: dict[str, Any] = {"instant": {"details": _given(rows, row)}}
        if row < count - 1:
            data["next_12_hours"] = {"summary": {"symbol_code": "fair_day"}}
            data["next_6_hours"] = _period(six, row)
        if row < hourly:
            data["next_1_hours"] = _period(hour, row)
        ahead = row if row < hourly else hourly + 6 * (row - hourly)
        at = start + timedelta(hours=ahead)
        series.append({"time": f"{at:%Y-%m-%dT%H:%M:%SZ}", "data": data})
    return {
        "type": "Feature",
        "geometry": {
            "type": "Point",
            "coordinates": [SITE.longitude, SITE.latitude, SITE.elevation_m],
        },
        "properties": {
            "meta": {"updated_at": f"{start:%Y-%m-%dT%H}:04:26Z", "units": dict(UNITS)},
            "timeseries": series,
        },
    }


def _each(values: Values, count: int) -> list[Any]:
    return list(values) if isinstance(values, Sequence) else [values] * count


def _given(rows: Mapping[str, list[Any]], row: int) -> dict[str, Any]:
    return {name: values[row] for name, values in rows.items() if values[row] is not None}


def _period(rows: Mapping[str, list[Any]], row: int) -> dict[str, Any]:
    return {"summary": {"symbol_code": "fair_day"}, "details": _given(rows, row)}
