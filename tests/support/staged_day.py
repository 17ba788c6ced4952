"""A real desk on an invented day: a collection from its file, forecasts read by real sources."""

import random
import tempfile
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from pathlib import Path

from sillward.config.household import Household
from sillward.config.loader import load_household
from sillward.forecast.source import Source, SourceOptions
from sillward.forecast.sources import met_norway, open_meteo
from sillward.forecast.store import ForecastStore
from sillward.forecast.updater import ForecastUpdater
from sillward.ledger import Ledger, StoredChore
from sillward.service.context import ServiceContext
from sillward.service.desk import Desk
from sillward.text.units import SI, Units
from sillward.wording.push import Message
from tests.support.desks import Post
from tests.support.fakes import FakeClock
from tests.support.invented_weather import Recording, Sky, Wire

PHONE, FULL = "phone", "full"

CHANNELS = f"""
[[channels]]
name = "{PHONE}"
url = "json://localhost"
all_clear = true

[[channels]]
name = "{FULL}"
url = "json://localhost"
rounds = ["dusk", "morning", "week"]
length = "full"
all_clear = true
"""
"""A phone for everything, and something that takes the sheets in full."""

OPINION_K = 2.0


@dataclass
class StagedDay:
    """A desk, and everything around it that a situation may change."""

    household: Household
    day: date
    clock: FakeClock
    wire: Wire
    ledger: Ledger
    desk: Desk
    post: Post = field(default_factory=Post)

    @property
    def pushes(self) -> list[Message]:
        """What the phone got."""
        return self.got(PHONE)

    def got(self, channel: str) -> list[Message]:
        """What a channel got."""
        return [message for name, message in self.post.pushes if name == channel]

    def moment(self, clock: str, days: int = 0) -> datetime:
        """An hour of the first day, or of one so many days later, on the site's clock."""
        at = datetime.combine(self.day + timedelta(days=days), time.fromisoformat(clock))
        return at.replace(tzinfo=self.household.collection.site.zone)

    def play(self, until: str, days: int = 0, *, step: float = 5) -> None:
        """Tick every so many minutes, the last time at this hour."""
        end = self.moment(until, days)
        while self.clock.now < end:
            self.desk.tick()
            self.clock.move(minutes=step)
        self.clock.now = end
        self.desk.tick()

    def sleep(self, until: str, days: int = 0) -> None:
        """Let time pass with nobody at work, then tick."""
        self.clock.now = self.moment(until, days)
        self.desk.tick()

    def chores(self, days: int = 0) -> list[StoredChore]:
        """What the ledger knows of the chores of a day."""
        day = self.day + timedelta(days=days)
        return self.ledger.chores.of_day(self.household.collection.site.name, day)


def staged_day(
    garden: str,
    at: str,
    sky: Sky | Recording,
    *,
    day: date = date(2026, 5, 14),
    units: Units = SI,
    notices: str = "",
    channels: str = CHANNELS,
    other: Sky | None = None,
    ledger: Ledger | None = None,
) -> StagedDay:
    """A desk at this hour of a day, before its first tick.

    garden: the text of a collection, without channels and [notices], whose lines but the units are
        given apart.
    other: what the second source says, if one is asked for its opinion.
    """
    told_in = (
        f'[notices]\ntemperature = "{units.temperature}"\nclock = "{units.clock}"\n'
        f'wind = "{units.wind}"\n{notices}\n'
    )
    household = _loaded("\n".join([garden, told_in, channels]))
    site = household.collection.site
    start = datetime.combine(day, time.fromisoformat(at), tzinfo=site.zone)
    clock, post, ledger = FakeClock(start), Post(), ledger or Ledger(":memory:")
    wire = Wire(site, day, clock, sky, other)
    sources: list[Source] = [open_meteo.build(SourceOptions())]
    if other is not None:
        sources.append(met_norway.build(SourceOptions(contact="nobody@example.invalid")))
    store = ForecastStore(
        sources, ledger, clock, second_opinion_k=None if other is None else OPINION_K
    )
    updater = ForecastUpdater(store, [site], ask=wire, rng=random.Random(3))
    desk = Desk.of(ServiceContext(household, updater, ledger, post, clock))
    return StagedDay(household, day, clock, wire, ledger, desk, post)


def _loaded(text: str) -> Household:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "courtyard.toml"
        path.write_text(text, encoding="utf-8")
        return load_household(path)
