"""The tables [mqtt] and [[sensors]]: where readings come from, and what they are of."""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from pydantic import SecretStr

from sillward import files
from sillward.config import cross_checks
from sillward.config.household import Broker, TopicSensor
from sillward.config.models import MqttTable, SensorTable
from sillward.config.place import FILE
from sillward.config.validation import TableReader
from sillward_rules.readings.hourly_readings import Quantity
from sillward_rules.weather.spot import Spot

PasswordFor = Callable[[], SecretStr | None]

PORT, TLS_PORT = 1883, 8883
"""The ports that are registered for MQTT (IANA)."""

MAX_CA_BYTES = 1_000_000
"""Of a file of certificates. Judgement: those of all public authorities are 200 kB."""

_USUAL_UNIT = {Quantity.TEMPERATURE: "°C", Quantity.HUMIDITY: "%"}


def read_broker(
    reader: TableReader, document: Mapping[str, Any], folder: Path, password: PasswordFor
) -> Broker | None:
    """Return the broker of [mqtt]; None if there is none, or it is wrong, which is reported."""
    if "mqtt" not in document:
        if document.get("sensors"):
            text = "they need [mqtt] with the host of the broker that has them"
            reader.report(FILE.at("sensors"), text)
        return None
    table = reader.read(MqttTable, document["mqtt"], FILE.at("mqtt"), secret=True)
    if table is None:
        return None
    ca = None if table.ca is None else _ca_file(reader, table, folder)
    return Broker(
        table.host,
        table.port or (TLS_PORT if table.tls else PORT),
        table.tls,
        ca,
        table.version,
        table.user,
        None if table.user is None else password(),
    )


def _ca_file(reader: TableReader, table: MqttTable, folder: Path) -> Path | None:
    if not table.tls:
        text = "ca is for an encrypted connection; set tls = true too"
        reader.report(FILE.at("mqtt"), text, "ca")
        return None
    try:
        path = folder / Path(table.ca or "").expanduser()
        files.read(path, MAX_CA_BYTES)
    except OSError as error:
        reader.report(
            FILE.at("mqtt").at("ca"), f"{table.ca}: cannot be read: {error.strerror or error}"
        )
        return None
    except RuntimeError as error:  # the home of a user that does not exist
        reader.report(FILE.at("mqtt").at("ca"), f"{table.ca}: {error}")
        return None
    return path


def read_sensors(
    reader: TableReader, document: Mapping[str, Any], spots: Mapping[str, Spot | None]
) -> tuple[TopicSensor, ...]:
    """Return the sensors of [[sensors]] that are right; what is wrong with others is reported."""
    sensors: list[TopicSensor] = []
    labels: list[str] = []
    for index, raw in enumerate(reader.list_of_tables(document, "sensors") or []):
        where = FILE.at("sensors").at(index)
        table = reader.read(SensorTable, raw, where)
        cross_checks.check_sensor_spot(reader, where, raw, spots)
        if table is None or not cross_checks.check_sensor(reader, where, table):
            continue
        sensor = _built(table)
        cross_checks.check_same_topic(
            reader, where, sensor, dict(zip(labels, sensors, strict=True))
        )
        sensors.append(sensor)
        labels.append(where.label)
    return tuple(sensors)


def _built(table: SensorTable) -> TopicSensor:
    quantity = Quantity(table.quantity)
    return TopicSensor(
        table.spot,
        quantity,
        table.topic,
        table.payload,
        _keys(table.path),
        table.record or "",
        _keys(table.time_path),
        table.unit or _USUAL_UNIT[quantity],
    )


def _keys(path: str | None) -> tuple[str, ...]:
    return tuple(path.split(".")) if path else ()
