"""The JSON Schema (2020-12) of a collection file, for editors: keys, types, units, ranges.

`check` knows more: names that lead nowhere, zones, limits that contradict each other.
"""

from collections.abc import Iterable
from typing import Annotated, Any

from pydantic import ConfigDict, Field

from sillward.config import patterns
from sillward.config.models import (
    ChannelTable,
    Duration,
    FeedTable,
    HabitsTable,
    HoursText,
    NoticesTable,
    PlantTable,
    RoundsTable,
    SiteTable,
    SpotTable,
    Table,
    Text,
)
from sillward_rules.plants.groups import standard_groups
from sillward_rules.plants.plant import Holder, Rest, Rot
from sillward_rules.plants.rules import ASKS, QUANTITIES
from sillward_rules.weather.season import Season

DIALECT = "https://json-schema.org/draft/2020-12/schema"
ID = "urn:sillward:collection"


def _one_of(words: Iterable[str]) -> Any:
    return Field(json_schema_extra={"enum": [*words]})


class Described(Table):
    """A table of which only the schema is wanted: nothing to read it with is built at import."""

    model_config = ConfigDict(defer_build=True)


def _of_groups(node: dict[str, Any]) -> None:
    """Any text, since common names count too; an editor offers the groups themselves."""
    node.pop("type", None)
    node["anyOf"] = [{"enum": [*standard_groups()]}, {"type": "string", "minLength": 1}]


Group = Annotated[Text, Field(json_schema_extra=_of_groups)]
Watched = Annotated[str, _one_of(QUANTITIES)]


class ChosenTable(Described):
    """Which plants a rule speaks of; what is left out leaves all in."""

    holder: Holder | list[Holder] = Field([], description="what they grow in or on")
    group: Group | list[Group] = Field(
        [], description="their culture group or that of a parent, or a common name of it"
    )
    home: Text | list[Text] = Field([], description="their home spot")
    name: Text | list[Text] = Field([], description="their names")
    rot: Rot | list[Rot] = Field([], description="how easily their crowns rot")
    rest: Rest | list[Rest] = Field([], description="whether they are kept dry while growth rests")


class ConditionTable(Described):
    """What must hold at the same hour too."""

    watch: Watched = Field(description="the quantity at the spot that the rule looks at")
    below: str | None = Field(None, description='"limit" or a value with its unit: "0.5 m/s"')
    above: str | None = Field(None, description='"limit" or a value with its unit: "0.5 m/s"')


class RuleTable(Described):
    """[[rules]]: one of your own, beside the standard ones. `rules.read_rule` reads it."""

    name: Annotated[str, Field(min_length=1)] = Field(description="what the sheet calls the rule")
    watch: Watched = Field(description="the quantity at the spot that the rule looks at")
    below: str | None = Field(
        None, description='"limit", "limit + 2 °C", another of its limits, or a value: "8 m/s"'
    )
    above: str | None = Field(
        None, description='"limit", "limit + 2 °C", another of its limits, or a value: "8 m/s"'
    )
    also: ConditionTable | None = Field(
        None, alias="while", description="a second condition that must hold in the same hour"
    )
    lasting: Duration = Field("0 min", description='for how long at least, such as "2 h"')
    hours: HoursText = Field(
        "any", description='in which hours: "day", "night", "any", "10:00-17:00" or by the sun'
    )
    season: Season | list[Season] = Field([], description="in which seasons of growth (all)")
    asks: Annotated[str, _one_of(ASKS)] = Field(
        description="the chore it asks for; a note is a line on the sheet"
    )
    plants: ChosenTable = Field(ChosenTable(), description="which plants it is about (all)")


class Document(Described):
    """A collection of sillward: the site, its spots, the plants, and how their grower works."""

    site: SiteTable
    spots: Annotated[dict[str, SpotTable], Field(min_length=1)] = Field(
        description="[spots.NAME]: the places where plants stand."
    )
    plants: Annotated[list[PlantTable], Field(min_length=1)] = Field(
        description="[[plants]]: one table for each container."
    )
    rules: list[RuleTable] = Field([], description="[[rules]]: your own, beside the standard ones.")
    habits: HabitsTable = HabitsTable()
    feed: FeedTable | None = None
    rounds: RoundsTable = RoundsTable()
    notices: NoticesTable = NoticesTable()
    channels: list[ChannelTable] = Field([], description="[[channels]]: the ways to reach you.")


def collection_schema() -> dict[str, Any]:
    """Return the schema as a JSON document."""
    schema = _plain(Document.model_json_schema())
    tables = schema["$defs"]
    _of_groups(tables["PlantTable"]["properties"]["group"])
    _of_groups(tables["PlantTable"]["properties"]["parents"]["items"])
    for name, together in _TOGETHER.items():
        tables[name] |= together
    for name in ("RuleTable", "ConditionTable"):
        tables[name] |= {"oneOf": _either("below", "above"), "allOf": _bounds()}
    return {"$schema": DIALECT, "$id": ID, "title": "Collection of sillward", **schema}


def _plain(node: Any, *, named: bool = False) -> Any:
    """The schema without null, which TOML does not have, and without titles made from names.

    named: the keys of this node are names of the grower's or of ours, not words of the schema.
    """
    if isinstance(node, list):
        return [_plain(one) for one in node]
    if not isinstance(node, dict):
        return node
    if named:
        return {name: _plain(one) for name, one in node.items()}
    kept = {
        key: _plain(value, named=key in ("properties", "$defs"))
        for key, value in node.items()
        if key != "title" and not (key == "default" and value in (None, [], {}))
    }
    choices = [one for one in kept.get("anyOf", []) if one != {"type": "null"}]
    if len(choices) == 1:
        del kept["anyOf"]
        kept = choices[0] | kept
    return kept


def _either(*keys: str) -> list[dict[str, Any]]:
    return [{"required": [key]} for key in keys]


def _bounds() -> list[dict[str, Any]]:
    """For each quantity what it may be held against: its unit, and the limits in that unit."""
    return [
        {
            "if": {"properties": {"watch": {"const": name}}, "required": ["watch"]},
            "then": {
                "properties": {
                    "below": {"pattern": patterns.bound(quantity, quantity.limit_below)},
                    "above": {"pattern": patterns.bound(quantity, quantity.limit_above)},
                }
            },
        }
        for name, quantity in QUANTITIES.items()
    ]


_TOGETHER: dict[str, dict[str, Any]] = {
    "SpotTable": {
        "if": {"properties": {"indoors": {"const": True}}, "required": ["indoors"]},
        "then": {"not": {"required": ["night_low", "night_offset"]}},
        "else": {"properties": {"night_low": False, "day_low": False, "humidity": False}},
    },
    "PlantTable": {
        "oneOf": [
            {"required": ["group"]},
            {"required": ["parents"]},
            {
                "not": {"anyOf": _either("group", "parents")},
                "properties": {"limits": {"required": ["night_low"]}},
                "required": ["limits"],
            },
        ]
    },
    "FeedTable": {"oneOf": _either("ppm_n", "grams_per_litre")},
}
"""Which keys go together, as `collection` checks it."""
