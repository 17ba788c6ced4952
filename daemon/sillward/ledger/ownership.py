"""Whether the file at the ledger's path ever was a ledger of this user's.

Only such a file can be a damaged ledger, and only a damaged ledger is set aside and replaced. The
evidence is in the file itself (its application id, or the tables of a ledger in one from before
there was an id) or beside it: the lock file, or a daily copy. A file without any is not touched,
even an empty one.
"""

import os
import sqlite3
from contextlib import closing, suppress
from enum import Enum
from pathlib import Path
from urllib.parse import quote

from sillward import files
from sillward.errors import ConfigError, NotOursError
from sillward.ledger import copies
from sillward.ledger.integrity import is_foreign, is_marked_ours


class _Origin(Enum):
    OURS = "ours"
    ANOTHERS = "is the database of another program"
    UNKNOWN = "is not a ledger"


def own_file(path: Path) -> Path:
    """Return the file that a path leads to, if it is a ledger of this user's or does not exist.

    Links are followed, and nothing is changed. Raise NotOursError if there is something else,
    OSError if that cannot be seen.
    """
    try:
        file = files.follow_links(path)
        _require_ours(file)
    except NotOursError as error:
        linked = f"{path}: leads to " if os.path.islink(path) and os.path.exists(path) else ""
        msg = f"ledger {linked}{error}"
        raise NotOursError(msg) from None
    return file


def _require_ours(path: Path) -> None:
    found = files.stat_own(path)
    left = [other for other in map(copies.beside(path), copies.SQLITE_ENDINGS) if _is_there(other)]
    if found is None:
        if left and not _has_signs_beside(path):
            msg = f"{left[0]}: there is no ledger that it could belong to; name another file"
            raise NotOursError(msg)
        return
    origin = _origin(path)
    # A file with a second name may be another program's under that name. It is ours by its content,
    # or if its other names are ours: a crash leaves those.
    only_ours = found.st_nlink in (1, _names_of_ours(path, found))
    damaged = origin is _Origin.UNKNOWN and only_ours and _has_signs_beside(path)
    if origin is not _Origin.OURS and not damaged:
        what = origin.value if found.st_size else "is empty"
        msg = f"{path}: {what}, and was left as it is; name another file"
        raise NotOursError(msg)


def _is_there(path: Path) -> bool:
    """Whether one of SQLite's own files exists. Raise NotOursError if it cannot be SQLite's."""
    try:
        found = os.lstat(path)
    except FileNotFoundError:
        return False
    files.require_regular(path, found)  # SQLite itself checks which database it belongs to
    return True


def _names_of_ours(path: Path, found: os.stat_result) -> int:
    """Return how many of the file's names are its own or ones that a crash left."""
    count = 0
    for name in os.listdir(path.parent):
        if name == path.name or copies.is_name_of_ours(path, name):
            with suppress(FileNotFoundError):
                count += os.path.samestat(os.lstat(path.with_name(name)), found)
    return count


def _has_signs_beside(path: Path) -> bool:
    with suppress(NotOursError, FileNotFoundError):
        found = files.read_own(copies.lock_path(path), len(copies.LOCK_CONTENT))
        if found is not None and found[0] == copies.LOCK_CONTENT:
            return True
    for copy in copies.daily_copies(path).values():
        with suppress(NotOursError):
            if files.stat_own(copy) is not None:
                return True
    return False


def _origin(path: Path) -> _Origin:
    """Return which program a file is from, by its content; unknown if it cannot be read."""
    # By SQLite and not by reading the header: to close a file frees the locks that this process
    # has on it, and SQLite knows which it has. "immutable": no lock, no -wal, nothing written.
    with suppress(sqlite3.Error, UnicodeDecodeError):
        address = f"file:{quote(str(path))}?mode=ro&immutable=1"
        with closing(sqlite3.connect(address, uri=True)) as db:
            if is_marked_ours(db):
                return _Origin.OURS
            if is_foreign(db):
                return _Origin.ANOTHERS
    return _Origin.UNKNOWN


def refuse_place(path: Path) -> None:
    """Raise ConfigError for a path at which no ledger can be, or whose file is not ours."""
    if os.path.isdir(path):  # and not path.is_dir, which may raise
        msg = f"ledger {path}: is a folder; name a file in it, such as {path / 'ledger.sqlite3'}"
        raise ConfigError([msg])
    for folder in path.parents:
        if os.path.exists(folder):
            if not os.path.isdir(folder):
                msg = f"ledger {path}: {folder} is a file, not a folder"
                raise ConfigError([msg])
            break
    try:
        with suppress(OSError):  # what cannot be looked at now may be there later
            own_file(path)
    except NotOursError as error:
        raise ConfigError([str(error)]) from error
