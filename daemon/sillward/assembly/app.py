"""What every command begins with: settings and options in, a household with its sources out."""

import logging
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from pydantic import SecretStr

from sillward.assembly import providers
from sillward.config import households
from sillward.config.changes import Change
from sillward.config.credentials import channel_file, read_credential
from sillward.config.household import Household
from sillward.config.households import Place
from sillward.config.loader import load_household
from sillward.config.plant_tables import MostPlants
from sillward.config.settings import HOUSEHOLDS, Settings, load_settings, unknown_variables
from sillward.errors import ConfigError, UsageError
from sillward.forecast.recorded import recorded
from sillward.forecast.source import Source
from sillward.forecast.store import Clock, utc_now
from sillward.ledger import Ledger
from sillward.ledger.address import LedgerAddress, PostgresAddress
from sillward.ledger.house import LEDGER, open_one
from sillward_rules.weather.site import Site

MIN_YEAR, MAX_YEAR = 1971, 2199
"""Years of a time that one may pretend it is."""

TOO_MANY = "the most that this operator allows a household (SILLWARD_PLANTS_PER_HOUSEHOLD)"

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Options:
    """The options that commands share."""

    collection: Path | None = None
    at: str | None = None
    recorded: Path | None = None
    household: str | None = None
    """Its name, in a folder of households."""


@dataclass(frozen=True, slots=True)
class App:
    """A household, and what it takes to look after it."""

    settings: Settings
    household: Household
    sources: tuple[Source, ...]
    options: Options
    clock: Clock
    place: Place | None = None
    """Where it is kept, if it is one of a folder of households."""
    shared_ledger: LedgerAddress | None = None
    """What it shares with the others of that folder."""

    @property
    def site(self) -> Site:
        """The household's site."""
        return self.household.collection.site

    @property
    def path(self) -> Path:
        """The collection file."""
        return self.settings.collection if self.place else _path(self.options, self.settings)

    @property
    def kept_beside(self) -> Path:
        """The path beside which its keys and photos are: that of its ledger, or of the one that it
        would have here if its ledger is on a server."""
        settings = self.settings
        if self.place is None or isinstance(settings.ledger, Path):
            return settings.ledger_file
        return settings.ledger_file.parent / HOUSEHOLDS / self.place.name / LEDGER

    @property
    def page_path(self) -> str:
        """The path of its page if it is one of a folder of households, such as "/casa-ines"; ""
        for one at the top."""
        return "" if self.place is None else f"/{self.place.name}"

    @property
    def pretending(self) -> bool:
        """Whether another time or a recorded file stands in for the real one."""
        return self.options.at is not None or self.options.recorded is not None

    @property
    def has_ledger(self) -> bool:
        """Whether anything has been written down yet."""
        return self.settings.has_ledger

    def read_household(self, path: Path | None = None, changes: Sequence[Change] = ()) -> Household:
        """Read the collection as its file is now. Raise ConfigError with everything wrong in it.

        path: another collection file.
        changes: made in its tables before they are checked.
        """
        return _read_household(path or self.path, self.settings, changes, self.place)

    def open_ledger(self) -> Ledger:
        """Open the ledger, with what it shares with others. Raise LedgerError, NotOursError."""
        if self.place is not None and isinstance(self.settings.ledger, PostgresAddress):
            return open_one(self.settings.ledger, self.place.name)
        ledger = Ledger(self.settings.ledger)
        if isinstance(self.shared_ledger, Path) and _exists(self.shared_ledger):
            ledger.share(Ledger(self.shared_ledger), owned=True)
        return ledger


FindHousehold = Callable[[Options, Path, Settings, Place | None], Household]
"""Reads the household of a collection file. Raises ConfigError with everything wrong in it."""


def household_of_file(
    options: Options, path: Path, settings: Settings, place: Place | None
) -> Household:
    """Read the household of a collection file. Raise ConfigError with everything wrong in it."""
    if options.collection is None and not _exists(path):
        msg = f"{path}: there is no collection; name one with --collection or SILLWARD_COLLECTION"
        if settings.service is not None:
            msg = f"{path}: there is no collection; `sudo sillward new` writes one"
        raise ConfigError([msg])
    return _read_household(path, settings, (), place)


def build(
    options: Options, *, clock: Clock = utc_now, find: FindHousehold = household_of_file
) -> App:
    """Read settings and collection. Raise ConfigError or UsageError with everything wrong."""
    settings = load_settings()
    for name in unknown_variables():
        log.warning("settings.unknown name=%s", name)
    place, common = place_of(options, settings), None
    if place is not None:
        common = households.shared_ledger(settings)
        settings = households.settings_of(settings, place)
    path = settings.collection if place else _path(options, settings)
    household = find(options, path, settings, place)
    site = household.collection.site
    if options.at is not None:
        clock = _stopped_at(parse_at(options.at, site))
    if options.recorded is not None:
        sources: tuple[Source, ...] = (recorded(options.recorded, site, clock()),)
    else:
        sources = providers.forecast_sources(settings)
    return App(settings, household, sources, options, clock, place, common)


def parse_at(text: str, site: Site) -> datetime:
    """Read an ISO time; without an offset it is the site's. Raise UsageError if it is none."""
    try:
        at = datetime.fromisoformat(text)
        if not MIN_YEAR <= at.year <= MAX_YEAR:
            raise ValueError
    except ValueError:
        msg = f'--at "{text}" is not an ISO time; write for example 2026-05-14T17:00-03:00'
        raise UsageError(msg) from None
    return at.replace(tzinfo=site.zone) if at.tzinfo is None else at


def _stopped_at(moment: datetime) -> Clock:
    return lambda: moment


def of_place(
    place: Place,
    settings: Settings,
    sources: Sequence[Source],
    clock: Clock,
    household: Household | None = None,
) -> App:
    """Read one household of a folder. Raise ConfigError with everything wrong in it.

    settings: those of the whole folder.
    household: the one that is in force, in place of what its file says.
    """
    own = households.settings_of(settings, place)
    if household is None:
        household = _read_household(own.collection, own, (), place)
    common = households.shared_ledger(settings)
    return App(own, household, tuple(sources), Options(), clock, place, common)


def place_of(options: Options, settings: Settings) -> Place | None:
    """Return which household of a folder is meant; None if it is the one of a file."""
    if options.household is not None and options.collection is not None:
        msg = "--household and --collection both say which; give one of them"
        raise UsageError(msg)
    if options.collection is not None:
        return households.holding(settings, options.collection)
    if options.household is None and settings.collections is None:
        return None
    return households.named(settings, options.household)


def _path(options: Options, settings: Settings) -> Path:
    return options.collection or settings.collection


def household_of_tables(
    tables: Mapping[str, Any],
    path: Path,
    settings: Settings,
    place: Place | None,
    urls: Mapping[str, SecretStr],
) -> Household:
    """Read the household of tables that its file had once. Raise ConfigError.

    urls: those of channels that its file has; others are in the environment or credentials.
    """
    return _read_household(path, settings, (), place, tables, urls)


def _read_household(
    path: Path,
    settings: Settings,
    changes: Sequence[Change],
    place: Place | None,
    tables: Mapping[str, Any] | None = None,
    urls: Mapping[str, SecretStr] | None = None,
) -> Household:
    if place is not None:
        place.require_own_files()
    household = load_household(
        path,
        lambda name: (urls or {}).get(name) or channel_url(settings, name),
        changes,
        lambda: mqtt_password(settings),
        None if place is None else place.name,
        (lambda _: True) if place is None else place.holds,
        tables,
        None if place is None else MostPlants(settings.plants_per_household, TOO_MANY),
    )
    if place is not None:
        place.require_own_places(household)
    return household


def channel_url(settings: Settings, name: str) -> SecretStr | None:
    """Return a channel's URL from the environment, or else from the credentials folder."""
    return settings.channels.get(name) or read_credential(settings.credentials, channel_file(name))


def mqtt_password(settings: Settings) -> SecretStr | None:
    """Return the password for the broker, from the environment or the credentials folder."""
    return settings.mqtt.password or read_credential(settings.credentials, "mqtt-password")


def _exists(path: Path) -> bool:
    try:
        return path.exists()
    except OSError:
        return False
