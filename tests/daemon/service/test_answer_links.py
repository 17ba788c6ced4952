"""Links in notices: which notices carry them, what they stand for, and what they no longer say."""

from dataclasses import replace
from datetime import timedelta

import pytest

from sillward.config.channel import Channel
from sillward.config.household import NoticePolicy
from sillward.ledger import Stage, StoredChore
from sillward.links.page_links import PageLinks
from sillward.links.token import Purpose, Token, read
from sillward.service import answer_links, answers
from sillward.service.desk import Desk
from sillward.wording.push import Links
from sillward_rules.chore import ChoreKind, only
from sillward_rules.plants.limits import Limit, Limits
from tests.support.desks import DAY, SITE, World, a_channel, a_household, a_plant, a_world, local

KEY = b"k" * 32
URL = "https://plants.example"
PHONE = replace(a_channel(), person="Inés")


@pytest.fixture
def world() -> World:
    return a_linked_world()


def a_linked_world(*channels: Channel, count: int = 3, policy: NoticePolicy | None = None) -> World:
    """A dusk round told at five; pots must be in by 18:40."""
    world = a_world("17:00", low_c=5.0)
    plants = tuple(a_plant(f"Pot {number}") for number in range(count))
    world.household = a_household(
        *(channels or (PHONE,)), plants=plants, policy=policy or NoticePolicy()
    )
    return world


def linked(world: World) -> Desk:
    desk = world.desk
    desk.context.links = PageLinks(KEY, URL)
    return desk


def links_sent(world: World) -> list[Links | None]:
    return [message.links for _, message in world.post.pushes]


def the_token(links: Links | None) -> Token:
    assert links is not None
    token = read(links.address.rpartition("/")[2], KEY)
    assert token is not None
    return token


def told(desk: Desk) -> list[StoredChore]:
    chores = desk.context.ledger.chores.of_day(SITE.name, DAY)
    return [chore for chore in chores if chore.kind is ChoreKind.CARRY_IN]


def names_of(chores: list[StoredChore] | None) -> list[str]:
    return sorted(name for chore in chores or [] for name in chore.plants)


def test_a_round_with_orders_carries_a_button_an_exception_and_the_page(world: World) -> None:
    linked(world).tick()

    (links,) = links_sent(world)
    assert links is not None
    token = the_token(links)
    assert [(one.text, one.acts) for one in links.buttons] == [
        ("All 3 done", True),
        ("All but ...", False),
        ("See all", False),
    ]
    assert [one.address for one in links.buttons] == [links.address, links.address, f"{URL}/"]
    assert links.lines == (f"Done? {links.address}", f"Everything to do: {URL}/")
    assert (token.round, token.day, token.stage) == ("dusk", DAY, "told")
    assert token.told_at == world.clock.now
    assert "plants.example" not in world.notice().body, "links are never stored"


def test_a_single_plant_leaves_nothing_to_except(world: World) -> None:
    world = a_linked_world(count=1)
    linked(world).tick()

    (links,) = links_sent(world)
    assert links is not None
    assert [one.text for one in links.buttons] == ["Done", "See all"]


def test_without_a_page_there_are_no_links(world: World) -> None:
    world.desk.tick()

    assert links_sent(world) == [None]


def leads_to_the_page_alone(links: Links | None) -> bool:
    assert links is not None
    assert [one.address for one in links.buttons] == [links.address]
    assert links.lines == (f"Everything to do: {URL}/",)
    return links.address == f"{URL}/"


def test_a_round_that_asks_for_nothing_leads_to_the_page() -> None:
    world = a_linked_world(replace(PHONE, all_clear=True))
    world.source.low_c = 15.0
    linked(world).tick()

    (links,) = links_sent(world)
    assert leads_to_the_page_alone(links)


def test_the_alarm_of_a_night_that_nobody_knows_leads_to_the_page(world: World) -> None:
    world.source.failing = True
    world.clock.now = local("14:00")
    desk = linked(world)
    while world.clock.now < local("17:10"):
        desk.tick()
        world.clock.move(minutes=5)

    alarms = [message for _, message in world.post.pushes if "no forecast" in message.title]
    assert alarms
    assert all(leads_to_the_page_alone(message.links) for message in alarms)


def test_a_week_has_none(world: World) -> None:
    world.clock.now = local("17:55", DAY + timedelta(days=3))  # a Sunday, dusk was told before
    linked(world).tick()
    world.post.pushes.clear()
    world.clock.now = local("18:01", DAY + timedelta(days=3))
    linked(world).tick()

    assert [links for links in links_sent(world) if links] == []
    assert any("week" in title.lower() for title in world.post.titles)


def test_a_link_knows_its_reader_again(world: World) -> None:
    desk = linked(world)
    desk.tick()
    token = the_token(links_sent(world)[0])

    assert answer_links.person_of(desk.context, token) == "Inés"
    renamed = a_household(replace(PHONE, person="Tomás"))
    desk.context.replace_household(renamed)
    assert answer_links.person_of(desk.context, token) is None


def test_a_link_stands_for_what_was_told_also_when_it_is_done(world: World) -> None:
    desk = linked(world)
    desk.tick()
    token = the_token(links_sent(world)[0])
    everyone = ["Pot 0", "Pot 1", "Pot 2"]

    assert names_of(answer_links.told_with(desk.context, token)) == everyone
    (chore,) = told(desk)
    world.ledger.confirm(SITE.name, world.clock.now, {chore.id: ["Pot 1"]}, {})
    assert names_of(answer_links.told_with(desk.context, token)) == everyone
    world.ledger.confirm(SITE.name, world.clock.now, {chore.id: None}, {})
    assert names_of(answer_links.told_with(desk.context, token)) == everyone
    assert answer_links.open_now(desk.context, token) == []


def test_what_was_done_before_is_not_in_it() -> None:
    world = a_linked_world(PHONE, a_channel("mail"))
    world.post.down.add("mail")
    desk = linked(world)
    desk.tick()
    (chore,) = told(desk)
    world.ledger.confirm(SITE.name, world.clock.now, {chore.id: ["Pot 1"]}, {})
    world.post.down.clear()
    world.clock.move(minutes=1)
    desk.tick()

    late = the_token(links_sent(world)[-1])
    assert world.post.pushes[-1][0] == "mail"
    assert late.told_at == world.clock.now, "a link is made when its notice is sent"
    assert names_of(answer_links.told_with(desk.context, late)) == ["Pot 0", "Pot 2"]
    assert answer_links.person_of(desk.context, late) is None


def test_a_plant_that_joins_ends_what_a_link_says() -> None:
    """The button of the older message must not be taken for the plant that it did not name."""
    world = a_linked_world()
    tough = replace(a_plant("Tough pot"), limits=Limits(night_low=Limit(2.0, "your own limit")))
    world.household = a_household(PHONE, plants=(a_plant("Pot 0"), tough))
    desk = linked(world)
    desk.tick()
    first = the_token(links_sent(world)[0])
    assert names_of(answer_links.told_with(desk.context, first)) == ["Pot 0"]
    world.source.low_c = -3.0
    world.clock.move(minutes=60)
    plan = world.ledger.call_schedules.get(world.source.name)
    assert plan is not None
    due = replace(plan, next_at=world.clock.now)
    world.ledger.call_schedules.keep(world.source.name, due)
    desk.tick()

    assert answer_links.told_with(desk.context, first) is None
    assert names_of(answer_links.open_now(desk.context, first)) == ["Pot 0", "Tough pot"]
    second = the_token(links_sent(world)[-1])
    assert (second.stage, second.change) == ("change", 1)
    assert names_of(answer_links.told_with(desk.context, second)) == ["Tough pot"]


def test_a_reminder_stands_for_what_it_reminds_of() -> None:
    world = a_linked_world(policy=NoticePolicy(remind=timedelta(minutes=30), pass_on=None))
    desk = linked(world)
    while world.clock.now < local("18:15"):
        desk.tick()
        world.clock.move(minutes=5)

    assert "All done? Then say so\n" in f"{world.post.pushes[-1][1].body}\n"
    first, reminder = (the_token(links) for links in links_sent(world))
    assert reminder.stage == "reminder"
    for token in (first, reminder):
        assert names_of(answer_links.told_with(desk.context, token)) == ["Pot 0", "Pot 1", "Pot 2"]


def test_a_reminder_stands_for_the_same_when_it_was_put_off_and_came_again() -> None:
    world = a_linked_world(policy=NoticePolicy(remind=timedelta(minutes=30), pass_on=None))
    desk = linked(world)
    desk.tick()
    (chore,) = told(desk)
    world.clock.now = local("18:11")
    desk.tick()
    before = world.ledger.chores.row(SITE.name, chore.id)
    assert before is not None
    answers.put_off(world.ledger, SITE.name, [chore], local("18:25"), world.clock.now)
    first, reminder = (the_token(links) for links in links_sent(world))
    assert names_of(answer_links.told_with(desk.context, reminder)) == ["Pot 0", "Pot 1", "Pot 2"]
    world.clock.now = local("18:26")
    desk.tick()

    again = the_token(links_sent(world)[-1])
    assert again.told_at == world.clock.now
    for token in (first, reminder, again):
        assert names_of(answer_links.told_with(desk.context, token)) == ["Pot 0", "Pot 1", "Pot 2"]
    world.ledger.chores.restore_hour(before | {"reminded_at": None})  # "later" is taken back
    for token in (first, reminder, again):
        assert names_of(answer_links.told_with(desk.context, token)) == ["Pot 0", "Pot 1", "Pot 2"]


def in_two(desk: Desk) -> tuple[StoredChore, StoredChore]:
    """Make two orders of the one: Pot 0, and Pot 1 with Pot 2 from another spot."""
    ledger = desk.context.ledger
    (chore,) = told(desk)
    rest = replace(only(chore.chore, ["Pot 1", "Pot 2"]), id=f"{chore.id}-2", from_spot="yard")
    ledger.chores.write(SITE.name, "dusk", only(chore.chore, ["Pot 0"]))
    ledger.chores.write(SITE.name, "dusk", rest)
    one, other = sorted(told(desk), key=lambda kept: len(kept.plants))
    return one, other


@pytest.mark.parametrize("stage", [Stage.REMINDER, Stage.PASSED_ON])
def test_a_reminder_does_not_stand_for_what_is_put_off(stage: Stage) -> None:
    """It does not name it either."""
    world = a_linked_world(
        PHONE,
        a_channel("neighbour", "alarm"),
        policy=NoticePolicy(remind=timedelta(minutes=30), pass_on=timedelta(minutes=10)),
    )
    desk = linked(world)
    desk.tick()
    one, other = in_two(desk)
    world.clock.now = local("18:11")
    desk.tick()
    reminder = the_token(links_sent(world)[-1])
    assert names_of(answer_links.told_with(desk.context, reminder)) == ["Pot 0", "Pot 1", "Pot 2"]
    if stage is Stage.PASSED_ON:
        world.post.down.add("neighbour")
        world.clock.now = local("18:31")
        desk.tick()
        world.post.down.clear()
    ledger, now = world.ledger, world.clock.now
    answers.put_off(ledger, SITE.name, [one], now + timedelta(minutes=4), now)
    later = now + timedelta(minutes=30)
    ledger.put_off(SITE.name, now, {other.id: later})
    world.clock.move(minutes=5)
    desk.tick()

    of_stage = [
        (message, token)
        for _, message in world.post.pushes
        if (token := the_token(message.links)).stage == stage.value
    ]
    message, token = of_stage[-1]
    assert token.told_at == world.clock.now
    assert "Pot 0" in message.body
    assert "Pot 1" not in message.body
    assert names_of(answer_links.told_with(desk.context, token)) == ["Pot 0"]
    world.clock.now = later
    desk.tick()
    assert names_of(answer_links.told_with(desk.context, token)) == ["Pot 0"]
    assert names_of(answer_links.told_with(desk.context, reminder)) == ["Pot 0", "Pot 1", "Pot 2"]


def test_an_order_that_leads_elsewhere_ends_what_a_link_says(world: World) -> None:
    desk = linked(world)
    desk.tick()
    token = the_token(links_sent(world)[0])
    (chore,) = told(desk)
    cellar, yard = replace(chore.chore, to_spot="cellar"), replace(chore.chore, from_spot="yard")
    for changed in (cellar, yard):
        world.ledger.chores.write(SITE.name, "dusk", changed)
        assert answer_links.told_with(desk.context, token) is None
    world.ledger.chores.write(SITE.name, "dusk", chore.chore)
    assert answer_links.told_with(desk.context, token) is not None


def test_a_link_acts_until_its_night_is_over(world: World) -> None:
    linked(world).tick()
    token = the_token(links_sent(world)[0])

    assert not token.is_expired(local("08:00", DAY + timedelta(days=1)))
    assert token.is_expired(local("09:30", DAY + timedelta(days=1)))


def test_a_defect_in_links_costs_no_notice(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> None:
        msg = "no links today"
        raise ValueError(msg)

    monkeypatch.setattr(answer_links, "_digest_of", fail)
    desk = linked(world)
    desk.tick()

    assert links_sent(world) == [None]
    assert desk.defects.events == ["notice.failed_to_link"]


def test_a_trial_has_a_link_that_answers_nothing(world: World) -> None:
    context = linked(world).context
    links = answer_links.trial_links(PageLinks(KEY, URL), context.voice, world.clock.now)

    token = the_token(links)
    assert token.purpose is Purpose.TRY
    assert token.round == ""


def test_no_key_or_token_is_shown_of_what_makes_links() -> None:
    assert "kkkk" not in repr(PageLinks(KEY, URL))


def test_a_morning_that_carries_out_can_be_answered(world: World) -> None:
    desk = linked(world)
    desk.tick()
    (chore,) = told(desk)
    world.ledger.confirm(SITE.name, world.clock.now, {chore.id: None}, {})
    world.clock.now = local("08:31", DAY + timedelta(days=1))
    desk.tick()

    links = links_sent(world)[-1]
    token = the_token(links)
    assert links is not None
    assert (token.round, links.buttons[0].text) == ("morning", "Done")
    assert names_of(answer_links.told_with(desk.context, token)) == ["Pot 0", "Pot 1", "Pot 2"]
