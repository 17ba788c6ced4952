"""Text from elsewhere, and which of its characters can be shown.

A name may hold characters that a terminal obeys (escape sequences), that turn the text around them
(overrides of direction), or that cannot be seen. A file with such characters is refused when it is
read; where they are shown all the same, they are escaped: \\x1b, \\u202e.
"""

import re
from collections.abc import Callable, Iterator

JOINERS = "\u200c\u200d\u200e\u200f"
"""Characters without a shape that Persian, Arabic and Hebrew names need, and some emoji. They
are accepted next to a character beyond ASCII."""

_UNSEEN = re.compile(r"[\u115f\u1160\u3164\uffa0\u2800]")
"""Characters that Unicode counts as letters or symbols and that are blank: fillers of Hangul,
Braille without a dot."""

_NUMBER = re.compile(r"[-+]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)")


def unprintable(text: str) -> list[str]:
    """Return the characters of a text that cannot be shown, once each, in their order."""
    if text.isprintable() and not _UNSEEN.search(text):  # what Python prints has no joiners
        return []
    return list(dict.fromkeys(char for char, is_plain in _judged(text) if not is_plain))


def _judged(text: str) -> Iterator[tuple[str, bool]]:
    """Yield each character, and whether it can be shown where it stands."""
    for before, char, after in zip(f" {text}", text, f"{text[1:]} ", strict=False):
        if char in JOINERS:
            yield char, any(not by.isascii() and by not in JOINERS for by in (before, after))
        else:
            yield char, char.isprintable() and not _UNSEEN.match(char)


def escaped(text: str) -> str:
    """Return the text with all characters escaped that cannot be shown."""
    return _replaced(text, escaped_char)


def blanked(text: str) -> str:
    """Return the text with blanks in place of the characters that cannot be shown."""
    return _replaced(text, lambda _: " ")


def _replaced(text: str, instead: Callable[[str], str]) -> str:
    if not unprintable(text):
        return text
    return "".join(char if is_plain else instead(char) for char, is_plain in _judged(text))


def escaped_char(char: str) -> str:
    """Return a character as programmers write it: \\x1b, \\u202e, \\U000e0001."""
    code = ord(char)
    if code <= 0xFF:
        return f"\\x{code:02x}"
    return f"\\u{code:04x}" if code <= 0xFFFF else f"\\U{code:08x}"


def cut(text: str, most: int) -> str:
    """Return at most so many characters, with an ellipsis if something is missing."""
    return text if len(text) <= most else f"{text[: most - 1]}…"


def number(text: str) -> float:
    """Return the number that a person typed: ASCII digits and a point. Raise ValueError.

    Python itself also takes digits of other scripts, underscores, "nan" and "inf".
    """
    if _NUMBER.fullmatch(text.strip()) is None:
        msg = "must be a number, such as 12.5"
        raise ValueError(msg)
    return float(text)
