"""The plants of a collection: from [defaults] and the tables under [[plants]] to the core.

What a plant's table says counts in place of what [defaults] says, and what `but` says of one of
several plants in place of both. Of the tables `limits` and `pot` that is so key by key. Each table
is read as it is written, so that a mistake is told once, however many plants it is about.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import islice
from typing import Any

from sillward.config import build_collection, cross_checks
from sillward.config.place import FILE, Place, entry
from sillward.config.plant_models import (
    MAX_COUNT,
    TAKEN_BACK,
    DefaultsTable,
    OneOfThemTable,
    PlantKeys,
    PlantTable,
)
from sillward.config.validation import MAX_NAME_LENGTH, TableReader
from sillward.errors import listed
from sillward_rules.plants.plant import Plant
from sillward_rules.weather.spot import Spot

MAX_PLANTS = 50_000
"""Of a collection: `count` makes many of a short file. Judgement: more than a society has."""


@dataclass(frozen=True, slots=True)
class MostPlants:
    """How many plants a collection may have. why: what the error adds, if there is more to say."""

    count: int
    why: str = ""


_OF_SEVERAL = ("name", "names", "count", "but")
"""Keys that say which plants a table is about."""

Raw = Mapping[str, Any]


# -- names


def names_of(raw: object) -> list[str]:
    """Return the names of the plants of a table, which may be wrong otherwise."""
    if not isinstance(raw, Mapping):
        return []
    name, names, count = raw.get("name"), raw.get("names"), raw.get("count")
    if isinstance(names, list):
        return [each for each in names if isinstance(each, str)]
    if not isinstance(name, str):
        return []
    if isinstance(count, int) and not isinstance(count, bool) and 1 <= count <= MAX_COUNT:
        return [f"{name} {number}" for number in range(1, count + 1)]
    return [name]


def own_table(tables: Sequence[dict[str, Any]], name: str) -> dict[str, Any]:
    """Return the table in which to write what is said of this plant alone; it may be a new one.

    tables: those under [[plants]] of a valid collection file.
    """
    table = next(raw for raw in tables if name in names_of(raw))
    if "names" not in table and "count" not in table:
        return table
    own: dict[str, Any] = table.setdefault("but", {}).setdefault(name, {})
    return own


def all_names(rows: object) -> list[str]:
    """Return the names of all plants, those included that are wrong otherwise."""
    tables = rows if isinstance(rows, list) else []
    return list(islice((name for raw in tables for name in names_of(raw)), MAX_PLANTS))


def names_together(rows: object) -> dict[str, tuple[str, ...]]:
    """Return the names of plants with a `count` by the name that they share.

    Without a name that is a plant's as well: it stands for that plant.
    """
    tables = [row for row in rows if isinstance(row, Mapping)] if isinstance(rows, list) else []
    alone = set(all_names([raw for raw in tables if "count" not in raw]))
    shared: dict[str, tuple[str, ...]] = {}
    made = 0
    for raw in tables:
        name = raw.get("name")
        if made > MAX_PLANTS:
            break
        if "count" in raw and "names" not in raw and isinstance(name, str) and name not in alone:
            shared[name] = tuple(names_of(raw))
            made += len(shared[name])
    return shared


# -- tables laid over each other


def laid_over(*layers: Raw) -> dict[str, Any]:
    """Return what holds for a plant, of tables as they are written; the last one counts most.

    - limits and pot are laid over each other key by key.
    - A group takes the place of parents, and the other way round.
    - A plant that lives where lower layers would carry it stays there.
    - What the first layer, the defaults, says of pots counts for plants that say the rest.
    """
    kept: dict[str, Any] = {}
    said_by: dict[str, int] = {}
    for level, layer in enumerate(layers):
        if "group" in layer or "parents" in layer:
            kept.pop("group", None)
            kept.pop("parents", None)
        for key, value in layer.items():
            below = kept.get(key)
            is_table = isinstance(below, Mapping) and isinstance(value, Mapping)
            kept[key] = {**(below or {}), **value} if is_table else value
            said_by[key] = level
    lives_there = "shelter" in kept and kept["shelter"] == kept.get("home")
    if lives_there and said_by["shelter"] < said_by["home"]:
        del kept["shelter"]
    if said_by.get("pot") == 0 and len(layers) > 1 and not _is_whole_pot(kept["pot"]):
        del kept["pot"]
    return {
        key: value for key, value in kept.items() if key not in TAKEN_BACK or value is not False
    }


def _is_whole_pot(raw: object) -> bool:
    return isinstance(raw, Mapping) and not set(_NEEDED_OF_POTS) - set(raw)


_NEEDED_OF_POTS = ("litres", "medium")


def _said_of_all(raw: Raw) -> dict[str, Any]:
    return {key: value for key, value in raw.items() if key not in _OF_SEVERAL}


# -- reading


def read_plants(
    reader: TableReader,
    document: Raw,
    spots: Mapping[str, Spot | None],
    most: MostPlants | None = None,
) -> list[Plant]:
    """Return the plants that are right; what is wrong with others is reported.

    most: how many there may be; `MAX_PLANTS` in any case.
    """
    rows = reader.list_of_tables(document, "plants")
    if rows == []:
        reader.report(FILE.at("plants"), "there are no plants; add a table under [[plants]]")
    plants = PlantReader(reader, spots, most or MostPlants(MAX_PLANTS))
    plants.read_defaults(document)
    return [plant for index, raw in enumerate(rows or []) for plant in plants.read(index, raw)]


@dataclass(slots=True)
class PlantReader:
    """Reads tables of plants, one after the other; what is wrong with them is reported.

    spots: by name; None stands for one that is wrong.
    """

    reader: TableReader
    spots: Mapping[str, Spot | None]
    most: MostPlants
    _defaults: Raw = field(default_factory=dict)
    _defaults_are_right: bool = True
    _index_of_name: dict[str, int] = field(default_factory=dict)
    _made: int = 0

    def read_defaults(self, document: Raw) -> None:
        """Read [defaults]. A mistake there is not told of every plant too."""
        raw = document.get("defaults", {})
        before = len(self.reader.errors)
        self._read_written(DefaultsTable, raw, FILE.at("defaults"))
        self._defaults = raw if isinstance(raw, Mapping) else {}
        self._defaults_are_right = len(self.reader.errors) == before

    def read(self, index: int, raw: object) -> Sequence[Plant]:
        """Return the plants of a table; none if it is wrong."""
        if self._made > self.most.count:  # reported
            return ()
        where = entry("plants", index, raw)
        before = len(self.reader.errors)
        if not isinstance(raw, Mapping):
            self.reader.read(PlantTable, raw, where)
            return ()
        names = self._new_names(index, raw, where)
        table = self._read_written(PlantTable, raw, where)
        if isinstance(table, PlantTable):
            self._check_names(where, table)
        own = _said_of_all(raw)
        merged = laid_over(self._defaults, own) if self._defaults else own
        if self._defaults_are_right:
            self._check_whole(where, merged)
        if table is None or not self._defaults_are_right or len(self.reader.errors) > before:
            return ()
        alike = self._built(where, names[0], merged, None if self._defaults else table)
        if alike is None:
            return ()
        but = raw.get("but", {})
        plants = (
            self._built_differently(where.but(name), name, own, but[name])
            if name in but
            else (alike if name == alike.name else replace(alike, name=name))
            for name in names
        )
        return [plant for plant in plants if plant is not None]

    def _built_differently(self, where: Place, name: str, own: Raw, but: Raw) -> Plant | None:
        """Return one of several plants with what is different about it."""
        before = len(self.reader.errors)
        merged = laid_over(self._defaults, own, but)
        self._check_whole(where, merged)
        return None if len(self.reader.errors) > before else self._built(where, name, merged)

    def _built(
        self, where: Place, name: str, merged: Raw, table: PlantKeys | None = None
    ) -> Plant | None:
        """Return the plant of tables laid over each other. table: the only one, read already."""
        if table is None:
            table = self.reader.read(OneOfThemTable, merged, where)
        if table is None or not cross_checks.check_limits(self.reader, where, table.limits):
            return None
        return build_collection.build_plant(name, table, cross_checks.groups_named(merged))

    # -- checks

    def _read_written(self, model: type[PlantKeys], raw: object, where: Place) -> PlantKeys | None:
        """Read a table as it is written, with the places and groups that it names."""
        table = self.reader.read(model, _without_taken_back(raw), where)
        if table is not None:
            cross_checks.check_limits(self.reader, where, table.limits)
        for at, own in _parts(where, raw):
            cross_checks.check_places(self.reader, at, own, self.spots)
            cross_checks.check_groups(self.reader, at, own)
        return table

    def _new_names(self, index: int, raw: Raw, where: Place) -> list[str]:
        """Return the names of a table, each of which must be new."""
        names = names_of(raw)
        several = len(names) > 1
        self._made += len(names)
        if self._made > self.most.count:
            why = f", {self.most.why}" if self.most.why else ""
            self.reader.report(where, f"makes more than {self.most.count:,} plants in all{why}")
            return []
        for number, name in enumerate(names):
            if name in self._index_of_name:
                taken = self._index_of_name[name]
                which = f'the name "{name}"' if several else "the name"
                told = (
                    f"is already taken by plants[{taken}]" if taken != index else "is there twice"
                )
                keys = ("name",) if "name" in raw else ("names", number)
                self.reader.report(where, f"{which} {told}; make it unique", *keys)
            self._index_of_name.setdefault(name, index)
        return names

    def _check_names(self, where: Place, table: PlantTable) -> None:
        """Check that the keys that say which plants these are go together."""
        if (table.name is None) is (table.names is None):
            text = "give name, or names for plants that are alike"
            self.reader.report(where, f"{text}, not both" if table.name else text)
        if table.count is not None and table.names is not None:
            text = "count goes with name; with names their number is the count"
            self.reader.report(where, text, "count")
        if table.but and table.names is None and table.count is None:
            self.reader.report(where, "but is for one of several plants, by names or count", "but")
            return
        if table.count is not None and table.name is not None:
            longest = f"{table.name} {table.count}"
            if len(longest) > MAX_NAME_LENGTH:
                text = f"name is too long with a number: at most {MAX_NAME_LENGTH} characters"
                self.reader.report(where, text, "name")
        written = table.model_dump(include={"name", "names", "count"}, exclude_none=True)
        names = names_of(written) if table.but else []
        for name in table.but:
            if name not in names:
                hint = self.reader.hint(name, names)
                text = f"is none of these plants{hint} ({listed(names)})"
                self.reader.report(where.but(name), text)

    def _check_whole(self, where: Place, merged: Raw) -> None:
        """Check that all that a plant needs is there, and goes together."""
        for key in ("holder", "home"):
            if key not in merged:
                self.reader.report(where, f"{key} is missing; give it here or in [defaults]")
        cross_checks.check_shelter(self.reader, where, merged)
        cross_checks.check_night_limit(self.reader, where, merged)
        if isinstance(pot := merged.get("pot"), Mapping):
            for key in _NEEDED_OF_POTS:
                if key not in pot:
                    self.reader.report(where, f"pot.{key} is missing", "pot")


def _without_taken_back(raw: object) -> object:
    """Return a table without the keys by which it takes back what the defaults say."""
    if not isinstance(raw, Mapping):
        return raw
    kept = {key: value for key, value in raw.items() if key not in TAKEN_BACK or value is not False}
    but = kept.get("but")
    if isinstance(but, Mapping):
        kept["but"] = {name: _without_taken_back(own) for name, own in but.items()}
    return kept


def _parts(where: Place, raw: object) -> Iterator[tuple[Place, object]]:
    """Yield a table, and below it what is different about one plant, by how errors name them."""
    yield where, raw
    but = raw.get("but") if isinstance(raw, Mapping) else None
    for name, own in but.items() if isinstance(but, Mapping) else ():
        yield where.but(name), own
