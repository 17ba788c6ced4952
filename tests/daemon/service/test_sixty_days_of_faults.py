"""Sixty days in which source, channel, clock and process fail at random: what holds always."""

import logging
import random
from collections import Counter
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from email.utils import format_datetime
from itertools import pairwise

import pytest

from sillward.errors import SourceError
from sillward.net.http import Answer, Query
from sillward.service.desk import Desk
from sillward_rules.sheet import Round
from sillward_rules.weather.hourly import EXPIRED_AFTER
from tests.support.desks import DAY, SITE, World, a_world
from tests.support.fakes import low_of

STEP = timedelta(minutes=15)
MOST_CALLS = 30

SPELLS = ("down", "passing", "same", "late", "mixed", "busy", "off")
"""Refused; cut off; the same numbers again and again; always a run of a day ago; at random well,
late or down; 429; a Date at the bound of what is doubtful."""


@dataclass
class Faults:
    """Spells of trouble between spells of health, and what was seen of them."""

    rng: random.Random
    world: World
    state: str = "well"
    ends: datetime | None = None
    made_at: datetime | None = None
    """When the newest forecast that was given was worked out."""
    calls: Counter[date] = field(default_factory=Counter)
    troubled: set[date] = field(default_factory=set)

    def move(self) -> None:
        """Go on to the next spell if this one is over."""
        now = self.world.clock.now
        if self.ends is None or now >= self.ends:
            well = self.state == "well"
            self.state = self.rng.choice(SPELLS) if well else "well"
            self.ends = now + timedelta(hours=self.rng.choice((1, 5, 20, 60) if well else (40, 90)))
        if self.state != "well":
            # what is put off by a failure may come some hours after the trouble
            self.troubled |= {now.date(), (now + timedelta(hours=2)).date()}
        down = self.state in ("down", "passing") and self.rng.random() < 0.7
        self.world.post.down = {"phone"} if down else set()

    def ask(self, query: Query, **_: object) -> Answer:
        """Answer as the source does now."""
        now = self.world.clock.now
        self.calls[now.date()] += 1
        state = self.rng.choice(("well", "late", "down")) if self.state == "mixed" else self.state
        if state in ("down", "passing"):
            msg = "Invented weather: broke off"
            raise SourceError(msg, passing=state == "passing")
        if state == "busy":
            return low_of("{}", status=429, retry_after="3600")
        ago_h = 23 if state == "late" else 2
        low = 7.0 if state == "same" else 3 + 10 * self.rng.random()
        if state != "same" or self.made_at is None:
            self.made_at = max(self.made_at or now, now - timedelta(hours=ago_h))
        off_s = self.rng.choice((299, 301)) if state == "off" else 0
        at = format_datetime(now + timedelta(seconds=off_s), usegmt=True)
        return low_of(low if state == "same" else f"{low} ago {ago_h}", date=at)


def alarms_of(world: World, name: str, days: int) -> list[tuple[datetime, bool]]:
    """Return when an alarm or its end was enqueued, in order, and whether it was the end."""
    told = [
        (at, name_ == f"{name} over")
        for day in range(days + 2)
        for name_ in (name, f"{name} over")
        for at in [world.ledger.rounds.enqueued_at(SITE.name, name_, DAY + timedelta(days=day))]
        if at is not None
    ]
    return sorted(told)


@pytest.mark.parametrize(
    ("seed", "days"),
    [
        (0, 12),
        pytest.param(0, 60, marks=pytest.mark.slow),
        pytest.param(1, 60, marks=pytest.mark.slow),
    ],
)
def test_what_holds_through_all_faults(
    seed: int, days: int, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.CRITICAL)
    rng = random.Random(seed)
    world = a_world("12:00")
    faults = Faults(rng, world)
    world.source.ask = faults.ask  # type: ignore[method-assign]

    def start() -> Desk:
        desk = world.desk
        desk.context.updater.pause = lambda _: None
        return desk

    desk = start()
    for _ in range(days * 24 * 4):
        faults.move()
        if rng.random() < 0.01:
            desk = start()  # a restart
        desk.tick()
        now = world.clock.now
        if world.ledger.rounds.enqueued_at(SITE.name, "blind", SITE.local_date(now)) == now:
            held = desk.context.updater.store.best(SITE)
            assert held is None or held.weather.age(now) > EXPIRED_AFTER
        world.clock.now += STEP

    quiet = [count for day, count in faults.calls.items() if day not in faults.troubled]
    assert quiet
    assert max(quiet) <= MOST_CALLS
    assert max(faults.calls.values()) <= 2 * MOST_CALLS
    for number in range(days):
        day = DAY + timedelta(days=number)
        assert world.ledger.rounds.enqueued_at(SITE.name, Round.DUSK.value, day)
        assert number == 0 or world.ledger.rounds.enqueued_at(SITE.name, Round.MORNING.value, day)
    blind, clock = alarms_of(world, "blind", days), alarms_of(world, "clock", days)
    assert blind
    assert clock
    standing = world.ledger.marks.all()
    for name, alarms in (("blind", blind), ("clock", clock)):
        by_day = Counter((SITE.local_date(at), over) for at, over in alarms)
        assert max(by_day.values()) == 1
        # Each trouble has its end; that of the last may be still to come.
        assert alarms[-1][1] == (f"{name}, {SITE.name}" not in standing)
    ends = [over for _, over in clock]
    assert not any(before and other for before, other in pairwise(ends))
