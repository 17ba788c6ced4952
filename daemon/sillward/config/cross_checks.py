"""What a collection's tables must not say together, though each value by itself is possible.

Each check reports what is wrong to the reader. Names of places and groups are checked on the raw
table, so that a mistake elsewhere in a plant does not hide them.
"""

from collections.abc import Mapping
from typing import Any

from sillward.config import group_lookup
from sillward.config.household import TopicSensor
from sillward.config.models import FeedTable, SensorTable, SpotTable
from sillward.config.place import Place
from sillward.config.plant_models import LimitsTable
from sillward.config.validation import TableReader
from sillward.errors import MAX_LINES
from sillward_rules.plants.fertiliser import parse_npk
from sillward_rules.plants.rules import PlantFilter
from sillward_rules.weather.spot import Spot

# -- spots


def check_spot(reader: TableReader, where: Place, table: SpotTable) -> bool:
    """Whether what is given goes with a spot outdoors, or indoors."""
    before = len(reader.errors)
    if not table.indoors:
        for key in ("night_low", "day_low", "humidity"):
            if getattr(table, key) is not None:
                text = f"{key} is for indoor spots; outdoors the weather decides"
                reader.report(where, text, key)
    elif table.night_low is not None and table.night_offset is not None:
        text = "give night_low (it holds that) or night_offset (it follows), not both"
        reader.report(where, text, "night_offset")
    return len(reader.errors) == before


# -- plants


def check_limits(reader: TableReader, where: Place, limits: LimitsTable) -> bool:
    """Whether a plant's own limits do not contradict each other."""
    before = len(reader.errors)
    for lower, higher, may_be_equal in _ORDERED_LIMITS:
        low, high = getattr(limits, lower), getattr(limits, higher)
        if low is None or high is None or low < high or (may_be_equal and low == high):
            continue
        wrong = "is above" if may_be_equal else "is not below"
        text = f"limits.{lower} {low:g} {wrong} limits.{higher} {high:g}"
        reader.report(where, text, "limits", lower)
    return len(reader.errors) == before


_ORDERED_LIMITS = (
    ("brief_low", "night_low", True),
    ("rest_low", "night_low", True),
    ("brief_low", "rest_low", True),
    ("light_low", "light_high", False),
    ("night_low", "day_high", False),
)
"""Pairs of limits, the one that must be lower first, and whether the two may be equal."""


def check_places(
    reader: TableReader, where: Place, raw: object, spots: Mapping[str, Spot | None]
) -> None:
    """Check that the home and the shelter of a table are spots."""
    if not isinstance(raw, Mapping):
        return
    for key in ("home", "shelter"):
        name = raw.get(key)
        if isinstance(name, str) and name not in spots:
            hint = reader.hint(name, spots)
            known = ", ".join(spots)
            wrong = f'{key} "{name}" is not one of your spots'
            reader.report_once(wrong, where, f"{hint} (spots: {known})", key)


def check_shelter(reader: TableReader, where: Place, merged: Mapping[str, Any]) -> None:
    """Check that a plant's home and shelter are not the same spot."""
    if isinstance(merged.get("home"), str) and merged["home"] == merged.get("shelter"):
        text = "home and shelter are the same spot; leave shelter out"
        reader.report(where, text, "shelter")


def check_groups(reader: TableReader, where: Place, raw: object) -> None:
    """Check that the groups of a table are known, and given in one way."""
    if not isinstance(raw, Mapping):
        return
    if raw.get("group") is not None and raw.get("parents") is not None:
        reader.report(where, "give group or parents, not both", "parents")
        return
    for number, name in enumerate(groups_named(raw)):
        if isinstance(name, str):
            resolution = group_lookup.resolve(name, suggest=len(reader.errors) < MAX_LINES)
            if resolution.group is None:
                keys = ("group",) if "group" in raw else ("parents", number)
                reader.report(where, resolution.problem, *keys)


def check_night_limit(reader: TableReader, where: Place, merged: Mapping[str, Any]) -> None:
    """Check that a plant without a group has a night limit of its own."""
    limits = merged.get("limits")
    has_limit = isinstance(limits, Mapping) and "night_low" in limits
    if "group" not in merged and not merged.get("parents") and not has_limit:
        text = "give group, or parents, or at least limits.night_low of your own"
        reader.report(where, text)


def groups_named(raw: Mapping[str, Any]) -> list[Any]:
    """Return the groups of a plant as the file names them; they may be of any type."""
    group, parents = raw.get("group"), raw.get("parents")
    if group is not None:
        return [group]
    return parents if isinstance(parents, list) else []


# -- rules and feed


def check_chosen_names(
    reader: TableReader, where: Place, chosen: PlantFilter, known: Mapping[str, set[str]]
) -> None:
    """Check that there are the plants that are chosen by name, group or home.

    known: the names that there are, by the key of `plants`.
    """
    for key, names in known.items():
        for missing in [name for name in getattr(chosen, key) if name not in names]:
            hint = reader.hint(missing, sorted(names))
            if key == "group" and len(reader.errors) < MAX_LINES:
                hint = group_lookup.suggestion(missing)
            reader.report(where, f'plants.{key}: there is no "{missing}"{hint}', "plants", key)


def check_feed(reader: TableReader, table: FeedTable, where: Place) -> bool:
    """Whether the feed's strength is given once, and in a way that fits the fertiliser."""
    if (table.ppm_n is None) is (table.grams_per_litre is None):
        reader.report(where, "give exactly one of ppm_n and grams_per_litre")
        return False
    if table.ppm_n is not None and parse_npk(table.npk)[0] == 0:
        text = f"npk {table.npk}: has no nitrogen; give grams_per_litre, not ppm_n"
        reader.report(where, text, "ppm_n")
        return False
    return True


# -- sensors


def check_sensor_spot(
    reader: TableReader, where: Place, raw: object, spots: Mapping[str, Spot | None]
) -> None:
    """Check that a sensor hangs at one of the spots."""
    name = raw.get("spot") if isinstance(raw, Mapping) else None
    if isinstance(name, str) and name not in spots:
        hint, known = reader.hint(name, spots), ", ".join(spots)
        text = f'spot "{name}" is not one of your spots{hint} (spots: {known})'
        reader.report(where, text, "spot")


def check_sensor(reader: TableReader, where: Place, table: SensorTable) -> bool:
    """Whether the keys of a sensor go with its payload, and its unit with its quantity."""
    before = len(reader.errors)
    for kind, needed, keys in (
        ("json", "path", ("path", "time_path")),
        ("senml", "record", ("record",)),
    ):
        if table.payload == kind and getattr(table, needed) is None:
            reader.report(where, f'{needed} is missing; payload "{kind}" needs it')
        for key in keys:
            if table.payload != kind and getattr(table, key) is not None:
                text = f'{key} is for payload "{kind}"; this one is "{table.payload}"'
                reader.report(where, text, key)
    for key in ("path", "time_path"):
        if "" in (getattr(table, key) or "x").split("."):
            reader.report(where, f"{key}: must be keys with one point between, such as a.b", key)
    if table.unit is not None and (table.quantity == "humidity") is not (
        table.unit in _OF_HUMIDITY
    ):
        reader.report(where, f'unit "{table.unit}" is not one of {table.quantity}', "unit")
    return len(reader.errors) == before


_OF_HUMIDITY = ("%", "share")


def check_same_topic(
    reader: TableReader, where: Place, sensor: TopicSensor, others: Mapping[str, TopicSensor]
) -> None:
    """Check that what comes on a topic is read in one way, and each value of it is used once.

    others: the sensors before this one, by how errors name them.
    """
    for label, other in others.items():
        if other.topic != sensor.topic:
            continue
        if other.payload != sensor.payload:
            text = f'payload: {label} reads the same topic as "{other.payload}"'
            reader.report(where, text, "payload")
        elif (other.name, other.quantity) == (sensor.name, sensor.quantity):
            text = f"is the same value of the same topic as {label}; a sensor hangs at one spot"
            reader.report(where, text, "topic")
        elif other.name == sensor.name and sensor.payload != "senml":
            text = f"takes for {sensor.quantity} what {label} takes for {other.quantity}"
            reader.report(where, text, "quantity")
