"""The server of the page: waitress in a thread of its own, bounded, and replaced if it dies.

Whatever happens to it, the ticks go on: they run in other threads and wait for nothing here.
"""

import logging
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from waitress.server import create_server

from sillward.errors import ConfigError, one_line

THREADS = 4
"""Requests that are answered at once. Judgement: a household has a few phones."""

MAX_CONNECTIONS = 40
"""Connections that are open at once; more wait. Judgement: a browser opens six."""

MAX_HEADER_BYTES = 16_000
"""Of a request's head. Judgement: browsers send one or two thousand."""

MAX_BODY_BYTES = 10_500_000
"""Of a request: a photo of 10 MB, and the form around it."""

IDLE_S = 30
"""A connection on which nothing comes for so long is closed [s]."""

log = logging.getLogger(__name__)


@dataclass(slots=True)
class PageServer:
    """Serves an application until it is closed. `watch` starts it again if its thread has died.

    trusted_proxy: the address of the one web server whose word about host and scheme is taken.
    """

    application: Any
    host: str
    port: int
    trusted_proxy: str | None = None
    _server: Any = field(default=None, init=False)
    _thread: threading.Thread | None = field(default=None, init=False)

    def start(self) -> None:
        """Listen. Raise ConfigError if that address cannot be had."""
        try:
            self._server = create_server(
                self.application,
                host=self.host,
                port=self.port,
                threads=THREADS,
                connection_limit=MAX_CONNECTIONS,
                max_request_header_size=MAX_HEADER_BYTES,
                max_request_body_size=MAX_BODY_BYTES,
                channel_timeout=IDLE_S,
                cleanup_interval=10,
                ident=None,
                expose_tracebacks=False,
                clear_untrusted_proxy_headers=True,
                **self._proxy(),
            )
        except (OSError, ValueError) as error:
            msg = f"SILLWARD_PAGE__ADDRESS: cannot listen at {self.host}:{self.port}: {error}"
            raise ConfigError([one_line(msg, 200)]) from None
        self._thread = threading.Thread(target=self._serve, name="sillward-page", daemon=True)
        self._thread.start()
        log.info("page.started host=%s port=%d", self.host, self.bound_port)

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
        return int(self._server.effective_port)

    @property
    def address(self) -> str:
        """What a browser on this machine calls it by."""
        host = f"[{self.host}]" if ":" in self.host else self.host
        return f"http://{host}:{self.bound_port}/"

    @property
    def alive(self) -> bool:
        """Whether it serves."""
        return self._thread is not None and self._thread.is_alive()

    def watch(self) -> None:
        """Start it again if it has died, at the next call if that fails now."""
        if not self.alive:
            log.error("page.dead")
            self.close()
            try:
                self.start()
            except ConfigError as error:
                log.error("page.not_started reason=%s", error)

    def close(self) -> None:
        """Stop listening; requests that are being answered are not waited for."""
        if self._server is not None:
            server, self._server = self._server, None
            server.close()
            server.task_dispatcher.shutdown(timeout=1)

    def _serve(self) -> None:
        serve: Callable[[], None] = self._server.run
        try:
            serve()
        except BaseException:
            log.exception("page.died")
