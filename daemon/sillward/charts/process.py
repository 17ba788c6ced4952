"""Charts drawn in a process of its own, which ends with its one picture.

With matplotlib a process takes some 75 MB, and it may hang or crash over a font; the daemon stays
small, and a chart never stops a mail.
"""

import json
import logging
import os
import selectors
import subprocess
import sys
import time
from collections.abc import Sequence
from functools import lru_cache
from typing import IO, Literal, TypeAlias

from sillward.charts.data import ChartData, to_draw
from sillward.errors import ChartError, one_line

Form: TypeAlias = Literal["png", "svg"]

COMMAND = (sys.executable, "-m", "sillward.charts")

LIMIT_S = 30.0
"""Longest to wait for a picture [s]. Judgement: the first one on a slow machine looks for fonts."""

MOST_BYTES = 4_000_000
"""A picture is not larger [bytes]. Judgement: some 20 times the usual."""

NO_MATPLOTLIB = 3
"""Exit status of a child that could not import it."""

INSTALL = "charts need matplotlib: pip install '.[charts]' in the checkout"

MADE_BY = "drawn by sillward"
"""In each picture, near its beginning: by it a later one may take its place."""

HEAD = 1000
"""Bytes of a picture's beginning that say whose it is."""

_PIECE = 65_536
_MOST_COMPLAINT = 4_000
_BEGINS = {"png": b"\x89PNG\r\n\x1a\n", "svg": b"<?xml"}

log = logging.getLogger(__name__)


def is_ours(head: bytes) -> bool:
    """Whether what begins like this is a picture of ours."""
    return head.startswith(tuple(_BEGINS.values())) and MADE_BY.encode() in head


def drawn(
    data: ChartData, form: Form, command: Sequence[str] = COMMAND, limit_s: float = LIMIT_S
) -> bytes | None:
    """The chart as a picture; None if it cannot be drawn, with one line in the log."""
    try:
        return picture(data, form, command, limit_s)
    except ChartError as error:
        _say(str(error))
    return None


@lru_cache(maxsize=32)
def _say(reason: str) -> None:
    """Log a reason, once for as long as this process lives: what is missing stays missing."""
    log.warning("chart.not_drawn reason=%s", reason)


def picture(
    data: ChartData, form: Form, command: Sequence[str] = COMMAND, limit_s: float = LIMIT_S
) -> bytes:
    """The chart as a picture. Raise ChartError with the reason if it cannot be drawn."""
    told = json.dumps(to_draw(data), allow_nan=False).encode()
    # Nothing secret is needed to draw.
    surroundings = {k: v for k, v in os.environ.items() if not k.startswith("SILLWARD_")}
    try:
        child = subprocess.Popen(
            (*command, form),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            bufsize=0,
            env=surroundings,
            start_new_session=True,  # what ends us at a terminal lets it finish
        )
    except OSError as error:
        msg = f"the chart cannot be drawn: {error.strerror}"
        raise ChartError(msg) from None
    until = time.monotonic() + limit_s
    try:
        said, complaint = _talk(child, told, until)
        status = child.wait(max(until - time.monotonic(), 0.0))
    except (TimeoutError, subprocess.TimeoutExpired):
        msg = f"the chart was not drawn within {limit_s:g} s"
        raise ChartError(msg) from None
    finally:
        _end(child)
    if status == NO_MATPLOTLIB:
        raise ChartError(INSTALL)
    if status != 0 or not said.startswith(_BEGINS[form]):
        last = complaint.decode(errors="replace").strip().rpartition("\n")[2]
        why = one_line(last, 200) or f"its process ended with {status}"
        msg = f"the chart cannot be drawn: {why}"
        raise ChartError(msg)
    return said


def _talk(child: subprocess.Popen[bytes], told: bytes, until: float) -> tuple[bytes, bytes]:
    """Give the child its data and take what it says, until it has said all.

    Raise TimeoutError, or ChartError if it says too much.
    """
    said, complaint, rest = bytearray(), bytearray(), memoryview(told)
    into, out, err = _pipes(child)
    os.set_blocking(into.fileno(), False)
    with selectors.DefaultSelector() as pipes:
        pipes.register(into, selectors.EVENT_WRITE)
        pipes.register(out, selectors.EVENT_READ, said)
        pipes.register(err, selectors.EVENT_READ, complaint)
        while pipes.get_map():
            left = until - time.monotonic()
            if left <= 0:
                raise TimeoutError
            for key, _ in pipes.select(left):
                if key.fileobj is into:
                    rest = rest[_written(into, rest) :]
                    if not rest:
                        pipes.unregister(into)
                        into.close()
                    continue
                piece = os.read(key.fd, _PIECE)
                key.data.extend(piece)
                if not piece:
                    pipes.unregister(key.fileobj)
            del complaint[:-_MOST_COMPLAINT]
            if len(said) > MOST_BYTES:
                msg = f"the chart came out larger than {MOST_BYTES:,} bytes"
                raise ChartError(msg)
    return bytes(said), bytes(complaint)


def _pipes(child: subprocess.Popen[bytes]) -> tuple[IO[bytes], IO[bytes], IO[bytes]]:
    assert child.stdin is not None
    assert child.stdout is not None
    assert child.stderr is not None
    return child.stdin, child.stdout, child.stderr


def _written(pipe: IO[bytes], rest: memoryview) -> int:
    """How much of it is off our hands: all of it if nobody reads any more."""
    try:
        return os.write(pipe.fileno(), rest[:_PIECE])
    except BrokenPipeError:
        return len(rest)


def _end(child: subprocess.Popen[bytes]) -> None:
    child.kill()
    for pipe in _pipes(child):
        pipe.close()
    child.wait()
