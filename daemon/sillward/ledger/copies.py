"""The files beside the ledger: daily copies, copies before a migration, what was damaged.

Nothing here is ever written over or taken away but daily copies, and of these only one that has
enough newer ones near it.
"""

import errno
import fcntl
import gzip
import os
import re
import sqlite3
import zlib
from contextlib import suppress
from datetime import date, datetime, timedelta
from pathlib import Path

from sillward.ledger.check import fault_of, is_foreign
from sillward.ledger.schema import SCHEMA, SCHEMA_VERSION

COPIES = 3
"""Daily copies that are kept. Judgement."""

NEAR = timedelta(days=30)
"""A daily copy goes when there are enough newer ones within so long. By this, and not by today's
date, a clock that is wrong takes nothing away: its copies are near each other, and not near the
others. Judgement."""

LEVEL = 6
"""Of gzip: the usual one."""

BESIDE = ("-wal", "-shm", "-journal")
"""SQLite's own files beside a database."""

_NAME = re.compile(r"\.copy-(\d{4}-\d\d-\d\d)\.gz")


class Hold:
    """A mark on the ledger that says to other processes: somebody has it open.

    alone: nobody else has it open, and nobody else can open it until `share` or `release`.
    """

    def __init__(self, path: Path) -> None:
        """Raise OSError if the file of the lock cannot be opened."""
        self._file = os.open(f"{path}.lock", os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
        self.alone = True
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            self.alone = False
            fcntl.flock(self._file, fcntl.LOCK_SH)
        except OSError as error:  # no such locks here: SQLite's own must do
            if error.errno not in (errno.ENOLCK, errno.ENOTSUP, errno.ENOSYS):
                raise

    def share(self) -> None:
        """Let others open it too."""
        if self.alone:
            self.alone = False
            with suppress(OSError):
                fcntl.flock(self._file, fcntl.LOCK_SH)

    def release(self) -> None:
        """Have it open no more."""
        os.close(self._file)


def make_private(path: Path) -> bool:
    """Create folder and file so that only their owner can read them. Whether the file is new."""
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    try:
        # Never open a file that is there: to close it would free SQLite's locks on it.
        os.close(os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600))
    except FileExistsError:
        with suppress(PermissionError):
            path.chmod(0o600)
        return False
    return True


def draft_path(path: Path) -> Path:
    """Where what is to become a file is written."""
    return path.with_name(f"{path.name}.new")


def draft(path: Path, data: bytes) -> Path:
    """What is to become a file, written for its owner only, whole and synced. Raise OSError."""
    written = draft_path(path)
    try:
        written.unlink(missing_ok=True)
        file = os.open(written, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(file, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(file)
    except OSError:
        with suppress(OSError):
            written.unlink(missing_ok=True)
        raise
    return written


def put(path: Path, data: bytes) -> None:
    """Write a file whole or not at all, for its owner only. Raise OSError."""
    draft(path, data).replace(path)
    sync_folder(path.parent)


def begin(path: Path, data: bytes) -> None:
    """Make a file that is not there, whole or not at all, for its owner only. Raise OSError."""
    written = draft(path, data)
    try:
        os.link(written, path)  # a rename would take the file of a process that was faster
    except FileExistsError:
        pass
    except OSError:  # a file system without links
        written.replace(path)
    written.unlink(missing_ok=True)
    sync_folder(path.parent)


def adopt_draft(path: Path) -> None:
    """Give a draft the name that it was written for, if it is whole. Raise OSError."""
    written = draft_path(path)
    with suppress(FileNotFoundError, sqlite3.Error):
        _sound(written.read_bytes()).close()
        written.replace(path)


def sync_folder(folder: Path) -> None:
    """Make new names in a folder last. Raise OSError."""
    file = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(file)
    finally:
        os.close(file)


def copy_path(path: Path, day: date) -> Path:
    """The daily copy of a day."""
    return path.with_name(f"{path.name}.copy-{day}.gz")


def daily_copies(path: Path) -> dict[date, Path]:
    """The daily copies that are there, by day. Raise OSError if the folder cannot be read."""
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
    put(copy_path(path, day), gzip.compress(data, LEVEL, mtime=0))
    for old in superfluous(list(daily_copies(path))):
        copy_path(path, old).unlink(missing_ok=True)


def superfluous(days: list[date]) -> list[date]:
    """Days whose copies have enough newer ones near them."""
    return [one for one in days if sum(one < day <= one + NEAR for day in days) >= COPIES]


def newest_sound(path: Path, now: datetime) -> tuple[date, sqlite3.Connection] | None:
    """The newest daily copy that is itself sound, in memory; None if there is none.

    Copies of days to come were written while the clock was wrong: they come last.
    """
    today = now.date()
    with suppress(OSError):
        days = sorted(daily_copies(path), key=lambda day: (day <= today, day), reverse=True)
        for day in days:
            with suppress(OSError, EOFError, zlib.error, sqlite3.Error):
                return day, _sound(gzip.decompress(copy_path(path, day).read_bytes()))
    return None


def _sound(data: bytes) -> sqlite3.Connection:
    """A copy in memory. Raise sqlite3.Error if it is not sound or not for this version."""
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
    """A ledger without a row, in memory."""
    db = in_memory()
    db.executescript(f"{SCHEMA}; PRAGMA user_version = {SCHEMA_VERSION}")
    return db


def in_memory() -> sqlite3.Connection:
    """An empty database in memory."""
    db = sqlite3.connect(":memory:", isolation_level=None, check_same_thread=False)
    db.row_factory = sqlite3.Row
    return db


def load(db: sqlite3.Connection, data: bytes, schema: str = "main") -> None:
    """Make a database in memory of the bytes of a file. Raise sqlite3.Error."""
    if not data:
        msg = "nothing in it"
        raise sqlite3.DatabaseError(msg)
    # Bytes 18 and 19 say that a file has a write-ahead log; memory has none and would refuse it.
    # Source: "Database File Format", sqlite.org/fileformat.html (from memory).
    db.deserialize(data[:18] + b"\x01\x01" + data[20:], name=schema)


def aside_path(path: Path, now: datetime) -> Path:
    """A free name for what is damaged."""
    stamp = f"{path.name}.damaged-{now:%Y%m%dT%H%M%SZ}"
    for name in (stamp, *(f"{stamp}-{number}" for number in range(2, 1000))):
        free = path.with_name(name)
        if not any(os.path.lexists(f"{free}{end}") for end in ("", *BESIDE)):
            return free
    raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), stamp)


def set_aside(path: Path, free: Path) -> None:
    """Give a damaged file and its -wal and -shm another name. Raise OSError.

    Where it can be, the damaged file keeps its old name too, so that a crash leaves it to be found
    again; the caller puts a sound file in its place. Connections to it are to be closed only after
    this: SQLite deletes a -wal by its name.
    """
    for end in BESIDE:
        beside = path.with_name(path.name + end)
        if os.path.lexists(beside):
            with suppress(OSError):
                beside.chmod(0o600)
            beside.rename(free.with_name(free.name + end))
    if path.exists():
        with suppress(PermissionError):
            path.chmod(0o600)
        try:
            os.link(path, free)
        except OSError:  # a file system without links
            path.rename(free)
    sync_folder(path.parent)
