"""The *household*, which a valid collection file makes: plants, rounds, channels, units,
sensors, voice.

The rest of the program uses these types; `models` has the tables as they are written in the file.
"""

from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path

from pydantic import SecretStr

from sillward.config.channel import Channel
from sillward.config.models import MqttVersion, PayloadKind
from sillward.config.quiet_hours import QuietHours
from sillward.text.units import SI, Units
from sillward.wording.macros import Wording, packaged
from sillward.wording.voice import Voice
from sillward_rules.plants.collection import Collection
from sillward_rules.readings.hourly_readings import Quantity
from sillward_rules.round import MAX_MESSAGES, MOVED_BY
from sillward_rules.weather import time_expressions


@dataclass(frozen=True, slots=True)
class Rounds:
    """When the grower is told."""

    dusk: time_expressions.Moment
    morning: time_expressions.Moment
    week: time_expressions.WeeklyMoment
    quiet: QuietHours = field(default_factory=QuietHours)


@dataclass(frozen=True, slots=True)
class NoticePolicy:
    """What follows a round. Every default is judgement, and the collection can change it."""

    remind: timedelta | None = timedelta(minutes=30)
    """How long before its deadline an unconfirmed order is repeated; None for never."""

    pass_on: timedelta | None = timedelta(minutes=15)
    """How long before its deadline it goes to the next channel; None for never."""

    moved_by: timedelta = MOVED_BY
    """A change of an hour by no more than this is not told."""

    max_messages: int = MAX_MESSAGES
    """The most messages of a round to a channel, changes and reminders included."""


@dataclass(frozen=True, slots=True)
class Broker:
    """The MQTT broker that sensors send to.

    ca: a file with the certificate of its authority; None for those that the machine trusts.
    password: None if neither the environment nor a credential has one.
    """

    host: str
    port: int
    tls: bool = False
    ca: Path | None = None
    version: MqttVersion = "3.1.1"
    user: str | None = None
    password: SecretStr | None = None

    @property
    def address(self) -> str:
        """Host and port, as people write them."""
        host = f"[{self.host}]" if ":" in self.host else self.host
        return f"{host}:{self.port}"


@dataclass(frozen=True, slots=True)
class TopicSensor:
    """One value that comes on a topic, and how it is written in a message there.

    path, time_path: keys that lead to the value and to its time in JSON.
    record: the name of a SenML record.
    unit: of values without one.
    """

    spot: str
    quantity: Quantity
    topic: str
    payload: PayloadKind = "number"
    path: tuple[str, ...] = ()
    record: str = ""
    time_path: tuple[str, ...] = ()
    unit: str = "°C"

    @property
    def name(self) -> str:
        """What tells it from other sensors of the same spot and quantity."""
        part = ".".join(self.path) or self.record
        return f"{self.topic} {part}" if part else self.topic


@dataclass(frozen=True, slots=True)
class Household:
    """A whole collection file: the plants, and how their grower is told of them.

    people: the names of those who sign in to the page; none for one passphrase for all.
    """

    collection: Collection
    rounds: Rounds
    channels: tuple[Channel, ...]
    policy: NoticePolicy = NoticePolicy()
    units: Units = SI
    wording: Wording = field(default_factory=packaged, repr=False)
    broker: Broker | None = None
    sensors: tuple[TopicSensor, ...] = ()
    people: tuple[str, ...] = ()
    voice: Voice = field(init=False, repr=False, compare=False)
    """Words every text for this household, with its macros compiled once."""

    def __post_init__(self) -> None:
        """Make the voice."""
        object.__setattr__(self, "voice", Voice(self.collection.site, self.units, self.wording))
