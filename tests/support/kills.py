"""Daemons that are killed at any moment and started again, until all have been told.

Forty channels are told the dusk round, one push each, so that there is something to lose at every
moment. A life begins with a new ledger and ends when all forty have their push. What is looked at
after a kill is a copy of the files: to open the ledger itself would tidy up what the killed left.
"""

import json
import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import threading
from collections import Counter
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from http.server import ThreadingHTTPServer
from itertools import count
from pathlib import Path

import pytest
from click.testing import CliRunner

from sillward import cli
from sillward.ledger import Ledger
from sillward.ledger.schema import SCHEMA_VERSION
from sillward_rules.weather.night_summary import NightForecast
from tests.daemon.ledger.test_migration import VERSION_2
from tests.support.installation import SITE, QuietHandler, a_place, serve, utc_now, wait_for

CHANNELS = [f"c{number:02}" for number in range(40)]

MOMENTS_S = (0.015, 0.06, 0.3, 1.5)
"""About as long as it takes, undisturbed, until the ledger is made, until the round is told, until
the sender process has started, until all is sent and the daily copy is written. The kill comes at
a random moment up to one of these."""

IMPORTS_S = 1.2
"""About as long as it takes to import everything."""

SLOW_S = 0.02
"""How long a slow channel takes for its answer."""

GROWN_DAYS = 120
"""Of a ledger that takes a while to be checked and copied."""

MOTHER = """
import os, signal, sys
import apprise
from sillward.cli import main, run
from sillward.net import transport
apprise.Apprise.instantiate("json://127.0.0.1")
signal.signal(signal.SIGCHLD, signal.SIG_IGN)
for line in sys.stdin:
    how, _, ledger = line.strip().partition(" ")
    child = os.fork()
    if not child:
        signal.signal(signal.SIGCHLD, signal.SIG_DFL)
        os.environ["SILLWARD_LEDGER"] = ledger
        if how == "whole":
            os.execv(sys.executable, [sys.executable, "-m", "sillward", "run"])
        main(["run"])
    print(child, flush=True)
"""
"""Has imported all that a daemon imports, which is nine tenths of a start, and becomes one again
and again by a fork: from there on all is as in any start."""


@dataclass
class Post:
    """The other side of all channels: what arrived at each, in order."""

    arrived: dict[str, list[str]] = field(default_factory=dict)
    slow: bool = False
    port: int = 0
    server: ThreadingHTTPServer | None = None

    def open(self) -> None:
        """Listen, on the same port as before if there was one."""
        post = self

        class Handler(QuietHandler):
            def do_POST(self) -> None:  # noqa: N802
                with suppress(OSError, ValueError):  # the caller may have been killed
                    body = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
                    channel = self.path.rpartition("/")[2]
                    post.arrived.setdefault(channel, []).append(body["title"])
                    if post.slow:
                        threading.Event().wait(SLOW_S)
                    self.answer(b"{}")

        self.server, self.port = serve(Handler, self.port)

    def close(self) -> None:
        """Refuse every caller."""
        if self.server is not None:
            self.server.shutdown()
            self.server.server_close()
            self.server = None


@dataclass
class Life:
    """One ledger, from its beginning until all have been told."""

    folder: Path
    post: Post
    kills: int = 0

    @property
    def ledger(self) -> Path:
        return self.folder / "ledger.sqlite3"

    def sent(self) -> set[str]:
        """The channels whose notice is marked as sent."""
        return {channel for channel, state in self.notices() if state == "sent"}

    def notices(self) -> list[tuple[str, str]]:
        with suppress(sqlite3.Error), closing(_read(self.ledger)) as db:
            return list(db.execute("SELECT channel, state FROM notice WHERE round = 'dusk'"))
        return []

    def told(self) -> bool:
        """Whether it is over."""
        return len(self.sent()) == len(CHANNELS)

    def hurry(self) -> None:
        """What waits for another try is due now: a push that failed, and a call for the forecast
        in which the process was killed, which the next start leaves alone for a while."""
        if not self.ledger.exists():
            return
        past = (utc_now() - timedelta(seconds=1)).isoformat(timespec="microseconds")
        with suppress(sqlite3.OperationalError), closing(sqlite3.connect(self.ledger)) as db, db:
            db.execute("UPDATE notice SET next_at = ? WHERE state = 'waiting'", (past,))
            db.execute("UPDATE call_schedule SET next_at = ? WHERE failures > 0", (past,))


def _read(path: Path) -> sqlite3.Connection:
    return sqlite3.connect(f"file:{path}?mode=ro", uri=True)


@dataclass
class Killer:
    """Starts daemons, kills them, looks at what they left."""

    folder: Path
    rng: random.Random
    monkeypatch: pytest.MonkeyPatch
    mother: subprocess.Popen[str]
    post: Post
    lives: Iterator[int] = field(default_factory=lambda: count(1))
    whole: bool = False
    left: Counter[str] = field(default_factory=Counter)
    """How far things were at each look: nothing, no round, unsent, half sent or all sent."""
    repeats: int = 0

    def live(
        self, most_kills: int, *, kind: str = "new", mood: str = "well", whole: bool = False
    ) -> int:
        """One life with so many kills, or fewer if all have been told before. Return how many.

        kind: of ledger: "new", "old" (of an earlier version) or "grown".
        mood: of the channels: "well", "slow" or "down" (at first).
        whole: by the command line, from its beginning.
        """
        life = self._begin(kind)
        self.whole, self.post.slow = whole, mood == "slow"
        if mood == "down":
            self._while_nobody_answers(life)
        while life.kills < most_kills and not (life.told() and self.rng.random() < 0.5):
            if self.rng.random() < 0.3:
                life.hurry()
            self._one_kill(life)
        self._end(life)
        return life.kills

    def _begin(self, kind: str) -> Life:
        folder = self.folder / f"life{next(self.lives)}"
        folder.mkdir(mode=0o700)
        self.post.arrived.clear()
        life = Life(folder, self.post)
        if kind == "old":
            with closing(sqlite3.connect(life.ledger)) as db:
                db.executescript(VERSION_2)
        elif kind == "grown":
            with closing(Ledger(life.ledger)) as ledger:
                _grow(ledger, utc_now())
        return life

    def _while_nobody_answers(self, life: Life) -> None:
        self.post.close()
        daemon = self._start(life)
        assert wait_for(lambda: any(state == "waiting" for _, state in life.notices()))
        self._pause(self.rng.uniform(0, MOMENTS_S[-1]))
        self._kill(daemon, life)
        self.post.open()
        life.hurry()

    def _start(self, life: Life) -> int:
        """Start a daemon; return its process number."""
        assert self.mother.stdin is not None
        assert self.mother.stdout is not None
        self.mother.stdin.write(f"{'whole' if self.whole else 'fork'} {life.ledger}\n")
        self.mother.stdin.flush()
        return int(self.mother.stdout.readline())

    def _pause(self, seconds: float) -> None:
        """The moment at which a real process is killed is a real one."""
        threading.Event().wait(seconds)

    def _kill(self, daemon: int, life: Life) -> None:
        """Kill it, and look."""
        os.kill(daemon, signal.SIGKILL)
        assert wait_for(lambda: _gone(daemon))
        life.kills += 1
        self._look(life)

    def _one_kill(self, life: Life) -> None:
        """Start, wait for a random moment, kill."""
        daemon = self._start(life)
        longest = self.rng.choice(MOMENTS_S) * (3 if self.post.slow else 1)
        self._pause(self.rng.uniform(0, longest) + self.rng.uniform(0, IMPORTS_S) * self.whole)
        self._kill(daemon, life)

    def _look(self, life: Life) -> None:
        """What must hold of what a killed daemon has left."""
        copy = self.folder / "copy"
        shutil.rmtree(copy, ignore_errors=True)
        shutil.copytree(life.folder, copy)
        ledger = copy / life.ledger.name
        if not ledger.exists():
            self.left["nothing"] += 1
            return
        with closing(sqlite3.connect(ledger)) as db:
            assert db.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        shutil.rmtree(copy)
        shutil.copytree(life.folder, copy)
        with self.monkeypatch.context() as patch:
            patch.setenv("SILLWARD_LEDGER", str(ledger))
            result = CliRunner().invoke(cli.main, ["status", "--json"])
        assert result.exit_code in (0, 1), result.output
        assert json.loads(result.stdout)["site"] == SITE
        with closing(_read(ledger)) as db:
            notices = list(db.execute("SELECT channel, state FROM notice WHERE round = 'dusk'"))
        self._compare(notices, life)

    def _compare(self, notices: list[tuple[str, str]], life: Life) -> None:
        sent = {channel for channel, state in notices if state == "sent"}
        sending = {channel for channel, state in notices if state == "sending"}
        arrived = set(life.post.arrived)
        assert sent <= arrived  # nothing counts as sent that did not arrive
        assert len(sending) <= 1
        assert len(notices) in (0, len(CHANNELS))  # all or nothing
        left = "no round" if not notices else "unsent" if not sent else "half sent"
        self.left["all sent" if len(sent) == len(CHANNELS) else left] += 1

    def _end(self, life: Life) -> None:
        """Let the last daemon work to its end; then count."""
        life.hurry()
        daemon = self._start(life)
        assert wait_for(life.told)
        assert wait_for(lambda: list(life.folder.glob("*.copy-*.gz")))
        os.kill(daemon, signal.SIGTERM)
        assert wait_for(lambda: _gone(daemon))
        self._look(life)
        arrived = life.post.arrived
        assert set(arrived) == set(CHANNELS)
        marked = [
            title for titles in arrived.values() for title in titles if title.startswith("(repeat)")
        ]
        for titles in arrived.values():
            assert all(title.startswith("(repeat) ") for title in titles[1:])
        assert len(marked) <= life.kills
        self.repeats += sum(len(titles) - 1 for titles in arrived.values())
        others = [path.name for path in life.folder.iterdir() if not _expected(path.name)]
        assert others == [], others
        shutil.rmtree(life.folder)


def _expected(name: str) -> bool:
    """Whether a file is one that a ledger has, and not one that was left lying about."""
    rest = name.removeprefix("ledger.sqlite3")
    usual = rest in ("", "-wal", "-shm", ".lock", f".before-{SCHEMA_VERSION}")
    return usual or (rest.startswith(".copy-") and rest.endswith(".gz"))


def _gone(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return True
    return False


def _grow(ledger: Ledger, now: datetime) -> None:
    """Four months of forecasts of nights."""
    for day in range(GROWN_DAYS):
        for hour in range(0, 24, 3):
            at = now - timedelta(days=day, hours=hour)
            nights = [
                NightForecast(
                    (at + timedelta(days=ahead)).date(), 24.0 * ahead, 3.1,
                    (at + timedelta(days=ahead)).astimezone(UTC), 1.0, 0.6, 0.25, 24.8,
                )
                for ahead in range(7)
            ]  # fmt: skip
            ledger.nights.keep("Afternoon court", "Invented source", at, nights)


@contextmanager
def a_killer(folder: Path, rng: random.Random, monkeypatch: pytest.MonkeyPatch) -> Iterator[Killer]:
    """A mother of daemons, a forecast server, and the other side of the channels."""
    place = a_place()

    class Forecast(QuietHandler):
        def do_GET(self) -> None:  # noqa: N802
            with suppress(OSError):
                self.answer(json.dumps(place.body()).encode())

    forecast, port = serve(Forecast)
    post = Post()
    post.open()
    before, _, _ = place.collection(post.port).partition("[[channels]]")
    entries = [
        f'[[channels]]\nname = "{name}"\nurl = "json://127.0.0.1:{post.port}/{name}"\n'
        'rounds = ["dusk"]\n'
        for name in CHANNELS
    ]
    text = "".join([before, '[notices]\nremind = "never"\n', *entries])
    (folder / "collection.toml").write_text(text, encoding="utf-8")
    monkeypatch.setenv("SILLWARD_COLLECTION", str(folder / "collection.toml"))
    monkeypatch.setenv("SILLWARD_FORECAST__BASE_URL", f"http://127.0.0.1:{port}")
    with (folder / "log").open("wb") as log:
        mother = subprocess.Popen(
            [sys.executable, "-c", MOTHER],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=log,
            text=True,
        )
    try:
        with mother:
            yield Killer(folder, rng, monkeypatch, mother, post)
    finally:
        post.close()
        forecast.shutdown()
        forecast.server_close()
