"""Phones that are told by Web Push: beside the channels of the collection, never in their place."""

import re
from dataclasses import replace
from datetime import timedelta

import pytest

from sillward.channels.push_address import PushAddress, is_push
from sillward.config.channel import Channel
from sillward.config.household import NoticePolicy
from sillward.config.models import ChannelTable
from sillward.errors import DeliveryError, UsageError
from sillward.ledger import Device, NoticeState
from sillward.links.page_links import PageLinks
from sillward.reports import status as report
from sillward.service import devices
from sillward.service.desk import Desk
from sillward.wording.push import Message
from tests.support.desks import DAY, SITE, World, a_channel, a_household, a_world, local
from tests.support.push_service import IDENTITY, Browser

INES = "phone of Inés"
GREETING = "This phone gets messages from now on"


def courtyard(now: str = "12:00", *, policy: NoticePolicy | None = None) -> tuple[World, Desk]:
    world = a_world(now)
    told = a_household(a_channel("phone"), policy=policy or NoticePolicy(remind=None, pass_on=None))
    world.household = told
    desk = world.desk
    desk.context.push = IDENTITY
    return world, desk


def add(desk: Desk, name: str = "one", person: str = "Inés") -> Device:
    browser = Browser(f"https://push.example.net/{name}")
    return devices.add(desk.context, browser.subscription, person, person or None)


def until(world: World, desk: Desk, text: str, minutes: float = 10) -> None:
    while world.clock.now < local(text):
        desk.tick()
        world.clock.move(minutes=minutes)
    desk.tick()


def heard(world: World, channel: str) -> list[str]:
    return [message.title for name, message in world.post.pushes if name == channel]


# -- who is told


def test_a_phone_is_greeted_and_then_told_as_the_channels_are() -> None:
    world, desk = courtyard()
    add(desk)

    until(world, desk, "17:10")

    greeting, *rounds = heard(world, INES)
    assert greeting == GREETING
    assert rounds == heard(world, "phone")
    assert len(rounds) == 2


def test_it_is_told_by_a_push_that_is_signed() -> None:
    _, desk = courtyard()
    device = add(desk)

    (channel,) = desk.context.devices

    assert is_push(channel.url)
    assert channel.url is not None
    address = PushAddress.of_url(channel.url)
    assert address is not None
    assert address.by == IDENTITY
    assert address.to.endpoint == device.endpoint


def test_its_buttons_are_those_of_its_person() -> None:
    world, desk = courtyard()
    desk.context.links = PageLinks(b"k" * 32, "https://plants.example")
    add(desk)

    until(world, desk, "17:10")

    links = {name: message.links for name, message in world.post.pushes}
    ours, other = links[INES], links["phone"]
    assert ours is not None
    assert other is not None
    assert ours.address.startswith("https://plants.example/t/")
    assert ours.address != other.address


def test_it_is_reminded_and_hears_of_changes() -> None:
    world, desk = courtyard(policy=NoticePolicy(pass_on=None))
    add(desk)
    until(world, desk, "17:10")
    world.source.low_c = -6.0
    until(world, desk, "19:00")

    assert heard(world, INES)[1:] == heard(world, "phone")
    assert len(heard(world, INES)) > 2


def test_alarms_still_go_to_the_channels_that_list_none() -> None:
    """Where no channel asks for alarms, all are told them: a phone must not change that."""
    world, desk = courtyard()
    world.household = a_household(a_channel("phone", "dusk"))
    desk.take_over(world.household)
    add(desk)

    assert [channel.name for channel in desk.context.alarmed(DAY)] == ["phone", INES]


def test_an_order_is_passed_on_to_another_channel_before_a_phone() -> None:
    """A phone that came after the round is the last to be asked."""
    world, desk = courtyard(policy=NoticePolicy())
    world.household = replace(
        world.household, channels=(a_channel("phone", "dusk"), a_channel("other", "alarm"))
    )
    desk.take_over(world.household)
    until(world, desk, "17:10")
    add(desk)

    until(world, desk, "19:00")

    assert len(heard(world, "other")) == 1
    assert heard(world, INES) == [GREETING]


def test_without_anybody_to_sign_it_is_tried_and_told() -> None:
    world, desk = courtyard("16:50")
    add(desk)
    desk.context.push = None
    world.post.down = {INES}

    until(world, desk, "17:30", minutes=2)

    assert any(trouble.startswith(f"{INES}: ") for trouble in desk.troubles())


# -- names


def test_each_phone_has_a_name_of_its_own() -> None:
    _, desk = courtyard()

    names = [add(desk, "a").name, add(desk, "b").name, add(desk, "c", "").name]
    names.append(add(desk, "d", "").name)

    assert names == [INES, "phone of Inés 2", "a phone", "a phone 2"]
    # What a channel of the collection is called has no blank in it, and so never is one of these.
    (rule,) = ChannelTable.model_fields["name"].metadata
    assert not [name for name in names if re.match(rule.pattern, name)]


def test_a_phone_that_is_added_again_keeps_its_name() -> None:
    _, desk = courtyard()
    add(desk, "a")
    again = add(desk, "a", "")

    (known,) = desk.context.ledger.devices.of_site(SITE.name)
    assert again.name == known.name == INES
    assert known.person == "Inés"
    assert len(desk.context.ledger.deeds.latest(SITE.name, 9)) == 1


def test_a_phone_that_is_somebody_elses_now_is_called_so() -> None:
    _, desk = courtyard()
    add(desk, "a")

    assert add(desk, "a", "Tomás").name == "phone of Tomás"
    (known,) = desk.context.ledger.devices.of_site(SITE.name)
    assert known.person == "Tomás"


def test_there_is_an_end_to_phones() -> None:
    _, desk = courtyard()
    for number in range(devices.MAX_DEVICES):
        add(desk, str(number))

    with pytest.raises(UsageError, match="20 phones already get messages"):
        add(desk, "more")
    assert add(desk, "3").name == "phone of Inés 4"


def test_a_name_is_one_short_line() -> None:
    _, desk = courtyard()

    name = add(desk, person="Inés\n\x1b[31m" + "x" * 100).name

    assert "\n" not in name
    assert "\x1b" not in name
    assert len(name) <= len("phone of ") + devices.MAX_PERSON


# -- how it ends


def test_a_phone_that_was_removed_is_told_nothing_more() -> None:
    world, desk = courtyard("16:50")
    device = add(desk)

    devices.remove(desk.context, device, "Inés")
    until(world, desk, "17:30")

    assert heard(world, INES) == []
    assert desk.troubles() == []
    assert [deed.what for deed in desk.context.ledger.deeds.latest(SITE.name, 9)] == [
        devices.ENDED,
        devices.BEGUN,
    ]


def test_a_phone_that_has_ended_is_asked_once_and_the_status_says_so() -> None:
    world, desk = courtyard("16:50")
    add(desk)
    until(world, desk, "16:55", minutes=5)
    world.post.ended = {INES}
    world.post.tried.clear()

    until(world, desk, "18:30")

    assert world.post.tried.count(INES) == 1
    assert len(heard(world, "phone")) == 1
    assert world.notice(INES).state is NoticeState.NOT_NEEDED
    (trouble,) = desk.troubles()
    assert trouble.startswith("phone of Inés has not been told since Thu 14 May 17:")
    context = desk.context
    document = report.document(context.household, context.updater, context.clock(), context.voice)
    assert "phone of Inés, no longer told" in report.text(document, context.voice)


@pytest.mark.parametrize("gone", [True, False])
def test_what_becomes_of_a_push_does_not_count_for_the_phone_that_has_its_name_by_now(
    *, gone: bool
) -> None:
    """Somebody removes a phone and adds another one while the first is being tried."""
    world, desk = courtyard("16:50")
    first = add(desk, "a")

    def exchanged(channel: Channel, message: Message) -> None:
        if channel.name != INES or world.post.tried:
            return world.post(channel, message)
        world.post.tried.append(channel.name)
        devices.remove(desk.context, first, None)
        world.clock.move(minutes=1)
        assert add(desk, "b").name == INES
        msg = f"channel {channel.name}: refused"
        raise DeliveryError(msg, gone=gone)

    desk.context.sender = exchanged
    until(world, desk, "16:56", minutes=1)

    (device,) = world.ledger.devices.of_site(SITE.name)
    assert device.gone_at is None
    assert heard(world, INES) == [GREETING]
    assert heard(world, "phone") == []
    states = [notice.state for notice in world.ledger.notices.latest(SITE.name, channel=INES)]
    assert sorted(states) == [NoticeState.NOT_NEEDED, NoticeState.SENT]


def test_a_phone_that_is_told_again_takes_the_place_of_the_one_that_ended() -> None:
    world, desk = courtyard("16:50")
    add(desk, "a")
    world.post.ended = {INES}
    desk.tick()
    assert desk.troubles()
    world.post.ended.clear()
    world.clock.move(minutes=1)

    assert add(desk, "b").name == INES
    desk.tick()

    assert desk.troubles() == []
    assert heard(world, INES) == [GREETING]


def test_a_channel_that_is_no_device_and_says_it_has_ended_is_not_lost() -> None:
    """Only a push service can say that; whatever is wrong with another channel is tried again."""
    world, desk = courtyard("16:50")
    world.post.ended = {"phone"}
    until(world, desk, "17:30", minutes=2)
    world.post.ended.clear()
    until(world, desk, "18:00", minutes=2)

    assert len(heard(world, "phone")) == 1


def test_a_phone_goes_with_the_ledger_into_memory_and_back() -> None:
    world, desk = courtyard()
    add(desk)

    world.ledger.to_memory()

    assert [channel.name for channel in desk.context.devices] == [INES]


def test_what_the_greeting_says_is_of_no_use_later() -> None:
    world, desk = courtyard()
    add(desk)
    world.clock.move(hours=1)

    desk.tick()

    assert GREETING not in heard(world, INES)


def test_the_status_lists_who_is_told() -> None:
    world, desk = courtyard()
    add(desk)
    context = desk.context

    document = report.document(context.household, context.updater, context.clock(), context.voice)

    assert document["phones"] == [
        {"name": INES, "since": world.clock().astimezone(SITE.zone).isoformat(), "gone": None}
    ]
    assert "phone of Inés, told since Thu 14 May 12:00" in report.text(document, context.voice)


def test_a_clock_far_ahead_leaves_phones_as_they_are() -> None:
    world, desk = courtyard()
    add(desk)
    world.ledger.prune(world.clock() + timedelta(days=900))

    assert len(desk.context.devices) == 1
