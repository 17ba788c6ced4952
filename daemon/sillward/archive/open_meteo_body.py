"""A body of Open-Meteo's archive, of its previous runs, or any other with its hourly values.

In previous runs `temperature_2m_previous_day2` is what was forecast two days before, and
`temperature_2m` itself the newest forecast of each hour.
"""

import re
from typing import Any

import numpy as np

from sillward.archive import columns
from sillward.archive.columns import API_NAMES, Column
from sillward.archive.csv_times import MAX_OFFSET_S
from sillward.archive.table import Table
from sillward.errors import one_line
from sillward.forecast import parsing
from sillward.forecast.parsing import Reading
from sillward.forecast.sources import open_meteo
from sillward_rules.arrays import Array
from sillward_rules.weather.site import Site

MAX_PARTS = 1000
"""Objects and lists in a body. Judgement: an archive has one list for each of some fifty variables;
millions of empty ones would fill the memory."""

_ISO = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d", re.ASCII)


def read(body: bytes, site: Site, reader: Reading) -> Table:
    """Return what a body holds. Raise SourceError if it is of no use."""
    if body.count(b"[") + body.count(b"{") > MAX_PARTS:
        reader.refuse("is not a list of hourly values")
    document = open_meteo.document_of(body, reader)
    reader.check_place(document.get("latitude"), document.get("longitude"), site)
    hourly, units = document.get("hourly"), document.get("hourly_units")
    if not isinstance(hourly, dict) or not isinstance(units, dict):
        reader.refuse("has no hourly values")
    given = _times(hourly.get("time"), units.get("time"), document, reader)
    found = [columns.column_of(name, API_NAMES) for name in hourly]
    wanted = columns.chosen([column for column in found if column is not None], reader)
    read_columns: list[tuple[Column, Array]] = []
    remarks: list[str] = []
    for column in wanted:
        values = open_meteo.numbers_of(hourly, column.head, given.size, reader)
        if values is None:
            continue
        unit = units.get(column.head)
        if not isinstance(unit, str):
            reader.refuse(f"does not say the unit of {column.quoted}")
        column = Column(column.head, column.name, columns.spelled(unit), column.lead_day)
        read_columns.append((column, columns.converted(values, column, reader)))
        if columns.is_converted(column):
            remarks.append(f"{column.head} is in {one_line(unit, 20)}: converted")
    if all(column.name != "temperature_2m" for column, _ in read_columns):
        _refuse_models(hourly, reader)
    has_days = any(column.lead_day for column, _ in read_columns)
    source = "Open-Meteo's previous runs" if has_days else "Open-Meteo's archive"
    height: Any = document.get("elevation")
    elevation_m = float(height) if parsing.is_number(height) else None
    return Table(source, given, read_columns, elevation_m, remarks)


def _refuse_models(hourly: dict[str, Any], reader: Reading) -> None:
    """Raise SourceError if there are only temperatures of several models, or for a height."""
    others = [name for name in hourly if name.startswith("temperature_2m_")]
    if others:
        reader.refuse(
            f'has no "temperature_2m", but "{one_line(others[0], 60)}": ask for one model'
        )


def _times(raw: object, unit: object, document: dict[str, Any], reader: Reading) -> np.ndarray:
    """Return the given times [unix s], which are unix seconds or local times of one offset."""
    if not isinstance(raw, list) or not raw:
        reader.refuse("has no list of times")
    if unit == "unixtime":
        if not all(type(time) is int and abs(time) < parsing.LAST_SECOND for time in raw):
            reader.refuse("has impossible times")
        return np.array(raw, dtype=np.int64)
    if unit != "iso8601":
        reader.refuse("gives its times neither as unixtime nor as iso8601")
    if not all(isinstance(time, str) and _ISO.fullmatch(time) for time in raw):
        reader.refuse("has times that are not like 2024-05-14T00:00")
    offset = document.get("utc_offset_seconds")
    if type(offset) is not int or abs(offset) > MAX_OFFSET_S:
        reader.refuse("does not say how far its times are from UTC (utc_offset_seconds)")
    try:
        local = np.array(raw, dtype="datetime64[s]")
    except ValueError:
        reader.refuse("has impossible times")
    # All of an answer has the offset that was valid when it was asked for, in summer and winter.
    return np.asarray(local.astype(np.int64) - offset)
