"""`sillward new`: ask a few questions and write a first collection."""

from pathlib import Path

import click

from sillward.assembly import read_only
from sillward.assembly.app import Options
from sillward.assembly.providers import atlas
from sillward.cli import shared
from sillward.config.settings import load_settings
from sillward.errors import SourceError
from sillward.setup import first_run
from sillward.wording import full_sheet
from sillward_rules.sheet import Round, draw_up


@click.command()
@click.argument("file", required=False, type=click.Path(path_type=Path))
@click.option("--force", is_flag=True, help="Replace a file that is there.")
def new(file: Path | None, force: bool) -> None:
    """Ask a few questions, write a first collection (FILE), and show tonight's sheet.

    FILE is SILLWARD_COLLECTION unless it is given.
    """
    settings = load_settings()
    try:
        path = first_run.ask_and_write(file or settings.collection, atlas(settings), force=force)
    except (click.Abort, KeyboardInterrupt):
        click.echo("\nsillward: stopped; nothing was written", err=True)
        click.get_current_context().exit(1)
    click.echo(f"\nWritten: {path}\n")
    app = shared.build(Options(collection=path))
    now = app.clock()
    try:
        weather = read_only.fetched_weather(app, now)
    except SourceError as error:
        click.echo(f"No sheet yet: {error}\n")
    else:
        states = read_only.stored_states(app)
        drawn = draw_up(Round.DUSK, app.household.collection, weather, states, now)
        click.echo(full_sheet.text(drawn, app.household.voice, read_only.attribution(app, weather)))
    click.echo(first_run.next_steps(path, settings.collection))
