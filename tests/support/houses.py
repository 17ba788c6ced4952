"""A folder of households and the house that serves it: files and ledgers are real, the provider and
the channels are invented."""

import random
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path

from sillward.assembly.household_desks import Equipment, HouseholdDesk
from sillward.assembly.household_run import Submit, build_house, close_house
from sillward.config.channel import Channel
from sillward.config.households import Place, ledger_of
from sillward.config.settings import ForecastSettings, PageSettings, Settings
from sillward.errors import DeliveryError
from sillward.forecast import asking
from sillward.forecast.asking import Begin
from sillward.ledger import Ledger
from sillward.ledger.address import LedgerAddress
from sillward.net.http import Answer, Query
from sillward.service.house import House
from sillward.service.run_control import RunControl
from sillward.wording.push import Links, Message
from tests.support.desks import Weatherman, local
from tests.support.fakes import FakeClock

COLLECTION = """
[site]
name = "{called}"
latitude = {latitude}
longitude = -68.85
elevation = 780
zone = "America/Argentina/Mendoza"

[spots.bench]
sky_view = 0.0
wind = 1.0
night_offset = 0.0
day_offset = 0.0

[spots.room]
indoors = true
night_low = 16

[habits]
caution = 0

[rounds]
dusk = "17:00"
morning = "08:30"

[notices]
{notices}

[[channels]]
name = "phone"
rounds = ["dusk", "morning", "alarm"]
{plants}
"""

PLANT = """
[[plants]]
name = "Pot {number}"
group = "lemon"
holder = "pot"
home = "bench"
shelter = "room"
limits.night_low = 8
"""


def collection(
    called: str = "Courtyard", latitude: float = -32.89, plants: int = 2, notices: str = ""
) -> str:
    pots = "".join(PLANT.format(number=number) for number in range(plants))
    return COLLECTION.format(called=called, latitude=latitude, notices=notices, plants=pots)


@dataclass(frozen=True)
class Sent:
    """A message that went out: when, to which household, and its title."""

    at: datetime
    household: str
    title: str
    body: str
    links: Links | None = None


@dataclass
class Region(Weatherman):
    """A source of the same weather for as many sites as it is asked for at once."""

    max_sites: int = 50

    def ask(self, query: Query, **options: object) -> Answer:
        answer = Weatherman.ask(self, query, **options)
        sites = str(query.params["sites"]).split(",")
        return replace(answer, body=b"|".join([answer.body] * len(sites)))


@dataclass
class Postroom:
    """A sender that is a list; the URL of a channel says whose it is."""

    clock: FakeClock
    sent: list[Sent] = field(default_factory=list)
    down: set[str] = field(default_factory=set)
    """Households whose channel fails."""

    def __call__(self, channel: Channel, message: Message) -> None:
        assert channel.url is not None
        name = channel.url.get_secret_value().rpartition("/")[2]
        if name in self.down:
            msg = f"channel {channel.name}: the service refused it"
            raise DeliveryError(msg)
        self.sent.append(Sent(self.clock(), name, message.title, message.body, message.links))

    def to(self, name: str) -> list[str]:
        """The titles of what a household was sent."""
        return [each.title for each in self.sent if each.household == name]


def no_problems(channels: Sequence[Channel]) -> list[str | None]:
    return [None for _ in channels]


@dataclass
class Street:
    """Some households, and all that serves them."""

    folder: Path
    clock: FakeClock = field(default_factory=lambda: FakeClock(local("16:50")))
    source: Region = field(default_factory=Region)
    max_desks: int = 1500
    address: LedgerAddress | None = None
    """Of the ledgers; by default a folder."""
    page: PageSettings = field(default_factory=PageSettings)
    begin_asking: Begin = asking.at_once
    post: Postroom = field(init=False)
    house: House[Place] = field(init=False)
    equipment: Equipment = field(init=False)

    def __post_init__(self) -> None:
        self.post = Postroom(self.clock)
        self.source.clock = self.clock
        self.households.mkdir(exist_ok=True)

    @property
    def households(self) -> Path:
        return self.folder / "households"

    @property
    def settings(self) -> Settings:
        return Settings(
            collections=self.households,
            ledger=self.address or self.folder / "ledgers",
            forecast=ForecastSettings(ensemble=False),
            page=self.page,
        )

    def add(self, name: str, text: str | None = None) -> Path:
        """Write a household's folder, with a channel of its own."""
        folder = self.households / name
        (folder / "credentials").mkdir(parents=True)
        (folder / "collection.toml").write_text(text or collection(), encoding="utf-8")
        (folder / "credentials" / "channel-phone").write_text(f"json://localhost/{name}")
        return folder

    def open(self, submit: Submit | None = None) -> None:
        """Begin to serve, as after a start.

        submit: sends in the place of the post, beside other work.
        """
        self.house, self.equipment = build_house(
            self.settings,
            no_problems,
            RunControl(),
            submit=submit,
            begin_asking=self.begin_asking,
            sender=self.post,
            sources=[self.source],
            clock=self.clock,
        )
        self.equipment.max_desks = self.max_desks
        updater = self.equipment.forecasts.updater
        updater.ask, updater.rng = self.source.ask, random.Random(3)
        updater.pause = lambda _: None

    def close(self) -> None:
        """Stop serving."""
        close_house(self.house, self.equipment)

    def run(self, minutes: float, step_s: float = 30.0) -> None:
        """Let time pass, with a tick at each step."""
        for _ in range(round(minutes * 60 / step_s)):
            self.house.tick()
            self.clock.move(seconds=step_s)

    def member(self, name: str) -> HouseholdDesk:
        found = self.house.members[name]
        assert isinstance(found, HouseholdDesk)
        return found

    def ledger_path(self, name: str) -> Path:
        path = ledger_of(self.settings, name)
        assert isinstance(path, Path)
        return path

    def ledger(self, name: str) -> Ledger:
        """Open a household's ledger, as a command would."""
        return Ledger(ledger_of(self.settings, name), clock=self.clock)
