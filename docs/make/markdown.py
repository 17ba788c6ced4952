"""Markdown as GitHub and the site both read it."""

import re
from collections.abc import Iterable, Sequence

_SPECIAL = re.compile(r"([\\`*_{}<>\[\]|])")
_CODE_OR_TEXT = re.compile(r"(`[^`]*`)")


def escaped(text: str) -> str:
    """Text in which no sign means anything to Markdown, but for the code in it."""
    return "".join(
        part.replace("|", r"\|") if part.startswith("`") else _SPECIAL.sub(r"\\\1", part)
        for part in _CODE_OR_TEXT.split(text)
    )


def code(text: str) -> str:
    """Text as code, in a table as well."""
    return f"`{text}`".replace("|", r"\|")


def sentence(text: str) -> str:
    """A fragment as a sentence: a capital at its beginning, one full stop at its end."""
    text = text.strip().removeprefix("...").strip()
    return f"{text[:1].upper()}{text[1:]}" + ("" if text.endswith((".", "?", "!")) else ".")


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A table; the cells are Markdown already."""
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join(f"| {' | '.join(cells)} |" for cells in lines)
