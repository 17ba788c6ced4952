"""The tables of a collection file as they are kept for a start at which the file is wrong.

What is kept has no secret: neither the URLs of channels nor comments, in which one may stand. The
URLs are then read from where they are at that time: the environment, a credential, or the file
itself, which may be wrong elsewhere.
"""

import json
import re
import zlib
from collections.abc import Iterator, Mapping
from datetime import date
from pathlib import Path
from typing import Any

from pydantic import SecretStr

from sillward import files
from sillward.config import bounded_toml
from sillward.config.collection_file import MAX_COLLECTION_BYTES

_DATE = "a date"
"""The key under which a date of TOML is written, which JSON has not."""

MAX_JSON_BYTES = 4 * MAX_COLLECTION_BYTES
"""Of what is unpacked. Judgement: JSON writes every key out, and letters as escapes at most."""

_TABLE = re.compile(r"^(?=[ \t]*\[)", re.MULTILINE)
_CHANNEL = re.compile(r"[ \t]*\[\[[ \t]*channels[ \t]*\]\]")


def packed(data: bytes) -> bytes:
    """Return the tables of a collection file with this content, which is valid, without secrets.

    Raise ValueError if it is not TOML in UTF-8.
    """
    tables = bounded_toml.parse(data.decode("utf-8-sig"))
    if "channels" in tables:
        tables["channels"] = [
            {key: value for key, value in channel.items() if key != "url"}
            for channel in tables["channels"]
        ]
    text = json.dumps(tables, ensure_ascii=False, separators=(",", ":"), default=_plain)
    return zlib.compress(text.encode())


def unpacked(data: bytes) -> dict[str, Any]:
    """Return the tables again. Raise ValueError if they are damaged."""
    unzip = zlib.decompressobj()
    try:
        text = unzip.decompress(data, MAX_JSON_BYTES)
        tables = json.loads(text, object_hook=_dated) if unzip.eof else None
    except (zlib.error, RecursionError) as error:
        raise ValueError(str(error)) from None
    if not isinstance(tables, dict):
        msg = "they are cut off, or no tables"
        raise ValueError(msg)
    return tables


def without_other_files(tables: Mapping[str, Any]) -> dict[str, Any]:
    """Return tables that need no file beside the collection: with the usual wording, and without
    sensors, whose broker may need a certificate."""
    less = {key: value for key, value in tables.items() if key not in ("mqtt", "sensors")}
    if "notices" in less:
        notices = less["notices"]
        less["notices"] = {key: notices[key] for key in notices if key != "wording"}
    return less


def read_place(path: Path) -> tuple[float, float] | None:
    """Return latitude and longitude in a file that may be wrong elsewhere; None if they are not
    to be found."""
    for tables in _parts(_text(path), re.compile(r"[ \t]*\[[ \t]*site[ \t]*\]")):
        site = tables.get("site")
        if isinstance(site, Mapping):
            latitude, longitude = site.get("latitude"), site.get("longitude")
            if isinstance(latitude, int | float) and isinstance(longitude, int | float):
                return float(latitude), float(longitude)
    return None


def channel_urls(path: Path) -> dict[str, SecretStr]:
    """Return the URLs of channels in a file that may be wrong elsewhere, by name."""
    urls = {}
    for tables in _parts(_text(path), _CHANNEL):
        channels = tables.get("channels")
        for channel in channels if isinstance(channels, list) else ():
            if isinstance(channel, Mapping):
                name, url = channel.get("name"), channel.get("url")
                if isinstance(name, str) and isinstance(url, str):
                    urls[name] = SecretStr(url)
    return urls


def _text(path: Path) -> str:
    try:
        return files.read(path, MAX_COLLECTION_BYTES).decode("utf-8-sig", errors="replace")
    except OSError:
        return ""


def _parts(text: str, head: re.Pattern[str]) -> Iterator[dict[str, Any]]:
    """Yield the tables of a text: all at once or, where that cannot be, each with such a head."""
    try:
        yield bounded_toml.parse(text)
    except ValueError:
        for part in _TABLE.split(text):
            if head.match(part):
                try:
                    yield bounded_toml.parse(part)
                except ValueError:
                    continue


def _plain(value: object) -> object:
    if type(value) is date:
        return {_DATE: value.isoformat()}
    msg = f"a collection has no value of type {type(value).__name__}"
    raise ValueError(msg)


def _dated(table: dict[str, Any]) -> object:
    """Return a date for the table that stands for one. A spot may have that name, too."""
    text = table.get(_DATE)
    return date.fromisoformat(text) if isinstance(text, str) and len(table) == 1 else table
