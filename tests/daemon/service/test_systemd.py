"""What the service manager is told, over a socket of ours in its place."""

import os
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from sillward.service.systemd import Manager, claim_manager


def listening(address: str) -> socket.socket:
    listener = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    listener.bind(address)
    listener.settimeout(5)
    return listener


@pytest.fixture(params=["path", "abstract"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> tuple[str, str]:
    """The address of the manager: as NOTIFY_SOCKET has it, and as bind() takes it."""
    if request.param == "path":
        # Not tmp_path as it is: such an address has at most 107 bytes.
        path = os.path.relpath(tmp_path / "s")
        return str(Path(path).resolve()), path
    if not sys.platform.startswith("linux"):
        pytest.skip("abstract sockets are Linux's")
    name = f"sillward-test-{os.getpid()}-{tmp_path.name}"
    return f"@{name}", f"\0{name}"


@pytest.fixture
def heard(place: tuple[str, str]) -> Iterator[socket.socket]:
    with listening(place[1]) as listener:
        yield listener


def test_lines_arrive_as_one_datagram(place: tuple[str, str], heard: socket.socket) -> None:
    Manager(place[0]).notify("READY=1", "STATUS=next: dusk 17:00, 14 °C")

    assert heard.recv(4096).decode() == "READY=1\nSTATUS=next: dusk 17:00, 14 °C"


def test_a_line_cannot_smuggle_in_another(place: tuple[str, str], heard: socket.socket) -> None:
    Manager(place[0]).notify("STATUS=cold\nMAINPID=1\r\u2028STOPPING=1")

    assert heard.recv(4096).decode() == "STATUS=cold MAINPID=1 STOPPING=1"


def test_text_that_is_no_unicode_arrives_all_the_same(
    place: tuple[str, str], heard: socket.socket
) -> None:
    Manager(place[0]).notify("STATUS=\ud800")

    assert heard.recv(4096) == b"STATUS=?"


@pytest.mark.parametrize(
    "address",
    [
        "/nowhere/at/all",
        "/" + "x" * 200,
        "@" + "x" * 200,
        "/nul\0inside",
        "/etc/passwd",
    ],
)
def test_a_manager_that_does_not_hear_is_complained_of_once(
    address: str, caplog: pytest.LogCaptureFixture
) -> None:
    told = Manager(address)

    told.notify("READY=1")
    told.notify("WATCHDOG=1")

    (record,) = caplog.records
    assert record.getMessage().startswith("systemd.not_told reason=")


@pytest.mark.parametrize("address", ["", "vsock:2:1", "relative/path"])
def test_what_is_no_socket_of_this_machine_is_nobody(
    address: str, caplog: pytest.LogCaptureFixture
) -> None:
    Manager(address).notify("READY=1")

    assert not caplog.records


def test_a_manager_that_does_not_read_holds_nobody_up(
    place: tuple[str, str], heard: socket.socket, caplog: pytest.LogCaptureFixture
) -> None:
    told = Manager(place[0])

    for _ in range(10_000):  # a queue of datagrams on Linux is far shorter
        told.notify("WATCHDOG=1")

    assert heard.recv(4096) == b"WATCHDOG=1"
    assert len(caplog.records) == 1


@pytest.mark.parametrize(
    ("period", "pid", "watchdog_s"),
    [
        pytest.param("180000000", str(os.getpid()), 180.0, id="ours"),
        ("180000000", "", 180.0),
        ("180000000", "1", None),
        ("180000000", "nobody", None),
        ("0", "", None),
        ("-5", "", None),
        ("soon", "", None),
        ("", "", None),
        ("9" * 400, "", None),
    ],
)
def test_how_often_the_watchdog_wants_to_be_fed(
    period: str, pid: str, watchdog_s: float | None
) -> None:
    environment = {"WATCHDOG_USEC": period, "WATCHDOG_PID": pid}

    assert claim_manager(environment).watchdog_s == watchdog_s


def test_the_environment_keeps_nothing_by_which_a_child_could_speak_for_us(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("NOTIFY_SOCKET", "@sillward-nobody")
    monkeypatch.setenv("WATCHDOG_USEC", "1000000")
    monkeypatch.setenv("WATCHDOG_PID", str(os.getpid()))

    told = claim_manager()

    assert (told.address, told.watchdog_s) == ("@sillward-nobody", 1.0)
    child = (
        "import os; print(sorted(n for n in os.environ if n.startswith(('NOTIFY', 'WATCHDOG'))))"
    )
    said = subprocess.run([sys.executable, "-c", child], capture_output=True, text=True, check=True)
    assert said.stdout.strip() == "[]"
