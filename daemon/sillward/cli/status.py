"""`sillward status`: what was fetched and sent, what is wrong, what comes next."""

import socket
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import click

from sillward.assembly import providers, read_only
from sillward.assembly.app import Options, place_of
from sillward.cli import shared
from sillward.cli.printing import print_json
from sillward.config import households
from sillward.config.settings import Settings, load_settings
from sillward.errors import ConfigError, SourceError
from sillward.forecast.store import Clock, utc_now
from sillward.ledger import Ledger
from sillward.ledger.house import open_shared
from sillward.reports import households as households_report
from sillward.reports import status as report
from sillward.service.health import IN_FORCE_MARK, is_at_work, not_in_force
from sillward.service.updates import not_restarted
from sillward.text import terminal

_IN_FORCE_PREFIX = f"{IN_FORCE_MARK}, "

_NOTHING_YET = "{}: there is no ledger yet; nothing has run so far"


@click.command()
@click.option(
    "--alive", is_flag=True, help="Only ask whether the daemon is working, for health checks."
)
@shared.options(recorded=False)
def status(options: Options, as_json: bool, alive: bool) -> None:
    """Show what the daemon last fetched, sent and failed to send, and what comes next.

    For a folder of households (SILLWARD_COLLECTIONS) it prints one line for each, those in trouble
    first; --household shows one of them in full.

    The exit status is 1 if anything is wrong. With --alive no collection is read, and it is 1 only
    if the daemon has done nothing for half an hour, so that a restart could help.
    """
    settings = load_settings()
    if alive:
        _require_life(settings)
        return
    if (
        settings.collections is not None
        and options.household is None
        and options.collection is None
    ):
        _show_all(settings, as_json=as_json)
        return
    try:
        app = shared.build(options)
    except ConfigError as error:
        raise ConfigError([*error.lines, *_collections_in_force(options)]) from None
    if not app.has_ledger:
        raise SourceError(_NOTHING_YET.format(app.settings.ledger))
    with closing(app.open_ledger()) as ledger:
        updater, voice = (
            read_only.forecast_updater(app, ledger),
            shared.voice_for(app, as_json=as_json),
        )
        household = read_only.with_readings(app).household
        document = report.document(household, updater, app.clock(), voice)
        document["troubles"] += not_in_force(app.path, ledger, voice, app.clock())
        document["troubles"] += not_restarted(
            ledger, app.clock(), voice.date_and_hour, app.settings.service
        )
    if as_json:
        print_json(document)
    else:
        click.echo(report.text(document, app.household.voice, terminal.screen()))
    if document["troubles"]:
        click.get_current_context().exit(1)


def _show_all(settings: Settings, *, as_json: bool) -> None:
    """Show the state of all households of a folder."""
    path = households.shared_ledger(settings)
    if isinstance(path, Path) and not path.exists():
        raise SourceError(_NOTHING_YET.format(path))
    try:
        names = list(households.find(households.required_folder(settings)))
    except OSError as error:
        msg = f"SILLWARD_COLLECTIONS: {settings.collections}: {error.strerror or error}"
        raise ConfigError([msg]) from None
    with closing(open_shared(path)) as ledger:
        asked = providers.all_asked(settings)
        document = households_report.document(ledger, names, datetime.now(UTC), asked)
    if as_json:
        print_json(document)
    else:
        click.echo(households_report.text(document))
    if document["in_trouble"] or document["troubles"]:
        click.get_current_context().exit(1)


def _require_life(settings: Settings, clock: Clock = utc_now) -> None:
    """Raise SourceError unless the daemon has ticked recently; also ConfigError, LedgerError."""
    path = settings.ledger if settings.collections is None else households.shared_ledger(settings)
    if isinstance(path, Path) and not path.exists():
        raise SourceError(_NOTHING_YET.format(path))
    is_shared = settings.collections is not None
    # Of several workers the one on this machine: others may be at work while it hangs.
    is_one_of_several = is_shared and not isinstance(path, Path)
    machine = socket.gethostname() if is_one_of_several else None
    with closing(open_shared(path) if is_shared else Ledger(path)) as ledger:
        if not is_at_work(ledger, clock(), machine):
            msg = "`sillward run` has done nothing for half an hour"
            raise SourceError(msg)


def _collections_in_force(options: Options) -> list[str]:
    """Return which collections a running daemon has in use, though their files are wrong by now."""
    settings = load_settings()
    place, household = place_of(options, settings), None
    if place is not None:
        settings, household = households.settings_of(settings, place), place.name
    if not settings.has_ledger:
        return []
    with closing(Ledger(settings.ledger, household=household)) as ledger:
        return [
            f"{name.removeprefix(_IN_FORCE_PREFIX)}: `sillward run` goes by the collection that it "
            f"read {mark.at:%Y-%m-%d %H:%M} UTC"
            for name, mark in sorted(ledger.marks.all().items())
            if name.startswith(_IN_FORCE_PREFIX)
        ]
