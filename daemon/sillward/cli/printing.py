"""How commands print: lines broken where the screen ends, and JSON."""

import json
from typing import Any

import click

from sillward.text import printable, terminal


def say(line: str) -> None:
    """Print one line, broken where the screen ends."""
    for piece in terminal.screen().lines(line):
        click.echo(piece)


def print_json(value: Any) -> None:
    """Print one JSON document."""
    click.echo(_spelt(json.dumps(value, ensure_ascii=False, indent=2)))


def _spelt(document: str) -> str:
    """The document with what cannot be shown spelt out as JSON does it, so that it stays one."""
    for sign in printable.strange(document):
        if sign != "\n":
            document = document.replace(sign, json.dumps(sign)[1:-1])
    return document
