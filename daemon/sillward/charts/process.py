"""Charts drawn in a child process, which ends with its one picture.

With matplotlib a process takes some 75 MB, and it may hang or crash over a font; the daemon stays
small, and a chart never stops a mail.
"""

import logging
import sys
from base64 import b64decode
from collections.abc import Sequence
from contextlib import closing
from functools import lru_cache
from typing import Literal, TypeAlias

from sillward.charts.data import Chart, ChartData, to_plain
from sillward.child_process import ChildError, ChildProcess, Failure
from sillward.errors import ChartError, one_line

Form: TypeAlias = Literal["png", "svg"]

COMMAND = (sys.executable, "-m", "sillward.charts")

LIMIT_S = 30.0
"""Longest wait for a picture [s]. Judgement: on a slow machine the first one searches for fonts."""

MAX_CHART_BYTES = 4_000_000
"""Largest picture [bytes]. Judgement: some 20 times the usual size."""

NO_MATPLOTLIB = 3
"""Exit status of a child that cannot import matplotlib."""

INSTALL = "charts need matplotlib: pip install '.[charts]' in the checkout"

MADE_BY = "drawn by sillward"
"""Mark near the beginning of each picture, by which a later one may replace it."""

HEAD = 1000
"""Bytes at the beginning of a picture that show whether sillward drew it."""

MAX_REASON_CHARACTERS = 200
"""Characters of what a failed child says. Judgement: one line of a log."""

_BEGINS = {"png": b"\x89PNG\r\n\x1a\n", "svg": b"<?xml"}

log = logging.getLogger(__name__)


def is_ours(head: bytes) -> bool:
    """Whether a file that begins like this is a picture of sillward's."""
    return head.startswith(tuple(_BEGINS.values())) and MADE_BY.encode() in head


def drawn(
    data: ChartData, form: Form, command: Sequence[str] = COMMAND, limit_s: float = LIMIT_S
) -> bytes | None:
    """Return the chart as a picture; None if it cannot be drawn, with one line in the log."""
    try:
        return picture(data, form, command, limit_s)
    except ChartError as error:
        _log_once(str(error))
    return None


@lru_cache(maxsize=32)
def _log_once(reason: str) -> None:
    """Log a reason once in the life of this process: what is missing stays missing."""
    log.warning("chart.not_drawn reason=%s", reason)


def picture(
    data: Chart,
    form: Form,
    command: Sequence[str] = COMMAND,
    limit_s: float = LIMIT_S,
) -> bytes:
    """Return the chart as a picture. Raise ChartError with the reason if it cannot be drawn."""
    max_reply_bytes = MAX_CHART_BYTES * 4 // 3 + 1_000  # base64, and the JSON around it
    with closing(ChildProcess(command, limit_s, max_reply_bytes)) as child:
        try:
            reply = child.ask({"form": form, "data": to_plain(data)})
        except OSError as error:
            msg = f"the chart cannot be drawn: {error.strerror}"
            raise ChartError(msg) from None
        except ChildError as error:
            raise ChartError(_reason(error, limit_s)) from None
        image = b64decode(reply["image"])
    if not image.startswith(_BEGINS[form]):
        msg = "the chart cannot be drawn: the result is not a picture"
        raise ChartError(msg)
    return image


def _reason(error: ChildError, limit_s: float) -> str:
    """Return why there is no picture, in a line."""
    if error.failure is Failure.TIMED_OUT:
        return f"the chart was not drawn within {limit_s:g} s"
    if error.failure is Failure.TOO_LARGE:
        return f"the chart came out larger than {MAX_CHART_BYTES:,} bytes"
    if error.status == NO_MATPLOTLIB:
        return INSTALL
    complaint = one_line(error.complaint, MAX_REASON_CHARACTERS)
    return f"the chart cannot be drawn: {complaint or f'its process ended with {error.status}'}"
