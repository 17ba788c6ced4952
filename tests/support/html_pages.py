"""An HTML page as a mail program sees it: well formed or not, and in which colours it is read."""

import re
from dataclasses import dataclass, field
from html.parser import HTMLParser

VOID = frozenset({"meta", "img", "br", "hr"})

_DARK = re.compile(
    r"\.(\w+) \{ color: (#\w{6}) !important; background-color: (#\w{6}) !important; \}"
)
_COLOUR = re.compile(r"(?:^|;)\s*color:\s*(#\w{6})")
_GROUND = re.compile(r"background-color:\s*(#\w{6})")

Pair = tuple[str, str]
"""Colours of text and background."""


@dataclass(frozen=True)
class _Open:
    tag: str
    light: Pair
    dark: Pair


@dataclass
class Page(HTMLParser):
    """A parser that notes texts, colours and elements; `page_of` makes one."""

    dark: dict[str, Pair]
    texts: list[tuple[str, Pair, Pair]] = field(default_factory=list)
    """Each piece of text, with its colours on a light and on a dark screen."""
    tags: list[tuple[str, dict[str, str | None]]] = field(default_factory=list)
    _stack: list[_Open] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        assert len(given) == len(attrs), (tag, attrs)
        self.tags.append((tag, given))
        # Nothing is inherited by the page itself: the colours of a browser.
        above = (
            self._stack[-1]
            if self._stack
            else _Open("", ("#000000", "#ffffff"), ("#000000", "#ffffff"))
        )
        style = given.get("style") or ""
        colour, ground = _COLOUR.search(style), _GROUND.search(style)
        light = (
            colour[1] if colour else above.light[0],
            ground[1] if ground else above.light[1],
        )
        dark = (colour[1] if colour else above.dark[0], ground[1] if ground else above.dark[1])
        for name in (given.get("class") or "").split():
            dark = self.dark[name]
        if tag not in VOID:
            self._stack.append(_Open(tag, light, dark))

    def handle_endtag(self, tag: str) -> None:
        assert self._stack.pop().tag == tag

    def handle_data(self, data: str) -> None:
        if data.strip() and self._stack[-1].tag not in ("style", "title"):
            self.texts.append((data.strip(), self._stack[-1].light, self._stack[-1].dark))

    @property
    def text(self) -> str:
        """Return all that is read, each piece on a line of its own."""
        return "\n".join(text for text, _, _ in self.texts)

    def all(self, tag: str) -> list[dict[str, str | None]]:
        """Return the attributes of each element with a tag."""
        return [attrs for name, attrs in self.tags if name == tag]


def page_of(html: str) -> Page:
    """Parse a page to its end; every element must be closed, and in order."""
    page = Page({name: (text, ground) for name, text, ground in _DARK.findall(html)})
    page.feed(html)
    page.close()
    assert page._stack == []
    return page


def contrast(pair: Pair) -> float:
    """Return the contrast ratio of two colours (WCAG 2.2, "relative luminance"; from memory)."""
    lighter, darker = sorted(map(_luminance, pair), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def _luminance(colour: str) -> float:
    channels = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    red, green, blue = (
        channel / 12.92 if channel <= 0.04045 else ((channel + 0.055) / 1.055) ** 2.4
        for channel in channels
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue
