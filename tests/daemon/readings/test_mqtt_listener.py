"""A connection is kept up: made again with longer and longer waits, and its state is known."""

import threading
from dataclasses import dataclass, field

import pytest

from sillward.readings.live_intake import Reading
from sillward.readings.mqtt_connection import BrokerError
from sillward.readings.mqtt_listener import (
    FIRST_WAIT_S,
    FLAPPING_FROM,
    LASTED_S,
    LONGEST_WAIT_S,
    LinkState,
    MqttListener,
)
from tests.support.fakes import FakeClock
from tests.support.sensors import BENCH, BROKER, CAME, FakeBroker, FakeConnection


@dataclass
class Run:
    """A listener that is closed after so many waits, and what it did until then."""

    broker: FakeBroker
    waits: int = 1
    monotonic_s: float = 0.0
    waited: list[float] = field(default_factory=list)
    states: list[LinkState] = field(default_factory=list)
    listener: MqttListener = field(init=False)

    def __post_init__(self) -> None:
        self.listener = MqttListener(
            BROKER,
            [BENCH],
            FakeClock(CAME),
            connect=self.broker,
            monotonic=lambda: self.monotonic_s,
            wait=self._wait,
        )

    def _wait(self, seconds: float) -> None:
        self.waited.append(seconds)
        self.states.append(self.listener.state)
        if len(self.waited) == self.waits:
            self.listener.close()

    def go(self) -> None:
        self.listener.run()

    def values(self) -> list[float]:
        return [one.value for one in self.listener.take().came if isinstance(one, Reading)]

    def pass_time(self, seconds: float) -> None:
        self.monotonic_s += seconds


def test_what_comes_is_left_for_the_tick() -> None:
    run = Run(FakeBroker([FakeConnection([b"11.4"])]))

    run.go()

    assert run.values() == [11.4]
    assert run.broker.asked == [(BROKER, ("garden/bench",))] * 1


def test_it_is_connected_once_the_broker_has_answered() -> None:
    connection = FakeConnection()
    run = Run(FakeBroker([connection]))
    seen = []
    connection.events = [lambda: None, lambda: seen.append(run.listener.state)]

    run.go()

    assert seen == [LinkState(connected=True)]
    assert run.listener.state == LinkState(connected=False, trouble="the connection was lost")


def test_the_waits_double_until_a_connection_has_lasted() -> None:
    run = Run(FakeBroker([]), waits=9)

    run.go()

    assert run.waited == [2, 4, 8, 16, 32, 64, 120, 120, 120]
    assert (FIRST_WAIT_S, LONGEST_WAIT_S) == (2, 120)
    assert run.listener.state.trouble == "nothing listens there"


def test_a_connection_that_has_lasted_is_made_again_soon() -> None:
    lasting = FakeConnection()
    none = FakeConnection(unreachable=BrokerError("cannot be reached"))
    run = Run(FakeBroker([none, none, lasting, none]), waits=4)
    lasting.events = [lambda: None, lambda: run.pass_time(LASTED_S)]

    run.go()

    assert run.waited == [2, 4, 2, 4]


def test_being_thrown_out_again_and_again_is_told() -> None:
    """As by another client, where the broker takes the user's name for the client's id."""
    run = Run(
        FakeBroker([FakeConnection([lambda: None]) for _ in range(FLAPPING_FROM)]),
        waits=FLAPPING_FROM + 1,
    )

    run.go()

    troubles = [state.trouble or "" for state in run.states]
    assert troubles[0] == troubles[1] == "the connection was lost"
    assert "has ended 3 connections in a row" in troubles[2]
    assert "give sillward one of its own" in troubles[2]
    assert troubles[3] == "nothing listens there"
    assert run.waited == [2, 4, 8, 16]


def test_that_connections_do_not_last_is_told_until_one_does() -> None:
    lasting = FakeConnection()
    flapping = [FakeConnection([lambda: None]) for _ in range(FLAPPING_FROM)]
    run = Run(FakeBroker([*flapping, lasting]), waits=FLAPPING_FROM + 1)
    seen = []
    lasting.events = [
        lambda: None,
        lambda: seen.append(run.listener.state),
        lambda: run.pass_time(LASTED_S),
        lambda: seen.append(run.listener.state),
    ]

    run.go()

    first, then = seen
    assert first.connected
    assert "in a row" in (first.trouble or "")
    assert then == LinkState(connected=True)
    assert run.waited[-1] == FIRST_WAIT_S


def test_a_topic_that_may_not_be_read_is_told() -> None:
    run = Run(FakeBroker([FakeConnection([lambda: None], denied=("garden/bench",))]))
    seen = []
    run.broker.connections[0].events.append(lambda: seen.append(run.listener.state))

    run.go()

    assert seen == [LinkState(True, "the broker does not let us read garden/bench")]


def test_a_defect_ends_a_connection_and_not_the_listening(
    caplog: pytest.LogCaptureFixture,
) -> None:
    broken = FakeConnection([lambda: None, ValueError("a defect")])
    run = Run(FakeBroker([broken, FakeConnection([b"11.4"])]), waits=2)

    run.go()

    assert run.states[0].trouble == "failed (ValueError)"
    assert run.values() == [11.4]
    assert "mqtt.failed" in caplog.text


def test_it_is_closed_between_two_messages() -> None:
    connection = FakeConnection()
    run = Run(FakeBroker([connection]))
    connection.events = [b"11.4", run.listener.close]

    run.go()

    assert connection.closed
    assert run.waited == []


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_the_thread_is_started_again_if_it_has_ended(caplog: pytest.LogCaptureFixture) -> None:
    came = threading.Event()
    broker = FakeBroker([FakeConnection([SystemExit(), b"11.4"]), FakeConnection([came.set])])
    listener = MqttListener(BROKER, [BENCH], FakeClock(CAME), connect=broker)
    listener.ensure_running()
    assert listener._thread is not None
    listener._thread.join()

    listener.ensure_running()

    assert came.wait(5)
    listener.close()
    assert "mqtt.dead" in caplog.text


def test_where_no_thread_can_be_started_there_is_nothing_to_end(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def start(thread: threading.Thread) -> None:
        msg = "can't start new thread"
        raise RuntimeError(msg)

    monkeypatch.setattr(threading.Thread, "start", start)
    listener = MqttListener(BROKER, [BENCH], FakeClock(CAME), connect=FakeBroker([]))

    with pytest.raises(RuntimeError):
        listener.ensure_running()

    listener.close()


def test_the_log_tells_a_trouble_once(caplog: pytest.LogCaptureFixture) -> None:
    run = Run(FakeBroker([]), waits=5)

    run.go()

    assert caplog.text.count("mqtt.not_connected nothing listens there") == 1
