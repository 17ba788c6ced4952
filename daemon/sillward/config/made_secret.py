"""Secrets that are made at first need, and kept where secrets are kept."""

import logging
from collections.abc import Callable
from pathlib import Path

from sillward import files
from sillward.config.credentials import read_credential
from sillward.errors import ConfigError, NotOursError

log = logging.getLogger(__name__)


def places(credentials: Path | None, ledger: Path) -> list[Path]:
    """Return where a secret may be: the credentials folder, then beside the ledger."""
    return [folder for folder in (credentials, ledger.parent) if folder is not None]


def kept_or_made(
    name: str, credentials: Path | None, ledger: Path, make: Callable[[], bytes]
) -> tuple[str, Path]:
    """Return a secret and its file: the one that is kept, else a new one.

    A new one goes into the credentials folder, or beside the ledger if that cannot be written, as
    under systemd. Raise ConfigError if none can be kept.
    """
    folders = places(credentials, ledger)
    for folder in folders:
        known = read_credential(folder, name)
        if known is not None:
            return known.get_secret_value(), folder / name
    made = make()
    for folder in folders:
        try:
            files.make_folder(folder)
            files.write(folder / name, made, exclusive=True)
        except (OSError, NotOursError) as error:
            log.info("secret.not_written name=%s folder=%s reason=%s", name, folder, error)
        else:
            return made.decode().strip(), folder / name
    msg = f"{ledger.parent / name}: the key cannot be written"
    raise ConfigError([msg])
