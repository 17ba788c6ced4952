"""A CSV file with a line of heads: names as Open-Meteo or as people give them, with their units.

Commas, semicolons or tabs, decimal point or comma, UTF-8 or what Windows writes. Open-Meteo's own
CSV, with its place in the first lines, is one of these.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import timedelta, timezone

import numpy as np

from sillward.archive import columns, csv_cells, csv_layout, csv_times
from sillward.archive.columns import Column
from sillward.archive.csv_layout import PLACE, Layout
from sillward.archive.csv_times import Clock
from sillward.archive.table import MAX_HOURS, YEAR_H, Table
from sillward.errors import one_line
from sillward.forecast.parsing import Reading
from sillward.forecast.sources import open_meteo
from sillward_rules.arrays import Array
from sillward_rules.weather.plausibility import out_of_season
from sillward_rules.weather.site import Site

_LEAST_LIGHT_W_M2 = 20.0
"""Light that never reaches this is in another unit, or the file is of a polar night [W/m2].
Judgement."""


def read(body: bytes, site: Site, reader: Reading) -> Table:
    """Return what a file holds.

    Raise SourceError if it is of no use, or can be read in two ways.
    """
    lines = body.decode(csv_layout.encoding_of(body, reader)).splitlines()
    layout = csv_layout.of_weather(lines, reader)
    elevation_m = _check_place(layout.place, site, reader)
    remarks = list(_unused(layout))
    cells, written = csv_cells.read(lines[layout.first :], layout, MAX_HOURS, remarks, reader)
    written.check(reader)
    clock = _clock(layout, cells.times[0].decode(), site, reader)
    given, all_values = (
        csv_times.seconds(cells.times, cells.lines, clock, site, reader),
        cells.values,
    )
    if given[0] > given[-1]:  # from new to old
        given, all_values = given[::-1], [values[::-1] for values in all_values]
    has_imperial = any(column.unit in columns.IMPERIAL for column in layout.columns.values())
    found: list[tuple[Column, Array]] = []
    for plain, values in zip(layout.columns.values(), all_values, strict=True):
        if np.isfinite(values).any():
            column = _with_unit(plain, values, given, has_imperial, site, reader)
            found.append((column, columns.converted(values, column, reader)))
            if columns.is_converted(column):
                remarks.append(f"{column.shown}: converted to {column.expected}")
    return Table("CSV file", given, found, elevation_m, remarks)


# -- the place


def _check_place(place: Mapping[str, str], site: Site, reader: Reading) -> float | None:
    """Return the height that Open-Meteo's CSV is for. Raise SourceError for another place."""
    if not place:
        return None
    numbers = []
    for name in PLACE[:3]:
        try:
            numbers.append(float(place.get(name, "")))
        except ValueError:
            numbers.append(float("nan"))
    latitude, longitude, elevation = numbers
    reader.check_place(latitude, longitude, site)
    return elevation if np.isfinite(elevation) else None


def _unused(layout: Layout) -> Iterator[str]:
    """Yield a remark on the columns that are not read."""
    used = {*layout.times, *layout.columns}
    others = [head for index, head in enumerate(layout.heads) if index not in used and head]
    if others:
        names = ", ".join(one_line(head, 30) for head in others[:5])
        more = f" and {len(others) - 5} more" if len(others) > 5 else ""
        yield f"columns that are not used: {names}{more}"
    if not layout.place:
        yield "the file does not say for which place it is"


def _clock(layout: Layout, first: str, site: Site, reader: Reading) -> Clock:
    """Return what heads, or the first lines of Open-Meteo's CSV, say of the times.

    first: the first time of the file.
    """
    for index in layout.times:
        clock = csv_times.clock_of(layout.heads[index], site, reader)
        if clock != Clock():
            return clock
    if not layout.place:
        return Clock()
    if first.isdigit():
        return Clock(unix=True)
    offset = layout.place.get("utc_offset_seconds", "")
    if not re.fullmatch(r"-?[0-9]{1,5}", offset) or abs(int(offset)) > csv_times.MAX_OFFSET_S:
        reader.refuse("does not say how far its times are from UTC (utc_offset_seconds)")
    return Clock(timezone(timedelta(seconds=int(offset))))


# -- units


def _with_unit(
    column: Column,
    values: Array,
    given: np.ndarray,
    has_imperial: bool,
    site: Site,
    reader: Reading,
) -> Column:
    """Return a column with its unit; one that says none has the usual one.

    Raise SourceError, with both readings, if another unit may be meant. Wind has no usual unit.

    has_imperial: whether another column is in such units.
    """
    if column.unit is not None:
        return column
    unit, most = column.expected, float(np.nanmax(values))
    other = None
    if unit == "m/s":
        other = "km/h"
    elif unit == "mm" and has_imperial:
        other = "inches"
    elif unit == "°C" and (has_imperial or _is_too_warm(column, values, given, site)):
        other = "°F"
    elif unit == "%" and 0 < most <= (10 if column.name.startswith("cloud") else 1):
        other = "eighths, tenths or a share" if most > 1 else "a share"
    elif unit == "W/m²" and 0 < most <= _LEAST_LIGHT_W_M2:
        other = "kW/m²"
    if other is not None:
        head = one_line(column.head, 40)
        reader.refuse(
            f"does not say the unit of {column.quoted}: its highest value may be {most:g} {unit} or"
            f' {most:g} {other}; write the unit in the head, such as "{head} ({unit})"'
        )
    return replace(column, unit=columns.spelled(unit))


def _is_too_warm(column: Column, values: Array, given: np.ndarray, site: Site) -> bool:
    """Whether values in °C are beyond what is possible at a site, as those in °F would be."""
    if column.name != "temperature_2m":
        return bool(np.nanmax(values) > open_meteo.READ[column.name].high)
    years = range(0, given.size, YEAR_H)
    return any(
        doubt.what != "hours"
        for first in years
        for doubt in out_of_season(
            site, given[first : first + YEAR_H], values[first : first + YEAR_H]
        )
    )
