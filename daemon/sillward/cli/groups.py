"""`sillward groups`: find culture groups."""

import click

from sillward.reports import groups as report
from sillward.text import terminal


@click.command()
@click.argument("words", nargs=-1)
def groups(words: tuple[str, ...]) -> None:
    """List the culture groups, or those that all these WORDS find: by common or Latin name too.

    Example: sillward groups moth orchid
    """
    click.echo(report.text(words, terminal.screen()))
