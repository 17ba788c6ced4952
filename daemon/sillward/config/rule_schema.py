"""The JSON Schema of [[rules]], from the grammar by which the core reads a rule."""

from collections.abc import Callable, Mapping
from typing import Any

from sillward.config import patterns
from sillward_rules.plants.groups import standard_groups
from sillward_rules.plants.rule_grammar import (
    CHOICE_KEYS,
    CONDITION_KEYS,
    RULE_KEYS,
    BoundOn,
    Form,
    Name,
    OneOf,
    SomeOf,
    TableOf,
    Written,
)
from sillward_rules.plants.rules import QUANTITIES
from sillward_rules.weather.time_expressions import parse_duration, parse_hours

_WATCH = "the quantity at the spot that the rule looks at"
_BOUND = '"limit", "limit + 2 °C", another of its limits, or a value: "8 m/s"'
_SIMPLE_BOUND = '"limit" or a value with its unit: "0.5 m/s"'

_RULE: Mapping[str, str] = {
    "name": "what the sheet calls the rule",
    "watch": _WATCH,
    "below": _BOUND,
    "above": _BOUND,
    "while": "a second condition that must hold in the same hour",
    "lasting": 'for how long at least, such as "2 h"',
    "hours": 'in which hours: "day", "night", "any", "10:00-17:00" or by the sun',
    "season": "in which seasons of growth (all)",
    "asks": "the chore it asks for; a note is a line on the sheet",
    "plants": "which plants it is about (all)",
}
"""What each key means, in the order in which a grower meets them; so the following."""

_CONDITION: Mapping[str, str] = {"watch": _WATCH, "below": _SIMPLE_BOUND, "above": _SIMPLE_BOUND}

_CHOICE: Mapping[str, str] = {
    "holder": "what they grow in or on",
    "group": "their culture group or that of a parent, or a common name of it",
    "home": "their home spot",
    "name": "their names",
    "rot": "how easily their crowns rot",
    "rest": "whether they are kept dry while growth rests",
}

_TABLES_IN_A_RULE = {"while": "ConditionTable", "plants": "ChosenTable"}
"""The name of the table under a key."""

_PATTERNS: Mapping[Callable[[str], object], str] = {
    parse_duration: patterns.DURATION,
    parse_hours: patterns.HOURS,
}

_TEXT = {"type": "string", "minLength": 1, "maxLength": 80}


def rule_tables() -> dict[str, Any]:
    """Return the definitions of the tables of a rule, by name."""
    sides = {
        "oneOf": [{"required": ["below"]}, {"required": ["above"]}],
        "allOf": _bounds_by_quantity(),
    }
    whole = "[[rules]]: one of your own, in addition to the standard ones."
    condition = "What must hold at the same hour too."
    choice = "Which plants a rule is about; a key that is left out excludes none."
    return {
        "RuleTable": _table(whole, RULE_KEYS, _RULE) | sides,
        "ConditionTable": _table(condition, CONDITION_KEYS, _CONDITION) | sides,
        "ChosenTable": _table(choice, CHOICE_KEYS, _CHOICE),
    }


def _table(
    description: str, keys: Mapping[str, Form], descriptions: Mapping[str, str]
) -> dict[str, Any]:
    table: dict[str, Any] = {
        "additionalProperties": False,
        "description": description,
        "properties": {
            key: _value(key, keys[key]) | {"description": text}
            for key, text in descriptions.items()
        },
        "type": "object",
    }
    required = [key for key in descriptions if keys[key].required]
    return table | ({"required": required} if required else {})


def _value(key: str, form: Form) -> dict[str, Any]:
    """Return what a key's value may be."""
    match form:
        case Name():
            return {"type": "string", "minLength": 1}
        case OneOf(words=words):
            return {"type": "string", "enum": [*words]}
        case SomeOf(words=words):
            text = {"type": "string", "enum": [*words]} if words else _text(key)
            return {"anyOf": [text, {"type": "array", "items": text}]}
        case Written(parse=parse, default=default):
            return {"type": "string", "pattern": _PATTERNS[parse], "default": default}
        case BoundOn():
            return {"type": "string"}
        case TableOf():
            return {"$ref": f"#/$defs/{_TABLES_IN_A_RULE[key]}"}


def _text(key: str) -> dict[str, Any]:
    return group_text() if key == "group" else _TEXT


def group_text() -> dict[str, Any]:
    """Return the schema of a group's name: any text, since common names count too.

    An editor offers the names of the groups themselves.
    """
    return {"anyOf": [{"enum": [*standard_groups()]}, _TEXT]}


def _bounds_by_quantity() -> list[dict[str, Any]]:
    """Return for each quantity what it may be held against: its unit, and limits in that unit."""
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
