"""What `sillward run` serves where the settings name a folder of households."""

import socket
from collections.abc import Callable, Collection, Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from sillward.assembly import providers
from sillward.assembly.household_desks import Equipment, HouseholdDesk, shared_forecasts
from sillward.channels import sending
from sillward.channels.dispatcher import Dispatcher
from sillward.channels.sender import SEND_S, Problems, Sender
from sillward.config import households
from sillward.config.channel import Channel
from sillward.config.households import Place
from sillward.config.settings import Settings
from sillward.errors import ConfigError
from sillward.forecast import asking
from sillward.forecast.asking import Begin
from sillward.forecast.source import Source
from sillward.forecast.store import Clock, utc_now
from sillward.ledger.house import ledgers_at
from sillward.service.defects import contained
from sillward.service.heartbeat import Heartbeat
from sillward.service.house import House
from sillward.service.house_troubles import HouseTroubles
from sillward.service.ledger_upkeep import LedgerUpkeep
from sillward.service.run_control import RunControl
from sillward.service.shared_turns import SharedTurns
from sillward.service.worker_clock import WorkerClock
from sillward.wording.push import Message

if TYPE_CHECKING:
    from sillward.page.server import PageServer

Submit = Callable[[Channel, Message], "Future[None]"]
"""Begins to send a message."""

MANY_IN_TROUBLE = 0.1
"""The heartbeat tells of trouble if more of the households than this are in trouble. Judgement: one
grower's phone that takes no messages is theirs to set right; of many the cause is one."""


def require_settings(settings: Settings) -> None:
    """Raise ConfigError for settings that cannot be used with a folder of households."""
    lines = households.unusable_settings(settings)
    folder = households.required_folder(settings)
    try:
        households.find(folder)
    except OSError as error:
        lines.append(f"SILLWARD_COLLECTIONS: {folder}: {error.strerror or error}")
    if settings.credentials is not None and not settings.credentials.is_dir():
        lines.append(f"SILLWARD_CREDENTIALS: {settings.credentials}: there is no such folder")
    if isinstance(settings.ledger, Path) and settings.ledger.is_file():
        lines.append(
            f"SILLWARD_LEDGER: {settings.ledger}: is a file; with SILLWARD_COLLECTIONS it is the "
            "folder of the households' ledgers"
        )
    if lines:
        raise ConfigError(lines)


def build_house(
    settings: Settings,
    problems: Problems,
    run: RunControl,
    *,
    submit: Submit | None = None,
    begin_asking: Begin = asking.at_once,
    sender: Sender = sending.send,
    sources: Sequence[Source] = (),
    clock: Clock = utc_now,
) -> tuple[House[Place], Equipment]:
    """Build the house of the settings' folder.

    problems: finds what is wrong with the URLs of channels.
    submit: begins to send a message beside other work; without it the sender is waited for.
    begin_asking: begins to ask for forecasts; by default the answers are waited for.
    sources: by default those of the settings.
    """
    asked = tuple(sources) or providers.forecast_sources(settings)
    ledgers = ledgers_at(settings.ledger, clock)
    turns = None
    if ledgers.turns is not None:
        clock = worker_clock = WorkerClock(ledgers.shared(), clock)
        turns = SharedTurns(ledgers.turns, worker_clock)
    forecasts = shared_forecasts(settings, asked, ledgers.shared(), clock, run)
    forecasts.updater.begin = begin_asking
    dispatcher = None
    if submit is not None:
        dispatcher = Dispatcher(submit, clock, news=lambda name: house.note_news(name))
    equipment = Equipment(
        settings, asked, ledgers, sender, problems, clock, run, forecasts, dispatcher
    )
    upkeep = LedgerUpkeep(ledgers.shared(), None if ledgers.turns is None else socket.gethostname())

    def refresh() -> Collection[str]:
        with contained("ledger.failed_to_keep"):
            upkeep.go_back_to_file(clock())
            upkeep.mark_and_prune(clock())
        return forecasts.refresh()

    house = House(
        partial(households.find, households.required_folder(settings)),
        lambda place: HouseholdDesk(place, equipment),
        refresh,
        clock,
        run,
        has_answers=lambda: forecasts.updater.has_answers,
        settle=lambda: _settle(house, dispatcher),
        is_sending=lambda: dispatcher is not None and dispatcher.under_way > 0,
        shared_turns=turns,
    )
    return house, equipment


def close_house(house: House[Place], equipment: Equipment) -> None:
    """Mark what comes of the messages that are under way, and end all that runs between turns."""
    dispatcher = equipment.dispatcher
    if dispatcher is not None:
        dispatcher.wait(SEND_S)
        _settle(house, dispatcher)
    house.close()
    equipment.ledgers.shared().close()


def _settle(house: House[Place], dispatcher: Dispatcher | None) -> None:
    """Mark what came of the messages that have ended."""
    for name in () if dispatcher is None else dispatcher.sites():
        member = house.members.get(name)
        if isinstance(member, HouseholdDesk):
            with contained("notice.failed_to_settle", f"name={name}"):
                member.settle()


@dataclass(slots=True)
class AfterHouseTick:
    """What is done after each tick of a house: what serves metrics is started again if it died,
    households in trouble are counted, what is wrong with the house is kept, and the heartbeat is
    sent."""

    house: House[Place]
    heartbeat: Heartbeat | None
    servers: Sequence["PageServer"]
    kept: HouseTroubles

    def run(self) -> None:
        """Do it."""
        for server in self.servers:
            with contained(f"{server.name}.failed"):
                server.watch()
        tally = self.house.run.tally
        members = self.house.members.values()
        tally.households = len(members)
        tally.in_trouble = sum(bool(member.troubles) for member in members)
        self.kept.keep(self.house.troubles, self.house.clock())
        if self.heartbeat is not None:
            self.heartbeat.beat(self.house.clock(), self._trouble())

    def status_line(self) -> str:
        """Return the state of the house in a line, for the service manager."""
        tally, wrong = self.house.run.tally, self._trouble()
        state = wrong or (f"{tally.in_trouble} in trouble" if tally.in_trouble else "all is well")
        return f"{tally.households} households: {state}"

    def _trouble(self) -> str | None:
        """Return what is wrong with the service as a whole; None if nothing is."""
        tally = self.house.run.tally
        said = [
            *self.house.troubles,
            *(server.trouble for server in self.servers if server.trouble is not None),
        ]
        if tally.in_trouble > MANY_IN_TROUBLE * tally.households:
            said.append(f"{tally.in_trouble} of {tally.households} households are in trouble")
        return "; ".join(said) or None
