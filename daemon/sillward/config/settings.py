"""Settings from the environment.

An option on the command line beats the environment, and that beats the default.
"""

import json
import os
import re
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal, Protocol, Self

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    SecretStr,
    ValidationError,
    model_validator,
)
from pydantic_settings import BaseSettings, SettingsConfigDict

from sillward import files
from sillward.errors import ConfigError
from sillward.forecast import ensemble, geocoding, sources

PREFIX = "SILLWARD_"

MAX_CREDENTIAL_BYTES = 100_000
"""Of a file with a secret. Judgement: a URL has a few hundred."""


def _web_address(text: str) -> str:
    if not re.match(r"https?://[^\s/]+", text):
        msg = "must start with http:// or https:// and name a server"
        raise ValueError(msg)
    return text


def _source_list(text: str) -> str:
    names = [name.strip() for name in text.split(",")]
    for name in names:
        if name not in sources.known():
            known = ", ".join(sources.known())
            msg = f"must name sources of forecasts, with commas between (known: {known})"
            raise ValueError(msg)
    if len(set(names)) < len(names):
        msg = "names a source twice"
        raise ValueError(msg)
    return ",".join(names)


WebAddress = Annotated[str, AfterValidator(_web_address)]


class ForecastSettings(BaseModel):
    """Where forecasts come from."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    source: Annotated[str, AfterValidator(_source_list)] = "open-meteo"
    """One source, or several with commas between: the next is asked when those before it fail."""
    base_url: WebAddress | None = None
    """Another server for the first source."""
    base_urls: dict[str, WebAddress] = {}
    """Another server for any of them, by its name; open-meteo-ensemble for the members,
    open-meteo-geocoding for the names of places."""
    api_key: SecretStr | None = None
    """Open-Meteo's. Also from a credential file named forecast-api-key."""
    contact: str | None = None
    """A mail address or web page by which a provider can reach the person who runs this."""
    second_opinion: Annotated[float, Field(ge=0.5, le=10)] | None = None
    """Ask a second source too; where the two are further apart [K], the colder counts."""
    ensemble: bool = True
    """Whether to ask Open-Meteo for the members of an ensemble, twice a day."""

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        servers = {*sources.known(), ensemble.KEY, geocoding.KEY}
        for name in self.base_urls:
            if name.replace("_", "-") not in servers:
                known = ", ".join(sorted(servers))
                msg = f"base_urls: does not name a source of forecasts (known: {known})"
                raise ValueError(msg)
        if self.second_opinion is not None and len(self.sources) < 2:
            msg = 'second_opinion needs two sources, such as source "open-meteo,met-norway"'
            raise ValueError(msg)
        return self

    @property
    def sources(self) -> tuple[str, ...]:
        """The names of the sources, in the order in which they are asked."""
        return tuple(self.source.split(","))

    def server(self, name: str) -> str | None:
        """Return another server for a source; None for the provider's own."""
        given = {source.replace("_", "-"): url for source, url in self.base_urls.items()}
        return given.get(name, self.base_url if name == self.sources[0] else None)


def _secret_address(secret: SecretStr) -> SecretStr:
    _web_address(secret.get_secret_value())
    return secret


SecretAddress = Annotated[SecretStr, AfterValidator(_secret_address)]


class HeartbeatSettings(BaseModel):
    """Web addresses that tell a monitor outside that the service still runs."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    url: SecretAddress | None = None
    """Called after good work. Also from a credential file named heartbeat-url."""
    trouble_url: SecretAddress | None = None
    """Called instead while there is trouble; without it silence is the signal. Also from a
    credential file named heartbeat-trouble-url."""
    every: Annotated[float, Field(ge=1, le=1440)] = 15
    """Minutes between calls. Judgement: three missed ones are still within the hour."""


class Settings(BaseSettings):
    """All settings. `SILLWARD_FORECAST__BASE_URL` sets forecast.base_url, and so on."""

    model_config = SettingsConfigDict(
        env_prefix=PREFIX,
        env_nested_delimiter="__",
        extra="forbid",
        frozen=True,
        hide_input_in_errors=True,
    )

    collection: Path = Path("~/.config/sillward/collection.toml")
    ledger: Path = Field(
        default_factory=lambda: (
            Path(os.environ.get("STATE_DIRECTORY", "~/.local/state/sillward")) / "ledger.sqlite3"
        )
    )
    forecast: ForecastSettings = ForecastSettings()
    channels: dict[str, SecretStr] = {}
    """Channel URLs by channel name, for channels whose collection entry gives none."""
    heartbeat: HeartbeatSettings = HeartbeatSettings()
    last_word: SecretStr | None = None
    """The channel URL that is told when the service has stopped, in place of all others. Also from
    a credential file named last-word."""
    credentials: Path | None = Field(
        default_factory=lambda: (
            Path(os.environ["CREDENTIALS_DIRECTORY"])
            if "CREDENTIALS_DIRECTORY" in os.environ
            else None
        )
    )
    """Folder with secrets: channel-NAME holds the URL of the channel NAME."""
    calendar: Path | None = None
    """The iCalendar file that `run` keeps up to date; None for none."""
    log_level: Literal["DEBUG", "INFO", "WARNING", "ERROR"] = "INFO"


def load_settings() -> Settings:
    """Read the settings. Raise ConfigError with a line for each wrong one, without its value."""
    try:
        settings = Settings()
    except ValidationError as error:
        raise ConfigError(
            [_in_words(detail) for detail in error.errors(include_url=False, include_input=False)]
        ) from None
    except ValueError as error:  # a value that should have been JSON
        named = [name for name in Settings.model_fields if f'"{name}"' in str(error)]
        variable = f"{PREFIX}{named[0].upper()}" if named else f"{PREFIX}*"
        text = f"{variable}: cannot be read; set its parts one by one, as {variable}__NAME"
        raise ConfigError([text]) from None
    paths = {
        name: _expanded(name, getattr(settings, name))
        for name in ("collection", "ledger", "credentials", "calendar")
        if getattr(settings, name) is not None
    }
    return settings.model_copy(update=paths)


def _in_words(error: Any) -> str:
    variable = "__".join(str(part) for part in error["loc"]).upper()
    text: str = error["msg"]
    text = text.removeprefix("Value error, ")
    return f"{PREFIX}{variable}: {text[:1].lower()}{text[1:]}"


def _expanded(name: str, path: Path) -> Path:
    try:
        return path.expanduser()
    except RuntimeError as error:
        msg = f"{PREFIX}{name.upper()}: {path}: {error}"
        raise ConfigError([msg]) from None


class HasCredentials(Protocol):
    """Settings that may name a folder with secrets."""

    @property
    def credentials(self) -> Path | None:
        """The folder, if there is one."""


def credential(settings: HasCredentials, name: str) -> SecretStr | None:
    """Return a secret from the credentials folder; None if there is none or it is unreadable."""
    if settings.credentials is None:
        return None
    try:
        body = files.read(settings.credentials / name, MAX_CREDENTIAL_BYTES)
        text = body.decode("utf-8").strip()
    except (OSError, UnicodeDecodeError):
        return None
    return SecretStr(text) if text else None


def heartbeat_addresses(settings: Settings) -> tuple[SecretStr | None, SecretStr | None]:
    """Return the addresses to call when all is well and when it is not; None for no call.

    Raise ConfigError for a credential that is not a web address.
    """
    found: list[SecretStr | None] = []
    for name in ("url", "trouble_url"):
        file = f"heartbeat-{name.replace('_', '-')}"
        address = getattr(settings.heartbeat, name) or credential(settings, file)
        try:
            found.append(None if address is None else _secret_address(address))
        except ValueError as error:
            raise ConfigError([f"credential {file}: {error}"]) from None
    return found[0], found[1]


@dataclass(frozen=True, slots=True)
class LastResort:
    """The channels that can be told even if settings, collection or ledger are broken."""

    channels: Mapping[str, SecretStr]
    """URLs by channel name: only that of the last word if there is one, else all."""
    trouble_url: SecretStr | None
    """The heartbeat's, not validated."""


def last_resort(environment: Mapping[str, str] = os.environ) -> LastResort:
    """Read what is needed to report that the service has stopped, directly from the environment.

    A wrong setting is a likely reason for the stop, so nothing is refused here: what cannot be read
    is left out, and a wrong address fails when it is used.
    """
    given = {
        name.upper().removeprefix(PREFIX): text.strip()
        for name, text in environment.items()
        if name.upper().startswith(PREFIX) and text.strip()
    }
    folder = given.get("CREDENTIALS") or environment.get("CREDENTIALS_DIRECTORY")
    store = _CredentialsFolder(folder)

    def secret(variable: str, file: str) -> SecretStr | None:
        return SecretStr(given[variable]) if variable in given else credential(store, file)

    trouble = secret("HEARTBEAT__TROUBLE_URL", "heartbeat-trouble-url")
    if (alone := secret("LAST_WORD", "last-word")) is not None:
        return LastResort({"last-word": alone}, trouble)
    channels = {name: credential(store, f"channel-{name}") for name in store.channels()}
    channels |= _urls_in(given.get("CHANNELS", ""))
    for variable, text in given.items():
        if variable.startswith("CHANNELS__"):
            channels[variable.removeprefix("CHANNELS__").lower()] = SecretStr(text)
    usable = {name: url for name, url in sorted(channels.items()) if url is not None}
    return LastResort(usable, trouble)


def _urls_in(text: str) -> dict[str, SecretStr]:
    """Return the channel URLs in a JSON object; what is not one is left out."""
    try:
        urls = json.loads(text)
    except (ValueError, RecursionError):
        return {}
    pairs = urls.items() if isinstance(urls, dict) else ()
    return {name: SecretStr(url) for name, url in pairs if isinstance(url, str)}


class _CredentialsFolder:
    """A credentials folder that may be missing."""

    def __init__(self, name: str | None) -> None:
        self.credentials = None if name is None else Path(name)
        # The home of an unknown user stays as it is written: there is no such folder.
        with suppress(RuntimeError):
            self.credentials = self.credentials and self.credentials.expanduser()

    def channels(self) -> list[str]:
        """Return the names of the channels that have a file."""
        try:
            names = [path.name for path in self.credentials.iterdir()] if self.credentials else []
        except OSError:
            return []
        return [name.removeprefix("channel-") for name in names if name.startswith("channel-")]


def unknown_variables() -> list[str]:
    """Return environment variables with our prefix that set nothing: mostly typing errors."""
    known = {f"{PREFIX}{name}".upper() for name in Settings.model_fields}
    return sorted(
        name
        for name in os.environ
        if name.upper().startswith(PREFIX) and name.upper().split("__")[0] not in known
    )
