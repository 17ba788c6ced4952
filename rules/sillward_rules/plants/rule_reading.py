"""Reading rules: from a table as TOML gives it, or everything that is wrong with the table."""

import math
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from functools import cache
from importlib import resources
from typing import Any

from sillward_rules.plants.limits import UNITS
from sillward_rules.plants.rule_grammar import (
    RULE_KEYS,
    UNIT_SPELLINGS,
    BoundOn,
    Form,
    Name,
    OneOf,
    SomeOf,
    TableOf,
    Written,
)
from sillward_rules.plants.rules import (
    QUANTITIES,
    Bound,
    Condition,
    Direction,
    PlantFilter,
    Quantity,
    Rule,
)
from sillward_rules.weather.time_expressions import Hours

_AMOUNT = re.compile(r"([-+]?\d+(?:\.\d+)?)\s*(\S.*)", re.ASCII)
_BESIDE_LIMIT = re.compile(r"(\w+)\s*([-+])\s*(\d.*)", re.ASCII)
_HEAT = ("temperature", "leaf temperature")


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong with a rule: the key, and what would be right."""

    key: str
    text: str


@cache
def standard_rules() -> tuple[Rule, ...]:
    """Return the rules that ship with the core, read from standard_rules.toml."""
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


def read_rule(table: Mapping[str, Any]) -> tuple[Rule | None, list[Problem]]:
    """Read one rule as TOML gives it. Return the rule, or None and everything wrong with it."""
    reader = _TableReader(table, RULE_KEYS, "", [])
    problems = reader.problems
    reader.refuse_unknown_keys()
    name, watch, asks = reader.value("name"), reader.value("watch"), reader.value("asks")
    direction, bound = reader.bound()
    if asks == "move" and (direction == "below" or watch not in _HEAT):
        example = 'watch = "temperature" or "leaf temperature", with above'
        problems.append(Problem("asks", f'"move" is out of the heat; it goes with {example}'))
    also = reader.condition("while")
    lasting, hours = reader.value("lasting"), reader.value("hours")
    plants = reader.chosen("plants")
    season = reader.value("season")
    if problems or direction is None or bound is None:
        return None, problems
    assert isinstance(lasting, timedelta)
    assert isinstance(hours, Hours)
    rule = Rule(
        str(name), str(watch), direction, bound, hours, str(asks), lasting, plants, season, also
    )
    return rule, []


def read_choice(table: Mapping[str, Any]) -> tuple[PlantFilter, list[Problem]]:
    """Read a choice of plants, written as in a rule. Return it and everything wrong with it."""
    reader = _TableReader({"plants": table}, RULE_KEYS, "", [])
    return reader.chosen("plants"), reader.problems


def _shown(value: object) -> str:
    return "nothing" if value is None else f'"{value}"'


@dataclass(frozen=True, slots=True)
class _TableReader:
    """Reads the values of a table by its grammar and collects what is wrong with them.

    path: of the table in its rule, ending in a point; "" for the rule itself.
    """

    table: Mapping[str, Any]
    keys: Mapping[str, Form]
    path: str
    problems: list[Problem]

    def report(self, key: str, text: str) -> None:
        """Add a problem."""
        self.problems.append(Problem(f"{self.path}{key}", text))

    def refuse_unknown_keys(self) -> None:
        """Report each key that the grammar does not have."""
        known = f"unknown key (known: {', '.join(self.keys)})"
        for key in self.table:
            if key not in self.keys:
                self.report(key, known)

    def value(self, key: str) -> Any:
        """Read the value of a key that is neither a bound nor a table.

        Return None, or an empty tuple for several words, if it is wrong.
        """
        form = self.keys[key]
        match form:
            case Name():
                return self._name(key)
            case OneOf():
                return self._word(key, form)
            case SomeOf():
                return self._words(key, form)
            case Written():
                return self._parsed(key, form)
            case BoundOn() | TableOf():
                msg = f"{key} is not a single value"
                raise TypeError(msg)

    def _name(self, key: str) -> object:
        name = self.table.get(key)
        if not isinstance(name, str) or not name.strip() or not name.isprintable():
            self.report(key, "every rule needs a name, in quotes, on one line")
        return name

    def _word(self, key: str, form: OneOf) -> object:
        word = self.table.get(key)
        if not isinstance(word, str) or word not in form.words:
            known = ", ".join(form.words)
            self.report(key, f"{_shown(word)} is not {form.kind} (known: {known})")
        return word

    def _words(self, key: str, form: SomeOf) -> tuple[str, ...]:
        value = self.table.get(key, [])
        texts = [value] if isinstance(value, str) else value
        refusal = ""
        if not isinstance(texts, list) or not all(isinstance(text, str) for text in texts):
            refusal = form.refusal_of_others
        elif form.words and not set(texts) <= set(form.words):
            refusal = form.refusal
        if refusal:
            words = ", ".join(form.words)
            self.report(key, refusal.format(value=_shown(value), texts=texts, words=words))
            return ()
        return tuple(texts)

    def _parsed(self, key: str, form: Written) -> object:
        try:
            return form.parse(self.table.get(key, form.default))
        except ValueError as error:
            self.report(key, str(error))
        except (AttributeError, TypeError):
            self.report(key, f"{_shown(self.table[key])} is not text")
        return None

    def _nested(self, key: str) -> "_TableReader | None":
        """Return a reader of the table under a key; None, which is reported, if it is none."""
        form, raw = self.keys[key], self.table[key]
        assert isinstance(form, TableOf)
        if isinstance(raw, Mapping):
            return _TableReader(raw, form.keys, f"{self.path}{key}.", self.problems)
        self.report(key, f"write for example {form.example}")
        return None

    def condition(self, key: str) -> Condition | None:
        """Read the table of a second condition; None if it is left out or wrong."""
        if self.table.get(key) is None:
            return None
        nested = self._nested(key)
        if nested is None:
            return None
        nested.refuse_unknown_keys()
        watch = nested.value("watch")
        direction, bound = nested.bound()
        if direction is None or bound is None:
            return None
        return Condition(str(watch), direction, bound)

    def chosen(self, key: str) -> PlantFilter:
        """Read the table that says of which plants a rule speaks; left out: of all."""
        nested = self._nested(key) if key in self.table else None
        if nested is None:
            return PlantFilter()
        lists: dict[str, tuple[str, ...]] = {}
        for name in nested.table:
            if name in nested.keys:
                lists[name] = nested.value(name)
            else:
                nested.report(name, f"unknown key (known: {', '.join(nested.keys)})")
        return PlantFilter(**lists)

    def bound(self) -> tuple[Direction | None, Bound | None]:
        """Read on which side of the quantity the bound is, and the bound; None if it is wrong."""
        given = [
            form.side
            for key, form in self.keys.items()
            if isinstance(form, BoundOn) and key in self.table
        ]
        if len(given) != 1:
            self.report("below", "give exactly one of below and above")
            return None, None
        direction = given[0]
        quantity = QUANTITIES.get(str(self.table.get("watch")))
        if quantity is None:
            return direction, None
        raw = self.table[direction]
        if _names_missing_limit(raw, direction, quantity):
            watch = self.table["watch"]
            self.report(direction, f"no plant has a limit for {watch} {direction}; give a value")
            return direction, None
        bound = _parse_bound(raw, direction, quantity)
        if bound is None:
            example = f'"limit" or a value with its unit, such as "12 {quantity.unit}"'
            self.report(direction, f"{_shown(raw)} is not a bound; write {example}")
        return direction, bound


def _own_limit(direction: Direction, quantity: Quantity) -> str | None:
    """Return which limit of a plant the word "limit" stands for."""
    return quantity.limit_below if direction == "below" else quantity.limit_above


def _beside_limit(raw: object) -> tuple[object, str | None]:
    """Split "limit + 2 °C" into the limit's name and the signed amount; None if there is none."""
    match = _BESIDE_LIMIT.fullmatch(raw.strip()) if isinstance(raw, str) else None
    return (raw, None) if match is None else (match[1], f"{match[2]}{match[3]}")


def _names_missing_limit(raw: object, direction: Direction, quantity: Quantity) -> bool:
    """Return whether a bound is "limit" although no plant has a limit for the quantity."""
    name, _ = _beside_limit(raw)
    return name == "limit" and _own_limit(direction, quantity) is None


def _parse_bound(raw: object, direction: Direction, quantity: Quantity) -> Bound | None:
    """Read "limit", "night_low + 2 °C" or "12 °C"; None if it is none of these."""
    if not isinstance(raw, str):
        return None
    name, added = _beside_limit(raw)
    more = 0.0 if added is None else _parse_amount(added, quantity)
    limit = _own_limit(direction, quantity) if name == "limit" else name
    if isinstance(limit, str) and UNITS.get(limit) == quantity.unit and more is not None:
        return Bound(limit=limit, more=more)
    value = _parse_amount(raw, quantity)
    return None if value is None else Bound(value=value)


def _parse_amount(text: str, quantity: Quantity) -> float | None:
    """Read a number with the quantity's unit; None if it is none."""
    match = _AMOUNT.fullmatch(text.strip())
    if match is None or not math.isfinite(float(match.group(1))):
        return None
    written = match.group(2)
    same = quantity.unit in (written, UNIT_SPELLINGS.get(written.lower()))
    return float(match.group(1)) if same else None
