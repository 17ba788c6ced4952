"""What a message of a sensor says: readings, or why it says none.

Whatever comes, `read` returns: what a device sends is not ours to choose, and an error must not end
the thread in which it is read.
"""

import json
import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from enum import StrEnum
from typing import Any, NoReturn

from sillward.config.household import TopicSensor
from sillward.errors import one_line
from sillward.readings import senml
from sillward.readings.live_intake import Origin, Reading, Refusal
from sillward_rules.readings.hourly_readings import Quantity

MAX_PAYLOAD_BYTES = 65_536
"""Longer messages are not looked at. Judgement: a device that sends all that it knows sends 2 kB, a
day of SenML by the minute 50 kB."""

MAX_EXAMPLE_CHARACTERS = 60
"""Of a message that is refused."""

OLDEST = timedelta(days=31)
"""A message with readings dated longer ago is refused. Judgement: devices keep days for later, not
months, and a clock that is not set begins in 1970 or 2000."""

AHEAD = timedelta(days=1)
"""A message with readings dated further in the future is refused. Judgement: a clock of another
zone is off by less; what is off by more is one that was never set, or a time in another unit."""

MILLISECONDS_FROM = 1e11
"""A time from here on is in milliseconds: in seconds it would be in the year 5138."""


class Why(StrEnum):
    """Why a message is no reading, in the grower's words."""

    TOO_LONG = "the message is longer than 64 kB"
    NOT_TEXT = "the message is not UTF-8 text"
    NOT_A_NUMBER = "the value is not a number"
    NOT_JSON = "the message is not JSON"
    NOT_SENML = "the message is not SenML"
    NOTHING_THERE = "the message has no such value"
    OTHER_UNIT = "the value has a unit of another quantity"
    NO_TIME = "the message has no time that can be read, with its offset from UTC"
    LONG_AGO = "it is dated more than a month ago; the clock of the device may not be set"
    AHEAD = "it is dated more than a day ahead; the clock of the device may not be set"
    MANY_NAMES = "several names in the message end in it: write the whole name as the record"
    KEPT = "the broker had kept it, and nothing says when it was measured"


class _RefusedError(Exception):
    def __init__(self, why: Why) -> None:
        self.why = why


def read(
    payload: bytes, sensor: TopicSensor, came_at: datetime, *, kept: bool
) -> list[Reading] | Refusal:
    """Return the readings of a sensor in a message, at least one, or why there are none.

    kept: whether the broker had kept the message (MQTT calls it retained). Then only a reading
        that says by itself when it was measured is one.
    """
    origin = Origin(sensor.spot, sensor.quantity, sensor.name)
    try:
        if len(payload) > MAX_PAYLOAD_BYTES:
            raise _RefusedError(Why.TOO_LONG)
        found = [
            Reading(origin, came_at if at is None else at, value)
            for value, at in _READERS[sensor.payload](_text(payload), sensor, came_at, kept)
            if at is not None or not kept
        ]
        if not found:
            raise _RefusedError(Why.KEPT)
        if came_at - min(one.at for one in found) > OLDEST:
            raise _RefusedError(Why.LONG_AGO)
        if max(one.at for one in found) - came_at > AHEAD:
            raise _RefusedError(Why.AHEAD)
    except _RefusedError as refused:
        start = payload[: 2 * MAX_EXAMPLE_CHARACTERS].decode("utf-8", "replace")
        return Refusal(origin, came_at, refused.why, one_line(start, MAX_EXAMPLE_CHARACTERS))
    return found


_Found = Iterator[tuple[float, datetime | None]]
"""Values, each with the time at which it was measured, as far as the message says that."""


def _text(payload: bytes) -> str:
    try:
        return payload.decode("utf-8")
    except UnicodeDecodeError:
        raise _RefusedError(Why.NOT_TEXT) from None


# -- one reader for each kind of payload


def _read_number(text: str, sensor: TopicSensor, _came_at: datetime, _kept: bool) -> _Found:
    yield _value(text, sensor), None


def _read_json(text: str, sensor: TopicSensor, _came_at: datetime, _kept: bool) -> _Found:
    document = _json(text)
    value = _value(_at_path(document, sensor.path), sensor)
    if not sensor.time_path:
        yield value, None
        return
    yield value, _moment(_at_path(document, sensor.time_path, Why.NO_TIME))


def _read_senml(text: str, sensor: TopicSensor, came_at: datetime, kept: bool) -> _Found:
    try:
        records = list(senml.records(_json(text)))
    except ValueError:
        raise _RefusedError(Why.NOT_SENML) from None
    named = [one for one in records if one.full_name == sensor.record]
    named = named or [one for one in records if one.name == sensor.record]
    if not named:
        raise _RefusedError(Why.NOTHING_THERE)
    if len({one.full_name for one in named}) > 1:
        raise _RefusedError(Why.MANY_NAMES)
    fitting = [one for one in named if (one.unit or sensor.unit) in _UNITS[sensor.quantity]]
    if not fitting:
        raise _RefusedError(Why.OTHER_UNIT)
    for record in fitting:
        value = _converted(record.value, record.unit or sensor.unit, sensor.quantity)
        if record.time >= senml.RELATIVE_BELOW:
            yield value, _of_unix_time(record.time)
        elif kept or record.time == 0:  # from now, whenever that was
            yield value, None
        else:
            yield value, _earlier(came_at, -record.time)


_READERS: Mapping[str, Callable[[str, TopicSensor, datetime, bool], _Found]] = {
    "number": _read_number,
    "json": _read_json,
    "senml": _read_senml,
}


# -- JSON


def _json(text: str) -> Any:
    try:
        return json.loads(text, parse_constant=_refuse_constant)
    except (ValueError, RecursionError):
        raise _RefusedError(Why.NOT_JSON) from None


def _refuse_constant(_name: str) -> NoReturn:
    """Python reads NaN and Infinity, which are not JSON."""
    raise _RefusedError(Why.NOT_A_NUMBER)


def _at_path(document: Any, path: Sequence[str], why: Why = Why.NOTHING_THERE) -> Any:
    for key in path:
        if isinstance(document, Mapping) and key in document:
            document = document[key]
        elif isinstance(document, list) and re.fullmatch("[0-9]{1,4}", key):
            document = document[int(key)] if int(key) < len(document) else None
        else:
            raise _RefusedError(why)
    if document is None:
        raise _RefusedError(why)
    return document


# -- numbers and their units

_NUMBER = re.compile(
    r"(?P<number>[-+]?(?:[0-9]{1,30}(?:\.[0-9]{0,30})?|\.[0-9]{1,30})(?:[eE][-+]?[0-9]{1,3})?"
    r"|[-+]?[0-9]{1,3},[0-9]{1,2})"
    r"\s*(?P<unit>°?[CFK]|%|%RH)?"
)
"""A number as devices write it, with its unit or without. A comma before one or two digits is a
decimal comma; before three it might part thousands."""

_UNITS: Mapping[Quantity, Mapping[str, tuple[float, float]]] = {
    Quantity.TEMPERATURE: {
        **dict.fromkeys(("°C", "C", "Cel"), (1.0, 0.0)),
        **dict.fromkeys(("°F", "F"), (5 / 9, -160 / 9)),
        **dict.fromkeys(("K", "°K"), (1.0, -273.15)),
    },
    Quantity.HUMIDITY: {
        **dict.fromkeys(("%", "%RH"), (1.0, 0.0)),
        **dict.fromkeys(("share", "/"), (100.0, 0.0)),
    },
}
"""The units of each quantity, SenML's among them: factor and addend to °C or %."""


def _value(raw: Any, sensor: TopicSensor) -> float:
    """Return the value of a number, or of a text that is one."""
    unit: str | None = None
    if isinstance(raw, str):
        match = _NUMBER.fullmatch(raw.strip(" \t\r\n\0")[:200])
        if match is None:
            raise _RefusedError(Why.NOT_A_NUMBER)
        raw, unit = float(match["number"].replace(",", ".")), match["unit"]
    elif isinstance(raw, bool) or not isinstance(raw, (int, float)):
        raise _RefusedError(Why.NOT_A_NUMBER)
    try:
        number = float(raw)
    except OverflowError:
        raise _RefusedError(Why.NOT_A_NUMBER) from None
    return _converted(number, unit or sensor.unit, sensor.quantity)


def _converted(number: float, unit: str, quantity: Quantity) -> float:
    """Return a value in °C or %."""
    if unit not in _UNITS[quantity]:
        raise _RefusedError(Why.OTHER_UNIT)
    factor, addend = _UNITS[quantity][unit]
    value = number * factor + addend
    if not math.isfinite(value):
        raise _RefusedError(Why.NOT_A_NUMBER)
    return value


# -- times


def _moment(raw: Any) -> datetime:
    """Return the moment that a message gives, in UTC."""
    if isinstance(raw, str):
        try:
            at = datetime.fromisoformat(raw[:60])
            return at.astimezone(UTC) if at.tzinfo is not None else _no_time()
        except (ValueError, OverflowError):
            return _no_time()
    if isinstance(raw, bool) or not isinstance(raw, (int, float)):
        return _no_time()
    return _of_unix_time(raw)


def _of_unix_time(seconds: float) -> datetime:
    try:
        if seconds >= MILLISECONDS_FROM:
            seconds /= 1000
        return datetime.fromtimestamp(seconds, UTC) if seconds >= 0 else _no_time()
    except (ValueError, OverflowError, OSError):
        return _no_time()


def _earlier(moment: datetime, seconds: float) -> datetime:
    try:
        at = moment - timedelta(seconds=seconds)
    except (ValueError, OverflowError):
        return _no_time()
    return at if at.timestamp() >= 0 else _no_time()


def _no_time() -> NoReturn:
    raise _RefusedError(Why.NO_TIME)
