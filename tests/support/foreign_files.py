"""Foreign files: what may lie where the program is to write a file of its own."""

import os
import socket
import sqlite3
import stat
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

ForeignFile = Callable[[Path], None]

Seen = dict[str, tuple[object, ...]]


def holding(content: bytes, mode: int = 0o644) -> ForeignFile:
    def make(path: Path) -> None:
        path.write_bytes(content)
        path.chmod(mode)

    return make


def database(*statements: str) -> ForeignFile:
    def make(path: Path) -> None:
        with closing(sqlite3.connect(path)) as db, db:
            for statement in statements:
                db.execute(statement)

    return make


def a_socket(path: Path) -> None:
    here = Path.cwd()
    os.chdir(path.parent)  # a name may be longer than a socket's address
    try:
        with socket.socket(socket.AF_UNIX) as one:
            one.bind(path.name)
    finally:
        os.chdir(here)


def link_to(make: ForeignFile | None) -> ForeignFile:
    """A link to something in another folder, or to nothing."""

    def link(path: Path) -> None:
        elsewhere = path.parent / "elsewhere"
        elsewhere.mkdir()
        if make is not None:
            make(elsewhere / "theirs")
        path.symlink_to(elsewhere / "theirs")

    return link


def second_name(path: Path) -> None:
    other = path.with_name("theirs")
    other.write_bytes(b"under another name\n")
    os.link(other, path)


TEXT = b"root:x:0:0:root:/root:/bin/sh\n" * 40

FOREIGN_FILES: dict[str, ForeignFile] = {
    "text": holding(TEXT),
    "a short text": holding(b"x", 0o444),
    "bytes": holding(bytes(range(256)) * 30, 0o755),
    "zeros": holding(bytes(5000)),
    "the beginning of a database": holding(b"SQLite format 3\0" + bytes(3000)),
    "another's database": database("CREATE TABLE event (id TEXT)", "CREATE TABLE mark (id TEXT)"),
    "another's application id": database("PRAGMA application_id = 1196444487"),
    "a folder": Path.mkdir,
    "a pipe": os.mkfifo,
    "a socket": a_socket,
    "a link to a text": link_to(holding(TEXT)),
    "a link to a pipe": link_to(os.mkfifo),
    "a link to a folder": link_to(Path.mkdir),
    "a link to nothing": link_to(None),
    "a link to itself": lambda path: path.symlink_to(path),
    "a second name of a text": second_name,
}
"""Beside an empty file, which some that are asked for a place may fill."""


def seen(folder: Path) -> Seen:
    """All that a folder holds: kind, mode, owner, inode, names, size, time and content."""
    found: Seen = {}
    for path in sorted(folder.rglob("*")):
        known = path.lstat()
        content = path.read_bytes() if stat.S_ISREG(known.st_mode) else b""
        found[str(path.relative_to(folder))] = (
            known.st_mode, known.st_uid, known.st_ino, known.st_nlink, known.st_size,
            known.st_mtime_ns, content,
        )  # fmt: skip
    return found
