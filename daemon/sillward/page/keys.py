"""Keys by which addresses of the page name plants and spots.

A name may hold anything, and may not be for everybody's eyes; addresses end up in histories.
"""

from collections.abc import Iterable
from hashlib import sha256

from werkzeug.exceptions import NotFound

KEY_DIGITS = 12
"""Hexadecimal digits of a key: 48 bits, so that a thousand names do not collide (a chance of one in
500 million)."""


def key_of(name: str) -> str:
    """Return the key of a name."""
    return sha256(name.encode()).hexdigest()[:KEY_DIGITS]


def named(key: str, names: Iterable[str]) -> str:
    """Return the name that a key stands for. Raise NotFound if none of these has it."""
    for name in names:
        if key_of(name) == key:
            return name
    raise NotFound
