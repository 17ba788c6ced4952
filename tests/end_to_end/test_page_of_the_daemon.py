"""`sillward run` with its page, as a real process: who may come in, across restarts."""

import os
import signal
import socket
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from tests.support.installation import Installation, an_installation, wait_for
from tests.support.page_people import keep
from tests.support.plain_browser import Browser, free_port

PASSPHRASE = "three brave geese"


@pytest.fixture
def port(monkeypatch: pytest.MonkeyPatch) -> int:
    port = free_port()
    monkeypatch.setenv("SILLWARD_PAGE__ADDRESS", f"127.0.0.1:{port}")
    return port


@pytest.fixture
def installation(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Installation]:
    monkeypatch.setenv("SILLWARD_CREDENTIALS", str(tmp_path))
    with an_installation(tmp_path) as installation:
        yield installation


def serves(port: int) -> bool:
    with socket.socket() as trial:
        return trial.connect_ex(("127.0.0.1", port)) == 0


def test_a_session_outlives_the_daemon_and_ends_with_its_passphrase(
    installation: Installation, port: int
) -> None:
    keep(installation.folder, None, PASSPHRASE)
    first = installation.start()
    assert wait_for(lambda: serves(port))
    browser = Browser(port)
    assert browser.ask("/")[0] == 303
    assert browser.form("/sign-in", "/sign-in", passphrase=PASSPHRASE, to="/") == 303
    assert wait_for(lambda: "Left pot" in browser.ask("/")[1])
    # A request that hangs in the air keeps nobody from ending.
    with closing(socket.create_connection(("127.0.0.1", port))) as half:
        half.sendall(b"POST /answer HTTP/1.1\r\nHost: localhost\r\nContent-Length: 99\r\n\r\nx")
        assert installation.stop(first) == 0
    assert not serves(port)

    second = installation.start()
    assert wait_for(lambda: serves(port))
    status, text = browser.ask("/")
    assert status == 200
    assert "Sign out" in text

    keep(installation.folder, None, "four timid geese")
    assert browser.ask("/")[0] == 303
    os.kill(second.pid, signal.SIGKILL)
    second.wait(5)
    assert not installation.logged("Traceback")


def test_open_to_others_and_without_a_passphrase_nothing_starts(
    installation: Installation, port: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SILLWARD_PAGE__URL", "https://plants.example")
    process = installation.start()

    assert process.wait(20) == 78
    assert installation.logged("there is no passphrase: `sillward passphrase` sets one")


def test_a_port_that_is_taken_keeps_no_notice_back(installation: Installation, port: int) -> None:
    with socket.create_server(("127.0.0.1", port)):
        process = installation.start()
        assert wait_for(lambda: installation.states == ["sent"])
        assert installation.logged("page.not_started reason=SILLWARD_PAGE__ADDRESS: cannot listen")
        assert process.poll() is None
