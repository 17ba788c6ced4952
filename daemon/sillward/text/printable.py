"""Text from elsewhere, and what of it can be shown.

A name may hold what a terminal obeys (escape sequences), what turns the text around it (overrides
of direction), or what nobody sees. A file that has such signs is refused when it is read; whatever
is shown all the same is shown with them spelt out: \\x1b, \\u202e.
"""

import re
from collections.abc import Callable, Iterator

JOINERS = "\u200c\u200d\u200e\u200f"
"""Signs without a shape that names in Persian, Arabic and Hebrew need, and some emoji; taken beside
a letter or sign beyond ASCII."""

_UNSEEN = re.compile(r"[\u115f\u1160\u3164\uffa0\u2800]")
"""Letters and a symbol, to Unicode, that are blank: fillers of Hangul, Braille without a dot."""

_NUMBER = re.compile(r"[-+]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)")


def strange(text: str) -> list[str]:
    """The signs of a text that cannot be shown as they are, once each, as they come."""
    if text.isascii() and text.isprintable():
        return []
    return list(dict.fromkeys(one for one, is_plain in _judged(text) if not is_plain))


def _judged(text: str) -> Iterator[tuple[str, bool]]:
    """Each sign, and whether it can be shown where it stands."""
    for before, one, after in zip(f" {text}", text, f"{text[1:]} ", strict=False):
        if one in JOINERS:
            yield one, any(not by.isascii() and by not in JOINERS for by in (before, after))
        else:
            yield one, one.isprintable() and not _UNSEEN.match(one)


def escaped(text: str, keep: str = "") -> str:
    """The text with all its strange signs spelt out, but those to keep."""
    return _with(text, lambda one: one if one in keep else spelt(one))


def blanked(text: str) -> str:
    """The text with blanks in place of its strange signs."""
    return _with(text, lambda _: " ")


def _with(text: str, instead: Callable[[str], str]) -> str:
    if not strange(text):
        return text
    return "".join(one if is_plain else instead(one) for one, is_plain in _judged(text))


def spelt(sign: str) -> str:
    """One sign as programmers write it: \\x1b, \\u202e, \\U000e0001."""
    code = ord(sign)
    if code <= 0xFF:
        return f"\\x{code:02x}"
    return f"\\u{code:04x}" if code <= 0xFFFF else f"\\U{code:08x}"


def cut(text: str, most: int) -> str:
    """At most so many characters, with an ellipsis where something is missing."""
    return text if len(text) <= most else f"{text[: most - 1]}…"


def number(text: str) -> float:
    """A number as people type it: digits of ASCII and a point. Raise ValueError.

    Python itself takes digits of all scripts, underscores, "nan" and "inf".
    """
    if _NUMBER.fullmatch(text.strip()) is None:
        msg = "must be a number, such as 12.5"
        raise ValueError(msg)
    return float(text)
