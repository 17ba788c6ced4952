"""The places between which `sillward move-ledger` copies: what each holds, and how it is
written."""

import gzip
import os
import re
import shutil
import zlib
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from datetime import datetime
from pathlib import Path
from urllib.parse import quote

from sillward import files
from sillward.errors import LedgerError, NotOursError, UsageError, one_line
from sillward.ledger import copies, moving, schema
from sillward.ledger.address import ON_SERVER, PostgresAddress
from sillward.ledger.database import Database
from sillward.ledger.house import LEDGER, SHARED
from sillward.ledger.integrity import fault_of, is_foreign
from sillward.ledger.ledger import Ledger
from sillward.ledger.moving import Moved
from sillward.ledger.opening import FileOpener
from sillward.ledger.sqlite_database import SqliteDatabase, translated

_NAME = re.compile(r"[a-z0-9][a-z0-9-]{0,62}", re.ASCII)
"""Names of households, which also become names of folders."""

Clock = Callable[[], datetime]


def move(source: Path | PostgresAddress, target: Path | PostgresAddress, clock: Clock) -> Moved:
    """Copy a ledger, or a folder of them, from one place to another; the source stays as it is.

    Raise UsageError for what cannot be copied there, LedgerError, NotOursError.
    """
    if isinstance(target, PostgresAddress):
        if isinstance(source, PostgresAddress):
            msg = "from one server to another there are tools of PostgreSQL's (pg_dump)"
            raise UsageError(msg)
        return _to_server(source, target, clock)
    if not isinstance(source, PostgresAddress):
        msg = "from one file to another: stop sillward and copy it with its folder"
        raise UsageError(msg)
    return _from_server(source, target, clock)


def _to_server(source: Path, target: PostgresAddress, clock: Clock) -> Moved:
    with closing(Ledger(target, clock=clock)) as there, _alone(there.database):
        database = there.database
        if not source.is_dir():
            with _image(source, clock) as read:
                return moving.move(read, moving.all_of_it(), database, moving.all_of_it())
        households = _households_in(source)
        total = Moved()
        with database.transaction():
            for name in households:
                with _image(source / name / LEDGER, clock) as read:
                    part = moving.of_household(name, on_server=False)
                    place = moving.of_household(name, on_server=True)
                    _add(total, moving.move(read, part, database, place))
            if (source / SHARED).exists():
                with _image(source / SHARED, clock) as read:
                    part = moving.of_all_households(ON_SERVER, on_server=False)
                    place = moving.of_all_households(ON_SERVER, on_server=True)
                    _add(total, moving.move(read, part, database, place))
        return total


def _from_server(source: PostgresAddress, target: Path, clock: Clock) -> Moved:
    if target.exists() and not target.is_dir():
        msg = f"{target}: already exists; name a file or folder that does not"
        raise UsageError(msg)
    if target.is_dir() and any(target.iterdir()):
        msg = f"{target}: there is something in this folder; name an empty one"
        raise UsageError(msg)
    with closing(Ledger(source, clock=clock)) as there, _alone(there.database):
        read = there.database
        with read.transaction():  # nobody writes meanwhile
            households = _households_of(read)
            if not households:
                with _beside(target) as folder:
                    file, whole = folder / target.name, moving.all_of_it()
                    moved = _to_file(read, whole, file, whole, clock)
                    file.rename(target)
                    shutil.rmtree(folder)
                return moved
            total = Moved()
            with _beside(target) as folder:
                for name in households:
                    part = moving.of_household(name, on_server=True)
                    place = moving.of_household(name, on_server=False)
                    _add(total, _to_file(read, part, folder / name / LEDGER, place, clock))
                part = moving.of_all_households(ON_SERVER, on_server=True)
                place = moving.of_all_households(ON_SERVER, on_server=False)
                _add(total, _to_file(read, part, folder / SHARED, place, clock))
                folder.rename(target)
            return total


@contextmanager
def _beside(target: Path) -> Iterator[Path]:
    """Create a folder under a temporary name until all is written: the remains of an interrupted
    copy must not look like a ledger to go on with. Raise UsageError if one is left over."""
    folder = target.with_name(f"{target.name}.moving")
    if os.path.lexists(folder):
        msg = (
            f"{folder}: is left over from an interrupted move, half of a ledger at most; remove it"
        )
        raise UsageError(msg)
    files.make_folder(folder)
    try:
        yield folder
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise


def _to_file(
    read: Database, part: moving.Part, target: Path, place: moving.Part, clock: Clock
) -> Moved:
    with closing(Ledger(target, clock=clock)) as there:
        return moving.move(read, part, there.database, place)


def _add(total: Moved, one: Moved) -> None:
    for table, count in one.rows.items():
        total.rows[table] = total.rows.get(table, 0) + count
    total.digest = one.digest


def _households_in(folder: Path) -> list[str]:
    """Return the names of the households whose ledgers a folder holds. Raise UsageError."""
    names = sorted(entry.name for entry in folder.iterdir() if (entry / LEDGER).is_file())
    if not names:
        msg = f"{folder}: holds no ledgers of households (NAME/{LEDGER})"
        raise UsageError(msg)
    return names


def _households_of(read: Database) -> list[str]:
    """Return the households of a server; none if it holds a single ledger.

    If there are households, the names of marks begin with theirs.
    """
    marks = [str(row["name"]).partition("/") for row in read.rows("SELECT name FROM mark")]
    names = {name for name, slash, _ in marks if slash and _NAME.fullmatch(name)}
    turns = {str(row["site"]) for row in read.rows("SELECT site FROM turn")}
    if not names | turns and not any(name == ON_SERVER for name, _, _ in marks):
        return []
    for table, described in schema.tables().items():
        if "site" in described.columns and table not in moving.SHARED_TABLES:
            names |= {str(row["site"]) for row in read.rows(f"SELECT DISTINCT site FROM {table}")}
    for name in names | turns:
        if not _NAME.fullmatch(name):
            shown = one_line(name, 80)
            msg = f'the database has rows of "{shown}", which is not a valid household name'
            raise LedgerError(msg)
    return sorted(names | turns)


@contextmanager
def _image(path: Path, clock: Clock) -> Iterator[SqliteDatabase]:
    """Return the contents of a ledger file or of a copy, in memory and migrated to this version.

    Raise LedgerError if it is damaged or in use by a process; NotOursError.
    """
    opener = FileOpener(str(path), clock)
    with translated(str(path)):
        if not path.exists():
            raise FileNotFoundError(2, os.strerror(2))
        memory = copies.in_memory()
        try:
            if path.suffix == ".gz":
                found = files.read_own(path)
                with suppress(EOFError, zlib.error):
                    copies.load(memory, gzip.decompress(b"" if found is None else found[0]))
            else:
                _require_unused(path)
                with closing(opener.connect(f"file:{quote(str(path))}?mode=ro", uri=True)) as file:
                    file.backup(memory)
            if is_foreign(memory):
                msg = f"{path}: is the database of another program"
                raise NotOursError(msg)
            fault = fault_of(memory)
            if fault is not None:
                msg = f"ledger {path}: damaged ({fault})"
                raise LedgerError(msg)
            opener.migrate(memory)
            database = SqliteDatabase(str(path))
            database.connection = memory
            yield database
        finally:
            memory.close()


def _require_unused(path: Path) -> None:
    """Raise LedgerError while a process has the ledger open."""
    lock = copies.FileLock(path)
    try:
        if not lock.alone:
            msg = f"ledger {path}: is in use; stop sillward first"
            raise LedgerError(msg)
    finally:
        lock.release()


@contextmanager
def _alone(database: Database) -> Iterator[None]:
    """Raise LedgerError while others work with the database."""
    ((others,),) = database.rows(
        "SELECT COUNT(*) FROM pg_stat_activity WHERE datname = current_database()"
        " AND application_name = 'sillward' AND pid != pg_backend_pid()"
    )
    if others:
        msg = f"{others} other processes of sillward work with the database; stop them first"
        raise LedgerError(msg)
    yield
