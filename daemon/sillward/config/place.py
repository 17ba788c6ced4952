"""A place in a file, by which an error says what it is about."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import reduce

from sillward.config.toml_lines import Path
from sillward.text import printable


@dataclass(frozen=True, slots=True)
class Place:
    """A table or a value of the file.

    label: how errors call it.
    path: the keys that lead to it.
    """

    label: str
    path: Path

    @classmethod
    def of(cls, path: Path) -> "Place":
        """Return the place to which these keys lead."""
        return reduce(cls.at, path, FILE)

    def at(self, key: str | int) -> "Place":
        """Return a key of a table, or an item of a list."""
        if isinstance(key, int):
            return Place(f"{self.label}[{key}]", (*self.path, key))
        label = f"{self.label}.{toml_key(key)}" if self.label else toml_key(key)
        return Place(label, (*self.path, key))

    def but(self, name: str) -> "Place":
        """Return what is different about one of several plants."""
        return Place(f"{self.label}: but.{toml_key(name)}", (*self.path, "but", name))


FILE = Place("", ())
"""The whole file."""


def entry(key: str, index: int, raw: object) -> Place:
    """Return an entry of a list, called by its index, and its own name if it has one.

    One that is about several plants has the name of the first.
    """
    table = raw if isinstance(raw, Mapping) else {}
    name, names = table.get("name"), table.get("names")
    more = ""
    if name is None and isinstance(names, list) and names:
        name, more = names[0], f" and {len(names) - 1} more" if len(names) > 1 else ""
    label = f"{key}[{index}] {shown(name)}{more}" if isinstance(name, str) else f"{key}[{index}]"
    return Place(label, (key, index))


def toml_key(name: str) -> str:
    """Return a key as it is written in TOML: in quotes unless it is plain."""
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else f'"{name}"'


def shown(value: object) -> str:
    """Return a value as errors show it, on one line and cut."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f'"{printable.escaped(value[:60])}{"..." if len(value) > 60 else ""}"'
    if isinstance(value, int) and abs(value) >= 10**18:
        return "a huge number"
    return f"{value!s:.60}"
