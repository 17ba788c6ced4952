"""The tick takes what sensors sent: it is kept, its faults are told, and no tick fails for it."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import timedelta

import pytest

from sillward.config.household import TopicSensor
from sillward.errors import LedgerError
from sillward.forecast.store import CLOCK_MARK
from sillward.ledger.tables.readings import ReadingTable
from sillward.readings.mqtt_listener import LinkState
from sillward.service import sensor_status
from sillward.service.desk import Desk
from sillward.service.sensor_readings import SensorReadings
from sillward_rules.readings.hourly_readings import Quantity
from sillward_rules.remark import SensorQuiet
from sillward_rules.sheet import Round
from tests.support.desks import DAY, SITE, World, a_household, a_world
from tests.support.sensors import BENCH, BROKER, MOISTURE, WARMTH, Listeners

QUIET_LOG = "reading.failed"


def with_sensors(world: World, *sensors: TopicSensor) -> tuple[Desk, Listeners]:
    world.household = replace(a_household(), broker=BROKER, sensors=sensors)
    listeners = Listeners()
    desk = world.desk
    desk.sensors = SensorReadings(desk.context, listeners)
    return desk, listeners


def lasts(world: World, site: str = SITE.name) -> dict[str, float]:
    return {sensor.name: sensor.last for sensor in world.ledger.readings.sensors(site)}


def test_what_came_is_in_the_ledger_after_the_next_tick() -> None:
    world = a_world("12:00")
    desk, listeners = with_sensors(world, BENCH, WARMTH, MOISTURE)
    desk.tick()
    listeners.open.say("garden/bench", "11.4")
    listeners.open.say("garden/device", '{"bme280": {"temperature": 11.6, "humidity": 55}}')

    desk.tick()

    assert lasts(world) == {
        "garden/bench": 11.4,
        "garden/device bme280.temperature": 11.6,
        "garden/device bme280.humidity": 55.0,
    }
    assert desk.troubles() == []


def test_without_sensors_nothing_listens() -> None:
    world = a_world("12:00")
    world.household = replace(a_household(), broker=BROKER)
    desk, listeners = world.desk, Listeners()
    desk.sensors = SensorReadings(desk.context, listeners)

    desk.tick()

    assert listeners.made == []
    assert sensor_status.link(world.ledger, SITE.name) is None


def test_what_is_refused_is_noted() -> None:
    world = a_world("12:00")
    desk, listeners = with_sensors(world, BENCH)
    desk.tick()
    listeners.open.say("garden/bench", "unavailable")
    listeners.open.say("garden/bench", "11.4", kept=True)

    desk.tick()

    (noted,) = world.ledger.readings.set_aside_since(SITE.name, world.clock() - timedelta(days=1))
    assert (noted.spot, noted.sensor, noted.count) == ("bench", "garden/bench", 1)
    assert (noted.reason, noted.example) == ("the value is not a number", "unavailable")
    assert lasts(world) == {}


def test_while_the_clock_is_wrong_nothing_is_kept(caplog: pytest.LogCaptureFixture) -> None:
    world = a_world("12:00")
    desk, listeners = with_sensors(world, BENCH)
    desk.sensors.look()
    world.ledger.marks.set(CLOCK_MARK, world.clock(), "86400 by Open-Meteo")
    listeners.open.say("garden/bench", "11.4")
    desk.sensors.look()

    assert lasts(world) == {}
    assert "reading.undated count=1" in caplog.text

    world.ledger.marks.remove(CLOCK_MARK)
    world.clock.move(minutes=1)
    listeners.open.say("garden/bench", "11.5")
    desk.sensors.look()
    assert lasts(world) == {"garden/bench": 11.5}


def test_an_edited_collection_is_listened_for() -> None:
    world = a_world("12:00")
    desk, listeners = with_sensors(world, BENCH)
    desk.tick()
    first = listeners.open
    first.say("garden/bench", "11.4")
    household = desk.context.household

    desk.take_over(replace(household, sensors=(BENCH,)))
    desk.tick()
    assert listeners.open is first

    first.say("garden/bench", "11.5")
    desk.take_over(replace(household, sensors=(BENCH, WARMTH)))
    desk.tick()
    assert listeners.open is not first
    assert listeners.open.sensors == (BENCH, WARMTH)
    assert lasts(world) == {"garden/bench": 11.4}  # of the same second as the other

    desk.take_over(replace(household, broker=replace(BROKER, port=1884)))
    desk.tick()
    assert listeners.open.broker.port == 1884

    desk.take_over(replace(household, broker=None, sensors=()))
    desk.tick()
    assert all(listener.closed for listener in listeners.made)


def test_readings_of_a_site_that_was_renamed_go_to_the_new_name() -> None:
    world = a_world("12:00")
    desk, listeners = with_sensors(world, BENCH)
    desk.tick()
    listeners.open.say("garden/bench", "11.4")
    household = desk.context.household
    site = replace(household.collection.site, name="Yard")

    desk.take_over(replace(household, collection=replace(household.collection, site=site)))
    desk.tick()
    listeners.open.say("garden/bench", "11.6")
    desk.tick()

    assert lasts(world) == {"garden/bench": 11.4}
    assert lasts(world, "Yard") == {"garden/bench": 11.6}


def test_how_the_connection_stands_is_noted_when_it_changes() -> None:
    world = a_world("12:00")
    desk, listeners = with_sensors(world, BENCH)
    desk.tick()
    since = world.clock()
    assert sensor_status.link(world.ledger, SITE.name) == sensor_status.Link(LinkState(), since)
    listeners.open.state = LinkState(trouble="nothing listens there")
    for _ in range(3):
        world.clock.move(minutes=1)
        desk.tick()

    link = sensor_status.link(world.ledger, SITE.name)

    assert link is not None
    assert link.state == LinkState(trouble="nothing listens there")
    assert link.since == since + timedelta(minutes=1)
    assert desk.troubles() == []  # no order depends on it

    desk.close()
    assert sensor_status.link(world.ledger, SITE.name) is None


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"connected": true}', "\x00"])
def test_a_note_of_the_connection_that_cannot_be_read_is_none(text: str) -> None:
    world = a_world("12:00")
    world.ledger.marks.set(f"{sensor_status.MQTT_MARK}, {SITE.name}", world.clock(), text)

    assert sensor_status.link(world.ledger, SITE.name) is None


def test_what_came_last_is_written_at_the_end() -> None:
    world = a_world("12:00")
    desk, listeners = with_sensors(world, BENCH)
    desk.tick()
    listeners.open.say("garden/bench", "11.4")

    desk.close()

    assert lasts(world) == {"garden/bench": 11.4}
    assert listeners.made[0].closed


@contextmanager
def failing(monkeypatch: pytest.MonkeyPatch, error: Exception) -> Iterator[None]:
    def fail(*_: object, **__: object) -> int:
        raise error

    with monkeypatch.context() as patch:
        patch.setattr(ReadingTable, "keep", fail)
        yield


def test_a_defect_holds_up_no_round_and_loses_no_reading(monkeypatch: pytest.MonkeyPatch) -> None:
    world = a_world("17:00")
    desk, listeners = with_sensors(world, BENCH)
    desk.sensors.look()
    listeners.open.say("garden/bench", "11.4")

    with failing(monkeypatch, ValueError("a defect")):
        desk.tick()

    assert world.post.titles == ["Carry in 2 plants by 18:40"]
    assert f"{QUIET_LOG}: see the log" in desk.troubles()
    desk.tick()
    assert lasts(world) == {"garden/bench": 11.4}


def test_a_ledger_that_fails_loses_no_reading(monkeypatch: pytest.MonkeyPatch) -> None:
    world = a_world("12:00")
    desk, listeners = with_sensors(world, BENCH)
    desk.tick()
    listeners.open.say("garden/bench", "11.4")

    with failing(monkeypatch, LedgerError("the disk is full")):
        desk.tick()
        desk.close()
    desk.tick()

    assert lasts(world) == {"garden/bench": 11.4}


def test_two_desks_of_one_daemon_listen_each_for_their_own() -> None:
    world = a_world("12:00")
    desk, listeners = with_sensors(world, BENCH)
    other = a_world("12:00")
    other.ledger = world.ledger
    other_desk, other_listeners = with_sensors(other, BENCH)
    site = replace(SITE, name="Yard")
    household = other_desk.context.household
    other_desk.take_over(replace(household, collection=replace(household.collection, site=site)))
    desk.tick()
    other_desk.tick()
    listeners.open.say("garden/bench", "11.4")
    other_listeners.open.say("garden/bench", "9.0")

    desk.tick()
    other_desk.tick()

    assert lasts(world) == {"garden/bench": 11.4}
    assert lasts(world, "Yard") == {"garden/bench": 9.0}


# -- sensors that have gone quiet


def reported_every_ten_minutes(world: World, desk: Desk, listeners: Listeners) -> None:
    for _ in range(24):
        listeners.open.say("garden/bench", "11.4")
        world.clock.move(minutes=10)
        desk.sensors.look()


def test_a_sensor_that_went_quiet_is_told_by_status_and_then_by_the_weeks_mail() -> None:
    world = a_world("12:00")
    desk, listeners = with_sensors(world, BENCH, MOISTURE)
    desk.sensors.look()
    reported_every_ten_minutes(world, desk, listeners)
    household, ledger = desk.context.household, world.ledger
    last_at = world.clock() - timedelta(minutes=10)

    def quiet() -> list[object]:
        states = sensor_status.states(household, ledger, world.clock())
        return [state.quiet_since for state in states]

    def told(round_: Round) -> list[object]:
        sheet = desk.context.sheet(round_, desk.context.weather())
        return [warning for warning in sheet.warnings if isinstance(warning, SensorQuiet)]

    assert quiet() == [None, None]
    world.clock.move(hours=2)
    assert quiet() == [last_at, None]
    assert told(Round.WEEK) == []
    world.clock.move(days=1)
    assert told(Round.WEEK) == [SensorQuiet("bench", "temperature", last_at.astimezone(SITE.zone))]
    assert told(Round.DUSK) == told(Round.MORNING) == []


def test_the_state_of_a_sensor_is_its_newest_reading() -> None:
    world = a_world("12:00")
    desk, listeners = with_sensors(world, BENCH, MOISTURE)
    desk.sensors.look()
    reported_every_ten_minutes(world, desk, listeners)

    bench, moisture = sensor_status.states(desk.context.household, world.ledger, world.clock())

    assert (bench.last, bench.last_at) == (11.4, world.clock() - timedelta(minutes=10))
    assert (moisture.last, moisture.last_at) == (None, None)
    assert moisture.sensor.quantity is Quantity.HUMIDITY
    assert SITE.local_date(world.clock()) == DAY
