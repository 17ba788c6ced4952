"""What the thread of a connection leaves for the tick: bounded, once each, and never an error."""

from datetime import timedelta

import pytest

from sillward.readings import payload
from sillward.readings.inbox import MAX_WAITING, Inbox
from sillward.readings.live_intake import Reading, Refusal
from tests.support.fakes import FakeClock
from tests.support.sensors import BENCH, CAME, MOISTURE, WARMTH


def put(inbox: Inbox, topic: str, message: str, *, kept: bool = False) -> None:
    inbox.put(topic, message.encode(), kept=kept)


def values(inbox: Inbox) -> list[float]:
    return [one.value for one in inbox.take().came if isinstance(one, Reading)]


def test_a_message_is_read_for_each_sensor_of_its_topic() -> None:
    inbox = Inbox([BENCH, WARMTH, MOISTURE], FakeClock(CAME))

    put(inbox, "garden/device", '{"bme280": {"temperature": 11.4, "humidity": 55}}')
    put(inbox, "garden/other", "3")

    assert inbox.topics == ("garden/bench", "garden/device")
    came = inbox.take().came
    assert [(one.origin.quantity, one.origin.sensor) for one in came] == [
        ("temperature", "garden/device bme280.temperature"),
        ("humidity", "garden/device bme280.humidity"),
    ]
    assert inbox.take().came == ()


def test_what_is_delivered_twice_is_taken_once() -> None:
    clock = FakeClock(CAME)
    inbox = Inbox([BENCH], clock)

    put(inbox, "garden/bench", "11.4")
    put(inbox, "garden/bench", "11.4")
    clock.move(seconds=1)
    put(inbox, "garden/bench", "11.5")

    assert values(inbox) == [11.4, 11.5]


def test_what_the_broker_had_kept_is_noted_and_is_no_reading() -> None:
    inbox = Inbox([BENCH], FakeClock(CAME))

    put(inbox, "garden/bench", "11.4", kept=True)

    contents = inbox.take()
    assert contents.came == ()
    assert [origin.spot for origin in contents.kept] == ["bench"]


def test_a_flood_takes_bounded_room(caplog: pytest.LogCaptureFixture) -> None:
    clock = FakeClock(CAME)
    inbox = Inbox([BENCH], clock)

    for number in range(MAX_WAITING + 50):
        clock.now = CAME + timedelta(seconds=number)
        put(inbox, "garden/bench", "11.4")
        put(inbox, "garden/bench", "what?")

    assert len(inbox.take().came) == MAX_WAITING
    lost = MAX_WAITING + 100
    assert caplog.messages == [f"reading.lost sensor=garden/bench count={lost}"]
    put(inbox, "garden/bench", "11.4")  # of the last second: it is known
    clock.move(seconds=1)
    put(inbox, "garden/bench", "11.6")
    assert values(inbox) == [11.6]


def test_a_defect_is_logged_once_and_ends_nothing(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    inbox = Inbox([BENCH], FakeClock(CAME))

    def broken(*_: object, **__: object) -> Refusal:
        msg = "a defect"
        raise RuntimeError(msg)

    with monkeypatch.context() as patch:
        patch.setattr(payload, "read", broken)
        put(inbox, "garden/bench", "11.4")
        put(inbox, "garden/bench", "11.4")
    put(inbox, "garden/bench", "11.4")

    assert values(inbox) == [11.4]
    assert [record.message for record in caplog.records] == ["reading.failed topic=garden/bench"]
