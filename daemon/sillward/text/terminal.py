"""Whoever reads what is printed: a person at a terminal, or a pipe."""

import os
import sys
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import Any, TextIO

from sillward.text.columns import WIDTH, Screen

LEAST_COLUMNS = 50
MOST_COLUMNS = 120
"""A screen narrower or wider than this counts as this: lines that are longer are hard to follow.
Judgement."""

LONG_S = 1.0
"""What takes longer than this says what it waits for [s]. Judgement."""


def screen(stream: TextIO | None = None, environment: Mapping[str, str] = os.environ) -> Screen:
    """What standard output (or another stream) is shown on.

    Colours are for terminals alone, and not where NO_COLOR is set (no-color.org) or TERM is "dumb".
    """
    out = sys.stdout if stream is None else stream
    columns = _columns(out)
    if columns is None:
        return Screen()
    colour = not environment.get("NO_COLOR") and environment.get("TERM") != "dumb"
    return Screen(columns, colour)


def _columns(stream: TextIO) -> int | None:
    """How wide the terminal is, less the room at its edge; None if it is none."""
    if not stream.isatty():
        return None
    try:
        columns = os.get_terminal_size(stream.fileno()).columns
    except (OSError, ValueError):
        columns = 0
    # A serial line says 0: nobody knows.
    return min(max(columns - 2, LEAST_COLUMNS), MOST_COLUMNS) if columns else WIDTH


Timer = Callable[[float, Callable[[], object]], Any]
"""Something like threading.Timer: seconds, and what to do then; start() and cancel()."""


@contextmanager
def patience(
    text: str, stream: TextIO | None = None, timer: Timer = threading.Timer
) -> Iterator[None]:
    """Say on standard error what is waited for, once it takes long; to a terminal only."""
    err = sys.stderr if stream is None else stream
    if not err.isatty():
        yield
        return
    telling = timer(LONG_S, lambda: print(text, file=err, flush=True))
    telling.daemon = True
    telling.start()
    try:
        yield
    finally:
        telling.cancel()
