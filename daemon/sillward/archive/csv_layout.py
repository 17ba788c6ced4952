"""Where in a CSV file what is: its encoding, its heads, and the columns that are read."""

import csv
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import islice

from sillward.archive import columns, csv_times
from sillward.archive.columns import Column
from sillward.errors import one_line
from sillward.forecast.parsing import Reading

MAX_HEAD_LINES = 30
"""The heads are looked for in these first lines. Judgement: loggers write some lines before."""

MAX_COLUMNS = 2000
"""A line with more cells is no line of heads. Judgement: Open-Meteo's largest answers have some
hundred; to look at a million takes minutes."""

DELIMITERS = (";", "\t", ",")

PLACE = ("latitude", "longitude", "elevation", "utc_offset_seconds", "timezone")
"""How the first line of Open-Meteo's CSV begins."""


@dataclass(frozen=True, slots=True)
class Layout:
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
    place: Mapping[str, str] = field(default_factory=dict)


def encoding_of(body: bytes, reader: Reading, kind: str = "past weather") -> str:
    """Return how the text of a file is encoded: UTF-8, UTF-16 with its mark, or Windows-1252.

    kind: of what kind the file should be, for the error.
    """
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
            return encoding
    reader.refuse(f"is neither text nor any other kind of {kind} that is known")


def cells(line: str, delimiter: str) -> list[str]:
    """Return the cells of a line; none if it is no line of heads."""
    if line.count(delimiter) >= MAX_COLUMNS:
        return []
    try:
        rows = list(csv.reader([line], delimiter=delimiter))
    except csv.Error:
        return []
    return [cell.strip() for cell in rows[0]] if rows else []


def lines_with_heads(lines: Iterable[str]) -> Iterable[tuple[int, str, list[str], tuple[int, ...]]]:
    """Yield what may be the heads of a file: number of the line, delimiter, heads, and the indices
    of the columns that make a time together."""
    for number, line in enumerate(islice(lines, MAX_HEAD_LINES)):
        for delimiter in DELIMITERS:
            heads = cells(line, delimiter)
            times = time_columns(heads)
            if times:
                yield number, delimiter, heads, times


def time_columns(heads: Sequence[str]) -> tuple[int, ...]:
    """Return the index of the column of whole times, or of a date and of an hour; () for none."""
    whole, dates, clocks = (
        [index for index, head in enumerate(heads) if csv_times.is_time(head, names)]
        for names in (csv_times.WHOLE, csv_times.DATES, csv_times.CLOCKS)
    )
    if dates and clocks:
        return dates[0], clocks[0]
    return tuple((whole or dates)[:1])


def of_weather(lines: Sequence[str], reader: Reading) -> Layout:
    """Return where the columns are: under the first line with a head for times and temperature."""
    for number, delimiter, heads, times in lines_with_heads(lines):
        known = [columns.column_of(head) for head in heads]
        if all(column is None or column.name != "temperature_2m" for column in known):
            continue
        wanted = columns.chosen([column for column in known if column], reader)
        chosen = {
            index: column for index, column in enumerate(known) if column in wanted and column
        }
        return Layout(delimiter, heads, number + 1, times, chosen, _place(lines))
    reader.refuse(
        "is none of the kinds that are known: it is no JSON and no EPW, and as CSV it has no line"
        f' with heads for the time and the temperature; it begins with "{start(lines)}"'
    )


def start(lines: Iterable[str]) -> str:
    """Return the beginning of a file as errors quote it."""
    return one_line(next(iter(lines), ""), 60)


def _place(lines: Sequence[str]) -> dict[str, str]:
    """Return what Open-Meteo's CSV says of place and zone in its first lines; else nothing."""
    for delimiter in DELIMITERS:
        heads = cells(lines[0], delimiter)
        if tuple(heads[: len(PLACE)]) == PLACE and len(lines) > 1:
            return dict(zip(heads, cells(lines[1], delimiter), strict=False))
    return {}
