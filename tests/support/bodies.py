"""Forecast bodies for tests, shaped like those of the forecast API, with weather of no place."""

import json
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

from sillward_rules.weather.site import Site

SITE = Site("Testyard", -32.89, -68.85, 780.0, ZoneInfo("America/Argentina/Mendoza"))
"""The site that `body` is for."""

START = datetime(2026, 5, 13, tzinfo=UTC)
"""A first hour, when a test does not care which."""

HOUR_S = 3600

UNITS: Mapping[str, str] = {
    "temperature_2m": "°C",
    "relative_humidity_2m": "%",
    "dew_point_2m": "°C",
    "surface_pressure": "hPa",
    "cloud_cover": "%",
    "cloud_cover_low": "%",
    "cloud_cover_mid": "%",
    "cloud_cover_high": "%",
    "wind_speed_10m": "m/s",
    "wind_gusts_10m": "m/s",
    "precipitation": "mm",
    "direct_radiation": "W/m²",
    "diffuse_radiation": "W/m²",
    "shortwave_radiation": "W/m²",
    "weather_code": "wmo code",
}

USUAL: Mapping[str, float] = {
    "temperature_2m": 15.0,
    "relative_humidity_2m": 47.0,
    "dew_point_2m": 3.8,
    "surface_pressure": 924.0,
    "cloud_cover": 20,
    "wind_speed_10m": 2.0,
    "wind_gusts_10m": 4.0,
    "precipitation": 0.0,
    "direct_radiation": 100.0,
    "diffuse_radiation": 50.0,
    "weather_code": 1,
}
"""What every hour is like unless a test says otherwise."""

Values = float | None | Sequence[Any]


def body(start: datetime = START, hours: int = 216, **series: Values) -> dict[str, Any]:
    """A body of so many hours from start on, every variable there and everything in order.

    A keyword gives a variable: one value for all hours, or a list of values. None leaves the
    variable out. Whatever a test needs to be wrong it changes in the result.
    """
    first = int(start.timestamp())
    chosen: dict[str, Values] = {**USUAL, **series}
    rows = {
        name: list(given) if isinstance(given, Sequence) else [given] * hours
        for name, given in chosen.items()
        if given is not None
    }
    return {
        "latitude": SITE.latitude + 0.015,
        "longitude": SITE.longitude - 0.025,
        "generationtime_ms": 0.4,
        "utc_offset_seconds": 0,
        "timezone": "GMT",
        "timezone_abbreviation": "GMT",
        "elevation": SITE.elevation_m,
        "hourly_units": {"time": "unixtime", **{name: UNITS[name] for name in rows}},
        "hourly": {"time": [first + HOUR_S * hour for hour in range(hours)], **rows},
    }


def ensemble_body(members: int, start: datetime = START, hours: int = 216) -> dict[str, Any]:
    """A body of the ensemble API: a control run and its members, a tenth of a degree apart."""
    made = body(start, hours)
    names = [
        "temperature_2m",
        *(f"temperature_2m_member{member:02d}" for member in range(1, members)),
    ]
    rows = {name: [15.0 + 0.1 * number] * hours for number, name in enumerate(names)}
    made["hourly"] = {"time": made["hourly"]["time"], **rows}
    made["hourly_units"] = {"time": "unixtime", **dict.fromkeys(rows, "°C")}
    return made


def dumped(document: object) -> bytes:
    """The body as it comes over the wire; NaN and Infinity become the literals of Python."""
    return json.dumps(document, ensure_ascii=False).encode()
