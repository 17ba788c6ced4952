"""A server on loopback that says what it is told, byte by byte, with everything it can do wrong."""

import os
import socket
import ssl
import struct
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

SHORT_S = 0.25
"""A deadline for servers that hang."""

LONG_S = 5.0
"""A deadline that is not reached; a call that took as long was not bounded by anything of ours."""

CHUNKED = "Transfer-Encoding: chunked"

Talk = Callable[[socket.socket, threading.Event], None]


@dataclass
class Server:
    address: str
    asked: list[bytes] = field(default_factory=list)
    """The head of each request."""


@contextmanager
def serving(
    talk: Talk,
    tls: ssl.SSLContext | None = None,
    ends: bytes = b"\r\n\r\n",
    port: int = 0,
) -> Iterator[Server]:
    """A server in a thread that reads a request, talks, and hangs up; one caller after another.

    ends: the end of a request.
    port: where to listen; 0 is anywhere.
    """
    listener = socket.create_server(("127.0.0.1", port))
    gone = threading.Event()
    scheme = "http" if tls is None else "https"
    server = Server(f"{scheme}://127.0.0.1:{listener.getsockname()[1]}")

    def serve() -> None:
        while True:
            connection, _ = listener.accept()
            with connection:
                if gone.is_set():
                    return
                connection.settimeout(2 * LONG_S)
                # A caller that hangs up is what these tests are about.
                with suppress(OSError):
                    if tls is None:
                        converse(connection)
                    else:
                        with tls.wrap_socket(connection, server_side=True) as wrapped:
                            converse(wrapped)

    def converse(connection: socket.socket) -> None:
        asked = b""
        while not asked or ends not in asked:
            piece = connection.recv(65_536)
            if not piece:
                return
            asked += piece
        server.asked.append(asked)
        talk(connection, gone)

    thread = threading.Thread(target=serve)
    thread.start()
    try:
        yield server
    finally:
        gone.set()
        socket.create_connection(listener.getsockname()).close()
        thread.join()
        listener.close()


def saying(*pieces: bytes) -> Talk:
    """All of this, then the end of the connection."""

    def talk(connection: socket.socket, gone: threading.Event) -> None:
        for piece in pieces:
            connection.sendall(piece)

    return talk


def hanging(*pieces: bytes) -> Talk:
    """All of this, then nothing."""

    def talk(connection: socket.socket, gone: threading.Event) -> None:
        saying(*pieces)(connection, gone)
        gone.wait(2 * LONG_S)

    return talk


def dripping(start: bytes, drop: bytes) -> Talk:
    """The start, then drop after drop, each in time for a reader that waits for the next."""

    def talk(connection: socket.socket, gone: threading.Event) -> None:
        connection.sendall(start)
        while not gone.wait(0.02):
            connection.sendall(drop)

    return talk


def pouring(start: bytes, piece: bytes) -> Talk:
    """The start, then piece after piece as fast as they are taken."""

    def talk(connection: socket.socket, gone: threading.Event) -> None:
        # Linux may leave the sender waiting when a reader shuts down with its buffers full.
        connection.settimeout(SHORT_S)
        connection.sendall(start)
        while not gone.is_set():
            connection.sendall(piece)

    return talk


def resetting(*pieces: bytes) -> Talk:
    """All of this, then a reset."""

    def talk(connection: socket.socket, gone: threading.Event) -> None:
        saying(*pieces)(connection, gone)
        # Linger for no time: the close becomes a reset.
        connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))

    return talk


def head(*lines: str, status: str = "200 OK") -> bytes:
    return "\r\n".join([f"HTTP/1.1 {status}", *lines, "", ""]).encode("latin-1")


def whole(body: bytes, *lines: str, status: str = "200 OK") -> Talk:
    return saying(head(f"Content-Length: {len(body)}", *lines, status=status) + body)


def open_sockets() -> set[str]:
    """The sockets of this process, where the system lists them."""
    found = set()
    for descriptor in Path("/proc/self/fd").glob("*"):
        with suppress(OSError):
            found.add(os.readlink(descriptor))
    return {target for target in found if target.startswith("socket:")}


@contextmanager
def nothing_left() -> Iterator[None]:
    """No thread and no socket of what is done inside stays behind."""
    threads, sockets = set(threading.enumerate()), open_sockets()
    yield
    assert set(threading.enumerate()) <= threads
    assert open_sockets() <= sockets
