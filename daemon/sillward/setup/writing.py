"""Writing what a first run made: the collection, its schema, and the credential of a channel.

Nothing that is there is overwritten, but a collection where that is asked for.
"""

import json
import os
from contextlib import suppress
from pathlib import Path

from pydantic import SecretStr

from sillward import files
from sillward.config.collection_file import MAX_COLLECTION_BYTES, is_collection
from sillward.config.json_schema import ID, collection_schema
from sillward.config.loader import load_household
from sillward.errors import NotOursError
from sillward.setup.collection_text import SCHEMA_FILE


def write(path: Path, text: str, *, force: bool = False) -> None:
    """Write a collection that passes the check, readable by its owner alone, or nothing at all.

    force: it may replace another collection. Raise FileExistsError if the file is there (unless
    force), NotOursError if it is not a collection of this user's, OSError if it cannot be written.
    """
    files.make_folder(path.parent)
    file, is_new = path, True
    if force:
        place = files.destination(path, is_collection, MAX_COLLECTION_BYTES)
        file, is_new = place.file, place.mode is None
    files.write(file, text.encode(), exclusive=is_new, before_rename=load_household)
    _write_schema(path.parent / SCHEMA_FILE)


def _write_schema(path: Path) -> None:
    """Write the schema of this version, unless a file of this name is not our schema."""
    # An editor can do without it; a collection must not fail because of it.
    with suppress(OSError, NotOursError):
        place = files.destination(path, lambda head: ID.encode() in head, MAX_COLLECTION_BYTES)
        text = json.dumps(collection_schema(), ensure_ascii=False, indent=2)
        files.write_to(place, f"{text}\n".encode())


def refusal(path: Path, *, force: bool) -> str | None:
    """Return why a collection cannot be written there; None if it can."""
    try:
        if path.is_dir():
            return "is a folder"
        if os.path.lexists(path) and not force:
            return "already exists and is not overwritten (--force replaces a collection)"
        if force:
            files.destination(path, is_collection, MAX_COLLECTION_BYTES)
        folder = next(parent for parent in path.absolute().parents if parent.exists())
        if not folder.is_dir() or not os.access(folder, os.W_OK | os.X_OK):
            return f"cannot be written: {folder} is not a folder that you can write to"
    except NotOursError as error:
        return str(error).removeprefix(f"{path}: ")
    except (OSError, ValueError) as error:
        return f"cannot be written: {getattr(error, 'strerror', None) or error}"
    return None


def write_credential(path: Path, secret: SecretStr) -> None:
    """Write a secret into a new file that its owner alone can read.

    Raise FileExistsError if anything is there, OSError if it cannot be written.
    """
    files.make_folder(path.parent)
    files.write(path, f"{secret.get_secret_value()}\n".encode(), exclusive=True)


def can_write_into(folder: Path) -> bool:
    """Whether files can be made in a folder, which may have to be made first."""
    try:
        there = next(parent for parent in (folder, *folder.parents) if parent.exists())
        return there.is_dir() and os.access(there, os.W_OK | os.X_OK)
    except (OSError, StopIteration):
        return False
