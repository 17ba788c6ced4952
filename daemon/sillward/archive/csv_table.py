"""A CSV file with a line of heads: names as Open-Meteo or as people give them, with their units.

Commas, semicolons or tabs, decimal point or comma, UTF-8 or what Windows writes. Open-Meteo's own
CSV, with its place in the first lines, is one of these.
"""

import csv
import re
from array import array
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta, timezone

import numpy as np

from sillward.archive import columns, csv_times
from sillward.archive.columns import Column
from sillward.archive.csv_times import Clock
from sillward.archive.table import MAX_HOURS, YEAR_H, Table
from sillward.errors import one_line
from sillward.forecast.parsing import Reading
from sillward.forecast.sources import open_meteo
from sillward_rules.arrays import Array
from sillward_rules.weather.plausibility import out_of_season
from sillward_rules.weather.site import Site

MAX_HEAD_LINES = 30
"""The heads are looked for in these first lines. Judgement: loggers write some lines before."""

_PLACE = ("latitude", "longitude", "elevation", "utc_offset_seconds", "timezone")
"""How the first line of Open-Meteo's CSV begins."""

_MISSING = frozenset({"", "na", "n/a", "nan", "null", "none", "-", "--", "---", "missing"})
_NUMBER = re.compile(
    r"(?P<whole>[-+]?[0-9]*)(?:(?P<mark>[.,])(?P<part>[0-9]*))?(?:e[-+]?[0-9]{1,3})?", re.I
)

_LEAST_LIGHT_W_M2 = 20.0
"""Light that never reaches this is in another unit, or the file is of a polar night [W/m2].
Judgement."""


@dataclass(frozen=True, slots=True)
class _Layout:
    """Where in a file what is.

    Args:
        delimiter: what stands between two cells.
        heads: the heads.
        first: the index of the first line of values.
        times: the indices of the columns that make a time together.
        columns: the columns that are read, by their index.
        place: what the first lines say of place and zone.
    """

    delimiter: str
    heads: Sequence[str]
    first: int
    times: Sequence[int]
    columns: Mapping[int, Column]
    place: Mapping[str, str]


def read(body: bytes, site: Site, reader: Reading) -> Table:
    """Return what a file holds.

    Raise SourceError if it is of no use, or can be read in two ways.
    """
    lines = _decoded(body, reader).splitlines()
    layout = _layout(lines, reader)
    elevation_m = _check_place(layout.place, site, reader)
    remarks = list(_unused(layout))
    texts, numbers, all_values = _values(lines, layout, remarks, reader)
    clock = _clock(layout, texts[0], site, reader)
    given = csv_times.seconds(texts, clock, site, numbers.__getitem__, reader)
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


# -- the layout


def _decoded(body: bytes, reader: Reading) -> str:
    """Return the text of a file: UTF-8, UTF-16 with its mark, or else Windows-1252."""
    if body.startswith((b"\xff\xfe", b"\xfe\xff")):
        encodings: tuple[str, ...] = ("utf-16",)
    else:
        encodings = ("utf-8-sig", "cp1252")
    for encoding in encodings:
        try:
            text = body.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\0" not in text:
            return text
    reader.refuse("is neither text nor any other kind of past weather that is known")


def _layout(lines: Sequence[str], reader: Reading) -> _Layout:
    """Return where the columns are: under the first line with a head for times and temperature."""
    place: dict[str, str] = {}
    for number, line in enumerate(lines[:MAX_HEAD_LINES]):
        for delimiter in (";", "\t", ","):
            heads = _cells(line, delimiter)
            if number == 0 and tuple(heads[: len(_PLACE)]) == _PLACE and len(lines) > 1:
                place = dict(zip(heads, _cells(lines[1], delimiter), strict=False))
            times = _time_columns(heads)
            known = [columns.column_of(head) for head in heads]
            if not times or all(
                column is None or column.name != "temperature_2m" for column in known
            ):
                continue
            wanted = columns.chosen([column for column in known if column], reader)
            chosen = {
                index: column for index, column in enumerate(known) if column in wanted and column
            }
            return _Layout(delimiter, heads, number + 1, times, chosen, place)
    first = one_line(lines[0], 60) if lines else ""
    reader.refuse(
        "is none of the kinds that are known: it is no JSON and no EPW, and as CSV it has no line"
        f' with heads for the time and the temperature; it begins with "{first}"'
    )


def _cells(line: str, delimiter: str) -> list[str]:
    try:
        rows = list(csv.reader([line], delimiter=delimiter))
    except csv.Error:
        return []
    return [cell.strip() for cell in rows[0]] if rows else []


def _time_columns(heads: Sequence[str]) -> tuple[int, ...]:
    """Return the index of the column of whole times, or of a date and of an hour; () for none."""
    whole, dates, clocks = (
        [index for index, head in enumerate(heads) if csv_times.is_time(head, names)]
        for names in (csv_times.WHOLE, csv_times.DATES, csv_times.CLOCKS)
    )
    if dates and clocks:
        return dates[0], clocks[0]
    return tuple((whole or dates)[:1])


def _check_place(place: Mapping[str, str], site: Site, reader: Reading) -> float | None:
    """Return the height that Open-Meteo's CSV is for. Raise SourceError for another place."""
    if not place:
        return None
    numbers = []
    for name in _PLACE[:3]:
        try:
            numbers.append(float(place.get(name, "")))
        except ValueError:
            numbers.append(float("nan"))
    latitude, longitude, elevation = numbers
    reader.check_place(latitude, longitude, site)
    return elevation if np.isfinite(elevation) else None


def _unused(layout: _Layout) -> Iterator[str]:
    """Yield a remark on the columns that are not read."""
    used = {*layout.times, *layout.columns}
    others = [head for index, head in enumerate(layout.heads) if index not in used and head]
    if others:
        names = ", ".join(one_line(head, 30) for head in others[:5])
        more = f" and {len(others) - 5} more" if len(others) > 5 else ""
        yield f"columns that are not used: {names}{more}"
    if not layout.place:
        yield "the file does not say for which place it is"


# -- the values


@dataclass(slots=True)
class _Numbers:
    """How numbers are written: how many with a point, with a comma, and with one before three
    digits, which may be a thousand.
    """

    points: int = 0
    commas: int = 0
    thousands: int = 0
    example: str = ""

    def parse(self, text: str) -> float | None:
        """Return a number, NaN for one that is missing; None for what is no number."""
        found = _NUMBER.fullmatch(text)
        if found is None or not (found["whole"].lstrip("+-") or found["part"]):
            return np.nan if text.casefold() in _MISSING else None
        if found["mark"] == ".":
            self.points += 1
        elif found["mark"] == ",":
            self.commas += 1
            self.thousands += len(found["part"]) == 3
            self.example = self.example or text
            text = text.replace(",", ".")
        return float(text)

    def check(self, reader: Reading) -> None:
        """Raise SourceError if a comma may stand for two things."""
        if self.points and self.commas:
            reader.refuse(f'has numbers with a point and others with a comma ("{self.example}")')
        if self.commas and self.commas == self.thousands:
            as_point, as_whole = self.example.replace(",", "."), self.example.replace(",", "")
            reader.refuse(f'has "{self.example}", which may be {as_point} or {as_whole}')


def _rows(
    lines: Sequence[str], layout: _Layout, remarks: list[str], reader: Reading
) -> Iterator[tuple[int, list[str]]]:
    """Yield each line of values with its number; where another table begins, it is remarked."""
    rows = csv.reader(lines[layout.first :], delimiter=layout.delimiter)
    needed = max(*layout.times, *layout.columns) + 1
    after_gap = False
    try:
        for cells in rows:
            number = layout.first + rows.line_num
            if not any(cells):
                after_gap = rows.line_num > 1
                continue
            if after_gap and cells[0].strip() == layout.heads[0]:
                remarks.append(f"a second table begins in line {number}: it is not read")
                return
            after_gap = False
            if len(cells) < needed:
                reader.refuse(f"has {len(cells)} cells in line {number}, {needed} are needed")
            yield number, cells
    except csv.Error as error:
        reader.refuse(f"cannot be read from line {layout.first + rows.line_num} on: {error}")


def _values(
    lines: Sequence[str], layout: _Layout, remarks: list[str], reader: Reading
) -> tuple[list[str], list[int], list[Array]]:
    """Return times as they are written, the line that each is in, and the values of each column."""
    texts: list[str] = []
    numbers: list[int] = []
    series = [array("d") for _ in layout.columns]
    columns_of_series = list(zip(series, layout.columns.items(), strict=True))
    written = _Numbers()
    for number, cells in _rows(lines, layout, remarks, reader):
        if len(texts) >= MAX_HOURS:
            reader.refuse("has more lines than a hundred years have hours")
        texts.append(" ".join(cells[index].strip() for index in layout.times))
        numbers.append(number)
        for values, (index, column) in columns_of_series:
            value = written.parse(cells[index].strip().replace("\u2212", "-"))
            if value is None:
                shown = one_line(cells[index], 20)
                reader.refuse(f'has "{shown}" as {column.quoted} in line {number}: no number')
            values.append(value)
    if not texts:
        reader.refuse("has no line of values")
    written.check(reader)
    return texts, numbers, [np.array(values, dtype=np.float64) for values in series]


def _clock(layout: _Layout, first: str, site: Site, reader: Reading) -> Clock:
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
