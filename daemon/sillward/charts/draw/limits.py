"""Limits as lines across a panel, and their labels next to it."""

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate, pairwise
from statistics import fmean

from matplotlib.axes import Axes

from sillward.charts.data import LimitLine
from sillward.charts.draw.panels import figure_of_axes
from sillward.charts.draw.style import LINE_PT, SMALL, VERMILLION
from sillward.text.units import SI, Units, fixed

LABEL_WIDTH = 20
"""Characters in a line of a label: what fits to the right of a panel."""

MAX_NAMED = 3
"""Plants that a label names; of more it tells the number. Judgement: more take too many lines."""

MAX_SHIFT = 1.6
"""How far a label may stand from its limit [lines of letters]. Judgement: further is misread."""


@dataclass(frozen=True, slots=True)
class Label:
    """The label of one limit or more.

    y: the height of its middle as a share of the panel.
    """

    limits: tuple[LimitLine, ...]
    text: str
    y: float


def draw_limits(axes: Axes, limits: Sequence[LimitLine], units: Units, *, digits: int) -> None:
    """Draw limits as lines, with labels at their right ends."""

    def shown(limit: LimitLine) -> float:
        return units.shown(limit.value, limit.unit)[0]

    for limit in limits:
        axes.axhline(shown(limit), color=VERMILLION, lw=1.3, ls=(0, (6, 2)), label="_limit")
    if not limits:
        return
    line = LINE_PT / 72 / (figure_of_axes(axes).get_figheight() * axes.get_position().height)
    to_axes = axes.transData + axes.transAxes.inverted()

    def height(limit: LimitLine) -> float:
        return float(to_axes.transform((data_x, shown(limit)))[1])

    data_x = axes.get_xlim()[1]
    for label in labels(limits, [height(limit) for limit in limits], line, digits, units):
        middle = fmean(height(limit) for limit in label.limits)
        axes.annotate(
            label.text,
            (1.0, middle),
            (1.035, label.y),
            xycoords="axes fraction",
            textcoords="axes fraction",
            ha="left",
            va="center",
            size=SMALL,
            linespacing=1.05,
            arrowprops={
                "arrowstyle": "-",
                "color": VERMILLION,
                "lw": 0.8,
                "shrinkA": 1,
                "shrinkB": 0,
            },
        )


def labels(
    limits: Sequence[LimitLine],
    heights: Sequence[float],
    line: float,
    digits: int,
    units: Units = SI,
) -> list[Label]:
    """Return the labels of limits, highest first, placed so that none covers another.

    heights: of the limits, and line: of a line of letters, as shares of the panel. Limits whose
    labels would stand too far from them share one label.
    """
    order = sorted(range(len(limits)), key=lambda index: -heights[index])
    groups = [[index] for index in order]
    while True:
        wanted = [fmean(heights[index] for index in group) for group in groups]
        if len(groups) * line <= 1.0:
            texts = [_text([limits[index] for index in group], digits, units) for group in groups]
            placed = spread_out(wanted, [line * (text.count("\n") + 1) for text in texts])
            shifts = [abs(y - wanted_y) for y, wanted_y in zip(placed, wanted, strict=True)]
            if len(groups) == 1 or max(shifts) <= MAX_SHIFT * line:
                return [
                    Label(tuple(limits[index] for index in group), text, y)
                    for group, text, y in zip(groups, texts, placed, strict=True)
                ]
        gaps = [upper - lower for upper, lower in pairwise(wanted)]
        nearest = gaps.index(min(gaps))
        groups[nearest : nearest + 2] = [groups[nearest] + groups[nearest + 1]]


def spread_out(wanted: Sequence[float], tall: Sequence[float]) -> list[float]:
    """Return middles, from the top down, that are near the wanted ones and do not overlap.

    wanted: middles, and tall: heights of the labels, in the same unit. Labels that touch are moved
    together, each half of the way.
    """
    blocks: list[tuple[list[int], float]] = []  # members, top edge
    for index, (middle, height) in enumerate(zip(wanted, tall, strict=True)):
        members, top = [index], middle + height / 2
        while blocks and blocks[-1][1] - sum(tall[i] for i in blocks[-1][0]) < top:
            members = blocks.pop()[0] + members
            # Each member would have the block's top edge somewhere; the mean suits all.
            above = accumulate([0.0, *(tall[i] for i in members[:-1])])
            top = fmean(wanted[i] + tall[i] / 2 + a for i, a in zip(members, above, strict=True))
        blocks.append((members, top))
    placed = [0.0] * len(wanted)
    for members, top in blocks:
        for index in members:
            placed[index] = top - tall[index] / 2
            top -= tall[index]
    return placed


def _text(limits: Sequence[LimitLine], digits: int, units: Units) -> str:
    """Return "14 °C Blue basket" or "1.4 to 1.6 kPa 4 plants", in at most two lines."""
    core_unit = limits[0].unit
    names = [name for limit in limits for name in limit.plants]
    values = [limits[0].value, limits[-1].value]
    shown = [units.shown(value, core_unit)[0] for value in values]
    unit = units.shown(values[0], core_unit)[1]
    if len(limits) > 1:
        low, high = (fixed(value, digits) for value in sorted(shown))
        span = low if low == high else f"{low}–{high}"
        return f"{span} {unit}\n{_plants(names)}"
    bound = f"{units.bare(values[0], core_unit)} {unit}"
    text = f"{bound} {', '.join(' '.join(name.split()) for name in names[:MAX_NAMED])}"
    lines = textwrap.wrap(text, LABEL_WIDTH)
    if len(lines) > 2 or len(names) > MAX_NAMED:
        return f"{bound} {_plants(names)}"
    return "\n".join(lines)


def _plants(names: Sequence[str]) -> str:
    return "1 plant" if len(names) == 1 else f"{len(names)} plants"
