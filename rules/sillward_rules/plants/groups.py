"""Culture groups: limits that plants of one kind share, read from groups.toml."""

import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from types import MappingProxyType
from typing import Any

from sillward_rules.physics.air import saturation_vapour_pressure
from sillward_rules.plants.limits import GrowsClass, Limit, Limits, RestClass, RotClass
from sillward_rules.plants.plant import Holder


@dataclass(frozen=True, slots=True)
class Group:
    """A culture group: what it is called, how it grows, its limits with their sources."""

    name: str
    title: str
    examples: str
    holders: tuple[Holder, ...]
    velamen: bool
    limits: Limits

    @property
    def grows_bare(self) -> bool:
        """Whether it is grown without soil in a basket: with roots clad in velamen, or as what is
        mounted too."""
        return self.velamen or "mount" in self.holders


@cache
def standard_groups() -> Mapping[str, Group]:
    """Return the groups that ship with the core, by name.

    The package's own data is the only thing that the core reads.
    """
    return _GroupsOf(standard_text())


def standard_text() -> str:
    """Return the shipped file."""
    return (
        resources.files("sillward_rules.plants").joinpath("groups.toml").read_text(encoding="utf-8")
    )


_HEAD = re.compile(r'^\[groups\."([^"\\\n]+)"\]$', re.MULTILINE)
"""How the shipped file begins each table."""


class _GroupsOf(Mapping[str, Group]):
    """Groups by name, each read from its table when it is first asked for.

    A household has a few of more than a hundred; to read them all would be a tenth of a command.
    """

    def __init__(self, text: str) -> None:
        heads = [*_HEAD.finditer(text)]
        ends = [*(head.start() for head in heads[1:]), len(text)]
        self._texts = {
            head[1]: text[head.start() : end] for head, end in zip(heads, ends, strict=True)
        }
        self._known: dict[str, Group] = {}

    def __getitem__(self, name: str) -> Group:
        if name not in self._known:
            self._known |= parse_groups(self._texts[name])
        return self._known[name]

    def __contains__(self, name: object) -> bool:
        return name in self._texts

    def __iter__(self) -> Iterator[str]:
        return iter(self._texts)

    def __len__(self) -> int:
        return len(self._texts)


def parse_groups(text: str) -> Mapping[str, Group]:
    """Read groups from TOML in the form of the shipped file.

    Raise KeyError or TypeError if the text has another form.
    """
    tables = tomllib.loads(text)["groups"]
    return MappingProxyType({name: _group(name, table) for name, table in tables.items()})


def _group(name: str, table: dict[str, Any]) -> Group:
    def limit(key: str) -> Limit:
        return Limit(float(table[key]["value"]), f'group "{name}": {table[key]["source"]}')

    return Group(
        name=name,
        title=table["title"],
        examples=table["examples"],
        holders=tuple(table["holders"]),
        velamen=table["velamen"],
        limits=Limits(
            night_low=limit("night_low"),
            rest_low=limit("rest_low") if "rest_low" in table else None,
            brief_low=limit("brief_low"),
            day_high=limit("day_high"),
            humidity_low=limit("humidity_low"),
            vpd_high=_driest_comfortable(name, table),
            leaf_high=limit("leaf_high") if "leaf_high" in table else _hottest_leaf(name, table),
            night_high=limit("night_high") if "night_high" in table else None,
            light_low=limit("light_low"),
            light_high=limit("light_high"),
            salt_high=limit("salt_high"),
            rot=RotClass(table["rot"]["value"], f'group "{name}": {table["rot"]["source"]}'),
            rest=RestClass(table["rest"]["value"], f'group "{name}": {table["rest"]["source"]}'),
            grows=_grows(name, table),
        ),
    )


def _grows(name: str, table: dict[str, Any]) -> GrowsClass | None:
    """Return at what warmth the group grows; None where it is not given."""
    given = table.get("grows")
    return given and GrowsClass(given["value"], f'group "{name}": {given["source"]}')


def _driest_comfortable(name: str, table: dict[str, Any]) -> Limit:
    """Return the VPD limit: no handbook lists it, so it is derived from two optima that they do."""
    optimum, humidity = table["day_optimum"], table["humidity_low"]["value"]
    middle = (optimum["low"] + optimum["high"]) / 2
    deficit = float(saturation_vapour_pressure(middle)) * (1 - humidity / 100)
    origin = (
        f'group "{name}": derived (judgement) from {middle:g} °C, the middle of the day optimum, '
        f"and {humidity:g} % humidity"
    )
    return Limit(round(deficit, 2), origin)


SHADE_LEAF_HIGH_C, SUN_LEAF_HIGH_C = 42.0, 45.0
SUN_LEAF_PPFD = 800.0
"""Leaves injure at 45 to 50 °C (from memory; nothing specific to orchids was found). Leaves of
plants that do not live in strong light (noon below 800 umol m-2 s-1) get 3 K less. Judgement."""


def _hottest_leaf(name: str, table: dict[str, Any]) -> Limit:
    """Return the leaf limit in the sun of a group that gives none, derived from its light."""
    shade = table["light_high"]["value"] < SUN_LEAF_PPFD
    value = SHADE_LEAF_HIGH_C if shade else SUN_LEAF_HIGH_C
    kind = "shade" if shade else "sun"
    return Limit(value, f'group "{name}": derived (judgement): leaves grown in {kind}')
