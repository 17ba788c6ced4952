"""The real process, a real forecast server and a real channel.

The site is put where it is now about four in the afternoon, on the equator's side of 15 degrees:
the dusk round is due, the morning's is over, and the night lies ahead, whenever this runs.
"""

import json
import math
import os
import signal
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from tempfile import TemporaryFile
from typing import Any

from tests.support.forked import Forked, mother

SITE = "Afternoon court"
HOURS = 9 * 24
_WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def wait_for(condition: Callable[[], object], seconds: float = 15.0) -> bool:
    """Look again and again until it is true; False if it never was."""
    pause = threading.Event()
    for _ in range(int(seconds / 0.02)):
        if condition():
            return True
        pause.wait(0.02)
    return bool(condition())


def utc_now() -> datetime:
    return datetime.now(UTC)


# -- the place


@dataclass(frozen=True)
class Place:
    """A site in whose zone it is now sixteen hours and some minutes."""

    offset: int
    now: datetime

    @property
    def local(self) -> datetime:
        return self.now + timedelta(hours=self.offset)

    @property
    def zone(self) -> str:
        """Return the name of the zone; the signs of these names are reversed."""
        return f"Etc/GMT{-self.offset:+d}"

    @property
    def longitude(self) -> float:
        return 15.0 * self.offset

    def collection(self, port: int) -> str:
        """Two pots that stand outside, a room; told at "dusk" five minutes ago."""
        dusk = self.local - timedelta(minutes=5)
        other_day = _WEEKDAYS[(self.local + timedelta(days=3)).weekday()]
        return f"""
[site]
name = "{SITE}"
latitude = 10.0
longitude = {self.longitude}
elevation = 100
zone = "{self.zone}"

[spots.bench]
sky_view = 0.0
wind = 1.0
night_offset = 0.0

[spots.room]
indoors = true
night_low = 16

[[plants]]
name = "Left pot"
holder = "pot"
home = "bench"
shelter = "room"
limits.night_low = 8

[[plants]]
name = "Right pot"
holder = "pot"
home = "bench"
shelter = "room"
limits.night_low = 9

[rounds]
dusk = "{dusk:%H:%M}"
morning = "08:00"
week = "{other_day} 06:00"

[[channels]]
name = "phone"
url = "json://127.0.0.1:{port}/push"
rounds = ["dusk"]
"""

    def body(self) -> dict[str, Any]:
        """A forecast as the provider would give it: eighteen degrees by day, two by night."""
        midnight = self.now.replace(hour=0, minute=0, second=0, microsecond=0)
        first = int((midnight - timedelta(days=1)).timestamp())
        times = [first + 3600 * hour for hour in range(HOURS)]
        local = [(second / 3600 + self.offset) % 24 for second in times]
        temp = [round(10 - 8 * math.cos((hour - 4) / 12 * math.pi), 1) for hour in local]
        series: dict[str, tuple[str, list[float]]] = {
            "temperature_2m": ("°C", temp),
            "relative_humidity_2m": ("%", [60.0] * HOURS),
            "dew_point_2m": ("°C", [value - 6.0 for value in temp]),
            "surface_pressure": ("hPa", [1000.0] * HOURS),
            "cloud_cover": ("%", [0.0] * HOURS),
            "wind_speed_10m": ("m/s", [1.0] * HOURS),
            "wind_gusts_10m": ("m/s", [2.0] * HOURS),
            "precipitation": ("mm", [0.0] * HOURS),
            "direct_radiation": ("W/m²", [0.0] * HOURS),
            "diffuse_radiation": ("W/m²", [0.0] * HOURS),
        }
        return {
            "latitude": 10.0,
            "longitude": self.longitude,
            "elevation": 100.0,
            "utc_offset_seconds": 0,
            "hourly_units": {"time": "unixtime"}
            | {name: unit for name, (unit, _) in series.items()},
            "hourly": {"time": times} | {name: values for name, (_, values) in series.items()},
        }


def a_place() -> Place:
    now = utc_now()
    offset = 16 - now.hour
    return Place(offset if offset <= 12 else offset - 24, now)


# -- the servers


@dataclass
class Sink:
    """Takes pushes; holds the answer back while `open` is not set."""

    pushes: list[dict[str, str]] = field(default_factory=list)
    open: threading.Event = field(default_factory=threading.Event)
    port: int = 0
    server: ThreadingHTTPServer | None = None

    @property
    def titles(self) -> list[str]:
        return [push["title"] for push in self.pushes]

    def start(self) -> None:
        """Listen, on the same port as before if there was one."""
        sink = self

        class Handler(QuietHandler):
            def do_POST(self) -> None:
                length = int(self.headers["Content-Length"])
                sink.pushes.append(json.loads(self.rfile.read(length)))
                sink.open.wait(20)
                with suppress(OSError):  # the other side may have been killed meanwhile
                    self.answer(b"{}")

        self.server, self.port = serve(Handler, self.port)

    def close(self) -> None:
        """Stop listening, so that every caller is refused."""
        self.open.set()
        if self.server is not None:
            self.server.shutdown()
            self.server.server_close()
            self.server = None


class QuietHandler(BaseHTTPRequestHandler):
    def answer(self, body: bytes) -> None:
        self.send_response(200)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, format: str, *args: object) -> None:
        """Say nothing."""


def serve(handler: type[BaseHTTPRequestHandler], port: int = 0) -> tuple[ThreadingHTTPServer, int]:
    server = ThreadingHTTPServer(("127.0.0.1", port), handler)
    server.daemon_threads = True
    threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True).start()
    return server, server.server_port


# -- the process


@dataclass
class Installation:
    """A folder with a collection and a ledger, and the processes that work in it."""

    folder: Path
    sink: Sink
    forecast_port: int
    forecast: list[bytes]
    """What the forecast server answers: the last entry."""
    asked: list[str]
    running: list[Forked | subprocess.Popen[bytes]] = field(default_factory=list)

    @property
    def ledger(self) -> Path:
        return self.folder / "ledger.sqlite3"

    @property
    def environment(self) -> dict[str, str]:
        kept = {key: value for key, value in os.environ.items() if "proxy" not in key.lower()}
        return kept | {
            "SILLWARD_COLLECTION": str(self.folder / "collection.toml"),
            "SILLWARD_LEDGER": str(self.ledger),
            "SILLWARD_FORECAST__BASE_URL": f"http://127.0.0.1:{self.forecast_port}",
        }

    def start(self, *words: str) -> Forked | subprocess.Popen[bytes]:
        """Start the daemon, or a script that does."""
        process: Forked | subprocess.Popen[bytes]
        with (self.folder / "log").open("ab") as log, open(os.devnull, "wb") as nowhere:
            if words:
                process = subprocess.Popen(
                    [sys.executable, *words],
                    cwd=self.folder,
                    env=self.environment,
                    stdout=nowhere,
                    stderr=log,
                )
            else:
                process = self._forked("run", stdout=nowhere.fileno(), stderr=log.fileno())
        self.running.append(process)
        return process

    def call(self, *words: str) -> subprocess.CompletedProcess[str]:
        """Run a command to its end."""
        with TemporaryFile() as out, TemporaryFile() as err:
            process = self._forked(*words, stdout=out.fileno(), stderr=err.fileno())
            self.running.append(process)
            code = process.wait(20)
            said = [(file.seek(0), file.read().decode())[1] for file in (out, err)]
        return subprocess.CompletedProcess(words, code, *said)

    def _forked(self, *words: str, stdout: int, stderr: int) -> Forked:
        return mother().fork(
            *words, cwd=self.folder, env=self.environment, stdout=stdout, stderr=stderr
        )

    def logged(self, text: str, times: int = 1) -> bool:
        """Whether all daemons together have said this at least so often."""
        return (self.folder / "log").read_text(encoding="utf-8").count(text) >= times

    def rows(self, query: str) -> list[Any]:
        """Read the ledger while the daemon runs; return nothing before the file exists."""
        if not self.ledger.exists():
            return []
        database = sqlite3.connect(f"file:{self.ledger}?mode=ro", uri=True)
        try:
            return [row[0] for row in database.execute(query)]
        except sqlite3.OperationalError:
            return []
        finally:
            database.close()

    @property
    def states(self) -> list[str]:
        return self.rows("SELECT state FROM notice")

    def enqueue_another(self) -> None:
        """A notice that comes after all others: once it is sent, a tick has gone by."""
        database = sqlite3.connect(self.ledger)
        with database:
            database.execute(
                "INSERT INTO notice (key, site, round, day, channel, title, body, state, next_at,"
                " expires_at) SELECT 'zzz', site, round, day, channel, 'Another', body, 'waiting',"
                " ?, expires_at FROM notice",
                (utc_now().isoformat(timespec="seconds"),),
            )
        database.close()

    def stop(self, process: Forked | subprocess.Popen[bytes]) -> int:
        """Ask the daemon to end; return how it ended, within five seconds."""
        process.send_signal(signal.SIGTERM)
        return process.wait(5)


@contextmanager
def an_installation(folder: Path) -> Iterator[Installation]:
    """Yield an installation with a forecast server and a channel, and end all its processes."""
    place = a_place()
    forecast, asked = [json.dumps(place.body()).encode()], list[str]()

    class Handler(QuietHandler):
        def do_GET(self) -> None:
            asked.append(self.path)
            self.answer(forecast[-1])

    server, port = serve(Handler)
    sink = Sink()
    sink.open.set()
    sink.start()
    (folder / "collection.toml").write_text(place.collection(sink.port), encoding="utf-8")
    installation = Installation(folder, sink, port, forecast, asked)
    try:
        yield installation
    finally:
        for process in installation.running:
            if process.poll() is None:
                process.kill()
            process.wait(5)
        sink.close()
        server.shutdown()
        server.server_close()
