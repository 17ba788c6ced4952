"""Rounds that are told: one by hand, or all of them by the daemon."""

import os
import threading
from collections.abc import Callable, Sequence
from contextlib import closing
from functools import partial
from itertools import chain
from pathlib import Path

import click

from sillward.assembly.app import App, Options, start_logging
from sillward.assembly.collection_reload import CollectionReloader
from sillward.assembly.desks import desk_by_hand, desks_of, require_channels, require_places
from sillward.channels.sender_process import SenderProcess
from sillward.cli import shared
from sillward.cli.printing import say
from sillward.errors import ConfigError, SourceError
from sillward.ical.publisher import CalendarPublisher
from sillward.net.progress import patient
from sillward.reports import reports
from sillward.service import due_rounds, heartbeat
from sillward.service.daemon import Daemon, on_end
from sillward.service.desk import Desk
from sillward_rules.sheet import Round


@click.command()
@shared.options(as_json=False)
@click.option(
    "--round", "round_name", type=shared.ROUNDS, required=True, help="Which round to tell."
)
def send(options: Options, round_name: str) -> None:
    """Tell one round to its channels, for cron or by hand; never the same round twice.

    Example: sillward send --round morning
    """
    app = shared.build(options)
    start_logging(app.settings.log_level)
    require_channels(app)
    round_ = Round(round_name)
    if not any(round_.value in channel.rounds for channel in app.household.channels):
        msg = f"{app.path.name}: channels: none of them is told the {round_.value} round"
        raise ConfigError([msg])
    app, now = shared.at_moment(app, round_)
    if app.pretending:
        click.echo("sillward: a trial: it is sent, and nothing of it is remembered", err=True)
    desk = desk_by_hand(app)
    desk.keeper.ask = patient(desk.keeper.ask)
    ended = threading.Event()
    on_end(ended.set)
    desk.stopping = ended.is_set
    blind: SourceError | None = None
    try:
        desk.keeper.fetch()
        desk.keeper.refresh_members()
    except SourceError as error:
        blind = error
    occasion = due_rounds.current(app.site, app.household.rounds, round_, now)
    if desk.tell(occasion) is None:
        click.echo(f"the {occasion.name} round of {occasion.day} has been told before", err=True)
    desk.deliver(by_hand=True)
    waiting = False
    for notice in desk.ledger.of_round(app.site.name, occasion.name, occasion.day):
        at = "" if notice.sent_at is None else f" {app.household.voice.hour(notice.sent_at)}"
        say(f"{notice.channel}: {notice.state}{at}{_reason(notice.last_error)}")
        waiting = waiting or notice.state not in ("sent", "not needed")
    desk.ledger.close()
    if blind is not None:
        raise blind
    if waiting:
        click.get_current_context().exit(1)


def _reason(error: str | None) -> str:
    return f" ({error})" if error else ""


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
    """Run the daemon until SIGTERM."""
    apps = [shared.build(Options(path, recorded=recorded)) for path in collections or (None,)]
    start_logging(apps[0].settings.log_level)
    with closing(SenderProcess()) as courier:
        for app in apps:
            require_places(app, courier.problems)
            require_channels(app, courier.problems)
        names = [app.site.name for app in apps]
        if len(set(names)) < len(names):
            msg = f"{apps[-1].path.name}: site.name: two collections are for one site ({names[-1]})"
            raise ConfigError([msg])
        desks = desks_of(apps, sender=courier)
        watches = [
            CollectionReloader(app, desk, courier.problems, partial(_sites_but, desks, desk))
            for app, desk in zip(apps, desks, strict=True)
        ]

        def reload(asked: bool) -> None:
            for one in watches:
                one.look(asked=asked)

        if not Daemon(desks, reload=reload, status=_after_tick(apps, desks, courier)).run():
            # A job hangs: an ordinary exit would wait for its thread, and nobody would restart us.
            os._exit(1)
        desks[0].ledger.close()


def _sites_but(desks: Sequence[Desk], mine: Desk) -> list[str]:
    """The names of the other desks' sites."""
    return [desk.site.name for desk in desks if desk is not mine]


def _after_tick(
    apps: Sequence[App], desks: Sequence[Desk], courier: SenderProcess
) -> Callable[[], str]:
    """What is done after each tick: the courier rests, the calendar is kept, the heart beats,
    the status is told."""
    pulse = heartbeat.build(apps[0].settings)
    path = apps[0].settings.calendar
    calendar = None if path is None else CalendarPublisher(path, desks)
    first = desks[0]

    def then() -> str:
        courier.close()
        if calendar is not None:
            calendar.keep()
        wrong = [desk.troubles() for desk in desks]
        if pulse is not None:
            pulse.beat(first.clock(), "; ".join(chain.from_iterable(wrong)) or None)
        return reports.status_line(first.household, wrong[0], first.clock())

    return then
