"""A desk at work in a process of its own, which tells what it costs: see `test_footprint.py`.

Everything is real (the packaged example, the forecasts' updater, the ledger file, the sender
process, the heartbeat) but the clock, which is moved, and the wire of the forecast, which gives a
recorded body with other numbers each time.

    python -m tests.support.footprint memory FOLDER PORT TICKS
    python -m tests.support.footprint day|year FOLDER PORT SECONDS-OF-A-TICK
"""

import json
import logging
import os
import random
import sys
import threading
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from pydantic import SecretStr

import sillward.cli.run  # noqa: F401 - what the real process has loaded, too
from sillward.assembly.examples import examples
from sillward.channels.sender_process import SenderProcess
from sillward.config.loader import load_household
from sillward.forecast import ensemble
from sillward.forecast.source import SourceOptions
from sillward.forecast.sources import open_meteo
from sillward.forecast.store import ForecastStore
from sillward.forecast.updater import ForecastUpdater
from sillward.ledger import Ledger
from sillward.net.http import Answer, Query
from sillward.service.context import ServiceContext
from sillward.service.desk import Desk
from sillward.service.heartbeat import Heartbeat
from sillward_rules.weather.night_summary import NightForecast

TICK = timedelta(seconds=30)

LEAP_EVERY = 10
LEAP = timedelta(hours=2)
"""Now and then hours pass at once, so that a few hundred ticks cover whole days."""

MEMBERS = 31
"""Of the ensemble that Open-Meteo's own server gives."""

YEAR_BYTES = 5_000_000

START = datetime(2026, 5, 14, 20, 0, tzinfo=UTC)
"""In the middle of the afternoon there: before the dusk round."""


@dataclass
class Clock:
    now: datetime = START

    def __call__(self) -> datetime:
        return self.now


@dataclass
class Wire:
    """Answers of a provider for the moment of the clock, no two alike."""

    clock: Clock
    recorded: dict[str, Any]
    rng: random.Random = field(default_factory=lambda: random.Random(5))
    asked: int = 0
    sway_k: float = 0.0

    def __call__(self, query: Query, *, source: str, **_: Any) -> Answer:
        self.asked += 1
        hourly: Mapping[str, list[float]] = self.recorded["hourly"]
        today = self.clock().replace(hour=0, minute=0, second=0, microsecond=0)
        first = int((today - timedelta(days=1)).timestamp())
        times = [first + 3600 * hour for hour in range(len(hourly["time"]))]
        self.sway_k = max(-4.0, min(4.0, self.sway_k + self.rng.uniform(-1, 1)))
        if source == ensemble.NAME:
            names = [f"temperature_2m_member{number:02}" for number in range(1, MEMBERS)]
            rows = {name: self._other(hourly["temperature_2m"], 1) for name in names}
            rows["temperature_2m"] = self._other(hourly["temperature_2m"], 0)
            units = dict.fromkeys(rows, "°C")
        else:
            rows = {name: list(values) for name, values in hourly.items() if name != "time"}
            for name in ("temperature_2m", "dew_point_2m"):
                rows[name] = self._other(hourly[name], 0.3)
            units = {**self.recorded["hourly_units"]}
        body = {
            **self.recorded,
            "hourly_units": {"time": "unixtime", **units},
            "hourly": {**rows, "time": times},
        }
        return Answer(200, {}, json.dumps(body).encode())

    def _other(self, values: list[float], spread_k: float) -> list[float]:
        return [round(value + self.sway_k + self.rng.gauss(0, spread_k), 1) for value in values]


@dataclass
class RunningDesk:
    """The desk and all around it."""

    desk: Desk
    clock: Clock
    wire: Wire
    pulse: Heartbeat
    sender: SenderProcess

    def tick(self) -> None:
        """As the daemon does it."""
        self.desk.tick()
        self.sender.close()
        self.pulse.beat(self.clock(), "; ".join(self.desk.troubles()) or None)


def built(folder: Path, port: int) -> RunningDesk:
    text = (examples() / "courtyard.toml").read_text(encoding="utf-8")
    text += "".join(
        f'\n[[channels]]\nname = "{name}"\nurl = "json://127.0.0.1:{port}/{name}"\n'
        for name in ("phone", "wall")
    )
    file = folder / "collection.toml"
    file.write_text(text, encoding="utf-8")
    clock = Clock()
    recorded = json.loads((examples() / "recorded" / "cold-snap.json").read_bytes())
    wire = Wire(clock, recorded)
    household = load_household(file, lambda _: None)
    ledger = Ledger.open_or_in_memory(folder / "ledger.sqlite3", clock=clock)
    store = ForecastStore([open_meteo.build(SourceOptions())], ledger, clock)
    store.ensemble = ensemble.build(SourceOptions())
    updater = ForecastUpdater(store, [household.collection.site], ask=wire)
    address = SecretStr(f"http://127.0.0.1:{port}/alive")
    pulse = Heartbeat(address, None, timedelta(minutes=15), lambda: clock().timestamp())
    sender = SenderProcess()
    return RunningDesk(
        Desk.of(ServiceContext(household, updater, ledger, sender, clock)),
        clock,
        wire,
        pulse,
        sender,
    )


# -- what it costs


def status_kb(name: str) -> int:
    """A line of /proc/self/status, such as VmRSS [kB]."""
    for line in Path("/proc/self/status").read_text(encoding="ascii").splitlines():
        if line.startswith(f"{name}:"):
            return int(line.split()[1])
    raise LookupError(name)


def written_bytes() -> int:
    """Bytes that this process has given to write and its kin; sends to sockets are not among
    them."""
    lines = Path("/proc/self/io").read_text(encoding="ascii").splitlines()
    return int(dict(line.split(": ") for line in lines)["wchar"])


def costs() -> dict[str, int]:
    return {
        "rss_kb": status_kb("VmRSS"),
        "peak_kb": status_kb("VmHWM"),
        "files": len(os.listdir("/proc/self/fd")),
        "threads": threading.active_count(),
    }


def memory(running: RunningDesk, ticks: int) -> dict[str, Any]:
    """What it takes after the first half of the ticks, and after the second."""
    report: dict[str, Any] = {}
    for number in range(1, ticks + 1):
        running.tick()
        running.clock.now += LEAP if number % LEAP_EVERY == 0 else TICK
        if number == ticks // 2:
            report["half"] = costs()
    return report | {"end": costs()}


def day(running: RunningDesk, tick: timedelta) -> dict[str, Any]:
    """What is written in a day, and how often the forecast was asked for, after the start."""
    for _ in range(2):
        running.tick()
        running.clock.now += tick
    before, asked = written_bytes(), running.wire.asked
    for _ in range(int(timedelta(days=1) / tick)):
        running.tick()
        running.clock.now += tick
    return {"written": written_bytes() - before, "fetches": running.wire.asked - asked}


def age(running: RunningDesk) -> None:
    """Fill the archive as a year of fetches does, oldest first: each night was forecast again and
    again, a little otherwise each time, with the digits that providers give."""
    ledger, site = running.desk.context.ledger, running.desk.context.site
    file, fetched = Path(ledger.file.path), START - timedelta(days=360)
    rng = random.Random(7)

    def near(value: float, spread: float) -> float:
        return round(rng.gauss(value, spread), 1)

    while file.stat().st_size < YEAR_BYTES:
        nights = []
        for ahead in range(8):
            low_at = (fetched + timedelta(days=ahead)).replace(hour=10, minute=0)
            of_night = low_at.toordinal() * 37 % 100 / 10
            nights.append(
                NightForecast(
                    low_at.date(), (low_at - fetched) / timedelta(hours=1), near(of_night, 0.5),
                    low_at, near(of_night - 5, 0.8), abs(near(2, 0.5)), rng.randrange(100) / 100,
                    near(of_night + 14, 0.7),
                )
            )  # fmt: skip
        ledger.nights.keep(site.name, "Open-Meteo", fetched, nights)
        fetched += timedelta(minutes=75)


def main(what: str, folder: str, port: str, number: str) -> None:
    """Do it and print what it cost and what was done, as one JSON object."""
    logging.disable()  # what is logged is not the ledger's
    running = built(Path(folder), int(port))
    if what == "year":
        age(running)
    if what == "memory":
        report = memory(running, int(number))
    else:
        report = day(running, timedelta(seconds=int(number)))
    ledger = running.desk.context.ledger
    report |= {
        "troubles": running.desk.troubles(),
        "rounds": len(ledger.database.rows("SELECT 1 FROM round")),
        "changes": len(ledger.database.rows("SELECT 1 FROM round WHERE change_number > 0")),
        "reminders": len(ledger.database.rows("SELECT 1 FROM notice WHERE stage = 'reminder'")),
        "unsent": len(
            ledger.database.rows("SELECT 1 FROM notice WHERE state IN ('waiting', 'expired')")
        ),
        "ledger": Path(ledger.file.path).stat().st_size,
        "copies": sorted(path.stat().st_size for path in Path(folder).glob("*.copy-*.gz")),
    }
    ledger.close()
    print(json.dumps(report))  # noqa: T201


if __name__ == "__main__":
    main(*sys.argv[1:])
