"""TOML that anybody may have written: its size and nesting are bounded before it is parsed.

The parser of the standard library goes one call deeper for each bracket, and takes the square of
the parts of a dotted key.
"""

import re
import tomllib
from typing import Any

DEEPEST = 20
"""Levels of brackets, and parts of a key. Judgement: a collection needs 5."""

_PIECE = re.compile(
    r'"""(?:[^"\\]|\\.|"(?!""))*+(?:""")?'  # texts, whole or cut off
    r"|'''(?:[^']|'(?!''))*+(?:''')?"
    r'|"(?:[^"\\\n]|\\.)*+"?'
    r"|'[^'\n]*+'?"
    r"|#[^\n]*+"
    r"|(?P<open>[\[{])|(?P<close>[\]}])|(?P<dot>\.)|(?P<end>[=,\n])",
    re.DOTALL,
)


def parse(text: str) -> dict[str, Any]:
    """Read a document. Raise ValueError with a line of what is wrong with it."""
    _bound(text)
    try:
        return tomllib.loads(text)
    except RecursionError:  # not by brackets: the parser has its own ways
        raise ValueError(_TOO_DEEP) from None


_TOO_DEEP = f"nested more than {DEEPEST} deep"


def _bound(text: str) -> None:
    depth = dots = 0
    for piece in _PIECE.finditer(text):
        kind = piece.lastgroup
        if kind == "open":
            depth, dots = depth + 1, 0
        elif kind == "close":
            depth, dots = max(depth - 1, 0), 0
        elif kind == "dot":
            dots += 1
        elif kind == "end":
            dots = 0
        if depth > DEEPEST or dots > DEEPEST:
            line = text.count("\n", 0, piece.start()) + 1
            msg = f"{_TOO_DEEP} (at line {line})"
            raise ValueError(msg)
