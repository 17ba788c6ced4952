"""The server of the page, and of metrics: waitress in a thread of its own, bounded, and replaced if
it dies.

Whatever happens to it, the ticks go on: they run in other threads and wait for nothing here.
"""

import logging
import os
import socket
import threading
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any

from sillward.errors import ConfigError, SillwardError, one_line
from sillward.page.http_server import LIMITS, HttpServer, Limits

END_S = 2.0
"""Longest that an end is waited for [s]; a request that hangs is left behind. Judgement."""

STUCK_S = 600.0
"""After so long a request hangs [s]. Judgement: a large photo may take three minutes to come,
and one more to be made small."""

log = logging.getLogger(__name__)


@dataclass(slots=True)
class PageServer:
    """Serves an application until it is closed. `watch` starts it again if its thread has died.

    port: 0 for one that is free.
    trusted_proxy: the address of the one web server whose word about host and scheme is taken.
    name: what it serves, in the log and the names of settings.
    """

    application: Any
    host: str
    port: int
    trusted_proxy: str | None = None
    limits: Limits = LIMITS
    name: str = "page"
    _server: HttpServer | None = field(default=None, init=False)
    _thread: threading.Thread | None = field(default=None, init=False)
    _told: str = field(default="", init=False)
    """Why it could not be started again, as it was logged last."""

    def start(self) -> None:
        """Listen. Raise ConfigError if that address cannot be had."""
        try:
            listening = self._listen()
        except OSError as error:
            why = error.strerror if error.errno is None else os.strerror(error.errno)
            reason = f"cannot listen at {self.host}:{self.port}: {why}"
            raise ConfigError(
                [one_line(f"SILLWARD_{self.name.upper()}__ADDRESS: {reason}", 200)]
            ) from None
        try:
            self._server = HttpServer(self.application, listening, self.limits, **self._proxy())
        except BaseException:
            listening.close()
            raise
        self._thread = threading.Thread(
            target=_serve, args=(self._server, self.name), name=f"sillward-{self.name}", daemon=True
        )
        self._thread.start()
        log.info("%s.started host=%s port=%d", self.name, self.host, self.bound_port)

    def _listen(self) -> socket.socket:
        """Return a socket that listens. No name but localhost is ever looked up."""
        found = socket.getaddrinfo(
            self.host, self.port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )
        family, *_, address = found[0]
        return socket.create_server((address[0], self.port), family=family)

    def _proxy(self) -> dict[str, Any]:
        if self.trusted_proxy is None:
            return {}
        headers = {"x-forwarded-for", "x-forwarded-host", "x-forwarded-proto"}
        return {
            "trusted_proxy": self.trusted_proxy,
            "trusted_proxy_count": 1,
            "trusted_proxy_headers": headers,
        }

    @property
    def bound_port(self) -> int:
        """The port on which it listens: another than asked for if that was 0."""
        return self.port if self._server is None else int(self._server.effective_port)

    @property
    def address(self) -> str:
        """What a browser on this machine calls it by."""
        host = f"[{self.host}]" if ":" in self.host else self.host
        return f"http://{host}:{self.bound_port}/"

    @property
    def alive(self) -> bool:
        """Whether it serves."""
        return self._thread is not None and self._thread.is_alive()

    @property
    def trouble(self) -> str | None:
        """What is wrong with it, in words; None if it serves."""
        if not self.alive or self._server is None:
            return f"the {self.name} is not served: {self._told or 'it has died'}"
        if self._server.longest_s() > STUCK_S:
            return f"the {self.name} hangs in a request; it may answer nobody until a restart"
        return None

    def watch(self) -> None:
        """Start it if it does not serve, at the next call if that fails now.

        Whatever the reason, the daemon goes on: another program may have the port, a network or a
        VPN may come up later, and nobody goes without alarms for that.
        """
        if self.alive:
            return
        if self._server is not None:
            log.error("%s.dead", self.name)
            self.close()
        try:
            self.start()
        except (SillwardError, OSError, RuntimeError) as error:  # no more files, no more threads
            self._log_not_started(error)
        else:
            self._told = ""

    def _log_not_started(self, error: Exception) -> None:
        if str(error) != self._told:
            log.error("%s.not_started reason=%s", self.name, error)
        self._told = str(error)

    def close(self) -> None:
        """Stop listening; requests that are being answered are hardly waited for."""
        server, self._server = self._server, None
        if server is None:
            return
        if self.alive and self._thread is not None:
            server.end()
            self._thread.join(END_S)
        else:
            server.close_all()
        with suppress(OSError):
            server.task_dispatcher.shutdown(timeout=END_S)


def _serve(server: HttpServer, name: str) -> None:
    try:
        server.serve()
    except BaseException:
        log.exception("%s.died", name)
