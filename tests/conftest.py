"""What every test gets: a clean environment, a home of its own, and no way out to the network."""

import ipaddress
import os
import socket
from collections.abc import Callable, Iterator
from itertools import count
from pathlib import Path
from typing import Any, NoReturn

import pytest
from hypothesis import settings
from xdist.scheduler.loadscope import LoadScopeScheduling

from sillward.ledger.address import PostgresAddress
from tests.support import postgres_server as postgres_server_support
from tests.support.postgres_server import PostgresServer

# How long an example takes says something of the machine only. `.ci/slow` tries more of them.
settings.register_profile("sillward", deadline=None, max_examples=40)
settings.register_profile("slow", deadline=None, max_examples=1000)
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


TOGETHER = {
    "a browser": ("tests/browser/",),
    "a server": (
        "tests/daemon/ledger/",
        "tests/daemon/cli/test_forget_command.py",
        "tests/daemon/service/test_server_alarm.py",
        "tests/daemon/service/test_shared_turns.py",
        "tests/daemon/service/test_workers.py",
        "tests/slow/test_workers_killed.py",
    ),
    "charts": ("tests/daemon/charts/",),
    "references": ("tests/published/",),
    "the manual": ("tests/docs/",),
    "situations": ("tests/daemon/wording/",),
}
"""What takes long, and the files whose tests share it."""

LONGEST = (
    "tests/daemon/wording/",
    "tests/browser/",
    "tests/end_to_end/",
    "tests/docs/",
    "tests/rules/replay/",
    "tests/daemon/ledger/",
    "tests/daemon/cli/test_replay_command.py",
    "tests/daemon/setup/",
    "tests/published/",
    "tests/daemon/service/",
    "tests/packaging/",
)
"""What comes first, so that no worker has a long file left when the others are at their end."""


class Together(LoadScopeScheduling):  # type: ignore[misc]
    """Keeps tests on one worker that share what takes long, and those of each file.

    What they share is then worked out once. Groups of xdist's own would change the names of tests,
    so that those that failed could not be run again.
    """

    def _split_scope(self, nodeid: str) -> str:
        shared = (what for what, files in TOGETHER.items() if nodeid.startswith(files))
        return next(shared, nodeid.partition("::")[0])


def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Together:
    """Distribute tests so, in the order in which they are collected."""
    config.option.loadscopereorder = False
    return Together(config, log)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put what takes longest first."""

    def place(item: pytest.Item) -> int:
        places = (at for at, start in enumerate(LONGEST) if item.nodeid.startswith(start))
        return next(places, len(LONGEST))

    items.sort(key=place)


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


@pytest.fixture(scope="session", autouse=True)
def _no_network() -> Iterator[None]:
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

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(socket.socket, "connect", _guarded(socket.socket.connect))
        patch.setattr(socket.socket, "connect_ex", _guarded(socket.socket.connect_ex))
        patch.setattr(socket, "getaddrinfo", getaddrinfo)
        patch.setattr(socket, "create_connection", create_connection)
        yield


CALLERS = (
    *("CREDENTIALS_DIRECTORY", "STATE_DIRECTORY", "NOTIFY_SOCKET", "WATCHDOG_USEC"),
    *("HTTP_PROXY", "HTTPS_PROXY", "ALL_PROXY"),
    *("XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_STATE_HOME", "XDG_CACHE_HOME"),
)
"""What else the caller of tests may have set, that sillward would go by."""


@pytest.fixture(scope="session")
def _homes(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Give one new folder after another. Each test has one: it costs less than its tmp_path."""
    folder = tmp_path_factory.mktemp("homes")

    def made() -> Iterator[Path]:
        for number in count():
            home = folder / str(number)
            home.mkdir()
            yield home

    return made()


@pytest.fixture(autouse=True)
def _clean_environment(request: pytest.FixtureRequest, _homes: Iterator[Path]) -> None:
    """Take the caller's own settings away; keep the ledger and the home inside tmp_path."""
    for name in tuple(os.environ):
        if name.upper().startswith("SILLWARD_") or name.upper() in CALLERS:
            del os.environ[name]
    asked_for = "tmp_path" in request.fixturenames
    home = request.getfixturevalue("tmp_path") if asked_for else next(_homes)
    os.environ["HOME"] = str(home)
    os.environ["SILLWARD_LEDGER"] = str(home / "ledger.sqlite3")
