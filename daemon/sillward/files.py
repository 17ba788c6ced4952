"""Files on disk: how the grower's are read, what counts as ours, how ours are written.

A setting may name anything: the file of another program, a pipe, a device, a link. What is not
ours is never moved, written over, deleted or given another mode, whoever runs this: root may do
all of it, and so root is held to the same.
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

PRIVATE = 0o600
"""Mode of a new file: what we write says who is at home, and when."""

_KINDS = {
    stat.S_IFDIR: "a folder",
    stat.S_IFIFO: "a pipe",
    stat.S_IFSOCK: "a socket",
    stat.S_IFCHR: "a device",
    stat.S_IFBLK: "a device",
    stat.S_IFLNK: "a link that leads nowhere",
}

_READ = os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC | os.O_NOCTTY
_NEW = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC


def _kind(found: os.stat_result) -> str | None:
    """What something is that is not an ordinary file, in words; None for a file."""
    if stat.S_ISREG(found.st_mode):
        return None
    return _KINDS.get(stat.S_IFMT(found.st_mode), "not an ordinary file")


def read(path: Path, most: int) -> bytes:
    """The content of a file that is not ours to write, such as the grower's.

    Links are followed. Raise OSError, its `strerror` in plain words, for what is not an ordinary
    file (a pipe would be waited for, and to open some devices does something) or holds more than
    `most` bytes.
    """
    _refuse_to_read(os.stat(path))
    file = os.open(path, _READ)
    with os.fdopen(file, "rb") as stream:
        _refuse_to_read(os.fstat(file))
        body = stream.read(most + 1)
    if len(body) > most:
        msg = f"it is larger than {in_bytes(most)}"
        raise OSError(errno.EFBIG, msg)
    return body


def in_bytes(number: int) -> str:
    """A number of bytes in words: "100 kB", "4 MB"."""
    return f"{number // 1_000_000} MB" if number >= 1_000_000 else f"{number // 1000} kB"


def _refuse_to_read(found: os.stat_result) -> None:
    kind = _kind(found)
    if kind is not None:
        msg = f"it is {kind}, not a file"
        raise OSError(errno.EISDIR if stat.S_ISDIR(found.st_mode) else errno.EINVAL, msg)


# -- ours, or not


def behind(path: Path) -> Path:
    """The file that a path leads to: links are followed, for a link to a file of ours may be meant.

    What the link leads to is then held to what is asked of any file. Raise NotOursError for a link
    that leads nowhere: a file would appear where nobody named one.
    """
    file = Path(os.path.realpath(path))
    if os.path.islink(path) and not os.path.lexists(file):
        msg = f"{path}: is a link that leads nowhere ({file})"
        raise NotOursError(msg)
    return file


def require_file(path: Path, found: os.stat_result) -> None:
    """Raise NotOursError for what is not an ordinary file."""
    kind = _kind(found)
    if kind is not None:
        msg = f"{path}: is {kind}; name a file"
        raise NotOursError(msg)


def require_plain(path: Path, found: os.stat_result) -> None:
    """Raise NotOursError for what is not an ordinary file, or belongs to another user."""
    require_file(path, found)
    if found.st_uid != os.geteuid():
        msg = f"{path}: belongs to another user; it is left as it is"
        raise NotOursError(msg)


def state_of(path: Path) -> os.stat_result | None:
    """What is known of an ordinary file of this user's; None if there is nothing at the path.

    Links are not followed. Raise NotOursError for anything else, OSError.
    """
    try:
        found = os.lstat(path)
    except FileNotFoundError:
        return None
    require_plain(path, found)
    return found


def open_plain(path: Path) -> int:
    """A descriptor, for reading, of an ordinary file of this user's. Raise NotOursError, OSError.

    What the path says is looked at before (to open some devices does something), what was opened
    after: it may have changed in between.
    """
    require_plain(path, os.lstat(path))
    file = os.open(path, _READ | os.O_NOFOLLOW)
    try:
        require_plain(path, os.fstat(file))
    except BaseException:
        os.close(file)
        raise
    return file


def content_of(path: Path, most: int = -1) -> tuple[bytes, int] | None:
    """The first `most` bytes of an ordinary file of this user's, and its mode; None for no file.

    Raise NotOursError, OSError.
    """
    try:
        file = open_plain(path)
    except FileNotFoundError:
        return None
    with os.fdopen(file, "rb") as stream:
        return stream.read(most), stat.S_IMODE(os.fstat(file).st_mode)


class Place(NamedTuple):
    """Where a file of ours goes."""

    file: Path
    """With links followed."""
    held: bytes
    """The beginning of what is there."""
    mode: int | None
    """Of what is there; None if nothing is."""


def place_for(path: Path, is_ours: Callable[[bytes], bool], most: int) -> Place:
    """A place where nothing is, or what is_ours says of its first `most` bytes is ours.

    Raise NotOursError if it is not, or not an ordinary file of this user's; OSError.
    """
    file = behind(path)
    there = content_of(file, most)
    if there is None:
        return Place(file, b"", None)
    if not is_ours(there[0]):
        msg = f"{path}: holds something else; name another file, or remove it"
        raise NotOursError(msg)
    return Place(file, *there)


# -- writing


def draft(path: Path, data: bytes, *, mode: int = PRIVATE, name: Path | None = None) -> Path:
    """What is to become a file, beside it, whole and synced. Raise OSError; then there is none.

    name: where, for a draft that has to be found again after a crash; what a crash left there is
    taken away. Else a name that nobody has.
    """
    token = f".{path.name[:40]}.{secrets.token_hex(6)}.sillward-draft"
    written = path.with_name(token) if name is None else name
    if name is not None and state_of(name) is not None:
        name.unlink()
    file = os.open(written, _NEW, PRIVATE)
    try:
        with os.fdopen(file, "wb") as stream:
            stream.write(data)
            stream.flush()
            if mode != PRIVATE:
                os.fchmod(file, mode)
            os.fsync(file)
    except OSError:
        with suppress(OSError):
            written.unlink(missing_ok=True)
        raise
    return written


def settle(written: Path, path: Path, *, fresh: bool) -> None:
    """Give a draft its name for good; on an error it is gone.

    fresh: nothing may be there already. Raise FileExistsError then, OSError.
    """
    try:
        if fresh:
            _give_free_name(written, path)
        else:
            written.replace(path)
    finally:
        written.unlink(missing_ok=True)
    sync_folder(path.parent)


def _give_free_name(written: Path, path: Path) -> None:
    try:
        os.link(written, path)  # a rename would take the place of what came meanwhile
    except FileExistsError:
        raise
    except OSError:  # a file system without links
        os.close(os.open(path, _NEW, PRIVATE))
        try:
            written.replace(path)
        except BaseException:
            path.unlink(missing_ok=True)
            raise


def put(path: Path, data: bytes, *, mode: int = PRIVATE, fresh: bool = False) -> None:
    """Write a file whole or not at all. fresh: see `settle`. Raise OSError.

    Whether what is there may be written over is for the caller to know.
    """
    settle(draft(path, data, mode=mode), path, fresh=fresh)


def fill(place: Place, data: bytes, *, mode: int | None = None) -> None:
    """Put a file at its place, as `put` does; what was there keeps its mode.

    A new file has the mode given, or the one that this user's files have. Raise OSError.
    """
    if place.mode is not None:
        mode = place.mode
    elif mode is None:
        mode = usual_mode()
    put(place.file, data, mode=mode, fresh=place.mode is None)


def usual_mode() -> int:
    """The mode that this user's files have, for a file that they asked for."""
    mask = os.umask(0o077)
    os.umask(mask)
    return 0o666 & ~mask


def sync_folder(folder: Path) -> None:
    """Make new names in a folder last. Raise OSError."""
    file = os.open(folder, os.O_RDONLY | os.O_CLOEXEC)
    try:
        os.fsync(file)
    finally:
        os.close(file)


def make_folder(folder: Path) -> None:
    """Make a folder, for its owner only, and those above it that are not there. Raise OSError."""
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
