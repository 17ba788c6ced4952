"""More than one `sillward run` for a site on one machine.

They share a ledger in which each notice is claimed before it is sent, so nothing is told twice. But
who started a second one by mistake must hear of it. It is never refused: the one that was there may
be about to end, and a daemon too many is better than none.
"""

import logging
import os
import socket
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

from sillward.errors import LedgerError
from sillward.ledger import Ledger

log = logging.getLogger(__name__)

RUNS_MARK = "runs"
"""The mark, with the site's name, for the daemons that were started: "HOST PROCESS" in each line.
Those that have ended are left out when the next one starts."""

_PROC = Path("/proc")


HOUSEHOLDS = "all households"
"""In the place of a site's name: a daemon for a folder of households."""


def tell_of_others(ledger: Ledger, site: str, label: str, now: datetime) -> None:
    """Remember that this process runs for a site, and log a warning if others do.

    label: what people read as its name.
    """
    try:
        others = note_run(ledger, site, now)
    except LedgerError as error:  # which is told elsewhere; the daemon goes on
        log.warning("run.not_noted reason=%s", error)
        return
    if others:
        log.warning(
            'run.another_is_at_work site="%s" processes=%s: nothing is told twice, but one is '
            "enough; end the other",
            label,
            ",".join(map(str, others)),
        )


def trouble(ledger: Ledger, site: str, label: str) -> str | None:
    """Return in words that several daemons of this machine run for a site; None if not so."""
    running = runs(ledger, site)
    if len(running) < 2:
        return None
    return (
        f"`sillward run` is at work {len(running)} times for {label} (processes "
        f"{', '.join(map(str, running))}): nothing is told twice, but one is enough; end the "
        "others"
    )


def note_run(
    ledger: Ledger,
    site: str,
    now: datetime,
    process: int | None = None,
    is_running: Callable[[int], bool] | None = None,
) -> list[int]:
    """Remember that this process runs for a site; return the others that do. Raise LedgerError."""
    process = os.getpid() if process is None else process
    others = [one for one in runs(ledger, site, is_running) if one != process]
    host = socket.gethostname()
    text = "\n".join(f"{host} {one}" for one in (*others, process))
    ledger.marks.set(f"{RUNS_MARK}, {site}", now, text)
    return others


def runs(ledger: Ledger, site: str, is_running: Callable[[int], bool] | None = None) -> list[int]:
    """Return the daemons of this machine that run for a site, by their process numbers."""
    mark = ledger.marks.get(f"{RUNS_MARK}, {site}")
    if mark is None:
        return []
    host, is_running = socket.gethostname(), is_running or _is_daemon
    lines = [line.rpartition(" ") for line in mark.text.splitlines()]
    found = [int(number) for where, _, number in lines if where == host and number.isdecimal()]
    return [process for process in found if is_running(process)]


def _is_daemon(process: int) -> bool:
    """Whether a process is a `sillward run`. False where that cannot be seen."""
    try:
        words = (_PROC / str(process) / "cmdline").read_bytes().split(b"\0")
    except OSError:  # it has ended, or there is no such folder on this system
        return False
    return b"run" in words and any(b"sillward" in word for word in words)
