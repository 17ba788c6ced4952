"""A folder of households: one folder for each, with its collection and its secrets.

    NAME/collection.toml
    NAME/credentials/channel-phone, NAME/credentials/mqtt-password, ...

Each folder concerns its own household alone: nothing that is read for it lies outside the folder,
and none of the operator's or a neighbour's secrets are used for it.
"""

import os
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from sillward.config.credentials import read_credential
from sillward.config.household import Household
from sillward.config.settings import MqttSettings, Settings
from sillward.config.validation import did_you_mean
from sillward.errors import ConfigError, UsageError, one_line
from sillward.ledger.address import LedgerAddress
from sillward.ledger.house import LEDGER, SHARED
from sillward.wording.macros import OUTSIDE

MAX_NAME = 63
"""The longest name of a household [characters]: as for a label of a host name (RFC 1035, section
2.3.4), so that it can be part of one."""

_NAME = re.compile(rf"[a-z0-9][a-z0-9-]{{0,{MAX_NAME - 1}}}", re.ASCII)

_FORECAST_KEY = "forecast-api-key"


@dataclass(frozen=True, slots=True)
class Place:
    """A household's name and its folder."""

    name: str
    folder: Path

    @property
    def collection(self) -> Path:
        """Its collection file."""
        return self.folder / "collection.toml"

    @property
    def credentials(self) -> Path:
        """The folder with its secrets, which need not exist."""
        return self.folder / "credentials"

    def require_own_files(self) -> None:
        """Raise ConfigError for an invalid name, or a link that leads out of the folder."""
        if not is_name(self.name):
            msg = (
                f"{one_line(self.name, MAX_NAME)}: is not a valid household name; use "
                f"lower-case letters, digits and -, at most {MAX_NAME}"
            )
            raise ConfigError([msg])
        lines = [
            f"{path.relative_to(self.folder.parent)}: is a link that leads out of the household"
            for path in self._files()
            if not self.holds(path)
        ]
        if lines:
            raise ConfigError(lines)

    def holds(self, path: Path) -> bool:
        """Whether a path leads to something in its folder."""
        own = Path(os.path.realpath(self.folder.parent)) / self.folder.name
        return Path(os.path.realpath(path)).is_relative_to(own)

    def require_own_places(self, household: Household) -> None:
        """Raise ConfigError if its collection names a certificate outside its folder. Wording is
        checked before it is read."""
        broker = household.broker
        if broker is not None and broker.ca is not None and not self.holds(broker.ca):
            raise ConfigError([f"{self.collection.name}: mqtt.ca: {OUTSIDE}"])

    def _files(self) -> Iterator[Path]:
        yield self.folder
        yield self.collection
        yield self.credentials
        try:
            yield from (Path(entry) for entry in os.scandir(self.credentials))
        except OSError:
            return


def is_name(text: str) -> bool:
    """Whether a household may have this name."""
    return _NAME.fullmatch(text) is not None


def find(folder: Path) -> dict[str, Place]:
    """Return the households of a folder by name, including invalid ones. Raise OSError.

    Files, and names that begin with a dot, are not households.
    """
    with os.scandir(folder) as entries:
        names = sorted(
            entry.name
            for entry in entries
            if not entry.name.startswith(".") and (entry.is_dir() or entry.is_symlink())
        )
    return {name: Place(name, folder / name) for name in names}


def named(settings: Settings, name: str | None) -> Place:
    """Return the household of a command. Raise UsageError, or ConfigError for a folder that cannot
    be read."""
    folder = required_folder(settings)
    try:
        found = find(folder)
    except OSError as error:
        msg = f"SILLWARD_COLLECTIONS: {folder}: {error.strerror or error}"
        raise ConfigError([msg]) from None
    if name is None:
        few = ", ".join(one_line(each, MAX_NAME) for each in list(found)[:3]) or "none so far"
        msg = f"say which household with --household NAME; there are {len(found)} ({few}, ...)"
        raise UsageError(msg)
    if name not in found:
        near = did_you_mean(name, list(found))
        msg = f'"{one_line(name, MAX_NAME)}" is not a household in {folder}{near}'
        raise UsageError(msg)
    return found[name]


def required_folder(settings: Settings) -> Path:
    """Return the folder of households. Raise UsageError if the settings name none."""
    if settings.collections is None:
        msg = "--household is for a folder of households, which SILLWARD_COLLECTIONS names"
        raise UsageError(msg)
    return settings.collections


def holding(settings: Settings, collection: Path) -> Place | None:
    """Return the household that a collection file belongs to; None if it belongs to none."""
    if settings.collections is None:
        return None
    folder = Path(os.path.abspath(collection)).parent
    place = Place(folder.name, folder)
    is_there = folder.parent == Path(os.path.abspath(settings.collections))
    return place if is_there and place.collection.name == collection.name else None


def ledger_of(settings: Settings, name: str) -> LedgerAddress:
    """Return the ledger of a household; a database on a server holds them all."""
    folder = settings.ledger
    return folder / name / LEDGER if isinstance(folder, Path) else folder


def shared_ledger(settings: Settings) -> LedgerAddress:
    """Return the ledger that all households share, with forecasts and calls to their sources."""
    folder = settings.ledger
    return folder / SHARED if isinstance(folder, Path) else folder


def settings_of(settings: Settings, place: Place) -> Settings:
    """Return the settings for one household of the folder, with only its own files and secrets.

    The operator's forecast sources, and the key to them, stay.
    """
    forecast = settings.forecast
    key = forecast.api_key or read_credential(settings.credentials, _FORECAST_KEY)
    return settings.model_copy(
        update={
            "collection": place.collection,
            "ledger": ledger_of(settings, place.name),
            "credentials": place.credentials,
            "channels": {},
            "mqtt": MqttSettings(),
            "last_word": None,
            "forecast": forecast.model_copy(update={"api_key": key}),
        }
    )


def unusable_settings(settings: Settings) -> list[str]:
    """Return what is wrong with the settings for a folder of households, in words."""
    of_one: Mapping[str, tuple[object, str]] = {
        "CHANNELS": (settings.channels, "put each URL into NAME/credentials/channel-CHANNEL"),
        "MQTT__PASSWORD": (
            settings.mqtt.password,
            "put each password into NAME/credentials/mqtt-password",
        ),
        "CALENDAR": (settings.calendar, "one file would show every household's chores to all"),
    }
    return [
        f"SILLWARD_{name}: cannot be used together with SILLWARD_COLLECTIONS: {what}"
        for name, (value, what) in of_one.items()
        if value
    ]
