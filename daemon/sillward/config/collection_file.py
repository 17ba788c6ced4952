"""The collection file as a TOML document, and what to say if it is not even that."""

import re
from pathlib import Path
from typing import Any

from sillward import files
from sillward.config import bounded_toml
from sillward.errors import ConfigError
from sillward.text import printable

MAX_COLLECTION_BYTES = 5_000_000
"""Of a collection file. Judgement: some 50,000 plants."""

TABLES = (
    "site", "spots", "defaults", "plants", "rules", "habits", "water", "feed", "feeds", "courses",
    "rounds", "notices", "channels", "page", "mqtt", "sensors",
)  # fmt: skip


def read_document(path: Path) -> tuple[dict[str, Any], str]:
    """Return the file's tables, and its text.

    Raise ConfigError if it cannot be read, or is not TOML in UTF-8.
    """
    data, text = b"", ""
    try:
        data = files.read(path, MAX_COLLECTION_BYTES)
        text = data.decode("utf-8-sig")
        return bounded_toml.parse(text), text
    except OSError as error:
        line = f"{path}: cannot be read: {error.strerror or error}"
    except UnicodeDecodeError as error:
        number = data.count(b"\n", 0, error.start) + 1
        line = f"{path.name}:{number}: {_NOT_UTF_8}"
    except ValueError as error:
        reason = str(error).splitlines()[0]
        line = _no_toml(path.name, text, reason)
    raise ConfigError([line])


def is_collection(data: bytes) -> bool:
    """Whether the content of a file is a collection, valid or not, or nothing at all."""
    try:
        document = bounded_toml.parse(data.decode("utf-8-sig"))
    except ValueError:
        return False
    return not data or ("site" in document and document.keys() <= set(TABLES))


_NOT_UTF_8 = (
    "is not UTF-8 text from here on: open the file in your editor, and save it with the encoding "
    "UTF-8"
)

_USUAL_MISTAKES = (
    (
        r"^\s*\[+[^\]\"']*([^\x00-\x7f]|\w +\w)",
        "a name with a space or a letter beyond a to z needs quotes",
    ),
    (r"[\u201c\u201d\u201e\u2018\u2019]", 'use straight quotes: "'),
    (r"=\s*-?\d+,\d", "write numbers with a point: 0.4"),
    (r"=\s*(?i:yes|no|on|off|true|false)\b", "write true or false, in lower case"),
    (r"=\s*[A-Za-z]", 'text needs quotes: "so"'),
)
"""How such a line looks, and what would be right."""


def _no_toml(file: str, text: str, reason: str) -> str:
    """Return what the parser complains about, and where."""
    match = re.fullmatch(r"(.*) \(at line (\d+)(?:, column \d+)?\)", reason)
    if match is None:
        return f"{file}: is not valid TOML: {reason:.200}"
    number = int(match[2])
    return f"{file}:{number}: is not valid TOML: {match[1]:.200}{_offending_line(text, number)}"


def _offending_line(text: str, number: int) -> str:
    """Return a line, from 1, with the usual mistake in such a line.

    Nothing is shown of a line that may hold a secret.
    """
    lines = text.split("\n")
    if not 0 < number <= len(lines):
        return ""
    line = lines[number - 1]
    if "url" in line.lower() or "password" in line.lower() or ":/" in line:
        return ""
    hint = next((hint for pattern, hint in _USUAL_MISTAKES if re.search(pattern, line)), None)
    return f": {printable.escaped(line.strip()[:80])}" + (f" ({hint})" if hint else "")
