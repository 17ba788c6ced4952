"""Workers that are killed at any moment, until all rounds of many households have been told.

A worker is a process that takes turns, writes each household's round with its notice, sends what
waits and marks it: by the tables that `sillward run` uses, with a push that is a line in a file. A
line is written at once and whole, so that the file says what arrived, and in which order.
"""

import os
import random
import signal
import subprocess
import sys
import threading
from collections import Counter
from contextlib import closing
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from sillward.ledger import Ledger, Notice, NoticeState
from sillward.ledger.address import PostgresAddress
from sillward.ledger.server_ledgers import ServerLedgers
from sillward.service.shared_turns import SharedTurns
from sillward.service.worker_clock import WorkerClock
from sillward_rules.plants.state import PlantState
from tests.support.chores import a_chore
from tests.support.installation import wait_for
from tests.support.paths import ROOT

DAY = date(2026, 5, 14)
LEASE = timedelta(seconds=2)
"""Short, so that others soon take over."""

PAUSE_S = 0.02

NEXT = timedelta(minutes=5)


def utc_now() -> datetime:
    return datetime.now(UTC)


def work(url: str, arrived: Path, batch: int) -> None:
    """Work until nobody is due any more."""
    ledgers = ServerLedgers(PostgresAddress(url), utc_now)
    turns = SharedTurns(
        ledgers.turns, WorkerClock(ledgers.shared(), utc_now), batch=batch, lease=LEASE
    )
    with closing(ledgers), arrived.open("ab", buffering=0) as post:
        while True:
            name = turns.next_due()
            if name is None:
                threading.Event().wait(PAUSE_S)
                continue
            ledger = ledgers.of_household(name)
            decide(ledger, name)
            deliver(ledger, name, post.fileno())
            waits = ledger.notices.of_round(name, "dusk", DAY)[0].state is not NoticeState.SENT
            turns.schedule(name, utc_now() + (timedelta(0) if waits else NEXT))


def decide(ledger: Ledger, name: str) -> None:
    """Write the round of a household, unless that has been done."""
    if ledger.rounds.enqueued_at(name, "dusk", DAY) is not None:
        return
    now = utc_now()
    notice = Notice(
        f"{name}/{DAY}/dusk/phone", name, "dusk", str(DAY), "phone", "Carry in 2 plants", "Now",
        NoticeState.WAITING, 0, now, now + timedelta(hours=12),
    )  # fmt: skip
    states = {plant: PlantState("bench") for plant in ("strap", "curls")}
    ledger.keep_round(
        name, "dusk", DAY, now,
        notices=[notice],
        chores=[a_chore(f"{DAY}-carry-in-bench-room", now + timedelta(hours=1))],
        states_now=states,
        states_once_delivered={plant: PlantState("room", now) for plant in states},
    )  # fmt: skip


def deliver(ledger: Ledger, name: str, post: int) -> None:
    """Send what waits for a household, as the outbox does."""
    ledger.notices.release_claims(name, utc_now())
    for notice in ledger.notices.due(name, utc_now(), timedelta(minutes=15)):
        if ledger.notices.claim(notice.key, utc_now() + LEASE):
            repeat = "(repeat) " if notice.perhaps_sent else ""
            os.write(post, f"{name} {repeat}{notice.title}\n".encode())
            ledger.mark_sent(notice.key, utc_now())


@dataclass
class Outcome:
    """What became of all rounds."""

    households: int
    kills: int
    decided: int
    told: int
    repeats: int
    unmarked: list[str]
    """Those that were told twice without saying so."""
    mixed: list[str]
    """Rounds without exactly one notice and one chore."""
    by_worker: Counter[int] = field(default_factory=Counter)


@dataclass
class Trial:
    """Some workers on one server."""

    address: PostgresAddress
    folder: Path
    rng: random.Random
    workers: int
    batch: int = 20
    killed_after_s: float = 0.5
    """Each kill comes at a random moment up to this after the one before."""
    running: list[subprocess.Popen[bytes]] = field(default_factory=list)
    kills: int = 0

    @property
    def arrived(self) -> Path:
        return self.folder / "arrived"

    def run(self, households: int, kills: int, seconds: float) -> Outcome:
        """Let the workers tell the rounds of so many households."""
        names = [f"court-{number:05}" for number in range(households)]
        with closing(ServerLedgers(self.address, utc_now)) as ledgers:
            SharedTurns(ledgers.turns, WorkerClock(ledgers.shared(), utc_now)).keep(names)
            self.arrived.touch()
            self.running = [self._start() for _ in range(self.workers)]
            try:
                while self.kills < kills and not self._all_sent(ledgers, households):
                    threading.Event().wait(self.rng.uniform(0, self.killed_after_s))
                    self._kill_one()
                assert wait_for(lambda: self._all_sent(ledgers, households), seconds)
            finally:
                for worker in self.running:
                    worker.kill()
                    worker.wait()
            return self._outcome(ledgers.shared(), names)

    def _start(self) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-m", "tests.support.worker_trial", self.address.url]
        return subprocess.Popen([*command, str(self.arrived), str(self.batch)], cwd=ROOT)

    def _kill_one(self) -> None:
        worker = self.rng.choice(self.running)
        worker.send_signal(signal.SIGKILL)
        worker.wait()
        self.kills += 1
        self.running.remove(worker)
        self.running.append(self._start())

    def _all_sent(self, ledgers: ServerLedgers, households: int) -> bool:
        ((sent,),) = ledgers.shared().database.rows(
            "SELECT COUNT(*) FROM notice WHERE state = 'sent'"
        )
        return bool(sent == households)

    def _outcome(self, ledger: Ledger, names: list[str]) -> Outcome:
        told: dict[str, list[str]] = {}
        for line in self.arrived.read_text().splitlines():
            name, _, title = line.partition(" ")
            told.setdefault(name, []).append(title)
        counts = {
            table: {
                row["site"]: row["count"]
                for row in ledger.database.rows(
                    f"SELECT site, COUNT(*) AS count FROM {table} GROUP BY site"
                )
            }
            for table in ("round", "notice", "chore")
        }
        return Outcome(
            len(names),
            self.kills,
            decided=len(counts["round"]),
            told=len(told),
            repeats=sum(len(titles) - 1 for titles in told.values()),
            unmarked=[
                name
                for name, titles in told.items()
                if not all(title.startswith("(repeat)") for title in titles[1:])
            ],
            mixed=[name for name in names if any(each.get(name) != 1 for each in counts.values())],
        )


if __name__ == "__main__":
    work(sys.argv[1], Path(sys.argv[2]), int(sys.argv[3]))
