"""Everything that a provider can do wrong, through settings, updater, ledger, rounds and commands.

A real server on loopback, a real ledger file; only the clock, the pauses and the channel are
invented. Each time a good forecast is fetched first, then the fault is served, then a good one.
"""

import functools
import gzip
import json
import random
import socket
import ssl
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trustme
from click.testing import CliRunner

from sillward.assembly import app
from sillward.assembly.app import Options
from sillward.assembly.desk_setup import desk_for_command
from sillward.cli import main, shared
from sillward.forecast import ensemble
from sillward.forecast.provider_calls import TRIES
from sillward.forecast.sources import met_norway, open_meteo
from sillward.ledger import CallSchedule, SavedForecast
from sillward.net import fetch
from sillward.service.desk import PATIENCE, Desk
from sillward.wording.message_length import MAX_CHARACTERS
from sillward_rules.chore import ChoreKind
from sillward_rules.physics import air
from sillward_rules.remark import ForecastDoubted, ForecastOld, NightUnjudged, NoForecast
from sillward_rules.sheet import Round, Sheet
from sillward_rules.weather.hourly import Freshness, Weather, covers, gaps
from tests.support.bodies import SITE, START, body, dumped, ensemble_body
from tests.support.desks import Post
from tests.support.fakes import FakeClock, remarked
from tests.support.loopback_server import (
    SHORT_S,
    Server,
    Talk,
    dripping,
    hanging,
    head,
    nothing_left,
    pouring,
    resetting,
    saying,
    serving,
    whole,
)
from tests.support.met_bodies import met_body

FIRST, SECOND = open_meteo.NAME, met_norway.NAME

NOON = datetime(2026, 5, 14, 17, 10, tzinfo=UTC)
"""The first call: ten past two in the afternoon at the site. Sunset is at 18:45, sunrise 08:18."""

AFTERNOON = NOON + timedelta(hours=2)
"""The second: the dusk round has been due for ten minutes."""

NIGHT = datetime(2026, 5, 14, 22, tzinfo=UTC), datetime(2026, 5, 15, 11, tzinfo=UTC)
"""The first and last full hour of the coming night."""

BOUND_S = 4.0
"""No fault may hold a tick for as long: hanging servers are given `SHORT_S`."""

MAX_PAUSE_S = 5.0
"""Nobody sleeps for longer between two tries."""

COLLECTION = f"""
[site]
name = "{SITE.name}"
latitude = {SITE.latitude}
longitude = {SITE.longitude}
elevation = {SITE.elevation_m:g}
zone = "America/Argentina/Mendoza"

[spots.bench]
sky_view = 0.0
wind = 1.0
night_offset = 0.0

[spots.room]
indoors = true
night_low = 16

[[plants]]
name = "Tender"
holder = "pot"
home = "bench"
shelter = "room"
limits.night_low = 8

[[plants]]
name = "Hardy"
holder = "pot"
home = "bench"
shelter = "room"
limits.night_low = -4

[rounds]
dusk = "16:00"
morning = "08:30"
week = "sun 18:00"

[[channels]]
name = "phone"
url = "json://127.0.0.1:9/"
rounds = ["dusk", "alarm"]
"""


# -- bodies


def a_day(low_c: float, hours: int = 216) -> list[float]:
    """Temperatures from `START` on: lowest at seven in the morning at the site, 15 K warmer at
    seven in the evening."""
    return [round(low_c + 7.5 - 7.5 * np.cos((hour - 10) / 12 * np.pi), 1) for hour in range(hours)]


def a_body(low_c: float) -> dict[str, Any]:
    """A forecast with this low in every night."""
    temp = a_day(low_c)
    return body(temperature_2m=temp, dew_point_2m=[temp_c - 4.0 for temp_c in temp])


def changed(change: Callable[[dict[str, Any]], object]) -> bytes:
    """A forecast with something wrong."""
    made = a_body(4.0)
    change(made)
    return dumped(made)


def row(at: datetime) -> int:
    """Where an hour lies in a body."""
    return int((at - START) / timedelta(hours=1))


def in_the_night(hours: int, value: object = None) -> Callable[[dict[str, Any]], None]:
    """So many hours from midnight on at the site have another temperature."""

    def change(made: dict[str, Any]) -> None:
        first = row(datetime(2026, 5, 15, 3, tzinfo=UTC))
        made["hourly"]["temperature_2m"][first : first + hours] = [value] * hours

    return change


def every(name: str, change: Callable[[float], object]) -> Callable[[dict[str, Any]], None]:
    """Each value of a variable changed."""

    def apply(made: dict[str, Any]) -> None:
        made["hourly"][name] = [change(value) for value in made["hourly"][name]]

    return apply


def in_unit(name: str, unit: str, change: Callable[[float], float]) -> bytes:
    """A variable in another unit, values and word."""

    def apply(made: dict[str, Any]) -> None:
        every(name, change)(made)
        made["hourly_units"][name] = unit

    return changed(apply)


def rearranged(change: Callable[[list[Any]], list[Any]], *, times_only: bool = False) -> bytes:
    """All series, or the times alone, cut or put in another order."""

    def apply(made: dict[str, Any]) -> None:
        for name in ["time"] if times_only else list(made["hourly"]):
            made["hourly"][name] = change(made["hourly"][name])

    return changed(apply)


MIDNIGHT = row(datetime(2026, 5, 15, 3, tzinfo=UTC))


def missing_hour(values: list[Any]) -> list[Any]:
    """A day of 23 hours: one that the clock leaves out."""
    return values[:MIDNIGHT] + values[MIDNIGHT + 1 :]


def repeated_time(times: list[Any]) -> list[Any]:
    """One time instead of the next."""
    return [*times[:MIDNIGHT], times[MIDNIGHT - 1], *times[MIDNIGHT + 1 :]]


def doubled_hour(values: list[Any]) -> list[Any]:
    """A day of 25 hours: one that the clock has twice."""
    return [*values[:MIDNIGHT], values[MIDNIGHT], *values[MIDNIGHT:]]


# -- the world


@dataclass
class World:
    """The program with its settings, as after a start, and the clock it goes by."""

    clock: FakeClock
    post: Post
    port: int
    desk: Desk
    pauses: list[float] = field(default_factory=list)

    @contextmanager
    def served(self, talk: Talk | None, tls: ssl.SSLContext | None = None) -> Iterator[Server]:
        """The provider, at the same address every time; None: nobody listens there."""
        with nothing_left():
            if talk is None:
                yield Server("")
                return
            with serving(talk, tls, port=self.port) as server:
                yield server

    def tick(self, talk: Talk | None, tls: ssl.SSLContext | None = None) -> int:
        """One tick with such a provider. Return how often it was asked."""
        began = time.monotonic()
        with self.served(talk, tls) as server:
            self.desk.tick()
        assert time.monotonic() - began < BOUND_S
        assert all(pause <= MAX_PAUSE_S for pause in self.pauses)
        plan = self.plan()
        assert plan.next_at > self.clock.now
        return len(server.asked)

    def run(self, talk: Talk, until: datetime) -> int:
        """A tick every ten minutes, one at least. Return how often the provider was asked."""
        with self.served(talk) as server:
            while True:
                self.desk.tick()
                if self.clock.now >= until:
                    return len(server.asked)
                self.clock.move(minutes=10)

    def plan(self, source: str | None = None) -> CallSchedule:
        plan = self.desk.context.ledger.call_schedules.get(
            source or self.desk.context.updater.store.sources[0].name
        )
        assert plan is not None
        return plan

    def stored(self, source: str = FIRST) -> SavedForecast:
        stored = self.desk.context.ledger.forecasts.get(SITE.name, source)
        assert stored is not None
        return stored

    def weather(self) -> Weather:
        return self.desk.context.weather()

    def trouble(self) -> str | None:
        return self.desk.context.updater.store.trouble()

    def dusk(self) -> Sheet:
        return self.desk.context.sheet(Round.DUSK, self.weather())

    def low(self) -> float:
        """Of the coming night, as it is forecast."""
        weather, (start, end) = self.weather(), NIGHT
        inside = (weather.times >= start.timestamp()) & (weather.times <= end.timestamp())
        return float(np.nanmin(weather.temp_c[inside]))

    def report(self, *words: str) -> str:
        """What a command prints."""
        result = CliRunner().invoke(main, words)
        assert result.exit_code == 0, result.output
        return result.stdout

    def forecast(self) -> dict[str, Any]:
        document: dict[str, Any] = json.loads(self.report("forecast", "--json"))
        return document


Make = Callable[..., World]


@pytest.fixture
def make(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Make]:
    path = tmp_path / "collection.toml"
    path.write_text(COLLECTION, encoding="utf-8")
    monkeypatch.setenv("SILLWARD_COLLECTION", str(path))
    clock, post = FakeClock(NOON), Post()
    monkeypatch.setattr(shared, "build", functools.partial(app.build, clock=clock))
    with ExitStack() as stack:

        def make(scheme: str = "http", **settings: str) -> World:
            port = a_port()
            monkeypatch.setenv("SILLWARD_FORECAST__BASE_URL", f"{scheme}://127.0.0.1:{port}")
            for name, value in settings.items():
                monkeypatch.setenv(f"SILLWARD_FORECAST__{name.upper()}", value)
            desk = desk_for_command(app.build(Options(), clock=clock))
            stack.enter_context(closing(desk.context.ledger))
            world = World(clock, post, port, desk)
            desk.context.sender = post
            desk.context.updater.pause = world.pauses.append
            desk.context.updater.rng = random.Random(5)
            return world

        yield make


def a_port() -> int:
    """A port at which nobody listens."""
    with serving(hanging()) as server:
        return int(server.address.rpartition(":")[2])


def plants(sheet: Sheet) -> set[str]:
    """Who must be carried in."""
    return {
        name for chore in sheet.chores if chore.kind is ChoreKind.CARRY_IN for name in chore.plants
    }


def staying(sheet: Sheet) -> set[str]:
    """Who must stay under cover."""
    return {
        name for chore in sheet.chores if chore.kind is ChoreKind.STAY_IN for name in chore.plants
    }


def told_at_dusk(world: World) -> str:
    """The one push of the dusk round, in full."""
    (message,) = [push for _, push in world.post.pushes if push.title.startswith("Carry in ")]
    assert len(message.title) + len(message.body) < MAX_CHARACTERS
    return f"{message.title}\n{message.body}"


COLD = NightUnjudged(("bench",))


# -- answers of which nothing is kept

HTML = b"<!DOCTYPE html><html><title>Please log in</title></html>"
WHOLE = dumped(a_body(4.0))
LOGIN = whole(HTML, "Location: http://127.0.0.1:9/login", status="302 Found")
STREAMING = b'{"latitude":-32.875,"hourly":{"time":[17786Unexpected error while streaming data: x'


def gzip_bomb(connection: socket.socket, gone: threading.Event) -> None:
    """50 kB that unpack to 50 MB."""
    whole(gzip.compress(bytes(50_000_000)), "Content-Encoding: gzip")(connection, gone)


@dataclass(frozen=True)
class Fault:
    """What is served, and what is said of it; a passing one is tried again at once."""

    name: str
    talk: Talk | None
    told: str
    tries: int = 1
    deadline_s: float = fetch.REQUEST_DEADLINE_S


LATE = f"no whole answer within {SHORT_S} s"
BROKE_OFF = "broke off in the middle of its answer"
NOT_WHOLE = "the answer is not whole JSON"
TOO_LARGE = "the answer is larger than 5 MB"
NOT_IN_ORDER = "the answer has times that are not full hours in order"

FAULTS = (
    Fault("refused", None, "cannot be reached", 0),
    Fault("hang", hanging(), LATE, deadline_s=SHORT_S),
    Fault("header drip", dripping(b"HTTP/1.1 200 OK\r\n", b"X: 1\r\n"), LATE, deadline_s=SHORT_S),
    Fault("body drip", dripping(head("Content-Length: 99999"), b" "), LATE, deadline_s=SHORT_S),
    Fault("reset", resetting(), "cannot be reached", TRIES),
    Fault("reset in the body", resetting(head("Content-Length: 99"), b"{"), BROKE_OFF, TRIES),
    Fault(
        "truncated", saying(head(f"Content-Length: {len(WHOLE)}") + WHOLE[:5_000]), BROKE_OFF, TRIES
    ),
    Fault("500", whole(b"", status="500 Oops"), "answered 500", TRIES),
    Fault("502 HTML", whole(HTML, status="502 Bad Gateway"), "answered 502", TRIES),
    Fault("302 to a login page", LOGIN, "sends us elsewhere (302); a login page in between?"),
    Fault("login page", whole(HTML), "the answer is a web page, not a forecast"),
    Fault(
        "wrong location",
        whole(changed(lambda made: made.update(latitude=-31.4, longitude=-64.2))),
        "the answer is for another place: -31.4, -64.2, not -32.89, -68.85",
    ),
    Fault(
        "km/h",
        whole(in_unit("wind_speed_10m", "km/h", lambda m_s: 3.6 * m_s)),
        'the answer gives wind_speed_10m in "km/h", not in m/s',
    ),
    Fault(
        "Fahrenheit",
        whole(in_unit("temperature_2m", "°F", lambda temp_c: 32 + 1.8 * temp_c)),
        'the answer gives temperature_2m in "°F", not in °C',
    ),
    Fault(
        "all null",
        whole(changed(every("temperature_2m", lambda _: None))),
        "the answer has no temperatures",
    ),
    Fault(
        "all NaN",
        whole(changed(every("temperature_2m", lambda _: float("nan")))),
        "the answer has no temperatures",
    ),
    Fault(
        "NaN as text",
        whole(changed(in_the_night(1, "NaN"))),
        'the answer has temperature_2m that are not numbers ("NaN")',
    ),
    Fault("repeated hour", whole(rearranged(repeated_time, times_only=True)), NOT_IN_ORDER),
    Fault("a day of 25 hours", whole(rearranged(doubled_hour)), NOT_IN_ORDER),
    Fault("unsorted", whole(rearranged(lambda values: values[::-1])), NOT_IN_ORDER),
    Fault(
        "wrong length",
        whole(rearranged(lambda values: values[:-1], times_only=True)),
        "the answer has another number of values for temperature_2m than of times",
    ),
    Fault("50 MB", pouring(head("Content-Length: 50000000"), b" " * 100_000), TOO_LARGE),
    Fault("endless", pouring(head(), b" " * 100_000), TOO_LARGE),
    Fault("gzip bomb", gzip_bomb, TOO_LARGE),
    Fault(
        "error with 200",
        whole(b'{"error": true, "reason": "Cannot\\ninitialize"}'),
        'the answer is an error: "Cannot initialize"',
    ),
    Fault(
        "error in odd characters",
        whole(b'{"error": true, "reason": "Not \\ud800\\u001b[2J\\u2028 now"}'),
        'the answer is an error: "Not [2J now"',
    ),
    Fault(
        "unit in odd characters",
        whole(in_unit("temperature_2m", "@", float).replace(b"@", b"\\ud800\\n\\u00b0F")),
        'the answer gives temperature_2m in "°F", not in °C',
    ),
    Fault("streaming error", whole(STREAMING), NOT_WHOLE, TRIES),
    Fault("empty", whole(b""), NOT_WHOLE, TRIES),
    Fault(
        "over in two hours",
        whole(rearranged(lambda values: values[: row(AFTERNOON) + 3])),
        f"the answer ends at {AFTERNOON.replace(minute=0) + timedelta(hours=2):%Y-%m-%d %H:%M} UTC"
        " already",
    ),
    Fault(
        "of last week",
        whole(dumped(body(START - timedelta(days=9)))),
        "the answer does not cover the present hour",
    ),
)


@pytest.mark.parametrize("fault", FAULTS, ids=[case.name for case in FAULTS])
def test_a_fault_costs_a_call_and_the_last_good_forecast_stands(
    make: Make, fault: Fault, monkeypatch: pytest.MonkeyPatch
) -> None:
    world = make()
    good, better = dumped(a_body(3.0)), dumped(a_body(5.0))
    assert world.tick(whole(good)) == 1
    before = world.stored()
    assert before.body == good

    world.clock.now = AFTERNOON
    with monkeypatch.context() as patch:
        patch.setattr(fetch, "REQUEST_DEADLINE_S", fault.deadline_s)
        assert world.tick(fault.talk) == fault.tries

    assert world.trouble() == f"{FIRST}: {fault.told}"
    assert len(world.pauses) == max(0, fault.tries - 1)
    assert world.plan().next_at <= AFTERNOON + timedelta(minutes=15)
    assert world.stored() == before
    assert world.weather().freshness(AFTERNOON) is Freshness.FRESH
    assert world.low() == pytest.approx(3.0)
    sheet = world.dusk()
    assert plants(sheet) == {"Tender"}
    assert sheet.lows == {"bench": pytest.approx(3.0, abs=0.1)}
    assert sheet.warnings == ()
    assert "1 plant" in told_at_dusk(world)
    report = world.forecast()["sources"][0]
    assert (report["state"], report["failed"]) == ("fresh", f"{FIRST}: {fault.told}")

    world.clock.now = world.plan().next_at
    assert world.tick(whole(better)) == 1

    assert world.trouble() is None
    assert world.stored().body == better
    assert world.low() == pytest.approx(5.0)


def test_without_any_forecast_before_a_fault_is_told_and_all_is_carried_in(make: Make) -> None:
    world = make()
    world.clock.now = AFTERNOON
    world.tick(whole(HTML))
    assert world.post.pushes == []  # for a while the round waits for a forecast

    world.clock.move(minutes=PATIENCE / timedelta(minutes=1))
    world.tick(whole(HTML))

    assert "2 plants" in told_at_dusk(world)
    sheet = world.dusk()
    assert plants(sheet) == {"Tender", "Hardy"}
    assert sheet.warnings == (NoForecast(),)
    result = CliRunner().invoke(main, ["forecast"])
    assert (result.exit_code, result.stdout) == (1, "")
    assert "no forecast is held yet" in result.stderr

    world.clock.now = world.plan().next_at
    world.tick(whole(dumped(a_body(5.0))))
    assert plants(world.dusk()) == {"Tender"}


def test_too_many_requests_is_an_hour_of_silence(make: Make) -> None:
    world = make()
    world.tick(whole(dumped(a_body(3.0))))
    before = world.stored()
    world.clock.now = AFTERNOON
    busy = whole(b'{"reason": "Too many"}', "Retry-After: 3600", status="429 Slow down")
    assert world.tick(busy) == 1
    assert world.trouble() == f'{FIRST}: too many requests (429): "Too many"'
    assert world.plan().next_at >= AFTERNOON + timedelta(hours=1)

    better = dumped(a_body(5.0))
    with world.served(whole(better)) as server:
        while world.clock.now < AFTERNOON + timedelta(minutes=55):
            world.clock.move(minutes=5)
            world.desk.tick()
        world.desk.context.updater.fetch_now()  # nor is it asked by hand
        assert server.asked == []
    assert world.stored() == before
    assert world.pauses == []
    assert "1 plant" in told_at_dusk(world)

    world.clock.now = world.plan().next_at
    assert world.tick(whole(better)) == 1
    assert world.stored().body == better
    assert world.trouble() is None


# -- certificates


@pytest.fixture
def authority(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> trustme.CA:
    """Whom the system trusts, and nobody else."""
    authority, bundle = trustme.CA(), tmp_path / "trusted.pem"
    authority.cert_pem.write_to_path(str(bundle))
    monkeypatch.setenv("REQUESTS_CA_BUNDLE", str(bundle))
    return authority


def presenting(leaf: trustme.LeafCert) -> ssl.SSLContext:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    leaf.configure_cert(context)
    return context


def signed_by_itself(folder: Path) -> ssl.SSLContext:
    own, pem = trustme.CA(), folder / "own.pem"
    own.cert_pem.write_to_path(str(pem))
    own.private_key_pem.write_to_path(str(pem), append=True)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(pem)
    return context


def out_of_date(authority: trustme.CA) -> ssl.SSLContext:
    since, until = datetime(2001, 1, 1, tzinfo=UTC), datetime(2002, 1, 1, tzinfo=UTC)
    return presenting(authority.issue_cert("127.0.0.1", not_before=since, not_after=until))


@pytest.mark.parametrize(
    ("which", "told"),
    [
        ("signed by itself", "its certificate cannot be trusted"),
        (
            "out of date",
            "its certificate is out of date or not valid yet; is this machine's clock right?",
        ),
    ],
)
def test_a_certificate_that_cannot_be_trusted_is_a_fault_too(
    make: Make, authority: trustme.CA, tmp_path: Path, which: str, told: str
) -> None:
    world = make("https")
    right = presenting(authority.issue_cert("127.0.0.1"))
    wrong = signed_by_itself(tmp_path) if which == "signed by itself" else out_of_date(authority)
    world.tick(whole(dumped(a_body(3.0))), right)
    before = world.stored()

    world.clock.now = AFTERNOON
    assert world.tick(whole(dumped(a_body(9.0))), wrong) == 0

    assert world.trouble() == f"{FIRST}: {told}"
    assert world.pauses == []
    assert world.stored() == before
    assert plants(world.dusk()) == {"Tender"}

    world.clock.now = world.plan().next_at
    world.tick(whole(dumped(a_body(5.0))), right)
    assert world.trouble() is None
    assert world.low() == pytest.approx(5.0)


# -- answers that are kept although something is missing


@dataclass(frozen=True)
class Part:
    """A body with gaps: what is missing in the night, and whether it can still be judged."""

    name: str
    body: bytes
    missing: int
    """Hours of temperature."""
    judged: bool
    remark: str = ""
    low_c: float = 4.0
    """Of the leaf, where the night can be judged."""


PARTS = (
    Part("one null hour", changed(in_the_night(1)), 1, judged=True),
    Part("two null hours", changed(in_the_night(2)), 2, judged=True),
    Part("three null hours", changed(in_the_night(3)), 3, judged=False),
    Part("six null hours", changed(in_the_night(6)), 6, judged=False),
    Part("one NaN", changed(in_the_night(1, float("nan"))), 1, judged=True),
    # It may have rained in the hour that is missing: a wet leaf is as cold as a wet bulb, which at
    # 4 °C with a dew point of 0 °C has 2.3 °C (psychrometric equation, from memory).
    Part("a day of 23 hours", rearranged(missing_hour), 1, judged=True, low_c=2.3),
    Part(
        "one impossible hour",
        changed(in_the_night(1, 468.0)),
        1,
        judged=True,
        remark="temperature_2m of 468 °C at 2026-05-15 03:00 UTC is impossible: ignored",
    ),
)


@pytest.mark.parametrize("part", PARTS, ids=[case.name for case in PARTS])
def test_a_forecast_with_a_gap_is_kept_and_the_gap_is_told(make: Make, part: Part) -> None:
    world = make()
    world.tick(whole(dumped(a_body(3.0))))
    world.clock.now = AFTERNOON

    assert world.tick(whole(part.body)) == 1

    assert world.trouble() is None
    assert world.stored().body == part.body
    weather = world.weather()
    assert remarked(weather) == ((part.remark,) if part.remark else ())
    (gap,) = [gap for gap in gaps(weather, *NIGHT) if gap.series == "temperature"]
    assert gap.hours == part.missing
    assert covers(weather, *NIGHT) == part.judged
    sheet = world.dusk()
    assert plants(sheet) == ({"Tender"} if part.judged else {"Tender", "Hardy"})
    assert (COLD in sheet.warnings) == (not part.judged)
    assert sheet.lows["bench"] == (pytest.approx(part.low_c, abs=0.2) if part.judged else None)
    assert f"{len(plants(sheet))} plant" in told_at_dusk(world)
    (told,) = [gap for gap in world.forecast()["sources"][0]["gaps"] if gap["of"] == "temperature"]
    assert told["hours"] >= part.missing  # three days ahead, not the night alone

    world.clock.now = world.plan().next_at
    world.tick(whole(dumped(a_body(5.0))))
    assert gaps(world.weather(), *NIGHT) == []
    assert plants(world.dusk()) == {"Tender"}


# -- answers that cannot be true


def told_as(
    temp: Callable[[float], float], low_c: float = 4.0, *, moist: bool = True, **series: Any
) -> bytes:
    """A forecast whose temperature is told wrongly, all else rightly; moist: dew point and
    humidity are told."""
    made = a_day(low_c)
    dew = [temp_c - 4.0 for temp_c in made]
    given = {"dew_point_2m": dew, "relative_humidity_2m": humidities(made, dew), **series}
    if not moist:
        given = {"dew_point_2m": None, "relative_humidity_2m": None}
    return dumped(body(temperature_2m=[round(temp(true_c), 2) for true_c in made], **given))


def humidities(temp: Sequence[float], dew: Sequence[float]) -> list[float]:
    return [round(float(air.relative_humidity(t, air.saturation_vapour_pressure(d))))
            for t, d in zip(temp, dew, strict=True)]  # fmt: skip


def fahrenheit(temp_c: float) -> float:
    return 32 + 1.8 * temp_c


@dataclass(frozen=True)
class Lie:
    """What is served under the right labels, and what is said of it."""

    name: str
    body: bytes
    told: str
    by_itself: bool = True
    """Whether it is found without any forecast before."""


LIES = (
    Lie(
        "60 °C by night",
        told_as(lambda temp_c: 59.9 + temp_c / 1000),
        "it says nights no cooler than 59.9 °C, but here",
    ),
    Lie("°F as °C", told_as(fahrenheit), "it says a daily mean of"),
    Lie("°F as °C in frost", told_as(fahrenheit, -7.0), "where its temperature and dew point make"),
    Lie(
        "°F as °C in frost, without moisture",
        told_as(fahrenheit, -7.0, moist=False),
        "but here this season brings at most 29 °C",
    ),
    Lie(
        "20 K warmer",
        told_as(lambda temp_c: temp_c + 19, 4.0, moist=False),
        "20 °C warmer than the one before for the same hours",
    ),
    Lie(
        "14 K warmer",
        told_as(lambda temp_c: temp_c + 13, 4.0, moist=False),
        "14 °C warmer than the one before for the same hours",
        by_itself=False,
    ),
    Lie("one value", told_as(lambda _: 15.0, moist=False), "it says 15.0 °C for 216 hours"),
    Lie("zeros", told_as(lambda _: 0.0, moist=False), "it says 0.0 °C for 216 hours on end"),
    Lie(
        "one day in six hours",
        dumped(body(temperature_2m=[9.0, 12.0, 14.0, 15.0, 13.0, 10.0] * 36)),
        "it repeats the same 6 hours",
    ),
    Lie(
        "dew point above",
        told_as(lambda temp_c: temp_c, dew_point_2m=25.0),
        "its dew point is above the temperature in 216 hours",
    ),
    Lie(
        "humidity of another air",
        told_as(lambda temp_c: temp_c + 6, relative_humidity_2m=90.0),
        "its humidity is 90 % where its temperature and dew point make",
    ),
)


@pytest.mark.parametrize("lie", LIES, ids=[lie.name for lie in LIES])
def test_what_cannot_be_true_is_kept_apart_and_the_last_good_one_stands(
    make: Make, lie: Lie
) -> None:
    world = make()
    world.tick(whole(dumped(a_body(3.0))))
    before = world.stored()

    world.clock.now = AFTERNOON
    world.tick(whole(lie.body))

    doubt = f"{FIRST}: the forecast looks wrong: "
    assert world.trouble() is not None
    assert str(world.trouble()).startswith(doubt)
    assert world.stored() == before
    assert world.low() == pytest.approx(3.0)
    sheet = world.dusk()
    assert plants(sheet) == {"Tender"}
    (said,) = (warning for warning in sheet.warnings if isinstance(warning, ForecastDoubted))
    assert (said.source, said.used, said.fetched) == (FIRST, FIRST, before.fetched_at)
    assert "forecast looks wrong" in told_at_dusk(world)
    report = world.forecast()
    assert any("looks wrong" in remark for remark in report["remarks"])
    assert any(lie.told in doubt for doubt in report["sources"][0]["doubted"])
    status = CliRunner().invoke(main, ["status"])
    assert status.exit_code == 1
    assert "looks wrong" in status.stdout

    world.clock.now = world.plan().next_at
    world.tick(whole(dumped(a_body(5.0))))
    assert world.trouble() is None
    assert world.low() == pytest.approx(5.0)
    assert world.dusk().warnings == ()


@pytest.mark.parametrize(
    "lie", [lie for lie in LIES if lie.by_itself], ids=[lie.name for lie in LIES if lie.by_itself]
)
def test_what_cannot_be_true_is_no_first_forecast_either(make: Make, lie: Lie) -> None:
    world = make()
    world.clock.now = AFTERNOON
    world.tick(whole(lie.body))
    assert world.post.pushes == []  # for a while the round waits for a forecast that is one

    world.clock.move(minutes=PATIENCE / timedelta(minutes=1))
    world.tick(whole(lie.body))

    assert "2 plants" in told_at_dusk(world)
    assert "forecast looks wrong" in told_at_dusk(world)
    sheet = world.dusk()
    assert plants(sheet) | staying(sheet) == {"Tender", "Hardy"}
    assert set(sheet.lows.values()) == {None}
    (said,) = (warning for warning in sheet.warnings if isinstance(warning, ForecastDoubted))
    assert said.used is None
    assert "nights are treated as cold" in " ".join(world.report("forecast").split())
    assert "not believed" in world.report("forecast")


# -- the same again and again


def test_a_forecast_that_stands_still_grows_old_and_then_judges_nothing(make: Make) -> None:
    """The feed behind the provider has died; it goes on answering 200."""
    world = make()
    same = dumped(a_body(3.0))

    asked = world.run(whole(same), NOON + timedelta(hours=13.5))

    assert asked >= 10
    assert world.weather().freshness(world.clock.now) is Freshness.OLD
    assert world.weather().issued_at == NOON
    assert world.stored().fetched_at > NOON + timedelta(hours=11)
    assert world.forecast()["sources"][0]["state"] == "old"

    world.run(whole(same), NOON + timedelta(hours=25))

    assert not world.desk.context.updater.store.is_usable(world.desk.context.updater.sites[0])
    sheet = world.dusk()
    assert plants(sheet) | staying(sheet) == {"Tender", "Hardy"}
    (old,) = (warning for warning in sheet.warnings if isinstance(warning, ForecastOld))
    assert (round(old.hours), old.expired) == (25, True)
    assert world.forecast()["sources"][0]["state"] == "expired"
    _, alarm = world.post.pushes[-1]
    assert alarm.title == "Treat tonight as cold: no forecast since Thu 14:10"
    assert f"{FIRST} has nothing new" in alarm.body

    world.clock.now = world.plan().next_at
    world.tick(whole(dumped(a_body(5.0))))
    assert world.weather().freshness(world.clock.now) is Freshness.FRESH
    assert world.post.titles[-1] == f"The forecast is back: {FIRST}"


# -- the clock


def test_a_clock_that_is_twelve_minutes_off_is_told_until_it_is_right(make: Make) -> None:
    world = make()
    world.tick(whole(dumped(a_body(3.0)), dated(NOON)))
    assert world.weather().remarks == ()

    world.clock.now = AFTERNOON
    world.tick(whole(dumped(a_body(4.0)), dated(AFTERNOON + timedelta(minutes=12))))

    doubt = f"this machine's clock is 12 min behind {FIRST}'s: mind the hours"
    assert world.trouble() is None
    assert remarked(world.weather()) == (doubt,)
    assert world.low() == pytest.approx(4.0)
    assert f"! {doubt}" in world.report("forecast")
    assert "The clock of sillward's machine is wrong" in world.post.titles

    world.clock.now = world.plan().next_at
    world.tick(whole(dumped(a_body(5.0)), dated(world.clock.now)))
    assert world.weather().remarks == ()
    assert "The clock of sillward's machine is right again" in world.post.titles


def test_a_machine_that_wakes_up_in_1970_says_so_and_nothing_else(make: Make) -> None:
    world = make()
    world.tick(whole(dumped(a_body(3.0)), dated(NOON)))
    before, told = world.stored(), list(world.post.titles)
    today = whole(dumped(a_body(4.0)), dated(AFTERNOON))

    world.clock.now = datetime(1970, 1, 1, 14, 7, tzinfo=UTC)
    for _ in range(3):
        assert world.tick(today) == 0  # nobody is asked: their certificates are not valid yet
        world.clock.move(minutes=PATIENCE / timedelta(minutes=1))

    assert world.stored() == before
    assert world.post.titles == [*told, "The clock of sillward's machine is wrong"]
    assert "says 01 Jan 1970" in world.post.pushes[-1][1].body
    assert world.desk.troubles()[0] == "this machine's clock says 01 Jan 1970"

    world.clock.now = AFTERNOON
    world.tick(today)
    assert world.trouble() is None
    assert world.post.titles[len(told) + 1] == "The clock of sillward's machine is right again"
    assert plants(world.dusk()) == {"Tender"}


# -- the members


def test_without_the_members_the_usual_errors_count_and_nothing_else_changes(make: Make) -> None:
    port = a_port()
    world = make(base_urls__open_meteo_ensemble=f"http://127.0.0.1:{port}")

    def members(talk: Talk) -> int:
        """How often the members are asked for in a tick."""
        with nothing_left(), serving(talk, port=port) as server:
            world.tick(whole(dumped(a_body(world.clock.now.hour / 10))))
            return len(server.asked)

    assert members(whole(dumped(ensemble_body(11)))) == 1
    assert world.forecast()["spread"] == "11 members of ECMWF"
    assert world.dusk().spread == "11 members of ECMWF"

    for hours, spread in ((13, "11 members of ECMWF"), (37, "usual errors by lead time")):
        world.clock.now = NOON + timedelta(hours=hours)
        assert members(whole(HTML)) == 1
        assert world.trouble() is None
        assert world.plan(ensemble.NAME).reason == (
            f"{ensemble.NAME}: the answer is a web page, not a forecast"
        )
        assert world.forecast()["spread"] == spread

    world.clock.now = world.plan(ensemble.NAME).next_at
    assert members(whole(dumped(ensemble_body(5)))) == 1
    assert world.forecast()["spread"] == "5 members of ECMWF"


# -- a second source


def dated(at: datetime) -> str:
    return f"Date: {format_datetime(at, usegmt=True)}"


def a_met_body(low_c: float, at: datetime) -> bytes:
    """As MET Norway gives it: hourly from the present hour on."""
    hour = at.replace(minute=0)
    count = 60 + 28 + 1
    ahead = [*range(60), *range(60, 60 + 6 * 29, 6)]
    temp = a_day(low_c, row(hour) + ahead[-1] + 1)[row(hour) :]
    at_times = [temp[at] for at in ahead]
    assert len(at_times) == count
    return dumped(
        met_body(
            hour,
            air_temperature=at_times,
            dew_point_temperature=[temp_c - 4.0 for temp_c in at_times],
            air_temperature_percentile_10=None,
            air_temperature_percentile_90=None,
            low=low_c,
            high=low_c + 15.0,
        )
    )


BROKEN = whole(HTML, status="502 Bad Gateway")


def test_a_second_source_takes_over_when_the_first_has_failed_for_long(make: Make) -> None:
    port = a_port()
    world = make(
        source="open-meteo,met-norway",
        contact="grower@own.example",
        base_urls__met_norway=f"http://127.0.0.1:{port}",
    )
    modified = "Thu, 14 May 2026 22:40:00 GMT"

    def second(talk: Talk, until: datetime) -> list[bytes]:
        """What the second is asked while the first is down."""
        with nothing_left(), serving(talk, port=port) as server:
            world.run(BROKEN, until)
            return server.asked

    def expiring(body: bytes, hours: int, **status: str) -> Talk:
        def talk(connection: socket.socket, gone: threading.Event) -> None:
            now = world.clock.now
            expires = f"Expires: {format_datetime(now + timedelta(hours=hours), usegmt=True)}"
            lines = (dated(now), expires, f"Last-Modified: {modified}")
            whole(body, *lines, **status)(connection, gone)

        return talk

    world.tick(whole(dumped(a_body(3.0))))
    old = NOON + timedelta(hours=6)
    # The second is asked as soon as the first fails; for six hours the first one's last forecast
    # is good enough all the same.
    assert second(whole(b"", status="500 Oops"), old) != []
    assert world.weather().source == FIRST
    assert world.weather().remarks == ()

    (asked,) = second(expiring(a_met_body(1.0, old), 2), old + timedelta(hours=1))

    assert asked.startswith(b"GET /weatherapi/locationforecast/2.0/complete?lat=-32.8900&")
    assert b"If-Modified-Since" not in asked
    assert world.weather().source == SECOND
    assert remarked(world.weather()) == (f"forecast by {SECOND}; {FIRST}: answered 502",)
    assert world.low() == pytest.approx(1.0)
    assert plants(world.dusk()) == {"Tender"}  # told at dusk, and nobody has said that it is in
    assert staying(world.dusk()) == set()
    assert world.weather().times[0] <= NOON.timestamp()  # the first one's past is kept
    first, other = world.forecast()["sources"]
    assert (first["used"], other["used"]) == (False, True)
    assert first["failed"] == f"{FIRST}: answered 502"
    assert other["failed"] is None
    kept = world.stored(SECOND)
    assert kept.last_modified == modified

    # What is good for two hours is not asked for before, and then only whether it has changed.
    later = kept.fetched_at + timedelta(hours=2)
    assert second(hanging(), later) == []
    (asked,) = second(expiring(b"", 2, status="304 Not Modified"), later + timedelta(minutes=30))
    assert f"If-Modified-Since: {modified}\r\n".encode() in asked
    confirmed = world.stored(SECOND)
    assert confirmed.body == kept.body
    assert confirmed.changed_at == kept.changed_at
    assert confirmed.fetched_at > later

    # 203: the product is to end, its data are good, and no validators are kept.
    later = confirmed.fetched_at + timedelta(hours=2)
    ending = expiring(a_met_body(0.0, later), 1, status="203 Non-Authoritative Information")
    assert len(second(ending, later + timedelta(minutes=30))) == 1
    assert world.stored(SECOND).last_modified is None
    assert world.weather().source == SECOND
    assert world.plan(SECOND).failures == 0

    # 403: they have had enough of us.
    kept = world.stored(SECOND)
    later = world.plan(SECOND).next_at
    asked_then = second(whole(b"", status="403 Forbidden"), later + timedelta(hours=5))
    assert len(asked_then) == 1
    assert world.stored(SECOND) == kept
    assert world.plan(SECOND).reason == f"{SECOND}: turns us away (403); is the contact a true one?"
    assert world.weather().source == SECOND

    world.clock.now = max(world.clock.now, world.plan().next_at)
    with nothing_left(), serving(hanging(), port=port) as server:
        world.tick(whole(dumped(a_body(5.0))))
        assert server.asked == []
    assert world.weather().source == FIRST
    assert world.weather().remarks == ()


def in_turn(*talks: Talk) -> Talk:
    """One talk for each call, the last again and again."""
    left = list(talks)

    def talk(connection: socket.socket, gone: threading.Event) -> None:
        (left.pop(0) if len(left) > 1 else left[0])(connection, gone)

    return talk


def test_a_login_page_behind_a_redirect_that_is_followed_is_no_forecast(make: Make) -> None:
    """MET Norway may send us on within its own house; so may a gate that bears its name."""
    world = make(source="met-norway", contact="grower@own.example")
    world.tick(whole(a_met_body(3.0, NOON), dated(NOON)))
    before = world.stored(SECOND)
    world.clock.now = AFTERNOON
    gate = whole(b"", "Location: /login", status="302 Found")

    assert world.tick(in_turn(gate, whole(HTML, dated(AFTERNOON)))) == 2

    assert world.trouble() == f"{SECOND}: the answer is a web page, not a forecast"
    assert world.stored(SECOND) == before
    assert plants(world.dusk()) == {"Tender"}


def test_the_report_in_lines_names_source_state_failure_spread_and_lows(make: Make) -> None:
    world = make()
    world.tick(whole(changed(in_the_night(6))))
    world.clock.now = AFTERNOON
    world.tick(whole(HTML))

    lines = world.report("forecast").splitlines()

    assert lines[2] == f"{FIRST}, in use"
    said = " ".join(" ".join(lines).split())
    for words in (
        "fresh: fetched Thu 14 May 14:10, 2 h old",
        "no temperature Fri 15 May 00:00 to 05:00 (6 h)",
        f"failed: {FIRST}: the answer is a web page, not a forecast",
        "spread: usual errors by lead time",
        "bench not known: treated as cold",
    ):
        assert words in said

    world.clock.now = world.plan().next_at
    world.tick(whole(dumped(a_body(5.0))))
    said = " ".join(world.report("forecast").split())
    assert "no gaps in three days" in said
    assert "failed" not in said
    assert "bench leaf 5.0 °C at 07:00, air 5.0 °C, give or take 1.2 °C" in said
