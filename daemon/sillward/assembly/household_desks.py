"""The desks of a folder of households, each built when its turn comes.

A desk with its forecast is kept in memory for those that had a turn last: all of it can be worked
out again. Of the others the collection stays, since its file may be wrong by now, and their ledger,
which is open during a turn alone.
"""

import logging
import os
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import partial
from pathlib import Path

from sillward.assembly import kept_collection, providers, read_only
from sillward.assembly.app import App, of_place
from sillward.assembly.collection_reload import CollectionReloader
from sillward.assembly.desk_setup import links_of, require_channels
from sillward.assembly.page_access import why_none
from sillward.assembly.web_push import push_identity
from sillward.channels import push_identity as push_identity_file
from sillward.channels.dispatcher import Dispatcher
from sillward.channels.sender import Problems, Sender
from sillward.config import households
from sillward.config.household import Household
from sillward.config.households import MAX_NAME, Place
from sillward.config.settings import Settings
from sillward.errors import ConfigError, LedgerError, NotOursError, one_line
from sillward.forecast.cell_updater import CellUpdater
from sillward.forecast.many_households import (
    MAX_READ,
    ForecastsOfOne,
    RecentlyUsed,
    SharedForecasts,
)
from sillward.forecast.source import Source
from sillward.forecast.store import Clock, ForecastStore
from sillward.ledger import Ledger
from sillward.ledger.house import LedgerHouse
from sillward.links import key_file
from sillward.reports.status import summary_line
from sillward.service.accepted_limits import as_given
from sillward.service.context import ServiceContext
from sillward.service.corrections import Known
from sillward.service.desk import Desk
from sillward.service.households_status import keep_standing
from sillward.service.run_control import RunControl
from sillward.service.turns import AGAIN, NET, next_turn
from sillward_rules.round import Round

MAX_DESKS = 5000
"""So many desks are in memory. Measured: 75 kB each with 40 plants."""

MAX_REASONS = 2
"""Of what is wrong with a collection that cannot be used, `status` says so many."""

MAX_REASON = 160
"""Characters of one of them. Judgement: two lines of a terminal."""

MADE_HERE = frozenset({key_file.NAME, push_identity_file.NAME})
"""Files among the secrets that nobody else writes."""

GONE = "collection.toml is gone; the one from before stays in force"

log = logging.getLogger(__name__)


@dataclass(slots=True)
class Equipment:
    """What all desks are built with."""

    settings: Settings
    sources: tuple[Source, ...]
    ledgers: LedgerHouse
    sender: Sender
    problems: Problems
    clock: Clock
    run: RunControl
    forecasts: SharedForecasts
    dispatcher: Dispatcher | None = None
    """Sends beside other work; without one the sender is waited for."""
    max_desks: int = MAX_DESKS
    built: "OrderedDict[str, HouseholdDesk]" = field(default_factory=OrderedDict)
    """Those whose desk is in memory, the one that had its turn last at the end."""

    def note_use(self, household: "HouseholdDesk", next_at: datetime) -> None:
        """Note that a desk was used, and when it is needed next; put away what is too many.

        A desk for which nothing is foreseen goes itself: all others have their turn before it comes
        again. To put away the one that was not used for the longest time would always take the very
        one that is needed next, where more households than there is room for come in a circle.
        """
        self.built[household.place.name] = household
        self.built.move_to_end(household.place.name)
        if len(self.built) <= self.max_desks:
            return
        oldest_first = list(self.built.values())
        if next_at >= self.clock() + NET - AGAIN:
            oldest_first.insert(0, oldest_first.pop())
        for other in oldest_first[: len(self.built) - self.max_desks]:
            if other.put_away():
                del self.built[other.place.name]


def shared_forecasts(
    settings: Settings,
    sources: tuple[Source, ...],
    ledger: Ledger,
    clock: Clock,
    run: RunControl,
) -> SharedForecasts:
    """Build what asks for the forecasts of all households. ledger: the shared one."""
    store = ForecastStore(
        sources,
        ledger,
        clock,
        providers.forecast_ensemble(settings),
        settings.forecast.second_opinion,
        shares_cells=True,
        read=RecentlyUsed(MAX_READ),
    )
    counts = run.tally.provider_calls
    return SharedForecasts(CellUpdater(store, (), step_done=run.step_done, requests=counts))


@dataclass(slots=True)
class HouseholdDesk:
    """One household of the folder, of which the desk may be in memory or not."""

    place: Place
    equipment: Equipment
    troubles: list[str] = field(default_factory=list)
    """What was wrong at its last turn, in words."""
    page_refused: str | None = None
    """Why its page could not be built, as the thread that tried it says."""
    _app: App | None = None
    """With the collection in force."""
    _desk: Desk | None = None
    _reloader: CollectionReloader | None = None
    _ledger: Ledger | None = None
    _started_at: datetime | None = None
    _compared: dict[Round, Known] = field(default_factory=dict)
    """What its orders were compared with when its desk was put away: to plan them anew whenever it
    is built again would cost ten times the look itself."""
    _refused: tuple[str, ...] = ()
    _secrets: object = None
    _without_page: str | None = None
    """Why it has no page, as it was logged last."""

    def turn(self) -> datetime:
        """Do what is due. Return when to look again."""
        try:
            try:
                desk = self._ready_desk()
            except ConfigError as error:
                return self._refuse(error.lines)
            except LedgerError as error:
                return self._refuse([str(error)])
            self._refused = ()
            at = self._turn_of(desk)
            self.equipment.note_use(self, at)
            return at
        finally:
            if self._ledger is not None:
                self.equipment.ledgers.rest(self._ledger)

    @property
    def household(self) -> Household | None:
        """The household in force, with its collection; None if there is none in this process. Any
        thread may ask."""
        desk, app = self._desk, self._app
        if desk is not None:
            return desk.context.household
        return None if app is None else app.household

    @property
    def ledger_in_memory(self) -> bool:
        """Whether its ledger cannot be written just now. Any thread may ask."""
        ledger = self._ledger
        return ledger is not None and ledger.in_memory

    def note_defect(self, error: Exception) -> None:
        """Say that a turn of it has failed by a defect of ours, until one succeeds."""
        self.troubles = [f"is not looked after: {type(error).__name__}, a defect; see the log"]
        self._keep_standing(self.troubles[0])

    def settle(self) -> None:
        """Mark what came of its last messages, and do nothing else. Raise LedgerError."""
        try:
            self._ready_desk().outbox.settle()
        finally:
            if self._ledger is not None:
                self.equipment.ledgers.rest(self._ledger)

    def stamp(self) -> object:
        """Return what changes with its files: collection, secrets and ledger."""
        ledger = households.ledger_of(self.equipment.settings, self.place.name)
        files = [self.place.collection]
        if isinstance(ledger, Path):
            files += [ledger, Path(f"{ledger}-wal")]
        return tuple(map(_stamp, files)), self._stamp_of_secrets()

    def stamp_of_collection(self) -> object:
        """Return what changes with its collection file. Any thread may ask."""
        return _stamp(self.place.collection)

    def close(self) -> None:
        """End what runs between its turns."""
        if self._desk is not None and self._desk.context.household.sensors and self._awake():
            self._desk.close()
            self.equipment.ledgers.rest(self._desk.context.ledger)

    def leave(self) -> None:
        """Forget it: it is not looked after any more."""
        self.close()
        self.equipment.built.pop(self.place.name, None)
        self.equipment.forecasts.remove(self.place.name)
        self._keep_standing(None)
        self._desk = self._reloader = self._app = None

    @property
    def is_needed(self) -> bool:
        """Whether this process holds what is nowhere else, or a message is under way."""
        dispatcher = self.equipment.dispatcher
        is_sending = dispatcher is not None and bool(dispatcher.keys_of(self.place.name))
        return is_sending or (self._desk is not None and self._desk.is_needed)

    @property
    def is_refused(self) -> bool:
        """Whether its collection is wrong, and there is none from before."""
        return bool(self._refused)

    def put_away(self) -> bool:
        """Let the desk go from memory. Return False if it holds what is nowhere else."""
        desk, app = self._desk, self._app
        if desk is not None and desk.is_needed:
            return False
        if desk is not None and app is not None:
            self._app = replace(app, household=as_given(desk.context.household))
            self._compared = desk.corrections.compared
        self._desk = self._reloader = None
        return True

    # -- a turn

    def _turn_of(self, desk: Desk) -> datetime:
        equipment, reloader = self.equipment, self._reloader
        secrets, is_there = self._stamp_of_secrets(), _stamp(self.place.collection) is not None
        # Where the whole file is gone its disk may be: nobody has edited anything.
        if reloader is not None and is_there:
            if secrets != self._secrets:
                self.page_refused = None  # until somebody asks for it again
            reloader.look(asked=secrets != self._secrets)
            self._secrets = secrets
        without_page = self._look_at_page(desk)
        desk.tick()
        self._started_at = desk.started_at
        try:
            self.troubles = desk.troubles()
            if not is_there:
                self.troubles.append(GONE)
            at = next_turn(desk)
        except LedgerError as error:
            log.error("ledger.failed name=%s reason=%s", self.place.name, error)
            self.troubles = [one_line(str(error), MAX_REASON)]
            at = equipment.clock()
        line = summary_line(desk.context.household, self.troubles, equipment.clock())
        self._keep_standing(f"{line}; no page: {without_page}" if without_page else line)
        return at

    def _look_at_page(self, desk: Desk) -> str | None:
        """Have links in messages if it has a page. Return why it has none, where others have one.

        That is no trouble: it may want none.
        """
        app, context = self._app, desk.context
        if app is None or app.settings.page.address is None:
            return None
        people = context.household.people
        why = why_none(self.place.name, app.settings, people)
        if why is not None:
            context.links = None
        elif context.links is None:
            try:
                context.links = links_of(replace(app, household=context.household), app.page_path)
            except ConfigError as error:
                why = one_line(str(error), MAX_REASON)
        why = why or self.page_refused
        if why is not None and why != self._without_page:
            log.warning("page.none name=%s reason=%s", self.place.name, why)
        self._without_page = why
        return why

    def _refuse(self, reasons: Sequence[str]) -> datetime:
        """Say why this household cannot be looked after, once; look again later."""
        lines = tuple(one_line(reason, MAX_REASON) for reason in reasons)
        if lines != self._refused:
            for line in lines[:MAX_REASONS]:
                log.error("household.refused name=%s reason=%s", self.place.name, line)
        self._refused = lines
        more = f" (and {len(lines) - MAX_REASONS} more)" if len(lines) > MAX_REASONS else ""
        self.troubles = [f"is not looked after: {'; '.join(lines[:MAX_REASONS])}{more}"]
        self._keep_standing(self.troubles[0])
        return self.equipment.clock() + NET

    def _keep_standing(self, line: str | None) -> None:
        """Write how the household stands; with None forget it."""
        shared, name = self.equipment.ledgers.shared(), one_line(self.place.name, MAX_NAME)
        keep_standing(shared, name, line, len(self.troubles), self.equipment.clock())

    # -- the desk

    def _ready_desk(self) -> Desk:
        """Return the desk, with its ledger open. Raise ConfigError if there can be none."""
        if self._desk is not None and self._awake():
            return self._desk
        app = self._app
        if app is None:
            app = self._app_of_file()
            self._secrets = self._stamp_of_secrets()
        self._app = app
        ledger = self._ledger
        if ledger is None or self._desk is not None or not self._awake():
            ledger = self._ledger = self.equipment.ledgers.of_household(self.place.name)
        self._desk = desk = self._built(app, ledger)
        self._reloader = CollectionReloader(app, desk, self.equipment.problems)
        return desk

    def _app_of_file(self) -> App:
        """Return the app with the collection of its file or, if that is wrong, with the one that
        was last in force. Raise ConfigError if there is none, LedgerError."""
        equipment, place = self.equipment, self.place
        build = partial(of_place, place, equipment.settings, equipment.sources, equipment.clock)
        try:
            app = build()
            require_channels(app, equipment.problems)
        except ConfigError as error:
            own = households.settings_of(equipment.settings, place)
            if not own.has_ledger:  # it has never been looked after
                raise
            ledger = self._ledger
            if ledger is None or not self._awake():
                ledger = self._ledger = equipment.ledgers.of_household(place.name)
            household = kept_collection.in_place_of(
                error,
                ledger,
                place.collection,
                own,
                place,
                equipment.problems,
                equipment.clock(),
            )
            return build(household)
        return app

    def _awake(self) -> bool:
        """Open the ledger for a turn. Return whether that could be."""
        if self._ledger is None:
            return False
        try:
            self.equipment.ledgers.wake(self._ledger)
        except (LedgerError, NotOursError) as error:
            log.error("ledger.failed name=%s reason=%s", self.place.name, error)
            return False
        return True

    def _built(self, app: App, ledger: Ledger) -> Desk:
        equipment = self.equipment
        own: list[ServiceContext] = []
        store = read_only.store_of(app, ledger, lambda: [each.household.collection for each in own])
        shared = equipment.forecasts.updater.store
        store.read, store.spreads = shared.read, shared.spreads
        updater = ForecastsOfOne(
            store,
            (app.site,),
            live=equipment.forecasts.updater.live,
            rng=equipment.forecasts.updater.rng,
            step_done=equipment.run.step_done,
            shared=equipment.forecasts,
        )
        context = ServiceContext(
            app.household,
            updater,
            ledger,
            equipment.sender,
            equipment.clock,
            equipment.run,
            push=push_identity(app),
            dispatcher=equipment.dispatcher,
        )
        own.append(context)
        equipment.forecasts.add(app.site)
        desk = Desk.of(context)
        desk.started_at = self._started_at
        desk.corrections.compared.update(self._compared)
        return desk

    # -- the files

    def _stamp_of_secrets(self) -> object:
        try:
            with os.scandir(self.place.credentials) as found:
                # Keys that are made here say nothing about the collection.
                paths = sorted(entry.path for entry in found if entry.name not in MADE_HERE)
        except OSError:
            return None
        return tuple(map(_stamp, paths))


def _stamp(path: Path | str) -> tuple[int, int, int] | None:
    try:
        found = os.stat(path)
    except OSError:
        return None
    return found.st_ino, found.st_size, found.st_mtime_ns
