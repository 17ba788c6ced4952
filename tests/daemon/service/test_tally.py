"""The counts of a run, by what desks did in it."""

import pytest

from sillward.service import round_teller
from sillward.service.tally import LATE_S, Distribution
from tests.support.desks import a_channel, a_world


def test_a_round_told_in_time_counts_as_due_and_told() -> None:
    world = a_world("17:00")
    desk = world.desk
    desk.tick()
    world.clock.move(seconds=30)
    desk.tick()
    tally = desk.context.run.tally
    assert tally.rounds_due == tally.rounds_told == {"dusk": 1}
    assert not tally.rounds_late
    assert not tally.rounds_failed
    assert sum(tally.lateness_s.counts) == 1
    assert sum(tally.work_s.counts) == 2


def test_a_round_told_after_a_late_start_counts_as_late() -> None:
    desk = a_world("18:00").desk
    desk.tick()
    tally = desk.context.run.tally
    assert tally.rounds_late == {"dusk": 1}
    assert tally.lateness_s.sum == pytest.approx(3600, abs=1)
    assert tally.lateness_s.sum > LATE_S


def test_a_round_that_cannot_be_worked_out_counts_as_failed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    desk = a_world("17:00").desk

    def broken(*_: object) -> None:
        raise ArithmeticError

    monkeypatch.setattr(round_teller, "chores_of", broken)
    desk.tick()
    tally = desk.context.run.tally
    assert tally.rounds_failed == {"dusk": 1}
    assert tally.rounds_due == {"dusk": 1}
    assert not tally.rounds_told


def test_attempts_to_send_are_counted_by_what_came_of_them() -> None:
    world = a_world("17:00", a_channel("phone"), a_channel("mail"))
    world.post.down.add("mail")
    desk = world.desk
    desk.tick()
    tally = desk.context.run.tally
    assert tally.notices == {"sent": 1, "failed": 1}
    world.clock.move(hours=18)
    desk.tick()
    assert tally.notices["expired"] == 1


def test_a_value_on_a_bound_lies_up_to_it() -> None:
    found = Distribution((1.0, 2.0))
    for value in (1.0, 1.5, 2.0, 2.5):
        found.add(value)
    assert found.counts == [1, 2, 1]
    assert found.sum == 7.0
