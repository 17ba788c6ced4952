"""The lines on which the values of a TOML document stand, for errors.

The parser of the standard library tells none. This only finds places in a document that it has
taken; of what it cannot follow, and of what is not there, the nearest table around it is told.
"""

import re
import tomllib
from collections.abc import Iterator, Sequence
from functools import cached_property
from typing import TypeAlias

Path: TypeAlias = tuple[str | int, ...]
"""Keys, and positions in lists, that lead to a value."""

MAX_PLACES = 400_000
"""Places that are remembered, the first ones. Judgement: those of 50,000 plants, in 40 MB."""

_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
"""What may stand between values: blanks, ends of lines, comments."""

_STRING = (
    r'"""(?:[^"\\]|\\.|"{1,2}(?!"))*+"{3,5}'
    r"|'''(?:[^']|'{1,2}(?!'))*+'{3,5}"
    r'|"(?:[^"\\\n]|\\.)*+"'
    r"|'[^'\n]*+'"
)
_KEY = re.compile(rf"[ \t]*(?:(?P<bare>[A-Za-z0-9_-]+)|(?P<quoted>{_STRING}))[ \t]*", re.DOTALL)
_SCALAR = re.compile(rf"{_STRING}|[^\s,\[\]{{}}#\"']+(?: [0-9][^\s,\[\]{{}}#]*)?", re.DOTALL)
"""A text, a number, a word; a date with a blank before its time."""


class LineFinder:
    """Finds the lines of a document. It is read when a line is first asked for."""

    def __init__(self, text: str = "") -> None:
        self._text = text

    def line_of(self, path: Path) -> int | None:
        """Return the line of a value or of the nearest table around it, from 1; None if unknown."""
        for end in range(len(path), 0, -1):
            if (line := self.lines.get(path[:end])) is not None:
                return line
        return None

    @cached_property
    def lines(self) -> dict[Path, int]:
        """The line of everything that was found, by the way to it."""
        return dict(_Scanner(self._text).places())


class _Scanner:
    """Goes through a document once, from the top; it stops where it cannot follow."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._at = 0
        self._line = 1
        self._counted_to = 0
        self._tables: dict[Path, int] = {}
        """How many tables there are so far under each [[name]]."""

    def places(self) -> Iterator[tuple[Path, int]]:
        """Yield each way and its line, the first line of what is said in several places."""
        found: dict[Path, int] = {}
        try:
            for path, line in self._document():
                found.setdefault(path, line)
                if len(found) == MAX_PLACES:
                    break
        except (_LostError, tomllib.TOMLDecodeError):
            pass
        yield from found.items()

    def _document(self) -> Iterator[tuple[Path, int]]:
        table: Path = ()
        self._skip(_BLANK)
        while self._at < len(self._text):
            if self._take("["):
                is_one_of_many = self._take("[")
                line, keys = self._now(), self._keys()
                table = self._resolved(keys, is_one_of_many=is_one_of_many)
                self._expect("]")
                if is_one_of_many:
                    self._expect("]")
                yield from _with_parents(table, line, above=0)
            else:
                yield from self._pair(table)
            self._skip(_BLANK)

    def _resolved(self, keys: Sequence[str], *, is_one_of_many: bool) -> Path:
        """Return the way to a table: of those under a [[name]] above it the last one is meant."""
        path: Path = ()
        for number, key in enumerate(keys, 1):
            path = (*path, key)
            if is_one_of_many and number == len(keys):
                self._tables[path] = self._tables.get(path, 0) + 1
            if path in self._tables:
                path = (*path, self._tables[path] - 1)
        return path

    def _pair(self, table: Path) -> Iterator[tuple[Path, int]]:
        line = self._now()
        path = (*table, *self._keys())
        self._expect("=")
        yield from _with_parents(path, line, above=len(table))
        self._skip(_BLANK)
        yield from self._value(path)

    def _value(self, path: Path) -> Iterator[tuple[Path, int]]:
        if self._take("["):
            for number in self._items("]"):
                item = (*path, number)
                yield item, self._now()
                yield from self._value(item)
        elif self._take("{"):
            for _ in self._items("}"):
                yield from self._pair(path)
        else:
            self._skip(_SCALAR)

    def _items(self, end: str) -> Iterator[int]:
        """Yield the number of each item, which the caller reads, up to the closing bracket."""
        number = 0
        self._skip(_BLANK)
        while not self._take(end):
            yield number
            number += 1
            self._skip(_BLANK)
            if not self._take(","):
                self._expect(end)
                return
            self._skip(_BLANK)

    def _keys(self) -> list[str]:
        keys = [self._key()]
        while self._take("."):
            keys.append(self._key())
        return keys

    def _key(self) -> str:
        match = self._skip(_KEY)
        quoted = match["quoted"]
        return match["bare"] if quoted is None else str(tomllib.loads(f"text = {quoted}")["text"])

    def _now(self) -> int:
        self._line += self._text.count("\n", self._counted_to, self._at)
        self._counted_to = self._at
        return self._line

    def _skip(self, pattern: re.Pattern[str]) -> re.Match[str]:
        match = pattern.match(self._text, self._at)
        if match is None:
            raise _LostError
        self._at = match.end()
        return match

    def _take(self, mark: str) -> bool:
        is_there = self._text.startswith(mark, self._at)
        self._at += len(mark) * is_there
        return is_there

    def _expect(self, mark: str) -> None:
        if not self._take(mark):
            raise _LostError


def _with_parents(path: Path, line: int, above: int) -> Iterator[tuple[Path, int]]:
    """Yield a way and those that lead to it, from `above` keys on."""
    for end in range(above + 1, len(path) + 1):
        yield path[:end], line


class _LostError(Exception):
    """Something stands where it was not expected."""
