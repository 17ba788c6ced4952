"""Copy a ledger to another place, row by row, and compare it there before committing; or delete it.

A ledger file, or a copy of one, goes to a server or back; or a folder with the ledgers of
households goes to one server that holds them all, and back. The source is only read. The target has
none of its rows before; everything is written in one transaction, which commits only once each
table there has the same rows.
"""

import hashlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from sillward.errors import LedgerError, UsageError
from sillward.ledger import schema
from sillward.ledger.database import Database

CHUNK = 2000
"""How many rows are read at once. Judgement: a fraction of a MB."""

SHARED_TABLES = ("forecast", "call_schedule")
"""The tables that all households of a folder share, besides the marks of the shared ledger."""

_REFERENCES = {"night": "archive", "reading_hour": "sensor", "set_aside": "sensor"}
"""Tables without a site: one of their columns refers to a row that has one."""

Values = tuple[object, ...]


@dataclass(frozen=True, slots=True)
class Part:
    """The rows of a ledger that belong together.

    site: of a household; None for all rows. tables: those that are meant.
    prefix: what the names of its marks begin with (`tables.marks`).
    """

    site: str | None
    tables: tuple[str, ...]
    prefix: str = ""


@dataclass(slots=True)
class Moved:
    """How many rows of each table were moved, and a digest of them all."""

    rows: dict[str, int] = field(default_factory=dict)
    digest: str = ""


def all_of_it() -> Part:
    """Return the part that is a whole ledger."""
    return Part(None, tuple(schema.tables()))


def of_household(name: str, *, on_server: bool) -> Part:
    """Return the part of one of many households, in its own file or on a server."""
    tables = tuple(table for table in schema.tables() if table not in SHARED_TABLES)
    return Part(name if on_server else None, tables, f"{name}/" if on_server else "")


def of_all_households(name: str, *, on_server: bool) -> Part:
    """Return the part that they share. name: used instead of a household's on a server."""
    return Part(None, (*SHARED_TABLES, "mark"), f"{name}/" if on_server else "")


def move(source: Database, part: Part, target: Database, place: Part) -> Moved:
    """Write a part of one database as a part of another that has none of its rows yet.

    Raise UsageError if it has some, and LedgerError if the result is not the same; then nothing is
    written.
    """
    with target.transaction():
        for table in place.tables:
            if next(rows(target, table, place), None) is not None:
                whose = "" if place.prefix == "" else f" of {place.prefix.rstrip('/')}"
                msg = f"the target has rows{whose} already (table {table}); nothing was moved"
                raise UsageError(msg)
        numbers: dict[str, dict[object, object]] = {}
        for table in part.tables:
            _copy(source, part, target, place, table, numbers)
        return _compared(source, part, target, place, numbers)


def _copy(
    source: Database,
    part: Part,
    target: Database,
    place: Part,
    table: str,
    numbers: dict[str, dict[object, object]],
) -> None:
    """Copy a table. Among rows of other households, its rows get new numbers, which `numbers` then
    maps from the old ones."""
    columns = schema.tables()[table].columns
    marks = ", ".join("?" * len(columns))
    insert = f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({marks})"
    chunk: list[Values] = []
    for row in rows(source, table, part):
        values = _referring(table, _as_in(table, row, part, place), numbers)
        if place.site is not None and columns[0] == "id":
            new = target.insert_numbered(table, dict(zip(columns[1:], values[1:], strict=True)))
            numbers.setdefault(table, {})[values[0]] = new
            continue
        chunk.append(values)
        if len(chunk) == CHUNK:
            target.execute_each(insert, chunk)
            chunk.clear()
    target.execute_each(insert, chunk)
    if columns[0] == "id":
        target.note_numbers(table)


def _compared(
    source: Database,
    part: Part,
    target: Database,
    place: Part,
    numbers: dict[str, dict[object, object]],
) -> Moved:
    """Compare all rows of both. Raise LedgerError if they are not the same."""
    moved, digest = Moved(), hashlib.sha256()
    for table in part.tables:
        ours, theirs = (hashlib.sha256() for _ in range(2))
        counts = [0, 0]
        for row in rows(source, table, part):
            values = _referring(table, _as_in(table, row, part, place), numbers)
            if table in numbers:
                values = (numbers[table][values[0]], *values[1:])
            ours.update(repr(values).encode())
            counts[0] += 1
        for row in rows(target, table, place):
            theirs.update(repr(tuple(row)).encode())
            counts[1] += 1
        if ours.digest() != theirs.digest():
            msg = (
                f"table {table}: what was written ({counts[1]:,} rows) is not what was read "
                f"({counts[0]:,} rows); nothing was moved"
            )
            raise LedgerError(msg)
        moved.rows[table] = counts[0]
        digest.update(ours.digest())
    moved.digest = digest.hexdigest()
    return moved


def remove(database: Database, part: Part) -> int:
    """Delete the rows of a part. Return how many there were."""
    with database.transaction():
        tables = sorted(part.tables, key=lambda table: table not in _REFERENCES)
        conditions = [(table, *_condition(table, part)) for table in tables]
        return sum(
            database.execute(f"DELETE FROM {table} WHERE {where}", *values)
            for table, where, values in conditions
        )


def _as_in(table: str, row: Values, part: Part, place: Part) -> Values:
    """Return a row as it is in its new place, where the name of a mark says whose it is."""
    if table != "mark":
        return row
    return (place.prefix + str(row[0]).removeprefix(part.prefix), *row[1:])


def _referring(table: str, row: Values, numbers: dict[str, dict[object, object]]) -> Values:
    """Return a row with the new number of the row that it refers to."""
    to = _REFERENCES.get(table)
    return row if to is None or to not in numbers else (numbers[to][row[0]], *row[1:])


def rows(database: Database, table: str, part: Part) -> Iterator[Values]:
    """Return the rows of a part in the order of their keys, some at a time."""
    columns, key = schema.tables()[table].columns, schema.tables()[table].key
    listed, order = ", ".join(columns), ", ".join(key)
    where, values = _condition(table, part)
    after = f" AND ({order}) > ({', '.join('?' * len(key))})"
    last: Sequence[object] = ()
    while True:
        found = database.rows(
            f"SELECT {listed} FROM {table} WHERE {where}{after if last else ''}"
            f" ORDER BY {order} LIMIT {CHUNK}",
            *(*values, *last),
        )
        yield from map(tuple, found)
        if len(found) < CHUNK:
            return
        last = [found[-1][name] for name in key]


def _condition(table: str, part: Part) -> tuple[str, Sequence[object]]:
    """Return the condition that selects the rows of a part, and its values."""
    if table == "mark" and part.prefix:
        return "substr(name, 1, ?) = ?", (len(part.prefix), part.prefix)
    if part.site is None:
        return "1 = 1", ()
    to = _REFERENCES.get(table)
    if to is not None:
        return f"{to} IN (SELECT id FROM {to} WHERE site = ?)", (part.site,)
    return "site = ?", (part.site,)
