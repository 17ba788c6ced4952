"""`sillward words`: the macros of messages."""

from pathlib import Path

import click

from sillward.assembly.app import Options
from sillward.assembly.examples import demo
from sillward.cli import shared
from sillward.cli.printing import say
from sillward.config.settings import load_settings
from sillward.reports import words as report
from sillward.text import terminal


@click.command()
@click.argument("names", nargs=-1)
@click.option("--collection", type=click.Path(path_type=Path), help="The collection file.")
@click.option(
    "--out", type=click.Path(path_type=Path), help="Copy the standard macros into this folder."
)
def words(names: tuple[str, ...], collection: Path | None, out: Path | None) -> None:
    """List the macros of messages, or those named like NAMES, with what they say now.

    Example: sillward words stay
    """
    if out is not None:
        written = ", ".join(report.copy(out))
        say(f"Written to {out}: {written}. Keep the macros that you change, delete the others.")
        return
    path = collection or load_settings().collection
    has_collection = collection is not None or path.exists()
    app = shared.build(Options(collection)) if has_collection else demo("cold-snap")
    click.echo(report.text(app.household.voice, names, terminal.screen()))
