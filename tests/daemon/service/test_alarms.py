"""Alarms: what is told outside the rounds, when, how often, in which words, and to whom."""

from datetime import timedelta
from email.utils import format_datetime

import pytest

from sillward.ledger import NoticeState
from sillward.net.http import Answer, Query
from sillward.service.desk import PATIENCE
from sillward.wording.message_length import MAX_CHARACTERS
from sillward.wording.push import Message
from tests.support.desks import (
    DAY,
    SITE,
    Make,
    World,
    a_channel,
    a_household,
    a_plant,
    a_world,
    local,
)
from tests.support.fakes import low_of


@pytest.fixture
def make() -> Make:
    return a_world


def alarms(world: World, channel: str = "phone") -> list[Message]:
    """Return what has been told outside the rounds."""
    told = {
        notice.title
        for notice in world.ledger.notices.latest(SITE.name, 100)
        if notice.round.split()[0] in ("blind", "clock")
    }
    return [
        message for name, message in world.post.pushes if name == channel and message.title in told
    ]


def run(world: World, until: str, days: int = 0, *, minutes: float = 10) -> None:
    """Tick now and then up to an hour of a day."""
    desk, end = world.desk, local(until, DAY + timedelta(days=days))
    while world.clock.now <= end:
        desk.tick()
        world.clock.move(minutes=minutes)


def blinded(make: Make, *channels: object, **given: object) -> World:
    """A world whose last good forecast is of 09:10, and whose source has failed since."""
    world = make("09:10", *channels, **given)
    world.desk.tick()
    world.source.failing = True
    return world


def test_a_day_without_a_forecast_is_told_once_a_day_in_daylight(make: Make) -> None:
    world = blinded(make, low_c=4.0)

    run(world, "23:59", days=2, minutes=5)

    first, second = alarms(world)
    assert first.title == "Treat tonight as cold: no forecast since Thu 09:10"
    assert first.body.splitlines() == [
        "Bring 2 plants in by dusk",
        "Last known for tonight: bench 4.0 °C",
        "Invented weather: answered 503",
        "Go by your own thermometer",
    ]
    assert second.title == first.title
    times = [
        notice.sent_at
        for notice in world.ledger.notices.latest(SITE.name, 100)
        if notice.round.startswith("blind")
    ]
    assert sorted(at for at in times if at) == [
        # 24 hours after 09:10, and on the next day at sunrise
        local("09:15", DAY + timedelta(days=1)),
        local("08:20", DAY + timedelta(days=2)),
    ]


def test_an_alarm_is_short_and_says_what_is_not_known(make: Make) -> None:
    world = make("10:00")
    world.source.failing = True

    run(world, "12:00")

    (told,) = alarms(world)
    assert told.title == "Treat tonight as cold: no forecast so far"
    assert "Nothing is known about tonight" in told.body
    assert len(told.title) + len(told.body) < MAX_CHARACTERS


def test_a_long_reason_does_not_push_out_what_is_to_do(make: Make) -> None:
    world = blinded(make)
    world.source.reason = "x" * 400

    run(world, "10:00", days=1)

    (told,) = alarms(world)
    assert len(told.title) + len(told.body) < MAX_CHARACTERS
    assert told.body.splitlines()[0].startswith("Bring ")
    assert told.body.splitlines()[-1] == "Go by your own thermometer"


def test_a_start_without_network_waits_a_little_before_it_alarms(make: Make) -> None:
    world = make("10:00")
    world.source.failing = True
    desk = world.desk

    while world.clock.now < local("10:00") + PATIENCE:
        desk.tick()
        world.clock.move(minutes=1)
    assert alarms(world) == []

    desk.tick()
    assert len(alarms(world)) == 1


def test_after_the_dusk_round_nothing_more_is_said_that_evening(make: Make) -> None:
    """The dusk sheet, told without a forecast, has given the orders of that night."""
    world = make("17:00")
    world.source.failing = True

    run(world, "23:00")

    assert alarms(world) == []
    (title,) = world.post.titles
    assert title.startswith("Carry in")


def test_the_end_of_a_blind_spell_is_told_once(make: Make) -> None:
    world = blinded(make, low_c=4.0)
    run(world, "11:00", days=1)
    world.source.failing = False

    run(world, "23:59", days=2)

    first, last = alarms(world)
    assert first.title.startswith("Treat tonight as cold")
    assert last.title == "The forecast is back: Invented weather"
    assert last.body.splitlines()[0] == "Tonight: bench 4.0 °C"
    assert last.body.splitlines()[1].startswith("Bring ")


def test_an_alarm_that_had_to_wait_speaks_of_the_hour_at_which_it_goes_out(make: Make) -> None:
    """It was to be done by 17:55; at six the message says that it is time."""
    world = make("15:00")
    world.source.failing = True
    world.post.down = {"phone"}
    run(world, "16:30")
    assert [
        notice.round
        for notice in world.ledger.notices.latest(SITE.name)
        if notice.state == NoticeState.WAITING
    ] == ["blind"]

    world.clock.now = local("18:10")
    world.post.down = set()
    world.desk.tick()

    (told,) = [message for _, message in world.post.pushes if "cold" in message.title]
    assert told.body.splitlines()[0] == "Bring 2 plants in now"
    assert told.urgent


def test_an_alarm_in_the_morning_is_not_urgent(make: Make) -> None:
    world = make("10:00")
    world.source.failing = True

    run(world, "11:00")

    (told,) = alarms(world)
    assert "in by 17:55" in told.body
    assert not told.urgent


def test_what_is_repeated_day_after_day_is_as_old_as_it_was(make: Make) -> None:
    """The source answers all the time, with the numbers of 09:10."""
    world = make("09:10")
    world.source.ask = lambda *_, **__: low_of(4.0)  # type: ignore[method-assign]

    run(world, "12:00", days=1)

    (told,) = alarms(world)
    assert told.title == "Treat tonight as cold: no forecast since Thu 09:10"
    assert "Invented weather has nothing new" in told.body.splitlines()


def test_a_forecast_that_is_nearly_too_old_does_not_come_and_go(make: Make) -> None:
    """It is 23 hours old when it is fetched and too old an hour later, again and again."""
    world = make("09:10")
    world.source.ask = lambda *_, **__: low_of("4.0 late")  # type: ignore[method-assign]
    run(world, "17:00", days=3)

    told = alarms(world)
    assert len(told) == 4
    assert {message.title[:11] for message in told} == {"Treat tonig"}

    world.source.ask = lambda *_, **__: low_of("4.0 ago 3")  # type: ignore[method-assign]
    run(world, "17:00", days=5)
    assert [alarm.title for alarm in alarms(world)[4:]] == [
        "The forecast is back: Invented weather"
    ]


def test_the_end_does_not_come_before_its_beginning(make: Make) -> None:
    """The network is down: neither the forecast nor the alarm gets through."""
    world = blinded(make, a_channel("phone"), a_channel("mail"), low_c=4.0)
    run(world, "09:00", days=1)
    world.post.down = {"phone"}
    run(world, "12:00", days=1)
    asked = world.source.ask

    def up_again(query: Query, **given: object) -> Answer:
        world.post.down, world.source.failing = set(), False
        return asked(query, **given)

    world.source.ask = up_again  # type: ignore[method-assign]
    run(world, "16:50", days=1)

    assert [alarm.title[:11] for alarm in alarms(world, "mail")] == ["Treat tonig", "The forecas"]
    assert alarms(world, "phone") == []


def test_an_end_in_the_night_is_told_in_the_morning(make: Make) -> None:
    world = blinded(make, low_c=4.0)
    run(world, "22:00", days=1)
    world.source.failing = False

    run(world, "08:00", days=2)
    assert len(alarms(world)) == 1
    run(world, "09:00", days=2)
    assert len(alarms(world)) == 2


def test_a_restart_tells_nothing_again(make: Make) -> None:
    world = blinded(make)
    world.clock.now = local("10:00", DAY + timedelta(days=1))
    desk = world.desk
    desk.tick()
    world.clock.move(minutes=30)
    desk.tick()
    assert len(alarms(world)) == 1

    for _ in range(5):
        again = world.desk
        again.tick()
        world.clock.move(minutes=30)
        again.tick()

    assert len(alarms(world)) == 1


def test_who_takes_alarms_is_told_and_if_nobody_does_all_are(make: Make) -> None:
    some = blinded(make, a_channel("phone", "dusk", "alarm"), a_channel("mail", "week"))
    run(some, "12:00", days=1)
    assert len(alarms(some, "phone")) == 1
    assert alarms(some, "mail") == []

    none = blinded(make, a_channel("phone", "dusk"), a_channel("mail", "week"))
    run(none, "12:00", days=1)
    assert len(alarms(none, "phone")) == len(alarms(none, "mail")) == 1


def test_an_alarm_that_cannot_be_sent_is_tried_again(make: Make) -> None:
    world = blinded(make)
    world.post.down = {"phone"}
    run(world, "12:00", days=1)
    assert alarms(world) == []

    world.post.down = set()
    run(world, "13:00", days=1)
    assert len(alarms(world)) == 1


def test_a_mild_last_forecast_does_not_call_off_the_caution(make: Make) -> None:
    world = blinded(make, low_c=15.0)

    run(world, "12:00", days=1)

    (told,) = alarms(world)
    assert "Bring 2 plants in by 17:55" in told.body
    assert "Last known for tonight: bench 15.0 °C" in told.body


def test_plants_that_live_inside_need_no_hands(make: Make) -> None:
    world = blinded(make)
    world.household = a_household(plants=(a_plant("Sill", home="room"),))

    run(world, "12:00", days=1)

    (told,) = alarms(world)
    assert "Bring" not in told.body


def test_a_clock_of_which_two_sources_differ_is_told_once_a_day(make: Make) -> None:
    world = make("09:00")
    offs = iter([720, 0] * 100)
    world.source.ask = lambda *_, **__: low_of(  # type: ignore[method-assign]
        5.0 + world.clock.now.minute / 1000,
        date=format_datetime(world.clock.now + timedelta(seconds=next(offs)), usegmt=True),
    )

    run(world, "18:00")

    assert [alarm.title for alarm in alarms(world)] == [
        "The clock of sillward's machine is wrong",
        "The clock of sillward's machine is right again",
    ]


def test_a_clock_that_is_off_is_told_and_its_end_too(make: Make) -> None:
    world = make("10:00")
    right = timedelta(minutes=12)
    world.source.ask = lambda *_, **__: low_of(  # type: ignore[method-assign]
        5.0 + world.clock.now.minute / 1000,
        date=format_datetime(world.clock.now + right, usegmt=True),
    )

    run(world, "12:00")
    (told,) = alarms(world)
    assert told.title == "The clock of sillward's machine is wrong"
    assert told.body.splitlines()[0] == (
        "This machine's clock is 12 min behind Invented weather's: mind the hours"
    )

    run(world, "17:00")
    dusk = world.post.pushes[-1][1]
    assert "clock is 12 min behind" in dusk.body

    right = timedelta(0)
    run(world, "12:00", days=1)
    assert alarms(world)[-1].title == "The clock of sillward's machine is right again"
    assert len([alarm for alarm in alarms(world) if alarm.title.endswith("again")]) == 1
