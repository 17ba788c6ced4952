"""Secrets that are made at first need, and kept where secrets are kept."""

import logging
import os
import time
from collections.abc import Callable
from pathlib import Path

from sillward import files
from sillward.config.credentials import read_credential
from sillward.errors import ConfigError, NotOursError

TRIES, PAUSE_S = 5, 0.1
"""How often a secret is read that is there, and how long apart [s]. Judgement: on a file system
without hard links the file is empty while another process writes it."""

log = logging.getLogger(__name__)


def places(credentials: Path | None, ledger: Path) -> list[Path]:
    """Return where a secret may be: the credentials folder, then beside the ledger."""
    return [folder for folder in (credentials, ledger.parent) if folder is not None]


def kept_or_made(
    name: str, credentials: Path | None, ledger: Path, make: Callable[[], bytes]
) -> tuple[str, Path]:
    """Return a secret and its file: the one that is kept, else a new one.

    A new one goes into the credentials folder, or beside the ledger if that cannot be written, as
    under systemd. If two processes make one at once, both return that of the quicker one. Raise
    ConfigError if none can be kept, or if there is one that cannot be read.
    """
    paths = [folder / name for folder in places(credentials, ledger)]
    for path in paths:
        kept = _kept(path)
        if kept is not None:
            return kept, path
    made = make()
    for path in paths:
        try:
            files.make_folder(path.parent)
            files.write(path, made, exclusive=True)
        except (OSError, NotOursError) as error:
            kept = _kept(path)  # another process may have made one since
            if kept is not None:
                return kept, path
            log.info("secret.not_written path=%s reason=%s", path, error)
        else:
            return made.decode().strip(), path
    msg = f"{paths[-1]}: the key cannot be written"
    raise ConfigError([msg])


def _kept(path: Path) -> str | None:
    """Return the secret in a file; None if there is no file. Raise ConfigError if it cannot be
    read: with another secret in another place, no two processes would agree."""
    for _ in range(TRIES):
        known = read_credential(path.parent, path.name)
        if known is not None:
            return known.get_secret_value()
        if not os.path.lexists(path):
            return None
        time.sleep(PAUSE_S)
    msg = f"{path}: this key is empty or cannot be read; delete it for a new one"
    raise ConfigError([msg])
