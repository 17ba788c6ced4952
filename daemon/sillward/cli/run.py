"""`sillward run`: the daemon."""

import os
import socket
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass
from functools import partial
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Self

import click

from sillward.assembly import kept_collection
from sillward.assembly.app import App, Options
from sillward.assembly.collection_reload import CollectionReloader
from sillward.assembly.desk_setup import (
    build_desks,
    require_page_parts,
    require_places,
)
from sillward.assembly.household_run import (
    AfterHouseTick,
    build_house,
    close_house,
    require_settings,
)
from sillward.assembly.logs import start_logging
from sillward.assembly.metrics_setup import metrics_server
from sillward.channels.sender_pool import SenderPool
from sillward.channels.sender_process import SenderProcess
from sillward.cli import shared
from sillward.config.settings import Settings, load_settings
from sillward.errors import ConfigError, UsageError
from sillward.forecast.asking import in_thread
from sillward.ical.publisher import CalendarPublisher
from sillward.reports import status as status_report
from sillward.service import heartbeat, other_runs
from sillward.service.daemon import Daemon
from sillward.service.defects import contained
from sillward.service.desk import Desk
from sillward.service.heartbeat import Heartbeat
from sillward.service.house import TICK_S as HOUSE_TICK_S
from sillward.service.house import House
from sillward.service.house_troubles import HouseTroubles
from sillward.service.run_control import RunControl

if TYPE_CHECKING:
    from sillward.assembly.household_desks import Equipment
    from sillward.config.households import Place
    from sillward.page.server import PageServer


@click.command()
@click.option(
    "--collection",
    "collections",
    type=click.Path(path_type=Path),
    metavar="FILE",
    multiple=True,
    help="The collection (default: SILLWARD_COLLECTION); repeat it for more than one site.",
)
@click.option(
    "--recorded",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="A stored forecast instead of the network.",
)
def run(collections: tuple[Path, ...], recorded: Path | None) -> None:
    """Run the daemon until SIGTERM.

    If SILLWARD_COLLECTIONS names a folder of households, all of them are served.
    """
    settings = load_settings()
    if settings.collections is not None and not collections:
        if recorded is not None:
            msg = "--recorded is for one site; name its collection with --collection"
            raise UsageError(msg)
        _serve_house(settings)
        return
    _serve(settings, [Options(path, recorded=recorded) for path in collections or (None,)])


def _serve(settings: Settings, sites: Sequence[Options]) -> None:
    """Serve the sites of one grower until SIGTERM."""
    start_logging(settings.log_level)
    with closing(SenderProcess()) as sender:
        apps = [kept_collection.build(shared.build, site, sender.problems) for site in sites]
        for app in apps:
            require_places(app, sender.problems)
        _require_different_sites(apps)
        control = RunControl()
        desks = build_desks(apps, sender=sender, run=control)
        for desk in desks:
            context, site = desk.context, desk.context.site
            other_runs.tell_of_others(context.ledger, site.name, site.label, context.clock())
        reloaders = [
            CollectionReloader(app, desk, sender.problems, partial(_sites_but, desks, desk))
            for app, desk in zip(apps, desks, strict=True)
        ]

        def reload(asked: bool) -> None:
            for reloader in reloaders:
                reloader.look(asked=asked)

        page, metrics = _page(apps, desks), metrics_server(apps[0].settings, control.tally)
        servers = [server for server in (page, metrics) if server is not None]
        after_tick = _AfterTick.of(apps[0], desks, sender, servers)
        daemon = Daemon(
            desks,
            control,
            reload=reload,
            after_tick=after_tick.run,
            status_line=after_tick.status_line,
        )
        _run_beside(daemon, servers)
        for desk in desks:
            desk.close()
        desks[0].context.ledger.close()


def _run_beside(daemon: Daemon, servers: Sequence["PageServer"]) -> None:
    """Run the daemon, and beside it what serves the page and metrics, until SIGTERM."""
    for server in servers:
        server.watch()
    if not daemon.run():
        # A job hangs: an ordinary exit would wait for its thread, and nobody would restart us.
        os._exit(1)
    for server in servers:
        server.close()


def _serve_house(settings: Settings) -> None:
    """Serve all households of a folder until SIGTERM."""
    require_settings(settings)
    start_logging(settings.log_level)
    with closing(SenderPool()) as pool:
        control = RunControl()
        house, equipment = build_house(
            settings, pool.problems, control, submit=pool.submit, begin_asking=in_thread
        )
        if equipment.ledgers.turns is None:  # on a server several are meant to share the work
            name = other_runs.HOUSEHOLDS
            other_runs.tell_of_others(equipment.ledgers.shared(), name, name, house.clock())
        page, metrics = _household_pages(house, equipment), metrics_server(settings, control.tally)
        servers = [server for server in (page, metrics) if server is not None]
        kept = HouseTroubles(equipment.ledgers.shared(), socket.gethostname())
        after_tick = AfterHouseTick(house, heartbeat.build(settings), servers, kept)
        daemon = Daemon(
            [house],
            control,
            tick_s=HOUSE_TICK_S,
            reload=lambda asked: house.wake_all() if asked else None,
            after_tick=after_tick.run,
            status_line=after_tick.status_line,
        )
        _run_beside(daemon, servers)
        close_house(house, equipment)


def _page(apps: Sequence[App], desks: Sequence[Desk]) -> "PageServer | None":
    """Build the page if the settings ask for one; only then are its libraries imported."""
    if apps[0].settings.page.address is None:
        return None
    require_page_parts()
    from sillward.assembly import page_setup

    return page_setup.page_server(apps, desks)


def _household_pages(house: "House[Place]", equipment: "Equipment") -> "PageServer | None":
    """Build the page of many households if the settings ask for one."""
    if equipment.settings.page.address is None:
        return None
    require_page_parts()
    from sillward.assembly import household_pages

    return household_pages.household_pages(house, equipment)


def _require_different_sites(apps: Sequence[App]) -> None:
    names = [app.site.name for app in apps]
    if len(set(names)) < len(names):
        msg = f"{apps[-1].path.name}: site.name: two collections are for one site ({names[-1]})"
        raise ConfigError([msg])


def _sites_but(desks: Sequence[Desk], mine: Desk) -> list[str]:
    """Return the names of the other desks' sites."""
    return [desk.context.site.name for desk in desks if desk is not mine]


@dataclass(slots=True)
class _AfterTick:
    """What is done after each tick: the sender process ends, a dead page is started again, the
    calendar is brought up to date, households in trouble are counted, and the heartbeat is sent."""

    desks: Sequence[Desk]
    sender: SenderProcess
    calendar: CalendarPublisher | None
    heartbeat: Heartbeat | None
    servers: Sequence["PageServer"]
    """Of the page and of metrics, where there are such."""
    _troubles: Sequence[str] = ()
    """Those of the first desk."""

    @classmethod
    def of(
        cls,
        app: App,
        desks: Sequence[Desk],
        sender: SenderProcess,
        servers: Sequence["PageServer"],
    ) -> Self:
        """Build it from the settings."""
        path = app.settings.calendar
        calendar = (
            None if path is None else CalendarPublisher(path, [desk.context for desk in desks])
        )
        return cls(desks, sender, calendar, heartbeat.build(app.settings), servers)

    def run(self) -> None:
        """Do it."""
        self.sender.close()
        for server in self.servers:
            with contained(f"{server.name}.failed"):
                server.watch()
        if self.calendar is not None:
            self.calendar.update()
        troubles = [desk.troubles() for desk in self.desks]
        tally = self.desks[0].context.run.tally
        tally.households, tally.in_trouble = len(troubles), sum(map(bool, troubles))
        troubles[0] += [server.trouble for server in self.servers if server.trouble is not None]
        self._troubles = troubles[0]
        if self.heartbeat is not None:
            now = self.desks[0].context.clock()
            self.heartbeat.beat(now, "; ".join(chain.from_iterable(troubles)) or None)

    def status_line(self) -> str:
        """Return the state of the first site in half a line, for the service manager."""
        context = self.desks[0].context
        return status_report.summary_line(context.household, self._troubles, context.clock())
