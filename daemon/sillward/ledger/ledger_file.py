"""The file of the ledger: open, copied daily, and left for memory where that must be.

Where nothing can be written the ledger goes on in memory, and what was done there comes into the
file later: a disk that is full must not keep a notice from the grower.
"""

import logging
import sqlite3
from contextlib import suppress
from datetime import UTC, datetime
from urllib.parse import quote

from sillward.errors import LedgerError, NewerLedgerError, NotOursError
from sillward.ledger import copies
from sillward.ledger.integrity import fault_of, is_foreign
from sillward.ledger.merging import merge
from sillward.ledger.opening import FileOpener, mark_history_reset
from sillward.ledger.sqlite_database import SqliteDatabase, translated

IN_MEMORY = ":memory:"
"""The path of a ledger without a file."""

log = logging.getLogger(__name__)


class LedgerFile:
    """The file behind a ledger, and the `Database` in which the tables are.

    It is open, or the ledger goes on in memory and comes back to it later.
    """

    def __init__(self, opener: FileOpener, *, resilient: bool = False) -> None:
        """Open or create the file. Raise LedgerError if it cannot be used, NotOursError if what is
        there is not ours.

        With `resilient` a damaged file is repaired, and one that cannot be used is no error: the
        ledger is then in memory.
        """
        self.path = opener.path
        self.database = SqliteDatabase(self.path)
        self._opener = opener
        self._lock: copies.FileLock | None = None
        self._in_memory = False
        self._before = b""
        self._copy_hour = ""
        if self.path == IN_MEMORY:
            self.database.connection = copies.in_memory()
            opener.migrate(self.database.connection)
            return
        try:
            self._open(repair=resilient)
        except NewerLedgerError:
            raise
        except LedgerError as error:
            if not resilient:
                raise
            log.error("ledger.afloat reason=%s", error)
            self._go_to_memory(self._readable_content())

    can_go_to_memory = True
    """Whether the ledger goes on in memory where its file cannot be used."""

    @property
    def in_memory(self) -> bool:
        """Whether the ledger is in memory because its file cannot be used just now."""
        return self._in_memory

    def close(self) -> None:
        """Close the file."""
        self.database.connection.close()
        if self._lock is not None:
            self._lock.release()
            self._lock = None

    def rest(self) -> None:
        """Close the file until `wake`, so that it can be repaired, or replaced, meanwhile."""
        if self.path != IN_MEMORY and not self._in_memory:
            self.close()

    def wake(self) -> None:
        """Open the file again after `rest`. Raise LedgerError or NotOursError if that fails.

        It is read through for damage only if it is another file than before.
        """
        if self.path != IN_MEMORY and not self._in_memory:
            self._open(repair=False, again=True)

    def _open(self, *, repair: bool, again: bool = False) -> None:
        self.database.connection, self._lock = self._opener.open(repair=repair, again=again)

    # -- in memory

    def to_memory(self) -> None:
        """Leave a file that cannot be written, and go on in memory with what it held.

        If it cannot be read either, with the newest sound copy, else with nothing; the mark
        "history reset" then says so. What is done from now on is lost with the process, unless
        `to_file` brings it back before.
        """
        if self._in_memory or self.path == IN_MEMORY:
            return
        file, lock = self.database.connection, self._lock
        with suppress(sqlite3.Error, UnicodeDecodeError):
            if file.in_transaction:
                file.execute("ROLLBACK")
        self._go_to_memory(_sound_copy_of(file) or self._readable_content())
        self._lock = None
        with suppress(sqlite3.Error, UnicodeDecodeError):
            file.close()
        if lock is not None:
            lock.release()
        log.error("ledger.afloat path=%s", self.path)

    def to_file(self) -> bool:
        """Go back to the file with all that was done in memory. Return whether that succeeded.

        The file is opened with the same checks as at the start. What memory changed wins, but
        what was confirmed in the file meanwhile stays; see `merging`.
        """
        if not self._in_memory:
            return True
        memory = self.database.connection
        try:
            self._open(repair=True)
            try:
                with translated(self.path):
                    merge(self.database.connection, memory.serialize(), self._before)
            except BaseException:
                self.close()
                raise
        except (LedgerError, NotOursError) as error:
            self.database.connection = memory
            log.warning("ledger.afloat reason=%s", error)
            return False
        except BaseException:
            self.database.connection = memory
            raise
        memory.close()
        self._in_memory, self._before = False, b""
        log.warning("ledger.back path=%s", self.path)
        return True

    def _go_to_memory(self, content: sqlite3.Connection | None) -> None:
        """Go on in memory with this content, if it can be used, else with the next best."""
        if content is not None:
            try:
                self._opener.migrate(content)
            except NewerLedgerError:
                content.close()
                raise
            except LedgerError as error:
                log.error("ledger.unreadable reason=%s", error)
                content.close()
                content = None
        if content is None:
            now = self._opener.now()
            content, origin = self._opener.substitute(now)
            self._opener.migrate(content)
            if self._exists():
                mark_history_reset(content, now, f"the ledger could not be read; {origin}")
        self.database.connection = content
        self._in_memory, self._before = True, content.serialize()

    def _exists(self) -> bool:
        try:
            self._opener.file.stat()
        except FileNotFoundError:
            return False
        except OSError:
            return True
        return True

    def _readable_content(self) -> sqlite3.Connection | None:
        """Return what can be read of a file that cannot be written, in memory, or None."""
        for mode in ("mode=ro", "mode=ro&immutable=1"):
            with suppress(sqlite3.Error, UnicodeDecodeError):
                address = f"file:{quote(str(self._opener.file))}?{mode}"
                file = self._opener.connect(address, uri=True)
                try:
                    found = _sound_copy_of(file)
                finally:
                    file.close()
                if found is not None:
                    return found
        return None

    # -- daily copies

    def copy_daily(self, now: datetime) -> None:
        """Once a day (UTC), put a compressed copy beside the file, if the ledger is sound.

        Cheap to call at every tick. A copy that failed is logged, and tried again in the next hour.
        Raise LedgerError if the ledger is found damaged: then it is of no use to go on with it.
        """
        at, file = now.astimezone(UTC), self._opener.file
        hour = f"{at:%Y-%m-%dT%H}"
        if self._in_memory or self.path == IN_MEMORY or hour == self._copy_hour:
            return
        self._copy_hour = hour
        try:
            if at.date() in copies.daily_copies(file):
                return
            fault = fault_of(self.database.connection)
            if fault is not None:
                msg = f"ledger {self.path}: damaged ({fault})"
                raise LedgerError(msg)
            copies.put_copy(file, at.date(), self.database.connection.serialize())
        except (sqlite3.Error, OSError, NotOursError) as error:
            log.error("ledger.copy_failed reason=%s", error)


def _sound_copy_of(file: sqlite3.Connection) -> sqlite3.Connection | None:
    """Return a copy of an open ledger in memory; None if it would not be sound."""
    memory = copies.in_memory()
    with suppress(sqlite3.Error, UnicodeDecodeError):
        file.backup(memory)
        if fault_of(memory) is None and not is_foreign(memory):
            return memory
    memory.close()
    return None
