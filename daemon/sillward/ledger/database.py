"""The file of the ledger: opened, brought up to date, read and written in transactions."""

import os
import sqlite3
import zlib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from sillward.errors import LedgerError
from sillward.ledger.schema import MIGRATIONS, SCHEMA, SCHEMA_VERSION


class Database:
    """One SQLite file. Used from one thread at a time; every write is a transaction."""

    def __init__(self, path: Path | str) -> None:
        """Open or create the file. Raise LedgerError if it cannot be used."""
        self._path = str(path)
        with self._translated():
            if self._path != ":memory:":
                _make_private(Path(path))
            self._db = sqlite3.connect(
                self._path, isolation_level=None, timeout=5, check_same_thread=False
            )
        try:
            with self._translated():
                self._db.row_factory = sqlite3.Row
                self._db.execute("PRAGMA journal_mode=WAL")
                # A lost "sent" mark costs a repeat: one sync for each write is worth it.
                self._db.execute("PRAGMA synchronous=FULL")
            self._migrate()
        except LedgerError:
            self._db.close()
            raise

    def close(self) -> None:
        """Close the file."""
        self._db.close()

    def _migrate(self) -> None:
        with self.transaction():  # two processes may open a new file at once
            version = self._db.execute("PRAGMA user_version").fetchone()[0]
            if version > SCHEMA_VERSION:
                msg = f"{self._path}: written by a newer sillward (version {version}); update first"
                raise LedgerError(msg)
            if version == 0:
                self._run(SCHEMA)
            else:
                self._db.create_function("compressed", 1, zlib.compress)
                for older in range(version, SCHEMA_VERSION):
                    self._run(MIGRATIONS[older])
            self._db.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")

    def _run(self, statements: str) -> None:
        for statement in statements.split(";"):  # executescript would end the transaction
            self._db.execute(statement)

    @contextmanager
    def _translated(self) -> Iterator[None]:
        try:
            yield
        except (sqlite3.Error, OSError) as error:
            msg = f"ledger {self._path}: {error}"
            raise LedgerError(msg) from error

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """All writes within happen, or none. Raise LedgerError if they cannot."""
        with self._translated():
            self._db.execute("BEGIN IMMEDIATE")
            try:
                yield
            except BaseException:
                self._db.execute("ROLLBACK")
                raise
            self._db.execute("COMMIT")

    def _rows(self, query: str, *values: object) -> list[sqlite3.Row]:
        with self._translated():
            return self._db.execute(query, values).fetchall()

    def _replace(self, table: str, values: Mapping[str, object]) -> None:
        marks = ", ".join("?" * len(values))
        names = ", ".join(values)
        self._db.execute(
            f"INSERT OR REPLACE INTO {table} ({names}) VALUES ({marks})", tuple(values.values())
        )


def _make_private(path: Path) -> None:
    """Create folder and file so that only their owner can read them."""
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    os.close(os.open(path, os.O_RDWR | os.O_CREAT, 0o600))
