"""The opening of a ledger file: locked, checked, repaired if it is damaged, and brought up to date.

A damaged file is set aside, never overwritten, and the newest sound copy takes its place.
"""

import logging
import os
import sqlite3
from collections.abc import Callable
from contextlib import closing, suppress
from datetime import UTC, datetime
from pathlib import Path

from sillward import files
from sillward.errors import LedgerError, NewerLedgerError, NotOursError
from sillward.ledger import copies
from sillward.ledger.integrity import fault_of, is_bare, is_foreign, is_log_damaged
from sillward.ledger.merging import HISTORY_RESET
from sillward.ledger.migrations import migrate, run
from sillward.ledger.ownership import own_file
from sillward.ledger.records import to_text
from sillward.ledger.schema import APPLICATION_ID, SCHEMA, SCHEMA_VERSION
from sillward.ledger.sqlite_database import SqliteDatabase, translated

BUSY_MS = 5000
"""How long to wait for another process that writes [ms]. Judgement: its transactions take
milliseconds."""

MIN_FILE_BYTES = 512
"""The smallest size of a SQLite file: one page [bytes]. SQLite takes a shorter file for a new
one."""

log = logging.getLogger(__name__)


class FileOpener:
    """Opens the file of a ledger, at the start and whenever the ledger comes back from memory."""

    def __init__(self, path: str, clock: Callable[[], datetime]) -> None:
        """Open nothing yet.

        Args:
            path: the path as the settings have it, which errors name.
            clock: gives the time for the names of files that are set aside.
        """
        self.path = path
        self.file = Path(os.path.realpath(path))
        self._clock = clock
        self._found_sound: tuple[int, int] | None = None

    def now(self) -> datetime:
        """Return the time in UTC."""
        return self._clock().astimezone(UTC)

    def open(
        self, *, repair: bool, again: bool = False
    ) -> tuple[sqlite3.Connection, copies.FileLock]:
        """Return a connection to the file, checked and of this version, and the lock on it.

        With `repair` a damaged file is replaced; otherwise it is an error. With `again`, a file
        that this opener has found sound is not read through once more, unless another has taken its
        place. Raise LedgerError or NotOursError; then the file is neither open nor locked.
        """
        with translated(self.path):
            self.file = own_file(Path(self.path))
            files.make_folder(self.file.parent)
            lock = copies.FileLock(self.file)
            try:
                if not again:
                    self._found_sound = None
                db = self._open_locked(alone=lock.alone, repair=repair)
                lock.share()
            except BaseException:
                lock.release()
                raise
            return db, lock

    def _open_locked(self, *, alone: bool, repair: bool) -> sqlite3.Connection:
        """Open the file, which is locked, and have a damaged one repaired if that is allowed.

        alone: no other process has it open.
        """
        changes = self._wal_content() if alone else b""
        lost = is_log_damaged(changes)
        checked, fault = self._connect_checked(changes, alone=alone, lost=lost, repair=repair)
        if fault is not None:
            try:
                if not (alone and repair):
                    msg = f"ledger {self.path}: damaged ({fault}); `sillward run` sets it right"
                    raise LedgerError(msg)
                log.error("ledger.damaged reason=%s", fault)
                self._repair()
            finally:  # only now: see copies.set_aside
                if checked is not None:
                    checked.close()
            lost, checked = False, None
        db = checked or self.connect(str(self.file))
        try:
            self.configure(db)
            self.migrate(db)
            if lost:
                self._report_lost_changes(db, changes)
        except BaseException:
            db.close()
            raise
        return db

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
        if alone and not self.file.exists():
            self.create()
        copies.make_private(self.file, alone=alone)
        db = self.connect(str(self.file))
        fault = self._fault(db)
        if fault is None and lost and is_bare(db):
            fault = "all that it held was in the -wal file, and that is damaged"
        return db, fault

    def _wal_content(self) -> bytes:
        """Return the -wal of a file that is not open: what a crash left outside the file itself."""
        found = files.read_own(copies.beside(self.file)("-wal"))
        return b"" if found is None else found[0]

    def _fault_before_opening(self, changes: bytes) -> str | None:
        """Return what is wrong where SQLite would silently begin a new file; None if nothing is."""
        try:
            size = self.file.stat().st_size
        except FileNotFoundError:
            if changes:
                return "the file itself is gone"
            copies.adopt_draft(self.file)  # a crash came just before this last step
            return None
        copies.drop_draft(self.file)
        return None if size >= MIN_FILE_BYTES else "it is empty or cut off"

    def create(self) -> None:
        """Make the file with all its tables at once, because an empty file counts as damaged."""
        with closing(copies.empty()) as db:
            content = db.serialize()
        with suppress(FileExistsError):  # another process was faster
            draft = copies.draft_path(self.file)
            files.write(self.file, content, exclusive=True, temporary=draft)

    def connect(self, name: str, *, uri: bool = False) -> sqlite3.Connection:
        """Return a connection to a file, by its path or, with `uri`, by an address."""
        db = sqlite3.connect(
            name, isolation_level=None, timeout=BUSY_MS / 1000, check_same_thread=False, uri=uri
        )
        db.row_factory = sqlite3.Row
        return db

    def _fault(self, db: sqlite3.Connection) -> str | None:
        """Return what is wrong with the file, or None. Close it and raise if that is not known."""
        try:
            identity = self._identity()
            fault = None if identity == self._found_sound else fault_of(db)
            if fault is None and is_foreign(db):
                msg = f"{self.path}: is the database of another program; name another file"
                raise NotOursError(msg)
            if fault is None and not self._is_writable(db):
                fault = "its header asks for a way of writing that there is not"
            self._found_sound = identity if fault is None else None
        except BaseException:
            db.close()
            raise
        return fault

    def _identity(self) -> tuple[int, int]:
        """Return what tells the file from one that takes its place: device and inode."""
        found = self.file.stat()
        return found.st_dev, found.st_ino

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
                return not os.access(self.file, os.W_OK)  # else its permissions are the reason
            if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY:  # another is just writing
                raise
        return True

    def configure(self, db: sqlite3.Connection) -> None:
        """Set how a connection to the file writes and waits."""
        for pragma in (
            "journal_mode=WAL",
            # A lost "sent" mark costs a repeat: one sync for each write is worth it.
            "synchronous=FULL",
            f"busy_timeout={BUSY_MS}",
            "foreign_keys=ON",
        ):
            db.execute(f"PRAGMA {pragma}")

    def migrate(self, db: sqlite3.Connection) -> None:
        """Bring an open ledger to this version. One that is a file is copied before.

        Raise LedgerError if that cannot be, NewerLedgerError for a later version.
        """
        database = SqliteDatabase(self.path)
        database.connection = db
        with database.transaction():  # two processes may open a new file at once
            (version,) = db.execute("PRAGMA user_version").fetchone()
            if version > SCHEMA_VERSION:
                msg = f"{self.path}: written by a newer sillward (version {version}); update first"
                raise NewerLedgerError(msg)
            (owner,) = db.execute("PRAGMA application_id").fetchone()
            if owner != APPLICATION_ID:  # a ledger from before there was one
                db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            if version == SCHEMA_VERSION:
                return
            if version == 0:
                run(db, SCHEMA)
            else:
                if not database.is_in_memory:
                    before = copies.before_path(self.file, SCHEMA_VERSION)
                    files.write(before, db.serialize(), temporary=copies.draft_path(before))
                migrate(db, version, SCHEMA_VERSION)
            db.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")

    # -- damage

    def _report_lost_changes(self, db: sqlite3.Connection, changes: bytes) -> None:
        """Keep the damaged -wal, which SQLite has read up to the damage, and leave a mark of it."""
        now = self.now()
        aside = copies.aside_path(self.file, now)
        aside = aside.with_name(f"{aside.name}-wal")
        files.write(aside, changes, temporary=copies.draft_path(aside))
        log.error("ledger.damaged reason=the -wal file")
        text = f"the last changes in the ledger were damaged and set aside as {aside.name}"
        mark_history_reset(db, now, f"{text}; what was before them is there")

    def _repair(self) -> None:
        """Set the damaged file aside and put the newest sound copy, or an empty one, there."""
        now = self.now()
        aside = copies.aside_path(self.file, now)
        text = f"the ledger was damaged and set aside as {aside.name}"
        db, origin = self.substitute(now)
        try:
            mark_history_reset(db, now, f"{text}; {origin}")
            content = db.serialize()
        finally:
            db.close()
        files.write(
            self.file,
            content,
            temporary=copies.draft_path(self.file),
            before_rename=lambda _: copies.set_aside(self.file, aside),
        )

    def substitute(self, now: datetime) -> tuple[sqlite3.Connection, str]:
        """Return what takes the place of the file, in memory, and where it comes from, in words."""
        found = copies.newest_sound(self.file, now)
        if found is not None:
            day, db = found
            return db, f"restored from the copy of {day:%d %b}"
        return copies.empty(), "begun anew"


def mark_history_reset(db: sqlite3.Connection, at: datetime, text: str) -> None:
    """Leave the mark that says in words what was lost of the ledger; an alarm tells it."""
    db.execute("INSERT OR REPLACE INTO mark VALUES (?, ?, ?)", (HISTORY_RESET, to_text(at), text))
