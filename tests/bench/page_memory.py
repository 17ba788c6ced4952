"""What the page adds to the memory of `sillward run`, and how quickly it answers over loopback.

Two daemons, each a process of its own: one without the page, one with it, in which somebody signs
in and looks at every page that Today leads on to, several times over.
"""

import os
import re
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from unittest import mock

from sillward.page.people import passphrases
from tests.bench.table import Row, report
from tests.support.forked import Forked
from tests.support.installation import Installation, an_installation, wait_for
from tests.support.plain_browser import Browser, free_port

GOAL_MB = 25.0
ROUNDS = 20
PASSPHRASE = "three brave geese"

_LINK = re.compile(r'href="(/[^"#?]*)"')


def memory_mb(process: Forked | subprocess.Popen[bytes], what: str) -> float:
    """Return what a process holds in memory, VmRSS now or VmHWM at its most [MB]."""
    status = Path(f"/proc/{process.pid}/status").read_text(encoding="utf-8")
    found = re.search(rf"^{what}:\s+(\d+) kB", status, re.MULTILINE)
    if found is None:
        msg = f"/proc has no {what}"
        raise RuntimeError(msg)
    return int(found[1]) / 1000


def started(installation: Installation) -> Forked | subprocess.Popen[bytes]:
    """Start the daemon, and wait until its first notice is sent."""
    process = installation.start("-m", "sillward", "run")
    if not wait_for(lambda: "sent" in installation.states, 60):
        msg = "the daemon has told nothing"
        raise RuntimeError(msg)
    return process


def without_page() -> tuple[float, float]:
    """Return what it takes without the page, now and at its most [MB]."""
    with tempfile.TemporaryDirectory() as folder, an_installation(Path(folder)) as installation:
        process = started(installation)
        return memory_mb(process, "VmRSS"), memory_mb(process, "VmHWM")


def with_page() -> tuple[float, float, float, float]:
    """Return what it takes with it [MB], now, before anybody has looked, and at its most; and the
    median time of an answer [ms]."""
    with tempfile.TemporaryDirectory() as folder, an_installation(Path(folder)) as installation:
        port = free_port()
        hash_ = passphrases.hash_of(PASSPHRASE)
        (Path(folder) / "page-passphrase").write_text(hash_, encoding="utf-8")
        more = {"SILLWARD_PAGE__ADDRESS": f"127.0.0.1:{port}", "SILLWARD_CREDENTIALS": folder}
        with mock.patch.dict(os.environ, more):
            process = started(installation)
        unseen = memory_mb(process, "VmRSS")
        browser = Browser(port)
        if browser.form("/sign-in", "/sign-in", passphrase=PASSPHRASE, to="/") != 303:
            msg = "nobody can sign in"
            raise RuntimeError(msg)
        took = look_around(browser)
        return memory_mb(process, "VmRSS"), unseen, memory_mb(process, "VmHWM"), took


def look_around(browser: Browser) -> float:
    """Look at all pages, again and again; return the median time of an answer [ms]."""
    seen, waiting, took = set[str](), ["/"], list[float]()
    while waiting:
        path = waiting.pop()
        if path in seen:
            continue
        seen.add(path)
        status, text = browser.ask(path)
        if status != 200:
            msg = f"{path} answered {status}"
            raise RuntimeError(msg)
        waiting += _LINK.findall(text)
    for _ in range(ROUNDS):
        for path in sorted(seen):
            start = time.perf_counter()
            browser.ask(path)
            took.append(1000 * (time.perf_counter() - start))
    return statistics.median(took)


def main() -> int:
    """Measure both, print the table, and return the status."""
    bare, bare_most = without_page()
    full, unseen, full_most, took_ms = with_page()
    rows = [
        Row("without the page", bare, "MB"),
        Row("with it, before anybody has looked: more", unseen - bare, "MB"),
        Row("with it, every page looked at: more", full - bare, "MB", at_most=GOAL_MB),
        Row("at the most, so also while a hash is made: more", full_most - bare_most, "MB"),
        Row("an answer, median", took_ms, "ms"),
    ]
    return report(f"`sillward run` with and without the page, {ROUNDS} looks at each page", rows)


if __name__ == "__main__":
    sys.exit(main())
