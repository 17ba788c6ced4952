"""Files on disk: reading foreign ones, checking whether a file is ours, writing ours atomically.

A setting may name anything: the file of another program, a pipe, a device, a link. What is not
ours is never moved, overwritten, deleted or given another mode. That holds for root too, to whom
the system would allow all of it.
"""

import errno
import os
import secrets
import stat
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import NamedTuple

from sillward.errors import NotOursError

PRIVATE_MODE = 0o600
"""Mode of a new file. What we write can show when somebody is at home."""

_KINDS = {
    stat.S_IFDIR: "a folder",
    stat.S_IFIFO: "a pipe",
    stat.S_IFSOCK: "a socket",
    stat.S_IFCHR: "a device",
    stat.S_IFBLK: "a device",
    stat.S_IFLNK: "a link that leads nowhere",
}

_READ_FLAGS = os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC | os.O_NOCTTY
_NEW_FILE_FLAGS = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC

# -- reading


def read(path: Path, max_bytes: int) -> bytes:
    """Return the content of a file that is not ours to write, such as the grower's.

    Links are followed. Raise OSError, its `strerror` in plain words, for what is not a regular
    file (a pipe would be waited for, and opening some devices does something) or holds more than
    `max_bytes`.
    """
    _refuse_to_read(os.stat(path))
    file = os.open(path, _READ_FLAGS)
    with os.fdopen(file, "rb") as stream:
        _refuse_to_read(os.fstat(file))
        body = stream.read(max_bytes + 1)
    if len(body) > max_bytes:
        msg = f"it is larger than {size_in_words(max_bytes)}"
        raise OSError(errno.EFBIG, msg)
    return body


def size_in_words(number: int) -> str:
    """Return a number of bytes in words: "100 kB", "4 MB"."""
    return f"{number // 1_000_000} MB" if number >= 1_000_000 else f"{number // 1000} kB"


def _refuse_to_read(found: os.stat_result) -> None:
    kind = _special_kind(found)
    if kind is not None:
        msg = f"it is {kind}, not a file"
        raise OSError(errno.EISDIR if stat.S_ISDIR(found.st_mode) else errno.EINVAL, msg)


def _special_kind(found: os.stat_result) -> str | None:
    """Return in words what something is that is not a regular file; None for a regular file."""
    if stat.S_ISREG(found.st_mode):
        return None
    return _KINDS.get(stat.S_IFMT(found.st_mode), "a special file")


# -- ours, or not


def follow_links(path: Path) -> Path:
    """Return the file that a path leads to: it may be a link to a file of ours.

    The file itself is checked like any other afterwards. Raise NotOursError for a link that leads
    nowhere: writing through it would make a file at a place that nobody named.
    """
    file = Path(os.path.realpath(path))
    if os.path.islink(path) and not os.path.lexists(file):
        msg = f"{path}: is a link that leads nowhere ({file})"
        raise NotOursError(msg)
    return file


def require_regular(path: Path, found: os.stat_result) -> None:
    """Raise NotOursError for what is not a regular file."""
    kind = _special_kind(found)
    if kind is not None:
        msg = f"{path}: is {kind}; name a file"
        raise NotOursError(msg)


def require_own(path: Path, found: os.stat_result) -> None:
    """Raise NotOursError for what is not a regular file, or belongs to another user."""
    require_regular(path, found)
    if found.st_uid != os.geteuid():
        msg = f"{path}: belongs to another user; it is left as it is"
        raise NotOursError(msg)


def stat_own(path: Path) -> os.stat_result | None:
    """Return the status of a regular file of this user's; None if there is nothing at the path.

    Links are not followed. Raise NotOursError for anything else, OSError.
    """
    try:
        found = os.lstat(path)
    except FileNotFoundError:
        return None
    require_own(path, found)
    return found


def open_own(path: Path) -> int:
    """Open a regular file of this user's for reading. Raise NotOursError, OSError.

    The path is examined before (opening some devices does something), and what was opened is
    examined after: it may have changed in between.
    """
    require_own(path, os.lstat(path))
    file = os.open(path, _READ_FLAGS | os.O_NOFOLLOW)
    try:
        require_own(path, os.fstat(file))
    except BaseException:
        os.close(file)
        raise
    return file


def read_own(path: Path, max_bytes: int = -1) -> tuple[bytes, int] | None:
    """Return the first bytes of a regular file of this user's, and its mode; None for no file.

    Raise NotOursError, OSError.
    """
    try:
        file = open_own(path)
    except FileNotFoundError:
        return None
    with os.fdopen(file, "rb") as stream:
        return stream.read(max_bytes), stat.S_IMODE(os.fstat(file).st_mode)


class Destination(NamedTuple):
    """A path at which we may write: nothing is there, or a file of ours."""

    file: Path
    """With links followed."""
    head: bytes
    """The first bytes of the file that is there."""
    mode: int | None
    """The mode of the file that is there; None if there is none."""


def destination(path: Path, is_ours: Callable[[bytes], bool], max_bytes: int) -> Destination:
    """Return a path as a destination if nothing is there, or a file that is ours.

    Raise NotOursError if the file is not ours, or not a regular file of this user's; OSError.

    is_ours: decides by the first `max_bytes` of a file whether it is ours.
    """
    file = follow_links(path)
    found = read_own(file, max_bytes)
    if found is None:
        return Destination(file, b"", None)
    if not is_ours(found[0]):
        msg = f"{path}: holds something else; name another file, or remove it"
        raise NotOursError(msg)
    return Destination(file, *found)


# -- writing


def write(
    path: Path,
    data: bytes,
    *,
    mode: int = PRIVATE_MODE,
    exclusive: bool = False,
    temporary: Path | None = None,
    before_rename: Callable[[Path], object] | None = None,
) -> None:
    """Write a file atomically: whole and on disk, or not at all. Raise OSError.

    The data is written to a temporary file in the same folder, synced, and renamed at the end.
    The caller decides whether an existing file may be replaced.

    exclusive: raise FileExistsError if a file is there by then.
    temporary: the path of the temporary file, if it must be found again after a crash; what a
    crash left there is removed. Otherwise it has a random name.
    before_rename: called with the temporary file when that is complete. If it raises, nothing is
    written. As it may have moved the old file away, a temporary file with a path of its own is
    then kept; any other is removed whenever something fails.
    """
    draft = _write_temporary(path, data, mode, temporary)
    try:
        if before_rename is not None:
            before_rename(draft)
        if exclusive:
            _rename_to_free_name(draft, path)
        else:
            draft.replace(path)
    except BaseException:
        if temporary is None or before_rename is None:
            draft.unlink(missing_ok=True)
        raise
    draft.unlink(missing_ok=True)  # a hard link leaves it
    sync_folder(path.parent)


def _write_temporary(path: Path, data: bytes, mode: int, temporary: Path | None) -> Path:
    """Write and sync the temporary file of a path. Raise OSError; then there is none."""
    if temporary is None:
        name = f".{path.name[:40]}.{secrets.token_hex(6)}.sillward-draft"
        temporary = path.with_name(name)
    elif stat_own(temporary) is not None:
        temporary.unlink()
    file = os.open(temporary, _NEW_FILE_FLAGS, PRIVATE_MODE)
    try:
        with os.fdopen(file, "wb") as stream:
            stream.write(data)
            stream.flush()
            if mode != PRIVATE_MODE:
                os.fchmod(file, mode)
            os.fsync(file)
    except OSError:
        with suppress(OSError):
            temporary.unlink(missing_ok=True)
        raise
    return temporary


def _rename_to_free_name(file: Path, path: Path) -> None:
    """Give a file a name that is free. Raise FileExistsError if it is not, OSError."""
    try:
        os.link(file, path)  # a rename would replace a file that came meanwhile
    except FileExistsError:
        raise
    except OSError:  # a file system without hard links
        os.close(os.open(path, _NEW_FILE_FLAGS, PRIVATE_MODE))
        try:
            file.replace(path)
        except BaseException:
            path.unlink(missing_ok=True)
            raise


def write_to(place: Destination, data: bytes, *, mode: int | None = None) -> None:
    """Write a file to its destination, as `write` does. A file that is there keeps its mode.

    A new file gets the mode given, or the one that this user's files usually have. Raise OSError.
    """
    if place.mode is not None:
        mode = place.mode
    elif mode is None:
        mode = default_mode()
    write(place.file, data, mode=mode, exclusive=place.mode is None)


def default_mode() -> int:
    """Return the mode that this user's files usually have, for a file that they asked for."""
    mask = os.umask(0o077)
    os.umask(mask)
    return 0o666 & ~mask


def sync_folder(folder: Path) -> None:
    """Put new names in a folder on disk. Raise OSError."""
    file = os.open(folder, os.O_RDONLY | os.O_CLOEXEC)
    try:
        os.fsync(file)
    finally:
        os.close(file)


def make_folder(folder: Path) -> None:
    """Make a folder, for its owner only, and its parents if they are missing. Raise OSError."""
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
