"""The composition root: settings and options in, every collaborator built, nothing started.

Here is what it takes to look; what it takes to tell is in `desks`. A look need not wait for that,
and so neither this module nor what it imports may import it.
"""

import logging
import sys
from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from importlib import resources
from pathlib import Path

from pydantic import SecretStr

from sillward.config.household import Household
from sillward.config.loader import load_household
from sillward.config.settings import Settings, credential, load_settings, unknown_variables
from sillward.errors import ConfigError, SillwardError, SourceError, UsageError
from sillward.forecast import Setup, Source, ensemble, geocoding, sources
from sillward.forecast.ensemble import Ensemble
from sillward.forecast.recorded import Recorded, recorded
from sillward.forecast.sources import open_meteo
from sillward.forecast.store import Clock, Shelf, credit, utc_now
from sillward.forecast.updater import Keeper
from sillward.ledger import Ledger
from sillward.net import fetch
from sillward.net.progress import patient
from sillward.service import due_rounds
from sillward.service.plant_states import states_at
from sillward.wording import full_sheet
from sillward_rules.plants.state import State
from sillward_rules.remark import ForecastInstead
from sillward_rules.sheet import Round, draw_up
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.site import Site

DEMOS = {
    "cold-snap": date(2026, 5, 14),
    "dry-summer": date(2026, 1, 20),
    "mild-week": date(2026, 10, 6),
    "wet-autumn": date(2026, 4, 9),
}
"""The recorded examples, each with the day on which it was recorded."""


@dataclass(frozen=True, slots=True)
class Options:
    """What the command line says beside the command."""

    collection: Path | None = None
    at: str | None = None
    recorded: Path | None = None


@dataclass(frozen=True, slots=True)
class App:
    """Everything a command may need, built from settings and options."""

    settings: Settings
    household: Household
    sources: tuple[Source, ...]
    options: Options
    clock: Clock

    @property
    def site(self) -> Site:
        """The household's site."""
        return self.household.collection.site

    @property
    def pretending(self) -> bool:
        """Whether another time or a stored forecast stands in for the real one."""
        return self.options.at is not None or self.options.recorded is not None

    @property
    def has_ledger(self) -> bool:
        """Whether anything has been written down yet."""
        return _exists(self.settings.ledger)

    def keeper(
        self,
        ledger: Ledger,
        sites: Sequence[Site] = (),
        *,
        show_progress: bool = False,
        step_done: Callable[[], None] = lambda: None,
    ) -> Keeper:
        """Build the keeper of forecasts for these sites; by default for the household's.

        show_progress: say on a terminal which source is asked, when that takes long. step_done:
        called after each call.
        """
        first, live = self.sources[0], not isinstance(self.sources[0], Recorded)
        ask = first.ask if isinstance(first, Recorded) else fetch.ask
        shelf = Shelf(
            self.sources,
            ledger,
            self.clock,
            self._ensemble() if live else None,
            self.settings.forecast.second_opinion if live else None,
        )
        return Keeper(
            shelf,
            sites or (self.site,),
            ask=patient(ask) if show_progress else ask,
            live=live,
            pretending=self.pretending,
            working=step_done,
        )

    def _ensemble(self) -> Ensemble | None:
        """The ensemble to ask for chances, if the settings want one and somebody may be asked.

        No server is asked that the grower has not chosen; a grower with a forecast server of their
        own need not have one for the members.
        """
        asked = self.settings.forecast
        uses_public_server = (
            open_meteo.KEY in asked.sources and asked.server(open_meteo.KEY) is None
        )
        if not asked.ensemble or not (uses_public_server or asked.server(ensemble.KEY) is not None):
            return None
        return ensemble.build(_setup(self.settings, ensemble.KEY))

    def weather(self, now: datetime) -> Weather:
        """A forecast for a look: the stored file, else the network, else the last good one.

        Raise SourceError if none of them has one.
        """
        with closing(self.ledger_for_a_look()) as ledger:
            keeper = replace(self, clock=lambda: now).keeper(ledger, show_progress=True)
            try:
                keeper.fetch()
            except SourceError as error:
                best = keeper.shelf.best(self.site)
                if best is None:
                    raise
                fetched = best.stored.fetched_at.astimezone(self.site.zone)
                weather = keeper.shelf.weather(self.site)
                note = ForecastInstead(str(error), fetched)
                return replace(weather, remarks=(note, *weather.remarks))
            return keeper.shelf.weather(self.site)

    def ledger_for_a_look(self) -> Ledger:
        """The real one, if it is there and the look is a real one."""
        real = self.has_ledger and not self.pretending
        return Ledger(self.settings.ledger if real else ":memory:")

    def ledger_of_forecasts(self) -> Ledger:
        """The real one, if it is there, to see what is held; not beside a stored forecast."""
        real = self.has_ledger and self.options.recorded is None
        return Ledger(self.settings.ledger if real else ":memory:")

    def sheet_at_hand(self, now: datetime) -> str | None:
        """The full sheet of the round nearest in time, by what is held; None without a forecast.

        Nobody is asked and nothing is kept.
        """
        if not self.has_ledger:
            return None
        try:
            with closing(Ledger(self.settings.ledger)) as ledger:
                keeper = self.keeper(ledger)
                if not keeper.shelf.usable(self.site):
                    return None
                weather = keeper.shelf.weather(self.site)
                states = states_at(ledger, self.site, now)
        except SillwardError:
            return None
        round_ = due_rounds.nearest(self.site, now)
        sheet = draw_up(round_, self.household.collection, weather, states, now)
        return full_sheet.text(sheet, self.household.voice, self.attribution(weather))

    def attribution(self, weather: Weather) -> str:
        """The credit that is due for a weather."""
        return credit(self.sources, weather.source)

    def states(self) -> State:
        """What the ledger knows of the plants; nothing while pretending or before the first run."""
        if self.pretending or not self.has_ledger:
            return {}
        with closing(Ledger(self.settings.ledger)) as ledger:
            return states_at(ledger, self.site, self.clock())

    def moment(self, round_: Round | None) -> tuple[datetime, bool]:
        """The moment to look at: --at, else now; for a stored forecast of other days, its own.

        A stored forecast without --at is looked at on the day it was recorded, at the hour of
        the round; the second value then is True.
        """
        now = self.clock()
        if self.options.at is not None or self.options.recorded is None:
            return now, False
        weather = self.weather(now)
        first, last = (datetime.fromtimestamp(int(weather.times[i]), UTC) for i in (0, -1))
        if first + timedelta(days=1) <= now <= last:
            return now, False
        day = self.site.local_date(first + timedelta(days=1, hours=12))
        that_day = due_rounds.of_day(self.site, self.household.rounds, day)
        moments = {occasion.round: occasion.due_at for occasion in that_day}
        return moments.get(round_ or Round.DUSK, moments[Round.DUSK]), True

    @property
    def path(self) -> Path:
        """The collection file."""
        return self.options.collection or self.settings.collection

    def read_household(self) -> Household:
        """The collection as its file is now. Raise ConfigError with everything wrong in it."""
        return _read_household(self.path, self.settings)


def build(options: Options, *, clock: Clock = utc_now) -> App:
    """Read settings and collection. Raise ConfigError or UsageError with everything wrong."""
    settings = load_settings()
    for name in unknown_variables():
        logging.getLogger(__name__).warning("settings.unknown name=%s", name)
    path = options.collection or settings.collection
    if options.collection is None and not _exists(path):
        msg = f"{path}: there is no collection; name one with --collection or SILLWARD_COLLECTION"
        raise ConfigError([msg])
    household = _read_household(path, settings)
    if options.at is not None:
        at = parse_at(options.at, household.collection.site)
        clock = lambda: at  # noqa: E731
    if options.recorded is not None:
        chosen: tuple[Source, ...] = (
            recorded(options.recorded, household.collection.site, clock()),
        )
    else:
        chosen = tuple(_source(settings, name) for name in settings.forecast.sources)
    return App(settings, household, chosen, options, clock)


def _read_household(path: Path, settings: Settings) -> Household:
    return load_household(path, lambda name: _url(settings, name))


def _source(settings: Settings, name: str) -> Source:
    try:
        return sources.known()[name](_setup(settings, name))
    except ValueError as error:
        msg = f"{name}: {error}"
        raise ConfigError([msg]) from None


def atlas(settings: Settings) -> geocoding.Atlas:
    """Whom a first run may ask about places: nobody whom the grower has not chosen."""
    asked = settings.forecast
    chosen = open_meteo.KEY in asked.sources
    theirs = chosen and asked.server(open_meteo.KEY) is None
    named = theirs or asked.server(geocoding.KEY) is not None
    return geocoding.Atlas(
        Setup(asked.server(geocoding.KEY)) if named else None,
        _setup(settings, open_meteo.KEY) if chosen else None,
    )


def _setup(settings: Settings, name: str) -> Setup:
    asked = settings.forecast
    key = asked.api_key or credential(settings, "forecast-api-key")
    return Setup(asked.server(name), key, asked.contact)


def _exists(path: Path) -> bool:
    try:
        return path.exists()
    except OSError:
        return False


def parse_at(text: str, site: Site) -> datetime:
    """Read an ISO time; without an offset it is the site's. Raise UsageError if it is none."""
    try:
        at = datetime.fromisoformat(text)
        if not 1970 < at.year < 2200:
            raise ValueError
    except ValueError:
        msg = f'--at "{text}" is not an ISO time; write for example 2026-05-14T17:00-03:00'
        raise UsageError(msg) from None
    return at.replace(tzinfo=site.zone) if at.tzinfo is None else at


def _url(settings: Settings, name: str) -> SecretStr | None:
    """A channel's URL from the environment, or else from the credentials folder."""
    return settings.channels.get(name) or credential(settings, f"channel-{name}")


def examples() -> Path:
    """The folder of the packaged examples."""
    packaged = Path(str(resources.files("sillward"))) / "examples"
    # In a checkout installed for development the examples are still at the top.
    return packaged if packaged.is_dir() else Path(__file__).parents[3] / "examples"


def demo(weather: str) -> App:
    """The packaged example with one of its recorded forecasts, whatever the settings say."""
    folder = examples()
    household = load_household(folder / "courtyard.toml")
    at = household.rounds.dusk.on(household.collection.site, DEMOS[weather])
    file = folder / "recorded" / f"{weather}.json"
    source = recorded(file, household.collection.site, at)
    return App(Settings.model_construct(), household, (source,), Options(recorded=file), lambda: at)


def start_logging(level: str) -> None:
    """Log events to standard error."""
    logging.basicConfig(
        stream=sys.stderr, level=level, format="%(levelname)s %(name)s %(message)s", force=True
    )
    # Both say at INFO what we say better, and requests' own debug lines carry addresses.
    for name in ("apscheduler", "urllib3"):
        logging.getLogger(name).setLevel(logging.WARNING)
