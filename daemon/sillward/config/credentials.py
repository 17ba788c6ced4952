"""The credentials folder: secrets in files, as a service manager hands them over."""

import os
import string
import unicodedata
from collections.abc import Sequence
from pathlib import Path

from pydantic import SecretStr

from sillward import files

MAX_CREDENTIAL_BYTES = 100_000
"""Of a file with a secret. Judgement: a URL has a few hundred."""

MAX_FILE_NAME = 255
"""Bytes of a file's name: NAME_MAX of Linux and most file systems."""

_CHANNEL = "channel-"

_PASSPHRASE = "page-passphrase"

_PLAIN = frozenset(f"{string.ascii_letters}{string.digits}-".encode())
"""What stays as it is in the name of a credential: systemd takes names in ASCII alone, without ":".
"""


def read_credential(folder: Path | None, name: str) -> SecretStr | None:
    """Return a secret from the folder; None if there is none, or it cannot be read."""
    if folder is None:
        return None
    try:
        text = files.read(folder / name, MAX_CREDENTIAL_BYTES).decode("utf-8").strip()
    except (OSError, UnicodeDecodeError):
        return None
    return SecretStr(text) if text else None


def channel_file(name: str) -> str:
    """Return the name of the credential with the URL of a channel."""
    return f"{_CHANNEL}{name}"


def read_channel_urls(folder: Path | None) -> dict[str, SecretStr]:
    """Return the URLs of the channels that have a file in the folder, by channel name."""
    try:
        names = [] if folder is None else [path.name for path in folder.iterdir()]
    except OSError:
        return {}
    urls = {name: read_credential(folder, name) for name in names if name.startswith(_CHANNEL)}
    return {name.removeprefix(_CHANNEL): url for name, url in urls.items() if url is not None}


def folded_name(name: str) -> str:
    """Return a person's name as it is compared: phones write accents and capitals as they like."""
    return unicodedata.normalize("NFC", " ".join(name.split())).casefold()


def passphrase_file(person: str | None) -> str:
    """Return the name of the credential with a person's passphrase; None for that of all.

    Whatever is not a letter or digit of ASCII is written in hexadecimal: `Inés` is `In=C3=A9s`.
    """
    if person is None:
        return _PASSPHRASE
    name = unicodedata.normalize("NFC", person).encode()
    escaped = "".join(chr(byte) if byte in _PLAIN else f"={byte:02X}" for byte in name)
    return f"{_PASSPHRASE}-{escaped}"


def has_passphrase(folder: Path | None, person: str | None) -> bool:
    """Whether there is such a credential, even if it cannot be read or looked at."""
    if folder is None:
        return False
    try:
        os.lstat(folder / passphrase_file(person))
    except FileNotFoundError:
        return False
    except OSError:
        return True
    return True


def those_with_passphrase(folder: Path | None, people: Sequence[str]) -> list[str | None]:
    """Return who of a household has a passphrase; [None] if there is one for all.

    people: the names of those who sign in; none for one passphrase for all.
    """
    return [person for person in people or (None,) if has_passphrase(folder, person)]
