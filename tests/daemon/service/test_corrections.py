"""Corrections: what a newer forecast changes is told once, to the right channels, not too
often."""

import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta

import pytest

from sillward.config.channel import Channel
from sillward.config.household import NoticePolicy
from sillward.config.quiet_hours import QuietHours
from sillward.ledger import NoticeState, Stage
from sillward.service.context import ServiceContext
from sillward.service.desk import Desk
from sillward.wording.message_length import MAX_CHARACTERS
from sillward_rules.chore import ChoreKind
from sillward_rules.plants.collection import Habits
from sillward_rules.plants.limits import Limit, Limits
from sillward_rules.plants.plant import Plant
from sillward_rules.sheet import Round, Sheet
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.spot import Spot
from sillward_rules.weather.time_expressions import parse_hours, parse_moment
from tests.support.desks import (
    DAY,
    SILENT,
    SITE,
    World,
    a_channel,
    a_household,
    a_plant,
    a_world,
    local,
)

HARDY = Plant("Hardy one", "bench", "room", "pot", Limits(night_low=Limit(4.0, "your own limit")))
PLANTS = (a_plant("Left pot"), a_plant("Right pot"), HARDY)


def told(
    low_c: float = 6.0,
    *channels: Channel,
    policy: NoticePolicy = SILENT,
    plants: Sequence[Plant] = PLANTS,
) -> tuple[World, Desk]:
    """A dusk round told at five o'clock; what must go in has to be in by 18:40."""
    world = a_world("17:00", *channels, low_c=low_c)
    world.household = a_household(*channels, plants=tuple(plants), policy=policy)
    desk = world.desk
    desk.tick()
    return world, desk


def newer(world: World, desk: Desk, low_c: float, **later: float) -> None:
    """Let a newer forecast come after this time."""
    world.source.low_c = low_c
    world.clock.move(**(later or {"minutes": 80}))
    plan = world.ledger.call_schedules.get(world.source.name)
    assert plan is not None
    due = replace(plan, next_at=world.clock.now - timedelta(hours=1))
    world.ledger.call_schedules.keep(world.source.name, due)
    desk.tick()


def test_a_morning_on_which_the_forecast_stays_the_same_is_not_corrected() -> None:
    """Plants that were under their limit of injury at dawn are told out at a later hour, which
    stands."""
    limits = Limits(night_low=Limit(8.0, "yours"), brief_low=Limit(7.0, "yours"))
    world, desk = told(6.5, plants=(replace(HARDY, limits=limits),))
    world.clock.now = local("08:30", DAY + timedelta(days=1))
    desk.tick()

    for _ in range(16):
        newer(world, desk, 6.5, minutes=15)

    assert [title[:8] for title in world.post.titles] == ["Carry in", "Put out "]


def test_a_round_is_planned_again_from_the_next_forecast_on(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    planned, draw_up = [], ServiceContext.orders

    def orders(
        context: ServiceContext, round_: Round, weather: Weather, *, goes_out: bool
    ) -> Sheet:
        planned.append(round_)
        return draw_up(context, round_, weather, goes_out=goes_out)

    monkeypatch.setattr(ServiceContext, "orders", orders)
    world, desk = told()
    desk.tick()
    assert planned == []
    newer(world, desk, 6.0)
    assert planned == [Round.DUSK]


def test_a_forecast_that_says_the_same_is_not_told() -> None:
    world, desk = told()

    for _ in range(6):
        newer(world, desk, 6.0, minutes=15)

    assert len(world.post.pushes) == 1


def test_a_colder_night_adds_plants_and_names_them_alone() -> None:
    world, desk = told()

    newer(world, desk, 1.0)

    assert len(world.post.pushes) == 2
    _, message = world.post.pushes[-1]
    assert message.title == "20 min left: Change: carry in 1 more by 18:40"
    assert "Hardy one" in message.body
    assert "Left pot" not in message.body
    assert "Hardy one needs 4" in message.body


def test_what_was_added_is_a_chore_that_can_be_done() -> None:
    world, desk = told()

    newer(world, desk, 1.0)

    (chore,) = [chore for chore in world.ledger.chores.of_day(SITE.name, DAY) if chore.open]
    assert set(chore.plants) == {"Left pot", "Right pot", "Hardy one"}
    assert world.spots()["Hardy one"] == "room"  # as of its hour, assumed
    assert world.ledger.plant_states.of_site(SITE.name)["Hardy one"].came_from == "bench"


def test_a_milder_night_is_called_off_with_its_low() -> None:
    world, desk = told()

    newer(world, desk, 12.0)

    _, message = world.post.pushes[-1]
    assert message.title == "2 plants may stay out after all"
    assert "tonight 12" in message.body
    assert world.spots()["Left pot"] == "bench"
    assert not [chore for chore in world.ledger.chores.of_day(SITE.name, DAY) if chore.open]


def test_what_was_called_off_can_be_ordered_again() -> None:
    world, desk = told()
    newer(world, desk, 12.0, minutes=40)

    newer(world, desk, 1.0, minutes=40)

    assert re.search(r"Change: carry in 3 plants by 18:40", world.post.titles[-1])
    assert world.spots()["Left pot"] == "room"


def test_a_forecast_that_hovers_at_the_limit_is_told_once() -> None:
    world, desk = told(7.8)

    for low_c in (8.1, 7.9, 8.4, 7.7, 8.6):
        newer(world, desk, low_c, minutes=15)

    assert len(world.post.pushes) == 1


def harder(name: str, limit_c: float) -> Plant:
    return replace(HARDY, name=name, limits=Limits(night_low=Limit(limit_c, "your own limit")))


def test_no_more_than_the_set_number_of_messages_and_the_last_says_so() -> None:
    plants = (*PLANTS, harder("Harder", 0.0), harder("Hardest", -4.0))
    world, desk = told(6.0, policy=replace(SILENT, max_messages=3), plants=plants)

    for low_c in (3.0, -1.0, -6.0):
        newer(world, desk, low_c, minutes=15)

    assert len(world.post.pushes) == 3
    assert "Harder" in world.post.pushes[-1][1].body
    assert "This is the last change you will hear of tonight" in world.post.pushes[-1][1].body


def test_some_of_them_are_kept_for_what_is_more_to_do() -> None:
    world, desk = told(6.0, policy=replace(SILENT, max_messages=4))

    for low_c in (14.0, 6.0, 14.0, 1.0):
        newer(world, desk, low_c, minutes=15)

    kinds = [title.split(":")[0].split(",")[0] for title in world.post.titles]
    assert kinds == [
        "Carry in 2 plants by 18",
        "2 plants may stay out after all",
        "Change",
        "Change",
    ]
    assert "Hardy one" in world.post.pushes[-1][1].body


def test_after_the_hour_is_over_nothing_is_called_off() -> None:
    world, desk = told()
    world.clock.now = local("19:00")
    desk.tick()

    newer(world, desk, 14.0)

    assert len(world.post.pushes) == 1


def test_a_night_that_turns_cold_late_is_told_at_once() -> None:
    world, desk = told(12.0)
    world.clock.now = local("23:00")

    newer(world, desk, 2.0)

    (title,) = world.post.titles
    assert title.startswith("Change: carry in 3 plants now")


def test_a_forecast_that_fails_wakes_nobody() -> None:
    world, desk = told(12.0)
    world.source.failing = True

    for _ in range(14):
        world.clock.move(hours=1)
        desk.tick()

    assert [
        notice for notice in world.ledger.notices.latest(SITE.name) if notice.stage == Stage.CHANGE
    ] == []


def test_a_channel_that_was_not_reached_gets_the_newest_words_and_no_correction() -> None:
    world = a_world("17:00", low_c=6.0)
    world.household = a_household(a_channel("phone"), a_channel("tablet"), plants=PLANTS)
    world.post.down = {"tablet"}
    desk = world.desk
    desk.tick()

    newer(world, desk, 1.0, minutes=80)
    world.post.down = set()
    world.clock.move(minutes=16)
    desk.tick()

    (tablet,) = [message for name, message in world.post.pushes if name == "tablet"]
    assert re.search(r"min left: Carry in 3 plants by 18:40", tablet.title)


def test_a_restart_tells_no_change_again() -> None:
    world, desk = told()
    newer(world, desk, 1.0)

    world.desk.tick()
    world.clock.move(minutes=1)
    world.desk.tick()

    assert len(world.post.pushes) == 2


def test_what_is_done_stays_done_when_the_night_gets_colder() -> None:
    world, desk = told()
    (chore,) = [
        chore
        for chore in world.ledger.chores.of_day(SITE.name, DAY)
        if chore.kind is ChoreKind.CARRY_IN and chore.open
    ]
    states = world.ledger.plant_states.of_site(SITE.name)
    done = {name: replace(states[name], assumed=False, spot="room") for name in chore.plants}
    world.ledger.confirm(SITE.name, world.clock.now, {chore.id: None}, done)

    newer(world, desk, 1.0)

    open_chores = [chore for chore in world.ledger.chores.of_day(SITE.name, DAY) if chore.open]
    assert [chore.plants for chore in open_chores if chore.kind is ChoreKind.CARRY_IN] == [
        ("Hardy one",)
    ]
    assert open_chores[0].id != chore.id


def test_a_deadline_that_moves_is_told_with_the_old_one() -> None:
    """The usual hour is late: a colder night crosses the limit before it."""
    world = a_world("15:00", low_c=7.0)
    world.household = a_household(plants=PLANTS[:2], dusk="15:00")
    collection = replace(
        world.household.collection,
        habits=Habits(in_by=parse_moment("sunset+6h"), latest_after_sunset=timedelta(hours=7)),
    )
    world.household = replace(world.household, collection=collection)
    desk = world.desk
    desk.tick()
    first = world.post.titles[0]

    newer(world, desk, -1.0)

    title = world.post.titles[-1]
    assert re.match(r"(\d+ min left: )?Change: carry in 2 plants by", title)
    was = re.search(r"by (?:tomorrow )?(\d\d:\d\d)", first)
    assert was is not None
    assert f"not {was[1]}" in world.post.pushes[-1][1].body


def test_a_day_that_turns_cold_keeps_in_what_was_to_go_out() -> None:
    world = a_world("08:30", low_c=5.0)
    states = {
        name: replace(state, spot="room", assumed=False)
        for name, state in world.desk.context.sheet(
            Round.MORNING, world.desk.context.weather()
        ).states.items()
    }
    world.ledger.keep_round(
        SITE.name, "before", DAY, world.clock.now, notices=[], chores=[], states_now=states
    )
    world.household = a_household(plants=PLANTS[:2])
    desk = world.desk
    desk.tick()
    assert world.post.titles[0].startswith("Put out 2 plants from")

    newer(world, desk, -9.0)

    assert world.post.titles[-1].startswith("Keep ")
    assert world.spots()["Left pot"] == "room"


@pytest.mark.parametrize("count", [1, 40])
@pytest.mark.parametrize("low_c", [-3.0, 14.0])
def test_a_correction_fits_a_push(count: int, low_c: float) -> None:
    plants = [a_plant(f"A plant with a long name, number {number}") for number in range(count)]
    world, desk = told(6.0 if low_c > 8 else 12.0, plants=plants)

    newer(world, desk, low_c)

    _, message = world.post.pushes[-1]
    assert len(message.title) + 1 + len(message.body) <= MAX_CHARACTERS
    assert str(count) in message.title


def test_who_heard_of_a_round_by_its_change_alone_hears_what_follows() -> None:
    world, desk = told(12.0, policy=NoticePolicy(pass_on=None))  # nothing to tell at dusk
    newer(world, desk, 6.0, minutes=20)
    newer(world, desk, 14.0, minutes=20)
    newer(world, desk, 6.0, minutes=20)
    world.clock.now = local("18:20")
    desk.tick()

    assert world.post.titles == [
        "Change: carry in 2 plants by 18:40",
        "2 plants may stay out after all",
        "Change: carry in 2 plants by 18:40",
        "20 min left: Carry in 2 plants by 18:40",
    ]


def test_an_earlier_hour_is_told_to_who_heard_of_it_by_a_change_alone() -> None:
    world, desk = told(12.0, plants=PLANTS[:2])
    newer(world, desk, 6.0, minutes=20)

    newer(world, desk, -6.0, minutes=20)

    (_, message) = world.post.pushes[-1]
    assert message.title == "Change: carry in 2 plants now"
    assert message.body.startswith("Now, not 18:40, bench to room: Left pot, Right pot")


def test_what_is_off_is_told_to_whom_the_order_was_passed_on() -> None:
    partner = a_channel("partner", "alarm")
    world, desk = told(6.0, a_channel(), partner, policy=NoticePolicy())
    world.clock.now = local("18:30")
    desk.tick()

    newer(world, desk, 14.0, minutes=5)

    assert [name for name, _ in world.post.pushes[-2:]] == ["partner", "phone"]
    assert set(world.post.titles[-2:]) == {"2 plants may stay out after all"}


def test_who_heard_that_plants_may_stay_out_hears_that_this_is_off_again() -> None:
    partner = a_channel("partner", "alarm")
    world, desk = told(6.0, a_channel(), partner, policy=NoticePolicy())
    world.clock.now = local("18:30")
    desk.tick()
    newer(world, desk, 14.0, minutes=5)

    newer(world, desk, 5.0, minutes=5)

    assert sorted(name for name, _ in world.post.pushes[-2:]) == ["partner", "phone"]
    assert all(title.endswith("carry in 2 plants now") for title in world.post.titles[-2:])


def waiting(minutes: float) -> tuple[World, Desk]:
    """A dusk round that no channel has taken, and a newer forecast that asks for one plant more."""
    world = a_world("17:00", low_c=6.0)
    world.household = a_household(plants=PLANTS, policy=SILENT)
    desk = world.desk
    world.post.down = {"phone"}
    desk.tick()
    newer(world, desk, 1.0, minutes=minutes)
    world.post.down = set()
    return world, desk


@pytest.mark.parametrize("minutes", [3, 30])
def test_a_round_that_waits_is_sent_with_what_has_changed_meanwhile(minutes: float) -> None:
    world, desk = waiting(minutes)

    world.clock.move(minutes=6)
    desk.tick()

    (title,) = world.post.titles
    assert title.endswith("Carry in 3 plants by 18:40")


def test_a_round_that_waited_moves_all_of_its_plants_and_not_the_changed_ones_alone() -> None:
    world, desk = waiting(3)

    world.clock.move(minutes=6)
    desk.tick()

    assert world.spots() == dict.fromkeys(("Left pot", "Right pot", "Hardy one"), "room")


def test_a_call_off_that_waited_does_not_come_after_a_newer_order() -> None:
    world, desk = told()
    world.post.down = {"phone"}
    newer(world, desk, 12.0, minutes=10)
    for _ in range(20):
        world.clock.move(minutes=1)
        desk.tick()
    world.post.down = set()

    newer(world, desk, 1.0, minutes=1)
    for _ in range(20):
        world.clock.move(minutes=1)
        desk.tick()

    assert world.post.titles == ["Carry in 2 plants by 18:40", "Carry in 3 plants by 18:40"]
    assert set(world.spots().values()) == {"room"}


def test_an_order_that_waited_is_not_lost_when_a_part_of_it_is_called_off() -> None:
    world, desk = told(12.0)  # nothing to tell
    world.post.down = {"phone"}
    newer(world, desk, 1.0, minutes=10)
    newer(world, desk, 7.0, minutes=20)  # too mild for the hardy one to go in
    world.post.down = set()

    world.clock.move(minutes=20)
    desk.tick()

    (_, message) = world.post.pushes[-1]
    assert message.title == "Carry in 2 plants by 18:40"
    assert "Hardy one" not in message.body
    assert len(world.post.pushes) == 1


@pytest.mark.parametrize(
    ("at", "low_c", "pushes"),
    [
        ("04:30", 6.9, 1),  # at seven in the morning, and under the limit until nine
        ("04:30", 7.8, 0),  # by a hair, and as likely not
        ("06:55", 7.3, 0),  # shortly before sunrise; the coldest is to come, but by little
        ("06:55", 7.8, 0),
        ("06:55", 1.0, 1),
    ],
)
def test_nobody_is_sent_out_at_dawn_for_the_end_of_a_small_dip(
    at: str, low_c: float, pushes: int
) -> None:
    world, desk = told(12.0, plants=PLANTS[:2])
    world.clock.now = local(at, DAY + timedelta(days=1))

    newer(world, desk, low_c)

    assert len(world.post.pushes) == pushes


def test_a_change_that_comes_too_late_speaks_of_its_own_orders_alone() -> None:
    """It leaves out orders that were told in time and that nobody has confirmed."""
    world = a_world("17:00", low_c=6.0)
    household = a_household(plants=PLANTS, policy=SILENT)
    early = replace(household.collection, habits=Habits(in_by=parse_moment("17:20"), caution=0.0))
    world.household = replace(household, collection=early)
    desk = world.desk
    desk.tick()
    world.clock.now = local("18:00")
    world.post.down = {"phone"}

    newer(world, desk, 1.0, minutes=10)
    for _ in range(40):
        world.clock.move(minutes=1)
        desk.tick()
    world.post.down = set()
    world.clock.move(minutes=15)
    desk.tick()

    (_, message) = world.post.pushes[-1]
    assert message.title == "Overdue since 18:10: carry in 1 plant NOW"
    assert "Left pot" not in message.body


def test_the_minutes_that_are_left_are_those_of_the_change() -> None:
    world = a_world("17:00", low_c=2.0)
    household = a_household(plants=PLANTS[:1], policy=replace(SILENT, moved_by=timedelta(hours=5)))
    porch = Spot("porch", indoors=True, night_low_c=6.0, day_low_c=6.0)
    both = replace(
        household.collection,
        spots=(*household.collection.spots, porch),
        plants=(
            PLANTS[0],
            replace(HARDY, shelter="porch", limits=Limits(night_low=Limit(3.9, ""))),
        ),
    )
    early = replace(household.collection, habits=Habits(in_by=parse_moment("17:40"), caution=0.0))
    world.household = replace(household, collection=early)
    world.desk.tick()
    world.household = replace(household, collection=both)  # by now told to go in later

    newer(world, world.desk, 1.5, minutes=15)

    assert world.post.titles == ["Carry in 1 plant by 17:40", "Change: carry in 1 more by 18:40"]


def test_a_plant_that_is_no_more_is_neither_corrected_nor_reminded_of() -> None:
    world, _ = told(6.0, policy=NoticePolicy())
    world.household = a_household(plants=PLANTS[1:], policy=NoticePolicy())

    restarted = world.desk
    newer(world, restarted, 12.0, minutes=15)

    assert world.post.titles[-1] == "1 plant may stay out after all"
    assert "Left pot" not in world.post.pushes[-1][1].body


def test_a_second_opinion_that_turns_colder_is_compared_too() -> None:
    world, desk = told(12.0)
    store = desk.context.updater.store
    before = store.edition(desk.context.site)
    assert store.edition(desk.context.site) == before

    newer(world, desk, 2.0)

    assert store.edition(desk.context.site) != before


def test_nobody_is_woken_to_hear_that_there_is_nothing_to_do() -> None:
    world = a_world("17:00", low_c=6.0)
    household = a_household(plants=PLANTS, policy=SILENT)
    told_then = replace(household.rounds, quiet=QuietHours(parse_hours("17:30-23:00")))
    world.household = replace(household, rounds=told_then)
    desk = world.desk
    desk.tick()

    newer(world, desk, 14.0, minutes=40)

    assert len(world.post.pushes) == 1
    assert not [chore for chore in world.ledger.chores.of_day(SITE.name, DAY) if chore.open]
    assert all(
        notice.state != NoticeState.EXPIRED for notice in world.ledger.notices.latest(SITE.name)
    )


def test_an_order_that_comes_when_all_messages_are_used_up_is_kept_and_shown() -> None:
    """It is in `status`, can be confirmed, and is passed on; what is off stays to be done."""
    policy = NoticePolicy(remind=None, pass_on=timedelta(minutes=15), max_messages=1)
    phone, partner = a_channel("phone"), a_channel("partner", "alarm")
    world, desk = told(6.0, phone, partner, policy=policy)

    newer(world, desk, 1.0, minutes=15)

    assert len(world.post.pushes) == 1
    chores = world.ledger.chores.of_day(SITE.name, DAY)
    assert {name for chore in chores if chore.open for name in chore.plants} == {
        "Left pot",
        "Right pot",
        "Hardy one",
    }
    assert world.ledger.plant_states.of_site(SITE.name)["Hardy one"].spot == "bench"
    world.clock.now = local("18:26")
    desk.tick()
    ((_, message),) = world.post.pushes[1:]
    assert message.title == "14 min left: Carry in 3 plants by 18:40"
    assert "Hardy one" in message.body


def test_what_is_off_when_all_messages_are_used_up_stays_to_be_done() -> None:
    world, desk = told(6.0, policy=replace(SILENT, max_messages=1))

    newer(world, desk, 14.0, minutes=15)

    (chore,) = world.ledger.chores.of_day(SITE.name, DAY)
    assert chore.open
    assert set(chore.plants) == {"Left pot", "Right pot"}


def test_an_order_that_no_message_was_left_for_is_told_by_its_reminder() -> None:
    policy = NoticePolicy(remind=timedelta(minutes=30), pass_on=None, max_messages=1)
    world, desk = told(6.0, policy=policy)
    newer(world, desk, 1.0, minutes=15)
    assert len(world.post.pushes) == 1

    for text in ("18:11", "18:12", "18:39"):
        world.clock.now = local(text)
        desk.tick()

    assert world.post.titles[1:] == ["29 min left: Carry in 3 plants by 18:40"]


def test_a_change_that_waits_is_not_lost_when_no_message_is_left_for_the_next() -> None:
    policy = replace(SILENT, max_messages=2)
    world, desk = told(6.0, policy=policy)
    world.post.down = {"phone"}
    newer(world, desk, 1.0, minutes=15)
    newer(world, desk, 0.5, minutes=15)
    world.post.down = set()
    world.clock.move(minutes=16)

    desk.tick()

    (_, message) = world.post.pushes[-1]
    assert "Hardy one" in message.body


def test_an_order_that_no_message_was_left_for_is_told_by_its_reminder_in_quiet_hours() -> None:
    policy = NoticePolicy(remind=timedelta(minutes=30), pass_on=None, max_messages=1)
    world, _ = told(6.0, policy=policy)
    quiet = QuietHours(parse_hours("17:30-21:00"))
    world.household = replace(world.household, rounds=replace(world.household.rounds, quiet=quiet))
    desk = world.desk
    newer(world, desk, 1.0, minutes=35)

    world.clock.now = local("18:11")
    desk.tick()

    assert world.post.titles[1:] == ["29 min left: Carry in 3 plants by 18:40"]
