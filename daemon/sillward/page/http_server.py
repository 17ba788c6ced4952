"""Waitress, bounded further: how long a request may take to come, and what it may look like.

Waitress itself bounds the head, the body, the connections and idle time. Version 3.0.1 is needed:
before it a request that was wrong could be followed by another that was worked on all the same
(CVE-2024-49768), and a connection closed at once left a busy loop behind (CVE-2024-49769).
"""

import logging
import os
import re
import socket
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

from waitress import wasyncore
from waitress.adjustments import Adjustments
from waitress.channel import HTTPChannel
from waitress.parser import HTTPRequestParser, ParsingError
from waitress.server import TcpWSGIServer
from waitress.task import ErrorTask, ThreadedTaskDispatcher

from sillward.page.log_flood import FloodFilter


@dataclass(frozen=True, slots=True)
class Limits:
    """What the server takes. Every default is judgement.

    threads: requests that are answered at once: a household has a few phones.
    connections: that are open at once, the listening one included; more wait. A browser opens six.
    head_bytes: of a request's head; browsers send one or two thousand.
    body_bytes: of a photo of 10 MB, and the form around it.
    all_bytes: of all bodies that are on their way together: three photos.
    idle_s: a connection on which nothing comes for so long is closed.
    request_s: a request that has not come whole within that time is given up, and an answer that
        was not taken: ten megabytes from a phone at the edge of its network.
    look_s: how often it is looked whether one of those is over.
    """

    threads: int = 4
    connections: int = 40
    head_bytes: int = 16_000
    body_bytes: int = 10_500_000
    all_bytes: int = 32_000_000
    idle_s: float = 30.0
    request_s: float = 180.0
    look_s: float = 10.0


LIMITS = Limits()
"""The usual ones."""


PASSED_ON = "HTTP_SILLWARD_PASSED_ON"
"""In the environment of a request: it says that a web server passed it on, and none is trusted."""

_OF_WEB_SERVERS = re.compile("FORWARDED|X_FORWARDED_.*|X_REAL_IP|VIA")


class _Parser(HTTPRequestParser):  # type: ignore[misc]
    """Reads a request, and refuses one whose end could be seen in two places.

    A web server in between might see the other one and take the rest for a request of its own
    (request smuggling; RFC 9112, section 6.1).
    """

    def parse_header(self, header_plus: bytes) -> None:
        super().parse_header(header_plus)
        mark = PASSED_ON.removeprefix("HTTP_")
        self.headers.pop(mark, None)
        if self.adj.trusted_proxy is None and any(map(_OF_WEB_SERVERS.fullmatch, self.headers)):
            self.headers[mark] = "yes"  # what they say is taken out before the request is answered
        lengths = "CONTENT_LENGTH" in self.headers, "TRANSFER_ENCODING" in self.headers
        if (self.chunked and lengths[0]) or lengths[1]:
            msg = "two lengths"
            raise ParsingError(msg)


class _ErrorTask(ErrorTask):  # type: ignore[misc]
    """Says what is wrong with a request without repeating any of it."""

    def execute(self) -> None:
        self.request.error.body = ""
        self.response_headers.append(("X-Content-Type-Options", "nosniff"))
        super().execute()


class _Channel(HTTPChannel):  # type: ignore[misc]
    """A connection that knows since when a request, or an answer, is on its way."""

    parser_class = _Parser
    error_task_class = _ErrorTask
    began = 0.0

    def received(self, data: bytes) -> bool:
        """Take in what has come."""
        if self.request is None and not self.requests:
            self.began = time.monotonic()
        # A request that comes in one piece, as all do but photos, is always taken.
        more = self.request is not None and self.request.body_bytes_received > 0
        if more and self.server.bytes_on_their_way() > self.server.limits.all_bytes:
            self.will_close = True
            return False
        return bool(super().received(data))

    def service(self) -> None:
        """Answer the next request; the time to take the answer begins when it is ready."""
        super().service()
        self.began = time.monotonic()

    def is_late(self, now: float, limit_s: float) -> bool:
        """Whether a request, or who should take its answer, has taken too long."""
        waiting = self.request is not None or self.total_outbufs_len > 0
        return waiting and not self.requests and now > self.began + limit_s


class HttpServer(TcpWSGIServer):  # type: ignore[misc]
    """A server that listens when it is made."""

    channel_class = _Channel

    def __init__(
        self, application: Any, listening: socket.socket, limits: Limits, **more: Any
    ) -> None:
        """Serve on a socket. more: further adjustments of waitress."""
        self.limits = limits
        self._waking = threading.Lock()
        self._ended = False
        adjustments = Adjustments(
            host="127.0.0.1",  # not used, but looked up
            port=0,
            threads=limits.threads,
            connection_limit=limits.connections,
            max_request_header_size=limits.head_bytes,
            max_request_body_size=limits.body_bytes,
            ident=None,
            expose_tracebacks=False,
            clear_untrusted_proxy_headers=True,
            asyncore_use_poll=True,  # select cannot watch files beyond number 1023
            **more,
        )
        # Given as above they would become whole seconds.
        adjustments.channel_timeout, adjustments.cleanup_interval = limits.idle_s, limits.look_s
        dispatcher = ThreadedTaskDispatcher()
        super().__init__(
            application,
            {},
            _sock=listening,
            bind_socket=False,
            dispatcher=dispatcher,
            adj=adjustments,
            sockinfo=(listening.family, listening.type, listening.proto, listening.getsockname()),
        )
        os.set_blocking(self.trigger.trigger, False)
        try:
            dispatcher.set_thread_count(limits.threads)
        except BaseException:
            self.close_all()
            raise

    def bytes_on_their_way(self) -> int:
        """Return how much is held of bodies that have not come whole."""
        return sum(
            channel.request.body_bytes_received
            for channel in tuple(self.active_channels.values())
            if channel.request is not None
        )

    def longest_s(self) -> float:
        """Return how long the request has taken, so far, that is worked on for longest."""
        now = time.monotonic()
        channels = tuple(self.active_channels.values())
        return max((now - channel.began for channel in channels if channel.requests), default=0.0)

    def maintenance(self, now: float) -> None:
        """Close connections that are idle, and those whose request or answer takes too long."""
        super().maintenance(now)
        steady = time.monotonic()
        for channel in tuple(self.active_channels.values()):
            if channel.is_late(steady, self.limits.request_s):
                channel.will_close = True

    def serve(self) -> None:
        """Serve until `end` is called."""
        wasyncore.loop(timeout=min(1.0, self.limits.look_s), map=self._map, use_poll=True)

    def end(self) -> None:
        """Let `serve` close all connections and return. It may be called in any thread."""
        self._wake(self.close_all)

    def close_all(self) -> None:
        """Close all connections, and stop listening."""
        with self._waking:
            self._ended = True
            wasyncore.close_all(self._map, ignore_all=True)

    def pull_trigger(self) -> None:
        """Wake `serve`: an answer is ready. Nothing happens if it has ended."""
        self._wake()

    def _wake(self, then: Callable[[], None] | None = None) -> None:
        """Waitress would write to a pipe that may be closed, and its number another file by now,
        such as the ledger."""
        with self._waking:
            if not self._ended:
                with suppress(BlockingIOError):  # full, so it wakes all the same
                    self.trigger.pull_trigger(then)


# Both of waitress' loggers say what nobody needs to know, the first with the address of a request,
# which may be a permission.
logging.getLogger("waitress").setLevel(logging.WARNING)
logging.getLogger("waitress.queue").setLevel(logging.ERROR)
logging.getLogger("waitress").addFilter(FloodFilter())
