"""Text in columns: widths as a terminal shows them, long cells wrapped, no column ever broken.

A character is not a column: Chinese characters and emoji take two, a combining accent none.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from typing import NamedTuple, TypeAlias

WIDTH = 78
"""Columns where nothing is known of the screen: the traditional 80, with room at the edge."""

GAP = "  "
"""What stands between two columns."""

MIN_WIDTH = 8
"""No column is made narrower than this. Judgement: a date or a short word still fits."""

_NARROW = re.compile("[\0-\u02ff–…]*")
"""What takes one column for each character: all before the first combining mark (Unicode, UAX #11),
and what messages have beyond those."""


class Mark(Enum):
    """What a colour means. The words say the same, so nothing depends on colour alone."""

    TROUBLE = "1;31"
    """Bold red, by ECMA-48 (SGR), as are the others."""
    COLD = "36"
    """Cyan: blue is hard to read on black."""
    OK = "32"
    """Green."""


@dataclass(frozen=True, slots=True)
class Screen:
    """What text is formatted for: by default a pipe or a file."""

    columns: int = WIDTH
    colour: bool = False

    def painted(self, text: str, mark: Mark | None) -> str:
        """Return the text in the colour of its mark, where colours are shown."""
        if mark is None or not self.colour or not text:
            return text
        return f"\x1b[{mark.value}m{text}\x1b[0m"

    def lines(self, text: str, mark: Mark | None = None) -> list[str]:
        """Return a line of text as this screen shows it: broken to its width, and coloured."""
        return [self.painted(line, mark) for line in wrapped(text, self.columns).split("\n")]


class Marked(NamedTuple):
    """A cell with a meaning that is shown by a colour."""

    text: str
    mark: Mark | None


PIPE = Screen()
"""The screen of output that goes to a pipe or a file."""


Cell: TypeAlias = str | Marked


@dataclass(frozen=True, slots=True)
class Column:
    """The layout of a table's column.

    right: whether it is aligned to the right, as numbers are.
    fixed: whether it keeps its width where others are narrowed.
    """

    right: bool = False
    fixed: bool = False


def width(text: str) -> int:
    """Return how many columns of a terminal a text takes."""
    if _NARROW.fullmatch(text):
        return len(text)
    # Only where it is needed: its tables cost a daemon that writes plain names nothing.
    from wcwidth import wcswidth

    columns: int = wcswidth(text)
    return columns if columns >= 0 else len(text)  # a control character has no width


def padded(text: str, columns: int, *, right: bool = False) -> str:
    """Return the text with blanks up to so many columns; unchanged if it is longer."""
    blanks = " " * (columns - width(text))
    return blanks + text if right else text + blanks


def cut(text: str, columns: int) -> str:
    """Return at most so many columns of the text, with an ellipsis if something is missing."""
    return text if width(text) <= columns else _start(text, columns - 1).rstrip() + "…"


def wrapped(line: str, columns: int = WIDTH, hanging: int = 2) -> str:
    """Return the line, broken between words at the width.

    hanging: by how many more columns what follows the first line is indented.
    """
    return "\n".join(_broken(line, columns, len(line) - len(line.lstrip()) + hanging))


_PIECES = re.compile(r" *[^ ]+(?: (?:°[CF]|%|[ap]m)[^ ]*)?")
"""A word with the blanks before it; a number keeps its unit."""


def _broken(text: str, columns: int, hanging: int = 0) -> list[str]:
    """Return the text in lines of at most so many columns, all but the first indented."""
    if width(text) <= columns:
        return [text]
    lines, line = [], ""
    for piece in _PIECES.findall(text):
        if line.strip() and width(line + piece) > columns:
            lines.append(line)
            line = " " * hanging + piece.lstrip()
        else:
            line += piece
        while width(line) > columns:  # a word that is longer than a line
            start = _start(line, columns)
            lines.append(start)
            line = " " * hanging + line[len(start) :]
    return [*lines, line]


def _start(text: str, columns: int) -> str:
    """Return the longest beginning that fits, one letter at least, never without its accents."""
    end = len(text) - len(text.lstrip()) + 1
    room = max(columns, width(text[:end]))
    while end < len(text) and width(text[: end + 1]) <= room:
        end += 1
    return text[:end]


def table(
    rows: Sequence[Sequence[Cell]],
    columns: Sequence[Column],
    screen: Screen,
    *,
    indent: int = 0,
) -> list[str]:
    """Return rows as lines no wider than the screen, unless the columns need more.

    A cell that is too wide goes on below, in its column. Columns without any text are left out.
    """
    texts = [[_plain(cell) for cell in row] for row in rows]
    widths = _widths(texts, columns, screen.columns - indent)
    lines = []
    for row, in_row in zip(rows, texts, strict=True):
        broken = [_broken(text, max(1, most)) for text, most in zip(in_row, widths, strict=True)]
        for level in range(max(map(len, broken))):
            parts = []
            for cell, pieces, column, most in zip(row, broken, columns, widths, strict=True):
                piece = pieces[level] if level < len(pieces) else ""
                blanks = " " * (most - width(piece))
                text = screen.painted(piece, cell.mark if isinstance(cell, Marked) else None)
                parts += [blanks + text if column.right else text + blanks] if most else []
            lines.append((" " * indent + GAP.join(parts)).rstrip())
    return lines


def _plain(cell: Cell) -> str:
    return cell.text if isinstance(cell, Marked) else cell


def _widths(texts: Sequence[Sequence[str]], columns: Sequence[Column], room: int) -> list[int]:
    """Return the width of each column; where there is no room, the widest are narrowed."""
    widths = [max(map(width, column)) for column in zip(*texts, strict=True)] or [0] * len(columns)
    used = [number for number, wide in enumerate(widths) if wide]
    excess = sum(widths) + len(GAP) * (len(used) - 1) - room
    while excess > 0:
        shrinkable = [
            number for number in used if not columns[number].fixed and widths[number] > MIN_WIDTH
        ]
        if not shrinkable:
            break
        widths[max(shrinkable, key=lambda number: widths[number])] -= 1
        excess -= 1
    return widths
