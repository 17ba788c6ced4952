"""A message as a phone shows it: a title, and as many lines as there is room for."""

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cache
from itertools import groupby
from typing import TYPE_CHECKING

from sillward.text import printable
from sillward.wording.message_length import cut_title, fits, room_for_body

if TYPE_CHECKING:
    from sillward.wording.voice import Voice


@dataclass(frozen=True, slots=True)
class Button:
    """What a phone may show below a message. acts: it answers at once, else it opens a page."""

    text: str
    address: str
    acts: bool = False


@dataclass(frozen=True, slots=True)
class Links:
    """Where a message can be answered: a channel gets the buttons, or the address, or the lines.

    buttons: the most important one first, three at most.
    address: the page that asks what was done, for what leads to one page only.
    lines: the same for people to read; a push has room for the first.
    """

    buttons: tuple[Button, ...]
    address: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Message:
    """What a channel delivers.

    html: the same text as a page for mail programs; other channels get the body alone.
    images: PNG images, each with the content id under which the page shows it.
    urgent: whether what it asks for is due within minutes.
    links: where it can be answered. They are never stored: who has them may answer.
    """

    title: str
    body: str
    html: str | None = None
    images: tuple[tuple[str, bytes], ...] = ()
    urgent: bool = False
    links: Links | None = None


def shortened(title: str, lines: Sequence[str]) -> Message:
    """Return a push of as many lines as fit; the last line, which says what to do, is kept."""
    title, kept = cut_title(title), list(lines)
    while len(kept) > 1 and not fits(title, "\n".join(kept)):
        kept.pop(-2)
    return Message(title, "\n".join(kept))


def trimmed(message: Message, voice: "Voice") -> Message:
    """Return the message at the length of a push, with a count of the lines that were left out.

    The message may have grown since it was composed, by words put before its title or its lines.
    """
    title = cut_title(message.title)
    lines, gone = message.body.split("\n"), 0

    def body() -> str:
        tail = [voice.say("cut", lines=gone, plants=0)] if gone else []
        return "\n".join([*lines, *tail])

    while lines and not fits(title, body()):
        gone += _counted(lines.pop(), voice)
    return replace(message, title=title, body=body())


def led_to_page(message: Message, voice: "Voice", *, to_helper: bool = False) -> Message:
    """Return a message that has links, with the page in place of the command at the end of lines.

    Those say what was left out, or what is to be answered.
    It is no longer than before.

    to_helper: whether it goes to someone who has no such command: without links they ask.
    """
    if message.links is None and not to_helper:
        return message
    sheet = voice.say("see_sheet")
    page = voice.say("see_household" if message.links is None else "see_page")
    if not sheet or len(page) > len(sheet):
        return message
    lines = [
        f"{line.removesuffix(sheet)}{page}" if line.endswith(sheet) else line
        for line in message.body.split("\n")
    ]
    return replace(message, body="\n".join(lines))


def _counted(line: str, voice: "Voice") -> int:
    """Return how many lines a line stands for: 1, or the number that it says were left out."""
    start = voice.say("cut", lines=1, plants=0).partition("1")[0]
    number = re.match(rf"{re.escape(start)}(\d+)\b", line) if start.strip() else None
    return int(number[1]) if number else 1


LineText = Callable[[int], str]
"""Makes a line that may name so many plants; with 0 it gives their number alone."""


@dataclass(frozen=True, slots=True)
class Line:
    """A line, the plants it is about, and its hour if it is told in the order of hours.

    shorter: what it says rather than being cut, each shorter than the one before.
    """

    text: LineText
    plants: frozenset[str] = frozenset()
    at: datetime | None = None
    shorter: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Part:
    """Lines that belong together, and the same in fewer or shorter lines for a crowded day.

    lines: the lines for a day with room.
    crowded: makes the shorter lines; None if there are none.
    optional: whether it may be left out, because a later round tells it again.
    plants: the plants that each line is about.
    kept: whether it is told whatever else is cut.
    spare: whether it is cut before anything else.
    hours: when each line is due; neighbouring parts that have hours are told in the order of their
        lines' hours.
    """

    lines: tuple[LineText, ...]
    crowded: Callable[[], Sequence[Line]] | None = None
    optional: bool = False
    plants: tuple[frozenset[str], ...] = ()
    kept: bool = False
    spare: bool = False
    hours: tuple[datetime, ...] = ()

    def each(self) -> tuple[Line, ...]:
        """Return the lines for a day with room."""
        count = len(self.lines)
        plants = self.plants or (frozenset[str](),) * count
        hours = self.hours or (None,) * count
        return tuple(Line(*line) for line in zip(self.lines, plants, hours, strict=True))

    def in_one(self, text: str) -> Line:
        """Return a line in place of all of them, with the first of their hours."""
        everyone = frozenset[str]().union(*self.plants)
        return Line(lambda _: text, everyone, min(self.hours, default=None))


def plain_part(text: str, *, optional: bool = False, kept: bool = False) -> Part:
    """Return a part that is always told in the same words, or an empty part for an empty text."""
    return Part((lambda _: text,) if text else (), None, optional, kept=kept)


def composed(title: str, parts: Sequence[Part], voice: "Voice", spare: int = 0) -> Message:
    """Return the parts in their order under a title, within `MAX_CHARACTERS`.

    spare: characters to leave free for words that may later be put before the title.

    At first every line is without names. Where that is too long, parts are told in one line each,
    the last first; where that is too long as well, the last lines are left out and counted. Then
    names are added as far as there is room, to the lines with the fewest first; then the optional
    parts, and names in these.
    """
    title = cut_title(title)
    needed = [_worded_once(part) for part in parts if part.lines and not part.optional]
    room = room_for_body(title) - spare
    crowded = _crowded(needed, room)
    ranked = _by_hour(
        [
            (line, (not part.kept, part.spare))
            for index, part in enumerate(needed)
            for line in (_short(part) if index in crowded else part.each())
        ]
    )
    cut = _cut(ranked, room, voice)
    if cut is not None:
        return Message(title, cut)
    lines = _Lines([line.text for line, _ in ranked], room)
    lines.add_names()
    for part in parts:
        if part.optional:
            lines.add(_worded_once(part).lines)
    lines.add_names()
    return Message(title, lines.text() or voice.say("that_is_all"))


def _worded_once(part: Part) -> Part:
    """Return a part whose lines keep their words: the same are tried beside many others."""

    def crowded() -> Sequence[Line]:
        assert part.crowded is not None
        return [replace(line, text=cache(line.text)) for line in part.crowded()]

    return replace(
        part,
        lines=tuple(cache(line) for line in part.lines),
        crowded=None if part.crowded is None else cache(crowded),
    )


_Ranked = tuple[Line, tuple[bool, bool]]
"""A line with its rank among those that are cut: the lower it is, the later the line is cut."""


def _by_hour(lines: Sequence[_Ranked]) -> list[_Ranked]:
    """Return neighbouring lines with hours in the order of these, the others where they are."""
    ordered: list[_Ranked] = []
    for has_hour, run in groupby(lines, key=lambda ranked: ranked[0].at is not None):
        lines_of_run = list(run)
        if has_hour:
            lines_of_run.sort(key=lambda ranked: _hour(ranked[0]))
        ordered += lines_of_run
    return ordered


def _hour(line: Line) -> datetime:
    assert line.at is not None
    return line.at


def _short(part: Part) -> Sequence[Line]:
    return part.crowded() if part.crowded else part.each()


def _text(lines: Iterable[Line]) -> str:
    return "\n".join(line.text(0) for line in lines)


def _crowded(parts: Sequence[Part], room: int) -> set[int]:
    """Return the indices of the parts to tell in short, so that all parts have room if they can."""
    long = [_text(part.each()) for part in parts]
    if len("\n".join(long)) <= room:
        return set()
    short = [_text(_short(part)) for part in parts]
    kept = sum(len(text) + 1 for part, text in zip(parts, short, strict=True) if part.kept)

    def length(crowded: set[int]) -> int:
        return len("\n".join(short[i] if i in crowded else long[i] for i in range(len(parts))))

    crowded = set[int]()
    for index in reversed(range(len(parts))):
        if length(crowded) <= room:
            break
        # A part that has no room even then is told line by line, as far as there is room.
        has_room = max(map(len, short[index].split("\n"))) <= room - (
            0 if parts[index].kept else kept
        )
        if len(short[index]) < len(long[index]) and has_room:
            crowded.add(index)
    for index in sorted(crowded):  # one of the last may have made the room that was needed
        if length(crowded - {index}) <= room:
            crowded.remove(index)
    return crowded


def _cut(lines: Sequence[_Ranked], room: int, voice: "Voice") -> str | None:
    """Return the lines that fit, the most important first, and a count of the others.

    None if all lines fit.
    """
    forms = [(line.text(0), *line.shorter) for line, _ in lines]
    if len("\n".join(texts[0] for texts in forms)) <= room:
        return None

    def text_with(kept: Mapping[int, str]) -> str:
        rest = [line.plants for index, (line, _) in enumerate(lines) if index not in kept]
        plants = len(frozenset[str]().union(*rest))
        tail = [voice.say("cut", lines=len(rest), plants=plants)] if rest else []
        return "\n".join([*(text for _, text in sorted(kept.items())), *tail])

    def longest(kept: Mapping[int, str], indices: Iterable[int]) -> Mapping[int, str]:
        """Return the lines with each of these in the longest form that has room, in this order."""
        for index in indices:
            tried = ({**kept, index: text} for text in forms[index])
            kept = next((texts for texts in tried if len(text_with(texts)) <= room), kept)
        return kept

    kept: Mapping[int, str] = {}
    for index in sorted(range(len(lines)), key=lambda index: lines[index][1]):
        line, (_, spare) = lines[index]
        briefly = {**{other: forms[other][-1] for other in kept}, index: forms[index][-1]}
        # An order for an hour is worth more than the names in those before it.
        if line.at is not None and not spare and len(text_with(briefly)) <= room:
            kept = longest(briefly, [*kept, index])
        else:
            kept = longest(kept, [index])
    text = text_with(kept)
    if len(text) <= room:
        return text
    everyone = frozenset[str]().union(*(line.plants for line, _ in lines))
    facts = {"lines": len(lines), "plants": len(everyone)}  # the grower's words are too long
    return printable.cut(voice.in_our_words("cut", facts), room)


NAME_STEPS = (1, 2, 3, 5, 8)
"""Numbers of names that a line is tried with."""


class _Lines:
    """Lines within a number of characters, each with as many names as it was given."""

    def __init__(self, lines: list[LineText], room: int) -> None:
        self._lines = lines
        self._room = room
        self._names = dict.fromkeys(range(len(lines)), 0)

    def text(self, names: Mapping[int, int] | None = None) -> str:
        """Return the lines with the numbers of names given here, or with their present ones."""
        given = self._names if names is None else names
        return "\n".join(self._lines[index](most) for index, most in given.items())

    def add_names(self) -> None:
        """Give each line the most names that there is room for, the shortest line first."""
        for index in sorted(self._names, key=lambda index: len(self._lines[index](NAME_STEPS[-1]))):
            for most in NAME_STEPS:
                if len(self.text({**self._names, index: most})) <= self._room:
                    self._names[index] = most

    def add(self, lines: Sequence[LineText]) -> None:
        """Add those of the lines that fit, at the end."""
        for text in lines:
            index = len(self._lines)
            self._lines.append(text)
            if len(self.text({**self._names, index: 0})) <= self._room:
                self._names[index] = 0
