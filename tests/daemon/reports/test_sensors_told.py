"""What `status` and `check` say of sensors and their broker, to people and to machines."""

from dataclasses import replace
from datetime import timedelta

import pytest
from pydantic import SecretStr

from sillward.config.household import Broker, Household
from sillward.reports import check, status
from sillward.service.desk import Desk
from sillward.service.sensor_readings import SensorReadings
from sillward.text.units import Units
from sillward.wording.voice import Voice
from tests.end_to_end.test_screens import too_wide
from tests.support.desks import SITE, World, a_household, a_world
from tests.support.sensors import BENCH, BROKER, MOISTURE, Listeners


def at_work(world: World) -> tuple[Desk, Listeners]:
    """A desk whose thermometer sends every ten minutes, for three hours; no hygrometer yet."""
    world.household = replace(a_household(), broker=BROKER, sensors=(BENCH, MOISTURE))
    desk, listeners = world.desk, Listeners()
    desk.sensors = SensorReadings(desk.context, listeners)
    desk.sensors.look()
    listeners.open.state = replace(listeners.open.state, connected=True)
    for _ in range(18):
        world.clock.move(minutes=10)
        listeners.open.say("garden/bench", "11.4")
        desk.sensors.look()
    return desk, listeners


def told(world: World, desk: Desk, units: Units | None = None) -> list[str]:
    voice = Voice(SITE) if units is None else Voice(SITE, units)
    document = status.document(desk.context.household, desk.context.updater, world.clock(), voice)
    lines = status.text(document, voice).splitlines()
    start = lines.index("sensors")
    return [
        *(" ".join(line.split()) for line in lines if line.startswith("broker")),
        *(" ".join(line.split()) for line in lines[start + 1 : start + 3]),
    ]


def test_each_sensor_has_its_last_value_and_its_age() -> None:
    world = a_world("12:00")
    desk, _ = at_work(world)
    world.clock.move(minutes=5)

    assert told(world, desk) == [
        "broker 127.0.0.1:1883, connected since Thu 14 May 12:10",
        "bench temperature 11.4 °C, 5 min old",
        "bench humidity nothing so far",
    ]
    assert (
        told(world, desk, Units("°F", "12 h", "m/s"))[1] == "bench temperature 52.5 °F, 5 min old"
    )


def test_a_sensor_that_went_quiet_says_since_when() -> None:
    world = a_world("12:00")
    desk, _ = at_work(world)
    world.clock.move(hours=2)

    assert told(world, desk)[1] == "bench temperature quiet since Thu 14 May 15:00, 11.4 °C then"


def test_why_the_broker_is_not_reached() -> None:
    world = a_world("12:00")
    desk, listeners = at_work(world)
    listeners.open.state = replace(listeners.open.state, connected=False, trouble="nobody there")
    world.clock.move(minutes=1)
    desk.sensors.look()

    assert told(world, desk)[0] == "broker not connected since Thu 14 May 15:01: nobody there"
    desk.close()
    assert told(world, desk)[0] == "broker not connected: `sillward run` is not listening"


def test_machines_get_the_same() -> None:
    world = a_world("12:00")
    desk, _ = at_work(world)
    world.clock.move(hours=2)
    document = status.document(
        desk.context.household, desk.context.updater, world.clock(), Voice(SITE)
    )

    assert document["mqtt"] == {
        "broker": "127.0.0.1:1883",
        "connected": True,
        "since": "2026-05-14T12:10:00-03:00",
        "trouble": None,
    }
    assert document["sensors"] == [
        {
            "spot": "bench", "quantity": "temperature", "sensor": "garden/bench", "value": 11.4,
            "unit": "°C", "at": "2026-05-14T15:00:00-03:00", "age_minutes": 120,
            "quiet_since": "2026-05-14T15:00:00-03:00",
        },
        {
            "spot": "bench", "quantity": "humidity", "sensor": "garden/device bme280.humidity",
            "value": None, "unit": "%", "at": None, "age_minutes": None, "quiet_since": None,
        },
    ]  # fmt: skip


def test_without_sensors_nothing_is_said_of_them() -> None:
    world = a_world("12:00")
    desk = world.desk
    document = status.document(
        desk.context.household, desk.context.updater, world.clock(), Voice(SITE)
    )

    assert (document["mqtt"], document["sensors"]) == (None, [])
    assert "sensor" not in status.text(document, Voice(SITE))


def checked(household: Household) -> str:
    return " ".join(check.text(household, a_world("12:00").clock(), ["Open-Meteo"]).split())


@pytest.mark.parametrize(
    ("broker", "words"),
    [
        (BROKER, "127.0.0.1:1883, MQTT 3.1.1, not encrypted, without a user"),
        (
            Broker("host", 8883, tls=True, version="5", user="me"),
            "host:8883, MQTT 5, encrypted, as me, no password yet",
        ),
        (
            Broker("host", 1883, user="me", password=SecretStr("Zq7")),
            "host:1883, MQTT 3.1.1, not encrypted, as me, with its password",
        ),
    ],
)
def test_check_says_how_the_broker_is_reached(broker: Broker, words: str) -> None:
    text = checked(replace(a_household(), broker=broker))

    assert words in text
    assert "Zq7" not in text


def test_check_says_what_each_sensor_sends() -> None:
    senml = replace(BENCH, topic="senml", payload="senml", record="t", unit="K")
    timed = replace(MOISTURE, time_path=("at",))
    text = checked(replace(a_household(), broker=BROKER, sensors=(BENCH, timed, senml)))

    assert "temperature, topic garden/bench: a number, in °C unless it says another unit" in text
    assert "humidity, topic garden/device: JSON at bme280.humidity, measured at at, in %" in text
    assert "temperature, topic senml: SenML, record t, in K unless it says another unit" in text


def test_long_names_fit_the_screen() -> None:
    world = a_world("12:00")
    long = replace(BENCH, spot="蘭の花壇" * 20, topic="garden/" + "x" * 200)
    world.household = replace(a_household(), broker=BROKER, sensors=(long, BENCH))
    desk = world.desk
    document = status.document(
        desk.context.household, desk.context.updater, world.clock(), Voice(SITE)
    )
    household = desk.context.household

    assert too_wide(status.text(document, Voice(SITE))) == []
    assert too_wide(check.text(household, world.clock(), ["Open-Meteo"])) == []


def test_sensors_are_told_in_the_order_of_the_file() -> None:
    world = a_world("12:00")
    world.household = replace(
        a_household(),
        broker=BROKER,
        sensors=tuple(replace(BENCH, topic=f"garden/{number}") for number in range(30)),
    )
    desk, listeners = world.desk, Listeners()
    desk.sensors = SensorReadings(desk.context, listeners)
    desk.sensors.look()
    for number in range(30):
        listeners.open.say(f"garden/{number}", f"{number}")
    desk.sensors.look()

    document = status.document(
        desk.context.household,
        desk.context.updater,
        world.clock() + timedelta(minutes=1),
        Voice(SITE),
    )

    assert [sensor["value"] for sensor in document["sensors"]] == list(range(30))
