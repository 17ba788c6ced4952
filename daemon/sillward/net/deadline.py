"""The layer below `transport`: connections that are cut at a deadline, whatever they wait for.

`requests` bounds each read, not the whole call: a server that sends a byte now and then could hold
it for hours, in a handshake or in its headers, where no code looks at the clock. So a thread that
all deadlines share has every socket, and shuts it down.
"""

import logging
import socket
import threading
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from functools import partial
from types import TracebackType
from typing import Any, Self

import requests
from requests.adapters import HTTPAdapter
from urllib3.connection import HTTPConnection, HTTPSConnection
from urllib3.connectionpool import ConnectionPool, HTTPSConnectionPool
from urllib3.exceptions import ConnectTimeoutError, NameResolutionError, NewConnectionError
from urllib3.util.connection import create_connection

from sillward.errors import NoThreadError

MayDial = Callable[[str], bool]
"""Whether a connection to an IP address may be made."""

CONNECT_S = 5.0
"""The time to connect to one address of a host, if the deadline leaves as much [s]."""


# These loggers write whole addresses, with our keys in them.
for _name in ("connection", "connectionpool", "poolmanager", "response", "util.retry"):
    logging.getLogger(f"urllib3.{_name}").disabled = True


class Deadline:
    """A context in which every connection is shut down once its time is over.

    No thread and no socket outlives it. To enter it may raise NoThreadError.

    Looking a name up cannot be cut short: that takes as long as the system's resolver lets it, by
    default some 10 s for each name server that is silent.
    """

    def __init__(self, seconds: float, monotonic: Callable[[], float]) -> None:
        self._monotonic = monotonic
        self._seconds = max(seconds, 0.0)
        self._ends = monotonic() + seconds
        self._cut = False
        self._watched: list[socket.socket] = []
        self._lock = threading.Lock()

    def __enter__(self) -> Self:
        _cutter.add(self, self._seconds)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        _cutter.remove(self)
        with self._lock:
            for sock in self._watched:
                sock.close()
            self._watched.clear()

    @property
    def passed(self) -> bool:
        """Whether the time is over and every connection has been shut down."""
        return self._cut or self.left_s() < 0

    def left_s(self) -> float:
        """Return the time that is left [s]; negative once there is none."""
        return self._ends - self._monotonic()

    def watch(self, sock: socket.socket) -> None:
        """Shut this connection down at the deadline, at once if it has passed."""
        # TLS takes the descriptor away from the socket; a copy stays ours.
        copy = sock.dup()
        with self._lock:
            self._watched.append(copy)
            if self._cut:
                _shut(copy)

    def cut(self) -> None:
        """Shut every connection down: the time is over."""
        with self._lock:
            self._cut = True
            for sock in self._watched:
                _shut(sock)


class _Cutter:
    """Cuts all deadlines of this process when their time is over: one thread however many there
    are, and none while there are none. A sender of many messages has a deadline for each."""

    def __init__(self) -> None:
        self._changed = threading.Condition()
        self._ends: dict[Deadline, float] = {}
        """When each is to be cut, by the monotonic clock; those that were are here no more."""
        self._thread: threading.Thread | None = None

    def add(self, deadline: Deadline, seconds: float) -> None:
        """Watch a deadline. Raise NoThreadError if no thread can be started."""
        with self._changed:
            self._ends[deadline] = time.monotonic() + seconds
            if self._thread is not None:
                self._changed.notify()
                return
            self._thread = threading.Thread(target=self._run, name="deadlines", daemon=True)
            try:
                self._thread.start()
            except RuntimeError:
                self._thread = None
                del self._ends[deadline]
                raise NoThreadError from None

    def remove(self, deadline: Deadline) -> None:
        """Watch a deadline no more. With the last one, the thread has ended when this returns."""
        with self._changed:
            self._ends.pop(deadline, None)
            if self._ends or self._thread is None:
                return
            ending, self._thread = self._thread, None
            self._changed.notify_all()
        ending.join()

    def _run(self) -> None:
        own = threading.current_thread()
        while True:
            with self._changed:
                if self._thread is not own:
                    return
                now = time.monotonic()
                due = [each for each, at in self._ends.items() if at <= now]
                for each in due:
                    del self._ends[each]
                if not due:
                    first = min(self._ends.values(), default=None)
                    self._changed.wait(None if first is None else first - now)
            for each in due:
                each.cut()


_cutter = _Cutter()


class DeadlineAdapter(HTTPAdapter):
    """An adapter for `requests` whose connections a deadline watches. It tries once.

    may_dial: asked for each address of a host, unless a proxy is between; by default all may be.
    """

    def __init__(self, deadline: Deadline, may_dial: MayDial | None = None) -> None:
        super().__init__(max_retries=0)
        self._deadline, self._may_dial = deadline, may_dial

    def get_connection_with_tls_context(
        self,
        request: requests.PreparedRequest,
        verify: bool | str | None,
        proxies: Mapping[str, str] | None = None,
        cert: tuple[str, str] | str | None = None,
    ) -> ConnectionPool:
        """Return the pool for a request, direct or through a proxy, that makes our connections."""
        pool = super().get_connection_with_tls_context(request, verify, proxies, cert)
        ours = _SecureConnection if isinstance(pool, HTTPSConnectionPool) else _PlainConnection
        # A pool calls what it has here, be it a class or not.
        pool.ConnectionCls = partial(  # type: ignore[attr-defined]
            ours, deadline=self._deadline, may_dial=self._may_dial
        )
        return pool

    def proxy_manager_for(self, proxy: str, **proxy_kwargs: Any) -> Any:
        """Return the manager for an HTTP proxy. Raise InvalidProxyURL for another kind."""
        if proxy.lower().startswith("socks"):
            # It would need connections of its own kind: ours would go past it.
            raise requests.exceptions.InvalidProxyURL
        return super().proxy_manager_for(proxy, **proxy_kwargs)


class _PlainConnection(HTTPConnection):
    def __init__(
        self, *args: Any, deadline: Deadline, may_dial: MayDial | None, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self._deadline, self._may_dial = deadline, may_dial

    def _new_conn(self) -> socket.socket:
        return _dial(self, self._dns_host, self._deadline, self._may_dial)


class _SecureConnection(HTTPSConnection):
    def __init__(
        self, *args: Any, deadline: Deadline, may_dial: MayDial | None, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self._deadline, self._may_dial = deadline, may_dial

    def _new_conn(self) -> socket.socket:
        return _dial(self, self._dns_host, self._deadline, self._may_dial)

    def _tunnel(self) -> None:
        super()._tunnel()
        # A proxy that was cut off looks like one that is done. To wrap a dead socket in TLS can
        # fail in a way that leaves it open.
        if self._deadline.passed:
            raise TimeoutError


def _dial(
    connection: HTTPConnection, host: str, deadline: Deadline, may_dial: MayDial | None
) -> socket.socket:
    """Connect to the first address that answers; all of them share what time is left.

    An address that may not be dialled is passed over: it is asked for the very address that is
    connected to, so that no name can change its meaning in between.
    """
    try:
        found = socket.getaddrinfo(host.strip("[]"), connection.port, type=socket.SOCK_STREAM)
    except socket.gaierror as error:
        raise NameResolutionError(connection.host, connection, error) from error
    failed: OSError = TimeoutError()
    for address in dict.fromkeys(str(sockaddr[0]) for *_, sockaddr in found):
        if may_dial is not None and connection.proxy is None and not may_dial(address):
            failed = ConnectionRefusedError()
            continue
        left_s = deadline.left_s()
        if left_s <= 0:
            failed = TimeoutError()
            break
        try:
            sock = create_connection(
                (address, connection.port),
                min(CONNECT_S, left_s),
                source_address=connection.source_address,
                socket_options=connection.socket_options,
            )
        except OSError as error:
            failed = error
        else:
            deadline.watch(sock)
            return sock
    if isinstance(failed, TimeoutError):
        raise ConnectTimeoutError(connection, "timed out") from failed
    raise NewConnectionError(connection, "refused") from failed


def _shut(sock: socket.socket) -> None:
    # The other side may have closed it already.
    with suppress(OSError):
        sock.shutdown(socket.SHUT_RDWR)
