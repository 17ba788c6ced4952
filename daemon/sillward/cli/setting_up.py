"""Setting up: a first collection, whether it is right, the words of messages."""

from collections.abc import Sequence
from pathlib import Path

import click

from sillward.assembly.app import Options, atlas, demo
from sillward.assembly.desks import require_places
from sillward.channels import apprise_sender
from sillward.cli import shared
from sillward.cli.printing import print_json, say
from sillward.config.loader import Channel
from sillward.config.settings import load_settings
from sillward.errors import SourceError
from sillward.ical import publisher
from sillward.reports import macro_list, reports
from sillward.setup import first_run
from sillward.text import terminal
from sillward.wording import full_sheet
from sillward_rules.sheet import Round, draw_up


@click.command()
@shared.options(at=False, recorded=False)
@click.option("--strict", is_flag=True, help="A channel without a url is an error.")
def check(options: Options, as_json: bool, strict: bool) -> None:
    """Validate collection, settings and channels; show every limit and where it comes from.

    A channel whose url is neither in the file nor in the environment nor a credential is named.

    Example: sillward check --collection yard.toml
    """
    app = shared.build(options)
    listed = app.household.channels
    apprise_sender.check_channels(
        listed, app.path.name, apprise_sender.problems if strict else _given
    )
    for channel in listed:
        if channel.url is None:
            note = f'channel "{channel.name}" {apprise_sender.problems([channel])[0]}'
            click.echo("\n".join(terminal.screen().lines(f"sillward: note: {note}")), err=True)
    require_places(app)
    if app.settings.calendar is not None:
        publisher.check_place(app.settings.calendar)
    for line in macro_list.check(app.household.voice, app.path.name, _week_example):
        click.echo("\n".join(terminal.screen().lines(f"sillward: note: {line}")), err=True)
    sources = [source.name for source in app.sources]
    if as_json:
        print_json(reports.check_document(app.household, sources))
    else:
        click.echo(reports.check_text(app.household, app.clock(), sources, terminal.screen()))


def _given(listed: Sequence[Channel]) -> list[str | None]:
    """What is wrong with the urls that there are."""
    found = apprise_sender.problems(listed)
    return [None if one.url is None else wrong for one, wrong in zip(listed, found, strict=True)]


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
        weather = app.weather(now)
    except SourceError as error:
        click.echo(f"No sheet yet: {error}\n")
    else:
        drawn = draw_up(Round.DUSK, app.household.collection, weather, app.states(), now)
        click.echo(full_sheet.text(drawn, app.household.voice, app.attribution(weather)))
    click.echo(first_run.next_steps(path, settings.collection))


@click.command()
@click.argument("names", nargs=-1)
@click.option("--collection", type=click.Path(path_type=Path), help="The collection file.")
@click.option("--out", type=click.Path(path_type=Path), help="Copy ours into this folder.")
def words(names: tuple[str, ...], collection: Path | None, out: Path | None) -> None:
    """List the macros of messages, those named like NAMES: what they are told and say now.

    Example: sillward words stay
    """
    if out is not None:
        written = ", ".join(macro_list.copy(out))
        say(f"Written to {out}: {written}. Keep the macros that you change, delete the others.")
        return
    path = collection or load_settings().collection
    there = collection is not None or path.exists()
    app = shared.build(Options(collection)) if there else demo("cold-snap")
    click.echo(macro_list.text(app.household.voice, names, terminal.screen()))


def _week_example() -> macro_list.WeekExample:
    """The week of the packaged example in its cold snap."""
    app = demo("cold-snap")
    weather, now = app.weather(app.clock()), app.clock()
    collection = app.household.collection
    sheet = draw_up(Round.WEEK, collection, weather, {}, now)
    return macro_list.WeekExample(collection, sheet, app.attribution(weather))
