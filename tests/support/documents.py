"""The documents as tests read them."""

import re
from collections.abc import Iterator

from tests.support.paths import ROOT


def text_of(name: str) -> str:
    """A document of the repository, such as "docs/service.md"."""
    return (ROOT / name).read_text(encoding="utf-8")


def blocks(text: str, language: str) -> Iterator[str]:
    """The blocks of code in this language, indented ones too."""
    for found in re.finditer(rf"^( *)```{language}\n(.*?)^\1```$", text, re.MULTILINE | re.DOTALL):
        indent, block = found.groups()
        yield "".join(line.removeprefix(indent) for line in block.splitlines(keepends=True))


def first_collection() -> str:
    """The whole collection that the README shows, as TOML."""
    return next(blocks(text_of("README.md").split("Here is a complete one:", 1)[1], "toml"))


def key_tables(page: str) -> dict[str, set[str]]:
    """The keys that the page of the collection documents, by the name of their table."""
    tables: dict[str, set[str]] = {}
    for found in re.finditer(
        r"<!-- generated: table (\w+) -->\n(.*?)<!-- end of generated -->", page, re.DOTALL
    ):
        tables[found[1]] = set(re.findall(r"^\| `(\w+)` \|", found[2], re.MULTILINE))
    return tables
