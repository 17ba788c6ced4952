"""An EPW file, as simulations of buildings use it, read by pvlib.

Its times are local standard time, and each is the end of its hour. A typical year is put together
from months of several years.

References: EnergyPlus, Auxiliary Programs, "EnergyPlus Weather File (EPW) Data Dictionary".
"""

import io
import math
import warnings
from collections.abc import Mapping
from typing import Any

import numpy as np

from sillward.archive.columns import Column
from sillward.archive.table import Table
from sillward.errors import one_line
from sillward.forecast import parsing
from sillward.forecast.parsing import Reading
from sillward_rules.arrays import HOUR_S, Array
from sillward_rules.weather.site import Site

TYPICAL_YEAR = 2023
"""The year that a typical year is replayed as. Judgement: a recent one without a leap day, so that
the clocks of the site change as they do now."""

LEAP_YEAR = 2024
"""The same for a typical year of 366 days."""

HEAD_LINES = 8
"""Lines before the first hour."""

_MISSING: Mapping[str, float] = {
    "temp_air": 99.9,
    "temp_dew": 99.9,
    "relative_humidity": 999.0,
    "ghi": 9999.0,
    "dhi": 9999.0,
    "wind_speed": 999.0,
    "total_sky_cover": 99.0,
    "liquid_precipitation_depth": 999.0,
    "liquid_precipitation_quantity": 99.0,
}
"""From which value on a field is missing, by pvlib's names (data dictionary)."""


def read(body: bytes, site: Site, reader: Reading) -> Table:
    """Return what a file holds. Raise SourceError if it is of no use, or pvlib is not there."""
    text = body.decode("latin-1")
    lines = text.splitlines()
    if len(lines) <= HEAD_LINES:
        reader.refuse("is an EPW file without any hour")
    periods = lines[HEAD_LINES - 1].split(",")
    if len(periods) < 3 or periods[2].strip() != "1":
        reader.refuse("is an EPW file that has not one value an hour")
    data, place = _parsed(text, reader)
    latitude, longitude, offset_h, elevation_m = (
        float(place[name]) for name in ("latitude", "longitude", "TZ", "altitude")
    )
    away = abs(latitude - site.latitude)
    if latitude * site.latitude < 0 and away > parsing.MAX_DEGREES_AWAY:
        here = f"{site.latitude:g}"
        reader.refuse(f"is of the other hemisphere: its latitude is {latitude:g}, not {here}")
    reader.check_place(latitude, longitude, site)
    if not abs(offset_h) <= 15 or not math.isfinite(elevation_m):
        reader.refuse("is an EPW file whose first line has an impossible zone or height")
    years = [line.split(",", 1)[0] for line in lines[HEAD_LINES:] if line.strip()]
    wall_h, remarks = _hours(years, data, reader)
    given = wall_h * HOUR_S - round(offset_h * HOUR_S)
    return Table("EPW file", given, _columns(data, reader), elevation_m, remarks)


def _parsed(text: str, reader: Reading) -> tuple[Any, Mapping[str, Any]]:
    """Return the hours as pvlib reads them, and what the first line says of the place."""
    try:
        from pvlib.iotools import read_epw
    except ImportError:
        reader.refuse(
            "is an EPW file, for which pvlib is needed: pip install '.[epw]' in the checkout"
        )
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of pandas, about columns of mixed content
            # With the years of a typical year a 29 February might be an error.
            data, place = read_epw(io.StringIO(text), coerce_year=LEAP_YEAR)
            return data, place
    except Exception as error:  # of any kind: it is not made for files that are no EPW
        reader.refuse(f"cannot be read as an EPW file: {one_line(error, 80)}")


def _numbers(data: Any, name: str, reader: Reading) -> Array:
    """Return a field of all hours; NaN where it is missing."""
    try:
        values = np.array(data[name], dtype=np.float64)
    except (ValueError, TypeError):
        reader.refuse(f"is an EPW file whose {name} are not all numbers")
    values[values >= _MISSING.get(name, np.inf)] = np.nan
    return values


def _hours(years: list[str], data: Any, reader: Reading) -> tuple[np.ndarray, list[str]]:
    """Return the end of each hour, in hours since 1970 of local standard time, and remarks."""
    month, day, hour = (
        _numbers(data, name, reader).astype(np.int64) for name in ("month", "day", "hour")
    )
    if len(years) != month.size or not all(
        year.strip().isascii() and year.strip().isdigit() and len(year.strip()) == 4
        for year in years
    ):
        reader.refuse("is an EPW file with hours of no year")
    year = np.array([int(text) for text in years], dtype=np.int64)
    has_leap_day = bool(np.any((month == 2) & (day == 29)))
    nominal = LEAP_YEAR if has_leap_day else TYPICAL_YEAR
    as_one_year = _ends(np.full(year.shape, nominal), month, day, hour)
    if np.unique(year).size > 1 and np.all(np.diff(as_one_year) > 0):
        days = ", of 366 days" if has_leap_day else ""
        said = f"a typical year{days}: its months are of {year.min()} to {year.max()}"
        return as_one_year, [f"{said}, and are replayed as {nominal}"]
    leap = (year % 4 == 0) & ((year % 100 != 0) | (year % 400 == 0))
    wrong = (month == 2) & (day == 29) & ~leap
    if wrong.any():
        reader.refuse(f"has a 29 February in {year[wrong][0]}, a year of 365 days")
    return _ends(year, month, day, hour), []


def _ends(year: np.ndarray, month: np.ndarray, day: np.ndarray, hour: np.ndarray) -> np.ndarray:
    """Return the end of each hour (1 to 24 of a day) in hours since 1970."""
    months = (year - 1970).astype("datetime64[Y]").astype("datetime64[M]") + (month - 1)
    days = months.astype("datetime64[D]").astype(np.int64) + (day - 1)
    return np.asarray(days * 24 + hour)


def _columns(data: Any, reader: Reading) -> list[tuple[Column, Array]]:
    """Return the variables of the hours."""
    field = {name: _numbers(data, name, reader) for name in _MISSING}
    # A sum of several hours does not say when in them it fell.
    hourly = ~(field["liquid_precipitation_quantity"] > 1)
    series = {
        "temperature_2m": ("dry bulb temperature", "°c", field["temp_air"]),
        "dew_point_2m": ("dew point", "°c", field["temp_dew"]),
        "relative_humidity_2m": ("relative humidity", "%", field["relative_humidity"]),
        "wind_speed_10m": ("wind speed", "m/s", field["wind_speed"]),
        "cloud_cover": ("total sky cover", "%", 10.0 * field["total_sky_cover"]),
        "precipitation": (
            "liquid precipitation depth",
            "mm",
            np.where(hourly, field["liquid_precipitation_depth"], np.nan),
        ),
        "direct_radiation": (
            "direct radiation on the level",
            "w/m2",
            np.maximum(field["ghi"] - field["dhi"], 0.0),
        ),
        "diffuse_radiation": ("diffuse horizontal radiation", "w/m2", field["dhi"]),
        "shortwave_radiation": ("global horizontal radiation", "w/m2", field["ghi"]),
    }
    return [(Column(head, name, unit), values) for name, (head, unit, values) in series.items()]
