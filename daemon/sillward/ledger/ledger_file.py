"""The file of the ledger: opened, checked, brought up to date, copied, and left where it must be.

What is damaged is set aside and the newest sound copy takes its place. Where nothing can be
written the ledger goes on in memory, and what was done there comes into the file later: a disk
that is full must not keep a notice from the grower.
"""

import logging
import os
import sqlite3
from collections.abc import Callable
from contextlib import closing, suppress
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import quote

from sillward import files
from sillward.errors import LedgerError, NewerLedgerError, NotOursError
from sillward.ledger import copies
from sillward.ledger.database import Database, translated
from sillward.ledger.integrity import fault_of, is_bare, is_foreign, is_log_damaged
from sillward.ledger.merging import HISTORY_RESET, merge
from sillward.ledger.migrations import migrate, run
from sillward.ledger.ownership import own_file
from sillward.ledger.records import to_text
from sillward.ledger.schema import APPLICATION_ID, SCHEMA, SCHEMA_VERSION

BUSY_MS = 5000
"""How long to wait for another process that writes [ms]. Judgement: its transactions take
milliseconds."""

IN_MEMORY = ":memory:"
"""The path of a ledger without a file."""

MIN_FILE_BYTES = 512
"""The smallest size of a SQLite file: one page [bytes]. SQLite takes a shorter file for a new
one."""

log = logging.getLogger(__name__)


def _utc_now() -> datetime:
    return datetime.now(UTC)


class LedgerFile:
    """The file behind a ledger, and the `Database` in which the tables are.

    It opens the file, or goes on in memory and comes back, and keeps its daily copies.
    """

    def __init__(
        self,
        path: Path | str,
        *,
        clock: Callable[[], datetime] = _utc_now,
        resilient: bool = False,
    ) -> None:
        """Open or create the file. Raise LedgerError if it cannot be used, NotOursError if what is
        there is not ours.

        clock: for the names of what is set aside. resilient: repair a damaged file, or go on in
        memory, rather than raise.
        """
        self.path = str(path)
        self.database = Database(self.path)
        self._file = Path(os.path.realpath(path))
        self._clock = clock
        self._lock: copies.FileLock | None = None
        self._in_memory = False
        self._before = b""
        self._copy_hour = ""
        if self.path == IN_MEMORY:
            self.database.connection = copies.in_memory()
            self._migrate()
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

    # -- opening

    def _open(self, *, repair: bool) -> None:
        """Open the file, checked and of this version. Raise LedgerError; then it is not open."""
        with translated(self.path):
            self._file = own_file(Path(self.path))
            files.make_folder(self._file.parent)
            lock = copies.FileLock(self._file)
            try:
                self._open_locked(alone=lock.alone, repair=repair)
                lock.share()
            except BaseException:
                lock.release()
                raise
            self._lock = lock

    def _open_locked(self, *, alone: bool, repair: bool) -> None:
        """Open the file, which is locked, and have a damaged one repaired if that is allowed.

        alone: no other process has it open.
        """
        changes = self._wal_content() if alone else b""
        lost = is_log_damaged(changes)
        db, fault = self._connect_checked(changes, alone=alone, lost=lost, repair=repair)
        if fault is not None:
            try:
                if not (alone and repair):
                    msg = f"ledger {self.path}: damaged ({fault}); `sillward run` sets it right"
                    raise LedgerError(msg)
                log.error("ledger.damaged reason=%s", fault)
                self._repair()
            finally:  # only now: see copies.set_aside
                if db is not None:
                    db.close()
            lost, db = False, None
        self.database.connection = db or self._connect(str(self._file))
        try:
            self._configure()
            self._migrate()
            if lost:
                self._report_lost_changes(changes)
        except BaseException:
            self.database.connection.close()
            raise

    def _connect_checked(
        self, changes: bytes, *, alone: bool, lost: bool, repair: bool
    ) -> tuple[sqlite3.Connection | None, str | None]:
        """Return a connection to the file, made if it is not there, and what is wrong with it.

        lost: the -wal is damaged, so that its last changes are lost; without `repair` that is a
        fault. Without a connection the file was not touched.
        """
        fault = self._fault_before_opening(changes) if alone else None
        if lost and not repair:
            fault = "the -wal file"
        if fault is not None:
            return None, fault
        if alone and not self._file.exists():
            self._begin()
        copies.make_private(self._file, alone=alone)
        db = self._connect(str(self._file))
        fault = self._fault(db)
        if fault is None and lost and is_bare(db):
            fault = "all that it held was in the -wal file, and that is damaged"
        return db, fault

    def _wal_content(self) -> bytes:
        """Return the -wal of a file that is not open: what a crash left outside the file itself."""
        held = files.read_own(copies.beside(self._file)("-wal"))
        return b"" if held is None else held[0]

    def _fault_before_opening(self, changes: bytes) -> str | None:
        """Return what is wrong where SQLite would silently begin a new file; None if nothing is."""
        try:
            size = self._file.stat().st_size
        except FileNotFoundError:
            if changes:
                return "the file itself is gone"
            copies.adopt_draft(self._file)  # a crash came just before this last step
            return None
        copies.drop_draft(self._file)
        return None if size >= MIN_FILE_BYTES else "it is empty or cut off"

    def _begin(self) -> None:
        """Make the file with all its tables at once, because an empty file counts as damaged."""
        with closing(copies.empty()) as db:
            content = db.serialize()
        with suppress(FileExistsError):  # another process was faster
            draft = copies.draft_path(self._file)
            files.write(self._file, content, exclusive=True, temporary=draft)

    def _connect(self, name: str, *, uri: bool = False) -> sqlite3.Connection:
        db = sqlite3.connect(
            name, isolation_level=None, timeout=BUSY_MS / 1000, check_same_thread=False, uri=uri
        )
        db.row_factory = sqlite3.Row
        return db

    def _fault(self, db: sqlite3.Connection) -> str | None:
        """Return what is wrong with the file, or None. Close it and raise if that is not known."""
        try:
            fault = fault_of(db)
            if fault is None and is_foreign(db):
                msg = f"{self.path}: is the database of another program; name another file"
                raise NotOursError(msg)
            if fault is None and not self._is_writable(db):
                fault = "its header asks for a way of writing that there is not"
        except BaseException:
            db.close()
            raise
        return fault

    def _is_writable(self, db: sqlite3.Connection) -> bool:
        (version,) = db.execute("PRAGMA user_version").fetchone()
        db.execute("PRAGMA busy_timeout=0")
        try:
            db.execute("BEGIN IMMEDIATE")
            try:
                db.execute(f"PRAGMA user_version={version}")
            finally:
                db.execute("ROLLBACK")
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode == sqlite3.SQLITE_READONLY:
                return not os.access(self._file, os.W_OK)  # else its permissions are the reason
            if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY:  # another is just writing
                raise
        return True

    def _configure(self) -> None:
        for pragma in (
            "journal_mode=WAL",
            # A lost "sent" mark costs a repeat: one sync for each write is worth it.
            "synchronous=FULL",
            f"busy_timeout={BUSY_MS}",
            "foreign_keys=ON",
        ):
            self.database.connection.execute(f"PRAGMA {pragma}")

    def _report_lost_changes(self, changes: bytes) -> None:
        """Keep the damaged -wal, which SQLite has read up to the damage, and leave a mark of it."""
        now = self._clock().astimezone(UTC)
        aside = copies.aside_path(self._file, now)
        aside = aside.with_name(f"{aside.name}-wal")
        files.write(aside, changes, temporary=copies.draft_path(aside))
        log.error("ledger.damaged reason=the -wal file")
        text = f"the last changes in the ledger were damaged and set aside as {aside.name}"
        _put_mark(self.database.connection, now, f"{text}; what was before them is there")

    def _repair(self) -> None:
        """Set the damaged file aside and put the newest sound copy, or an empty one, there."""
        now = self._clock().astimezone(UTC)
        aside = copies.aside_path(self._file, now)
        text = f"the ledger was damaged and set aside as {aside.name}"
        db, origin = self._substitute(now)
        try:
            _put_mark(db, now, f"{text}; {origin}")
            content = db.serialize()
        finally:
            db.close()
        files.write(
            self._file,
            content,
            temporary=copies.draft_path(self._file),
            before_rename=lambda _: copies.set_aside(self._file, aside),
        )

    def _substitute(self, now: datetime) -> tuple[sqlite3.Connection, str]:
        """Return what takes the place of the file, in memory, and where it comes from, in words."""
        found = copies.newest_sound(self._file, now)
        if found is not None:
            day, db = found
            return db, f"restored from the copy of {day:%d %b}"
        return copies.empty(), "begun anew"

    def _migrate(self) -> None:
        with self.database.transaction():  # two processes may open a new file at once
            version = self.database.connection.execute("PRAGMA user_version").fetchone()[0]
            if version > SCHEMA_VERSION:
                msg = f"{self.path}: written by a newer sillward (version {version}); update first"
                raise NewerLedgerError(msg)
            (owner,) = self.database.connection.execute("PRAGMA application_id").fetchone()
            if owner != APPLICATION_ID:  # a ledger from before there was one
                self.database.connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            if version == SCHEMA_VERSION:
                return
            if version == 0:
                run(self.database.connection, SCHEMA)
            else:
                if not self.database.is_in_memory:
                    before = copies.before_path(self._file, SCHEMA_VERSION)
                    content = self.database.connection.serialize()
                    files.write(before, content, temporary=copies.draft_path(before))
                migrate(self.database.connection, version, SCHEMA_VERSION)
            self.database.connection.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")

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
        self._go_to_memory(self._sound_copy_of(file) or self._readable_content())
        self._lock = None
        with suppress(sqlite3.Error, UnicodeDecodeError):
            file.close()
        if lock is not None:
            lock.release()
        log.error("ledger.afloat path=%s", self.path)

    def to_file(self) -> bool:
        """Go back to the file with all that was done in memory. Return whether that succeeded.

        The file is opened with the same checks as at the start. What memory changed wins, but
        what was acknowledged in the file meanwhile stays; see `merging`.
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
        log.info("ledger.back path=%s", self.path)
        return True

    def _go_to_memory(self, content: sqlite3.Connection | None) -> None:
        """Go on in memory with this content, if it will do, else with the next best."""
        if content is not None:
            self.database.connection = content
            try:
                self._migrate()
            except NewerLedgerError:
                content.close()
                raise
            except LedgerError as error:
                log.error("ledger.unreadable reason=%s", error)
                content.close()
                content = None
        if content is None:
            now = self._clock().astimezone(UTC)
            self.database.connection, origin = self._substitute(now)
            self._migrate()
            if self._exists():
                _put_mark(self.database.connection, now, f"the ledger could not be read; {origin}")
        self._in_memory, self._before = True, self.database.connection.serialize()

    def _exists(self) -> bool:
        try:
            self._file.stat()
        except FileNotFoundError:
            return False
        except OSError:
            return True
        return True

    def _readable_content(self) -> sqlite3.Connection | None:
        """Return what can be read of a file that cannot be written, in memory, or None."""
        for mode in ("mode=ro", "mode=ro&immutable=1"):
            with suppress(sqlite3.Error, UnicodeDecodeError):
                file = self._connect(f"file:{quote(str(self._file))}?{mode}", uri=True)
                try:
                    found = self._sound_copy_of(file)
                finally:
                    file.close()
                if found is not None:
                    return found
        return None

    def _sound_copy_of(self, file: sqlite3.Connection) -> sqlite3.Connection | None:
        """Return a copy of an open ledger in memory; None if it would not be sound."""
        memory = copies.in_memory()
        with suppress(sqlite3.Error, UnicodeDecodeError):
            file.backup(memory)
            if fault_of(memory) is None and not is_foreign(memory):
                return memory
        memory.close()
        return None

    # -- daily copies

    def copy_daily(self, now: datetime) -> None:
        """Once a day (UTC), put a compressed copy beside the file, if the ledger is sound.

        Cheap to call at every tick. A copy that failed is logged, and tried again in the next hour.
        Raise LedgerError if the ledger is found damaged: then it is of no use to go on with it.
        """
        at = now.astimezone(UTC)
        hour = f"{at:%Y-%m-%dT%H}"
        if self._in_memory or self.path == IN_MEMORY or hour == self._copy_hour:
            return
        self._copy_hour = hour
        try:
            if at.date() in copies.daily_copies(self._file):
                return
            fault = fault_of(self.database.connection)
            if fault is not None:
                msg = f"ledger {self.path}: damaged ({fault})"
                raise LedgerError(msg)
            copies.put_copy(self._file, at.date(), self.database.connection.serialize())
        except (sqlite3.Error, OSError, NotOursError) as error:
            log.error("ledger.copy_failed reason=%s", error)


def _put_mark(db: sqlite3.Connection, at: datetime, text: str) -> None:
    db.execute("INSERT OR REPLACE INTO mark VALUES (?, ?, ?)", (HISTORY_RESET, to_text(at), text))
