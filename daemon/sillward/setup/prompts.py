"""Questions on a terminal: each is asked again until its answer can be read."""

import re
from collections.abc import Callable, Sequence
from typing import TypeVar

import click

from sillward.config.validation import problem_with
from sillward.text import printable

T = TypeVar("T")

NONE = "-"
"""What is typed for "there is none"."""


def ask(question: str, read: Callable[[str], T], default: str = "") -> T:
    """Ask until `read` takes the answer; it raises ValueError with what is wrong with it."""
    while True:
        try:
            return read(click.prompt(question, default=default, show_default=bool(default)).strip())
        except UnicodeDecodeError:
            click.echo("  that is not UTF-8 text")
        except ValueError as error:
            click.echo(f"  {error}")


def choose(question: str, rows: Sequence[str], default: int = 1) -> int:
    """Show numbered rows and ask for one of them; return its index.

    default: its number.
    """
    show_numbered(rows)
    return ask(question, lambda typed: index_of(typed, len(rows)), str(default))


def show_numbered(rows: Sequence[str]) -> None:
    """Print rows with numbers from 1."""
    for number, row in enumerate(rows, 1):
        click.echo(f"  {number:>2} {row}")


def ask_name_of(question: str, names: Sequence[str], default: str) -> str:
    """Ask for one of a few names; a beginning that fits a single one is enough."""

    def read(typed: str) -> str:
        fitting = [name for name in names if name.casefold().startswith(typed.casefold())]
        exact = [name for name in fitting if name.casefold() == typed.casefold()]
        chosen = exact or fitting
        if not typed or len(chosen) != 1:
            msg = f"write one of: {', '.join(names)}"
            raise ValueError(msg)
        return chosen[0]

    return ask(f"{question} ({', '.join(names)})", read, default)


# -- reading answers


def valid(kind: object, value: T) -> T:
    """Return a value that is valid for a type of the collection's tables; else ValueError."""
    wrong = problem_with(kind, value)
    if wrong is not None:
        raise ValueError(wrong)
    return value


def number(text: str, kind: object, unit: str) -> float:
    """Read a number with or without its unit, with a decimal point or comma. Raise ValueError."""
    bare = text.replace("−", "-").replace(",", ".").removesuffix(unit).strip()
    try:
        value = printable.number(bare)
    except ValueError:
        msg = f"write a number, in {unit}"
        raise ValueError(msg) from None
    try:
        return valid(kind, value)
    except ValueError as error:
        msg = f"{error} {unit}"
        raise ValueError(msg) from None


def index_of(text: str, count: int) -> int:
    """Read a number from 1 to count; return the index, from 0. Raise ValueError."""
    if not re.fullmatch("[0-9]{1,3}", text) or not 1 <= int(text) <= count:
        msg = f"write a number from 1 to {count}"
        raise ValueError(msg)
    return int(text) - 1
