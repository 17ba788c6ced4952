"""Settings from the environment. Precedence: option on the command line, environment, default."""

import os
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, SecretStr, ValidationError
from pydantic_settings import BaseSettings, SettingsConfigDict

from sillward.errors import ConfigError

PREFIX = "SILLWARD_"


class ForecastSettings(BaseModel):
    """Where the forecast comes from."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    source: Literal["open-meteo"] = "open-meteo"
    base_url: str = Field(default="https://api.open-meteo.com", pattern=r"^https?://[^\s/]+")
    api_key: SecretStr | None = None


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
    """Folder with secrets: a file channel-NAME holds the URL of the channel NAME."""
    log_level: Literal["DEBUG", "INFO", "WARNING", "ERROR"] = "INFO"


def load_settings() -> Settings:
    """Read the settings. Raise ConfigError with a line for each that is wrong, values unshown."""
    try:
        settings = Settings()
    except ValidationError as error:
        lines = [
            f"{PREFIX}{'__'.join(str(part) for part in one['loc']).upper()}: {one['msg'].lower()}"
            for one in error.errors(include_url=False, include_input=False)
        ]
        raise ConfigError(lines) from None
    except ValueError as error:  # a value that should have been JSON
        raise ConfigError([f"{PREFIX}*: {error}"]) from None
    return settings.model_copy(
        update={
            "collection": settings.collection.expanduser(),
            "ledger": settings.ledger.expanduser(),
        }
    )


def unknown_variables() -> list[str]:
    """Names of environment variables with our prefix that set nothing: typing errors, mostly."""
    known = {f"{PREFIX}{name}".upper() for name in Settings.model_fields}
    return sorted(
        name
        for name in os.environ
        if name.upper().startswith(PREFIX) and name.upper().split("__")[0] not in known
    )
