"""A household whose channels, source, clock, disk and process fail at random.

All that was delivered is also noted outside the ledger, to compare with it at the end.
"""

import random
import sqlite3
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from sillward.config.channel import Channel
from sillward.config.household import NoticePolicy
from sillward.config.quiet_hours import QuietHours
from sillward.errors import DeliveryError, SourceError
from sillward.ledger import Ledger, Stage
from sillward.ledger.opening import FileOpener
from sillward.net.http import Answer, Query
from sillward.service.desk import PATIENCE, Desk
from sillward.service.outbox import SEND_PAUSES
from sillward.wording.push import Message
from sillward_rules.chore import URGENT, ChoreKind
from sillward_rules.plants.limits import Limit, Limits
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.state import PlantState
from sillward_rules.sheet import Round
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import SERIES, Weather
from sillward_rules.weather.site import Site
from sillward_rules.weather.time_expressions import parse_hours
from tests.support.desks import SITE, Post, Weatherman, World, a_channel, a_household, a_plant
from tests.support.fakes import FakeClock, low_of
from tests.support.wandering_clock import LONGEST_TICK_MIN, Look, looks

CHANNELS = (a_channel("phone"), a_channel("tablet", "dusk"), a_channel("partner", "alarm"))
HARDY = Plant("Hardy one", "bench", "room", "pot", Limits(night_low=Limit(4.0, "your own limit")))

CERTAIN = SEND_PAUSES[-1]
"""A channel that can be reached for so long is tried in that time: no pause is longer."""

HOURS = 96
"""Of each forecast: from the day before on."""

COLDER_K, MILDER_K = -0.3, 0.4
"""A night turns cold so far from a limit, and mild so far: a leaf on this bench is 0.5 K warmer
than the air of the forecast, and an order stands until it is mild by a margin of 1 K."""


class Killed(BaseException):
    """The power went."""


class Disk:
    """What the ledger's file is on: well, full, or refusing to be written."""

    state = "well"

    def limit(self, db: sqlite3.Connection) -> None:
        """Let an open connection feel it."""
        (pages,) = db.execute("PRAGMA page_count").fetchone()
        db.execute(f"PRAGMA max_page_count = {pages if self.state == 'full' else 1 << 30}")
        db.execute(f"PRAGMA query_only = {int(self.state == 'shut')}")


class ShakyOpener(FileOpener):
    """Opens a ledger on such a disk. It waits for no sync: what a crash of the machine does to a
    file is checked elsewhere."""

    disk: Disk

    def connect(self, name: str, *, uri: bool = False) -> sqlite3.Connection:
        if self.disk.state == "shut" and not uri:
            msg = "disk I/O error"
            raise sqlite3.OperationalError(msg)
        db = super().connect(name, uri=uri)
        if not uri:
            self.disk.limit(db)
        return db

    def configure(self, db: sqlite3.Connection) -> None:
        super().configure(db)
        db.execute("PRAGMA synchronous = OFF")


class ShakyLedger(Ledger):
    """A ledger on such a disk."""

    disk: Disk

    def feel(self) -> None:
        """The disk has changed while the file is open."""
        if not self.in_memory:
            self.disk.limit(self.database.connection)


@dataclass
class Spells:
    """A state that changes at random: mostly well, at times one of the others."""

    rng: random.Random
    others: Sequence[str]
    well_h: float
    ill_h: tuple[float, ...]
    state: str = "well"
    until: datetime | None = None

    def at(self, now: datetime) -> str:
        while self.until is None or now >= self.until:
            well = self.until is None or self.state != "well"
            self.state = "well" if well else self.rng.choice(self.others)
            hours = self.rng.expovariate(1 / self.well_h) if well else self.rng.choice(self.ill_h)
            self.until = (self.until or now) + timedelta(hours=hours)
        return self.state


@dataclass(frozen=True, slots=True)
class Arrival:
    """A message that a channel took, at a look with this number."""

    key: str
    channel: str
    round: str
    day: str
    stage: str
    title: str
    look: int
    counts: bool
    """Not sent while the clock was a day ahead."""


@dataclass
class FaultyPost(Post):
    """Channels that fail as their spells say; the process may be killed in the middle of a send."""

    rng: random.Random = field(default_factory=random.Random)
    ledger: Ledger | None = None
    states: dict[str, str] = field(default_factory=dict)
    look: int = 0
    counts: bool = True
    heard_of: set[tuple[str, str]] = field(default_factory=set)
    """Channels that heard of dusk rounds, and of which day."""
    arrived: list[Arrival] = field(default_factory=list)
    cut: Counter[str] = field(default_factory=Counter)
    """For each key how often nobody could know whether it arrived, and it did."""

    def __call__(self, channel: Channel, message: Message) -> None:
        assert self.ledger is not None
        (row,) = self.ledger.database.rows("SELECT * FROM notice WHERE state = 'sending'")
        assert row["channel"] == channel.name
        key, state, chance = row["key"], self.states[channel.name], self.rng.random()
        if chance < 0.01:
            raise Killed
        if state == "down":
            msg = f"channel {channel.name}: the service refused it"
            raise DeliveryError(msg)
        if state == "well" or self.rng.random() < 0.7:
            one = Arrival(
                key, channel.name, row["round"], row["day"], row["stage"], message.title,
                self.look, self.counts,
            )  # fmt: skip
            self.arrived.append(one)
            if self.counts and one.round.startswith(Round.DUSK.value):
                self.heard_of.add((one.channel, one.day))
            if chance < 0.03:
                self.cut[key] += 1
                raise Killed
            if state == "hanging":
                self.cut[key] += 1
        if state == "hanging":
            msg = f"channel {channel.name}: no answer within 60 s"
            raise DeliveryError(msg, perhaps_sent=True)


@dataclass
class FaultySource(Weatherman):
    """Nights cold and mild at random; the forecast of each wanders until it is there."""

    rng: random.Random = field(default_factory=random.Random)
    spells: Spells | None = None
    seed: int = 0

    def ask(self, query: Query, **_: object) -> Answer:
        assert self.clock is not None
        assert self.spells is not None
        now, state = self.clock(), self.spells.state
        if state in ("down", "passing"):
            msg = f"{self.name}: broke off"
            raise SourceError(msg, passing=state == "passing")
        day = sun.night_at_or_after(SITE, now).day
        low_c = random.Random(f"{self.seed} {day}").uniform(-1, 16) + self.rng.gauss(0, 1.2)
        more = {"gap": " gap", "late": " late"}.get(state, "")
        return low_of(f"{low_c:.4f}{more}")

    def read(self, body: bytes, site: Site, fetched_at: datetime) -> Weather:
        """Three days, to be quick."""
        weather = super().read(body, site, fetched_at)
        series = {name: getattr(weather, name)[:HOURS] for name in ("times", *SERIES)}
        return replace(weather, **series)


@dataclass(slots=True)
class Stretch:
    """How long a channel has been well without a break, while the daemon could do its work."""

    day: date
    since: datetime
    off: timedelta


@dataclass
class RandomFaults:
    """A run of some days with random faults, and everything that was delivered in it."""

    seed: int
    folder: Path
    quiet: str | None = None
    policy: NoticePolicy = field(default_factory=NoticePolicy)
    missed: list[str] = field(default_factory=list)
    """Dusk rounds with orders of which a channel heard nothing although it could be reached."""
    doubtful: set[str] = field(default_factory=set)
    """... that were given up after three tries without an answer: nobody knows."""
    heard: set[tuple[str, date]] = field(default_factory=set)
    """Channels and days of dusk rounds with orders of which they heard."""
    flips: Counter[date] = field(default_factory=Counter)
    """How often on a day a forecast that called for an order became one that does not."""
    forgotten: set[str] = field(default_factory=set)
    """Keys of what was sent while the ledger was in memory, if the process ended then."""
    ends: Counter[str] = field(default_factory=Counter)
    looks: int = 0
    looks_in_memory: int = 0

    def __post_init__(self) -> None:
        self.rng = random.Random(self.seed)
        self.disk = Disk()
        self.clock = FakeClock(datetime(2026, 3, 1, 12, tzinfo=UTC))
        opener_type = type("OnThisDisk", (ShakyOpener,), {"disk": self.disk})
        self.kind: type[ShakyLedger] = type(
            "OnThisDisk", (ShakyLedger,), {"disk": self.disk, "opener_type": opener_type}
        )
        self.spells = {
            **{
                channel.name: Spells(self.rng, ("down", "down", "hanging"), 45, (0.2, 1, 5, 20, 70))
                for channel in CHANNELS
            },
            "source": Spells(self.rng, ("down", "passing", "gap", "late"), 60, (1, 6, 20, 40, 60)),
            "disk": Spells(self.rng, ("shut", "full"), 150, (0.5, 3, 12)),
        }
        self.post = FaultyPost(rng=self.rng)
        self.source = FaultySource(rng=self.rng, spells=self.spells["source"], seed=self.seed)
        self.source.interval = timedelta(hours=6)
        plants = (a_plant("Left pot"), a_plant("Right pot"), HARDY)
        self.household = a_household(*CHANNELS, plants=plants, policy=self.policy)
        if self.quiet is not None:
            told = replace(self.household.rounds, quiet=QuietHours(parse_hours(self.quiet)))
            self.household = replace(self.household, rounds=told)
        self.in_memory_since: int | None = None
        self.stretches: dict[str, Stretch] = {}
        self.cold: dict[tuple[date, float], bool] = {}
        self.desk = self._start()

    def run(self, days: int) -> None:
        """Go through so many days."""
        start = self.clock.now
        end = start + timedelta(days=days)
        for number, look in enumerate(looks(self.rng, start, end, _longest_min)):
            self.looks += 1
            self.clock.now, self.post.look, self.post.counts = look.shown, number, look.sane
            states = {name: spells.at(look.true) for name, spells in self.spells.items()}
            self.post.states = states
            if states["disk"] != self.disk.state:
                self.disk.state = states["disk"]
                self.ledger.feel()
            if look.new and number:
                self._end("restart")
            self._look(number, look)
        self.desk.context.ledger.close()

    def _start(self) -> Desk:
        path = self.folder / "ledger.sqlite3"
        self.ledger = ledger = self.kind.open_or_in_memory(path, clock=self.clock)
        ledger.notices.release_claims(SITE.name, self.clock.now)
        self.post.ledger = ledger
        world = World(self.clock, self.source, self.post, ledger, self.household)
        desk = world.desk
        desk.context.updater.pause = lambda _: None
        return desk

    def _end(self, why: str) -> None:
        """The process ends, and another begins."""
        self.ends[why] += 1
        ledger = self.desk.context.ledger
        self.post.cut.update(self.desk.outbox._sent_unmarked)
        if ledger.in_memory:
            since = self.post.look - 1 if self.in_memory_since is None else self.in_memory_since
            self.forgotten |= {
                arrival.key for arrival in self.post.arrived if arrival.look >= since
            }
        ledger.close()
        self.in_memory_since = None
        self.desk = self._start()

    def _look(self, number: int, look: Look) -> None:
        whole = True
        try:
            self.desk.tick()
        except Killed:
            whole = False
            self._end("killed")
        assert set(self.desk.defects.events) <= {"ledger.failed"}, self.desk.defects.events
        if not self.desk.context.ledger.in_memory:
            self.in_memory_since = None
        else:
            self.looks_in_memory += 1
            if self.in_memory_since is None:
                self.in_memory_since = number - 1  # what the tick before could not keep, too
        if look.sane:
            self._look_at_forecast()
            self._look_for_missed(look, whole=whole and not self.desk.defects.events)
            self._acknowledge()
        else:
            self.stretches.clear()

    def _look_at_forecast(self) -> None:
        """Count how often it crosses the margin of a limit; what is not known is cold."""
        day = sun.night_at_or_after(SITE, self.clock.now).day
        best, low_c = self.desk.context.updater.store.best(SITE), -99.0
        if best is not None and self.desk.context.has_forecast() and b"gap" not in best.saved.body:
            low_c = float(best.saved.body.split()[0])
        for limit_c in (4.0, 8.0):
            was = self.cold.get((day, limit_c), True)
            cold = low_c < limit_c + (MILDER_K if was else COLDER_K)
            self.flips[day] += was and not cold
            self.cold[day, limit_c] = cold

    def _look_for_missed(self, look: Look, *, whole: bool) -> None:
        """A channel that was well for `CERTAIN` must have heard of the orders that hold."""
        now, ledger = look.shown, self.desk.context.ledger
        night = sun.night_at_or_after(SITE, now)
        day, dusk = night.day, self.household.rounds.dusk.on(SITE, night.day)
        told = ledger.rounds.enqueued_at(SITE.name, Round.DUSK.value, day)
        orders = told is None or any(
            chore.open and ChoreKind(chore.kind) in URGENT and chore.round == Round.DUSK.value
            for chore in ledger.chores.of_day(SITE.name, day)
        )
        patience = timedelta(0) if self.desk.context.has_forecast() else PATIENCE
        for channel in self.household.channels:
            name = channel.name
            able = whole and self.post.states[name] == "well" and "dusk" in channel.rounds
            if not (able and orders and dusk <= now < night.end):
                self.stretches.pop(name, None)
                continue
            if (name, str(day)) in self.post.heard_of:
                self.heard.add((name, day))
                continue
            stretch = self.stretches.get(name)
            off = look.shown - look.true
            if stretch is None or look.new or (stretch.day, stretch.off) != (day, off):
                self.stretches[name] = Stretch(day, now, off)
            elif now - stretch.since >= CERTAIN + patience:
                notices = ledger.notices.of_round(SITE.name, Round.DUSK.value, day)
                mine = [notice for notice in notices if notice.channel == name]
                if [notice.state for notice in mine] == ["sent"] and mine[0].last_error is not None:
                    self.doubtful.add(mine[0].key)
                else:
                    self.missed.append(f"{name} {day} at {now}: {mine}")

    def _acknowledge(self) -> None:
        """Now and then a grower says that it is done."""
        ledger = self.desk.context.ledger
        if ledger.in_memory or self.disk.state != "well" or self.rng.random() > 0.02:
            return
        states = ledger.plant_states.of_site(SITE.name)
        for chore in ledger.chores.due_since(SITE.name, self.clock.now):
            if chore.open and ChoreKind(chore.kind) in URGENT:
                inside = {
                    name: PlantState("room", self.clock.now, assumed=False)
                    for name in chore.plants
                    if name in states
                }
                ledger.confirm(SITE.name, self.clock.now, {chore.id: None}, inside)


def _longest_min(true: datetime) -> float:
    """Often around the rounds, else every now and then."""
    hour = true.astimezone(SITE.zone).hour
    return LONGEST_TICK_MIN if hour in (8, 16, 17, 18) else 180.0


def check(times: RandomFaults) -> None:
    """What must hold, whatever happened."""
    assert times.missed == []
    by_key: dict[str, list[Arrival]] = {}
    for arrival in times.post.arrived:
        if arrival.counts and arrival.key not in times.forgotten:
            by_key.setdefault(arrival.key, []).append(arrival)
    for key, copies in by_key.items():
        assert len(copies) <= 1 + times.post.cut[key], copies
        assert all(copy.title.startswith("(repeat) ") for copy in copies[1:]), copies
    days_forgotten = {key.split("/")[1] for key in times.forgotten}
    messages = Counter(
        (arrival.channel, arrival.day, arrival.round)
        for arrival in (copies[0] for copies in by_key.values())
        if arrival.day not in days_forgotten
    )
    assert max(messages.values()) <= times.policy.max_messages
    called_off = Counter(
        (arrival.channel, arrival.day)
        for arrival in (copies[0] for copies in by_key.values())
        if arrival.stage == Stage.CALL_OFF
        and arrival.round.startswith(Round.DUSK.value)
        and arrival.day not in days_forgotten
    )
    for (channel, day), count in called_off.items():
        # One crossing may fall into a look that was cut off by a kill, and is not counted.
        assert count <= times.flips[date.fromisoformat(day)] + 1, (channel, day)
