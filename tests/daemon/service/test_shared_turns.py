"""Turns that workers share: each household is one worker's, until it gives it back or dies."""

import random
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path

import pytest

from sillward.ledger import postgres as server
from sillward.ledger.address import PostgresAddress
from sillward.ledger.postgres import PostgresDatabase
from sillward.ledger.server_ledgers import ServerLedgers
from sillward.service.shared_turns import LEASE, SharedTurns
from sillward.service.worker_clock import WorkerClock
from tests.support.worker_trial import Trial

NET = timedelta(minutes=5)


class Clock:
    def __init__(self) -> None:
        self.now = datetime(2026, 5, 14, 20, 0, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.now


class Workers:
    """Two workers, of which one acts at a time."""

    def __init__(self, address: PostgresAddress, monkeypatch: pytest.MonkeyPatch) -> None:
        self.clock = Clock()
        self.ledgers = [ServerLedgers(address, self.clock) for _ in range(2)]
        self.off = [timedelta(0), timedelta(0)]
        """By how much the clock of each worker is ahead."""
        self.turns = [
            SharedTurns(
                each.turns,
                WorkerClock(each.shared(), partial(self._own, number), f"machine-{number}"),
                batch=2,
            )
            for number, each in enumerate(self.ledgers)
        ]
        self._acting = 0
        monkeypatch.setattr(server, "this_worker", lambda: 1 + self._acting)
        monkeypatch.setattr(PostgresDatabase, "server_now", lambda _: self.clock())

    def _own(self, number: int) -> datetime:
        return self.clock() + self.off[number]

    def __call__(self, number: int) -> SharedTurns:
        self._acting = number
        return self.turns[number]

    def close(self) -> None:
        for each in self.ledgers:
            each.close()


@pytest.fixture
def workers(postgres: PostgresAddress, monkeypatch: pytest.MonkeyPatch) -> Iterator[Workers]:
    with closing(Workers(postgres, monkeypatch)) as both:
        both(0).keep(["court", "hill", "mill"])
        yield both


def take_all(turns: SharedTurns) -> list[str]:
    taken = []
    while (name := turns.next_due()) is not None:
        taken.append(name)
    return taken


def test_each_household_is_one_workers(workers: Workers) -> None:
    first = workers(0).next_due()

    others = take_all(workers(1))

    assert len(others) == 1  # the first worker has taken two at once
    assert {first, workers(0).next_due(), *others} == {"court", "hill", "mill"}
    assert workers(0).next_due() is None


def test_a_household_is_due_again_when_its_worker_says(workers: Workers) -> None:
    for name in take_all(workers(0)):
        workers(0).schedule(name, workers.clock() + NET)

    assert take_all(workers(1)) == []
    workers.clock.now += NET
    assert sorted(take_all(workers(1))) == ["court", "hill", "mill"]


def test_what_a_dead_worker_had_is_anothers_when_its_lease_is_over(workers: Workers) -> None:
    taken = take_all(workers(0))
    workers.clock.now += LEASE - timedelta(seconds=1)
    assert take_all(workers(1)) == []

    workers.clock.now += timedelta(seconds=1)

    assert sorted(take_all(workers(1))) == sorted(taken)
    for name in taken:  # it was not dead: what it says counts no more
        workers(0).schedule(name, workers.clock() + NET)
    workers.clock.now += LEASE
    assert sorted(take_all(workers(0))) == sorted(taken)


def test_a_worker_that_takes_long_asks_whether_the_rest_is_still_its_own(workers: Workers) -> None:
    first = workers(0).next_due()
    workers.clock.now += LEASE  # for the first of the two that it has taken

    others = take_all(workers(1))

    assert sorted(others) == ["court", "hill", "mill"]
    assert workers(0).next_due() is None
    assert first in others


def test_a_lease_is_prolonged_while_there_is_work(workers: Workers) -> None:
    workers(0).next_due()
    workers.clock.now += LEASE * 0.6
    assert workers(0).next_due() is not None  # the second of the two, now for the whole time again
    workers.clock.now += LEASE * 0.6

    assert len(take_all(workers(1))) == 2  # the first and the one that nobody had


def test_a_call_during_a_turn_is_not_lost(workers: Workers) -> None:
    (name, *_) = take_all(workers(0))
    workers(1).wake(name)
    workers(0).schedule(name, workers.clock() + NET)

    assert take_all(workers(1)) == [name]


def test_all_are_called_when_there_is_a_new_forecast(workers: Workers) -> None:
    for name in take_all(workers(0)):
        workers(0).schedule(name, workers.clock() + NET)

    workers(0).wake_all()

    assert sorted(take_all(workers(1))) == ["court", "hill", "mill"]


def test_what_a_clock_that_was_ahead_put_off_comes_back(workers: Workers) -> None:
    right = workers.clock.now
    workers.clock.now += timedelta(days=300)
    (name, *rest) = take_all(workers(0))
    workers(0).schedule(name, workers.clock() + NET)
    workers.clock.now = right

    workers(1).table.set_right(right)

    assert sorted(take_all(workers(1))) == sorted([name, *rest])


def test_who_stops_gives_back_what_is_not_begun(workers: Workers) -> None:
    begun = workers(0).next_due()
    workers(0).give_back()

    assert set(take_all(workers(1))) == {"court", "hill", "mill"} - {begun}


def test_a_household_whose_message_is_under_way_stays_with_its_worker(workers: Workers) -> None:
    first, *rest = take_all(workers(0))
    workers(0).schedule(first, workers.clock() + NET, keep=True)
    for name in rest:
        workers(0).schedule(name, workers.clock() + NET)
    for _ in range(5):
        workers.clock.now += LEASE / 2
        workers(0).look_around()
        assert first not in take_all(workers(1))

    assert workers(0).next_due() == first
    workers(0).schedule(first, workers.clock() + NET, keep=True)
    workers(0).wake(first)  # the outcome is there
    assert workers(0).next_due() == first
    workers(0).schedule(first, workers.clock())
    assert workers(1).next_due() == first


def test_nobody_loses_a_turn_because_one_worker_does_not_see_a_folder(workers: Workers) -> None:
    kept, *rest = take_all(workers(1))
    workers(1).schedule(kept, workers.clock() + NET, keep=True)
    for name in (kept, *rest):
        workers(1).remove(name)  # as far as the second one knows they are gone

    workers(1).keep([])

    assert workers(0).next_due() == kept  # the others are in a turn
    workers.clock.now += LEASE
    assert sorted(take_all(workers(0))) == sorted([kept, *rest])


def test_a_turn_that_somebody_took_away_is_there_again_at_the_next_look(workers: Workers) -> None:
    workers.ledgers[0].shared().database.execute("DELETE FROM turn")

    workers(0).keep(["court", "hill"])

    assert sorted(take_all(workers(1))) == ["court", "hill"]


def test_whose_folder_nobody_sees_for_days_has_no_turn_any_more(workers: Workers) -> None:
    for _ in range(5):
        workers(0).keep(["court"])
        workers.clock.now += timedelta(days=1)

    assert take_all(workers(1)) == ["court"]


@pytest.mark.parametrize("hours", [-13.0, -1.0, 1.0, 9000.0])
def test_a_worker_with_a_wrong_clock_has_no_turns_until_it_is_right(
    workers: Workers, hours: float
) -> None:
    begun = workers(1).next_due()  # and one more is taken
    assert begun is not None
    workers(1).schedule(begun, workers.clock() + NET, keep=True)
    workers.off[1] = timedelta(hours=hours)

    assert not workers(1).look_around()

    trouble = workers(1).trouble
    assert trouble is not None
    assert trouble.startswith("the clock of machine-1 is ")
    assert workers(1).given_up() == [begun]
    assert workers(0).look_around()
    assert len(take_all(workers(0))) == 3
    workers.off[1] = timedelta(0)
    assert workers(1).look_around()
    assert workers(1).trouble is None


def test_what_one_worker_cannot_look_after_is_as_due_as_before_for_others(
    workers: Workers,
) -> None:
    (name, *_) = take_all(workers(1))
    workers(1).pass_on(name, workers.clock() + NET)

    assert workers(1).next_due() is None
    assert take_all(workers(0)) == [name]
    workers(0).pass_on(name, workers.clock() + NET)
    workers(1).wake(name)  # its file was edited
    assert take_all(workers(0)) == []
    assert take_all(workers(1)) == [name]


@pytest.mark.parametrize(("seconds", "is_said"), [(-20, False), (20, False), (1800, True)])
def test_workers_go_by_the_clock_of_the_server(
    workers: Workers, seconds: float, is_said: bool
) -> None:
    workers.off[1] = timedelta(seconds=seconds)
    assert workers(1).look_around()
    assert (workers(1).trouble is not None) == is_said

    for name in take_all(workers(1)):
        workers(1).schedule(name, workers(1).clock() + NET)

    workers.clock.now += NET - timedelta(seconds=1)
    assert take_all(workers(0)) == []
    workers.clock.now += timedelta(seconds=1)
    assert len(take_all(workers(1))) == 3


def test_what_a_dead_worker_kept_is_anothers(workers: Workers) -> None:
    (first, *_) = take_all(workers(0))
    workers(0).schedule(first, workers.clock() + LEASE, keep=True)
    workers.clock.now += LEASE

    assert first in take_all(workers(1))
    workers(0).look_around()
    assert workers(0).next_due() is None


def test_workers_that_are_killed_tell_each_round_once(
    postgres: PostgresAddress, tmp_path: Path
) -> None:
    trial = Trial(postgres, tmp_path, random.Random(19), workers=2, killed_after_s=1.5)

    outcome = trial.run(households=100, kills=1, seconds=30)

    assert (outcome.decided, outcome.told) == (100, 100)
    assert outcome.mixed == outcome.unmarked == []
    assert outcome.repeats <= outcome.kills


def test_it_is_known_since_when_somebody_waits_whom_no_worker_has(workers: Workers) -> None:
    assert workers(0).due_since() is None  # all were called, and nobody knows since when
    due_at = workers.clock() + NET
    refused, *others = take_all(workers(0))
    for name in others:
        workers(0).schedule(name, due_at)
    workers(0).pass_on(refused, due_at)
    assert workers(0).due_since() is None

    workers.clock.now = due_at + NET
    assert workers(0).due_since() == due_at
    take_all(workers(1))
    assert workers(0).due_since() is None


def test_a_household_whose_lease_is_lost_at_the_end_of_a_turn_is_given_up(workers: Workers) -> None:
    name = workers(0).next_due()
    assert name is not None
    workers.clock.now += LEASE
    take_all(workers(1))

    workers(0).schedule(name, workers.clock() + NET, keep=True)

    assert workers(0).given_up() == [name]
