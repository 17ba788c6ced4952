"""The tables of a collection file, from the JSON Schema that `sillward schema` prints.

That schema is made from the pydantic models which read the file, so the page says what the program
takes. A default that is no value in the models (since the core knows it) stands at the end of the
key's description, in parentheses; `test_json_schema.py` holds it to the core.
"""

import json
import re
from collections.abc import Mapping
from typing import Any

from docs.make import markdown
from sillward.config import json_schema, patterns
from sillward_rules.plants.rules import QUANTITIES

TABLES: Mapping[str, str] = {
    "site": "SiteTable",
    "spots": "SpotTable",
    "sun": "SunTable",
    "plants": "PlantTable",
    "pot": "PotTable",
    "limits": "LimitsTable",
    "rules": "RuleTable",
    "while": "ConditionTable",
    "chosen": "ChosenTable",
    "habits": "HabitsTable",
    "water": "WaterTable",
    "feed": "FeedTable",
    "feeds": "NamedFeedTable",
    "courses": "CourseTable",
    "rounds": "RoundsTable",
    "notices": "NoticesTable",
    "channels": "ChannelTable",
    "page": "PageTable",
    "mqtt": "MqttTable",
    "sensors": "SensorTable",
}
"""What the page calls a table, and its name in the schema."""

_TEXTS: Mapping[str, str] = {
    patterns.DURATION: "duration",
    patterns.DURATION_OR_NEVER: 'duration or "never"',
    patterns.MOMENT: "time of day",
    patterns.WEEKLY: "day and time",
    patterns.HOURS: "hours",
    patterns.QUIET: "from and to",
    patterns.NPK: "N-P-K",
    patterns.ZONE: "time zone",
}
"""Texts of a form of their own, as the page explains them."""

_TABLES_IN_A_KEY: Mapping[str, str] = {
    "SunTable": "windows of sun, see below",
    "PotTable": "a pot, see below",
    "LimitsTable": "limits, see below",
    "OneOfThemTable": "tables of names, see below",
    "ConditionTable": "condition, see below",
    "ChosenTable": "choice of plants, see below",
}

_UNITS: Mapping[str, str] = {
    r"\bdegrees\b": "degrees",
    r"m/s": "m/s",
    r"\bmetres\b|, m\b": "m",
    r"°C": "°C",
    r"\bK\b": "K",
    r"umol m-2 s-1": "µmol m⁻² s⁻¹",
    r"mS/cm": "mS/cm",
    r"\bpH\b": "pH",
    r"kPa": "kPa",
    r"mg/L": "mg/L",
    r"g/L": "g/L",
    r"\bmm\b": "mm",
    r", L\b": "L",
    r", cm\b": "cm",
    r"%": "%",
    r"0\.\.1": "a share",
    r"\btimes\b": "a factor",
}
"""How descriptions say a unit, and how the page does. The first that is found counts."""

_UNIT_AT_END = re.compile(
    r",? (?:in )?(?:degrees|°C|K|m|cm|mm|m/s|kPa|mg/L|g/L|L|mS/cm|%|umol m-2 s-1|0\.\.1)(?=$|;|:)"
)
"""The unit, which has a column of its own."""

_DEFAULT_AT_END = re.compile(r"^(?P<text>.*?)\s*\((?P<default>[^()]+)\)$")
_DEFAULT_INSIDE = re.compile(r"\s*\((?P<default>[-0-9.]+)\)(?=;)")


def parts() -> dict[str, str]:
    """The generated parts, by name."""
    tables = json_schema.collection_schema()["$defs"]
    made = {f"table {name}": _table(tables, tables[known]) for name, known in TABLES.items()}
    return {**made, "quantities": _quantities()}


_QUANTITIES: Mapping[str, str] = {
    "temperature": "air at the spot",
    "leaf temperature": "the leaf, by its energy balance",
    "humidity": "relative humidity",
    "vpd": "vapour-pressure deficit of the air",
    "leaf vpd": "the same from the leaf to the air",
    "wet-bulb depression": "how far the wet bulb is below the air",
    "wind": "wind that reaches the plants",
    "gust": "gusts that reach the plants",
    "rain": "rain that falls on the plants, in an hour",
    "hail": "100 in an hour for which hail is forecast, else 0",
    "crown wetness": "how long crowns have been wet, by rain or dew",
    "rain wetness": "the same if rain has a part in it",
    "light": "sunlight that reaches the plants",
    "ppfd": "the same as plants count it (PPFD)",
}


def _quantities() -> str:
    """What a rule may watch: the unit, and the limit that the word "limit" stands for."""
    rows = [
        (
            markdown.code(name),
            _QUANTITIES[name],
            quantity.unit,
            markdown.code(quantity.limit_below) if quantity.limit_below else "–",
            markdown.code(quantity.limit_above) if quantity.limit_above else "–",
        )
        for name, quantity in QUANTITIES.items()
    ]
    head = ("Quantity", "What it is", "Unit", '"limit" after `below`', '"limit" after `above`')
    return markdown.table(head, rows)


def _table(tables: Mapping[str, Any], definition: Mapping[str, Any]) -> str:
    required = definition.get("required", [])
    rows = [
        _row(tables, key, node, required=key in required)
        for key, node in definition["properties"].items()
    ]
    return markdown.table(("Key", "Value", "Default", "Meaning"), rows)


def _row(
    tables: Mapping[str, Any], key: str, node: Mapping[str, Any], *, required: bool
) -> list[str]:
    text, default = _description(node)
    if required:
        default = "**required**"
    return [
        markdown.code(key),
        _value(tables, node, text),
        default,
        markdown.escaped(markdown.sentence(_UNIT_AT_END.sub("", text))),
    ]


def _description(node: Mapping[str, Any]) -> tuple[str, str]:
    """What is said of a key, and its default."""
    text = node["description"]
    told = _DEFAULT_INSIDE.search(text) or _DEFAULT_AT_END.match(text)
    default = "–"
    if told is not None and told["default"] not in ("Mg", "not a share"):
        without = told.groupdict().get("text")
        text = _DEFAULT_INSIDE.sub("", text) if without is None else without
        default = markdown.code(told["default"]) if _is_value(told["default"]) else told["default"]
    value = node.get("default")
    if value is not None and not isinstance(value, (dict, list)):
        default = markdown.code(json.dumps(value, ensure_ascii=False))
    return text, default


def _is_value(default: str) -> bool:
    return default.startswith('"') or default.replace(".", "").lstrip("-").isdigit()


def _value(tables: Mapping[str, Any], node: Mapping[str, Any], text: str) -> str:
    """What a key takes: kind, unit, range."""
    if "anyOf" in node:
        return _either(tables, node["anyOf"], text)
    if "enum" in node:
        return ", ".join(markdown.code(f'"{word}"') for word in node["enum"])
    if "$ref" in node:
        return _of_table(tables, node["$ref"])
    match node["type"]:
        case "boolean":
            return "`true` or `false`"
        case "number" | "integer":
            kind = "whole number" if node["type"] == "integer" else _unit(text)
            return f"{kind}, {_range(node)}"
        case "array":
            return _list_of(_value(tables, node["items"], text))
        case "object":
            of_each = node["additionalProperties"]
            if "$ref" in of_each:
                return _of_table(tables, of_each["$ref"])
            return f"table of names with a {_unit(text)}, {_range(of_each)}"
    if node.get("format") == "password":
        return "text (secret)"
    return _TEXTS.get(node.get("pattern", ""), _free_text(node))


def _free_text(node: Mapping[str, Any]) -> str:
    most = node.get("maxLength")
    return "text" if most is None else f"text, up to {most} characters"


def _either(tables: Mapping[str, Any], choices: list[Mapping[str, Any]], text: str) -> str:
    """One of a kind, or a list of them; of the culture groups only that they are text."""
    plain = [choice for choice in choices if choice.get("type") != "array"]
    number = next((choice for choice in plain if choice.get("type") == "number"), None)
    words = [markdown.code(f'"{word}"') for choice in plain for word in choice.get("enum", ())]
    if words and number is not None:
        return f"{', '.join(words)} or a number, {_range(number)}"
    if words and len(plain) > 1:
        return "text"  # the groups by name, or any other name of one
    one = _value(tables, plain[0], text)
    return f"{one}, or a list" if len(plain) < len(choices) else one


def _list_of(what: str) -> str:
    return f"list of {what.removesuffix(', up to 80 characters')}"


def _of_table(tables: Mapping[str, Any], reference: str) -> str:
    name = reference.rpartition("/")[2]
    if "enum" in tables[name]:
        return ", ".join(markdown.code(f'"{word}"') for word in tables[name]["enum"])
    return _TABLES_IN_A_KEY[name]


def _unit(text: str) -> str:
    for pattern, unit in _UNITS.items():
        if re.search(pattern, text):
            return "number" if unit.startswith("a ") else f"number, {unit}"
    msg = f"no unit is said in: {text}"
    raise ValueError(msg)


def _range(node: Mapping[str, Any]) -> str:
    most = f"{node['maximum']:g}"
    if "exclusiveMinimum" in node:
        return f"above {node['exclusiveMinimum']:g}, up to {most}"
    return f"{node['minimum']:g} to {most}".replace("-", "−")
