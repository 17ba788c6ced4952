"""Reading rules: from a table as TOML gives it, or everything that is wrong with the table."""

import math
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

from sillward_rules.plants.plant import HOLDERS, RESTS, ROT_CLASSES, UNITS
from sillward_rules.plants.rules import (
    ASKS,
    QUANTITIES,
    Bound,
    Chosen,
    Condition,
    Direction,
    Quantity,
    Rule,
)
from sillward_rules.weather.season import Season
from sillward_rules.weather.time_expressions import parse_duration, parse_hours

_SPELLINGS = {"degc": "°C", "c": "°C", "k": "°C", "w/m²": "W/m2"}
_BOUND = re.compile(r"([-+]?\d+(?:\.\d+)?)\s*(\S.*)", re.ASCII)
_BESIDE = re.compile(r"(\w+)\s*([-+])\s*(\d.*)", re.ASCII)


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong with a rule: the key, and what would be right."""

    key: str
    text: str


@cache
def standard_rules() -> tuple[Rule, ...]:
    """The rules that ship with the core, read from standard_rules.toml."""
    text = (
        resources.files("sillward_rules.plants")
        .joinpath("standard_rules.toml")
        .read_text(encoding="utf-8")
    )
    rules = []
    for table in tomllib.loads(text)["rules"]:
        rule, problems = read_rule(table)
        if rule is None:
            msg = f"standard_rules.toml: {problems}"
            raise ValueError(msg)
        rules.append(rule)
    return tuple(rules)


_KEYS = ("name", "watch", "below", "above", "lasting", "hours", "asks", "plants", "season", "while")
_SEASONS = tuple(season.value for season in Season)


_HEAT = ("temperature", "leaf temperature")


def read_rule(table: Mapping[str, Any]) -> tuple[Rule | None, list[Problem]]:
    """Read one rule as TOML gives it. Return the rule, or None and everything wrong with it."""
    known = f"unknown key (known: {', '.join(_KEYS)})"
    problems = [Problem(key, known) for key in table if key not in _KEYS]
    name = table.get("name")
    if not isinstance(name, str) or not name.strip() or not name.isprintable():
        problems.append(Problem("name", "every rule needs a name, in quotes, on one line"))
    watch = _read_watch(table, "", problems)
    asks = table.get("asks")
    if asks not in ASKS:
        problems.append(
            Problem("asks", f"{_shown(asks)} is not a chore (known: {', '.join(ASKS)})")
        )
    direction, bound = _read_bound(table, "", problems)
    if asks == "move" and (direction == "below" or watch not in _HEAT):
        example = 'watch = "temperature" or "leaf temperature", with above'
        problems.append(Problem("asks", f'"move" is out of the heat; it goes with {example}'))
    also = _read_also(table.get("while"), problems)
    lasting = _parsed(table, "lasting", "0 min", parse_duration, problems)
    hours = _parsed(table, "hours", "any", parse_hours, problems)
    plants = _read_chosen(table.get("plants", {}), problems)
    season = _read_season(table.get("season", []), problems)
    if problems or direction is None or bound is None or lasting is None or hours is None:
        return None, problems
    rule = Rule(
        str(name), str(watch), direction, bound, hours, str(asks), lasting, plants, season, also
    )
    return rule, []


def _shown(value: object) -> str:
    return "nothing" if value is None else f'"{value}"'


def _parsed(
    table: Mapping[str, Any], key: str, default: str, parse: Any, problems: list[Problem]
) -> Any:
    try:
        return parse(table.get(key, default))
    except (ValueError, AttributeError, TypeError) as error:
        text = str(error) if isinstance(error, ValueError) else f"{_shown(table[key])} is not text"
        problems.append(Problem(key, text))
        return None


def _read_watch(table: Mapping[str, Any], path: str, problems: list[Problem]) -> object:
    watch = table.get("watch")
    if not isinstance(watch, str) or watch not in QUANTITIES:
        known = ", ".join(QUANTITIES)
        problems.append(
            Problem(f"{path}watch", f"{_shown(watch)} is not a quantity (known: {known})")
        )
    return watch


def _read_also(raw: object, problems: list[Problem]) -> Condition | None:
    if raw is None:
        return None
    if not isinstance(raw, Mapping):
        example = 'write for example { watch = "wind", below = "0.5 m/s" }'
        problems.append(Problem("while", example))
        return None
    known = "unknown key (known: watch, below, above)"
    extra = [key for key in raw if key not in ("watch", "below", "above")]
    problems.extend(Problem(f"while.{key}", known) for key in extra)
    watch = _read_watch(raw, "while.", problems)
    direction, bound = _read_bound(raw, "while.", problems)
    if direction is None or bound is None:
        return None
    return Condition(str(watch), direction, bound)


def _read_bound(
    table: Mapping[str, Any], path: str, problems: list[Problem]
) -> tuple[Direction | None, Bound | None]:
    given: list[Direction] = [side for side in ("below", "above") if side in table]
    if len(given) != 1:
        problems.append(Problem(f"{path}below", "give exactly one of below and above"))
        return None, None
    direction = given[0]
    quantity = QUANTITIES.get(str(table.get("watch")))
    if quantity is None:
        return direction, None
    raw = table[direction]
    own = quantity.limit_below if direction == "below" else quantity.limit_above
    beside = _BESIDE.fullmatch(raw.strip()) if isinstance(raw, str) else None
    name, more = (beside.group(1), _amount(beside.group(3), quantity)) if beside else (raw, 0.0)
    if beside and more is not None and beside.group(2) == "-":
        more = -more
    if name == "limit" and own is None:
        text = f"no plant has a limit for {table['watch']} {direction}; give a value"
        problems.append(Problem(f"{path}{direction}", text))
        return direction, None
    limit = own if name == "limit" else name
    if isinstance(limit, str) and UNITS.get(limit) == quantity.unit and more is not None:
        return direction, Bound(limit=limit, more=more)
    value = _amount(raw, quantity) if isinstance(raw, str) else None
    if value is None:
        example = f'"limit" or a value with its unit, such as "12 {quantity.unit}"'
        problems.append(
            Problem(f"{path}{direction}", f"{_shown(raw)} is not a bound; write {example}")
        )
        return direction, None
    return direction, Bound(value=value)


def _amount(text: str, quantity: Quantity) -> float | None:
    """A number with the quantity's unit; None if it is none."""
    match = _BOUND.fullmatch(text.strip())
    if match is None or not math.isfinite(float(match.group(1))):
        return None
    written = match.group(2)
    same = quantity.unit in (written, _SPELLINGS.get(written.lower()))
    return float(match.group(1)) if same else None


def _read_season(raw: object, problems: list[Problem]) -> tuple[str, ...]:
    values = [raw] if isinstance(raw, str) else raw
    if isinstance(values, list) and all(one in _SEASONS for one in values):
        return tuple(values)
    problems.append(
        Problem("season", f"{_shown(raw)} is not a season (known: {', '.join(_SEASONS)})")
    )
    return ()


_CLASSES: Mapping[str, Sequence[str]] = {"rot": ROT_CLASSES, "rest": RESTS}


def _read_chosen(raw: object, problems: list[Problem]) -> Chosen:
    if not isinstance(raw, Mapping):
        problems.append(Problem("plants", 'write for example { holder = ["mount"] }'))
        return Chosen()
    lists: dict[str, tuple[str, ...]] = {}
    for key, value in raw.items():
        values = [value] if isinstance(value, str) else value
        if key not in Chosen.__slots__:
            known = ", ".join(Chosen.__slots__)
            problems.append(Problem(f"plants.{key}", f"unknown key (known: {known})"))
        elif not isinstance(values, list) or not all(isinstance(one, str) for one in values):
            problems.append(Problem(f"plants.{key}", "must be a text or a list of texts"))
        elif key == "holder" and not set(values) <= set(HOLDERS):
            known = ", ".join(HOLDERS)
            problems.append(Problem("plants.holder", f"{values} are not holders (known: {known})"))
        elif key in _CLASSES and not set(values) <= set(_CLASSES[key]):
            known = ", ".join(_CLASSES[key])
            problems.append(Problem(f"plants.{key}", f"{values} is not one of: {known}"))
        else:
            lists[key] = tuple(values)
    return Chosen(**lists)
