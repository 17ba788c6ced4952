"""The open database, in which all tables of the ledger read and write, in transactions.

There are two kinds: a SQLite file (`sqlite_database`) and a PostgreSQL server (`postgres`). Both
have the same tables and the same SQL, limited to what both understand. ON CONFLICT replaces a row,
RETURNING gives its number, CASE turns a condition into a number; parameters are question marks;
what the two count differently is counted in Python.
"""

from abc import ABC, abstractmethod
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager
from datetime import datetime
from typing import Any, ClassVar, Protocol

from sillward.ledger import schema


class Row(Protocol):
    """A row, whose values are accessed by column name or number."""

    def __getitem__(self, key: str | int, /) -> Any: ...

    def __iter__(self) -> Iterator[Any]: ...

    def __len__(self) -> int: ...

    def keys(self) -> Iterable[str]:
        """Return the names of the columns."""
        ...


class Cursor(Protocol):
    """The result of a statement."""

    @property
    def rowcount(self) -> int:
        """How many rows were changed."""
        ...

    def fetchall(self) -> Sequence[Any]:
        """Return the rows that it produced."""
        ...


class Database(ABC):
    """The connection that the tables share. Only one thread uses it at a time."""

    connection: Any
    """The connection itself: a SQLite one, or one of psycopg (None while there is none)."""

    household: str | None = None
    """The household whose rows are written and deleted here, if the database holds those of many;
    None for anybody's."""

    reuses_numbers: ClassVar[bool]
    """Whether the number of a deleted row is used again."""

    def __init__(self) -> None:
        self._in_transaction = False

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """Commit all writes of this context or, on an error, none of them. Raise LedgerError.

        Nobody else writes anything of this household in the meantime, so that what was read still
        holds at the end. A transaction within another one is part of it.
        """
        if self._in_transaction:
            yield
            return
        with self._translated():
            self._begin()
            self._in_transaction = True
            try:
                yield
                self._commit()
            except BaseException:
                self._roll_back()
                raise
            finally:
                self._in_transaction = False

    def rows(self, query: str, *values: object) -> list[Row]:
        """Return the rows of a query, or those that a statement returns. Raise LedgerError.

        Statements that write must be in a transaction.
        """
        with self._translated():
            return list(self._run(query, values).fetchall())

    def execute(self, statement: str, *values: object) -> int:
        """Run a statement in a transaction; return how many rows it changed."""
        with self.transaction():
            return self._run(statement, values).rowcount

    def execute_each(self, statement: str, values: Iterable[Sequence[object]]) -> None:
        """Run a statement in a transaction, once for each of these rows of values."""
        with self.transaction():
            self._run_each(statement, values)

    def replace(self, table: str, values: Mapping[str, object]) -> None:
        """Write a row, by the names of its columns, in place of the one that has its key.

        Columns that are not named become as in a new row.
        """
        self.execute(f"{_insert(table, values)} {schema.in_place(table)}", *values.values())

    def put(self, table: str, values: Mapping[str, object]) -> None:
        """Write a row as `replace` does, but without waiting for other transactions: for a row that
        does not depend on what else is written at the same time."""
        statement = f"{_insert(table, values)} {schema.in_place(table)} RETURNING 1"
        self.rows(statement, *values.values())

    def replace_each(self, table: str, rows: Iterable[Sequence[object]]) -> None:
        """Write rows, with all their columns in order, each in place of the one with its key."""
        columns = dict.fromkeys(schema.tables()[table].columns)
        self.execute_each(f"{_insert(table, columns)} {schema.in_place(table)}", rows)

    def insert(self, table: str, values: Mapping[str, object]) -> None:
        """Write a row, by the names of its columns. Raise LedgerError if its key is there."""
        self.execute(_insert(table, values), *values.values())

    def insert_numbered(self, table: str, values: Mapping[str, object]) -> int:
        """Write a row of a table whose rows are numbered; return its number."""
        with self.transaction():
            ((number,),) = self.rows(f"{_insert(table, values)} RETURNING id", *values.values())
        return int(number)

    def own_rows(self, column: str = "site") -> tuple[str, Sequence[str]]:
        """Return the end of a condition that leaves the rows of other households alone."""
        if self.household is None:
            return "", ()
        return f" AND {column} = ?", (self.household,)

    @abstractmethod
    def note_numbers(self, table: str) -> None:
        """Note that rows were written with numbers of their own: new rows must get higher ones."""

    # -- who works with it

    @property
    @abstractmethod
    def worker(self) -> int:
        """The number of this process among all that work with the database."""

    @abstractmethod
    def is_at_work(self, worker: int | None) -> bool:
        """Whether a process may still be at work, as far as that is known."""

    def server_now(self) -> datetime | None:
        """Return the time by the server's clock; None if there is no server.

        Raise LedgerError.
        """
        return None

    # -- what differs

    @abstractmethod
    def _translated(self) -> AbstractContextManager[None]:
        """Raise LedgerError for what the database or the system refuses."""

    @abstractmethod
    def _begin(self) -> None:
        """Begin a transaction in which nobody else writes."""

    @abstractmethod
    def _commit(self) -> None:
        """End it, with all that was written."""

    @abstractmethod
    def _roll_back(self) -> None:
        """End it, with nothing, if it has not ended already. Raise nothing."""

    @abstractmethod
    def _run(self, statement: str, values: Sequence[object]) -> Cursor:
        """Run a statement."""

    @abstractmethod
    def _run_each(self, statement: str, rows: Iterable[Sequence[object]]) -> None:
        """Run a statement for each of these rows of values."""


def _insert(table: str, values: Mapping[str, object]) -> str:
    marks = ", ".join("?" * len(values))
    return f"INSERT INTO {table} ({', '.join(values)}) VALUES ({marks})"
