"""Settings from the environment. Precedence: option on the command line, environment, default."""

import os
import re
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, SecretStr, ValidationError
from pydantic_settings import BaseSettings, SettingsConfigDict

from sillward.errors import ConfigError

PREFIX = "SILLWARD_"


def _web_address(text: str) -> str:
    if not re.match(r"https?://[^\s/]+", text):
        msg = "must start with http:// or https:// and name a server"
        raise ValueError(msg)
    return text


class ForecastSettings(BaseModel):
    """Where the forecast comes from."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    source: Literal["open-meteo"] = "open-meteo"
    base_url: Annotated[str, AfterValidator(_web_address)] = "https://api.open-meteo.com"
    api_key: SecretStr | None = None
    """Also from a credential file named forecast-api-key."""


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
    credentials: Path | None = Field(
        default_factory=lambda: (
            Path(os.environ["CREDENTIALS_DIRECTORY"])
            if "CREDENTIALS_DIRECTORY" in os.environ
            else None
        )
    )
    """Folder with secrets: channel-NAME holds the URL of the channel NAME."""
    log_level: Literal["DEBUG", "INFO", "WARNING", "ERROR"] = "INFO"


def load_settings() -> Settings:
    """Read the settings. Raise ConfigError with a line for each that is wrong, values unshown."""
    try:
        settings = Settings()
    except ValidationError as error:
        raise ConfigError(
            [_in_words(one) for one in error.errors(include_url=False, include_input=False)]
        ) from None
    except ValueError as error:  # a value that should have been JSON
        named = [name for name in Settings.model_fields if f'"{name}"' in str(error)]
        variable = f"{PREFIX}{named[0].upper()}" if named else f"{PREFIX}*"
        text = f"{variable}: cannot be read; set its parts one by one, as {variable}__NAME"
        raise ConfigError([text]) from None
    paths = {
        name: _expanded(name, getattr(settings, name))
        for name in ("collection", "ledger", "credentials")
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


def credential(settings: Settings, name: str) -> SecretStr | None:
    """A secret from the credentials folder; None if there is none or it cannot be read."""
    if settings.credentials is None:
        return None
    try:
        text = (settings.credentials / name).read_text(encoding="utf-8").strip()
    except (OSError, UnicodeDecodeError):
        return None
    return SecretStr(text) if text else None


def unknown_variables() -> list[str]:
    """Names of environment variables with our prefix that set nothing: typing errors, mostly."""
    known = {f"{PREFIX}{name}".upper() for name in Settings.model_fields}
    return sorted(
        name
        for name in os.environ
        if name.upper().startswith(PREFIX) and name.upper().split("__")[0] not in known
    )
