"""A connection to a real broker on loopback; and, without one, the words for what went wrong."""

import gc
import os
import socket
import ssl
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
import trustme
from click.testing import CliRunner
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.reasoncodes import ReasonCode
from pydantic import SecretStr

from sillward.cli import main
from sillward.config.household import Broker, TopicSensor
from sillward.config.models import MqttVersion
from sillward.readings import mqtt_connection, mqtt_listener
from sillward.readings.inbox import Contents
from sillward.readings.live_intake import Reading, Refusal
from sillward.readings.mqtt_connection import BrokerError, Connection
from sillward.readings.mqtt_listener import MqttListener
from tests.support.installation import wait_for
from tests.support.loopback_server import serving
from tests.support.mailbox import free_port
from tests.support.mosquitto import MISSING, PASSWORD, PROGRAM, USER, a_mosquitto, password_file
from tests.support.paths import EXAMPLES
from tests.support.sensors import BENCH, BROKER

needs_mosquitto = pytest.mark.skipif(PROGRAM is None, reason=MISSING)
VERSIONS: tuple[MqttVersion, ...] = ("3.1.1", "5")

SOON_S = 0.05
OPEN_FILES = Path("/proc/self/fd")


@pytest.fixture(autouse=True)
def _short_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(mqtt_connection, "LOOP_S", SOON_S)
    monkeypatch.setattr(mqtt_listener, "FIRST_WAIT_S", SOON_S)
    monkeypatch.setattr(mqtt_listener, "LONGEST_WAIT_S", SOON_S)


@contextmanager
def listening(broker: Broker, *sensors: TopicSensor) -> Iterator[MqttListener]:
    listener = MqttListener(broker, sensors or (BENCH,), lambda: datetime.now(UTC))
    listener.ensure_running()
    try:
        yield listener
    finally:
        listener.close()


def is_connected(listener: MqttListener) -> bool:
    return wait_for(lambda: listener.state.connected)


def trouble_of(broker: Broker, *sensors: TopicSensor) -> str:
    with listening(broker, *sensors) as listener:
        assert wait_for(lambda: listener.state.trouble)
        return listener.state.trouble or ""


def all_that_came(listener: MqttListener, count: int) -> list[Reading | Refusal]:
    came: list[Reading | Refusal] = []

    def enough() -> bool:
        came.extend(listener.take().came)
        return len(came) >= count

    assert wait_for(enough), came
    return came


def values(listener: MqttListener, count: int = 1) -> list[float]:
    return [one.value for one in all_that_came(listener, count) if isinstance(one, Reading)]


# -- with a real broker


@needs_mosquitto
@pytest.mark.parametrize("version", VERSIONS)
def test_whatever_comes_the_next_reading_arrives(version: MqttVersion, tmp_path: Path) -> None:
    sensors = [BENCH, *(replace(BENCH, topic=f"bad/{number}") for number in range(5))]
    hostile = [b"null", b"NaN", b"\xff\xfe", b"", b"[" * 700_000]
    with a_mosquitto(tmp_path) as broker:
        broker.publish("garden/bench", "3.3", kept=True)
        with listening(replace(broker.address, version=version), *sensors) as listener:
            assert is_connected(listener)
            for number, message in enumerate(hostile):
                broker.publish(f"bad/{number}", message)
            broker.publish("garden/bench", "11.4")

            came = all_that_came(listener, 6)

    assert [one.value for one in came if isinstance(one, Reading)] == [11.4]
    assert [one.reason for one in came if isinstance(one, Refusal)] == [
        "the value is not a number",
        "the value is not a number",
        "the message is not UTF-8 text",
        "the value is not a number",
        "the message is longer than 64 kB",
    ]


@needs_mosquitto
def test_a_broker_that_was_away_is_found_again_and_nothing_was_queued(tmp_path: Path) -> None:
    with a_mosquitto(tmp_path) as broker, listening(broker.address) as listener:
        assert is_connected(listener)
        broker.stop()
        assert wait_for(lambda: not listener.state.connected)
        with a_mosquitto(tmp_path, port=broker.port) as again:
            again.publish("garden/other", "1")
            assert is_connected(listener)
            again.publish("garden/bench", "11.4")
            assert values(listener) == [11.4]


@needs_mosquitto
def test_what_was_sent_while_nobody_listened_does_not_come_later(tmp_path: Path) -> None:
    with a_mosquitto(tmp_path) as broker:
        with listening(broker.address) as listener:
            assert is_connected(listener)
        broker.publish("garden/bench", "3.3")
        with listening(broker.address) as listener:
            assert is_connected(listener)
            broker.publish("garden/bench", "11.4")
            assert values(listener) == [11.4]


@needs_mosquitto
@pytest.mark.parametrize("version", VERSIONS)
def test_the_password_lets_in_and_a_wrong_one_does_not(
    version: MqttVersion, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level("DEBUG")
    with a_mosquitto(tmp_path, f"password_file {password_file(tmp_path)}") as broker:
        anybody = replace(broker.address, version=version)
        known = replace(anybody, user=USER, password=SecretStr(PASSWORD))
        with listening(known) as listener:
            assert is_connected(listener)
        wrong = trouble_of(replace(known, password=SecretStr(f"not {PASSWORD}")))
        nobody = trouble_of(anybody)

    assert 'the user "sillward"' in wrong
    assert "credential mqtt-password, or SILLWARD_MQTT__PASSWORD" in wrong
    assert "a client without a user is not let in" in nobody
    assert PASSWORD not in caplog.text + wrong + repr(known)


@needs_mosquitto
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_tls_with_an_authority_of_ones_own(tmp_path: Path) -> None:
    authority = trustme.CA()
    server = authority.issue_cert("127.0.0.1")
    authority.cert_pem.write_to_path(tmp_path / "ca.pem")
    server.private_key_pem.write_to_path(tmp_path / "key.pem")
    server.cert_chain_pems[0].write_to_path(tmp_path / "cert.pem")
    tls = (f"certfile {tmp_path}/cert.pem", f"keyfile {tmp_path}/key.pem")
    with a_mosquitto(tmp_path, *tls) as broker:
        secure = replace(broker.address, tls=True, ca=tmp_path / "ca.pem")
        with listening(secure) as listener:
            assert is_connected(listener)
        unknown = trouble_of(replace(secure, ca=None))
        other_name = trouble_of(replace(secure, host="localhost"))
        plain = trouble_of(broker.address)
    with a_mosquitto(tmp_path) as broker:
        other_port = trouble_of(replace(secure, port=broker.port))

    assert "its certificate is not trusted" in unknown
    assert "mqtt.ca" in unknown
    assert "not valid for 'localhost'" in other_name
    assert "is this the port for MQTT without tls?" in plain
    assert "is this the port for MQTT with tls?" in other_port


@needs_mosquitto
@pytest.mark.parametrize("version", VERSIONS)
def test_two_that_the_broker_takes_for_one_are_told_so(
    version: MqttVersion, tmp_path: Path
) -> None:
    settings = (f"password_file {password_file(tmp_path)}", "use_username_as_clientid true")
    with a_mosquitto(tmp_path, *settings) as broker:
        known = replace(broker.address, version=version, user=USER, password=SecretStr(PASSWORD))
        with listening(known) as one, listening(known) as other:
            assert wait_for(
                lambda: any("in a row" in (each.state.trouble or "") for each in (one, other))
            )


@needs_mosquitto
def test_clients_of_two_installations_have_different_ids(tmp_path: Path) -> None:
    with (
        a_mosquitto(tmp_path) as broker,
        listening(broker.address) as one,
        listening(broker.address) as other,
    ):
        assert is_connected(one)
        assert is_connected(other)
        broker.publish("garden/bench", "11.4")
        assert values(one) == values(other) == [11.4]


@needs_mosquitto
def test_the_command_shows_what_arrives(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SILLWARD_MQTT__PASSWORD", PASSWORD)
    with a_mosquitto(tmp_path, f"password_file {password_file(tmp_path)}") as broker:
        collection = tmp_path / "yard.toml"
        text = (EXAMPLES / "courtyard.toml").read_text(encoding="utf-8")
        collection.write_text(text + _sensor_at(broker.port), encoding="utf-8")
        told = CliRunner().invoke(main, ["check", "--collection", str(collection)])
        monkeypatch.setattr(MqttListener, "take", _publishing(broker.publish, MqttListener.take))
        result = CliRunner().invoke(main, ["try-sensors", "--collection", str(collection)])

    assert result.exit_code == 0, result.output
    assert result.stdout.splitlines()[-1].split() == [
        "pergola",
        "temperature",
        "11.4",
        "°C",
        "garden/bench",
    ]
    assert "as sillward, with its password" in " ".join(told.stdout.split())
    assert PASSWORD not in result.output + told.output


def test_the_command_without_a_broker(tmp_path: Path) -> None:
    collection = tmp_path / "yard.toml"
    text = (EXAMPLES / "courtyard.toml").read_text(encoding="utf-8")
    collection.write_text(text, encoding="utf-8")
    call = ["try-sensors", "--collection", str(collection)]
    without = CliRunner().invoke(main, call)
    collection.write_text(f"{text}{_sensor_at(free_port())}", encoding="utf-8")

    result = CliRunner().invoke(main, call)

    assert (without.exit_code, result.exit_code) == (78, 1)
    assert "sensors: there are none" in without.output
    assert "nothing listens there; does the broker run, on this port?" in result.output
    assert CliRunner().invoke(main, [*call, "--seconds", "0"]).exit_code == 2


def _sensor_at(port: int) -> str:
    return (
        f'[mqtt]\nhost = "127.0.0.1"\nport = {port}\nuser = "{USER}"\n'
        '[[sensors]]\nspot = "pergola"\nquantity = "temperature"\ntopic = "garden/bench"\n'
    )


def _publishing(publish: Any, take: Any) -> Any:
    """A `take` before which, once it is connected, the sensor sends something."""

    def both(listener: MqttListener) -> Contents:
        if listener.state.connected:
            publish("garden/bench", "11.4", user=USER)
        found: Contents = take(listener)
        return found

    return both


# -- without one


def test_nobody_listens_there() -> None:
    trouble = trouble_of(replace(BROKER, port=free_port()))

    assert "nothing listens there; does the broker run, on this port?" in trouble


def test_something_else_listens_there() -> None:
    def talk(caller: socket.socket, _gone: object) -> None:
        caller.sendall(b"HTTP/1.1 400 Bad Request\r\n\r\n")

    with serving(talk, ends=b"MQTT") as server:
        port = int(server.address.rpartition(":")[2])
        trouble = trouble_of(replace(BROKER, port=port))

    assert "is this the port for MQTT without tls?" in trouble


@pytest.mark.skipif(not OPEN_FILES.is_dir(), reason="there is no /proc to count open files in")
@pytest.mark.parametrize("version", VERSIONS)
def test_a_connection_that_failed_leaves_nothing_open(version: MqttVersion) -> None:
    def talk(caller: socket.socket, _gone: object) -> None:
        caller.sendall(b"HTTP/1.1 400 Bad Request\r\n\r\n")

    def attempt(port: int) -> None:
        connection = Connection(
            replace(BROKER, port=port, version=version), ("t",), lambda *_: None
        )
        with closing(connection), pytest.raises(BrokerError):
            serve_until_lost(connection)

    def serve_until_lost(connection: Connection) -> None:
        connection.open()
        while True:
            connection.serve()

    gc.disable()  # which would close them sooner or later
    try:
        with serving(talk, ends=b"MQTT") as server:
            port = int(server.address.rpartition(":")[2])
            attempt(port)
            before = len(list(OPEN_FILES.iterdir()))
            for _ in range(5):
                attempt(port)
            assert len(list(OPEN_FILES.iterdir())) <= before
    finally:
        gc.enable()


def test_topics_that_may_not_be_read_are_known() -> None:
    """As brokers tell; the access list of Mosquitto lets everybody subscribe, and sends nothing."""
    connection = Connection(BROKER, ("a", "b", "c"), lambda *_: None)
    granted, refused = (
        ReasonCode(PacketTypes.SUBACK, identifier=identifier) for identifier in (0, 0x87)
    )

    connection._on_subscribe(connection._client, None, 1, [granted, refused, granted], None)

    assert connection.is_subscribed
    assert connection.denied == ("b",)


def test_a_file_of_certificates_that_is_none(tmp_path: Path) -> None:
    (tmp_path / "ca.pem").write_text("no certificate", encoding="utf-8")
    trouble = trouble_of(replace(BROKER, tls=True, ca=tmp_path / "ca.pem"))

    assert "ca.pem is not a file of certificates that can be used" in trouble


def test_without_paho_it_is_told_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(__import__("sys").modules, "paho.mqtt", None)

    assert "pip install '.[mqtt]'" in trouble_of(BROKER)


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (socket.gaierror(-2, "Name or service not known"), "there is no machine of this name"),
        (UnicodeError("label empty or too long"), "there is no machine of this name"),
        (TimeoutError("timed out"), "does not answer"),
        (OSError(113, os.strerror(113)), "cannot be reached (No route to host)"),
        (ssl.SSLError(1, "wrong version number"), "is this the port for MQTT without tls?"),
        (ConnectionResetError(), "is this the port for MQTT without tls?"),
        (ValueError("Invalid host."), "cannot be reached (Invalid host.)"),
    ],
)
def test_why_there_is_no_connection(
    error: Exception, words: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    connection = Connection(BROKER, ("t",), lambda *_: None)

    def fail(*_: object, **__: object) -> None:
        raise error

    monkeypatch.setattr(connection._client, "connect", fail)
    with pytest.raises(BrokerError) as caught:
        connection.open()

    assert words in str(caught.value)


def test_the_broker_speaks_another_version() -> None:
    newer = replace(BROKER, version="5")

    assert 'set mqtt.version = "3.1.1"' in mqtt_connection._refusal(
        "Unsupported protocol version", newer
    )
