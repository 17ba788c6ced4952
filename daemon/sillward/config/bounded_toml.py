"""Parsing TOML of unknown origin: its nesting is bounded before it is parsed.

The parser of the standard library recurses for each bracket, and takes time by the square of the
number of parts in a dotted key.
"""

import re
import tomllib
from typing import Any

MAX_DEPTH = 20
"""Levels of brackets, and parts of a key. Judgement: a collection needs 5."""

_TOKEN = re.compile(
    r'"""(?:[^"\\]|\\.|"(?!""))*+(?:""")?'  # texts, whole or cut off
    r"|'''(?:[^']|'(?!''))*+(?:''')?"
    r'|"(?:[^"\\\n]|\\.)*+"?'
    r"|'[^'\n]*+'?"
    r"|#[^\n]*+"
    r"|(?P<open>[\[{])|(?P<close>[\]}])|(?P<dot>\.)|(?P<end>[=,\n])",
    re.DOTALL,
)


def parse(text: str) -> dict[str, Any]:
    """Parse a document. Raise ValueError with what is wrong with it."""
    _check_depth(text)
    try:
        return tomllib.loads(text)
    except RecursionError:  # for another reason than brackets
        raise ValueError(_TOO_DEEP) from None


_TOO_DEEP = f"nested more than {MAX_DEPTH} deep"


def _check_depth(text: str) -> None:
    depth = dots = 0
    for token in _TOKEN.finditer(text):
        kind = token.lastgroup
        if kind == "open":
            depth, dots = depth + 1, 0
        elif kind == "close":
            depth, dots = max(depth - 1, 0), 0
        elif kind == "dot":
            dots += 1
        elif kind == "end":
            dots = 0
        if depth > MAX_DEPTH or dots > MAX_DEPTH:
            line = text.count("\n", 0, token.start()) + 1
            msg = f"{_TOO_DEEP} (at line {line})"
            raise ValueError(msg)
