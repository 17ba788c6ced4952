"""What standard output and error go to: a person at a terminal, or a pipe."""

import os
import sys
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import Any, TextIO

from sillward.text.columns import WIDTH, Screen

MIN_COLUMNS = 50
MAX_COLUMNS = 120
"""A screen that is narrower or wider counts as this wide. Judgement: longer lines are hard to
follow, and narrower tables cannot be read."""

MIN_PROSE_COLUMNS = 30
"""A screen that is narrower counts as this wide where lines are broken between words. Judgement: a
phone held upright shows more, even in large letters."""

LONG_S = 1.0
"""A wait longer than this is explained on a terminal [s]. Judgement: it begins to look stuck."""


def screen(
    stream: TextIO | None = None,
    environment: Mapping[str, str] = os.environ,
    *,
    least: int = MIN_COLUMNS,
) -> Screen:
    """Return what standard output, or another stream, is shown on.

    Colours are for terminals alone, and not if NO_COLOR is set (no-color.org) or TERM is "dumb".

    least: the width that a narrower terminal counts as.
    """
    out = sys.stdout if stream is None else stream
    columns = _columns(out, least)
    if columns is None:
        return Screen()
    colour = not environment.get("NO_COLOR") and environment.get("TERM") != "dumb"
    return Screen(columns, colour)


def sheet_columns(stream: TextIO | None = None) -> int:
    """Return the width of a sheet on standard output, or another stream: as everywhere, or that of
    a narrower terminal, such as one on a phone."""
    return min(screen(stream, least=MIN_PROSE_COLUMNS).columns, WIDTH)


def _columns(stream: TextIO, least: int) -> int | None:
    """Return the width of a terminal without its edge, or None if the stream is not a terminal."""
    if not stream.isatty():
        return None
    try:
        columns = os.get_terminal_size(stream.fileno()).columns
    except (OSError, ValueError):
        columns = 0
    # A serial line reports 0, which means unknown.
    return min(max(columns - 2, least), MAX_COLUMNS) if columns else WIDTH


Timer = Callable[[float, Callable[[], object]], Any]
"""A constructor like `threading.Timer`: seconds and an action; start() and cancel()."""


@contextmanager
def patience(
    text: str, stream: TextIO | None = None, timer: Timer = threading.Timer
) -> Iterator[None]:
    """Say on standard error what is waited for once it takes long; on a terminal only."""
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
