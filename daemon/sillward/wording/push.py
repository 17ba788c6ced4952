"""A message as a phone gets it: a title, and as many lines as there is room for."""

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import groupby

from sillward.text import printable
from sillward.wording.message_length import cut_title, fits, room_for_body
from sillward.wording.voice import Voice


@dataclass(frozen=True, slots=True)
class Message:
    """What a channel gets.

    html: the same for a mail program; other channels, and those that cannot, get the body alone.
    images: PNG by the content id under which the html shows them. urgent: what it asks for is due
    within minutes.
    """

    title: str
    body: str
    html: str | None = None
    images: tuple[tuple[str, bytes], ...] = ()
    urgent: bool = False


def shortened(title: str, lines: Sequence[str]) -> Message:
    """A push of as many lines as fit; the last, which says what to do, is kept."""
    title, kept = cut_title(title), list(lines)
    while len(kept) > 1 and not fits(title, "\n".join(kept)):
        kept.pop(-2)
    return Message(title, "\n".join(kept))


def trimmed(message: Message, voice: Voice) -> Message:
    """The message, no longer than a push may be: what was put before its title or its lines costs
    lines at its end, which are counted."""
    title = cut_title(message.title)
    lines, gone = message.body.split("\n"), 0

    def body() -> str:
        tail = [voice.say("cut", lines=gone, plants=0)] if gone else []
        return "\n".join([*lines, *tail])

    while lines and not fits(title, body()):
        gone += _counted(lines.pop(), voice)
    return replace(message, title=title, body=body())


def _counted(line: str, voice: Voice) -> int:
    """How many lines a line stands for: one, or those that are counted in it."""
    sign = voice.say("cut", lines=1, plants=0).partition("1")[0]
    number = re.match(rf"{re.escape(sign)}(\d+)\b", line) if sign.strip() else None
    return int(number[1]) if number else 1


Words = Callable[[int], str]
"""A line, told with at most so many names; with 0 the plants are counted."""


@dataclass(frozen=True, slots=True)
class Line:
    """A line, whom it is about, and when that is due, if it is told by its hour."""

    words: Words
    plants: frozenset[str] = frozenset()
    at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Part:
    """Lines that belong together, and the same in fewer or shorter lines for a crowded day.

    optional: may be left out, as a later round tells it again. kept: is told whatever else is cut;
    spare: is cut before anything else.
    plants: whom each line is about; none where it is about nobody. hours: when each is due; parts
    that have them and follow one another are told in the order of their lines' hours.
    """

    lines: tuple[Words, ...]
    crowded: Callable[[], Sequence[Line]] | None = None
    optional: bool = False
    plants: tuple[frozenset[str], ...] = ()
    kept: bool = False
    spare: bool = False
    hours: tuple[datetime, ...] = ()

    def each(self) -> tuple[Line, ...]:
        """The lines, for a day with room."""
        count = len(self.lines)
        plants = self.plants or (frozenset[str](),) * count
        hours = self.hours or (None,) * count
        return tuple(Line(*one) for one in zip(self.lines, plants, hours, strict=True))

    def in_one(self, text: str) -> Line:
        """A line in place of all of them, with the first of their hours."""
        everyone = frozenset[str]().union(*self.plants)
        return Line(lambda _: text, everyone, min(self.hours, default=None))


def said(text: str, *, optional: bool = False, kept: bool = False) -> Part:
    """A part that is always told in the same words; none if these are none."""
    return Part((lambda _: text,) if text else (), None, optional, kept=kept)


def composed(title: str, parts: Sequence[Part], voice: Voice, spare: int = 0) -> Message:
    """The parts in their order under a title, within `message_length.MAX_CHARACTERS`.

    spare: so many of them are left for what is yet to be put before the title.

    First every line without names. Where that is too much, parts are told in one line each, the
    last first; where that is too much, the last are counted. Then as many names as there is room
    for, the lines with the fewest first, then the optional parts, and names in these.
    """
    title = cut_title(title)
    needed = [part for part in parts if part.lines and not part.optional]
    room = room_for_body(title) - spare
    crowded = _crowded(needed, room)
    told = _in_time(
        [
            (line, (not part.kept, part.spare))
            for index, part in enumerate(needed)
            for line in (_short(part) if index in crowded else part.each())
        ]
    )
    cut = _cut(told, room, voice)
    if cut is not None:
        return Message(title, cut)
    lines = _Lines([line.words for line, _ in told], room)
    lines.name()
    for part in parts:
        if part.optional:
            lines.add(part.lines)
    lines.name()
    return Message(title, lines.text() or voice.say("that_is_all"))


_Ranked = tuple[Line, tuple[bool, bool]]
"""A line, and its rank among those that are cut: the lower the later."""


def _in_time(lines: Sequence[_Ranked]) -> list[_Ranked]:
    """Lines with an hour that follow one another by their hours, the others where they are."""
    told: list[_Ranked] = []
    for timed, run in groupby(lines, key=lambda one: one[0].at is not None):
        some = list(run)
        told += sorted(some, key=lambda one: _hour(one[0])) if timed else some
    return told


def _hour(line: Line) -> datetime:
    assert line.at is not None
    return line.at


def _short(part: Part) -> Sequence[Line]:
    return part.crowded() if part.crowded else part.each()


def _text(lines: Iterable[Line]) -> str:
    return "\n".join(line.words(0) for line in lines)


def _crowded(parts: Sequence[Part], room: int) -> set[int]:
    """Which parts are to be told in short, so that there is room for all, if there can be."""
    long = [_text(part.each()) for part in parts]
    short = [_text(_short(part)) for part in parts]
    kept = sum(len(text) + 1 for part, text in zip(parts, short, strict=True) if part.kept)

    def length(crowded: set[int]) -> int:
        return len("\n".join(short[i] if i in crowded else long[i] for i in range(len(parts))))

    crowded = set[int]()
    for index in reversed(range(len(parts))):
        if length(crowded) <= room:
            break
        # What has no room even so is told line by line, as far as there is room.
        has_room = max(map(len, short[index].split("\n"))) <= room - (
            0 if parts[index].kept else kept
        )
        if len(short[index]) < len(long[index]) and has_room:
            crowded.add(index)
    for index in sorted(crowded):  # one of the last may have made the room that was needed
        if length(crowded - {index}) <= room:
            crowded.remove(index)
    return crowded


def _cut(lines: Sequence[_Ranked], room: int, voice: Voice) -> str | None:
    """The lines for which there is room, the first first, and how many are left out, and how to
    read them; None if all have room."""
    texts = [line.words(0) for line, _ in lines]
    if len("\n".join(texts)) <= room:
        return None
    kept: list[int] = []

    def text_with(indices: Sequence[int]) -> str:
        rest = [line.plants for index, (line, _) in enumerate(lines) if index not in indices]
        plants = len(frozenset[str]().union(*rest))
        tail = voice.say("cut", lines=len(rest), plants=plants)
        return "\n".join([*(texts[index] for index in indices), tail])

    for index in sorted(range(len(lines)), key=lambda one: lines[one][1]):
        tried = sorted([*kept, index])
        if len(text_with(tried)) <= room:
            kept = tried
    text = text_with(kept)
    if len(text) <= room:
        return text
    everyone = frozenset[str]().union(*(line.plants for line, _ in lines))
    facts = {"lines": len(lines), "plants": len(everyone)}  # the grower's words are too long
    return printable.cut(voice.in_our_words("cut", facts), room)


NAME_STEPS = (1, 2, 3, 5, 8)
"""Numbers of names that a line is tried with."""


class _Lines:
    """Lines that fit, each with as many names as it was given."""

    def __init__(self, lines: list[Words], room: int) -> None:
        self._lines = lines
        self._room = room
        self._names = dict.fromkeys(range(len(lines)), 0)

    def text(self, names: Mapping[int, int] | None = None) -> str:
        given = self._names if names is None else names
        return "\n".join(self._lines[index](most) for index, most in given.items())

    def name(self) -> None:
        """Give names where there is room."""
        for index in sorted(self._names, key=lambda one: len(self._lines[one](NAME_STEPS[-1]))):
            for most in NAME_STEPS:
                if len(self.text({**self._names, index: most})) <= self._room:
                    self._names[index] = most

    def add(self, lines: Sequence[Words]) -> None:
        """Add lines at the end, those of them that fit."""
        for words in lines:
            index = len(self._lines)
            self._lines.append(words)
            if len(self.text({**self._names, index: 0})) <= self._room:
                self._names[index] = 0
