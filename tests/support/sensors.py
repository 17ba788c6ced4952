"""Sensors of an invented bench, and a connection to a broker that is not there."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from sillward.config.household import Broker, TopicSensor
from sillward.forecast.store import Clock
from sillward.readings.mqtt_connection import BrokerError, Deliver
from sillward.readings.mqtt_listener import MqttListener
from sillward_rules.readings.hourly_readings import Quantity

CAME = datetime(2026, 5, 14, 21, 30, 10, tzinfo=UTC)
"""When a message comes."""

BROKER = Broker("127.0.0.1", 1883)
BENCH = TopicSensor("bench", Quantity.TEMPERATURE, "garden/bench")
WARMTH = TopicSensor(
    "bench", Quantity.TEMPERATURE, "garden/device", "json", ("bme280", "temperature")
)
MOISTURE = TopicSensor(
    "bench", Quantity.HUMIDITY, "garden/device", "json", ("bme280", "humidity"), unit="%"
)

Event = bytes | BaseException | Callable[[], object]
"""What `serve` does: a message on the first topic, a failure, or anything else."""


@dataclass
class FakeConnection:
    """Does what it is told to, once for each call of `serve`; after that it is lost."""

    events: list[Event] = field(default_factory=list)
    denied: tuple[str, ...] = ()
    is_subscribed: bool = False
    unreachable: BrokerError | None = None
    closed: bool = False
    topics: tuple[str, ...] = ()
    deliver: Deliver | None = None

    def open(self) -> None:
        if self.unreachable is not None:
            raise self.unreachable

    def serve(self) -> None:
        self.is_subscribed = True
        if not self.events:
            msg = "the connection was lost"
            raise BrokerError(msg)
        event = self.events.pop(0)
        if isinstance(event, BaseException):
            raise event
        if isinstance(event, bytes):
            assert self.deliver is not None
            self.deliver(self.topics[0], event, False)
        else:
            event()

    def close(self) -> None:
        self.closed = True


@dataclass
class FakeBroker:
    """Gives its connections away one after the other; then none can be made."""

    connections: list[FakeConnection]
    asked: list[tuple[Broker, tuple[str, ...]]] = field(default_factory=list)

    def __call__(self, broker: Broker, topics: tuple[str, ...], deliver: Deliver) -> FakeConnection:
        self.asked.append((broker, topics))
        if not self.connections:
            msg = "nothing listens there"
            raise BrokerError(msg)
        connection = self.connections.pop(0)
        connection.topics, connection.deliver = topics, deliver
        return connection


def later(**by: Any) -> datetime:
    return CAME + timedelta(**by)


class StillListener(MqttListener):
    """Listens to nobody; what a test says comes as if a broker had sent it."""

    def __init__(self, broker: Broker, sensors: Iterable[TopicSensor], clock: Clock) -> None:
        super().__init__(broker, sensors, clock)
        self.closed = False

    def ensure_running(self) -> None:
        assert not self.closed

    def close(self, patience_s: float = 0.0) -> None:
        self.closed = True

    def say(self, topic: str, message: str, *, kept: bool = False) -> None:
        self._inbox.put(topic, message.encode(), kept=kept)


@dataclass
class Listeners:
    """Makes still listeners and remembers them."""

    made: list[StillListener] = field(default_factory=list)

    def __call__(
        self, broker: Broker, sensors: tuple[TopicSensor, ...], clock: Clock
    ) -> StillListener:
        self.made.append(StillListener(broker, sensors, clock))
        return self.made[-1]

    @property
    def open(self) -> StillListener:
        (only,) = [listener for listener in self.made if not listener.closed]
        return only
