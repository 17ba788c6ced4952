"""Reminders: an order that is not confirmed is repeated once, then told to another channel."""

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from sillward.config.channel import Channel
from sillward.config.household import NoticePolicy, Rounds
from sillward.config.models import NoticesTable
from sillward.config.quiet_hours import QuietHours
from sillward.ledger import Stage
from sillward.service.desk import Desk
from sillward.wording.message_length import MAX_CHARACTERS
from sillward_rules.chore import ChoreKind
from sillward_rules.plants.collection import Habits
from sillward_rules.plants.limits import Limit, Limits
from sillward_rules.plants.pot import Pot
from sillward_rules.weather.time_expressions import parse_hours, parse_moment
from tests.support.desks import (
    BENCH,
    DAY,
    ROOM,
    SITE,
    World,
    a_channel,
    a_household,
    a_plant,
    a_world,
    local,
)

PHONE = a_channel("phone")
PARTNER = a_channel("partner", "alarm")
MAIL = a_channel("mail", "week")


def evening(
    *channels: Channel,
    policy: NoticePolicy | None = None,
    count: int = 2,
    quiet: str | None = None,
    now: str = "17:00",
) -> tuple[World, Desk]:
    """A dusk round told at five; two pots must be in by 18:40."""
    world = a_world(now, low_c=5.0)
    plants = tuple(a_plant(f"Pot {number}") for number in range(count))
    household = a_household(*channels, plants=plants, policy=policy or NoticePolicy())
    if quiet is not None:
        told: Rounds = replace(household.rounds, quiet=QuietHours(parse_hours(quiet)))
        household = replace(household, rounds=told)
    world.household = household
    return world, world.desk


def until(world: World, desk: Desk, text: str, minutes: float = 5) -> None:
    """Tick until this hour."""
    while world.clock.now < local(text):
        desk.tick()
        world.clock.move(minutes=minutes)
    desk.tick()


def acknowledge(world: World) -> None:
    for chore in world.ledger.chores.of_day(SITE.name, DAY):
        if chore.kind is ChoreKind.CARRY_IN:
            world.ledger.confirm(SITE.name, world.clock.now, {chore.id: None}, {})


def heard(world: World, channel: str) -> list[str]:
    return [message.title for name, message in world.post.pushes if name == channel]


def test_what_is_not_acknowledged_is_repeated_once_before_its_deadline() -> None:
    world, desk = evening(PHONE)

    until(world, desk, "20:00")

    assert heard(world, "phone") == [
        "Carry in 2 plants by 18:40",
        "30 min left: Carry in 2 plants by 18:40",
    ]
    assert [message.urgent for _, message in world.post.pushes] == [False, True]
    reminder = world.post.pushes[-1][1].body
    assert "Pot 0, Pot 1" in reminder
    assert "All done? Then say: `sillward done carry-in`" in reminder


def test_the_reminder_comes_in_time_for_a_long_walk() -> None:
    world, _ = evening(PHONE, count=30)
    household = world.household
    pots = tuple(replace(plant, pot=Pot(4.0, "peat")) for plant in household.collection.plants)
    world.household = replace(household, collection=replace(household.collection, plants=pots))

    until(world, world.desk, "17:50")

    # Half an hour before 18:40 would be too late to begin: it takes 47 minutes.
    assert len(heard(world, "phone")) == 2


def test_an_acknowledgement_ends_it_for_that_night_only() -> None:
    world, desk = evening(PHONE, PARTNER)
    until(world, desk, "17:30")
    acknowledge(world)

    until(world, desk, "20:00")
    assert heard(world, "phone") == ["Carry in 2 plants by 18:40"]
    assert heard(world, "partner") == []

    world.clock.now = local("17:00", DAY + timedelta(days=1))
    before = len(world.post.pushes)
    while world.clock.now < local("20:00", DAY + timedelta(days=1)):
        desk.tick()
        world.clock.move(minutes=1)
    assert any("min left" in message.title for _, message in world.post.pushes[before:])


def test_then_it_goes_to_the_next_channel_that_takes_alarms() -> None:
    world, desk = evening(PHONE, MAIL, PARTNER)

    until(world, desk, "20:00")

    assert heard(world, "partner") == ["15 min left: Carry in 2 plants by 18:40"]
    assert heard(world, "mail") == []
    assert "Nobody has said that it is done. If it is" in world.post.pushes[-1][1].body


def test_a_channel_that_cannot_be_reached_is_passed_over_sooner() -> None:
    world, desk = evening(PHONE, PARTNER)
    world.post.down = {"phone"}

    until(world, desk, "18:11")

    assert heard(world, "partner") == ["30 min left: Carry in 2 plants by 18:40"]


def test_what_reached_the_second_counts_as_told() -> None:
    world, desk = evening(PHONE, PARTNER)
    world.post.down = {"phone"}

    until(world, desk, "18:11")

    assert world.ledger.rounds.was_delivered(SITE.name, "dusk", DAY)
    assert set(world.spots().values()) == {"room"}


def short_of_time(in_by: str, *channels: Channel) -> tuple[World, Desk]:
    """A dusk round told at five, whose pots must be in soon after."""
    world, _ = evening(*channels)
    habits = Habits(in_by=parse_moment(in_by))
    collection = replace(world.household.collection, habits=habits)
    world.household = replace(world.household, collection=collection)
    return world, world.desk


def test_nothing_is_passed_on_before_the_first_has_had_it_for_five_minutes() -> None:
    world, desk = short_of_time("17:10", PHONE, PARTNER)

    until(world, desk, "17:04", minutes=1)
    assert heard(world, "phone") == ["10 min left: Carry in 2 plants by 17:10"]
    assert heard(world, "partner") == []

    until(world, desk, "17:06", minutes=1)
    assert heard(world, "partner") == ["5 min left: Carry in 2 plants by 17:10"]


def test_when_the_first_cannot_be_reached_the_next_is_told_at_once() -> None:
    world, desk = short_of_time("17:20", PHONE, PARTNER)
    world.post.down = {"phone"}

    until(world, desk, "17:01", minutes=1)

    assert heard(world, "partner") == ["19 min left: Carry in 2 plants by 17:20"]


def test_to_whom_it_was_passed_on_is_not_reminded_on_top() -> None:
    world, desk = short_of_time("17:20", PHONE, PARTNER)

    until(world, desk, "17:30")

    assert len(heard(world, "partner")) == 1
    assert heard(world, "phone")[1:] == ["5 min left: Carry in 2 plants by 17:20"]


def test_who_was_reached_late_is_reminded_as_long_after_it_as_others_before_the_hour() -> None:
    world, desk = evening(PHONE)
    world.post.down = {"phone"}
    until(world, desk, "18:20", minutes=1)
    world.post.down = set()

    until(world, desk, "19:03", minutes=1)
    assert heard(world, "phone") == ["6 min left: Carry in 2 plants by 18:40"]
    until(world, desk, "21:00", minutes=1)

    assert heard(world, "phone")[1:] == ["24 min overdue: Carry in 2 plants now"]


@pytest.mark.parametrize(
    "policy", [NoticePolicy(remind=None), NoticePolicy(remind=None, pass_on=None)]
)
def test_a_grower_can_do_without(policy: NoticePolicy) -> None:
    world, desk = evening(PHONE, policy=policy)

    until(world, desk, "20:00")

    assert heard(world, "phone") == ["Carry in 2 plants by 18:40"]


def test_nobody_is_reminded_right_after_being_told() -> None:
    world, desk = evening(PHONE, now="18:20")

    until(world, desk, "18:34", minutes=1)
    assert len(heard(world, "phone")) == 1
    until(world, desk, "18:40", minutes=1)
    assert heard(world, "phone")[1:] == ["5 min left: Carry in 2 plants by 18:40"]


def test_a_reminder_that_is_not_needed_any_more_is_not_sent() -> None:
    world, desk = evening(PHONE)
    until(world, desk, "18:05")
    world.post.down = {"phone"}
    until(world, desk, "18:12")
    acknowledge(world)
    world.post.down = set()

    until(world, desk, "20:00")

    assert len(heard(world, "phone")) == 1
    reminders = world.ledger.notices.of_round(SITE.name, "dusk", DAY, Stage.REMINDER)
    assert [reminder.state for reminder in reminders] == ["not needed"]


def test_a_restart_reminds_nobody_again() -> None:
    world, _ = evening(PHONE, PARTNER)

    while world.clock.now < local("20:00"):
        world.desk.tick()
        world.clock.move(minutes=5)

    assert len(heard(world, "phone")) == 2
    assert len(heard(world, "partner")) == 1


def test_a_reminder_fits_a_push_for_forty_plants() -> None:
    world, desk = evening(PHONE, count=40)

    until(world, desk, "18:15", minutes=5)

    _, message = world.post.pushes[-1]
    assert message.title == "30 min left: Carry in 40 plants by 18:40"
    assert len(message.title) + 1 + len(message.body) <= MAX_CHARACTERS
    assert "Pot 0, Pot 1–39" in message.body


def test_an_order_that_falls_into_quiet_hours_is_told_before_they_start() -> None:
    """Quiet hours begin at four in the afternoon."""
    world, desk = evening(PHONE, quiet="16:00-20:00", now="15:00")

    until(world, desk, "20:30")

    told_at = [
        notice.sent_at for notice in world.ledger.notices.latest(SITE.name) if notice.sent_at
    ]
    assert told_at == [local("15:50")]
    assert heard(world, "phone") == ["Carry in 2 plants by 18:40"]


def test_a_reminder_waits_for_no_quiet_hours_either() -> None:
    world, desk = evening(PHONE, quiet="18:00-21:00")

    until(world, desk, "21:30")

    times = sorted(
        notice.sent_at for notice in world.ledger.notices.latest(SITE.name) if notice.sent_at
    )
    assert times == [local("17:00"), local("17:50")]
    assert heard(world, "phone")[1] == "Carry in 2 plants by 18:40"


def test_a_morning_without_a_deadline_waits_until_quiet_hours_end() -> None:
    world, desk = evening(PHONE, quiet="22:00-09:15")
    until(world, desk, "20:00")
    world.clock.now = local("08:00", DAY + timedelta(days=1))
    before = len(world.post.pushes)

    sent = _first_after(world, desk, before, local("11:00", DAY + timedelta(days=1)))

    assert sent == local("09:15", DAY + timedelta(days=1))


def test_a_night_that_turns_cold_in_quiet_hours_is_told_in_them() -> None:
    world, desk = evening(PHONE, quiet="22:00-07:00")
    world.source.low_c = 12.0
    until(world, desk, "22:30", minutes=10)
    assert heard(world, "phone") == []
    world.source.low_c = 2.0

    until(world, desk, "23:59", minutes=10)

    (title,) = heard(world, "phone")
    assert title.startswith("Change: carry in 2 plants now")


def test_by_hand_there_are_no_quiet_hours() -> None:
    world, desk = evening(a_channel("phone", all_clear=True), quiet="16:00-20:00", now="17:30")
    world.source.low_c = 12.0
    desk.tick()
    assert world.post.pushes == []

    desk.deliver(ignore_quiet_hours=True)

    assert heard(world, "phone") == ["Nothing to carry in tonight"]


def _first_after(world: World, desk: Desk, before: int, end: datetime) -> datetime:
    while world.clock.now < end and len(world.post.pushes) == before:
        desk.tick()
        world.clock.move(minutes=1)
    return world.clock.now - timedelta(minutes=1)


def test_who_never_acknowledges_troubles_nobody_else_after_a_week() -> None:
    world, desk = evening(PHONE, PARTNER)
    by_day = []
    for day in range(10):
        world.clock.now = local("17:00", DAY + timedelta(days=day))
        before = len(heard(world, "partner"))
        while world.clock.now < local("18:45", DAY + timedelta(days=day)):
            desk.tick()
            world.clock.move(minutes=5)
        by_day.append(len(heard(world, "partner")) - before)

    assert by_day == [1] * 7 + [0] * 3


def test_a_reminder_that_waits_speaks_of_what_is_still_to_do() -> None:
    world, _ = evening(PHONE)
    wall = replace(BENCH, name="wall")
    plants = (a_plant("Pot 0"), replace(a_plant("Pot 1"), home="wall"))
    collection = replace(world.household.collection, spots=(BENCH, wall, ROOM), plants=plants)
    world.household = replace(world.household, collection=collection)
    desk = world.desk
    until(world, desk, "18:09", minutes=1)
    world.post.down = {"phone"}
    until(world, desk, "18:11", minutes=1)
    world.ledger.confirm(SITE.name, world.clock.now, {f"{DAY}-carry-in-bench-to-room": None}, {})
    world.post.down = set()

    until(world, desk, "18:30")

    assert heard(world, "phone")[-1].endswith("min left: Carry in 1 plant by 18:40")
    assert "Pot 0" not in world.post.pushes[-1][1].body


@pytest.mark.parametrize("text", ["08:00-08:00", "07:00-06:00", "08:00-22:01", "night"])
def test_quiet_hours_leave_room_to_be_told(text: str) -> None:
    with pytest.raises(ValueError, match="quiet"):
        NoticesTable(quiet=text)


def test_fourteen_quiet_hours_are_not_too_many() -> None:
    assert NoticesTable(quiet="18:00-08:00").quiet == "18:00-08:00"


def test_plants_that_join_a_reminded_order_at_its_hour_are_reminded_of_too() -> None:
    world, _ = evening(PHONE, policy=NoticePolicy(remind=timedelta(minutes=60), pass_on=None))
    hardy = replace(a_plant("Hardy one"), limits=Limits(night_low=Limit(0.0, "your own limit")))
    collection = replace(world.household.collection, plants=(a_plant("Pot 0"), hardy))
    world.household = replace(world.household, collection=collection)
    desk = world.desk
    until(world, desk, "17:45")
    assert heard(world, "phone")[1:] == ["Carry in 1 plant by 18:40"]

    world.source.low_c = -1.5
    plan = world.ledger.call_schedules.get(world.source.name)
    assert plan is not None
    world.ledger.call_schedules.keep(world.source.name, replace(plan, next_at=world.clock.now))
    until(world, desk, "18:38")

    change, reminder = heard(world, "phone")[2:]
    assert change.endswith("Change: carry in 1 more by 18:40")
    assert reminder.endswith("Carry in 2 plants by 18:40")
    notices = world.ledger.notices.of_round(SITE.name, "dusk", DAY, stage=None)
    assert [notice.stage for notice in notices].count(Stage.REMINDER) == 2
