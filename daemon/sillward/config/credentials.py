"""The credentials folder: secrets in files, as a service manager hands them over."""

from pathlib import Path

from pydantic import SecretStr

from sillward import files

MAX_CREDENTIAL_BYTES = 100_000
"""Of a file with a secret. Judgement: a URL has a few hundred."""

_CHANNEL = "channel-"


def read_credential(folder: Path | None, name: str) -> SecretStr | None:
    """Return a secret from the folder; None if there is none, or it cannot be read."""
    if folder is None:
        return None
    try:
        text = files.read(folder / name, MAX_CREDENTIAL_BYTES).decode("utf-8").strip()
    except (OSError, UnicodeDecodeError):
        return None
    return SecretStr(text) if text else None


def read_channel_urls(folder: Path | None) -> dict[str, SecretStr]:
    """Return the URLs of the channels that have a file in the folder, by channel name."""
    try:
        names = [] if folder is None else [path.name for path in folder.iterdir()]
    except OSError:
        return {}
    urls = {name: read_credential(folder, name) for name in names if name.startswith(_CHANNEL)}
    return {name.removeprefix(_CHANNEL): url for name, url in urls.items() if url is not None}
