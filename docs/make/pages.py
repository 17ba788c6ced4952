"""The pages of the manual, and the parts of them that are generated from the code.

A generated part stands between two comments, so that the rest of the page can be written by hand:

    <!-- generated: table site -->
    ...
    <!-- end of generated -->
"""

import re
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path

from docs.make import collection, commands, replays, settings

DOCS = Path(__file__).parents[1]
ROOT = DOCS.parent

_PART = re.compile(
    r"(?P<begin><!-- generated: (?P<name>[^\n]+?) -->\n).*?(?P<end><!-- end of generated -->\n)",
    re.DOTALL,
)


def pages() -> list[Path]:
    """The pages of the manual."""
    return sorted(DOCS.glob("*.md"))


@cache
def parts() -> Mapping[str, str]:
    """Everything that is generated, by the name under which a page asks for it."""
    return {**collection.parts(), **commands.parts(), **replays.parts(), **settings.parts()}


def parts_in(text: str) -> list[str]:
    """The names of the generated parts in a page."""
    return [found["name"] for found in _PART.finditer(text)]


def filled(text: str) -> str:
    """The page with every generated part as it should be now.

    Raise KeyError for a part that nothing generates.
    """

    def part(found: re.Match[str]) -> str:
        return f"{found['begin']}\n{parts()[found['name']].strip()}\n\n{found['end']}"

    return _PART.sub(part, text)


def bring_up_to_date() -> Iterator[Path]:
    """Rewrite the pages whose generated parts are not current, and yield their paths."""
    for path in pages():
        text = path.read_text(encoding="utf-8")
        if (new := filled(text)) != text:
            path.write_text(new, encoding="utf-8")
            yield path
