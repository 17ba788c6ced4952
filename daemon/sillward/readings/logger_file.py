"""The readings in a CSV file of a logger.

Each maker writes another: lines above the heads or no heads at all, commas, semicolons or tabs,
decimal commas, dates in any order, a zone and a serial number in the heads or nowhere. What the
file does not say has to be told; nothing is guessed, and what can be read in two ways is an error
that shows both.
"""

import errno
import io
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, tzinfo
from itertools import chain, islice
from pathlib import Path

import numpy as np

from sillward import files
from sillward.archive import columns, csv_cells, csv_layout, csv_times
from sillward.archive.columns import Column
from sillward.archive.csv_layout import DELIMITERS, MAX_HEAD_LINES, Layout
from sillward.archive.csv_times import Clock, Told
from sillward.errors import SourceError, one_line
from sillward.forecast.parsing import Reading
from sillward.text import printable
from sillward_rules.arrays import Array
from sillward_rules.readings.hourly_readings import Quantity
from sillward_rules.readings.quality import SATURATED_PCT
from sillward_rules.weather.site import Site

MAX_BYTES = 100_000_000
"""The largest file that is read. Judgement: two million lines, four years at one a minute."""

MAX_LINES = 5_000_000
"""The most lines of values in a file. Judgement: what `MAX_BYTES` can hold of short ones."""

_VARIABLES = {
    Quantity.TEMPERATURE: "temperature_2m",
    Quantity.HUMIDITY: "relative_humidity_2m",
}
_QUANTITIES = {variable: quantity for quantity, variable in _VARIABLES.items()}
_NAMES = {
    **{name: known for name, known in columns.NAMES.items() if known in _QUANTITIES},
    **dict.fromkeys(("celsius", "fahrenheit", "temperatura", "temperatur"), "temperature_2m"),
    **dict.fromkeys(
        ("humedad", "humedad_relativa", "feuchte", "luftfeuchte"), "relative_humidity_2m"
    ),
}
_NO_VALUE = frozenset(
    ("unavailable", "unknown", "err", "error", "fault", "ol", "overflow", "overrange", "open")
)
"""What loggers and home servers write where a sensor gave no value, in lower case."""

_CHANNEL = re.compile(r"(?:ch|channel|sensor|probe)\b[\s:.#]*[0-9]*[\s:-]+", re.I)
"""What some loggers write before the name of a column: "Ch: 1 - Temperature"."""

_LONGEST_HEAD = 200
"""Characters of a head at most. Judgement: the longest that is known has 60."""

_SERIAL = re.compile(
    r"(?:\bS/N|\bserial(?:[ _]?(?:number|no\.?))?)[\"';:#,=\s]{1,4}([0-9A-Za-z-]{3,20})", re.I
)
_PACKED = (b"PK\x03\x04", b"\x1f\x8b", b"BZh", b"\xfd7zXZ")


@dataclass(frozen=True, slots=True)
class Choice:
    """What the grower says of a file; None where the file is to say it.

    Args:
        column: a part of the head of the column to read.
        columns: the names of the columns, for a file without heads, with ; or , between them.
        quantity: what to read.
        unit: the unit of a column that says none, as files write it.
        order: the order of year, month and day.
        zone: the zone of the times.
    """

    column: str | None = None
    columns: str | None = None
    quantity: Quantity | None = None
    unit: str | None = None
    order: str | None = None
    zone: tzinfo | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """The readings of one column, in order of time.

    Args:
        times: (reading,) [unix s].
        values: (reading,) [°C or %].
        fahrenheit: whether the file had them in °F.
    """

    quantity: Quantity
    times: np.ndarray
    values: Array
    fahrenheit: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class LoggerFile:
    """What a file holds.

    Args:
        serial: the number of the logger, if the file says it.
        remarks: what the grower must know of the reading, a line each.
    """

    name: str
    series: Sequence[Series]
    serial: str | None = None
    remarks: list[str] = field(default_factory=list)


def read_logger_file(
    path: Path, site: Site, choice: Choice, share: Callable[[float], object] = lambda _: None
) -> LoggerFile:
    """Return the readings in a file.

    share: is told from time to time which share of it is read (0..1).

    Raise SourceError, in one line, for a file that cannot be read, or can be read in two ways.
    """
    name = printable.cut(printable.escaped(path.name), 60)
    reader = Reading(name, "the file")
    body = _body(path, reader)
    encoding = csv_layout.encoding_of(body, reader, "readings")
    stream = io.TextIOWrapper(io.BytesIO(body), encoding, newline="")
    above = list(islice(stream, MAX_HEAD_LINES))
    layout = _layout(above, choice, reader)
    clock = _clock(layout, site, choice, reader)
    found = LoggerFile(name, [], _serial(above[: layout.first]))
    total = max(1, body.count(b"\n"))
    cells, written = csv_cells.read(
        chain(above[layout.first :], stream),
        layout,
        MAX_LINES,
        found.remarks,
        reader,
        is_whole=layout.delimiter == ",",
        words=_NO_VALUE,
        reached=lambda line: share(min(1.0, line / total)),
    )
    written.check(reader, thousands=False)
    if written.in_words:
        found.remarks.append(f'cells with "error" or the like for a value: {written.in_words:,}')
    times = csv_times.seconds(cells.times, cells.lines, clock, site, reader, _told(choice))
    series = [
        _series(column, times, values, choice, found.remarks, reader)
        for column, values in zip(layout.columns.values(), cells.values, strict=True)
    ]
    if not any(part.times.size for part in series):
        reader.refuse("has no reading: all its values are missing")
    return replace(found, series=[part for part in series if part.times.size])


def _body(path: Path, reader: Reading) -> bytes:
    try:
        body = files.read(path, MAX_BYTES)
    except (OSError, ValueError) as error:  # ValueError: a NUL in the path
        reason = getattr(error, "strerror", None) or str(error)
        if getattr(error, "errno", None) == errno.EFBIG:
            reason += ": give it in parts"
        msg = f"{reader.source}: cannot be read: {one_line(reason, 100)}"
        raise SourceError(msg) from error
    if not body[:4096].lstrip(b"\xef\xbb\xbf \t\r\n"):
        reader.refuse("is empty")
    if body.startswith(_PACKED):
        reader.refuse("is packed or a spreadsheet: save it as CSV first")
    return body


def _serial(above: Sequence[str]) -> str | None:
    """Return the number of the logger in the lines above the values."""
    found = _SERIAL.search("\n".join(line[:2000] for line in above))
    return None if found is None else found[1]


# -- the columns


def _layout(above: Sequence[str], choice: Choice, reader: Reading) -> Layout:
    if choice.columns is not None:
        return _without_heads(above, choice, reader)
    others = ""
    for number, delimiter, heads, times in csv_layout.lines_with_heads(above):
        known = _known_columns(heads, times, choice)
        _require_temperature_told(heads, times, known, choice, reader)
        if known:
            return Layout(delimiter, heads, number + 1, times, _chosen(known, choice, reader))
        others = others or _listed([head for at, head in enumerate(heads) if at not in times])
    if others and (choice.column is not None or choice.quantity is not None):
        what = f'"{one_line(choice.column, 40)}"' if choice.column else f"of {choice.quantity}"
        reader.refuse(f"has no column {what}; besides the time it has {others}")
    reader.refuse(
        "has no line with heads for a time and a temperature or humidity; it begins with"
        f' "{csv_layout.start(above)}"; if it has no heads, name its columns, such as'
        ' --columns "time;temperature (°C)"'
    )


def _without_heads(above: Sequence[str], choice: Choice, reader: Reading) -> Layout:
    """Return the layout of a file whose columns the grower has named."""
    named = choice.columns or ""
    heads = [head.strip() for head in re.split(r"[;\t]" if ";" in named else r"[,;\t]", named)]
    times = csv_layout.time_columns(heads[: csv_layout.MAX_COLUMNS])
    known = _known_columns(heads, times, choice)
    shown = one_line(named, 60)
    if not times or not known:
        reader.refuse(
            f'is to have the columns "{shown}", none of which is a time, or none a temperature or'
            ' humidity: name them such as --columns "index;time;-;temperature (°C)"'
        )
    chosen = _chosen(known, choice, reader)
    unix = Clock(unix=any(csv_times.says_unix(heads[index]) for index in times))
    needed = max(*times, *chosen) + 1
    for number, line in enumerate(above):
        for delimiter in DELIMITERS:
            row = csv_layout.cells(line, delimiter)
            if len(row) >= needed and csv_times.looks_like_time(
                " ".join(row[index] for index in times), unix
            ):
                return Layout(delimiter, heads, number, times, chosen)
    reader.refuse(
        f'has no line with a time where the columns "{shown}" have it; it begins with'
        f' "{csv_layout.start(above)}"'
    )


def _known_columns(heads: Sequence[str], times: Sequence[int], choice: Choice) -> dict[int, Column]:
    """Return the columns that may be read, by their index."""
    wanted = None if choice.column is None else choice.column.casefold()
    found = {}
    for index, head in enumerate(heads):
        if index in times or len(head) > _LONGEST_HEAD:
            continue
        if wanted is not None and wanted not in head.casefold():
            continue
        channel = _CHANNEL.match(head)
        column = columns.column_of(head[channel.end() if channel else 0 :], _NAMES)
        if column is None and wanted is not None:
            column = _by_its_unit(head, choice)
        if column is not None and column.lead_day == 0:
            found[index] = replace(column, head=head)
    if choice.quantity is not None:
        variable = _VARIABLES[choice.quantity]
        found = {index: column for index, column in found.items() if column.name == variable}
    return found


def _require_temperature_told(
    heads: Sequence[str],
    times: Sequence[int],
    known: dict[int, Column],
    choice: Choice,
    reader: Reading,
) -> None:
    """Raise SourceError if no column is known as a temperature, and some may be one."""
    air = _VARIABLES[Quantity.TEMPERATURE]
    if choice.column is not None or choice.quantity is Quantity.HUMIDITY:
        return
    if any(column.name == air for column in known.values()):
        return
    perhaps = [
        head
        for index, head in enumerate(heads)
        if index not in times
        and len(head) <= _LONGEST_HEAD
        and columns.spelled(columns.parts_of(head)[1] or "") in columns.units("°C")
    ]
    if perhaps:
        leave_out = ", or --quantity humidity for that alone" if known else ""
        reader.refuse(
            f"may have a temperature in {_listed(perhaps)}: say which is to be read, --column and a"
            f" part of its head{leave_out}"
        )


def _by_its_unit(head: str, choice: Choice) -> Column | None:
    """Return what a column that the grower has named may hold."""
    unit = columns.parts_of(head)[1]
    spelled = None if unit is None else columns.spelled(unit)
    if choice.quantity is not None:
        return Column(head, _VARIABLES[choice.quantity], spelled)
    for quantity, unit_of in ((Quantity.TEMPERATURE, "°C"), (Quantity.HUMIDITY, "%")):
        if spelled in columns.units(unit_of) or choice.unit in columns.units(unit_of):
            return Column(head, _VARIABLES[quantity], spelled)
    return None


def _chosen(known: dict[int, Column], choice: Choice, reader: Reading) -> dict[int, Column]:
    """Return one column of each quantity. Raise SourceError if there are more."""
    by_name: dict[str, list[Column]] = {}
    for column in known.values():
        by_name.setdefault(column.name, []).append(column)
    for name, alike in by_name.items():
        exact = [column for column in alike if column.head == choice.column]
        if len(alike) > 1 and len(exact) != 1:
            quantity = _QUANTITIES[name].value
            reader.refuse(
                f"has more than one column of {quantity}: {_listed(each.head for each in alike)};"
                " say which: --column and a part of its head"
            )
        if len(exact) == 1:
            return {index: column for index, column in known.items() if column is exact[0]}
    return known


def _listed(heads: Iterator[str] | Sequence[str]) -> str:
    shown = [f'"{one_line(head, 40)}"' for head in islice(heads, 7)]
    return ", ".join(shown[:6]) + (", ..." if len(shown) > 6 else "")


# -- times and values


def _clock(layout: Layout, site: Site, choice: Choice, reader: Reading) -> Clock:
    """Return what the grower, or else the heads, say of the times."""
    heads = [layout.heads[index] for index in layout.times]
    if any(map(csv_times.says_unix, heads)):
        return Clock(unix=True)
    if choice.zone is not None:
        return Clock(choice.zone)
    advice = f": {_ZONE_ADVICE}"
    said = [csv_times.clock_of(head, site, reader, advice) for head in heads]
    return next((clock for clock in said if clock != Clock()), Clock())


_ZONE_ADVICE = "say which: --zone UTC, --zone local, or an offset such as --zone +02:00"


def _told(choice: Choice) -> Told:
    return Told(
        order=choice.order,
        short_years=True,
        order_advice="say which: {orders}",
        zone_advice=_ZONE_ADVICE,
        offset_advice="give its offset, such as --zone +01:00",
    )


def zone_told(text: str, site: Site) -> tzinfo | None:
    """Return the zone that a grower has named; None if that is none."""
    if text.casefold() == "local":
        return site.zone
    return UTC if text.casefold() in ("utc", "gmt", "z") else csv_times.zone_named(text)


def _series(
    column: Column,
    times: np.ndarray,
    values: Array,
    choice: Choice,
    remarks: list[str],
    reader: Reading,
) -> Series:
    """Return the readings of a column. Raise SourceError if its unit is not known."""
    quantity = _QUANTITIES[column.name]
    known = ~np.isnan(values)
    times, values = times[known], values[known]
    if values.size:
        column = _with_unit(column, values, choice, remarks, reader)
        values = columns.converted(values, column, reader)
        if columns.is_converted(column):
            remarks.append(f"{column.shown}: converted to {column.expected}")
    if np.any(np.diff(times) < 0):
        order = np.argsort(times, kind="stable")
        times, values = times[order], values[order]
    return Series(quantity, times, values, column.unit in columns.IMPERIAL)


def _with_unit(
    column: Column, values: Array, choice: Choice, remarks: list[str], reader: Reading
) -> Column:
    """Return a column with its unit. Raise SourceError, with both readings, if it is not known.

    What the grower says counts, also against the head.
    """
    name = columns.parts_of(column.head)[0]
    if column.unit is None and name in ("celsius", "fahrenheit"):
        column = replace(column, unit=name)
    if choice.unit in columns.units(column.expected):
        told = replace(column, unit=choice.unit)
        if not columns.alike(column.unit, told.unit, column.expected):
            remarks.append(
                f"{column.shown}: read in the unit that you said, not in that of its head"
            )
        return told
    if column.unit is not None:
        return column
    most = float(values.max())
    if column.expected == "%":
        if most > SATURATED_PCT / 100:
            return replace(column, unit="%")
        other, advice = "a share of 1", "--unit % or --unit share"
    else:
        other, advice = "°F", "--unit C or --unit F"
    reader.refuse(
        f"does not say the unit of {column.quoted}: its highest value may be {most:g}"
        f" {column.expected} or {most:g} {other}; say which: {advice}"
    )
