"""The chart of skill: error and bias of each source by night ahead."""

import textwrap

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from sillward.charts.data.skill import SkillChart, SourceLine
from sillward.charts.draw.limits import LABEL_WIDTH, spread_out
from sillward.charts.draw.panels import figure_of_axes, panels
from sillward.charts.draw.style import BLUE, GREEN, GREY, INK, LINE_PT, SMALL, VERMILLION

ERROR_IN, BIAS_IN, GAP_IN = 1.9, 0.95, 0.42
"""Heights of the panels, and the gap between them [in]."""

LOOKS = (
    (BLUE, "o", "-"),
    (VERMILLION, "s", (0, (6, 2))),
    (GREEN, "^", (0, (3, 1.5))),
    ("#8F4A73", "D", (0, (6, 2, 1, 2))),
)
"""Colour, mark and dashes of each source. The last colour is the palette's purple, darkened until
it stands out from white."""


def skill_figure(data: SkillChart) -> Figure:
    """Return the chart of skill, without its title and footer."""
    error, bias = panels([ERROR_IN, BIAS_IN], GAP_IN)
    unit = data.units.temperature
    days = np.arange(1, len(data.usual_k) + 1)
    usual = [data.units.difference(value)[0] for value in data.usual_k]
    error.plot(days, usual, color=GREY, lw=1.1, ls=(0, (1, 1.5)), label="_usual")
    bias.axhline(0.0, color=GREY, lw=0.8, label="_zero")
    for number, source in enumerate(data.sources):
        _draw_source(error, source, source.error_k, data, number)
        _draw_source(bias, source, source.bias_k, data, number)
    _frame(error, f"error of the low, mean size [{unit}]", len(days))
    error.set_ylim(bottom=0.0)
    error.set_xticklabels([])
    _frame(bias, f"told too warm (+), too cold (−) [{unit}]", len(days))
    bias.margins(y=0.15)
    bias.set_xlabel("night ahead", size=SMALL, labelpad=2)
    _name_lines(error, data, usual[-1])
    return figure_of_axes(error)


def _draw_source(
    axes: Axes, source: SourceLine, values_k: tuple[float, ...], data: SkillChart, number: int
) -> None:
    """Draw the line of a source; its marks are filled where it clearly differs."""
    colour, mark, dashes = LOOKS[number % len(LOOKS)]
    shown = [data.units.difference(value)[0] for value in values_k]
    width = 2.0 if source.in_use else 1.6
    axes.plot(source.days, shown, color=colour, lw=width, ls=dashes, label=source.name)
    for day, value, clear in zip(source.days, shown, source.clear, strict=True):
        face = colour if clear or source.in_use else "white"
        axes.plot([day], [value], mark, color=colour, mfc=face, ms=6, label="_mark")


def _frame(axes: Axes, title: str, days: int) -> None:
    axes.set_title(title, loc="left", size=SMALL, pad=4, x=-0.3 / 3.9)
    axes.set_xlim(0.7, days + 0.3)
    axes.set_xticks(range(1, days + 1))
    axes.grid(axis="y", color="#D5D5D5", lw=0.6)
    axes.yaxis.set_major_locator(MaxNLocator(5, steps=[1, 2, 2.5, 5, 10]))
    axes.set_axisbelow(True)
    axes.spines[["top", "right"]].set_visible(False)


def _name_lines(axes: Axes, data: SkillChart, usual: float) -> None:
    """Write the name of each line at its right end."""
    ends = [
        (data.units.difference(source.error_k[-1])[0], _name(source), LOOKS[number % len(LOOKS)][0])
        for number, source in enumerate(data.sources)
    ]
    ends.append((usual, "usual", INK))
    ends.sort(key=lambda end: -end[0])
    low, high = axes.get_ylim()
    line = LINE_PT / 72 / ERROR_IN
    wanted = [(value - low) / (high - low) for value, _, _ in ends]
    tall = [line * (text.count("\n") + 1) for _, text, _ in ends]
    for (_, text, colour), y in zip(ends, spread_out(wanted, tall), strict=True):
        axes.text(
            1.02, y, text, transform=axes.transAxes, size=SMALL, color=colour, va="center",
            linespacing=1.05,
        )  # fmt: skip


def _name(source: SourceLine) -> str:
    lines = textwrap.wrap(source.name, LABEL_WIDTH)[:2]
    return "\n".join([*lines, *(["(in use)"] if source.in_use else [])])
