"""Numbers on the command line."""

import click

from sillward.text import printable


def number(text: str) -> float:
    """A number in digits of ASCII; Python's own float takes "1_0" and digits of all scripts too."""
    try:
        if not text.isascii() or "_" in text:
            raise ValueError
        return float(text)
    except ValueError:
        msg = f"'{printable.escaped(text)}' is not a valid number."
        raise click.BadParameter(msg) from None
