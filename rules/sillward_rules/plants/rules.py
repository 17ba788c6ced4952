"""Rules: declarative bounds on a quantity, which chore they ask for, and where they fire.

A rule says that something is needed. When, where to and how much is for the planners.
"""

import math
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache
from importlib import resources
from typing import Any, Literal

import numpy as np

from sillward_rules.physics.arrays import HOUR_S, Array
from sillward_rules.plants.plant import HOLDERS, RESTS, ROT_CLASSES, UNITS, Plant, Traits
from sillward_rules.weather.climate import Climate
from sillward_rules.weather.hourly import rows_from_to
from sillward_rules.weather.season import Season
from sillward_rules.weather.site import Site
from sillward_rules.weather.written_times import Hours, parse_duration, parse_hours

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
    "leaf temperature": Quantity("leaf_c", "°C", "night_low", "leaf_high"),
    "humidity": Quantity("rh_pct", "%", "humidity_low"),
    "vpd": Quantity("vpd_kpa", "kPa", None, "vpd_high"),
    "leaf vpd": Quantity("leaf_vpd_kpa", "kPa", None, "vpd_high"),
    "wet-bulb depression": Quantity("wet_bulb_k", "K"),
    "wind": Quantity("wind_m_s", "m/s"),
    "gust": Quantity("gust_m_s", "m/s", None, "gust_high"),
    "rain": Quantity("rain_mm", "mm", None, "rain_high"),
    "hail": Quantity("hail_pct", "%"),
    "crown wetness": Quantity("crown_wet_h", "h"),
    "rain wetness": Quantity("rain_wet_h", "h"),
    "light": Quantity("light_w_m2", "W/m2"),
    "ppfd": Quantity("ppfd", "umol m-2 s-1", "light_low", "light_high"),
}

ASKS = ("carry in", "mist", "shade", "secure", "cover", "damp down", "move", "note")
"""Chores that a rule can ask for; a note is a line on the sheet and no chore."""

_SPELLINGS = {"degc": "°C", "c": "°C", "k": "°C", "w/m²": "W/m2"}
_BOUND = re.compile(r"([-+]?\d+(?:\.\d+)?)\s*(\S.*)", re.ASCII)
_BESIDE = re.compile(r"(\w+)\s*([-+])\s*(\d.*)", re.ASCII)


@dataclass(frozen=True, slots=True)
class Bound:
    """What the quantity is held against: a value, or the plant's own limit and so much more."""

    value: float | None = None
    limit: str | None = None
    more: float = 0.0


@dataclass(frozen=True, slots=True)
class Chosen:
    """Which plants a rule speaks of. An empty field leaves everything in."""

    holder: tuple[str, ...] = ()
    group: tuple[str, ...] = ()
    home: tuple[str, ...] = ()
    name: tuple[str, ...] = ()
    rot: tuple[str, ...] = ()
    rest: tuple[str, ...] = ()

    def among(self, traits: Traits) -> np.ndarray:
        """(plant,) whether the rule speaks of each of these plants."""
        chosen = np.ones(len(traits.plants), dtype=bool)
        for words, column in (
            (self.holder, traits.holder),
            (self.rot, traits.rot),
            (self.rest, traits.rest),
        ):
            if words:
                chosen &= np.isin(column, words)
        if self.group or self.home or self.name:
            chosen &= np.array([self._names(plant) for plant in traits.plants], dtype=bool)
        return chosen

    def _names(self, plant: Plant) -> bool:
        return (
            (not self.group or bool(set(self.group) & set(plant.groups)))
            and (not self.home or plant.home in self.home)
            and (not self.name or plant.name in self.name)
        )


@dataclass(frozen=True, slots=True)
class Condition:
    """A bound on a quantity (a key of QUANTITIES)."""

    quantity: str
    direction: Direction
    bound: Bound


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
    season: tuple[str, ...] = ()
    """Seasons (values of `Season`) in which the rule speaks; empty: in all."""
    also: Condition | None = None
    """What must hold at the same hour too."""

    def origin_for(self, plant: Plant) -> str:
        """Whose the bound is that this plant is held against."""
        limit = getattr(plant.limits, self.bound.limit) if self.bound.limit else None
        return limit.origin if limit else f'rule "{self.name}"'


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


@dataclass(frozen=True, slots=True, eq=False)
class Classes:
    """Whom a rule speaks of. Plants that stand alike and share a bound are one class.

    member (plant,) : class of each plant, -1 where the rule does not speak of it.
    column, limit, other, rots (class,) : spot column of the class, its bound as the rule gives it,
    that of what must hold too, and whether its plants rot easily.
    """

    rule: Rule
    member: np.ndarray
    column: np.ndarray
    limit: Array
    other: Array
    rots: np.ndarray


@dataclass(frozen=True, slots=True, eq=False)
class Firing:
    """Where a rule fires, for the classes that it speaks of (`Classes`).

    times (time,) : the moments [unix s].
    bound, values, beyond, fires (time, class) : the bound (raised where crowns are wet), the
    quantity, whether it is beyond its bound at that moment (NaN is not), whether the rule fires.
    known (time, class) : whether it is known if the rule fires at that moment.
    counts (time,) : whether the moment is of the rule's hours.
    """

    classes: Classes
    times: np.ndarray
    bound: Array
    values: Array
    beyond: np.ndarray
    fires: np.ndarray
    known: np.ndarray
    counts: np.ndarray

    @property
    def rule(self) -> Rule:
        """The rule."""
        return self.classes.rule

    @property
    def member(self) -> np.ndarray:
        """(plant,) class of each plant, -1 where the rule does not speak of it."""
        return self.classes.member

    @property
    def column(self) -> np.ndarray:
        """(class,) spot column of the class."""
        return self.classes.column

    @property
    def limit(self) -> Array:
        """(class,) its bound as the rule gives it."""
        return self.classes.limit

    def rows(self, start: datetime, end: datetime) -> np.ndarray:
        """Rows of the moments from start to end, both included."""
        return rows_from_to(self.times, start, end)

    def by_plant(self, per_class: np.ndarray) -> np.ndarray:
        """(plant,) from (class,) booleans; False for plants that the rule does not speak of."""
        result = np.zeros(self.member.shape, dtype=bool)
        spoken = self.member >= 0
        result[spoken] = per_class[self.member[spoken]]
        return result


def fire(
    rule: Rule,
    traits: Traits,
    columns: np.ndarray,
    site: Site,
    climate: Climate,
    *,
    wet_margin_k: float = 0.0,
) -> Firing:
    """Hold a rule against the climate at the spot column (plant,) where each plant stands.

    columns : -1 for plants that are not asked about. wet_margin_k : by how much a lower bound on
    temperature rises for plants that rot easily, while crowns at their spot are wet, or while
    nobody knows whether they are.
    """
    classes = classes_of(rule, traits, columns, climate)
    return hold(classes, site, climate, slice(None), wet_margin_k=wet_margin_k)


def classes_of(rule: Rule, traits: Traits, columns: np.ndarray, climate: Climate) -> Classes:
    """The classes of the plants that a rule speaks of where they stand, as in `fire`."""
    bounds = _bounds(rule.bound, traits)
    others = np.zeros(bounds.shape) if rule.also is None else _bounds(rule.also.bound, traits)
    speaks = np.isfinite(bounds) & np.isfinite(others) & (columns >= 0)
    speaks &= rule.plants.among(traits)
    if rule.season:
        speaking = np.array([[one.value in rule.season for one in row] for row in climate.season])
        speaks &= speaking[traits.grows, columns]
    spoken = np.flatnonzero(speaks)
    rots = traits.rot[spoken] == "high"
    first, of_class = alike(columns[spoken], bounds[spoken], rots, others[spoken])
    member = np.full(len(traits.plants), -1, dtype=np.int64)
    member[spoken] = of_class
    return Classes(
        rule,
        member,
        columns[spoken][first],
        bounds[spoken][first],
        others[spoken][first],
        rots[first],
    )


def hold(
    classes: Classes, site: Site, climate: Climate, rows: slice, *, wet_margin_k: float = 0.0
) -> Firing:
    """Hold a rule against some rows of a climate, as in `fire`.

    How long it lasts is counted within the rows.
    """
    rule, column = classes.rule, classes.column
    times = climate.times[rows]
    values = _series(climate, rule.quantity)[rows][:, column]
    bound = np.broadcast_to(classes.limit, values.shape)
    if rule.direction == "below" and QUANTITIES[rule.quantity].unit == "°C" and wet_margin_k:
        wet = ~(climate.crown_wet_h[rows] == 0.0)
        bound = bound + wet_margin_k * (wet[:, column] & classes.rots)
    beyond = _beyond(values, rule.direction, bound)
    known = np.isfinite(values)
    if rule.also is not None:
        beside = _series(climate, rule.also.quantity)[rows][:, column]
        holds = _beyond(beside, rule.also.direction, classes.other)
        known = (known & np.isfinite(beside)) | (np.isfinite(beside) & ~holds)
        beyond = beyond & holds
    counts = rule.hours.mask(site, times, climate.night[rows])
    fires = _lasting(beyond & counts[:, None], times, rule.lasting)
    return Firing(classes, times, bound, values, beyond, fires, known, counts)


def alike(*columns: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Rows that agree in every column: the first row of each group, and the group of each row."""
    codes: np.ndarray = np.zeros(columns[0].shape, dtype=np.int64)
    size = 1
    for column in columns:
        parts, count = _coded(column)
        if size * count > _MOST_CODES:
            codes = np.unique(codes, return_inverse=True)[1].reshape(-1)
            size = codes.size
        codes, size = codes * count + parts, size * count
    if size > _SPARSE * codes.size:
        _, first, groups = np.unique(codes, return_index=True, return_inverse=True)
        return first, groups.reshape(-1)
    first_of = np.full(size, -1, dtype=np.int64)  # with so few codes a place for each is quicker
    first_of[codes[::-1]] = np.arange(codes.size)[::-1]
    used = first_of >= 0
    return first_of[used], (np.cumsum(used) - 1)[codes]


_MOST_CODES = 2**62
_SPARSE = 8
"""Codes a row from which on sorting them is quicker. Measured."""
_NEAR = 1024


def _coded(column: np.ndarray) -> tuple[np.ndarray, int]:
    """The values of a column as numbers from 0 on, and how many numbers there may be."""
    if column.size and column.dtype.kind in "bi":  # spots and the like need no sorting
        low, high = int(column.min()), int(column.max())
        if high - low < _NEAR:
            return column.astype(np.int64) - low, high - low + 1
    if column.size and (column == column[0]).all():
        return np.zeros(column.shape, dtype=np.int64), 1
    values, inverse = np.unique(column, return_inverse=True)
    return inverse.reshape(-1), max(values.size, 1)


def _series(climate: Climate, quantity: str) -> Array:
    series: Array = getattr(climate, QUANTITIES[quantity].series)
    return series


def _beyond(values: Array, direction: Direction, bound: Array) -> np.ndarray:
    return np.asarray(values < bound if direction == "below" else values > bound)


def _bounds(bound: Bound, traits: Traits) -> Array:
    """(plant,) the bound for each plant; NaN where it has no such limit."""
    if bound.limit is None:
        return np.full(len(traits.plants), math.nan if bound.value is None else bound.value)
    return np.asarray(traits.limits[bound.limit] + bound.more)


def _lasting(mask: np.ndarray, times: np.ndarray, lasting: timedelta) -> np.ndarray:
    """Keep only runs along axis 0 of at least `lasting`.

    Each value stands for the time since the one before it, and for an hour at most.
    """
    least = lasting.total_seconds()
    if least == 0 or not mask.any():
        return mask
    steps = np.minimum(np.diff(times, prepend=times[0] - HOUR_S), HOUR_S)
    until = np.concatenate([[0.0], np.cumsum(steps)])
    rows = np.arange(mask.shape[0])[:, None]
    last_off = np.maximum.accumulate(np.where(mask, -1, rows), axis=0)
    next_off = np.minimum.accumulate(np.where(mask, mask.shape[0], rows)[::-1], axis=0)[::-1]
    return np.asarray(mask & (until[next_off] - until[last_off + 1] >= least))
