"""The first run: a few questions on a terminal, and a collection that passes `check`.

Every answer is checked when it is given; nothing is written before the last.
"""

import json
import os
import shlex
from contextlib import suppress
from pathlib import Path

import click

from sillward import files
from sillward.config.collection_file import MAX_COLLECTION_BYTES, is_collection
from sillward.config.json_schema import ID, collection_schema
from sillward.config.loader import load_household
from sillward.errors import NotOursError
from sillward.forecast.geocoding import Atlas
from sillward.setup.collection_text import SCHEMA_FILE, collection_text
from sillward.setup.plant_questions import ask_plants
from sillward.setup.prompts import ask
from sillward.setup.site_questions import ask_site
from sillward.setup.spot_questions import ask_spots

_INTRODUCTION = """\
This writes a collection: your place, your spots, your plants. Enter takes what stands in
[brackets]. Ctrl-C stops, and then nothing is written. All of it can be changed in the file later.
"""


def ask_and_write(path: Path, atlas: Atlas, *, force: bool = False) -> Path:
    """Ask, write the file and the schema next to it, and return where the file is.

    force: an existing collection may be replaced. Raise click.Abort when the answers end early;
    then nothing has been written.
    """
    click.echo(_INTRODUCTION)
    path = _writable_path(path, force=force)
    site = ask_site(atlas)
    spots = ask_spots()
    text = collection_text(site, spots, ask_plants(spots))
    while True:
        try:
            write(path, text, force=force)
        except FileExistsError:
            path = _writable_path(path, force=force)
        except (OSError, NotOursError) as error:
            reason = error.strerror if isinstance(error, OSError) else None
            click.echo(f"{path}: cannot be written: {reason or error}")
            path = _writable_path(ask("Another file", _read_path), force=force)
        else:
            return path


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


def _read_path(text: str) -> Path:
    if not text:
        msg = "write the name of a file"
        raise ValueError(msg)
    try:
        return Path(text).expanduser()
    except RuntimeError as error:
        raise ValueError(str(error)) from None


def _writable_path(path: Path, *, force: bool) -> Path:
    """Return the path, or another that the grower names, at which a file can be written."""
    while (wrong := _refusal(path, force=force)) is not None:
        click.echo(f"{path}: {wrong}")
        path = ask("Another file", _read_path)
    return path


def _refusal(path: Path, *, force: bool) -> str | None:
    """Return why a collection cannot be written there; None if it can."""
    try:
        if path.is_dir():
            return "is a folder"
        if os.path.lexists(path) and not force:
            return "is there already, and is not overwritten (--force would, if it is a collection)"
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


def next_steps(path: Path, usual: Path) -> str:
    """Return what to do with the new collection.

    usual: the path that commands take by default.
    """
    option = "" if path == usual else f" --collection {shlex.quote(str(path))}"
    return f"""\
Next:
  sillward check{option}
      every limit and where it comes from, and what your spots leave open
  a channel: take the # away at the end of the file, and put its URL into SILLWARD_CHANNELS__PHONE
  sillward run{option}
      the daemon, which tells you in time"""
