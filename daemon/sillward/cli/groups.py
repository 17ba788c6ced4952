"""`sillward groups`: find culture groups."""

import click

from sillward.reports import groups as report
from sillward.text import terminal


@click.command()
@click.argument("words", nargs=-1)
def groups(words: tuple[str, ...]) -> None:
    """List the culture groups, or those that match all these WORDS, by common or Latin name.

    Example: sillward groups moth orchid
    """
    click.echo(report.text(words, terminal.screen()))
