"""The database as a SQLite file, or in memory."""

import os
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager, suppress

from sillward.errors import LedgerError
from sillward.ledger.database import Cursor, Database


class SqliteDatabase(Database):
    """A SQLite database, to which one connection writes at a time.

    `LedgerFile` sets the connection, and replaces it between two transactions when the ledger goes
    from its file to memory or back.
    """

    reuses_numbers = True

    connection: sqlite3.Connection

    def __init__(self, path: str) -> None:
        """Create it without a connection. Errors name the ledger by this path."""
        super().__init__()
        self._path = path

    @property
    def is_in_memory(self) -> bool:
        """Whether the database is in memory at present."""
        return not self.connection.execute("PRAGMA database_list").fetchone()["file"]

    def note_numbers(self, table: str) -> None:
        """Do nothing: the next number is always higher than all that are there."""

    @property
    def worker(self) -> int:
        """The number of this process on this machine."""
        return os.getpid()

    def is_at_work(self, worker: int | None) -> bool:
        """Whether a process of this number runs on this machine."""
        if worker is None:
            return False
        try:
            os.kill(worker, 0)
        except ProcessLookupError:
            return False
        except PermissionError:
            pass
        return True

    def _translated(self) -> AbstractContextManager[None]:
        return translated(self._path)

    def _begin(self) -> None:
        self.connection.execute("BEGIN IMMEDIATE")

    def _commit(self) -> None:
        self.connection.execute("COMMIT")

    def _roll_back(self) -> None:
        if self.connection.in_transaction:  # a full disk may have ended it already
            with suppress(sqlite3.Error):
                self.connection.execute("ROLLBACK")

    def _run(self, statement: str, values: Sequence[object]) -> Cursor:
        return self.connection.execute(statement, values)

    def _run_each(self, statement: str, rows: Iterable[Sequence[object]]) -> None:
        self.connection.executemany(statement, rows)


@contextmanager
def translated(path: str) -> Iterator[None]:
    """Raise LedgerError, with the ledger's path, for what SQLite or the system refuses."""
    try:
        yield
    except (sqlite3.Error, OSError, UnicodeDecodeError) as error:
        msg = f"ledger {path}: {error}"
        raise LedgerError(msg) from error
