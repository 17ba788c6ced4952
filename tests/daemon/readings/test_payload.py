"""What a message says: readings, or in the grower's words why there is none. It never fails."""

import json
import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from sillward.config.household import TopicSensor
from sillward.readings.live_intake import Reading, Refusal
from sillward.readings.payload import MAX_PAYLOAD_BYTES, Why, read
from sillward.text import printable
from sillward_rules.readings.hourly_readings import Quantity
from tests.support.sensors import BENCH, CAME, MOISTURE, WARMTH

SENML = replace(BENCH, payload="senml", record="temperature")
TIMED = replace(WARMTH, path=("t",), time_path=("at",))
AIR = replace(BENCH, quantity=Quantity.HUMIDITY, unit="%")


def value_of(payload: str | bytes, sensor: TopicSensor = BENCH) -> float:
    (reading,) = readings_of(payload, sensor)
    assert reading.at == CAME
    return reading.value


def readings_of(payload: str | bytes, sensor: TopicSensor, *, kept: bool = False) -> list[Reading]:
    data = payload if isinstance(payload, bytes) else payload.encode()
    found = read(data, sensor, CAME, kept=kept)
    assert isinstance(found, list), found
    return found


def why_not(payload: str | bytes, sensor: TopicSensor = BENCH, *, kept: bool = False) -> str:
    data = payload if isinstance(payload, bytes) else payload.encode()
    found = read(data, sensor, CAME, kept=kept)
    assert isinstance(found, Refusal), found
    assert found.at == CAME
    return found.reason


# -- plain numbers


@pytest.mark.parametrize(
    ("payload", "value"),
    [
        ("11.4", 11.4),
        (" 11.4\r\n", 11.4),
        ("11.4\0", 11.4),
        ("-0.5", -0.5),
        ("+7", 7.0),
        (".5", 0.5),
        ("1.14e1", 11.4),
        ("11,4", 11.4),
        ("-3,25", -3.25),
        ("21.5 °C", 21.5),
        ("50 °F", 10.0),
        ("59F", 15.0),
        ("300.15 K", 27.0),
    ],
)
def test_a_plain_number_is_a_temperature(payload: str, value: float) -> None:
    assert value_of(payload) == pytest.approx(value)


@pytest.mark.parametrize(
    ("unit", "payload", "value"),
    [("°F", "50", 10.0), ("F", "-40", -40.0), ("K", "273.15", 0.0), ("C", "3", 3.0)],
)
def test_the_unit_is_the_sensors_where_the_payload_has_none(
    unit: str, payload: str, value: float
) -> None:
    assert value_of(payload, replace(BENCH, unit=unit)) == pytest.approx(value)


def test_humidity_is_in_percent_or_a_share() -> None:
    assert value_of("55", AIR) == 55.0
    assert value_of("55 %", AIR) == 55.0
    assert value_of("55%RH", replace(AIR, unit="share")) == 55.0
    assert value_of("0.55", replace(AIR, unit="share")) == pytest.approx(55.0)


@pytest.mark.parametrize(
    ("payload", "why"),
    [
        ("", Why.NOT_A_NUMBER),
        ("null", Why.NOT_A_NUMBER),
        ("NaN", Why.NOT_A_NUMBER),
        ("Infinity", Why.NOT_A_NUMBER),
        ("true", Why.NOT_A_NUMBER),
        ("unavailable", Why.NOT_A_NUMBER),
        ("1,234", Why.NOT_A_NUMBER),
        ("11.4 11.5", Why.NOT_A_NUMBER),
        ("1e999", Why.NOT_A_NUMBER),
        ("٣", Why.NOT_A_NUMBER),
        ("9" * 60_000, Why.NOT_A_NUMBER),
        ("55 %", Why.OTHER_UNIT),
        (b"\xff\xfe11", Why.NOT_TEXT),
        (b"1" * (MAX_PAYLOAD_BYTES + 1), Why.TOO_LONG),
        (b"\x00" * 1_000_000, Why.TOO_LONG),
    ],
    ids=lambda given: repr(given)[:30],
)
def test_what_is_no_number_is_refused(payload: str | bytes, why: Why) -> None:
    assert why_not(payload) == why


def test_a_refusal_has_a_short_example_that_can_be_shown() -> None:
    refusal = read(b"\x1b[31m" + b"x" * 500, BENCH, CAME, kept=False)

    assert isinstance(refusal, Refusal)
    assert printable.unprintable(refusal.example) == []
    assert "[31mxxx" in refusal.example
    assert len(refusal.example) <= 60


# -- JSON


def test_a_path_leads_to_the_value() -> None:
    message = '{"bme280": {"temperature": 11.4, "humidity": "55.5"}, "battery": 3}'

    assert value_of(message, WARMTH) == 11.4
    assert value_of(message, MOISTURE) == 55.5


def test_a_path_may_go_through_a_list() -> None:
    sensor = replace(WARMTH, path=("sensors", "1", "t"))

    assert value_of('{"sensors": [{"t": 1}, {"t": 2.5}]}', sensor) == 2.5
    assert why_not('{"sensors": [{"t": 1}]}', sensor) == Why.NOTHING_THERE


@pytest.mark.parametrize(
    ("message", "why"),
    [
        ('{"bme280": {"temperature": null}}', Why.NOTHING_THERE),
        ('{"bme280": {}}', Why.NOTHING_THERE),
        ('{"bme280": 3}', Why.NOTHING_THERE),
        ("[]", Why.NOTHING_THERE),
        ("null", Why.NOTHING_THERE),
        ('{"bme280": {"temperature": true}}', Why.NOT_A_NUMBER),
        ('{"bme280": {"temperature": [11]}}', Why.NOT_A_NUMBER),
        ('{"bme280": {"temperature": {}}}', Why.NOT_A_NUMBER),
        ('{"bme280": {"temperature": "warm"}}', Why.NOT_A_NUMBER),
        ('{"bme280": {"temperature": NaN}}', Why.NOT_A_NUMBER),
        ('{"bme280": {"temperature": -Infinity}}', Why.NOT_A_NUMBER),
        ('{"bme280": {"temperature": 1e999}}', Why.NOT_A_NUMBER),
        ('{"bme280": {"temperature": ' + "9" * 400 + "}}", Why.NOT_A_NUMBER),
        ('{"bme280": {"temperature": ' + "9" * 5000 + "}}", Why.NOT_JSON),
        ('{"bme280": {"temperature": "50 %"}}', Why.OTHER_UNIT),
        ('{"bme280": {"temperature": 11', Why.NOT_JSON),
        ("[" * 60_000, Why.NOT_JSON),
        ('{"a":' * 12_000, Why.NOT_JSON),
        ("", Why.NOT_JSON),
    ],
    ids=lambda given: repr(given)[:50],
)
def test_json_without_the_value_is_refused(message: str, why: Why) -> None:
    assert why_not(message, WARMTH) == why


@pytest.mark.parametrize(
    "at",
    ['"2026-05-14T18:30:00-03:00"', '"2026-05-14T21:30:00Z"', "1778794200", "1778794200000"],
)
def test_json_may_have_a_time_of_its_own(at: str) -> None:
    (reading,) = readings_of(f'{{"t": 11.4, "at": {at}}}', TIMED, kept=True)

    assert reading.at == datetime(2026, 5, 14, 21, 30, tzinfo=UTC)


@pytest.mark.parametrize(
    "at",
    [
        '"2026-05-14T18:30:00"', '"soon"', "null", "true", "[]", "-5", "1" + "0" * 400, '""',
        '"9999-12-31T23:59:59-23:00"',
    ],
    ids=lambda at: at[:30],
)  # fmt: skip
def test_a_time_that_cannot_be_read_is_told(at: str) -> None:
    assert why_not(f'{{"t": 11.4, "at": {at}}}', TIMED) == Why.NO_TIME


def test_a_time_that_is_missing_is_told() -> None:
    assert why_not('{"t": 11.4}', TIMED) == Why.NO_TIME


def test_a_clock_that_was_never_set_is_told() -> None:
    assert why_not('{"t": 11.4, "at": 946684800}', TIMED) == Why.LONG_AGO


# -- what the broker had kept


@pytest.mark.parametrize(
    ("payload", "sensor"),
    [
        ("11.4", BENCH),
        ('{"bme280": {"temperature": 11.4}}', WARMTH),
        ('[{"n": "temperature", "v": 11.4}]', SENML),
        ('[{"n": "temperature", "v": 11.4, "t": -60}]', SENML),
    ],
)
def test_what_was_kept_without_a_time_is_no_reading(payload: str, sensor: TopicSensor) -> None:
    assert why_not(payload, sensor, kept=True) == Why.KEPT
    assert len(readings_of(payload, sensor)) == 1


def test_what_was_kept_with_its_time_is_one() -> None:
    second = CAME.timestamp() - 600
    (reading,) = readings_of(
        f'[{{"n": "temperature", "v": 11.4, "t": {second}}}]', SENML, kept=True
    )

    assert reading.at == CAME - timedelta(minutes=10)


# -- SenML; `tests/published` has the examples of the standard


def test_the_record_is_chosen_by_its_name_with_or_without_the_base_name() -> None:
    pack = '[{"bn": "dev:1:", "n": "temperature", "v": 11.4}, {"n": "battery", "v": 3}]'

    assert value_of(pack, SENML) == 11.4
    assert value_of(pack, replace(SENML, record="dev:1:temperature")) == 11.4
    assert why_not(pack, replace(SENML, record="dev:2:temperature")) == Why.NOTHING_THERE


@pytest.mark.parametrize(
    ("sensor", "record", "value"),
    [
        (SENML, '"u": "Cel", "v": 11.4', 11.4),
        (SENML, '"u": "K", "v": 284.55', 11.4),
        (SENML, '"v": 11.4', 11.4),
        (replace(SENML, unit="°F"), '"v": 50', 10.0),
        (replace(SENML, quantity=Quantity.HUMIDITY, unit="%"), '"u": "%RH", "v": 55', 55.0),
        (replace(SENML, quantity=Quantity.HUMIDITY, unit="%"), '"u": "/", "v": 0.55', 55.0),
    ],
)
def test_units_of_senml(sensor: TopicSensor, record: str, value: float) -> None:
    assert value_of(f'[{{"n": "temperature", {record}}}]', sensor) == pytest.approx(value)


@pytest.mark.parametrize(
    ("pack", "why"),
    [
        ('[{"n": "temperature", "u": "W", "v": 3}]', Why.OTHER_UNIT),
        ('[{"n": "temperature", "vs": "warm"}]', Why.NOTHING_THERE),
        ('[{"bn": "temperature", "bv": 11}]', Why.NOTHING_THERE),
        ("[]", Why.NOTHING_THERE),
        ('[{"n": "temperature", "v": "11"}]', Why.NOT_SENML),
        ('[{"n": "temperature", "v": null}]', Why.NOT_SENML),
        ('[{"n": 3, "v": 11}]', Why.NOT_SENML),
        ('[{"n": "temperature", "v": 11, "must_": 1}]', Why.NOT_SENML),
        ('[{"bver": 11, "n": "temperature", "v": 11}]', Why.NOT_SENML),
        ('[{"n": "temperature", "v": 1' + "0" * 400 + "}]", Why.NOT_SENML),
        ('{"n": "temperature", "v": 11}', Why.NOT_SENML),
        ("[1]", Why.NOT_SENML),
        ("11.4", Why.NOT_SENML),
        ('[{"n": "temperature", "v": 11, "t": 1e300}]', Why.NO_TIME),
        ('[{"n": "temperature", "v": 11, "t": -1e300}]', Why.NO_TIME),
        ('[{"n": "temperature", "v": 11, "t": -3e6}]', Why.LONG_AGO),
    ],
    ids=lambda given: repr(given)[:60],
)
def test_senml_that_says_no_reading(pack: str, why: Why) -> None:
    assert why_not(pack, SENML) == why


# -- whatever comes

SENSORS = st.sampled_from(
    [BENCH, AIR, WARMTH, TIMED, SENML, replace(WARMTH, path=("0", "t")), replace(SENML, record="")]
)
LEAVES = (
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text()
    | st.sampled_from(["11.4", "11,4", "21 °C", 2**28, 2**2000, -5, 1778794200])
)
KEYS = st.text() | st.sampled_from(
    ["n", "v", "u", "t", "bn", "bt", "bu", "bv", "bver", "bme280", "temperature", "at", "0"]
)
DOCUMENTS = st.recursive(
    LEAVES, lambda inner: st.lists(inner) | st.dictionaries(KEYS, inner), max_leaves=12
)


def a_result(payload: bytes, sensor: TopicSensor, *, kept: bool) -> None:
    found = read(payload, sensor, CAME, kept=kept)
    if isinstance(found, Refusal):
        assert found.reason in set(Why)
        assert printable.unprintable(found.example) == []
        return
    assert found
    for reading in found:
        assert math.isfinite(reading.value)
        assert reading.at.tzinfo is not None
        reading.at.timestamp()


@given(st.binary(max_size=300), SENSORS, st.booleans())
@example(b"\xed\xa0\x80", BENCH, False)
def test_any_bytes_are_readings_or_refused(payload: bytes, sensor: TopicSensor, kept: bool) -> None:
    a_result(payload, sensor, kept=kept)


@given(DOCUMENTS, SENSORS, st.booleans())
def test_any_json_is_readings_or_refused(document: object, sensor: TopicSensor, kept: bool) -> None:
    a_result(json.dumps(document).encode("utf-8", "surrogatepass"), sensor, kept=kept)


@given(st.lists(st.dictionaries(KEYS, LEAVES)), st.booleans())
def test_any_records_are_readings_or_refused(pack: object, kept: bool) -> None:
    a_result(json.dumps(pack).encode(), SENML, kept=kept)


@given(st.floats(-60, 60, allow_nan=False), st.sampled_from(["{}", "{:.2f}", "{:.6e}"]))
def test_every_number_arrives(value: float, form: str) -> None:
    text = form.format(value)

    assert value_of(text) == float(text)


def test_a_time_far_ahead_is_that_of_a_clock_that_was_never_set() -> None:
    """Nothing of the year 9999 reaches the ledger."""
    for at in ("9999-12-31T23:59:59Z", (CAME + timedelta(hours=25)).isoformat()):
        assert why_not(json.dumps({"t": 5, "at": at}), TIMED) == Why.AHEAD
    soon = json.dumps({"t": 5, "at": (CAME + timedelta(hours=23)).isoformat()})
    assert len(readings_of(soon, TIMED)) == 1


def test_a_name_that_two_devices_of_a_pack_have_must_be_whole() -> None:
    pack = json.dumps(
        [
            {"bn": "d1/", "n": "temperature", "u": "Cel", "v": 20},
            {"bn": "d2/", "n": "temperature", "u": "Cel", "v": 5},
        ]
    )
    assert why_not(pack, SENML) == Why.MANY_NAMES
    assert value_of(pack, replace(SENML, record="d2/temperature")) == 5.0
