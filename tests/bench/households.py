"""Two thousand households in one daemon: dusk of all within an hour, and what it takes at rest.

Each has a folder, a collection of 40 plants at three spots, a channel and a ledger of its own on
the disk. They stand along a line on which the sun sets an hour later at the end than at the
beginning, and dusk is told 90 minutes before. The provider is invented and answers at once; the
channel is a server on this machine that takes as long as `--latency` says, and messages go to it
through the child process that sends for the daemon. Time passes as fast as the work: while there is
something to do the clock runs as it does, and when there is nothing it jumps ahead, so that what is
told late is seen as late.

Nothing else should run meanwhile. Where that cannot be, `--busy-machine` measures the daemon's own
processor time in the place of the time that passes; `--households` makes a smaller trial.
"""

import argparse
import http.client
import http.server
import json
import multiprocessing
import multiprocessing.connection
import os
import random
import re
import resource
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from sillward.assembly.household_desks import Equipment
from sillward.assembly.household_run import build_house, close_house
from sillward.channels.sender_pool import SenderPool
from sillward.config.households import Place
from sillward.config.settings import ForecastSettings, Settings
from sillward.forecast.asking import in_thread
from sillward.forecast.source import SourceOptions
from sillward.forecast.sources import open_meteo
from sillward.net.http import Answer, Query
from sillward.service.house import TICK_S, House
from sillward.service.run_control import RunControl
from sillward_rules.weather.site import Site
from tests.bench.table import Row, report
from tests.support.bodies import dumped
from tests.support.desks import SITE
from tests.support.invented_weather import Sky

HOUSEHOLDS = 2_000
PLANTS = 40
DEGREES = 15.0
"""Of longitude between the first and the last: an hour of the sun."""

CELLS = 200
"""So many different places: about ten neighbours share each."""

DAY = date(2026, 5, 14)
START = datetime(2026, 5, 14, 19, 40, tzinfo=UTC)
"""Some minutes before the first dusk round."""

HOURS = 1.25
LATE_S = 60.0
"""A round that is told this long after its hour is late."""

GROUPS = ("lemon", "vanda strap-leaf", "aerides", "fuchsia")


def collection(number: int, households: int) -> str:
    place = number * CELLS // households
    longitude = -62.0 - DEGREES * place / CELLS
    plants = "".join(
        f'[[plants]]\nname = "Pot {pot}"\ngroup = "{GROUPS[pot % len(GROUPS)]}"\nholder = "pot"\n'
        f'home = "{("pergola", "bench")[pot % 2]}"\nshelter = "room"\n'
        for pot in range(PLANTS)
    )
    return (
        f'[site]\nname = "Home"\nlatitude = -32.9\nlongitude = {longitude:.3f}\nelevation = 700\n'
        'zone = "America/Argentina/Mendoza"\n[rounds]\ndusk = "sunset-90min"\n'
        "[spots.pergola]\nsky_view = 0.5\n[spots.bench]\nsky_view = 0.3\n"
        "[spots.room]\nindoors = true\nnight_low = 14\n"
        '[[channels]]\nname = "phone"\nrounds = ["dusk", "morning", "alarm"]\n' + plants
    )


@dataclass
class RunningClock:
    """Runs as fast as the machine's, and can be put forward."""

    start: datetime
    measured_s: Callable[[], float]
    _began_s: float = field(init=False)
    _ahead: timedelta = timedelta(0)

    def __post_init__(self) -> None:
        self._began_s = self.measured_s()

    def __call__(self) -> datetime:
        return self.start + timedelta(seconds=self.measured_s() - self._began_s) + self._ahead

    def skip(self, by: timedelta) -> None:
        self._ahead += max(by, timedelta(0))


class Provider:
    """An invented provider: a cold night, the same for all, a little different each time."""

    def __init__(self) -> None:
        self.requests = 0
        site = Site("Home", -32.9, -68.0, 700, SITE.zone)
        self._body = Sky([(3.0, 17.0)]).body(site, DAY, START, 0)

    def ask(self, query: Query, **_: object) -> Answer:
        self.requests += 1
        places = list(
            zip(*(query.params[name].split(",") for name in ("latitude", "longitude")), strict=True)
        )
        bodies = [
            self._body | {"latitude": float(north), "longitude": float(east)}
            for north, east in places
        ]
        return Answer(200, {}, dumped(bodies if len(bodies) > 1 else bodies[0]))


class Channel(http.server.BaseHTTPRequestHandler):
    """Takes a message after a while."""

    latency_s = 0.2
    told: "list[str]"

    def do_POST(self) -> None:
        message = json.loads(self.rfile.read(int(self.headers.get("Content-Length", 0))))
        time.sleep(self.latency_s)
        if message["title"].startswith("Carry in"):
            self.told.append(self.path.strip("/"))
        self.send_response(200)
        self.end_headers()

    def do_GET(self) -> None:
        """Say to whom what was sent."""
        body = "\n".join(self.told).encode()
        self.send_response(200)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *_: object) -> None:
        pass


def serve(port: "multiprocessing.connection.Connection", latency_s: float) -> None:
    handler = type("Serving", (Channel,), {"latency_s": latency_s, "told": []})
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        port.send(server.server_address[1])
        server.serve_forever()


def prepare(folder: Path, households: int, port: int) -> Settings:
    """Write the folders of all."""
    for number in range(households):
        own = folder / "households" / f"h{number:05d}"
        (own / "credentials").mkdir(parents=True)
        (own / "collection.toml").write_text(collection(number, households))
        url = f"json://127.0.0.1:{port}/{own.name}"
        (own / "credentials" / "channel-phone").write_text(url)
    return Settings(
        collections=folder / "households",
        ledger=folder / "ledgers",
        forecast=ForecastSettings(ensemble=False),
    )


def processor_s() -> float:
    """Processor time of this process and its children so far [s]."""
    own = resource.getrusage(resource.RUSAGE_SELF)
    children = resource.getrusage(resource.RUSAGE_CHILDREN)
    return own.ru_utime + own.ru_stime + children.ru_utime + children.ru_stime


def memory_mb(pids: Sequence[int]) -> float:
    """Resident memory of processes, with what they share counted once [MB]."""
    private_kb, shared_kb = 0, [0]
    for pid in pids:
        with suppress(OSError):  # it may have ended
            rollup = Path(f"/proc/{pid}/smaps_rollup").read_text()
            found = {name: int(kb) for name, kb in re.findall(r"^(\w+): +(\d+) kB", rollup, re.M)}
            private_kb += found["Private_Clean"] + found["Private_Dirty"]
            shared_kb.append(found["Shared_Clean"] + found["Shared_Dirty"])
    return (private_kb + max(shared_kb)) * 1024 / 1e6


@dataclass
class Measured:
    """What a run has shown."""

    busy_s: float = 0.0
    ticks: list[float] = field(default_factory=list)
    """Of ticks in which nobody had a turn or only such as nothing was due for [s]."""
    with_forecasts: list[float] = field(default_factory=list)
    """Of those in which new forecasts came, which all whom they concern look at [s]."""
    memory_mb: float = 0.0
    child_mb: float = 0.0


def let_pass(
    house: House[Place],
    clock: RunningClock,
    pool: SenderPool,
    until: datetime,
    measured: Measured,
) -> None:
    """Let time pass until a moment: in jumps while there is nothing to do."""
    step = 0
    while clock() < until:
        tally = house.run.tally
        told, answers = tally.rounds_told.total(), tally.provider_calls.total()
        began_s = clock.measured_s()
        house.tick()
        took_s = clock.measured_s() - began_s
        measured.busy_s += took_s
        if tally.provider_calls.total() != answers:
            measured.with_forecasts.append(took_s)
        elif tally.rounds_told.total() == told:
            measured.ticks.append(took_s)
        step += 1
        if step % 20 == 0:  # it takes some milliseconds
            measured.child_mb = max(measured.child_mb, memory_mb(pool.pids))
            both = memory_mb([os.getpid(), *pool.pids])
            measured.memory_mb = max(measured.memory_mb, both)
        if not house.is_sending() and not house.has_due:
            clock.skip(timedelta(seconds=TICK_S - took_s))


def told_by(port: int) -> Counter[str]:
    """What the channel has taken, by household."""
    with closing(http.client.HTTPConnection("127.0.0.1", port)) as connection:
        connection.request("GET", "/")
        return Counter(connection.getresponse().read().decode().split())


def build(
    settings: Settings, clock: RunningClock, pool: SenderPool, provider: Provider
) -> tuple[House[Place], Equipment]:
    source = open_meteo.build(SourceOptions())
    house, equipment = build_house(
        settings,
        pool.problems,
        RunControl(),
        submit=pool.submit,
        begin_asking=in_thread,
        sources=[source],
        clock=clock,
    )
    updater = equipment.forecasts.updater
    updater.ask, updater.rng, updater.pause = provider.ask, random.Random(3), lambda _: None
    return house, equipment


def main() -> int:
    """Measure; print the table; return the exit status."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--households", type=int, default=HOUSEHOLDS)
    options.add_argument("--latency", type=float, default=0.2, help="of the channel [s]")
    options.add_argument("--busy-machine", action="store_true", help="measure processor time")
    given = options.parse_args()
    mine, theirs = multiprocessing.Pipe()
    channel = multiprocessing.Process(target=serve, args=(theirs, given.latency), daemon=True)
    channel.start()
    port: int = mine.recv()
    provider = Provider()
    with tempfile.TemporaryDirectory() as folder, closing(SenderPool()) as pool:
        settings = prepare(Path(folder), given.households, port)
        measured_s = time.process_time if given.busy_machine else time.perf_counter
        clock = RunningClock(START, measured_s)
        house, equipment = build(settings, clock, pool, provider)
        evening, idle = Measured(), Measured()
        before_s = measured_s()
        while not house.members or house.has_due:
            house.tick()
        start_s = measured_s() - before_s
        used_s = processor_s()
        let_pass(house, clock, pool, START + timedelta(hours=HOURS), evening)
        used_s = processor_s() - used_s
        let_pass(house, clock, pool, clock() + timedelta(minutes=10), idle)
        tally = house.run.tally
        told = told_by(port)
        close_house(house, equipment)
    channel.terminate()
    late = tally.lateness_s
    on_time = sum(
        count for bound, count in zip(late.bounds, late.counts, strict=False) if bound <= LATE_S
    )
    rows = [
        Row("start: all known, forecasts fetched", start_s, "s"),
        Row("dusk of all: the daemon was at work", evening.busy_s, "s", at_most=600),
        Row("dusk of all: processor time, with sending", used_s, "s"),
        Row("households told dusk", tally.rounds_told["dusk"], "", at_least=given.households),
        Row(
            f"of them more than {LATE_S:.0f} s late",
            tally.rounds_told["dusk"] - on_time,
            "",
            at_most=0,
        ),
        Row("households that got no message", given.households - len(told), "", at_most=0),
        Row("households that got it twice", sum(n > 1 for n in told.values()), "", at_most=0),
        Row("idle tick, the longest", max(idle.ticks), "s", at_most=1.0),
        Row("idle tick, mean", sum(idle.ticks) / len(idle.ticks), "s"),
        Row("tick with new forecasts, the longest", max(idle.with_forecasts, default=0.0), "s"),
        Row("memory at most", max(evening.memory_mb, idle.memory_mb), "MB", at_most=400),
        Row("of that the child that sends", evening.child_mb, "MB"),
        Row("requests to the provider", provider.requests, ""),
    ]
    return report(f"{given.households} households in one daemon", rows)


if __name__ == "__main__":
    sys.exit(main())
