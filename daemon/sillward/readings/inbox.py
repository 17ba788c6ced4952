"""Where the thread of a connection leaves what came, until a tick takes it."""

import logging
import threading
from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from sillward.config.household import TopicSensor
from sillward.forecast.store import Clock
from sillward.readings import payload
from sillward.readings.live_intake import Origin, Reading, Refusal
from sillward.readings.payload import Why

MAX_WAITING = 1000
"""Readings and refusals of a sensor that wait for the tick. Judgement: a quarter of an hour at one
a second; a tick comes twice a minute."""

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Contents:
    """What came since it was looked at last.

    kept: sensors of which the broker had only a value that it had kept.
    """

    came: tuple[Reading | Refusal, ...]
    kept: frozenset[Origin]


class Inbox:
    """Reads messages and keeps what they say; used by two threads at once.

    At most one reading, or refusal, of a sensor is taken in a second. That also drops what a broker
    delivers twice.
    """

    def __init__(self, sensors: Iterable[TopicSensor], clock: Clock) -> None:
        self._sensors: dict[str, list[TopicSensor]] = defaultdict(list)
        for sensor in sensors:
            self._sensors[sensor.topic].append(sensor)
        self._clock = clock
        self._lock = threading.Lock()
        self._came: list[Reading | Refusal] = []
        self._waiting: Counter[Origin] = Counter()
        self._kept: set[Origin] = set()
        self._last_second: dict[tuple[Origin, bool], int] = {}
        self._defects = 0

    @property
    def topics(self) -> tuple[str, ...]:
        """The topics to subscribe to, each once."""
        return tuple(self._sensors)

    def put(self, topic: str, message: bytes, *, kept: bool) -> None:
        """Take a message. It never raises: an error would end the thread that brings them.

        kept: whether the broker had kept it.
        """
        try:
            for sensor in self._sensors.get(topic, ()):
                self._put(payload.read(message, sensor, self._clock(), kept=kept))
        except Exception:
            self._defects += 1
            if self._defects == 1:  # the next ones will be alike, and may be many
                log.exception("reading.failed topic=%s", topic)

    def _put(self, found: list[Reading] | Refusal) -> None:
        with self._lock:
            for one in [found] if isinstance(found, Refusal) else found:
                if isinstance(one, Refusal) and one.reason == Why.KEPT:
                    self._kept.add(one.origin)
                elif self._is_new(one):
                    self._waiting[one.origin] += 1
                    if self._waiting[one.origin] <= MAX_WAITING:
                        self._came.append(one)

    def _is_new(self, one: Reading | Refusal) -> bool:
        """Whether it is of another second than the one of its kind before."""
        key, second = (one.origin, isinstance(one, Refusal)), int(one.at.timestamp())
        if self._last_second.get(key) == second:
            return False
        self._last_second[key] = second
        return True

    def take(self) -> Contents:
        """Return what came, and forget it."""
        with self._lock:
            contents = Contents(tuple(self._came), frozenset(self._kept))
            waiting, self._came, self._waiting = self._waiting, [], Counter()
            self._kept = set()
        for origin, count in waiting.items():
            if count > MAX_WAITING:
                lost = count - MAX_WAITING
                log.warning("reading.lost sensor=%s count=%d", origin.sensor, lost)
        return contents
