"""Alarms in the night: a thermometer shows a spot colder than told, and plants there must go in."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from sillward.config.household import NoticePolicy
from sillward.config.quiet_hours import QuietHours
from sillward.ledger import Stage
from sillward.service.answers import confirm
from sillward.service.desk import Desk
from sillward_rules.readings.hourly_readings import Quantity, by_the_hour
from sillward_rules.weather.climate import climate_of
from sillward_rules.weather.time_expressions import parse_hours
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


def told(
    low_c: float = 10.0, policy: NoticePolicy = SILENT, quiet: bool = True
) -> tuple[World, Desk]:
    """A dusk round told at five o'clock, and a night that its forecast leaves both pots out in."""
    world = a_world("17:00", low_c=low_c)
    household = a_household(a_channel(all_clear=True), policy=policy)
    if quiet:
        hours = QuietHours(parse_hours("21:00-07:00"))
        household = replace(household, rounds=replace(household.rounds, quiet=hours))
    world.household = household
    desk = world.desk
    desk.tick()
    assert len(world.post.pushes) == 1
    return world, desk


def read(world: World, desk: Desk, until: str, colder_k: float, spot: str = "bench") -> None:
    """Let a thermometer show the air colder than forecast, every 20 minutes from half past ten
    on, when it falls, and the desk tick as often. until: the local hour."""
    collection, weather = world.household.collection, desk.context.weather()
    climate = climate_of(SITE, collection.spots, weather)
    air = climate.temp_c[:, climate.column(spot)]
    end = local(until, DAY if until > "12:00" else DAY + timedelta(days=1))
    world.clock.now = max(world.clock.now, local("22:30"))
    while world.clock.now <= end:
        at = np.array([world.clock.now.timestamp()])
        shown = by_the_hour(at, np.interp(at, climate.times, air) - colder_k)
        world.ledger.readings.keep(SITE.name, spot, Quantity.TEMPERATURE, "sensor", shown)
        desk.tick()
        world.clock.move(minutes=20)


def test_a_night_that_is_colder_than_told_calls_plants_in_once_in_quiet_hours_too() -> None:
    world, desk = told()
    read(world, desk, "05:00", 6.0)

    assert len(world.post.pushes) == 2
    _, message = world.post.pushes[-1]
    assert message.title.startswith("Carry in 2 plants by ")
    assert message.title.endswith(" °C and falling")
    assert ": bench is " in message.title
    assert "bench to room: Left pot, Right pot" in message.body
    assert ", expected " in message.body
    (chore,) = world.ledger.chores.of_day(SITE.name, DAY)
    assert chore.open
    assert set(chore.plants) == {"Left pot", "Right pot"}


@pytest.mark.parametrize("colder_k", [-4.0, 0.0, 0.4])
def test_nothing_is_said_of_a_night_that_is_as_told_or_warmer(colder_k: float) -> None:
    world, desk = told()
    read(world, desk, "01:30", colder_k)
    assert len(world.post.pushes) == 1


def test_a_night_that_stays_above_the_limits_is_no_alarm() -> None:
    world, desk = told(low_c=14.0)
    read(world, desk, "01:30", 2.0)
    assert len(world.post.pushes) == 1


def test_an_alarm_counts_for_none_of_the_messages_of_its_round() -> None:
    world, desk = told(policy=replace(SILENT, max_messages=1))
    read(world, desk, "01:30", 6.0)
    assert len(world.post.pushes) == 2
    assert world.ledger.notices.count_by_channel(SITE.name, "dusk", DAY) == {"phone": 1}


def test_all_channels_that_are_told_alarms_hear_it() -> None:
    world, desk = told(quiet=False)
    world.household = a_household(
        a_channel(), a_channel("other", "alarm"), a_channel("mail", "week")
    )
    desk = world.desk
    read(world, desk, "01:30", 6.0)
    assert {name for name, message in world.post.pushes if "falling" in message.title} == {
        "phone",
        "other",
    }


def test_what_an_alarm_asked_is_done_and_not_asked_again() -> None:
    world, desk = told()
    read(world, desk, "01:30", 6.0)
    (chore,) = world.ledger.chores.of_day(SITE.name, DAY)
    confirm(world.ledger, SITE.name, [(chore, chore.plants)], world.clock.now)
    read(world, desk, "03:00", 6.0)

    assert len(world.post.pushes) == 2
    assert world.spots()["Left pot"] == "room"


def test_more_plants_are_another_alarm() -> None:
    world, desk = told()
    hardy = a_plant("Hardy one")
    limits = replace(hardy.limits, night_low=replace(hardy.limits.night_low, value=4.0))  # type: ignore[type-var]
    plants = (*world.household.collection.plants, replace(hardy, limits=limits))
    world.household = replace(
        world.household, collection=replace(world.household.collection, plants=plants)
    )
    desk = world.desk
    read(world, desk, "01:30", 5.0)
    assert "2 plants" in world.post.titles[-1]
    read(world, desk, "05:00", 14.0)
    assert len(world.post.pushes) == 3
    assert "arry in 1 plant " in world.post.titles[-1]
    assert "Hardy one" in world.post.pushes[-1][1].body
    assert "Left pot" not in world.post.pushes[-1][1].body


def test_an_alarm_is_reminded_of_like_any_order() -> None:
    remind = NoticePolicy(remind=timedelta(minutes=30), pass_on=None)
    world, desk = told(policy=remind, quiet=False)
    read(world, desk, "02:30", 6.0)
    stages = [
        notice.stage for notice in world.ledger.notices.of_round(SITE.name, "dusk", DAY, stage=None)
    ]
    assert stages.count(Stage.ALARM) == 1
    assert stages.count(Stage.REMINDER) == 1


def test_an_alarm_outlives_a_restart() -> None:
    world, desk = told()
    read(world, desk, "01:30", 6.0)
    read(world, world.desk, "03:00", 6.0)
    assert len(world.post.pushes) == 2
