"""Keeps a connection to a broker up, in a thread of its own, and knows how it stands.

A connection that is lost is made again, after a wait that doubles until one has lasted. What brings
connections down again and again (another client with the same user, where a broker takes that for
the same client) is so told apart from a broker that was restarted.
"""

import logging
import threading
import time
from collections.abc import Callable, Iterable
from contextlib import closing
from dataclasses import dataclass
from typing import Protocol

from sillward.config.household import Broker, TopicSensor
from sillward.errors import one_line
from sillward.forecast.store import Clock
from sillward.readings.inbox import Contents, Inbox
from sillward.readings.mqtt_connection import BrokerError, Connection, Deliver

FIRST_WAIT_S, LONGEST_WAIT_S = 2.0, 120.0
"""The wait before the second attempt, and the longest. Judgement: a broker restarts in seconds; one
that is off is not to be asked more often than forecasts are."""

LASTED_S = 60.0
"""A connection that held for this long has lasted [s]. Judgement: clients that throw each other out
do so within seconds."""

FLAPPING_FROM = 3
"""After so many connections in a row that did not last, that is said."""

MAX_REASON_CHARACTERS = 300

log = logging.getLogger(__name__)


class AnyConnection(Protocol):
    """What is used of a connection."""

    denied: tuple[str, ...]
    is_subscribed: bool

    def open(self) -> None:
        """Connect. Raise BrokerError."""

    def serve(self) -> None:
        """Wait for what comes. Raise BrokerError if the connection is lost."""

    def close(self) -> None:
        """Take leave."""


Connect = Callable[[Broker, tuple[str, ...], Deliver], AnyConnection]


@dataclass(frozen=True, slots=True)
class LinkState:
    """How the connection stands.

    trouble: what is wrong, and what to do; None if nothing is.
    """

    connected: bool = False
    trouble: str | None = None


class MqttListener:
    """Listens to the topics of some sensors until it is closed."""

    def __init__(
        self,
        broker: Broker,
        sensors: Iterable[TopicSensor],
        clock: Clock,
        *,
        connect: Connect = Connection,
        monotonic: Callable[[], float] = time.monotonic,
        wait: Callable[[float], object] | None = None,
    ) -> None:
        """Make it; nothing happens before `ensure_running`.

        wait: waits for so many seconds between two attempts, or until this is closed.
        """
        self.broker, self.sensors = broker, tuple(sensors)
        self._connect, self._monotonic = connect, monotonic
        self._inbox = Inbox(self.sensors, clock)
        self._stop = threading.Event()
        self._wait = self._stop.wait if wait is None else wait
        self._thread: threading.Thread | None = None
        self._unsteady = True
        """Whether the present connection has yet to last."""
        self._short_in_a_row = 0
        self._wait_s = FIRST_WAIT_S
        self.state = LinkState()

    # -- for the thread of the desk

    def ensure_running(self) -> None:
        """Start the thread, or start it again if a defect has ended it."""
        if self._thread is None or not self._thread.is_alive():
            if self._thread is not None:
                log.error("mqtt.dead")
            thread = threading.Thread(target=self.run, name="sillward-mqtt", daemon=True)
            thread.start()
            self._thread = thread

    def take(self) -> Contents:
        """Return what came since the last time."""
        return self._inbox.take()

    def close(self, patience_s: float = 5.0) -> None:
        """End the thread; wait for that no longer than so many seconds."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(patience_s)

    # -- in its own thread

    def run(self) -> None:
        """Connect, again and again, until it is closed."""
        while not self._stop.is_set():
            try:
                self._listen()
            except Exception as error:
                if not isinstance(error, BrokerError):
                    log.exception("mqtt.failed")
                self._note_lost(error)
                self._wait(self._wait_s)
                self._wait_s = min(2 * self._wait_s, LONGEST_WAIT_S)

    def _listen(self) -> None:
        """Hold one connection until it is lost (BrokerError) or this is closed."""
        began = self._monotonic()
        connection = self._connect(self.broker, self._inbox.topics, self._deliver)
        with closing(connection):
            connection.open()
            while not self._stop.is_set():
                connection.serve()
                if connection.is_subscribed and not self.state.connected:
                    self._note_connected(connection.denied)
                elif self._unsteady and self._monotonic() - began >= LASTED_S:
                    self._unsteady, self._short_in_a_row, self._wait_s = False, 0, FIRST_WAIT_S
                    self._note_connected(connection.denied)

    def _deliver(self, topic: str, message: bytes, kept: bool) -> None:
        self._inbox.put(topic, message, kept=kept)

    def _note_connected(self, denied: tuple[str, ...]) -> None:
        trouble = self._flapping()
        if denied:
            trouble = f"the broker does not let us read {one_line(', '.join(denied), 200)}"
        self.state = LinkState(connected=True, trouble=trouble)
        if not self._unsteady:  # it is no news that it is connected
            return
        log.info("mqtt.connected broker=%s topics=%d", self.broker.address, len(self.sensors))
        if trouble:
            log.warning("mqtt.trouble %s", trouble)

    def _note_lost(self, error: Exception) -> None:
        was_connected, before = self.state.connected, self.state.trouble
        self._short_in_a_row += was_connected and self._unsteady
        self._unsteady = True
        words = str(error) if isinstance(error, BrokerError) else f"failed ({type(error).__name__})"
        flapping = self._flapping() if was_connected else None
        trouble = flapping or one_line(words, MAX_REASON_CHARACTERS)
        self.state = LinkState(connected=False, trouble=trouble)
        if was_connected or trouble != before:
            log.warning("mqtt.not_connected %s", trouble)

    def _flapping(self) -> str | None:
        """Return in words that connections do not last; None if they do."""
        if self._short_in_a_row < FLAPPING_FROM:
            return None
        return (
            f"{self.broker.address} has ended {self._short_in_a_row} connections in a row within "
            "a minute of their start; if another program logs in as the same user, give sillward "
            "one of its own"
        )
