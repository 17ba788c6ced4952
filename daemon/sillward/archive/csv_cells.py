"""The cells of a CSV file: times as they are written, and numbers.

A file is gone through by some thousand lines at a time, so that a million lines take seconds, and
no more memory than their numbers.
"""

import csv
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice

import numpy as np

from sillward.archive import csv_times
from sillward.archive.csv_layout import Layout
from sillward.errors import one_line
from sillward.forecast.parsing import Reading
from sillward_rules.arrays import Array

LINES_AT_ONCE = 8192
"""So many lines are looked at together. Measured: twice as many are no quicker."""

MISSING = frozenset({"", "na", "n/a", "nan", "null", "none", "-", "--", "---", "missing"})
"""What stands in cells without a number, in lower case."""

_NUMBER = re.compile(
    r"(?P<whole>[-+]?[0-9]*)(?:(?P<mark>[.,])(?P<part>[0-9]*))?(?:e[-+]?[0-9]{1,3})?", re.I
)
_PLAIN = r"[-+]?[0-9]{1,300}(?:[.,][0-9]+)?"
_PLAIN_LINES = re.compile(rf"{_PLAIN}(?:\n{_PLAIN})*")
_THOUSANDS = re.compile(r",[0-9]{3}(?![0-9])")


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """What the lines of values of a file hold.

    Args:
        times: the times as they are written (row,), ASCII.
        lines: the line of the file that each row is in (row,).
        values: the values of each column that is read, (row,) each; NaN is missing.
    """

    times: np.ndarray
    lines: np.ndarray
    values: Sequence[Array]


@dataclass(slots=True)
class Numbers:
    """How numbers are written: how many with a point, with a comma, and with one before three
    digits, which may be a thousand.

    words: what else than `MISSING` stands for no number, in lower case; in_words: how many cells
    had one of these.
    """

    words: frozenset[str] = frozenset()
    in_words: int = 0
    points: int = 0
    commas: int = 0
    thousands: int = 0
    example: str = ""

    def parse(self, text: str) -> float | None:
        """Return a number, NaN for one that is missing; None for what is no number."""
        found = _NUMBER.fullmatch(text)
        if found is None or not (found["whole"].lstrip("+-") or found["part"]):
            plain = text.casefold()
            self.in_words += plain in self.words
            return np.nan if plain in MISSING or plain in self.words else None
        if found["mark"] == ".":
            self.points += 1
        elif found["mark"] == ",":
            self.commas += 1
            self.thousands += len(found["part"]) == 3
            self.example = self.example or text
            text = text.replace(",", ".")
        return float(text)

    def parse_plain(self, texts: Sequence[str]) -> Array | None:
        """Return numbers (text,) of which none is missing, quickly; None if one is not plain."""
        joined = "\n".join(texts)
        if joined.count("\n") >= len(texts) or _PLAIN_LINES.fullmatch(joined) is None:
            return None
        self.points += joined.count(".")
        commas = joined.count(",")
        if commas:
            self.commas += commas
            self.thousands += len(_THOUSANDS.findall(joined))
            self.example = self.example or next(text for text in texts if "," in text)
            joined = joined.replace(",", ".")
        return np.array(list(map(float, joined.split("\n"))), dtype=np.float64)

    def check(self, reader: Reading, *, thousands: bool = True) -> None:
        """Raise SourceError if a comma may stand for two things.

        thousands: whether the numbers may be as large as that.
        """
        if self.points and self.commas:
            reader.refuse(f'has numbers with a point and others with a comma ("{self.example}")')
        if thousands and self.commas and self.commas == self.thousands:
            as_point, as_whole = self.example.replace(",", "."), self.example.replace(",", "")
            reader.refuse(f'has "{self.example}", which may be {as_point} or {as_whole}')


def read(
    lines: Iterable[str],
    layout: Layout,
    most: int,
    remarks: list[str],
    reader: Reading,
    *,
    is_whole: bool = False,
    words: frozenset[str] = frozenset(),
    reached: Callable[[int], object] = lambda _: None,
) -> tuple[Cells, Numbers]:
    """Return what the lines of values hold, and how their numbers are written.

    Raise SourceError for a line that has no time, or something else than a number.

    lines: those of the file from the first line of values on.
    most: the most lines that are read. A file with more is refused.
    remarks: are added to.
    is_whole: whether a line with more cells than there are heads is refused: its decimal comma may
        have been taken for the end of a cell.
    words: see `Numbers`.
    reached: is told from time to time which line is reached.
    """
    rows = _rows(lines, layout, remarks, reader, is_whole=is_whole)
    written = Numbers(words)
    times: list[np.ndarray] = []
    numbers: list[np.ndarray] = []
    series: list[list[Array]] = [[] for _ in layout.columns]
    count = 0
    while batch := list(islice(rows, LINES_AT_ONCE)):
        count += len(batch)
        if count > most:
            reader.refuse(f"has more than {most:,} lines of values")
        at = [number for number, _ in batch]
        texts = [" ".join(row[index].strip() for index in layout.times) for _, row in batch]
        times.append(csv_times.as_bytes(texts, at, reader))
        numbers.append(np.array(at, dtype=np.int64))
        for values, index in zip(series, layout.columns, strict=True):
            cells = [row[index].strip().replace("\u2212", "-") for _, row in batch]
            parsed = written.parse_plain(cells)
            if parsed is None:
                parsed = _one_by_one(cells, layout.columns[index].quoted, at, written, reader)
            values.append(parsed)
        reached(at[-1])
    if not count:
        reader.refuse("has no line of values")
    return Cells(
        np.concatenate(times), np.concatenate(numbers), list(map(np.concatenate, series))
    ), written


def _one_by_one(
    cells: Sequence[str], quoted: str, lines: Sequence[int], written: Numbers, reader: Reading
) -> Array:
    values = np.empty(len(cells))
    for row, cell in enumerate(cells):
        value = written.parse(cell)
        if value is None:
            shown = one_line(cell, 20)
            reader.refuse(f'has "{shown}" as {quoted} in line {lines[row]}: no number')
        values[row] = value
    return values


def _rows(
    lines: Iterable[str], layout: Layout, remarks: list[str], reader: Reading, *, is_whole: bool
) -> Iterator[tuple[int, list[str]]]:
    """Yield each line of values with its number; where another table begins, it is remarked."""
    rows = csv.reader(lines, delimiter=layout.delimiter)
    heads = len(layout.heads)
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
            if is_whole and len(cells) > heads and any(cells[heads:]):
                reader.refuse(
                    f"has {len(cells):,} cells in line {number}, under {heads} heads: is a decimal"
                    " comma taken for the end of a cell?"
                )
            yield number, cells
    except csv.Error as error:
        reader.refuse(f"cannot be read from line {layout.first + rows.line_num} on: {error}")
