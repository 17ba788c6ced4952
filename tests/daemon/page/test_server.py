"""The server in its thread: it starts, dies, is started again, and lets nothing leak."""

import errno
import http.client
import os
import socket
import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack, closing, suppress
from typing import Any

import pytest

from sillward.errors import ConfigError
from sillward.page.application import Application
from sillward.page.guard import Guard
from sillward.page.http_server import HttpServer, Limits
from sillward.page.server import PageServer
from tests.support.pages import KEY, an_evening


def hello(environ: dict[str, Any], start_response: Callable[..., Any]) -> Iterable[bytes]:
    """Say who asks, and how."""
    said = f"{environ['REMOTE_ADDR']} {environ['wsgi.url_scheme']} {environ.get('HTTP_HOST')}"
    start_response("200 OK", [("Content-Length", str(len(said)))])
    return [said.encode()]


@pytest.fixture
def server() -> Iterator[PageServer]:
    server = PageServer(hello, "127.0.0.1", 0)
    server.start()
    with closing(server):
        yield server


def ask(server: PageServer, **headers: str) -> str:
    connection = http.client.HTTPConnection(server.host, server.bound_port, timeout=10)
    with closing(connection):
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        connection.request("GET", "/", headers=named)
        return connection.getresponse().read().decode()


def page_threads() -> int:
    return sum(
        thread.name.startswith(("sillward-page", "waitress")) for thread in threading.enumerate()
    )


def test_it_answers_where_it_says(server: PageServer) -> None:
    assert ask(server) == f"127.0.0.1 http 127.0.0.1:{server.bound_port}"
    assert server.address == f"http://127.0.0.1:{server.bound_port}/"
    assert server.alive


def test_a_port_that_is_taken_is_told_and_leaves_no_threads_behind(server: PageServer) -> None:
    before = page_threads()

    for _ in range(5):
        second = PageServer(hello, "127.0.0.1", server.bound_port)
        with pytest.raises(ConfigError, match=r"SILLWARD_PAGE__ADDRESS: .*in use") as caught:
            second.start()

    assert caught.value.exit_status == 78
    assert page_threads() == before


def kill(server: PageServer, monkeypatch: pytest.MonkeyPatch) -> None:
    """End its thread as an error in it would."""
    assert server._server is not None
    assert server._thread is not None

    def fail() -> None:
        raise SystemExit

    monkeypatch.setattr(server._server, "readable", fail)
    server._server.trigger.pull_trigger()
    server._thread.join(10)


def test_a_thread_that_has_died_is_replaced(
    server: PageServer, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    server.port = server.bound_port
    kill(server, monkeypatch)
    assert not server.alive

    server.watch()

    assert server.alive
    assert ask(server).startswith("127.0.0.1")
    assert [record.getMessage() for record in caplog.records if record.levelname == "ERROR"] == [
        "page.died",
        "page.dead",
    ]


def test_if_it_cannot_start_again_it_is_tried_at_each_look_and_logged_once(
    server: PageServer, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    server.port = server.bound_port
    kill(server, monkeypatch)
    server.close()
    threads = page_threads()
    with socket.create_server(("127.0.0.1", server.port)):
        for _ in range(4):
            server.watch()
        assert not server.alive
        assert page_threads() == threads
    server.watch()

    assert ask(server).startswith("127.0.0.1")
    said = [record.getMessage() for record in caplog.records]
    assert sum(line.startswith("page.not_started") for line in said) == 1


def test_what_keeps_it_from_listening_at_the_start_is_waited_for(
    caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    server, listen = PageServer(hello, "127.0.0.1", 0), PageServer._listen
    errors = [
        OSError(errno.EADDRNOTAVAIL, "Cannot assign requested address"),
        OSError(errno.EADDRINUSE, "Address already in use"),
        OSError(errno.EACCES, "Permission denied"),
    ]

    def not_yet(self: PageServer) -> socket.socket:
        if errors:
            raise errors.pop(0)
        return listen(self)

    monkeypatch.setattr(PageServer, "_listen", not_yet)
    with closing(server):
        for _ in range(3):
            server.watch()
            assert not server.alive
            assert server.trouble is not None
            assert "the page is not served: SILLWARD_PAGE__ADDRESS: cannot listen" in server.trouble
        server.watch()
        assert ask(server).startswith("127.0.0.1")
        assert server.trouble is None
    assert sum("page.not_started" in record.getMessage() for record in caplog.records) == 3


def test_a_start_that_fails_half_way_frees_the_port_and_ends_no_tick(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    server = PageServer(hello, "127.0.0.1", 0)
    server.start()
    server.close()
    with socket.create_server(("127.0.0.1", 0)) as free:
        server.port = free.getsockname()[1]

    def no_more(*_: object, **__: object) -> None:
        raise OSError(errno.EMFILE, "Too many open files")

    with monkeypatch.context() as patch, closing(server):
        patch.setattr("sillward.page.server.HttpServer", no_more)
        server.watch()
        patch.undo()
        server.watch()
        assert ask(server).startswith("127.0.0.1")
    assert "Too many open files" in caplog.text


def test_a_server_that_lives_is_left_alone(server: PageServer) -> None:
    thread = server._thread

    server.watch()

    assert server._thread is thread


def test_closing_ends_its_threads_and_frees_the_port(server: PageServer) -> None:
    port = server.bound_port
    with closing(socket.create_connection(("127.0.0.1", port), timeout=10)) as idle:
        assert ask(server)
        server.close()
        assert idle.recv(1) == b""

    assert not server.alive
    socket.create_server(("127.0.0.1", port)).close()
    server.close()  # twice is once


def test_a_request_that_ends_after_the_server_writes_to_no_file_of_others(
    server: PageServer,
) -> None:
    """The pipe that wakes the server is closed then, and its number may be the ledger's."""
    ended = server._server
    assert ended is not None
    number = ended.trigger.trigger
    server.close()
    read, write = os.pipe()
    os.dup2(write, number)

    ended.pull_trigger()
    ended.end()

    for file in {write, number}:
        os.close(file)
    with os.fdopen(read, "rb") as pipe:
        assert pipe.read() == b""


# -- a web server before it


FORWARDED = {
    "X_Forwarded_For": "203.0.113.9",
    "X_Forwarded_Proto": "https",
    "X_Forwarded_Host": "plants.example",
}


def test_what_a_stranger_says_of_a_request_is_ignored(server: PageServer) -> None:
    assert ask(server, **FORWARDED).startswith("127.0.0.1 http 127.0.0.1:")
    assert ask(server, Forwarded="for=203.0.113.9;proto=https").startswith("127.0.0.1 http ")


@pytest.mark.parametrize("trusted", ["192.0.2.1", "127.0.0.2"])
def test_the_word_of_another_machine_than_the_trusted_one_is_ignored(trusted: str) -> None:
    server = PageServer(hello, "127.0.0.1", 0, trusted)
    server.start()
    with closing(server):
        assert ask(server, **FORWARDED).startswith("127.0.0.1 http 127.0.0.1:")


def test_the_trusted_one_is_believed() -> None:
    server = PageServer(hello, "127.0.0.1", 0, "127.0.0.1")
    server.start()
    with closing(server):
        assert ask(server, **FORWARDED) == "203.0.113.9 https plants.example"
        # Only what the trusted server has added itself counts, not what it was told.
        told = FORWARDED | {"X_Forwarded_For": "198.51.100.1, 203.0.113.9"}
        assert ask(server, **told) == "203.0.113.9 https plants.example"
        assert ask(server, Forwarded="for=203.0.113.9;proto=https").startswith("127.0.0.1 http ")


def test_an_error_that_nobody_expected_ends_the_thread_and_is_logged(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def broken(self: HttpServer) -> None:
        raise RuntimeError

    monkeypatch.setattr(HttpServer, "serve", broken)
    server = PageServer(hello, "127.0.0.1", 0)
    server.start()
    assert server._thread is not None
    server._thread.join(10)
    server.close()

    assert "page.died" in caplog.text


# -- bounds


def test_bodies_on_their_way_are_bounded_together() -> None:
    """Many at once would fill memory or disk, each of them within its own bound."""
    server = PageServer(hello, "127.0.0.1", 0, limits=Limits(all_bytes=1_000, look_s=0.02))
    server.start()
    head = b"POST / HTTP/1.1\r\nHost: localhost\r\nContent-Length: 5000\r\n\r\n"
    with closing(server), ExitStack() as stack:
        senders = []
        for _ in range(4):
            sender = socket.create_connection(("127.0.0.1", server.bound_port), timeout=10)
            stack.enter_context(closing(sender))
            sender.sendall(head + b"x" * 400)
            senders.append(sender)
        assert ask(server).startswith("127.0.0.1")  # so all have been looked at
        with suppress(ConnectionError):
            senders[0].sendall(b"x")
            assert senders[0].recv(1) == b""
        assert ask(server).startswith("127.0.0.1")


@pytest.mark.parametrize(
    "header", ["X-Forwarded-For", "X-Forwarded-Host", "X-Real-IP", "Forwarded", "Via"]
)
def test_an_open_page_answers_no_web_server_that_nobody_named(header: str) -> None:
    """It would pass on whatever the internet asks, by the name that this machine has for itself."""
    application = Application(an_evening(), Guard(KEY))
    with closing(PageServer(application, "127.0.0.1", 0)) as server:
        server.start()

        assert "Carry in" in ask(server)
        assert "Carry in" in ask(server, sillward_passed_on="yes")  # a browser cannot say so
        refused = ask(server, **{header.replace("-", "_"): "192.0.2.1"})
        assert "a web server passes this on" in refused
        assert "Carry in" not in refused
