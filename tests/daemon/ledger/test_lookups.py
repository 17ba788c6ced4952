"""What an idle tick asks of the ledger is found by an index, however much is kept."""

import re
from datetime import timedelta

import pytest

from sillward.config.household import NoticePolicy
from sillward.ledger import Ledger
from tests.support.desks import SITE, World, a_channel, a_household, a_plant, a_world

GROWING = ("round", "notice", "chore")
"""Tables that get rows every day."""


def statements_of_an_idle_tick(world: World) -> list[str]:
    """Dusk is told, an order is open, and there is nothing to tell: all that is asked then."""
    desk = world.desk
    desk.tick()
    for _ in range(2):
        world.clock.move(minutes=1)
        desk.tick()
    before = len(world.post.titles)
    assert [
        chore for chore in world.ledger.chores.due_since(SITE.name, world.clock.now) if chore.open
    ]
    asked: list[str] = []
    database = world.ledger.database.connection
    database.set_trace_callback(asked.append)
    world.clock.move(minutes=1)
    desk.tick()
    database.set_trace_callback(None)
    assert len(world.post.titles) == before
    return asked


def scans(ledger: Ledger, statement: str) -> list[str]:
    """The tables that a statement goes through from end to end, as far as they grow."""
    if not re.match("SELECT|UPDATE|DELETE|INSERT", statement):
        return []
    plan = ledger.database.connection.execute(f"EXPLAIN QUERY PLAN {statement}").fetchall()
    named = (re.match(r"SCAN (\w+)", step["detail"]) for step in plan)
    return [match[1] for match in named if match and match[1] in GROWING]


@pytest.fixture
def world() -> World:
    world = a_world("17:00", low_c=5.0)
    plants = tuple(a_plant(f"Pot {number}") for number in range(3))
    world.household = a_household(
        a_channel("phone"), a_channel("partner", "alarm"), plants=plants, policy=NoticePolicy()
    )
    return world


def test_no_table_that_grows_is_gone_through_in_an_idle_tick(world: World) -> None:
    asked = statements_of_an_idle_tick(world)

    for table in GROWING:  # else this would tell nothing
        assert [
            statement for statement in asked if re.search(rf"(FROM|UPDATE) {table}\b", statement)
        ], table
    assert [statement for statement in asked if scans(world.ledger, statement)] == []


def test_such_a_scan_would_be_seen(world: World) -> None:
    world.ledger.database.connection.execute("DROP INDEX notice_state")

    assert scans(world.ledger, "SELECT key FROM notice WHERE state = 'sending'") == ["notice"]


def test_every_row_that_an_idle_tick_writes_or_reads_is_of_its_own_site(world: World) -> None:
    asked = statements_of_an_idle_tick(world)

    about = [
        statement
        for statement in asked
        if re.search(r"(FROM|UPDATE) (round|notice|chore)\b", statement)
    ]
    assert about
    assert [statement for statement in about if f"site = '{SITE.name}'" not in statement] == []


def test_what_waits_at_another_site_is_left_to_its_own_desk(world: World) -> None:
    desk, ledger, now = world.desk, world.ledger, world.clock.now
    desk.tick()
    far_ahead = now + timedelta(days=1)

    assert ledger.notices.expire("Elsewhere", far_ahead) == []
    assert ledger.forget_rounds_of_wrong_clock("Elsewhere", now - timedelta(days=1)) == 0
    assert ledger.notices.release_claims("Elsewhere", far_ahead) == 0
    assert ledger.forget_rounds_of_wrong_clock(SITE.name, now - timedelta(days=1)) == 1
