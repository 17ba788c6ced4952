"""What the night was, in the morning round: what was read, and what had been told."""

from datetime import timedelta

import numpy as np

from sillward_rules.readings.hourly_readings import Quantity, by_the_hour
from sillward_rules.sheet import Round
from sillward_rules.weather import sun
from tests.support.desks import DAY, SITE, World, a_channel, a_household, a_world, local
from tests.support.past_readings import past_nights, told

MORNING = DAY + timedelta(days=1)
NIGHT = sun.night_of(SITE, DAY)


def after(low_c: float, told_c: float) -> World:
    """A morning after a night that a sensor on the bench has read every quarter of an hour."""
    world = a_world("17:00", a_channel(all_clear=True), low_c=told_c)
    told(world.ledger, SITE, world.source.name, DAY, told_c)
    coldest = local("06:40", MORNING).timestamp()
    at = coldest + np.arange(-52, 9) * 900
    assert at[0] < NIGHT.start.timestamp() < NIGHT.end.timestamp() < at[-1]
    values = low_c + np.abs(at - coldest) / 36000
    hours = by_the_hour(at, values)
    world.ledger.readings.keep(SITE.name, "bench", Quantity.TEMPERATURE, "sensor", hours)
    world.clock.now = local("08:40", MORNING)
    return world


def test_the_morning_tells_what_was_read_and_what_was_told() -> None:
    world = after(11.2, 12.5)
    world.desk.tick()

    body = world.post.pushes[-1][1].body
    assert "Bench: coldest tonight was 11.2 °C at 06:40 (expected 12.5 °C)" in body.splitlines()


def test_the_sheet_has_the_spots_by_how_much_colder_they_were() -> None:
    world = after(11.2, 12.5)
    context = world.desk.context
    sheet = context.sheet(Round.MORNING, context.weather())
    (read,) = sheet.last_night
    assert (read.spot, read.low_c) == ("bench", 11.2)
    assert read.at is not None
    assert read.at.astimezone(SITE.zone).strftime("%H:%M") == "06:40"
    assert not context.sheet(Round.DUSK, context.weather()).last_night


def test_told_is_with_what_was_known_of_the_spot_at_dusk() -> None:
    world = after(11.2, 12.5)
    past_nights(
        world.ledger, SITE, world.source.name, "bench", local("12:00"), [-1.5] * 20, low_c=9.0
    )
    context = world.desk.context
    (read,) = context.sheet(Round.MORNING, context.weather()).last_night
    assert 10.9 < read.told_c < 11.4


def test_a_fact_alone_is_no_reason_for_a_message() -> None:
    world = after(18.0, 18.0)
    world.household = a_household(a_channel())
    world.desk.tick()
    context = world.desk.context
    sheet = context.sheet(Round.MORNING, context.weather())
    assert sheet.last_night
    assert not sheet.chores
    assert not sheet.warnings
    assert not world.post.pushes


def test_without_readings_nothing_is_said() -> None:
    world = a_world("17:00", a_channel(all_clear=True))
    world.clock.now = local("08:40", MORNING)
    world.desk.tick()
    assert "coldest tonight" not in world.post.pushes[-1][1].body
