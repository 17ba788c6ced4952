"""What the service takes of a small machine: memory, files, threads, and what wears out its disk.

Bytes are those given to write calls (wchar of /proc/self/io): the ledger with its write-ahead log,
which is written twice, and the daily copies. What a file system makes of them is its own. The log
is not among them; it is the journal's. The long runs are in the slow set.
"""

import json
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.support.installation import QuietHandler, serve
from tests.support.paths import ROOT

pytestmark = pytest.mark.skipif(
    not Path("/proc/self/io").exists(), reason="what a process takes is read from Linux' /proc"
)

MAX_KB = 95_000
"""Resident, on x86-64. Measured with Python 3.11: 90 MB once everything has been done for the first
time and 92.3 MB at most. Of that the interpreter and its basic modules take 15, NumPy 13, HTTP with
TLS (ssl, urllib3, requests) 14, pydantic and its settings 12, the rest of the libraries 6, the code
of sillward 17, and its work 13. Apprise with its plugins would be 18 more; it lives in the sender
process, while there is something to send."""

MAX_LATER_KB = 99_000
"""The same after some weeks: 98 MB at most, since the ledger and with it SQLite's cache grow."""

MAX_GROWTH_KB = 2_000
"""In the second half. A leak of 1 kB a tick would be 3 MB a day."""

MAX_WARMING_KB = 8_000
"""The same in the short run, in whose second half some work is done for the first time."""

MAX_BYTES = 5_000_000
"""Written in a day. Judgement: not 2 GB a year."""


@pytest.fixture
def port() -> Iterator[int]:
    """The other side of channels and heartbeat."""

    class Handler(QuietHandler):
        def do_POST(self) -> None:  # noqa: N802
            self.rfile.read(int(self.headers["Content-Length"]))
            self.answer(b"{}")

        def do_GET(self) -> None:  # noqa: N802
            self.answer(b"")

    server, port = serve(Handler)
    yield port
    server.shutdown()
    server.server_close()


def of_a_desk(what: str, folder: Path, port: int, number: int) -> dict[str, Any]:
    """What a desk at work reports of itself, see `footprint.py`."""
    result = subprocess.run(
        [sys.executable, "-m", "tests.support.footprint", what, folder, str(port), str(number)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert result.returncode == 0, result.stderr
    report: dict[str, Any] = json.loads(result.stdout)
    print(report)  # noqa: T201 - shown when a bound is broken
    assert report["unsent"] == 0
    return report


@pytest.mark.parametrize(
    ("ticks", "most_kb", "growth_kb"),
    [
        (240, MAX_KB, MAX_WARMING_KB),
        pytest.param(1_000, MAX_LATER_KB, MAX_GROWTH_KB, marks=pytest.mark.slow),
    ],
)
def test_memory_files_and_threads_do_not_grow(
    ticks: int, most_kb: int, growth_kb: int, tmp_path: Path, port: int
) -> None:
    report = of_a_desk("memory", tmp_path, port, ticks)

    half, end = report["half"], report["end"]
    assert report["rounds"] >= ticks // 60
    assert report["copies"]
    assert end["rss_kb"] < most_kb
    assert end["peak_kb"] < most_kb
    assert end["rss_kb"] - half["rss_kb"] < growth_kb
    assert (end["files"], end["threads"]) == (half["files"], half["threads"])


@pytest.mark.parametrize(
    ("ledger", "tick_s"),
    [
        ("day", 300),
        pytest.param("day", 30, marks=pytest.mark.slow),
        pytest.param("year", 30, marks=pytest.mark.slow),
    ],
)
def test_what_is_written_in_a_day_is_little(
    ledger: str, tick_s: int, tmp_path: Path, port: int
) -> None:
    report = of_a_desk(ledger, tmp_path, port, tick_s)

    assert report["fetches"] >= 18
    assert report["rounds"] >= 2
    assert report["reminders"] >= 1
    assert len(report["copies"]) == 2
    assert report["ledger"] > (5_000_000 if ledger == "year" else 0)
    assert 0 < report["written"] < MAX_BYTES
