"""Where things go in a drawing: panels, scales, ticks, lines, and labels that do not overlap.

Lengths are in units of the drawing's view box. It is shown as wide as a phone or wider, so that a
unit is a pixel at least, and letters are as high as they are given here, or higher.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

WIDTH = 320.0
"""Of a drawing: what is left of a phone of 360 pixels between the edges of the page."""

LETTER = 13.0
"""Height of letters. Judgement: WCAG names no least size; 12 pixels are read at arm's length."""

LINE = LETTER + 1.0
"""From one line of letters to the next."""

LEFT, RIGHT = 32.0, 38.0
"""Room beside a panel: for the values of its scale, and for those of limits ("55.4°")."""

_STEPS = (1.0, 2.0, 5.0, 10.0)


@dataclass(frozen=True, slots=True)
class Span:
    """A range of values, and where its ends are drawn."""

    low: float
    high: float
    at_low: float
    at_high: float

    def __call__(self, value: float) -> float:
        """Return where a value is drawn."""
        share = (value - self.low) / ((self.high - self.low) or 1.0)
        return self.at_low + share * (self.at_high - self.at_low)


@dataclass(frozen=True, slots=True)
class Panel:
    """A panel of a drawing, between its left and right edge, with a scale of time."""

    top: float
    bottom: float
    start: datetime
    end: datetime
    left: float = LEFT
    right: float = WIDTH - RIGHT

    def x(self, at: datetime) -> float:
        """Return where a moment is drawn; at the edge if it is beyond it."""
        span = Span(self.start.timestamp(), self.end.timestamp(), self.left, self.right)
        return min(max(span(at.timestamp()), self.left), self.right)


@dataclass(frozen=True, slots=True)
class Tick:
    """A value of a scale: where it is drawn, and how it is called."""

    at: float
    text: str


def ticks(low: float, high: float, most: int) -> list[float]:
    """Return round values between two, `most` at most, in steps of 1, 2 or 5 times a power of 10,
    and of 1 at least."""
    rough = max((high - low) / most, 1.0)
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * step for step in _STEPS if power * step >= rough)
    first = math.ceil(low / step)
    return [step * number for number in range(first, math.floor(high / step) + 1)][: most + 1]


def line(xs: Sequence[float], ys: Sequence[float | None]) -> str:
    """Return a line through these points as the `d` of a path, with a gap where y is not known."""
    parts, pen_down = [], False
    for x, y in zip(xs, ys, strict=True):
        if y is not None:
            parts.append(f"{'L' if pen_down else 'M'}{number(x)} {number(y)}")
        pen_down = y is not None
    return "".join(parts)


def band(xs: Sequence[float], lows: Sequence[float | None], highs: Sequence[float | None]) -> str:
    """Return the area between two lines as the `d` of a path; where one is not known there is
    none."""
    known = [low is not None and high is not None for low, high in zip(lows, highs, strict=True)]
    edges = [0, *(place for place in range(1, len(known)) if known[place] != known[place - 1])]
    parts = []
    for start, end in pairwise([*edges, len(known)]):
        if start < end and known[start]:
            lower = line(xs[start:end], lows[start:end])
            upper = line(xs[start:end][::-1], highs[start:end][::-1])
            parts.append(f"{lower}L{upper[1:]}Z")
    return "".join(parts)


def number(value: float) -> str:
    """Return a length in as few characters as a drawing needs."""
    return f"{value:.1f}".removesuffix(".0")


def apart(wanted: Sequence[float]) -> list[bool]:
    """Return which labels at these heights have room; the first ones go before the others."""
    taken, fits = list[float](), list[bool]()
    for y in wanted:
        fits.append(all(abs(y - other) >= LINE for other in taken))
        taken += [y] if fits[-1] else []
    return fits
