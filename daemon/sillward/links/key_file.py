"""The key that signs links and sessions: made at first need, kept where secrets are kept.

A new key makes every link and every session from before invalid; to delete the file is enough.
"""

import re
import secrets
from pathlib import Path

from sillward import files
from sillward.config.credentials import read_credential
from sillward.config.made_secret import kept_or_made, places
from sillward.errors import ConfigError, NotOursError

NAME = "page-key"
"""The file of the key, in the credentials folder or beside the ledger."""

KEY_BYTES = 32
"""Length of a new key: that of the hash it is used with (HMAC-SHA256, RFC 2104, section 3)."""

MIN_CHARACTERS = 32
"""A key that somebody wrote must not be shorter. Judgement: 128 bits in hexadecimal digits."""


def page_key(credentials: Path | None, ledger: Path) -> bytes:
    """Return the key: that of the credentials folder, else the one beside the ledger, else a new
    one.

    A new one goes into the credentials folder, or beside the ledger if that cannot be written, as
    under systemd. Raise ConfigError if no key can be kept: links would be worth nothing after a
    restart.
    """
    return _checked(*kept_or_made(NAME, credentials, ledger, _new))


def replace_page_key(credentials: Path | None, ledger: Path) -> Path:
    """Put a new key in the place of the one that is in force; return its file.

    Raise ConfigError if that cannot be done: only a key that was made here is replaced.
    """
    page_key(credentials, ledger)  # there is one from here on, in the first folder that has one
    folders = places(credentials, ledger)
    path = next(folder / NAME for folder in folders if read_credential(folder, NAME) is not None)
    try:
        files.write_to(files.destination(path, _is_ours, 2 * len(_new())), _new())
    except NotOursError:
        msg = f"{path}: this key was not made by sillward; write another one there yourself"
        raise ConfigError([msg]) from None
    except OSError as error:
        msg = f"{path}: {error.strerror}; put a new key where this one comes from"
        raise ConfigError([msg]) from None
    return path


def _new() -> bytes:
    return f"{secrets.token_hex(KEY_BYTES)}\n".encode()


def _is_ours(content: bytes) -> bool:
    return re.fullmatch(rb"[0-9a-f]{%d}\n" % (2 * KEY_BYTES), content) is not None


def _checked(key: str, path: Path) -> bytes:
    if len(key) < MIN_CHARACTERS:
        msg = (
            f"{path}: the key is shorter than {MIN_CHARACTERS} characters; delete it for a new one"
        )
        raise ConfigError([msg])
    return key.encode()
