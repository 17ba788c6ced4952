"""The one way to a terminal: what is printed or logged passes here, and only text gets through."""

import re
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from typing import Any, TextIO

from sillward.text import printable
from sillward.text.columns import Mark

_COLOURS = re.compile(rf"(\x1b\[(?:{'|'.join([*(mark.value for mark in Mark), '0'])})m)")


class Shown:
    """A stream to which only what can be shown is written, the rest spelt out (`plain.escaped`).

    The few colours that `Screen` paints with pass; to a pipe click writes none.
    """

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        """Write text; the rest of a stream is the stream's own."""
        if not isinstance(text, str):  # click tries bytes, to see what it has
            msg = "text is written here"
            raise TypeError(msg)
        if not text.isprintable() or not text.isascii():
            pieces = _COLOURS.split(text)  # text, colour, text ...
            pieces[::2] = [printable.escaped(one, keep="\n\t") for one in pieces[::2]]
            self._stream.write("".join(pieces))
        else:
            self._stream.write(text)
        return len(text)

    def writelines(self, lines: Iterable[str]) -> None:
        """Write texts, one after the other."""
        for line in lines:
            self.write(line)

    def __getattr__(self, name: str) -> Any:
        """Whatever else the stream has."""
        return getattr(self._stream, name)


@contextmanager
def shown() -> Iterator[None]:
    """Have all that is printed or logged go through `Shown`: the one place for it."""
    out, err = Shown(sys.stdout), Shown(sys.stderr)
    with redirect_stdout(out), redirect_stderr(err):
        yield
