"""A defect in any step of a tick, or in one row of the ledger, holds up nothing else."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from sillward.config.household import NoticePolicy, Rounds
from sillward.config.quiet_hours import QuietHours
from sillward.ledger import Ledger
from sillward.ledger.tables.chores import ChoreTable
from sillward.reports import status
from sillward.service.desk import Desk
from sillward.service.ledger_upkeep import LedgerUpkeep
from sillward.service.outbox import Outbox
from sillward.service.reading_review import ReadingReview
from sillward_rules.weather.time_expressions import parse_hours
from tests.support.desks import DAY, SITE, World, a_channel, a_household, a_plant, a_world, local

CHORE = f"{DAY}-carry-in-bench-to-room"


def _broken(*_: object, **__: object) -> Any:
    msg = "a defect"
    raise ValueError(msg)


def _make_unreadable(ledger: Ledger, chore_id: str) -> None:
    """Store something that is no chore, as a failing disk or another version may."""
    ledger.database.execute("UPDATE chore SET chore_json = '{}' WHERE id = ?", chore_id)


@pytest.mark.parametrize(
    ("owner", "method", "event"),
    [
        (Outbox, "deliver", "delivery.failed"),
        (Ledger, "forget_rounds_of_wrong_clock", "ledger.failed_to_forget"),
        (ReadingReview, "look", "reading.failed_to_review"),
        (LedgerUpkeep, "go_back_to_file", "ledger.failed_to_go_back"),
        (LedgerUpkeep, "mark_and_prune", "ledger.failed_to_prune"),
        (LedgerUpkeep, "copy_or_repair_daily", "ledger.failed_to_copy"),
    ],
)
def test_a_defect_in_one_step_holds_up_no_other(
    owner: type, method: str, event: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    world = a_world("17:00")
    desk = world.desk
    monkeypatch.setattr(owner, method, _broken)

    desk.tick()

    assert world.ledger.rounds.enqueued_at(SITE.name, "dusk", DAY) is not None
    assert f"{event}: see the log" in desk.troubles()
    monkeypatch.undo()
    world.clock.move(minutes=1)
    desk.tick()
    assert world.post.titles == ["Carry in 2 plants by 18:40"]
    assert not desk.troubles()


def test_a_defect_in_one_notice_holds_up_no_other(monkeypatch: pytest.MonkeyPatch) -> None:
    world = a_world("17:00", a_channel("mail"), a_channel("phone"))
    desk = world.desk
    deliver_one: Callable[..., bool] = Outbox._deliver_one

    def but_for_mail(self: Outbox, *notice_and_channel: Any) -> bool:
        if notice_and_channel[1].name == "mail":
            return bool(_broken())
        return deliver_one(self, *notice_and_channel)

    monkeypatch.setattr(Outbox, "_deliver_one", but_for_mail)

    desk.tick()

    assert [name for name, _ in world.post.pushes] == ["phone"]
    assert "notice.failed: see the log" in desk.troubles()


def _in_quiet_hours() -> tuple[World, Desk]:
    """A desk in quiet hours; a dusk round waits for the one channel, which cannot be reached."""
    world = a_world("17:00", low_c=5.0)
    household = a_household(plants=(a_plant("Pot 0"),), policy=NoticePolicy())
    rounds: Rounds = replace(household.rounds, quiet=QuietHours(parse_hours("17:10-20:00")))
    world.household = replace(household, rounds=rounds)
    world.post.down = {"phone"}
    desk = world.desk
    desk.tick()
    world.clock.move(minutes=15)
    return world, desk


def test_an_order_that_cannot_be_read_ends_no_tick_in_quiet_hours() -> None:
    world, desk = _in_quiet_hours()
    _make_unreadable(world.ledger, CHORE)
    asked_before = len(world.source.asked)

    world.clock.now = local("19:50")
    desk.tick()

    assert len(world.source.asked) > asked_before


def test_a_notice_whose_orders_cannot_be_read_is_sent_in_quiet_hours_too() -> None:
    world, desk = _in_quiet_hours()
    _make_unreadable(world.ledger, CHORE)
    world.post.down = set()

    desk.tick()

    assert world.post.titles == ["Carry in 1 plant by 18:40"]


def test_an_order_that_cannot_be_read_is_a_trouble_and_costs_no_other_its_reminder() -> None:
    world = a_world("17:00", low_c=5.0)
    wall = replace(world.household.collection.spots[0], name="wall")
    plants = (a_plant("Pot 0"), replace(a_plant("Pot 1"), home="wall"))
    household = a_household(plants=plants, policy=NoticePolicy(pass_on=None))
    spots = (*household.collection.spots, wall)
    world.household = replace(household, collection=replace(household.collection, spots=spots))
    desk = world.desk
    desk.tick()
    _make_unreadable(world.ledger, CHORE)

    world.clock.now = local("18:11")
    desk.tick()

    assert world.post.titles[1:] == ["29 min left: Carry in 1 plant by 18:40"]
    until = "to be done by Thu 14 May 18:40"
    trouble = f"{CHORE}, {until}, cannot be read from the ledger: see the log"
    assert desk.troubles() == [trouble]
    voice = world.household.voice
    shown = status.document(world.household, desk.context.updater, world.clock(), voice)
    assert shown["troubles"] == [trouble]
    assert f"{DAY}-carry-in-wall-to-room" in [chore["id"] for chore in shown["chores"]]


def test_an_order_that_cannot_be_read_is_replaced_when_its_round_is_written_again() -> None:
    world = a_world("17:00", low_c=5.0)
    world.desk.tick()
    (stored,) = world.ledger.chores.of_day(SITE.name, DAY)
    _make_unreadable(world.ledger, CHORE)
    table: ChoreTable = world.ledger.chores

    table.write(SITE.name, "dusk", stored.chore)

    assert [chore.id for chore in table.of_day(SITE.name, DAY)] == [CHORE]
    assert not table.unreadable(SITE.name, world.clock.now)


@pytest.mark.parametrize("column", ["next_at", "expires_at", "stage"])
def test_a_notice_that_cannot_be_read_is_a_trouble_and_holds_up_no_other(column: str) -> None:
    world = a_world("17:00", a_channel("mail"), a_channel("phone"))
    world.post.down = {"mail", "phone"}
    desk = world.desk
    desk.tick()
    world.ledger.database.execute(
        f"UPDATE notice SET {column} = '2026-05-14?' WHERE channel = 'mail'"
    )
    world.post.down = set()

    world.clock.move(minutes=5)
    desk.tick()

    assert [name for name, _ in world.post.pushes] == ["phone"]
    assert "notices that cannot be read from the ledger: 1, see the log" in desk.troubles()
