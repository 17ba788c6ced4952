"""The only way to standard output and error: characters that a terminal obeys are escaped here."""

import re
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from typing import Any, TextIO

from sillward.text import printable
from sillward.text.columns import Mark

_COLOURS = re.compile(rf"(\x1b\[(?:{'|'.join([*(mark.value for mark in Mark), '0'])})m)")


class EscapingStream:
    """A stream that escapes what cannot be shown (`printable.escaped`).

    The few colours of `Screen` pass; to a pipe none are written.
    """

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        """Write text. Raise TypeError for bytes."""
        if not isinstance(text, str):  # click tries bytes to find out what the stream takes
            msg = "text is written here"
            raise TypeError(msg)
        if not text.isprintable() or not text.isascii():
            pieces = _COLOURS.split(text)  # text, colour, text ...
            pieces[::2] = [printable.escaped(piece, keep="\n\t") for piece in pieces[::2]]
            self._stream.write("".join(pieces))
        else:
            self._stream.write(text)
        return len(text)

    def writelines(self, lines: Iterable[str]) -> None:
        """Write several texts."""
        for line in lines:
            self.write(line)

    def __getattr__(self, name: str) -> Any:
        """Return any other attribute of the stream."""
        return getattr(self._stream, name)


@contextmanager
def escaped_output() -> Iterator[None]:
    """Send all that is printed or logged through `EscapingStream`, in this one place."""
    out, err = EscapingStream(sys.stdout), EscapingStream(sys.stderr)
    with redirect_stdout(out), redirect_stderr(err):
        yield
