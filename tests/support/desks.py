"""A desk with everything around it invented but the ledger, which is real SQLite."""

import random
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

from pydantic import SecretStr

from sillward.config.channel import Channel
from sillward.config.household import Household, NoticePolicy, Rounds
from sillward.config.models import RoundName
from sillward.errors import DeliveryError, SourceError
from sillward.forecast.store import ForecastStore
from sillward.forecast.updater import ForecastUpdater
from sillward.ledger import Ledger, Notice
from sillward.net.http import Answer, Query
from sillward.service.context import ServiceContext
from sillward.service.desk import Desk
from sillward.service.run_control import RunControl
from sillward.wording.push import Message
from sillward_rules.plants.collection import Collection, Habits
from sillward_rules.plants.limits import Limit, Limits
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.rule_reading import standard_rules
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import Spot
from sillward_rules.weather.time_expressions import parse_moment, parse_weekly
from tests.support.fakes import FakeClock, FakeSource, low_of

ZONE = ZoneInfo("America/Argentina/Mendoza")
SITE = Site("Test court", -32.89, -68.85, 780, ZONE)
DAY = date(2026, 5, 14)  # a Thursday; sunrise 08:18, sunset 18:45


def local(text: str, day: date = DAY) -> datetime:
    return datetime.fromisoformat(f"{day} {text}").replace(tzinfo=ZONE).astimezone(UTC)


@dataclass
class Weatherman(FakeSource):
    """A source and its wire: a lowest temperature, or a failure."""

    low_c: float = 3.0
    failing: bool = False
    reason: str = "answered 503"
    clock: FakeClock | None = None
    asked: list[datetime] = field(default_factory=list)

    def ask(self, query: Query, **_: object) -> Answer:
        assert self.clock is not None
        self.asked.append(self.clock())
        if self.failing:
            msg = f"{self.name}: {self.reason}"
            raise SourceError(msg)
        return low_of(self.low_c + 0.0001 * len(self.asked))  # no two are quite alike


@dataclass
class Post:
    """A sender that is a list; channels that are down, or have ended for good, raise."""

    pushes: list[tuple[str, Message]] = field(default_factory=list)
    down: set[str] = field(default_factory=set)
    ended: set[str] = field(default_factory=set)
    tried: list[str] = field(default_factory=list)
    hanging: bool = False
    """What is down gives no answer, and may have taken it all the same."""

    def __call__(self, channel: Channel, message: Message) -> None:
        self.tried.append(channel.name)
        if channel.name in self.ended:
            msg = f"channel {channel.name}: its browser no longer takes messages"
            raise DeliveryError(msg, gone=True)
        if channel.name in self.down:
            msg = f"channel {channel.name}: the service refused it"
            raise DeliveryError(msg, perhaps_sent=self.hanging)
        self.pushes.append((channel.name, message))

    @property
    def titles(self) -> list[str]:
        return [message.title for _, message in self.pushes]


def a_channel(
    name: str = "phone",
    *told: RoundName,
    all_clear: bool = False,
    full_length: bool = False,
) -> Channel:
    rounds = told or ("dusk", "morning", "week", "alarm")
    return Channel(name, SecretStr("json://localhost"), rounds, all_clear, full_length)


BENCH = Spot("bench", sky_view=0.0, wind=1.0, night_offset_k=0.0, day_offset_k=0.0)
ROOM = Spot("room", indoors=True, night_low_c=16.0, day_low_c=20.0, humidity_pct=50.0)


def a_plant(name: str, *, home: str = "bench") -> Plant:
    limits = Limits(night_low=Limit(8.0, "your own limit"))
    return Plant(name, home, "room" if home == "bench" else None, "pot", limits)


SILENT = NoticePolicy(remind=None, pass_on=None)
"""Rounds, and what changes about them, but no reminders."""


AT_THEIR_WORD = Habits(caution=0.0)
"""Of a grower who takes forecasts at their word, so that the numbers of a test decide."""


def a_household(
    *channels: Channel,
    plants: tuple[Plant, ...] = (),
    dusk: str = "17:00",
    name: str = SITE.name,
    policy: NoticePolicy = SILENT,
) -> Household:
    site = Site(name, SITE.latitude, SITE.longitude, SITE.elevation_m, SITE.zone)
    chosen = plants or (a_plant("Left pot"), a_plant("Right pot"), a_plant("Sill", home="room"))
    return Household(
        Collection(site, (BENCH, ROOM), chosen, standard_rules(), AT_THEIR_WORD),
        Rounds(parse_moment(dusk), parse_moment("08:30"), parse_weekly("sun 18:00")),
        channels or (a_channel(),),
        policy,
    )


@dataclass
class World:
    """A desk and everything that it holds."""

    clock: FakeClock
    source: Weatherman
    post: Post
    ledger: Ledger
    household: Household

    @property
    def desk(self) -> Desk:
        """A desk as after a restart: nothing remembered but what the ledger has."""
        self.source.clock = self.clock
        run = RunControl()
        updater = ForecastUpdater(
            ForecastStore([self.source], self.ledger, self.clock),
            [self.household.collection.site],
            ask=self.source.ask,
            rng=random.Random(3),
            step_done=run.step_done,
        )
        return Desk.of(
            ServiceContext(self.household, updater, self.ledger, self.post, self.clock, run)
        )

    def notice(self, channel: str = "phone", round_: str = "dusk", day: date = DAY) -> Notice:
        notices = self.ledger.notices.of_round(SITE.name, round_, day)
        return next(notice for notice in notices if notice.channel == channel)

    def spots(self) -> dict[str, str]:
        return {
            name: state.spot for name, state in self.ledger.plant_states.of_site(SITE.name).items()
        }


Make = Callable[..., World]


def a_world(
    now: str = "17:00", *channels: Channel, low_c: float = 3.0, dusk: str = "17:00"
) -> World:
    """A desk at this hour of the day, with a forecast of this low."""
    return World(
        FakeClock(local(now)),
        Weatherman(low_c=low_c),
        Post(),
        Ledger(":memory:"),
        a_household(*channels, dusk=dusk),
    )
