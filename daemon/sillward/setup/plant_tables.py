"""Many plants as few tables: those that are alike together, and what most share as [defaults].

This module is pure.
"""

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from sillward.config.plant_models import MAX_COUNT
from sillward.setup.answers import PlantAnswer
from sillward.setup.toml_text import number_text, quoted
from sillward.text.units import Temperature, Units

LINE_LENGTH = 96
"""Columns of a line of names. Judgement: most editors show 100."""

MIN_COUNTED = 12
"""Numbered plants that get a table of their own beside others that are alike. Judgement: fewer take
less room as names."""


MAX_TRIED = 3
"""Values of a key that are tried as its default. The most common is nearly always the best."""

SHARED = ("holder", "home", "shelter")
"""Keys that [defaults] may say."""


@dataclass(frozen=True, slots=True)
class _Kind:
    """What plants that are alike have in common."""

    groups: tuple[str, ...]
    holder: str
    home: str
    shelter: str | None
    night_low_c: float | None


@dataclass(slots=True)
class _Table:
    """One table: a name alone, names, or a name with a count."""

    kind: _Kind
    names: Sequence[str] = field(default_factory=list)
    counted: str | None = None


def plant_tables(
    plants: Sequence[PlantAnswer],
    defaults: Mapping[str, Any] | None = None,
    unit: Temperature = "°C",
) -> list[str]:
    """Return the tables, [defaults] first.

    defaults: those that the collection has already, and that are not written again.
    """
    tables = [table for kind, names in _by_kind(plants).items() for table in _split(kind, names)]
    if defaults is not None:
        return [_text(table, defaults, unit) for table in tables]
    chosen = _defaults([table.kind for table in tables])
    written = [f"{key} = {quoted(value)}" for key, value in chosen.items()]
    head = ["\n".join(["[defaults]", *written])] if chosen else []
    return head + [_text(table, chosen, unit) for table in tables]


def _by_kind(plants: Iterable[PlantAnswer]) -> dict[_Kind, list[str]]:
    found: dict[_Kind, list[str]] = {}
    for plant in plants:
        kind = _Kind(plant.groups, plant.holder, plant.home, plant.shelter, plant.night_low_c)
        found.setdefault(kind, []).append(plant.name)
    return found


# -- numbered plants


_NUMBERED = re.compile(r"(?P<stem>.*[^ ]) (?P<number>[1-9][0-9]{0,3})")


def _split(kind: _Kind, names: Sequence[str]) -> list[_Table]:
    """Return the tables of plants of a kind."""
    numbers: dict[str, set[int]] = {}
    for name in names:
        found = _NUMBERED.fullmatch(name)
        if found is not None:
            numbers.setdefault(found["stem"], set()).add(int(found["number"]))
    counted = {
        stem: len(found)
        for stem, found in numbers.items()
        if len(found) == max(found) > 1
        and len(found) <= MAX_COUNT
        and (len(found) == len(names) or len(found) >= MIN_COUNTED)
    }
    numbered = {f"{stem} {at}" for stem, count in counted.items() for at in range(1, count + 1)}
    rest = [name for name in names if name not in numbered]
    tables = [
        _Table(kind, [f"{stem} {at}" for at in range(1, count + 1)], stem)
        for stem, count in counted.items()
    ]
    return tables + ([_Table(kind, rest)] if rest else [])


# -- what is shared


def _defaults(kinds: Sequence[_Kind]) -> dict[str, str]:
    """Return the values with which the tables have the fewest lines."""
    chosen: dict[str, str] = {}
    for key in SHARED:
        values = Counter(value for kind in kinds if (value := getattr(kind, key)) is not None)
        least = sum(values.values())
        for value, _ in values.most_common(MAX_TRIED):
            lines = 1 + sum(_line(kind, key, {key: value}) is not None for kind in kinds)
            if lines < least:
                least, chosen[key] = lines, value
    return chosen


def _line(kind: _Kind, key: str, defaults: Mapping[str, Any]) -> str | None:
    """Return the line for a key; None where the defaults say it, or there is nothing to say."""
    value, default = getattr(kind, key), defaults.get(key)
    if value == default:
        return None
    if value is not None:
        return f"{key} = {quoted(value)}"
    return None if default in (None, False) else f"{key} = false"


# -- text


def degrees(value_c: float, unit: Temperature) -> str:
    """Return how a comment names the unit of a temperature: "°C", or "°C (55 °F)"."""
    return "°C" if unit == "°C" else f"°C ({Units(unit).bare(value_c, '°C')} °F)"


def _text(table: _Table, defaults: Mapping[str, Any], unit: Temperature) -> str:
    kind = table.kind
    lines = ["[[plants]]", *_names(table)]
    if len(kind.groups) == 1:
        lines.append(f"group = {quoted(kind.groups[0])}")
    elif kind.groups:
        lines.append(f"parents = [{', '.join(map(quoted, kind.groups))}]")
    lines += [line for key in SHARED if (line := _line(kind, key, defaults)) is not None]
    if kind.night_low_c is not None:
        comment = "" if unit == "°C" else f"  # {degrees(kind.night_low_c, unit)}"
        lines.append(f"limits.night_low = {number_text(kind.night_low_c, 3)}{comment}")
    return "\n".join(lines)


def _names(table: _Table) -> list[str]:
    if table.counted is not None:
        return [f"name = {quoted(table.counted)}", f"count = {len(table.names)}"]
    if len(table.names) == 1:
        return [f"name = {quoted(table.names[0])}"]
    whole = f"names = [{', '.join(map(quoted, table.names))}]"
    if len(whole) <= LINE_LENGTH:
        return [whole]
    lines, line = ["names = ["], "   "
    for name in table.names:
        if line.strip() and len(line) + len(quoted(name)) + 2 > LINE_LENGTH:
            lines.append(line)
            line = "   "
        line += f" {quoted(name)},"
    return [*lines, line, "]"]
