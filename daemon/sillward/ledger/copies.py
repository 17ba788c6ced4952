"""The files beside the ledger: daily copies, copies before a migration, damaged files.

Nothing here is ever overwritten or deleted except a daily copy that has enough newer ones near it.
"""

import errno
import fcntl
import gzip
import os
import re
import sqlite3
import zlib
from collections.abc import Callable
from contextlib import closing, suppress
from datetime import date, datetime, timedelta
from pathlib import Path

from sillward import files
from sillward.errors import NotOursError
from sillward.ledger.integrity import fault_of, is_foreign, is_marked_ours
from sillward.ledger.schema import APPLICATION_ID, SCHEMA, SCHEMA_VERSION

MIN_COPIES = 3
"""How many daily copies are kept at least. Judgement: enough to go back to, in little space."""

NEAR = timedelta(days=30)
"""A daily copy is deleted when there are enough newer ones within this time of it. Today's date
does not count, so that a wrong clock deletes nothing: its copies are near each other, and far from
the others. Judgement: well beyond the days that the kept copies span."""

GZIP_LEVEL = 6
"""The level of gzip: its default."""

SQLITE_ENDINGS = ("-wal", "-shm", "-journal")
"""The endings of SQLite's own files beside a database."""

LOCK_CONTENT = b"sillward ledger\n"
"""The content of the lock file, which shows that the file beside it was once ours."""

_NAME = re.compile(r"\.copy-([0-9]{4}-[0-9]{2}-[0-9]{2})\.gz")
_DRAFT = ".sillward-draft"
_ASIDE = ".damaged-"


class FileLock:
    """A lock that tells other processes that the ledger is open.

    While `alone` no other process has it open, and none can open it until `share` or `release`.
    """

    def __init__(self, path: Path) -> None:
        """Raise OSError if the lock file cannot be opened, NotOursError if it is not ours."""
        lock = lock_path(path)
        files.stat_own(lock)  # before it is opened: to open a pipe or a device may do something
        flags = os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC
        self._file = os.open(lock, flags, files.PRIVATE_MODE)
        try:
            files.require_own(lock, os.fstat(self._file))
            self._take()
        except BaseException:
            os.close(self._file)
            raise
        if os.fstat(self._file).st_size == 0:
            with suppress(OSError):  # a disk that is full
                os.pwrite(self._file, LOCK_CONTENT, 0)

    def _take(self) -> None:
        self.alone = True
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            self.alone = False
            fcntl.flock(self._file, fcntl.LOCK_SH)
        except OSError as error:  # a file system without such locks: SQLite's own must be enough
            if error.errno not in (errno.ENOLCK, errno.ENOTSUP, errno.ENOSYS):
                raise

    def share(self) -> None:
        """Let other processes open the ledger too."""
        if self.alone:
            self.alone = False
            with suppress(OSError):
                fcntl.flock(self._file, fcntl.LOCK_SH)

    def release(self) -> None:
        """Give the lock up."""
        os.close(self._file)


def lock_path(path: Path) -> Path:
    """Return the path of the lock file of a ledger."""
    return path.with_name(f"{path.name}.lock")


def make_private(path: Path, *, alone: bool) -> None:
    """Create the file for its owner only, or close it to others. Raise OSError, NotOursError.

    Unless `alone`, another process has the file open and has done it. It must not be done again
    then: to close a file frees the locks that SQLite has on it in this process.
    """
    try:
        os.close(
            os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, files.PRIVATE_MODE)
        )
    except FileExistsError:
        if alone:
            with suppress(PermissionError):
                _close_to_others(path)


def _close_to_others(path: Path) -> None:
    file = files.open_own(path)
    try:
        if os.fstat(file).st_mode & 0o777 != files.PRIVATE_MODE:
            os.fchmod(file, files.PRIVATE_MODE)
    finally:
        os.close(file)


def draft_path(path: Path) -> Path:
    """Return the path at which a file is written before it gets its name."""
    return path.with_name(f"{path.name}{_DRAFT}")


def adopt_draft(path: Path) -> None:
    """Rename a draft that a crash left to the file itself, if it is whole. Raise OSError."""
    written = draft_path(path)
    with suppress(sqlite3.Error):
        found = files.read_own(written)
        if found is not None:
            _sound(found[0]).close()
            written.replace(path)


def drop_draft(path: Path) -> None:
    """Delete a draft that a crash left."""
    written = draft_path(path)
    with suppress(OSError, NotOursError):
        if files.stat_own(written) is not None:
            written.unlink()


def beside(path: Path) -> Callable[[str], Path]:
    """Return a function that returns the path of SQLite's own file with an ending."""
    return lambda ending: path.with_name(f"{path.name}{ending}")


def is_name_of_ours(path: Path, name: str) -> bool:
    """Whether a name in the folder is one that the file has while it is written or set aside."""
    return name == draft_path(path).name or name.startswith(f"{path.name}{_ASIDE}")


def before_path(path: Path, version: int) -> Path:
    """Return the path for the copy before a migration.

    A file that is there already stays, unless it is such a copy, from a migration that failed.
    """
    stem = f"{path.name}.before-{version}"
    for name in (stem, *(f"{stem}-{number}" for number in range(2, 1000))):
        there = path.with_name(name)
        try:
            found = files.read_own(there)
        except NotOursError:
            continue
        if found is None or _is_ledger(found[0]):
            return there
    raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), stem)


def _is_ledger(data: bytes) -> bool:
    with suppress(sqlite3.Error, UnicodeDecodeError), closing(in_memory()) as db:
        load(db, data)
        return is_marked_ours(db)
    return False


def copy_path(path: Path, day: date) -> Path:
    """Return the path of the daily copy of a day."""
    return path.with_name(f"{path.name}.copy-{day}.gz")


def daily_copies(path: Path) -> dict[date, Path]:
    """Return the daily copies that exist, by day. Raise OSError if the folder cannot be read."""
    found = {}
    for name in os.listdir(path.parent):
        match = (
            _NAME.fullmatch(name.removeprefix(path.name)) if name.startswith(path.name) else None
        )
        if match is not None:
            with suppress(ValueError):
                found[date.fromisoformat(match[1])] = path.with_name(name)
    return dict(sorted(found.items()))


def put_copy(path: Path, day: date, data: bytes) -> None:
    """Write the daily copy of a day and drop those that are not needed any more. Raise OSError."""
    copy = copy_path(path, day)
    files.write(copy, gzip.compress(data, GZIP_LEVEL, mtime=0), temporary=draft_path(copy))
    for old in superfluous(list(daily_copies(path))):
        with suppress(NotOursError):
            if files.stat_own(copy_path(path, old)) is not None:
                copy_path(path, old).unlink(missing_ok=True)


def superfluous(days: list[date]) -> list[date]:
    """Return the days whose copies have enough newer ones near them."""
    return [day for day in days if sum(day < newer <= day + NEAR for newer in days) >= MIN_COPIES]


def newest_sound(path: Path, now: datetime) -> tuple[date, sqlite3.Connection] | None:
    """Return the newest daily copy that is sound, in memory, and its day; None if there is none.

    Copies of days to come were written while the clock was wrong: they come last.
    """
    today = now.date()
    with suppress(OSError):
        days = sorted(daily_copies(path), key=lambda day: (day <= today, day), reverse=True)
        for day in days:
            with suppress(OSError, NotOursError, EOFError, zlib.error, sqlite3.Error):
                found = files.read_own(copy_path(path, day))
                if found is not None:
                    return day, _sound(gzip.decompress(found[0]))
    return None


def _sound(data: bytes) -> sqlite3.Connection:
    """Return a copy in memory. Raise sqlite3.Error unless it is sound and of a known version."""
    db = in_memory()
    try:
        load(db, data)
        (version,) = db.execute("PRAGMA user_version").fetchone()
        fault = fault_of(db)
        if fault is not None or is_foreign(db) or not 0 < version <= SCHEMA_VERSION:
            raise sqlite3.DatabaseError(fault or f"version {version}")
    except BaseException:
        db.close()
        raise
    return db


def empty() -> sqlite3.Connection:
    """Return a ledger without a row, in memory."""
    db = in_memory()
    db.executescript(f"{SCHEMA}; PRAGMA user_version = {SCHEMA_VERSION}")
    db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    return db


def in_memory() -> sqlite3.Connection:
    """Return an empty database in memory."""
    db = sqlite3.connect(":memory:", isolation_level=None, check_same_thread=False)
    db.row_factory = sqlite3.Row
    return db


def load(db: sqlite3.Connection, data: bytes, schema: str = "main") -> None:
    """Load the bytes of a file into a database in memory. Raise sqlite3.Error."""
    if not data:
        msg = "nothing in it"
        raise sqlite3.DatabaseError(msg)
    # Bytes 18 and 19 say that a file has a write-ahead log; memory has none and would refuse it.
    # Source: "Database File Format", sqlite.org/fileformat.html (from memory).
    db.deserialize(data[:18] + b"\x01\x01" + data[20:], name=schema)


def aside_path(path: Path, now: datetime) -> Path:
    """Return a free path for a damaged file."""
    stamp = f"{path.name}{_ASIDE}{now:%Y%m%dT%H%M%SZ}"
    for name in (stamp, *(f"{stamp}-{number}" for number in range(2, 1000))):
        free = path.with_name(name)
        if not any(os.path.lexists(f"{free}{end}") for end in ("", *SQLITE_ENDINGS)):
            return free
    raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), stamp)


def set_aside(path: Path, free: Path) -> None:
    """Give a damaged file and its -wal and -shm another name. Raise OSError.

    Where links are possible the damaged file keeps its old name too, so that it is found again
    after a crash; the caller puts a sound file in its place. Connections to it are to be closed
    only after this: SQLite deletes a -wal by its name.
    """
    for ending in SQLITE_ENDINGS:
        theirs = beside(path)(ending)
        if files.stat_own(theirs) is not None:
            with suppress(OSError):
                _close_to_others(theirs)
            theirs.rename(beside(free)(ending))
    if files.stat_own(path) is not None:
        with suppress(PermissionError):
            _close_to_others(path)
        try:
            os.link(path, free)
        except OSError:  # a file system without links
            path.rename(free)
    files.sync_folder(path.parent)
