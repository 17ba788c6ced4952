"""The heartbeat: when which address is called, and that nothing in it disturbs the tick."""

import logging
import time
from datetime import UTC, datetime, timedelta
from io import StringIO
from pathlib import Path

import pytest
from pydantic import SecretStr

from sillward.config.settings import load_settings
from sillward.errors import ConfigError, SourceError
from sillward.service import heartbeat
from sillward.service.heartbeat import Heartbeat
from tests.support.loopback_server import (
    LONG_S,
    SHORT_S,
    Talk,
    dripping,
    hanging,
    head,
    nothing_left,
    resetting,
    saying,
    serving,
    whole,
)

NOW = datetime(2026, 5, 14, 20, tzinfo=UTC)
EVERY = timedelta(minutes=15)
SECRET = "s3cret-uuid"
GOOD, BAD = SecretStr("http://good.example/ping"), SecretStr("http://bad.example/fail")


class Time:
    """A wall clock and a monotonic one, which both stand still until they are moved."""

    def __init__(self) -> None:
        self.wall = NOW
        self.steady_s = 1_000.0

    def passes(self, span: timedelta) -> None:
        self.wall += span
        self.steady_s += span.total_seconds()


@pytest.fixture
def clock() -> Time:
    return Time()


@pytest.fixture
def called(monkeypatch: pytest.MonkeyPatch) -> list[SecretStr]:
    """The addresses that were called, where each call succeeds."""
    kept: list[SecretStr] = []
    monkeypatch.setattr(heartbeat, "call", kept.append)
    return kept


def a_heartbeat(clock: Time, trouble_url: SecretStr | None = BAD) -> Heartbeat:
    return Heartbeat(GOOD, trouble_url, EVERY, lambda: clock.steady_s)


def test_good_work_is_told_at_once_and_then_every_so_often(
    clock: Time, called: list[SecretStr]
) -> None:
    heart = a_heartbeat(clock)

    for _ in range(2 * 60 * 2 + 1):  # two hours of ticks
        heart.beat(clock.wall, None)
        clock.passes(timedelta(seconds=30))

    assert called == [GOOD] * 9


def test_trouble_and_its_end_are_told_at_once(clock: Time, called: list[SecretStr]) -> None:
    heart = a_heartbeat(clock)

    for trouble in (None, "no forecast", "no forecast", "no channel", None, None):
        heart.beat(clock.wall, trouble)
        clock.passes(timedelta(seconds=30))

    assert called == [GOOD, BAD, GOOD]


def test_trouble_that_lasts_is_told_every_so_often(clock: Time, called: list[SecretStr]) -> None:
    heart = a_heartbeat(clock)

    for _ in range(3):
        heart.beat(clock.wall, "no forecast")
        clock.passes(EVERY)

    assert called == [BAD] * 3


def test_without_an_address_for_trouble_there_is_silence(
    clock: Time, called: list[SecretStr]
) -> None:
    heart = a_heartbeat(clock, None)

    for trouble in (None, "no forecast", "no forecast", None):
        heart.beat(clock.wall, trouble)
        clock.passes(EVERY)

    assert called == [GOOD, GOOD]


@pytest.mark.parametrize(
    ("jump", "calls"), [(timedelta(days=-400), 1), (timedelta(days=400), 2), (timedelta(), 1)]
)
def test_a_clock_that_is_set_costs_no_more_than_one_call(
    clock: Time, called: list[SecretStr], jump: timedelta, calls: int
) -> None:
    heart = a_heartbeat(clock)
    heart.beat(clock.wall, None)

    clock.wall += jump
    for _ in range(29):
        clock.passes(timedelta(seconds=30))
        heart.beat(clock.wall, None)
    assert len(called) == calls

    clock.passes(EVERY)
    heart.beat(clock.wall, None)
    assert len(called) == calls + 1


def test_a_machine_that_slept_is_alive_again_at_once(clock: Time, called: list[SecretStr]) -> None:
    heart = a_heartbeat(clock)
    heart.beat(clock.wall, None)

    clock.wall += timedelta(hours=8)  # the steady clock sleeps with it
    heart.beat(clock.wall, None)

    assert len(called) == 2


def test_a_call_that_fails_is_made_again_a_minute_later(
    clock: Time, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    tries: list[datetime] = []

    def fail(address: SecretStr) -> None:
        tries.append(clock.wall)
        msg = "heartbeat: answered 500"
        raise SourceError(msg)

    monkeypatch.setattr(heartbeat, "call", fail)
    heart = a_heartbeat(clock)
    with caplog.at_level(logging.WARNING):
        for _ in range(7):
            heart.beat(clock.wall, None)
            clock.passes(timedelta(seconds=30))

    assert tries == [NOW + timedelta(minutes=minute) for minute in range(4)]
    assert [record.getMessage() for record in caplog.records] == [
        "heartbeat.failed reason=heartbeat: answered 500"
    ] * 4


# -- over real wires


FAULTS: dict[str, Talk] = {
    "says no": whole(b"", status="500 Broken"),
    "sends elsewhere": whole(b"", "Location: /login", status="302 Found"),
    "hangs": hanging(),
    "hangs up": saying(),
    "resets": resetting(),
    "drips": dripping(head("Content-Length: 9999"), b"a"),
    "breaks off": saying(head("Content-Length: 9"), b"a"),
}


@pytest.fixture
def heard() -> StringIO:
    return StringIO()


def beaten(address: str, heard: StringIO, monkeypatch: pytest.MonkeyPatch) -> tuple[bool, float]:
    """Run one beat; return whether it succeeded and how long it took [s]."""
    monkeypatch.setattr(heartbeat, "HEARTBEAT_DEADLINE_S", SHORT_S)
    heart = Heartbeat(SecretStr(f"{address}/{SECRET}?key={SECRET}"), None, EVERY)
    handler, root = logging.StreamHandler(heard), logging.getLogger()
    level = root.level
    root.addHandler(handler)
    root.setLevel(logging.DEBUG)
    began = time.monotonic()
    try:
        heart.beat(NOW, None)
    finally:
        root.setLevel(level)
        root.removeHandler(handler)
    return "heartbeat.failed" not in heard.getvalue(), time.monotonic() - began


def test_a_call_is_a_get_that_is_answered(heard: StringIO, monkeypatch: pytest.MonkeyPatch) -> None:
    with nothing_left(), serving(whole(b"OK")) as server:
        success, _ = beaten(server.address, heard, monkeypatch)

    assert success
    (request,) = server.asked
    assert request.startswith(f"GET /{SECRET}?key={SECRET} HTTP/1.1\r\n".encode())
    assert SECRET not in heard.getvalue()


@pytest.mark.parametrize("fault", FAULTS)
def test_what_the_other_side_does_wrong_disturbs_nothing(
    fault: str, heard: StringIO, monkeypatch: pytest.MonkeyPatch
) -> None:
    with nothing_left(), serving(FAULTS[fault]) as server:
        success, took_s = beaten(server.address, heard, monkeypatch)

    assert not success
    assert took_s < LONG_S
    assert len(server.asked) == 1
    assert "heartbeat.failed reason=heartbeat: " in heard.getvalue()
    assert SECRET not in heard.getvalue()


@pytest.mark.parametrize(
    "address", ["http://[", "http://127.0.0.1:99999", "http://\x00", "http:// "]
)
def test_an_address_that_is_none_disturbs_nothing(
    address: str, heard: StringIO, monkeypatch: pytest.MonkeyPatch
) -> None:
    success, _ = beaten(address, heard, monkeypatch)

    assert not success
    assert "heartbeat.failed" in heard.getvalue()
    assert SECRET not in heard.getvalue()


# -- from the settings


def built() -> Heartbeat | None:
    return heartbeat.build(load_settings())


def test_without_an_address_there_is_no_heartbeat() -> None:
    assert built() is None


@pytest.mark.parametrize("where", ["environment", "credentials"])
def test_the_settings_and_the_credentials_give_addresses(
    where: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, called: list[SecretStr]
) -> None:
    if where == "environment":
        monkeypatch.setenv("SILLWARD_HEARTBEAT__URL", GOOD.get_secret_value())
        monkeypatch.setenv("SILLWARD_HEARTBEAT__TROUBLE_URL", BAD.get_secret_value())
    else:
        (tmp_path / "heartbeat-url").write_text(GOOD.get_secret_value(), encoding="utf-8")
        (tmp_path / "heartbeat-trouble-url").write_text(BAD.get_secret_value(), encoding="utf-8")
        monkeypatch.setenv("CREDENTIALS_DIRECTORY", str(tmp_path))

    heart = built()

    assert heart is not None
    heart.beat(NOW, None)
    heart.beat(NOW, "no forecast")
    assert called == [GOOD, BAD]


def test_a_credential_that_is_no_address_is_named_and_not_shown(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "heartbeat-url").write_text(SECRET, encoding="utf-8")
    monkeypatch.setenv("CREDENTIALS_DIRECTORY", str(tmp_path))

    with pytest.raises(ConfigError) as caught:
        built()

    assert str(caught.value) == (
        "credential heartbeat-url: must start with http:// or https:// and name a server"
    )


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("URL", f"ftp://{SECRET}"),
        ("URL", SECRET),
        ("TROUBLE_URL", SECRET),
        ("EVERY", "0.5"),
        ("EVERY", "1441"),
        ("EVERY", "nan"),
        ("EVERYTHING", SECRET),
    ],
)
def test_a_wrong_setting_is_named_and_not_shown(
    name: str, value: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(f"SILLWARD_HEARTBEAT__{name}", value)

    with pytest.raises(ConfigError, match=f"SILLWARD_HEARTBEAT__{name}: ") as caught:
        load_settings()

    assert SECRET not in str(caught.value)


def test_the_pause_is_the_growers(
    monkeypatch: pytest.MonkeyPatch, called: list[SecretStr], clock: Time
) -> None:
    monkeypatch.setenv("SILLWARD_HEARTBEAT__URL", GOOD.get_secret_value())
    monkeypatch.setenv("SILLWARD_HEARTBEAT__EVERY", "60")
    heart = built()
    assert heart is not None

    for minutes in (0, 59, 60):
        heart.beat(NOW + timedelta(minutes=minutes), None)

    assert len(called) == 2
