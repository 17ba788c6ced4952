"""Turns lose nothing: the same days, once looked at every half minute and once turn by turn."""

import random
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from sillward.service import answers
from tests.support.desks import DAY, local
from tests.support.fakes import FakeClock
from tests.support.houses import Sent, Street, collection

TICK = timedelta(seconds=30)

Event = Callable[[Street], None]

POLICY = 'remind = "30 min"\npass_on = "15 min"\n'

SECOND_CHANNEL = """
[[channels]]
name = "neighbour"
url = "json://localhost/{name}"
rounds = ["alarm"]
"""


def household(called: str, plants: int = 2) -> str:
    text = collection(called, plants=plants, notices=POLICY)
    return text + SECOND_CHANNEL.format(name=called)


@dataclass(frozen=True)
class Answers:
    """Somebody answers for what is open, as from a phone: in another process."""

    name: str
    way: str

    def __call__(self, street: Street) -> None:
        ledger, now = street.ledger(self.name), street.clock()
        try:
            chores = answers.answerable(ledger, self.name, now, timedelta(hours=6))
            chosen = [(chore, chore.chore.plants[:1]) for chore in chores if chore.open][:1]
            if self.way == "done":
                answers.confirm(ledger, self.name, chosen, now)
            elif self.way == "declined":
                answers.decline(ledger, self.name, chosen, now)
            else:
                answers.put_off(ledger, self.name, [it for it, _ in chosen], now + HOUR / 2, now)
        finally:
            ledger.close()


HOUR = timedelta(hours=1)


def weather(low_c: float) -> Event:
    return lambda street: setattr(street.source, "low_c", low_c)


def failing(*, is_failing: bool) -> Event:
    return lambda street: setattr(street.source, "failing", is_failing)


def down(name: str, *, is_down: bool) -> Event:
    def change(street: Street) -> None:
        street.post.down = street.post.down | {name} if is_down else street.post.down - {name}

    return change


def edited(name: str, plants: int) -> Event:
    def write(street: Street) -> None:
        path = street.households / name / "collection.toml"
        path.write_text(household(name, plants), encoding="utf-8")

    return write


def events_of(seed: int, since: datetime, hours: float) -> list[tuple[datetime, Event]]:
    """What happens at random moments."""
    rng = random.Random(seed)
    kinds: list[Callable[[], Event]] = [
        lambda: Answers(rng.choice("ab"), rng.choice(["done", "declined", "later"])),
        lambda: weather(rng.uniform(1, 12)),
        lambda: failing(is_failing=rng.random() < 0.5),
        lambda: down(rng.choice("ab"), is_down=rng.random() < 0.4),
        lambda: edited(rng.choice("ab"), rng.randint(1, 4)),
    ]
    count = round(hours * 2)
    moments = sorted(since + timedelta(hours=hours * rng.random()) for _ in range(count))
    return [(at, rng.choice(kinds)()) for at in moments]


def play(
    folder: Path, since: datetime, hours: float, events: list[tuple[datetime, Event]], *, all_: bool
) -> list[Sent]:
    """Let the hours pass; all_: everybody has a turn at each tick."""
    folder.mkdir()
    street = Street(folder, FakeClock(since), max_desks=1500 if all_ else 1)
    for name in ("a", "b"):
        street.add(name, household(name))
    street.open()
    left = list(events)
    while street.clock() < since + timedelta(hours=hours):
        while left and left[0][0] <= street.clock():
            left.pop(0)[1](street)
        if all_:
            street.house.wake_all()
        street.house.tick()
        street.clock.move(seconds=TICK.total_seconds())
    street.close()
    return street.post.sent


def compare(
    folder: Path, since: datetime, hours: float, events: list[tuple[datetime, Event]]
) -> int:
    """Compare what is sent, and when; return how many messages that were."""
    every = play(folder / "every", since, hours, events, all_=True)
    turns = play(folder / "turns", since, hours, events, all_=False)

    def listed(sent: list[Sent], name: str) -> list[Sent]:
        return [each for each in sent if each.household == name]

    for name in ("a", "b"):
        first, second = listed(every, name), listed(turns, name)
        assert [each.title for each in second] == [each.title for each in first]
        late = [other.at - each.at for each, other in zip(first, second, strict=True)]
        assert all(timedelta(0) <= each <= TICK for each in late), late
    return len(every)


def test_an_evening_of_events_is_told_the_same_by_turns(tmp_path: Path) -> None:
    since, hours = local("16:42"), 2.25
    fails: list[tuple[datetime, Event]] = [
        (local("16:58"), down("a", is_down=True)),
        (local("17:03"), down("a", is_down=False)),
        (local("17:06"), Answers("a", "done")),
    ]
    events = sorted([*fails, *events_of(1, local("17:10"), 1.5)], key=lambda event: event[0])
    assert compare(tmp_path, since, hours, events) >= 4


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(2, 12))
def test_days_of_events_are_told_the_same_by_turns(tmp_path: Path, seed: int) -> None:
    since, hours = local("15:02", DAY), 40.0
    assert compare(tmp_path, since, hours, events_of(seed, since, hours)) >= 8
