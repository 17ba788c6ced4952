"""What every test gets: a clean environment, a home of its own, and no way out to the network."""

import ipaddress
import os
import socket
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NoReturn

import pytest
from hypothesis import settings

from sillward.ledger.address import PostgresAddress
from tests.support import postgres_server as postgres_server_support
from tests.support.postgres_server import PostgresServer

# How long an example takes says something of the machine only.
settings.register_profile("sillward", deadline=None)
settings.load_profile("sillward")


def pytest_configure(config: pytest.Config) -> None:
    """Bear with what a library that we call imports; everything else that warns is an error.

    Processes that tests start, of which there are hundreds, keep their bytecode instead of
    compiling all of sillward each time. Workers share the cores: threads of NumPy's would only be
    in the way.
    """
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    os.environ["OPENBLAS_NUM_THREADS"] = "1"
    config.addinivalue_line("filterwarnings", "ignore:'imghdr' is deprecated:DeprecationWarning")


TOGETHER = (
    "tests/browser/",
    "tests/daemon/charts/",
    "tests/daemon/cli/test_replay_command.py",
    "tests/daemon/wording/",
    "tests/docs/",
    "tests/end_to_end/test_year_of_airport_weather.py",
    "tests/published/test_nights_by_zone.py",
    "tests/rules/replay/test_engine.py",
)
"""Where tests share what takes long: a browser, what is told in each situation, replays."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Keep tests that share much on one worker, which then works it out once."""
    for item in items:
        for group in TOGETHER:
            if item.nodeid.startswith(group):
                item.add_marker(pytest.mark.xdist_group(group))


class NetworkBlockedError(RuntimeError):
    """A test tried to leave the machine. Tests speak to loopback only."""


def _is_loopback(host: object) -> bool:
    if isinstance(host, bytes):
        host = host.decode("ascii", "replace")
    if not isinstance(host, str):
        return host is None
    if host in {"", "localhost"}:
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def _refuse(target: object) -> NoReturn:
    message = f"tests reach loopback only, and this one asked for {target!r}"
    raise NetworkBlockedError(message)


def _guarded(original: Callable[..., Any]) -> Callable[..., Any]:
    def connect(self: socket.socket, address: Any) -> Any:
        if self.family in {socket.AF_INET, socket.AF_INET6} and not _is_loopback(address[0]):
            _refuse(address)
        return original(self, address)

    return connect


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[PostgresServer]:
    """Run a PostgreSQL server for the tests of this worker that need one."""
    try:
        with postgres_server_support.running() as server:
            yield server
    except postgres_server_support.CannotRunError as error:
        pytest.skip(str(error))


@pytest.fixture
def postgres(postgres_server: PostgresServer) -> PostgresAddress:
    """Return the address of a database for a ledger, without a row."""
    return postgres_server.emptied()


@pytest.fixture(autouse=True)
def _no_network(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let sockets connect to loopback only, and names other than localhost resolve to nothing."""
    look_up = socket.getaddrinfo
    dial = socket.create_connection

    def getaddrinfo(host: Any, *args: Any, **kwargs: Any) -> Any:
        if not _is_loopback(host):
            _refuse(host)
        return look_up(host, *args, **kwargs)

    def create_connection(address: Any, *args: Any, **kwargs: Any) -> Any:
        if not _is_loopback(address[0]):
            _refuse(address)
        return dial(address, *args, **kwargs)

    monkeypatch.setattr(socket.socket, "connect", _guarded(socket.socket.connect))
    monkeypatch.setattr(socket.socket, "connect_ex", _guarded(socket.socket.connect_ex))
    monkeypatch.setattr(socket, "getaddrinfo", getaddrinfo)
    monkeypatch.setattr(socket, "create_connection", create_connection)


@pytest.fixture(autouse=True)
def _clean_environment(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Take the caller's own settings away; keep the ledger and the home inside tmp_path."""
    for name in tuple(os.environ):
        if name.upper().startswith("SILLWARD_"):
            monkeypatch.delenv(name)
    for name in ("CREDENTIALS_DIRECTORY", "STATE_DIRECTORY", "NOTIFY_SOCKET", "WATCHDOG_USEC"):
        monkeypatch.delenv(name, raising=False)
    for name in ("http_proxy", "https_proxy", "all_proxy"):
        monkeypatch.delenv(name, raising=False)
        monkeypatch.delenv(name.upper(), raising=False)
    for name in ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_STATE_HOME", "XDG_CACHE_HOME"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("SILLWARD_LEDGER", str(tmp_path / "ledger.sqlite3"))
