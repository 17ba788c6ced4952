"""How commands print: lines wrapped to the screen, and JSON."""

import json
from typing import Any

import click

from sillward.text import printable, terminal


def say(line: str) -> None:
    """Print one line, wrapped to the screen."""
    for piece in terminal.screen(least=terminal.MIN_PROSE_COLUMNS).lines(line):
        click.echo(piece)


def print_json(value: Any) -> None:
    """Print one JSON document."""
    click.echo(_with_escapes(json.dumps(value, ensure_ascii=False, indent=2)))


def _with_escapes(document: str) -> str:
    """Return a JSON document with what a terminal cannot show as JSON escapes."""
    for character in printable.unprintable(document):
        if character != "\n":
            document = document.replace(character, json.dumps(character)[1:-1])
    return document
