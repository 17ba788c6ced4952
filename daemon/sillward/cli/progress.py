"""How commands show that long work goes on: now and then a line on standard error, for people."""

import sys
import time
from collections.abc import Callable
from typing import TextIO

EVERY_S = 2.0
"""So long between two lines [s]. Judgement: often enough to see that it moves."""


class Progress:
    """Counts what is done, and says so on a terminal."""

    def __init__(
        self,
        what: str,
        total: int,
        stream: TextIO | None = None,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        """Begin to count.

        what: what is counted, in words, such as "nights replayed".
        """
        self._what, self._total = what, total
        self._stream = sys.stderr if stream is None else stream
        self._monotonic = monotonic
        self._done, self._said_at = 0, monotonic()

    def one_more(self) -> None:
        """Count one more."""
        self.reached(self._done + 1)

    def share(self, done: float) -> None:
        """Say which share of it is done (0..1)."""
        self.reached(round(done * self._total))

    def reached(self, done: int) -> None:
        """Say how many are done, if it is time to and there is somebody to read it."""
        self._done = done
        now = self._monotonic()
        if self._stream.isatty() and now - self._said_at >= EVERY_S:
            self._said_at = now
            print(f"{done:,} of {self._total:,} {self._what}", file=self._stream, flush=True)
