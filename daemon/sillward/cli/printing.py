"""How commands print: lines broken where the screen ends, and JSON."""

import json
from typing import Any

import click

from sillward import terminal


def say(line: str) -> None:
    """Print one line, broken where the screen ends."""
    for piece in terminal.screen().lines(line):
        click.echo(piece)


def print_json(value: Any) -> None:
    """Print one JSON document."""
    click.echo(json.dumps(value, ensure_ascii=False, indent=2))
