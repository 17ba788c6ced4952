"""Several workers that serve one folder of households, their ledgers on a server."""

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, closing
from datetime import timedelta
from pathlib import Path
from typing import NoReturn

import psycopg
import pytest

from sillward.ledger import NoticeState
from sillward.ledger import postgres as server
from sillward.ledger.address import PostgresAddress
from sillward.ledger.house import open_one
from sillward.ledger.postgres import PostgresDatabase
from sillward.reports import households
from sillward.service.house_troubles import HouseTroubles
from sillward.service.shared_turns import LEASE
from sillward.service.worker_clock import WorkerClock
from tests.support.desks import local
from tests.support.fakes import FakeClock
from tests.support.held_post import HeldPost
from tests.support.houses import Street
from tests.support.postgres_server import PostgresServer

NAMES = [f"court-{number}" for number in range(4)]


class Town:
    """Two workers with a clock and a folder in common; one acts at a time."""

    def __init__(self, folder: Path, address: PostgresAddress, act: Callable[[int], None]) -> None:
        self.address, self._act = address, act
        self.streets = [
            Street(folder, FakeClock(local("16:57")), address=address) for _ in range(2)
        ]
        first, second = self.streets
        second.clock = first.clock
        second.source.clock = second.post.clock = first.clock
        for name in NAMES:
            first.add(name)
        self.alive = {0, 1}
        for number, street in enumerate(self.streets):
            act(number)
            street.open()

    def run(self, minutes: float, order: Sequence[int] = (0, 1)) -> None:
        """Let time pass, with a tick of each worker that is alive at each step."""
        for _ in range(round(minutes * 2)):
            for number in order:
                if number in self.alive:
                    self._act(number)
                    self.streets[number].house.tick()
            self.streets[0].clock.move(seconds=30)

    def die(self, number: int) -> None:
        """Let a worker do nothing any more."""
        self.alive.remove(number)

    def told(self) -> Counter[str]:
        return Counter(each.household for street in self.streets for each in street.post.sent)


@pytest.fixture
def town(
    tmp_path: Path, postgres: PostgresAddress, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Town]:
    acting = [0]
    monkeypatch.setattr(server, "this_worker", lambda: 1 + acting[0])
    with ExitStack() as stack:
        made = Town(tmp_path, postgres, lambda number: acting.__setitem__(0, number))
        monkeypatch.setattr(PostgresDatabase, "server_now", lambda _: made.streets[0].clock())
        for street in made.streets:
            stack.callback(street.close)
        yield made


def test_each_household_is_told_once_by_one_of_them(town: Town) -> None:
    town.run(8)

    assert town.told() == Counter(NAMES)
    assert sum(len(street.source.asked) for street in town.streets) <= len(town.streets)


def test_what_a_dead_worker_had_is_told_by_the_other(town: Town) -> None:
    town.run(1)
    town.die(0)
    town.run(8)

    assert town.told() == Counter(NAMES)


def test_an_answer_from_outside_gives_a_turn_at_once(town: Town) -> None:
    town.run(8)
    with closing(open_one(town.address, NAMES[0])) as ledger:
        ledger.keep_moved(NAMES[0], town.streets[0].clock(), {})
        (row,) = ledger.database.rows("SELECT due_at FROM turn WHERE site = ?", NAMES[0])

    assert row["due_at"] == ""


def test_a_worker_whose_clock_is_wrong_leaves_all_to_the_others(town: Town) -> None:
    right, wrong = town.streets
    clock = wrong.equipment.clock
    assert isinstance(clock, WorkerClock)
    clock.own = lambda: right.clock() - timedelta(hours=13)

    town.run(18)

    assert Counter(each.household for each in right.post.sent) == Counter(NAMES)
    assert wrong.post.sent == []
    assert "13 hours behind" in wrong.house.troubles[0]
    HouseTroubles(wrong.equipment.ledgers.shared(), "hill").keep(wrong.house.troubles, clock())
    shown = households.document(right.equipment.ledgers.shared(), NAMES, right.clock())
    assert shown["troubles"] == wrong.house.troubles


def test_a_worker_that_stands_aside_still_marks_what_its_channels_have_taken(
    tmp_path: Path, postgres: PostgresAddress, monkeypatch: pytest.MonkeyPatch
) -> None:
    post, off = HeldPost(), [timedelta(0)]
    street = Street(tmp_path, FakeClock(local("16:58")), address=postgres)
    monkeypatch.setattr(PostgresDatabase, "server_now", lambda _: street.clock() + off[0])
    street.add("court")
    street.open(post.submit)
    street.house.is_sending = lambda: False  # nothing is waited for
    with closing(street):
        street.run(3)
        assert post.channels == ["phone"]
        off[0] = timedelta(hours=5)
        street.run(1)
        post.end()
        street.run(0.5)

        assert street.house.troubles
        with closing(open_one(postgres, "court")) as ledger:
            (notice,) = ledger.notices.latest("court")
        assert notice.state is NoticeState.SENT


def test_who_knows_the_collection_from_before_looks_after_it_beside_one_who_does_not(
    town: Town, tmp_path: Path
) -> None:
    town.run(0.5, order=[0])  # the other has read none yet
    broken = tmp_path / "households" / NAMES[0] / "collection.toml"
    broken.write_text(broken.read_text().replace("latitude", "latitud"))

    town.run(8, order=[1, 0])

    to_court = [each for street in town.streets for each in street.post.sent]
    titles = [each.title for each in to_court if each.household == NAMES[0]]
    assert "Carry in 2 plants by 18:40" in titles


def test_a_folder_that_one_worker_does_not_see_is_looked_after_by_the_others(town: Town) -> None:
    town.run(0.5)
    seen = town.streets[1].house.find()
    town.streets[1].house.find = lambda: {name: seen[name] for name in NAMES[1:]}

    town.run(8)

    assert town.told() == Counter(NAMES)


def test_a_server_that_is_away_is_the_trouble_of_the_house_until_it_is_back(
    town: Town, postgres_server: PostgresServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    town.run(2)
    with monkeypatch.context() as patch:
        patch.setattr(server, "connect", _refuse)
        postgres_server.cut_connections()
        town.run(2)
        for street in town.streets:
            assert "away" in street.house.troubles[0]

    town.run(LEASE / timedelta(minutes=1) + 5)

    assert [street.house.troubles for street in town.streets] == [[], []]
    assert town.told() == Counter(NAMES)


def _refuse(address: PostgresAddress) -> NoReturn:
    msg = "the server is away"
    raise psycopg.OperationalError(msg)
