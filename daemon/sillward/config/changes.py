"""Changes to a collection on the command line: `--set plants.NAME.limits.night_low=12`.

They are made in the tables of the file before these are checked, so that a changed collection is
checked like any other, and its errors name the same keys.
"""

import copy
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sillward.config import bounded_toml
from sillward.config.plant_tables import all_names, own_table
from sillward.config.validation import did_you_mean
from sillward.errors import UsageError
from sillward.text import printable

SETTABLE = ("site", "spots", "plants", "rules", "habits", "water", "feed", "rounds", "notices")
"""Tables that may be changed."""

EVERY = "*"
"""Stands for every plant, rule or spot."""

_PART = re.compile(r'\s*(?:"([^"]*)"|([^".=]+?))\s*(?:([.=])|$)')
"""A part of a key, in quotes if it has a point or an equals sign in it."""


@dataclass(frozen=True, slots=True)
class Change:
    """One value to set, and the way to it: ("plants", "Blue basket", "limits", "night_low")."""

    text: str
    path: tuple[str, ...]
    value: Any


def read_change(text: str) -> Change:
    """Read KEY=VALUE. Raise UsageError if it is none.

    A value is written as in the file; what is not TOML, such as 45 min, is text.
    """
    path, end, separator = [], 0, "."
    while separator == ".":
        match = _PART.match(text, end)
        if match is None:
            break
        path.append(match[1] if match[1] is not None else match[2])
        end, separator = match.end(), match[3] or ""
    if separator != "=" or len(path) < 2 or not text[end:].strip():
        raise _error(text, "write KEY=VALUE, for example habits.lead=45min")
    return Change(text, tuple(path), _value(text[end:].strip()))


def changed(document: Mapping[str, Any], changes: Iterable[Change]) -> dict[str, Any]:
    """Return a copy of the tables of a collection file, valid so far, with these changes.

    Raise UsageError if a change is to a table, plant, rule or spot that is not there.
    """
    tables: dict[str, Any] = copy.deepcopy(dict(document))
    for change in changes:
        _make(tables, change)
    return tables


def _make(tables: dict[str, Any], change: Change) -> None:
    name, *rest = change.path
    if name not in SETTABLE:
        known = f"{did_you_mean(name, SETTABLE)} (known: {', '.join(SETTABLE)})"
        raise _error(change.text, f'there is no "{name[:80]}" to set{known}')
    if name not in ("plants", "rules", "spots"):
        _enter(tables.setdefault(name, {}), rest, change)
        return
    entries = tables.get(name, {} if name == "spots" else [])
    names = list(entries) if name == "spots" else all_names(entries)
    for key in _chosen(rest[0], names, name[:-1], change):
        if len(rest) < 2:
            raise _error(change.text, f'say what of "{key}", as in {name}."{key}".KEY=VALUE')
        _enter(entries[key] if name == "spots" else own_table(entries, key), rest[1:], change)


def _chosen(wanted: str, names: Sequence[str], what: str, change: Change) -> list[str]:
    """Return the names that are meant: one by its name or by a part that only it has, or all."""
    if wanted == EVERY:
        return list(names)
    folded = " ".join(wanted.lower().split())
    exact = [name for name in names if name == wanted]
    found = exact or [name for name in names if folded in " ".join(name.lower().split())]
    if len(found) == 1:
        return found
    problem = f"more than one {what}" if found else f"not a {what}"
    known = ", ".join(found or names)
    raise _error(change.text, f'"{wanted[:80]}" is {problem} here ({known})')


def _enter(table: dict[str, Any], path: Sequence[str], change: Change) -> None:
    """Enter the value at the end of the path, through tables that may have to be made."""
    for key in path[:-1]:
        table = table.setdefault(key, {})
        if not isinstance(table, dict):
            raise _error(change.text, f'"{key}" has no keys of its own')
    table[path[-1]] = change.value


def _value(text: str) -> Any:
    """Return the value that TOML reads, or else the text; hours and dates are text in the file."""
    try:
        parsed = bounded_toml.parse(f"value = {text}")
    except ValueError:
        return text
    value = parsed["value"]
    is_plain = isinstance(value, bool | int | float | str | list | dict) and len(parsed) == 1
    return value if is_plain else text


def _error(text: str, problem: str) -> UsageError:
    return UsageError(printable.escaped(f'--set "{text[:80]}": {problem}'))
