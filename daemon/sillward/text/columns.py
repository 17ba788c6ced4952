"""Text in columns: widths by what a terminal shows, long cells wrapped, no column ever broken.

A letter is not a column: Chinese and emoji take two, a combining accent none.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from typing import NamedTuple, TypeAlias

WIDTH = 78
"""Columns where nothing is known of a screen: the 80 of old, and room at the edge."""

GAP = "  "
"""Between two columns."""

LEAST = 8
"""A column is made no narrower than this, whatever the others hold. Judgement."""

_ALL_NARROW_BELOW = "\u0300"
"""The first combining mark: what comes before it takes one column each (Unicode, UAX #11)."""


class Mark(Enum):
    """What a colour means. Words say the same: nothing depends on the colour alone."""

    TROUBLE = "1;31"
    """Bold red, as ECMA-48 (SGR) has it; so the others."""
    COLD = "36"
    """Cyan: blue is hard to read on black."""
    OK = "32"
    """Green."""


@dataclass(frozen=True, slots=True)
class Screen:
    """What text is made for: a pipe or a file unless told otherwise."""

    columns: int = WIDTH
    colour: bool = False

    def painted(self, text: str, mark: Mark | None) -> str:
        """The text in the colour of its mark, where colours are shown."""
        if mark is None or not self.colour or not text:
            return text
        return f"\x1b[{mark.value}m{text}\x1b[0m"

    def lines(self, text: str, mark: Mark | None = None) -> list[str]:
        """One line of text as this screen shows it: broken to its width, painted."""
        return [self.painted(line, mark) for line in wrapped(text, self.columns).split("\n")]


class Marked(NamedTuple):
    """A cell that means something."""

    text: str
    mark: Mark | None


PIPE = Screen()
"""Where nothing is known of whoever reads it."""


Cell: TypeAlias = str | Marked


@dataclass(frozen=True, slots=True)
class Column:
    """How one column of a table is set.

    right: to the right, as numbers are. fixed: it gives no room to the others.
    """

    right: bool = False
    fixed: bool = False


def width(text: str) -> int:
    """The columns that a terminal needs for it."""
    if text.isascii() or max(text) < _ALL_NARROW_BELOW:
        return len(text)
    # Only where it is needed: its tables cost a daemon that writes plain names nothing.
    from wcwidth import wcswidth

    columns: int = wcswidth(text)
    return columns if columns >= 0 else len(text)  # with a control character nobody can say


def padded(text: str, columns: int, *, right: bool = False) -> str:
    """The text with blanks to so many columns; as it is if it has more."""
    blanks = " " * (columns - width(text))
    return blanks + text if right else text + blanks


def cut(text: str, columns: int) -> str:
    """At most so many columns, with an ellipsis where something is missing."""
    return text if width(text) <= columns else _start(text, columns - 1).rstrip() + "…"


def wrapped(line: str, columns: int = WIDTH) -> str:
    """The line, broken between words to the width; what follows is indented by two more."""
    return "\n".join(_broken(line, columns, len(line) - len(line.lstrip()) + 2))


_PIECES = re.compile(r" *[^ ]+(?: (?:°[CF]|%|[ap]m)[^ ]*)?")
"""A word with the blanks before it; a number keeps its unit."""


def _broken(text: str, columns: int, hanging: int = 0) -> list[str]:
    """The text in lines of at most so many columns, all but the first indented."""
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
    """The longest start that fits, never between a letter and its accent; one letter at least."""
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
    """Rows as lines no wider than the screen, as long as it has room for the columns at all.

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
    """The width of each column: what it holds, and where there is no room the widest give way."""
    widths = [max(map(width, held)) for held in zip(*texts, strict=True)] or [0] * len(columns)
    used = [number for number, most in enumerate(widths) if most]
    over = sum(widths) + len(GAP) * (len(used) - 1) - room
    while over > 0:
        free = [one for one in used if not columns[one].fixed and widths[one] > LEAST]
        if not free:
            break
        widths[max(free, key=lambda one: widths[one])] -= 1
        over -= 1
    return widths
