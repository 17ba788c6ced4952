"""Whom `sillward stopped` can tell, when settings, collection or ledger may be broken.

It is read directly from the environment and the credentials folder. A wrong setting is a likely
reason for a stop of the service, so nothing is refused here: what cannot be read is left out, and a
wrong address fails when it is used.
"""

import json
import os
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from pydantic import SecretStr

from sillward.config.credentials import read_channel_urls, read_credential
from sillward.config.settings import PREFIX


@dataclass(frozen=True, slots=True)
class StoppedNoticeSettings:
    """The addresses that can be told that the service has stopped."""

    channels: Mapping[str, SecretStr]
    """URLs by channel name: only that of the last word if there is one, else all."""
    trouble_url: SecretStr | None
    """The heartbeat's, not validated."""


def read_stopped_notice_settings(
    environment: Mapping[str, str] = os.environ,
) -> StoppedNoticeSettings:
    """Read the addresses that can be told that the service has stopped."""
    given = {
        name.upper().removeprefix(PREFIX): text.strip()
        for name, text in environment.items()
        if name.upper().startswith(PREFIX) and text.strip()
    }
    folder = _folder(given.get("CREDENTIALS") or environment.get("CREDENTIALS_DIRECTORY"))

    def secret(variable: str, file: str) -> SecretStr | None:
        return SecretStr(given[variable]) if variable in given else read_credential(folder, file)

    trouble_url = secret("HEARTBEAT__TROUBLE_URL", "heartbeat-trouble-url")
    last_word = secret("LAST_WORD", "last-word")
    if last_word is not None:
        return StoppedNoticeSettings({"last-word": last_word}, trouble_url)
    channels = read_channel_urls(folder) | _urls_in(given.get("CHANNELS", ""))
    for variable, text in given.items():
        if variable.startswith("CHANNELS__"):
            channels[variable.removeprefix("CHANNELS__").lower()] = SecretStr(text)
    return StoppedNoticeSettings(dict(sorted(channels.items())), trouble_url)


def _folder(name: str | None) -> Path | None:
    if name is None:
        return None
    # The home of an unknown user stays as it is written: there is no such folder.
    with suppress(RuntimeError):
        return Path(name).expanduser()
    return Path(name)


def _urls_in(text: str) -> dict[str, SecretStr]:
    """Return the channel URLs in a JSON object; what is not one is left out."""
    try:
        urls = json.loads(text)
    except (ValueError, RecursionError):
        return {}
    pairs = urls.items() if isinstance(urls, dict) else ()
    return {name: SecretStr(url) for name, url in pairs if isinstance(url, str)}
