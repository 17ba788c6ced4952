"""A machine whose clock is wrong at times, in zones that change their clocks at odd hours.

The machine sleeps, its clock jumps, it boots in 1970. Time passes in looks: one for each tick of
the daemon.
"""

import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from sillward_rules.weather.site import Site

FARTHEST = timedelta(hours=3)
"""How far off the clock is at most, but for the spells in which it is a day ahead or in 1970."""

DAY_AHEAD = timedelta(days=1)
LONGEST_TICK_MIN = 20.0
LONGEST_SLEEP_H = 8.0

SITES = tuple(
    Site(zone.split("/")[1], latitude, longitude, 10.0, ZoneInfo(zone))
    for zone, latitude, longitude in (
        ("Europe/Berlin", 52.5, 13.4),
        ("Europe/London", 51.5, -0.1),
        ("Europe/Dublin", 53.3, -6.3),  # by its law winter time is the one that is not usual
        ("Europe/Lisbon", 38.7, -9.1),
        ("America/New_York", 40.7, -74.0),
        ("America/Chicago", 41.9, -87.6),
        ("America/Los_Angeles", 34.1, -118.2),
        ("America/Santiago", -33.5, -70.7),  # at midnight
        ("America/Havana", 23.1, -82.4),  # at midnight
        ("America/Nuuk", 64.2, -51.7),  # at midnight, to the date before
        ("America/St_Johns", 47.6, -52.7),  # half hours
        ("America/Asuncion", -25.3, -57.6),  # no more since 2024
        ("Australia/Sydney", -33.9, 151.2),
        ("Australia/Lord_Howe", -31.6, 159.1),  # by half an hour
        ("Pacific/Auckland", -36.8, 174.8),
        ("Pacific/Chatham", -44.0, -176.6),  # at a quarter to
        ("Asia/Jerusalem", 31.8, 35.2),
        ("Asia/Beirut", 33.9, 35.5),  # at midnight
        ("Africa/Cairo", 30.0, 31.2),  # at midnight
        ("Africa/Casablanca", 33.6, -7.6),  # for Ramadan
        ("Atlantic/Azores", 37.7, -25.7),  # at midnight
        ("Antarctica/Troll", -72.0, 2.5),  # by two hours
    )
)
"""Which zone does what: from memory; what the clocks show is zoneinfo's."""


@dataclass(frozen=True, slots=True)
class Look:
    """A moment at which the daemon looks: what time it is, what the clock shows, and whether the
    process is a new one."""

    true: datetime
    shown: datetime
    new: bool = False

    @property
    def sane(self) -> bool:
        """Whether the clock is right but for some hours."""
        return abs(self.shown - self.true) <= FARTHEST


def looks(
    rng: random.Random,
    start: datetime,
    end: datetime,
    longest_min: Callable[[datetime], float] = lambda _: LONGEST_TICK_MIN,
) -> Iterator[Look]:
    """What happens to a clock on a bad machine.

    longest_min: the longest time between two looks [min], as a function of the time.
    """
    true, off, new = start, timedelta(0), True
    while true < end:
        yield Look(true, true + off, new)
        new = False
        step = timedelta(minutes=rng.uniform(0.5, longest_min(true)))
        chance = rng.random()
        if chance < 0.04:  # somebody sets it, or it sets itself
            off = rng.choice((timedelta(0), rng.uniform(-1, 1) * FARTHEST))
        elif chance < 0.043:  # a day ahead, for an hour
            until = true + timedelta(hours=1)
            while (true := true + step) < until:
                yield Look(true, true + off + DAY_AHEAD)
        elif chance < 0.046:  # a boot without a battery, until the network sets the clock
            booted, until = true, true + timedelta(minutes=rng.uniform(1, 30))
            while (true := true + step) < until:
                yield Look(true, datetime(1970, 1, 1, tzinfo=UTC) + (true - booted), True)
            off, new = timedelta(0), True
        elif chance < 0.05:
            step = timedelta(hours=rng.uniform(1, LONGEST_SLEEP_H))
        else:
            new = chance > 0.99
        true += step


def at_wall(zone: ZoneInfo, day: date, clock: time) -> datetime:
    """When the clocks of a zone first show this, found by asking what they show at which moment.

    A time that they skip: when they would have shown it, had they not been changed.
    """
    wall = datetime.combine(day, clock)
    around = [
        datetime.combine(day, time(12), tzinfo=UTC) + timedelta(hours=hours)
        for hours in range(-48, 49)
    ]
    offsets = [at.astimezone(zone).utcoffset() or timedelta(0) for at in around]
    possible = sorted({wall.replace(tzinfo=UTC) - offset for offset in offsets})
    shown = [at for at in possible if at.astimezone(zone).replace(tzinfo=None) == wall]
    return shown[0] if shown else wall.replace(tzinfo=UTC) - offsets[0]


def changes(zone: ZoneInfo, first: date, last: date) -> list[date]:
    """Local dates at whose noon the clocks show another time than they would by the noon before."""

    def offset(day: date) -> timedelta | None:
        return datetime.combine(day, time(12), tzinfo=UTC).astimezone(zone).utcoffset()

    days = [first + timedelta(days=count) for count in range((last - first).days)]
    return [day for day in days if offset(day) != offset(day - timedelta(days=1))]
