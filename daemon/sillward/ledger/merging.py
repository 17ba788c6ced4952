"""The merge of two ledgers that diverged.

While the file could not be written, the daemon went on in memory, and other processes may have
written to the file. A row that was changed in memory wins; all other rows are those of the file:
what somebody removed there stays removed, unless the file was begun anew meanwhile.
Tables, keys and columns are read from SQLite, so that new tables need no change here.
"""

import sqlite3
from collections.abc import Collection, Sequence
from datetime import datetime, timedelta

from sillward.ledger.chore_codec import decode, encode
from sillward.ledger.copies import load
from sillward.ledger.integrity import quoted, tables_of
from sillward.ledger.records import declined_of, maybe_moment, state_of, state_to_plain
from sillward_rules.chore import WETTINGS, Chore, only
from sillward_rules.plants.state import PlantState
from sillward_rules.transitions import answered, moved_by_hand, with_care_of, with_declined

SAME_NIGHT = timedelta(hours=12)
"""Orders to carry in whose deadlines are closer than this are of the same night."""

_CARE = frozenset({"care", "misted_at", "fed_at", "rinsed_at"})
"""The columns of a plant's state that do not depend on where it stands."""

HISTORY_RESET = "history reset"
"""The mark that says in words what was lost of the ledger."""


def merge(db: sqlite3.Connection, memory: bytes, before: bytes) -> None:
    """Bring what was done in memory into the file that is open, in one transaction.

    Raise sqlite3.Error; then the file is as it was.

    Args:
        memory: the ledger in memory, as the bytes of a database of the file's version.
        before: the same ledger, when it left the file.
    """
    for name, data in (("memory", memory), ("before", before)):
        db.execute(f"ATTACH ':memory:' AS {name}")
        load(db, data, name)
    try:
        db.execute("BEGIN IMMEDIATE")
        try:
            _merge(db)
            db.execute("COMMIT")
        finally:
            if db.in_transaction:
                db.execute("ROLLBACK")
    finally:
        for name in ("memory", "before"):
            db.execute(f"DETACH {name}")


def _merge(db: sqlite3.Connection) -> None:
    db.execute("PRAGMA defer_foreign_keys = ON")
    tables = tables_of(db)
    numbered = {name: key for name in tables if (key := _number_of(db, name)) is not None}
    is_new = _is_begun_anew(db, tables)
    for name, key in numbered.items():
        columns = [column for column in tables[name] if column != key]
        _take_over(db, name, columns, all_of_it=is_new)
        _renumber(db, name, key, tables)
    _keep_what_others_did(db, tables)
    for name, columns in tables.items():
        if name not in numbered:
            _take_over(db, name, columns, all_of_it=is_new)


def _is_begun_anew(db: sqlite3.Connection, tables: dict[str, list[str]]) -> bool:
    """Whether the file is another than memory came from: empty, or an older copy of it."""
    query = "SELECT at FROM {}.mark WHERE name = ?"
    resets = (
        db.execute(query.format(side), (HISTORY_RESET,)).fetchall() for side in ("main", "before")
    )
    there, before = ([row["at"] for row in rows] for rows in resets)
    return there not in ([], before) or not any(
        db.execute(f"SELECT 1 FROM main.{quoted(name)} LIMIT 1").fetchone() for name in tables
    )


def _number_of(db: sqlite3.Connection, table: str) -> str | None:
    """Return the column that only numbers the rows of a table, on each side in its own way."""
    keys = [row for row in db.execute(f"PRAGMA table_info({quoted(table)})") if row["pk"]]
    if len(keys) == 1 and keys[0]["type"].upper() == "INTEGER":
        return str(keys[0]["name"])
    return None


def _identity(db: sqlite3.Connection, table: str, columns: Sequence[str]) -> list[str]:
    """Return the columns that identify a row on both sides: its key, or else all of them."""
    info = db.execute(f"PRAGMA table_info({quoted(table)})").fetchall()
    key = [row["name"] for row in info if row["pk"]]
    if key and set(key) <= set(columns):
        return key
    for index in db.execute(f"PRAGMA index_list({quoted(table)})").fetchall():
        if index["unique"] and not index["partial"]:
            rows = db.execute(f"PRAGMA index_info({quoted(index['name'])})")
            return [row["name"] for row in rows]
    return list(columns)


def _same(columns: Sequence[str], one: str, other: str) -> str:
    return " AND ".join(f"{one}.{quoted(name)} IS {other}.{quoted(name)}" for name in columns)


def _take_over(
    db: sqlite3.Connection, table: str, columns: Sequence[str], *, all_of_it: bool
) -> None:
    """Bring a table of memory into the file: rows that were removed, changed or added.

    all_of_it: whether those that memory left as they were are brought too, if the file lacks them.
    """
    name, key = quoted(table), _identity(db, table, columns)
    listed = ", ".join(map(quoted, columns))
    db.execute(
        f"DELETE FROM main.{name} WHERE EXISTS (SELECT 1 FROM before.{name} AS b"
        f" WHERE {_same(columns, 'b', name)})"
        f" AND NOT EXISTS (SELECT 1 FROM memory.{name} AS mem WHERE {_same(key, 'mem', name)})"
    )
    changed = f"NOT EXISTS (SELECT 1 FROM before.{name} AS b WHERE {_same(columns, 'b', 'mem')})"
    if all_of_it:
        changed += f" OR NOT EXISTS (SELECT 1 FROM main.{name} AS m WHERE {_same(key, 'm', 'mem')})"
    # Column by column, because a row that is in the file keeps its number there.
    rest = [column for column in columns if column not in key]
    db.execute(
        f"CREATE TEMP TABLE coming AS SELECT {listed} FROM memory.{name} AS mem WHERE {changed}"
    )
    if rest:
        values = ", ".join(f"{quoted(column)} = c.{quoted(column)}" for column in rest)
        db.execute(
            f"UPDATE main.{name} SET {values} FROM temp.coming AS c WHERE {_same(key, 'c', name)}"
        )
    db.execute(
        f"INSERT INTO main.{name} ({listed}) SELECT {listed} FROM temp.coming AS c"
        f" WHERE NOT EXISTS (SELECT 1 FROM main.{name} AS m WHERE {_same(key, 'm', 'c')})"
    )
    db.execute("DROP TABLE temp.coming")


def _renumber(
    db: sqlite3.Connection, table: str, number: str, tables: dict[str, list[str]]
) -> None:
    """Renumber the rows of memory that refer to a numbered table as the file numbers it.

    A column refers to a table if it has its name.
    """
    name, key = (
        quoted(table),
        _identity(db, table, [column for column in tables[table] if column != number]),
    )
    db.execute("CREATE TEMP TABLE number (old INTEGER PRIMARY KEY, new INTEGER)")
    for side in ("memory", "before"):
        db.execute(
            "INSERT OR IGNORE INTO temp.number"
            f" SELECT ours.{quoted(number)}, MIN(m.{quoted(number)})"
            f" FROM {side}.{name} AS ours JOIN main.{name} AS m ON {_same(key, 'm', 'ours')}"
            f" GROUP BY ours.{quoted(number)}"
        )
    column = quoted(table)
    if db.execute("SELECT 1 FROM temp.number WHERE old <> new").fetchone():
        for other in (other for other, names in tables.items() if table in names):
            for side in ("memory", "before"):
                rows = f"{side}.{quoted(other)}"
                # Two steps: 1 and 2 may change places. Numbers of rows are positive.
                db.execute(
                    f"UPDATE {rows} SET {column} = -(SELECT new FROM temp.number"
                    f" WHERE old = {column}) WHERE {column} IN (SELECT old FROM temp.number)"
                )
                db.execute(f"UPDATE {rows} SET {column} = -{column} WHERE {column} < 0")
    db.execute("DROP TABLE temp.number")


def _keep_what_others_did(db: sqlite3.Connection, tables: dict[str, list[str]]) -> None:
    """Let answers that were given in the file meanwhile win over memory."""
    _close_what_was_answered(db)
    db.execute(
        "UPDATE memory.chore AS mem SET later_until = m.later_until FROM main.chore AS m"
        " WHERE m.site = mem.site AND m.id = mem.id AND m.chore_json = mem.chore_json"
        " AND NOT EXISTS (SELECT 1 FROM before.chore AS b WHERE b.site = m.site AND b.id = m.id"
        " AND b.later_until IS m.later_until)"
    )
    _keep_moves(db)
    _keep_care(db)
    listed = ", ".join(map(quoted, tables["plant_state"]))
    values = ", ".join(
        f"{'mem' if name in _CARE else 'm'}.{quoted(name)}" for name in tables["plant_state"]
    )
    db.execute(
        f"INSERT OR REPLACE INTO memory.plant_state ({listed}) SELECT {values}"
        " FROM main.plant_state AS m JOIN memory.plant_state AS mem"
        " ON m.site = mem.site AND m.plant = mem.plant"
        " WHERE m.assumed = 0 AND m.since > COALESCE(mem.since, '')"
    )
    _keep_what_was_declined(db)
    # If the file could not even be read, memory began with an older copy or empty, and a mark in it
    # says that history was lost. Now that the file is back that is untrue: the mark stays behind.
    sides = ("memory", "before")
    query = "SELECT at, text FROM {}.mark WHERE name = ?"
    in_memory, before = (
        db.execute(query.format(side), (HISTORY_RESET,)).fetchall() for side in sides
    )
    if in_memory == before:
        for side in sides:
            db.execute(f"DELETE FROM {side}.mark WHERE name = ?", (HISTORY_RESET,))


def _close_what_was_answered(db: sqlite3.Connection) -> None:
    """Close in memory what was done or declined in the file: for the plants of each answer.

    Plants that have joined a chore in memory stay open; those whose hour was moved there are closed
    where they are now.
    """
    answers = db.execute(
        "SELECT m.* FROM main.chore AS m"
        " WHERE COALESCE(m.done_at, m.declined_at) IS NOT NULL AND NOT EXISTS"
        " (SELECT 1 FROM before.chore AS b WHERE b.site = m.site AND b.id = m.id"
        " AND b.done_at IS m.done_at AND b.declined_at IS m.declined_at)"
    ).fetchall()
    for answer in answers:
        whole = _chore_or_none(answer)
        if whole is None:
            continue
        open_rows = db.execute(
            "SELECT * FROM memory.chore WHERE site = ? AND kind = ? AND substr(id, 1, 10) = ?"
            " AND COALESCE(done_at, declined_at) IS NULL",
            (answer["site"], answer["kind"], whole.day),
        ).fetchall()
        for row in open_rows:
            chore = _chore_or_none(row)
            if chore is None or not _may_be_same(chore, whole):
                continue
            _close(db, row, chore, whole.plants, answer)
            done_at = maybe_moment(answer["done_at"])
            if done_at is not None:
                _confirm_states(db, row["site"], chore, whole.plants, done_at)


def _may_be_same(chore: Chore, other: Chore) -> bool:
    """Whether two chores of a kind and day may be the same one, of which the hour was moved.

    Of waterings there are several in a day.
    """
    alike = chore.id == other.id or (chore.before, chore.what) == (other.before, other.what)
    return chore.from_spot == other.from_spot and (chore.kind not in WETTINGS or alike)


def _close(
    db: sqlite3.Connection,
    row: sqlite3.Row,
    chore: Chore,
    plants: Collection[str],
    answer: sqlite3.Row,
) -> None:
    """Close a chore of memory for these plants, as it was answered in the file."""
    left = [name for name in chore.plants if name not in plants]
    key = (row["site"], row["id"])
    if not left:
        db.execute(
            "UPDATE memory.chore SET done_at = ?, declined_at = ?, done_by = ?"
            " WHERE site = ? AND id = ?",
            (answer["done_at"], answer["declined_at"], answer["done_by"], *key),
        )
    elif len(left) < len(chore.plants):
        db.execute(
            "UPDATE memory.chore SET chore_json = ? WHERE site = ? AND id = ?",
            (encode(only(chore, left)), *key),
        )


def _confirm_states(
    db: sqlite3.Connection, site: str, chore: Chore, plants: Collection[str], done_at: datetime
) -> None:
    """Confirm the open orders that states of memory have by a chore that was done in the file."""
    for plant in (name for name in chore.plants if name in plants):
        state, there = _state(db, "memory", site, plant), _state(db, "main", site, plant)
        if state is not None and state.asked is not None:
            known = there is not None and not there.assumed
            spot = there.spot if there is not None and known else chore.to_spot
            _write_state(db, site, plant, answered(state, chore.kind, spot, chore.before, done_at))


def _keep_moves(db: sqlite3.Connection) -> None:
    """Bring moves made by hand in the file into states of memory, where their order stays open.

    A state with an open order has the hour of that order, which may be later than the move.
    """
    moved = db.execute(
        "SELECT m.* FROM main.plant_state AS m JOIN before.plant_state AS b"
        " ON m.site = b.site AND m.plant = b.plant"
        " WHERE m.assumed = 0 AND m.asked IS NOT NULL AND m.since IS NOT b.since"
    ).fetchall()
    for row in moved:
        there, state = state_of(row), _state(db, "memory", row["site"], row["plant"])
        if state is None or state.asked is None or there.asked is None or there.since is None:
            continue
        if state.assumed and abs(state.asked.before - there.asked.before) < SAME_NIGHT:
            after = moved_by_hand(state, there.spot, there.since, is_safe=False)
            _write_state(db, row["site"], row["plant"], after)


def _keep_what_was_declined(db: sqlite3.Connection) -> None:
    """Bring what was declined in the file into the states of memory, or take it back there."""
    changed = db.execute(
        "SELECT mem.*, m.declined AS said, b.declined AS before FROM main.plant_state AS m"
        " JOIN memory.plant_state AS mem ON m.site = mem.site AND m.plant = mem.plant"
        " LEFT JOIN before.plant_state AS b ON m.site = b.site AND m.plant = b.plant"
        " WHERE m.declined IS NOT b.declined AND mem.declined IS NOT m.declined"
    ).fetchall()
    for row in changed:
        said, before = declined_of(row["said"]), declined_of(row["before"])
        state = with_declined(state_of(row), said, [one for one in said if one not in before])
        _write_state(db, row["site"], row["plant"], state)


def _keep_care(db: sqlite3.Connection) -> None:
    """Bring what was said of the care of plants in the file into the states of memory."""
    changed = db.execute(
        "SELECT m.site, m.plant FROM main.plant_state AS m"
        " JOIN memory.plant_state AS mem ON m.site = mem.site AND m.plant = mem.plant"
        " LEFT JOIN before.plant_state AS b ON m.site = b.site AND m.plant = b.plant"
        " WHERE m.care IS NOT mem.care AND m.care IS NOT b.care"
    ).fetchall()
    for site, plant in changed:
        base, ours, theirs = (
            _state(db, side, site, plant) for side in ("before", "memory", "main")
        )
        assert ours is not None
        assert theirs is not None
        state = with_care_of(ours, base or PlantState(ours.spot), theirs)
        _write_state(db, site, plant, state)


def _state(db: sqlite3.Connection, side: str, site: str, plant: str) -> PlantState | None:
    query = f"SELECT * FROM {side}.plant_state WHERE site = ? AND plant = ?"
    row = db.execute(query, (site, plant)).fetchone()
    return None if row is None else state_of(row)


def _write_state(db: sqlite3.Connection, site: str, plant: str, state: PlantState) -> None:
    values = state_to_plain(state)
    assert values is not None
    columns = ", ".join(f"{name} = ?" for name in values)
    db.execute(
        f"UPDATE memory.plant_state SET {columns} WHERE site = ? AND plant = ?",
        (*values.values(), site, plant),
    )


def _chore_or_none(row: sqlite3.Row) -> Chore | None:
    """Return the chore of a row; None if it cannot be read."""
    try:
        return decode(row["chore_json"])
    except (ValueError, KeyError, TypeError, AttributeError):
        return None
