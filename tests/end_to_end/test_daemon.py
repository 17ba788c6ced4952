"""The real process against a real forecast server and a real channel, stopped, killed, restarted.

The site is put where it is now about four in the afternoon, on the equator's side of 15 degrees:
the dusk round is due, the morning's is over, and the night lies ahead, whenever this runs.
"""

import json
import math
import os
import signal
import socket
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest

from tests.daemon.wires import dripping, serving

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
        """The signs of these zones are the other way round."""
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
            "dew_point_2m": ("°C", [one - 6.0 for one in temp]),
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
            "hourly_units": {"time": "unixtime"} | {name: one[0] for name, one in series.items()},
            "hourly": {"time": times} | {name: one[1] for name, one in series.items()},
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
        """Listen no more; whoever calls is refused."""
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
class House:
    """A folder with a collection and a ledger, and the processes that work in it."""

    folder: Path
    sink: Sink
    forecast_port: int
    forecast: list[bytes]
    """What the forecast server answers: the last entry."""
    asked: list[str]
    running: list[subprocess.Popen[bytes]] = field(default_factory=list)

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

    def start(self, *words: str) -> subprocess.Popen[bytes]:
        """Start the daemon, or a script that does."""
        with (self.folder / "log").open("ab") as log:
            process = subprocess.Popen(
                [sys.executable, *(words or ("-m", "sillward", "run"))],
                cwd=self.folder,
                env=self.environment,
                stdout=subprocess.DEVNULL,
                stderr=log,
            )
        self.running.append(process)
        return process

    def call(self, *words: str) -> subprocess.CompletedProcess[str]:
        """Run a command to its end."""
        return subprocess.run(
            [sys.executable, "-m", "sillward", *words],
            cwd=self.folder,
            env=self.environment,
            capture_output=True,
            text=True,
            timeout=20,
            check=False,
        )

    def logged(self, text: str, times: int = 1) -> bool:
        """Whether all daemons together have said this at least so often."""
        return (self.folder / "log").read_text(encoding="utf-8").count(text) >= times

    def rows(self, query: str) -> list[Any]:
        """Read the ledger beside the daemon; nothing while it is not there yet."""
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

    def put_down_another(self) -> None:
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

    def stop(self, process: subprocess.Popen[bytes]) -> int:
        """Ask the daemon to end; return how it ended, within five seconds."""
        process.send_signal(signal.SIGTERM)
        return process.wait(5)


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
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
    (tmp_path / "collection.toml").write_text(place.collection(sink.port), encoding="utf-8")
    house = House(tmp_path, sink, port, forecast, asked)
    yield house
    for process in house.running:
        if process.poll() is None:
            process.kill()
        process.wait(5)
    sink.close()
    server.shutdown()
    server.server_close()


def test_a_dusk_round_arrives_once_and_a_restart_sends_nothing_again(house: House) -> None:
    daemon = house.start()
    assert wait_for(lambda: house.states == ["sent"])

    assert house.stop(daemon) == 0

    (push,) = house.sink.pushes
    assert push["title"].startswith("In by ")
    assert push["title"].endswith(": 2 plants")
    assert "bench" in push["message"]
    assert house.asked[0].startswith("/v1/forecast?")

    house.put_down_another()
    again = house.start()
    assert wait_for(lambda: house.states == ["sent", "sent"])
    assert house.stop(again) == 0
    assert house.sink.titles == [push["title"], "Another"]
    assert len(house.asked) == 1  # a fresh forecast is in the ledger


def test_an_end_that_is_asked_for_while_a_notice_is_sent_waits_for_it(house: House) -> None:
    house.sink.open.clear()
    daemon = house.start()
    assert wait_for(lambda: house.sink.pushes)

    daemon.send_signal(signal.SIGTERM)
    with pytest.raises(subprocess.TimeoutExpired):
        daemon.wait(0.2)
    house.sink.open.set()

    assert daemon.wait(5) == 0
    assert house.states == ["sent"]
    house.put_down_another()
    again = house.start()
    assert wait_for(lambda: house.states == ["sent", "sent"])
    assert house.stop(again) == 0
    assert house.sink.titles[1:] == ["Another"]


def test_a_daemon_killed_while_it_sends_costs_one_repeat_that_says_so(house: House) -> None:
    house.sink.open.clear()
    daemon = house.start()
    assert wait_for(lambda: house.sink.pushes)

    daemon.kill()
    daemon.wait(5)
    assert house.states == ["sending"]
    house.sink.open.set()
    again = house.start()

    assert wait_for(lambda: house.states == ["sent"])
    first, second = house.sink.titles
    assert second == f"(repeat) {first}"
    assert house.stop(again) == 0
    house.call("send", "--round", "dusk")
    assert len(house.sink.pushes) == 2


def test_a_daemon_killed_before_it_sends_loses_nothing(house: House) -> None:
    """The channel is down, the notice waits, the process is killed, the channel comes back."""
    house.sink.close()
    daemon = house.start()
    assert wait_for(lambda: house.logged("notice.failed"))
    daemon.kill()
    daemon.wait(5)
    house.sink.start()
    later = (utc_now() - timedelta(seconds=1)).isoformat(timespec="seconds")
    database = sqlite3.connect(house.ledger)  # instead of waiting for the thirty seconds
    database.execute("UPDATE notice SET next_at = ?", (later,))
    database.commit()
    database.close()

    again = house.start()

    assert wait_for(lambda: house.states == ["sent"])
    assert house.stop(again) == 0
    (title,) = house.sink.titles
    assert title.startswith("In by ")  # it was refused, so nothing is repeated


def test_a_notice_that_cannot_be_sent_waits_and_status_says_so(house: House) -> None:
    house.sink.close()
    daemon = house.start()
    assert wait_for(lambda: house.logged("notice.failed"))

    report = json.loads(house.call("status", "--json").stdout)

    (notice,) = report["notices"]
    assert notice["state"] == "waiting"
    assert notice["attempts"] == 1
    assert notice["last_error"] == "channel phone: cannot be reached"
    assert report["forecast"]["source"] == "Open-Meteo"
    assert report["fetch_failed"] is None
    assert "dusk" in report["next"]
    assert house.stop(daemon) == 0


def test_sending_by_hand_beside_a_sending_daemon_sends_once(house: House) -> None:
    house.sink.open.clear()
    daemon = house.start()
    assert wait_for(lambda: house.sink.pushes)

    by_hand = house.call("send", "--round", "dusk")
    house.sink.open.set()

    assert "phone: sending" in by_hand.stdout
    assert wait_for(lambda: house.states == ["sent"])
    assert house.stop(daemon) == 0
    assert len(house.sink.pushes) == 1


def test_sending_twice_by_hand_sends_once(house: House) -> None:
    first = house.call("send", "--round", "dusk")
    second = house.call("send", "--round", "dusk")

    assert (first.returncode, second.returncode) == (0, 0)
    assert first.stdout.startswith("phone: sent ")
    assert "has been told before" in second.stderr
    assert len(house.sink.pushes) == 1


def test_a_channel_that_is_down_fails_a_send_by_hand(house: House) -> None:
    house.sink.close()

    result = house.call("send", "--round", "dusk")

    assert result.returncode == 1
    assert result.stdout == "phone: waiting (channel phone: cannot be reached)\n"
    assert "Traceback" not in result.stderr


def test_a_login_page_for_a_forecast_sends_a_cautious_notice_once(house: House) -> None:
    house.forecast.append(b"<!DOCTYPE html><html><title>Please log in</title></html>")

    first = house.call("send", "--round", "dusk")
    second = house.call("send", "--round", "dusk")

    assert (first.returncode, second.returncode) == (1, 1)
    assert "is a web page, not a forecast" in first.stderr
    assert "Traceback" not in first.stderr
    (push,) = house.sink.pushes
    assert push["title"].endswith(": 2 plants")
    assert "treated as cold" in push["message"]
    report = json.loads(house.call("status", "--json").stdout)
    assert "web page" in report["fetch_failed"]["why"]


def test_a_chore_that_is_done_is_known_as_done(house: House) -> None:
    house.call("send", "--round", "dusk")
    before = json.loads(house.call("status", "--json").stdout)
    assert {plant["assumed"] for plant in before["plants"].values()} == {True}

    done = house.call("done", "carry-in")

    assert done.returncode == 0
    assert done.stdout.startswith("done: ")
    after = json.loads(house.call("status", "--json").stdout)
    told = {chore["id"]: chore["done"] for chore in after["chores"]}
    assert [bool(at) for id_, at in told.items() if "carry-in" in id_] == [True]
    assert {name: plant["spot"] for name, plant in after["plants"].items()} == {
        "Left pot": "room",
        "Right pot": "room",
    }
    assert {plant["assumed"] for plant in after["plants"].values()} == {False}


def test_a_daemon_without_a_channel_that_can_be_used_does_not_start(house: House) -> None:
    path = house.folder / "collection.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("json://", "nonesuch://secret@"), encoding="utf-8")

    result = house.call("run")

    assert result.returncode == 78
    assert 'channels[0] "phone"' in result.stderr
    assert "secret" not in result.stderr
    assert not house.ledger.exists()


def test_the_log_tells_no_url(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    """At DEBUG, with a secret in the path of the channel and in its query."""
    path = house.folder / "collection.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(
        text.replace("/push", "/tk_Zq81Lm90?+Authorization=Bearer%20s3cr3t"), encoding="utf-8"
    )
    monkeypatch.setenv("SILLWARD_LOG_LEVEL", "DEBUG")

    result = house.call("send", "--round", "dusk")

    assert result.returncode == 0
    told = result.stdout + result.stderr
    assert "notice.sent" in told
    assert "tk_Zq81Lm90" not in told
    assert "s3cr3t" not in told
    assert "latitude" not in told


_HANGING = """
import threading
from sillward import cli, daemon, service
daemon.DEAF_S = daemon.TICK_S = 0.1
service.Desk.tick = lambda desk: threading.Event().wait()
cli.main(["run"])
"""


def test_a_daemon_whose_tick_hangs_ends_to_be_restarted(house: House) -> None:
    """A stuck network call, say: the service manager can help only if the process ends."""
    process = subprocess.Popen(
        [sys.executable, "-c", _HANGING],
        cwd=house.folder,
        env=house.environment,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
    )
    house.running.append(process)
    assert process.stderr is not None
    with process.stderr:
        said = any(b"daemon.stopped" in line for line in process.stderr)

    assert said
    assert wait_for(lambda: process.poll() is not None, 2)
    assert process.returncode == 1


def test_a_service_manager_is_told_when_it_is_there_that_it_lives_and_when_it_ends(
    house: House, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without a forecast too: the network may come up later."""
    house.forecast.append(b"<html>Please log in</html>")
    address = house.folder / "notify"
    monkeypatch.setenv("NOTIFY_SOCKET", str(address))
    monkeypatch.setenv("WATCHDOG_USEC", "180000000")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(address))
        manager.settimeout(15)
        daemon = house.start()
        told = set[str]()
        while not {"READY=1", "WATCHDOG=1"} <= told:
            told |= set(manager.recv(4096).decode().splitlines())
        assert house.logged("forecast.failed")  # the first tick is through
        assert "STOPPING=1" not in told
        assert house.stop(daemon) == 0
        told = set[str]()
        while "STOPPING=1" not in told:
            told |= set(manager.recv(4096).decode().splitlines())
    assert "READY=1" not in told


_SOON_OVER = """
from sillward import cli
from sillward.forecast import fetch
fetch.DEADLINE_S = 2.0
cli.main(["run"])
"""


def test_a_forecast_that_drips_holds_up_neither_a_notice_nor_the_end(house: House) -> None:
    house.call("send", "--round", "dusk")
    house.put_down_another()
    database = sqlite3.connect(house.ledger)  # instead of waiting for the next call
    database.execute("UPDATE poll SET next_at = '2026-01-01T00:00:00+00:00'")
    database.commit()
    database.close()
    with serving(dripping(b"HTTP/1.1 200 OK\r\n", b"X: 1\r\n")) as server:
        house.forecast_port = int(server.address.rpartition(":")[2])
        daemon = house.start("-c", _SOON_OVER)
        assert wait_for(lambda: server.asked)  # it hangs in the call

        assert house.stop(daemon) == 0

    assert house.states == ["sent", "sent"]
    assert house.sink.titles[1:] == ["Another"]
    assert house.logged("no whole answer within 2 s")
    assert house.logged("daemon.stopped asked=True")


def test_the_place_has_its_afternoon_now() -> None:
    """Without this the rounds above would be due only at some hours of the day."""
    place = a_place()

    assert place.local.hour == 16
    assert abs(place.longitude) <= 180


def test_a_closed_port_stays_closed(house: House) -> None:
    """What the tests above rest on."""
    house.sink.close()

    with socket.socket() as caller:
        assert caller.connect_ex(("127.0.0.1", house.sink.port)) != 0
