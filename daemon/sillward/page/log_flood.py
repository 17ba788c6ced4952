"""One line for a flood: what was just logged is counted, and the count told with the next line."""

import logging
import threading
import time
from collections.abc import Callable

QUIET_S = 60.0
"""The same is logged no more often than this [s]."""

MAX_KINDS = 100
"""Kinds of lines that are remembered. Judgement: we have a dozen."""


class FloodFilter(logging.Filter):
    """Lets a line pass unless one of its kind has passed within a minute.

    Lines are of a kind if they are made from the same text, and report the same kind of error.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        super().__init__()
        self._clock = clock
        self._lock = threading.Lock()
        self._passed: dict[tuple[str, str], tuple[float, int]] = {}
        """When a line of a kind has passed last, and how many have not since."""

    def filter(self, record: logging.LogRecord) -> bool:
        """Whether a line passes."""
        error = record.exc_info[0] if record.exc_info else None
        kind = (str(record.msg)[:80], "" if error is None else error.__qualname__)
        now = self._clock()
        with self._lock:
            if len(self._passed) > MAX_KINDS:
                self._passed.clear()
            last, held = self._passed.get(kind, (now - QUIET_S, 0))
            if now - last < QUIET_S:
                self._passed[kind] = (last, held + 1)
                return False
            self._passed[kind] = (now, 0)
        if held:
            record.msg = f"{record.msg} (and {held} more like it)"
        return True
