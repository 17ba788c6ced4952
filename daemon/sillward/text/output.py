"""The only way to standard output and error: characters that a terminal obeys are escaped here."""

import re
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from typing import Any, TextIO

from sillward.text import printable
from sillward.text.columns import Mark

_PASS = re.compile(rf"(\x1b\[(?:{'|'.join([*(mark.value for mark in Mark), '0'])})m|[\n\t])")
"""The few colours of `Screen`, which are not written to a pipe, and ends of lines."""


class EscapingStream:
    """A stream that escapes what cannot be shown (`printable.escaped`), but for what may pass."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        """Write text. Raise TypeError for bytes."""
        if not isinstance(text, str):  # click tries bytes to find out what the stream takes
            msg = "text is written here"
            raise TypeError(msg)
        pieces = _PASS.split(text)  # text, what passes, text ...
        pieces[::2] = [printable.escaped(piece) for piece in pieces[::2]]
        self._stream.write("".join(pieces))
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
