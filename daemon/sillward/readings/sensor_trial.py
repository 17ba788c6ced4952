"""The trial of sensors: what comes of each within a few seconds. Nothing of it is kept."""

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from sillward.config.household import TopicSensor
from sillward.errors import SillwardError
from sillward.readings.live_intake import Origin, Reading, Refusal
from sillward.readings.mqtt_listener import MqttListener
from sillward_rules.readings.quality import sift

LOOK_S = 0.2
"""How often it is looked whether something has come [s]."""


class BrokerTrialError(SillwardError):
    """The broker cannot be reached, or does not let us read a topic."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of a sensor: a reading, or none and why."""

    sensor: TopicSensor
    value: float | None
    at: datetime | None
    why: str
    """Empty if the reading can be used."""


def trial(
    listener: MqttListener,
    seconds: float,
    *,
    sleep: Callable[[float], None] = time.sleep,
    monotonic: Callable[[], float] = time.monotonic,
) -> Iterator[Outcome]:
    """Yield the outcome of each sensor, as soon as a reading has come, and at the end of the rest.

    Raise BrokerTrialError as soon as the broker turns out not to be reached.

    listener: made for these sensors, not yet running; it is closed at the end.
    """
    missing = {Origin(each.spot, each.quantity, each.name): each for each in listener.sensors}
    why = dict.fromkeys(missing, f"nothing came in {seconds:.0f} s")
    until = monotonic() + seconds
    listener.ensure_running()
    try:
        while missing and monotonic() < until:
            sleep(LOOK_S)
            contents = listener.take()
            for origin in contents.kept & missing.keys():
                why[origin] = "only a value of before, kept by the broker; a new one has not come"
            for one in contents.came:
                if one.origin not in missing:
                    continue
                if isinstance(one, Refusal):
                    why[one.origin] = f"{one.reason}: {one.example}"
                else:
                    yield _of_reading(missing.pop(one.origin), one)
            if listener.state.trouble is not None:
                raise BrokerTrialError(listener.state.trouble)
        if missing and not listener.state.connected:
            msg = f"{listener.broker.address}: no answer in {seconds:.0f} s"
            raise BrokerTrialError(msg)
    finally:
        listener.close()
    for origin, sensor in missing.items():
        yield Outcome(sensor, None, None, why[origin])


def _of_reading(sensor: TopicSensor, reading: Reading) -> Outcome:
    times, values = np.array([int(reading.at.timestamp())]), np.array([reading.value])
    sifted = sift(times, values, sensor.quantity, reading.at)
    reasons = [reason.value for reason, mask in sifted.set_aside.items() if mask.any()]
    return Outcome(sensor, reading.value, reading.at, ", ".join(reasons))
