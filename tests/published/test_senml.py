"""The examples of SenML as the standard has them (RFC 8428, sections 5.1.1 to 5.1.4).

The packs are as the repository of its authors has them (core-wg/senml-spec, files ex1 to ex6); the
base version of RFC 8428, which these drafts do not have yet, and the limit of 2**28 s for relative
times (section 4.5.3) are from memory.
"""

import json
from datetime import UTC, datetime

import pytest

from sillward.config.household import TopicSensor
from sillward.readings import senml
from sillward.readings.live_intake import Reading
from sillward.readings.payload import read
from sillward_rules.readings.hourly_readings import Quantity

DEVICE = "urn:dev:ow:10e2073a01080063"

SINGLE = f'[{{"n":"{DEVICE}","u":"Cel","v":23.1}}]'

CURRENT = f"""[
  {{"bn":"{DEVICE}:","bt":1.276020076001e+09,"bu":"A","bver":5,"n":"voltage","u":"V","v":120.1}},
  {{"n":"current","t":-5,"v":1.2}}, {{"n":"current","t":-4,"v":1.3}},
  {{"n":"current","t":-3,"v":0.14e1}}, {{"n":"current","t":-2,"v":1.5}},
  {{"n":"current","t":-1,"v":1.6}}, {{"n":"current","v":1.7}}
]"""

MOBILE = f"""[
  {{"bn":"{DEVICE}","bt":1.320067464e+09,"bu":"%RH","v":20}},
  {{"u":"lon","v":24.30621}}, {{"u":"lat","v":60.07965}},
  {{"t":60,"v":20.3}}, {{"u":"lon","t":60,"v":24.30622}}, {{"u":"lat","t":60,"v":60.07965}},
  {{"t":120,"v":20.7}}, {{"u":"lon","t":120,"v":24.30623}}, {{"u":"lat","t":120,"v":60.07966}},
  {{"u":"%EL","t":150,"v":98}},
  {{"t":180,"v":21.2}}, {{"u":"lon","t":180,"v":24.30628}}, {{"u":"lat","t":180,"v":60.07967}}
]"""

RESOURCES = """[
  {"bn":"http://[2001:db8::2]/","bt":1.320078429e+09,"n":"temperature","u":"Cel","v":27.2},
  {"n":"humidity","u":"%RH","v":80}
]"""


def a_sensor(quantity: Quantity, record: str) -> TopicSensor:
    return TopicSensor("bench", quantity, "t", "senml", record=record)


def readings(pack: str, sensor: TopicSensor, came_at: datetime) -> list[tuple[datetime, float]]:
    found = read(pack.encode(), sensor, came_at, kept=False)
    assert isinstance(found, list), found
    assert all(isinstance(one, Reading) for one in found)
    return [(one.at, one.value) for one in found]


def test_a_single_datapoint_is_of_now() -> None:
    now = datetime(2026, 5, 14, tzinfo=UTC)

    assert readings(SINGLE, a_sensor(Quantity.TEMPERATURE, DEVICE), now) == [(now, 23.1)]


def test_base_values_apply_to_the_records_that_follow() -> None:
    last = 1276020076.001  # Tue 8 June 2010, 18:01:16.001 UTC, as the text says
    assert datetime.fromtimestamp(last, UTC).isoformat() == "2010-06-08T18:01:16.001000+00:00"
    records = [
        (one.full_name, one.unit, one.value, one.time) for one in senml.records(json.loads(CURRENT))
    ]

    assert records == [
        (f"{DEVICE}:voltage", "V", 120.1, last),
        *(
            (f"{DEVICE}:current", "A", value, pytest.approx(last - ago))
            for value, ago in ((1.2, 5), (1.3, 4), (1.4, 3), (1.5, 2), (1.6, 1), (1.7, 0))
        ),
    ]


def test_records_of_one_name_are_told_apart_by_their_units() -> None:
    came = datetime(2011, 10, 31, 13, 30, tzinfo=UTC)
    start = datetime(2011, 10, 31, 13, 24, 24, tzinfo=UTC)  # as the text says

    found = readings(MOBILE, a_sensor(Quantity.HUMIDITY, DEVICE), came)

    assert found == [
        (start.replace(minute=24 + minute), value)
        for minute, value in enumerate((20.0, 20.3, 20.7, 21.2))
    ]


def test_one_device_measures_several_things() -> None:
    came = datetime(2011, 10, 31, 16, 28, tzinfo=UTC)
    at = datetime(2011, 10, 31, 16, 27, 9, tzinfo=UTC)  # as the text says

    warmth = readings(RESOURCES, a_sensor(Quantity.TEMPERATURE, "temperature"), came)
    moisture = readings(
        RESOURCES, a_sensor(Quantity.HUMIDITY, "http://[2001:db8::2]/humidity"), came
    )

    assert (warmth, moisture) == ([(at, 27.2)], [(at, 80.0)])


def test_a_base_value_is_added() -> None:
    pack = [{"bv": 20, "n": "a", "v": 1.5}, {"n": "b", "v": -1}, {"bv": 0, "n": "c", "v": 3}]

    assert [one.value for one in senml.records(pack)] == [21.5, 19.0, 3.0]
