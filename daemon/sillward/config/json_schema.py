"""The JSON Schema (2020-12) of a collection file, for editors: keys, types, units, ranges.

`check` finds more: names of nothing that exists, unknown zones, limits that contradict each other.
"""

from typing import Annotated, Any

from pydantic import ConfigDict, Field

from sillward.config.feed_models import CourseTable, NamedFeedTable
from sillward.config.models import (
    ChannelTable,
    FeedTable,
    HabitsTable,
    MqttTable,
    NoticesTable,
    PageTable,
    RoundsTable,
    SensorTable,
    SiteTable,
    SpotTable,
    Table,
    WaterTable,
)
from sillward.config.plant_models import TAKEN_BACK, DefaultsTable, PlantTable
from sillward.config.rule_schema import group_text, rule_tables

DIALECT = "https://json-schema.org/draft/2020-12/schema"
ID = "urn:sillward:collection"


class Document(Table):
    """A collection of sillward: the site, its spots, the plants, and how their grower works."""

    model_config = ConfigDict(defer_build=True)  # only its schema is wanted, no validator

    site: SiteTable
    spots: Annotated[dict[str, SpotTable], Field(min_length=1)] = Field(
        description="[spots.NAME]: the places where plants stand."
    )
    defaults: DefaultsTable = DefaultsTable()
    plants: Annotated[list[PlantTable], Field(min_length=1)] = Field(
        description="[[plants]]: one table for each container, or for several that are alike."
    )
    rules: list[dict[str, Any]] = Field(
        [], description="[[rules]]: your own, in addition to the standard ones."
    )
    habits: HabitsTable = HabitsTable()
    water: WaterTable | None = None
    feed: FeedTable | None = None
    feeds: list[NamedFeedTable] = Field([], description="[[feeds]]: feeds for some plants.")
    courses: list[CourseTable] = Field(
        [], description="[[courses]]: salts that some plants get for a while."
    )
    rounds: RoundsTable = RoundsTable()
    notices: NoticesTable = NoticesTable()
    channels: list[ChannelTable] = Field([], description="[[channels]]: the ways to reach you.")
    page: PageTable = PageTable()
    mqtt: MqttTable | None = None
    sensors: list[SensorTable] = Field(
        [], description="[[sensors]]: what thermometers and hygrometers at the spots send."
    )


def collection_schema() -> dict[str, Any]:
    """Return the schema as a JSON document."""
    schema = _simplified(Document.model_json_schema())
    tables = schema["$defs"]
    tables |= rule_tables()
    schema["properties"]["rules"]["items"] = {"$ref": "#/$defs/RuleTable"}
    for name in ("DefaultsTable", "PlantTable", "OneOfThemTable"):
        _complete_plant_keys(tables[name]["properties"])
    for name in ("NamedFeedTable", "CourseTable"):
        choice = tables[name]["properties"]["plants"]
        about = choice["description"]
        choice.clear()
        choice |= {"$ref": "#/$defs/ChosenTable", "description": about}
    for name, keys in _KEYS_TOGETHER.items():
        tables[name] |= keys
    schema["allOf"] = _NEEDED_OF_PLANTS
    return {"$schema": DIALECT, "$id": ID, "title": "Collection of sillward", **schema}


def _complete_plant_keys(keys: dict[str, Any]) -> None:
    """Add the culture groups, and that some keys may be false."""
    for node in (keys["group"], keys["parents"]["items"]):
        node |= group_text()
        node.pop("type", None)
    for key in TAKEN_BACK:
        kept = {"description": keys[key].pop("description")}
        keys[key] = {"anyOf": [keys[key], {"const": False}], **kept}


def _simplified(node: Any, *, by_name: bool = False) -> Any:
    """Return the schema without null, which TOML does not have, and without made-up titles.

    by_name: whether the keys of this node are names of the collection, not words of JSON Schema.
    """
    if isinstance(node, list):
        return [_simplified(item) for item in node]
    if not isinstance(node, dict):
        return node
    if by_name:
        return {name: _simplified(value) for name, value in node.items()}
    kept = {
        key: _simplified(value, by_name=key in ("properties", "$defs"))
        for key, value in node.items()
        if key != "title" and not (key == "default" and value in (None, [], {}))
    }
    choices = [choice for choice in kept.get("anyOf", []) if choice != {"type": "null"}]
    if len(choices) == 1:
        del kept["anyOf"]
        kept = choices[0] | kept
    return kept


def _either(*keys: str) -> list[dict[str, Any]]:
    return [{"required": [key]} for key in keys]


def _unless_default(default: dict[str, Any], plant: dict[str, Any]) -> dict[str, Any]:
    """Return that each table of plants must have this, unless [defaults] does."""
    return {
        "if": {"required": ["defaults"], "properties": {"defaults": default}},
        "else": {"properties": {"plants": {"items": plant}}},
    }


_A_NIGHT_LIMIT = {
    "anyOf": [
        *_either("group", "parents"),
        {"properties": {"limits": {"required": ["night_low"]}}, "required": ["limits"]},
    ]
}

_NEEDED_OF_PLANTS = [
    *(_unless_default({"required": [key]}, {"required": [key]}) for key in ("holder", "home")),
    _unless_default(_A_NIGHT_LIMIT, _A_NIGHT_LIMIT),
    *(
        _unless_default(
            {"required": ["pot"], "properties": {"pot": {"required": [key]}}},
            {"properties": {"pot": {"required": [key]}}},
        )
        for key in ("litres", "medium")
    ),
]
"""What every plant needs, from its own table or from [defaults]."""

_NOT_BOTH_GROUPS = {"not": {"required": ["group", "parents"]}}

_KEYS_TOGETHER: dict[str, dict[str, Any]] = {
    "SpotTable": {
        "if": {"properties": {"indoors": {"const": True}}, "required": ["indoors"]},
        "then": {"not": {"required": ["night_low", "night_offset"]}},
        "else": {"properties": {"night_low": False, "day_low": False, "humidity": False}},
    },
    "DefaultsTable": _NOT_BOTH_GROUPS,
    "OneOfThemTable": _NOT_BOTH_GROUPS,
    "PlantTable": {
        **_NOT_BOTH_GROUPS,
        "oneOf": _either("name", "names"),
        "dependentRequired": {"count": ["name"]},
        "dependentSchemas": {"but": {"anyOf": _either("names", "count")}},
    },
    "FeedTable": {"oneOf": _either("ppm_n", "grams_per_litre")},
    "NamedFeedTable": {"oneOf": _either("ppm_n", "grams_per_litre")},
    "CourseTable": {"oneOf": _either("times", "every")},
    "SensorTable": {
        "allOf": [
            {
                "if": {"properties": {"payload": {"const": kind}}, "required": ["payload"]},
                "then": {"required": [needed]},
                "else": {"properties": dict.fromkeys(keys, False)},
            }
            for kind, needed, keys in (
                ("json", "path", ("path", "time_path")),
                ("senml", "record", ("record",)),
            )
        ]
    },
}
"""Which keys go together, as `cross_checks` has it."""
