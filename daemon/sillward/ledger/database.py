"""The open database: what all tables of the ledger read from and write to, in transactions."""

import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager

from sillward.errors import LedgerError


class Database:
    """The connection that the tables share. It is used from one thread at a time.

    `LedgerFile` sets the connection, and replaces it between two transactions when the ledger goes
    from its file to memory or back.
    """

    connection: sqlite3.Connection

    def __init__(self, path: str) -> None:
        """Create it without a connection. Errors name the ledger by this path."""
        self._path = path
        self._in_transaction = False

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """Make all writes in this context or, if it is left by an error, none. Raise LedgerError.

        A transaction within another one is part of it.
        """
        if self._in_transaction:
            yield
            return
        with translated(self._path):
            self.connection.execute("BEGIN IMMEDIATE")
            self._in_transaction = True
            try:
                yield
                self.connection.execute("COMMIT")
            except BaseException:
                if self.connection.in_transaction:  # a full disk may have ended it already
                    self.connection.execute("ROLLBACK")
                raise
            finally:
                self._in_transaction = False

    @property
    def is_in_memory(self) -> bool:
        """Whether the database is in memory at present."""
        return not self.connection.execute("PRAGMA database_list").fetchone()["file"]

    def rows(self, query: str, *values: object) -> list[sqlite3.Row]:
        """Return the rows of a query, or those that a statement returns. Raise LedgerError."""
        with translated(self._path):
            return self.connection.execute(query, values).fetchall()

    def execute(self, statement: str, *values: object) -> int:
        """Run a statement in a transaction; return how many rows it changed."""
        with self.transaction():
            return self.connection.execute(statement, values).rowcount

    def execute_each(self, statement: str, values: Iterable[Sequence[object]]) -> None:
        """Run a statement in a transaction, once for each of these rows of values."""
        with self.transaction():
            self.connection.executemany(statement, values)

    def replace(self, table: str, values: Mapping[str, object]) -> None:
        """Write a row, by the names of its columns, in place of the one that has its key."""
        self._write("INSERT OR REPLACE", table, values)

    def insert(self, table: str, values: Mapping[str, object]) -> None:
        """Write a row, by the names of its columns. Raise LedgerError if its key is there."""
        self._write("INSERT", table, values)

    def _write(self, verb: str, table: str, values: Mapping[str, object]) -> None:
        marks = ", ".join("?" * len(values))
        names = ", ".join(values)
        self.execute(f"{verb} INTO {table} ({names}) VALUES ({marks})", *values.values())


@contextmanager
def translated(path: str) -> Iterator[None]:
    """Raise LedgerError, with the ledger's path, for what SQLite or the system refuses."""
    try:
        yield
    except (sqlite3.Error, OSError, UnicodeDecodeError) as error:
        msg = f"ledger {path}: {error}"
        raise LedgerError(msg) from error
