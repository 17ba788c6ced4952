"""Rules: declarative bounds on a quantity, which chore they ask for, and where they fire.

A rule says that something is needed. When, where to and how much is for the planners.
"""

import math
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from functools import cache
from importlib import resources
from typing import Any, Literal

import numpy as np

from sillward_rules.air import Array
from sillward_rules.moments import Hours, parse_duration, parse_hours
from sillward_rules.plant import HOLDERS, UNITS, Plant
from sillward_rules.site import Site
from sillward_rules.spot import Climate

Direction = Literal["below", "above"]


@dataclass(frozen=True, slots=True)
class Quantity:
    """Something a rule can watch: its series in a climate, its unit, the limits that bound it."""

    series: str
    unit: str
    limit_below: str | None = None
    limit_above: str | None = None


QUANTITIES: Mapping[str, Quantity] = {
    "temperature": Quantity("temp_c", "°C", "night_low", "day_high"),
    "leaf temperature": Quantity("leaf_c", "°C", "night_low", "day_high"),
    "humidity": Quantity("rh_pct", "%", "humidity_low"),
    "vpd": Quantity("vpd_kpa", "kPa", None, "vpd_high"),
    "wind": Quantity("wind_m_s", "m/s"),
    "gust": Quantity("gust_m_s", "m/s"),
    "rain": Quantity("rain_mm", "mm"),
    "light": Quantity("light_w_m2", "W/m2"),
}

ASKS = ("carry in", "mist", "note")
"""Chores that a rule can ask for; a note is a line on the sheet and no chore."""

_SPELLINGS = {"degc": "°C", "c": "°C", "w/m²": "W/m2"}
_BOUND = re.compile(r"([-+]?\d+(?:\.\d+)?)\s*(\S+)")


@dataclass(frozen=True, slots=True)
class Bound:
    """What the quantity is held against: a value, or the name of the plant's own limit."""

    value: float | None = None
    limit: str | None = None


@dataclass(frozen=True, slots=True)
class Chosen:
    """Which plants a rule speaks of. An empty field leaves everything in."""

    holder: tuple[str, ...] = ()
    group: tuple[str, ...] = ()
    home: tuple[str, ...] = ()
    name: tuple[str, ...] = ()

    def has(self, plant: Plant) -> bool:
        """Whether the rule speaks of this plant."""
        return (
            (not self.holder or plant.holder in self.holder)
            and (not self.group or bool(set(self.group) & set(plant.groups)))
            and (not self.home or plant.home in self.home)
            and (not self.name or plant.name in self.name)
        )


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule. `quantity` is a key of QUANTITIES, `asks` one of ASKS."""

    name: str
    quantity: str
    direction: Direction
    bound: Bound
    hours: Hours
    asks: str
    lasting: timedelta = timedelta(0)
    plants: Chosen = Chosen()


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong with a rule: the key, and what would be right."""

    key: str
    text: str


@cache
def standard_rules() -> tuple[Rule, ...]:
    """The rules that ship with the core, read from standard.toml."""
    text = resources.files("sillward_rules").joinpath("standard.toml").read_text(encoding="utf-8")
    rules = []
    for table in tomllib.loads(text)["rules"]:
        rule, problems = read_rule(table)
        if rule is None:
            msg = f"standard.toml: {problems}"
            raise ValueError(msg)
        rules.append(rule)
    return tuple(rules)


_KEYS = ("name", "watch", "below", "above", "lasting", "hours", "asks", "plants")


def read_rule(table: Mapping[str, Any]) -> tuple[Rule | None, list[Problem]]:
    """Read one rule as TOML gives it. Return the rule, or None and everything wrong with it."""
    known = f"unknown key (known: {', '.join(_KEYS)})"
    problems = [Problem(key, known) for key in table if key not in _KEYS]
    name = table.get("name")
    if not isinstance(name, str) or not name.strip() or not name.isprintable():
        problems.append(Problem("name", "every rule needs a name, in quotes, on one line"))
    watch = table.get("watch")
    if not isinstance(watch, str) or watch not in QUANTITIES:
        problems.append(
            Problem("watch", f"{_shown(watch)} is no quantity (known: {', '.join(QUANTITIES)})")
        )
    asks = table.get("asks")
    if asks not in ASKS:
        problems.append(Problem("asks", f"{_shown(asks)} is no chore (known: {', '.join(ASKS)})"))
    direction, bound = _read_bound(table, problems)
    lasting = _parsed(table, "lasting", "0 min", parse_duration, problems)
    hours = _parsed(table, "hours", "any", parse_hours, problems)
    plants = _read_chosen(table.get("plants", {}), problems)
    if problems or direction is None or bound is None or lasting is None or hours is None:
        return None, problems
    return Rule(str(name), str(watch), direction, bound, hours, str(asks), lasting, plants), []


def _shown(value: object) -> str:
    return "nothing" if value is None else f'"{value}"'


def _parsed(
    table: Mapping[str, Any], key: str, default: str, parse: Any, problems: list[Problem]
) -> Any:
    try:
        return parse(table.get(key, default))
    except (ValueError, AttributeError, TypeError) as error:
        text = str(error) if isinstance(error, ValueError) else f"{_shown(table[key])} is no text"
        problems.append(Problem(key, text))
        return None


def _read_bound(
    table: Mapping[str, Any], problems: list[Problem]
) -> tuple[Direction | None, Bound | None]:
    given: list[Direction] = [side for side in ("below", "above") if side in table]
    if len(given) != 1:
        problems.append(Problem("below", "give exactly one of below and above"))
        return None, None
    direction = given[0]
    quantity = QUANTITIES.get(str(table.get("watch")))
    if quantity is None:
        return direction, None
    raw = table[direction]
    own = quantity.limit_below if direction == "below" else quantity.limit_above
    if raw == "limit":
        if own is None:
            text = f"no plant has a limit for {table['watch']} {direction}; give a value"
            problems.append(Problem(direction, text))
            return direction, None
        return direction, Bound(limit=own)
    if isinstance(raw, str) and UNITS.get(raw) == quantity.unit:
        return direction, Bound(limit=raw)
    match = _BOUND.fullmatch(raw.strip()) if isinstance(raw, str) else None
    unit = _SPELLINGS.get(match.group(2).lower(), match.group(2)) if match else None
    if match is None or unit != quantity.unit or not math.isfinite(float(match.group(1))):
        example = f'"limit" or a value with its unit, such as "12 {quantity.unit}"'
        problems.append(Problem(direction, f"{_shown(raw)} is no bound; write {example}"))
        return direction, None
    return direction, Bound(value=float(match.group(1)))


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
            problems.append(Problem("plants.holder", f"{values} are no holders (known: {known})"))
        else:
            lists[key] = tuple(values)
    return Chosen(**lists)


@dataclass(frozen=True, slots=True, eq=False)
class Firing:
    """Where a rule fires. Plants that stand alike and share a bound are one class.

    member (plant,) : class of each plant, -1 where the rule does not speak of it.
    column, bound (class,) : spot column and bound of the class.
    values, fires (time, class) : the quantity, and whether the rule fires.
    """

    rule: Rule
    member: np.ndarray
    column: np.ndarray
    bound: Array
    values: Array
    fires: np.ndarray

    @property
    def beyond(self) -> np.ndarray:
        """(time, class) where the quantity is beyond its bound, at any hour; NaN is not."""
        if self.rule.direction == "below":
            return np.asarray(self.values < self.bound)
        return np.asarray(self.values > self.bound)

    def by_plant(self, per_class: np.ndarray) -> np.ndarray:
        """(plant,) from (class,) booleans; False for plants that the rule does not speak of."""
        result = np.zeros(self.member.shape, dtype=bool)
        spoken = self.member >= 0
        result[spoken] = per_class[self.member[spoken]]
        return result


def fire(
    rule: Rule, plants: Sequence[Plant], columns: np.ndarray, site: Site, climate: Climate
) -> Firing:
    """Hold a rule against the climate at the spot column (plant,) where each plant stands."""
    bounds = np.array([_bound_of(rule, plant) for plant in plants], dtype=np.float64)
    speaks = np.isfinite(bounds) & (columns >= 0)
    keys = np.stack([columns[speaks].astype(np.float64), bounds[speaks]], axis=1)
    classes, inverse = np.unique(keys.reshape(-1, 2), axis=0, return_inverse=True)
    member = np.full(len(plants), -1, dtype=np.int64)
    member[speaks] = inverse.reshape(-1)
    column = classes[:, 0].astype(np.int64)
    series: Array = getattr(climate, QUANTITIES[rule.quantity].series)
    values = series[:, column]
    bound = classes[:, 1]
    beyond = values < bound if rule.direction == "below" else values > bound
    hours = rule.hours.mask(site, climate.times, climate.night)
    fires = _lasting(beyond & hours[:, None], rule.lasting)
    return Firing(rule, member, column, bound, values, fires)


def _bound_of(rule: Rule, plant: Plant) -> float:
    if not rule.plants.has(plant):
        return math.nan
    if rule.bound.limit is None:
        return math.nan if rule.bound.value is None else rule.bound.value
    limit = getattr(plant.limits, rule.bound.limit)
    return math.nan if limit is None else float(limit.value)


def _lasting(mask: np.ndarray, lasting: timedelta) -> np.ndarray:
    """Keep only runs along axis 0 of at least `lasting`, each hourly value standing for an hour."""
    least = max(1, math.ceil(lasting / timedelta(hours=1)))
    if least == 1 or mask.size == 0:
        return mask
    rows = np.arange(mask.shape[0])[:, None]
    last_off = np.maximum.accumulate(np.where(mask, -1, rows), axis=0)
    next_off = np.minimum.accumulate(np.where(mask, mask.shape[0], rows)[::-1], axis=0)[::-1]
    return np.asarray(mask & (next_off - last_off - 1 >= least))
