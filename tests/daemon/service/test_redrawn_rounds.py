"""A round that waited and is drawn up again when it is sent asks for what the ledger has open."""

from dataclasses import replace
from datetime import timedelta

from sillward.service.desk import Desk
from sillward_rules.plants.limits import Limit, Limits
from tests.support.desks import DAY, SITE, World, a_channel, a_household, a_plant, a_world, local


def waiting(
    low_c: float, *, names: tuple[str, ...] = ("Left pot", "Right pot")
) -> tuple[World, Desk]:
    """A dusk round told at five, which cannot be sent so far."""
    world = a_world("17:00", low_c=low_c)
    plants = tuple(a_plant(name) for name in names)
    world.household = a_household(a_channel("phone", all_clear=True), plants=plants)
    world.post.down = {"phone"}
    desk = world.desk
    desk.tick()
    return world, desk


def newer(world: World, desk: Desk, low_c: float, at: str) -> None:
    """Let a newer forecast come at this hour."""
    world.source.low_c = low_c
    world.clock.now = local(at)
    plan = world.ledger.call_schedules.get(world.source.name)
    assert plan is not None
    due = replace(plan, next_at=world.clock.now - timedelta(hours=1))
    world.ledger.call_schedules.keep(world.source.name, due)
    desk.tick()


def sent(world: World, desk: Desk) -> str:
    """Return the push that goes out when the channel is there again."""
    world.post.down = set()
    world.clock.move(minutes=16)
    desk.tick()
    ((_, message),) = world.post.pushes
    return f"{message.title}\n{message.body}"


def open_plants(world: World) -> set[str]:
    chores = world.ledger.chores.of_day(SITE.name, DAY)
    return {name for chore in chores if chore.open for name in chore.plants}


def test_what_a_round_asks_for_when_it_is_sent_is_in_the_ledger() -> None:
    """After the usual hour a small risk adds no order, but a sheet of that hour has one."""
    world, desk = waiting(12.0)
    newer(world, desk, 7.8, "20:00")
    assert open_plants(world) == set()

    push = sent(world, desk)

    assert "arry in 2 plants" in push
    assert open_plants(world) == {"Left pot", "Right pot"}
    assert all(state.asked for state in world.ledger.plant_states.of_site(SITE.name).values())


def test_an_order_that_stands_is_named_though_the_newest_sheet_lacks_it() -> None:
    """A forecast that hovers above the limit calls nothing off; a plant that it dropped from the
    push would not be ordered again when the night turns cold after all."""
    world, desk = waiting(7.5)
    newer(world, desk, 8.3, "17:30")
    assert open_plants(world) == {"Left pot", "Right pot"}

    push = sent(world, desk)

    assert "arry in 2 plants by 18:40" in push
    assert "Left pot, Right pot" in push


def test_an_order_that_stands_says_now_after_its_hour() -> None:
    """What the round asked for has changed, so that it is drawn up again even then."""
    world = a_world("17:00", low_c=7.5)
    hardy = replace(a_plant("Hardy one"), limits=Limits(night_low=Limit(4.0, "your own limit")))
    world.household = a_household(a_channel("phone"), plants=(a_plant("Left pot"), hardy))
    world.post.down = {"phone"}
    desk = world.desk
    desk.tick()
    newer(world, desk, 3.0, "17:30")
    newer(world, desk, 8.3, "18:00")
    assert open_plants(world) == {"Left pot"}

    world.clock.now = local("18:31")

    assert sent(world, desk).startswith("Carry in 1 plant now\nNow bench to room: Left pot\n")
