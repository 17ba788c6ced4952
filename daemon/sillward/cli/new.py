"""`sillward new`: ask a few questions and write a first collection."""

import functools
import os
import shlex
from contextlib import closing
from pathlib import Path

import click

from sillward import files
from sillward.assembly import read_only
from sillward.assembly.app import App, Options
from sillward.assembly.providers import atlas
from sillward.channels.sender_process import SenderProcess
from sillward.cli import shared
from sillward.config.collection_file import MAX_COLLECTION_BYTES
from sillward.config.settings import load_settings
from sillward.errors import ConfigError, SourceError
from sillward.forecast.store import utc_now
from sillward.reports import check_warnings
from sillward.setup import adding, first_run, plant_list, prompts
from sillward.setup.collection_text import SCHEMA_FILE
from sillward.setup.own_phone import Sending, own_phone, settings_for
from sillward.setup.phone_questions import new_topic
from sillward.setup.plant_list import PlantList
from sillward.text import terminal
from sillward.wording import full_sheet
from sillward_rules.sheet import Round, draw_up


@click.command()
@click.argument("file", required=False, type=click.Path(path_type=Path))
@click.option(
    "--plants",
    "list_file",
    type=click.Path(path_type=Path),
    metavar="CSV",
    help="Take the plants from a spreadsheet saved as CSV.",
)
@click.option("--force", is_flag=True, help="Replace an existing file.")
def new(file: Path | None, list_file: Path | None, force: bool) -> None:
    """Ask a few questions, write a first collection (FILE), and show tonight's sheet.

    FILE defaults to SILLWARD_COLLECTION. A list of plants (--plants) has one plant in each
    line, under the headings name, group, holder, home and shelter; only name is required. If
    FILE is already a collection, nothing is written: the tables to add to it are printed.

    Example: sillward new --plants plants.csv yard.toml
    """
    settings = load_settings()
    path = file or settings.collection
    plants = None if list_file is None else _read_list(list_file)
    if settings.service is not None and plants is None and not (file or force):
        _refuse_second(path)
    try:
        if plants is not None and os.path.isfile(path) and not force:
            click.echo(adding.tables_to_add(path, plants))
            return
        with closing(SenderProcess()) as sender:
            sending = Sending(sender, sender.problems, utc_now)
            phone_for = functools.partial(own_phone, settings, sending, new_topic())
            written = first_run.ask_and_write(path, atlas(settings), phone_for, plants, force=force)
    except (click.Abort, KeyboardInterrupt):
        click.echo("\nsillward: stopped; nothing was written", err=True)
        click.get_current_context().exit(1)
    click.echo(f"\nWritten: {' and '.join(map(str, written.files))}")
    prompts.tell([f"({SCHEMA_FILE} beside it lets editors explain each key)", ""])
    _show_sheet_and_warnings(written.path)
    first_run.tell_next_steps(written, settings_for(settings, written.path))


def _refuse_second(path: Path) -> None:
    """Raise ConfigError if the service has a collection: it would not read a second one."""
    if os.path.lexists(path):
        raise ConfigError(
            [
                f"{path}: already exists",
                f"to change it: sudo nano {shlex.quote(str(path))}",
                "to add plants from a spreadsheet: sudo sillward new --plants plants.csv",
                "to start over, which replaces it at the end: sudo sillward new --force",
            ]
        )


def _read_list(path: Path) -> PlantList:
    """Read a list of plants, and say what is left out. Raise ConfigError."""
    try:
        body = files.read(path, MAX_COLLECTION_BYTES)
    except OSError as error:
        raise ConfigError([f"{path}: cannot be read: {error.strerror or error}"]) from None
    plants = plant_list.read(body, path.name)
    left_out = f"; left out: {', '.join(plants.unused)}" if plants.unused else ""
    if left_out and len(plants.columns) == 1:
        left_out += f" (known headings: {', '.join(plant_list.COLUMNS)})"
    count = len(plants.plants)
    number = f"{count} plant{'' if count == 1 else 's'}"
    prompts.tell([f"{path.name}: {number}{left_out}", ""], err=True)
    return plants


def _show_sheet_and_warnings(path: Path) -> None:
    """Print tonight's sheet, or why there is none yet, and what the grower must know of it all."""
    app = shared.build(Options(collection=path))
    _show_sheet(app)
    if warnings := check_warnings.of_new(app.household):
        prompts.tell([*(f"! {warning}" for warning in warnings), ""])


def _show_sheet(app: App) -> None:
    now = app.clock()
    try:
        weather = read_only.fetched_weather(app, now)
    except SourceError as error:
        click.echo(f"No sheet yet: {error}\n")
        return
    states = read_only.stored_states(app)
    drawn = draw_up(Round.DUSK, app.household.collection, weather, states, now)
    credit, columns = read_only.attribution(app, weather), terminal.sheet_columns()
    click.echo(full_sheet.text(drawn, app.household.voice, credit, columns=columns))
