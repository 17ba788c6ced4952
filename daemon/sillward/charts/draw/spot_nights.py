"""The charts of a spot's readings: its last nights, and its correction as it was learned."""

from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from sillward.charts.data.spot_nights import CorrectionChart, ReadingsChart
from sillward.charts.draw.limits import draw_limits, spread_out
from sillward.charts.draw.panels import array, figure_of_axes, legend, panels
from sillward.charts.draw.style import (
    BLUE,
    GREY,
    INK,
    LINE_PT,
    PANEL_IN,
    SKY,
    SMALL,
    VERMILLION,
)

HEIGHT_IN = 2.24
"""Height of the panel [in]."""

FEWEST_DAYS = 14
"""Days that the axis spans at least, so that a few nights do not fill it."""

MOST_DATES = 5
"""Dates along the axis, at most: so many fit."""

STEP_WORD = 0.16
"""How much of the panel's width the word at a sudden change takes."""

HALF_BAR = 0.31
"""Half of the width of a night's bar [days]."""

MARKS = {
    "read": ("o", INK, INK),
    "_below": ("v", VERMILLION, VERMILLION),
    "_above": ("^", INK, "w"),
}
"""What a low looks like that came within the range, below it and above it: mark, colour, face."""


def readings_figure(data: ReadingsChart) -> Figure:
    """Return the nights of a spot, expected and read, without title and footer."""
    (axes,) = panels([HEIGHT_IN], 0.0)

    def shown(values_c: Sequence[float]) -> np.ndarray:
        return array(data.units.shown(value, "°C")[0] for value in values_c)

    day = array(night.night.toordinal() for night in data.nights)
    low, high, expected, read = (
        shown([getattr(night, name) for night in data.nights])
        for name in ("low_c", "high_c", "expected_c", "read_c")
    )
    axes.bar(day, high - low, 2 * HALF_BAR, low, color=SKY, alpha=0.5, lw=0, label="range")
    ends = day - HALF_BAR, day + HALF_BAR
    axes.hlines(expected, *ends, color=BLUE, lw=1.8, label="expected")
    below, above = read < low, read > high
    for label, which in (("read", ~below & ~above), ("_below", below), ("_above", above)):
        mark, colour, face = MARKS[label]
        axes.plot(day[which], read[which], mark, color=colour, mfc=face, ms=5, label=label)
    limits = shown([limit.value for limit in data.limits])
    _frame(axes, f"low [{data.units.temperature}]", data.first, data.last)
    _fit(axes, np.concatenate([low, high, read, limits]))
    draw_limits(axes, data.limits, data.units, digits=0)
    legend(axes)
    return figure_of_axes(axes)


def correction_figure(data: CorrectionChart) -> Figure:
    """Return how a correction was learned, without title and footer."""
    (axes,) = panels([HEIGHT_IN], 0.0)

    def shown(values_k: Sequence[float]) -> np.ndarray:
        return array(data.units.difference(value)[0] for value in values_k)

    day = array(night.night.toordinal() for night in data.nights)
    off, level, sd = (
        shown([getattr(night, name) for night in data.nights])
        for name in ("off_k", "level_k", "sd_k")
    )
    steps = [float(step.night.toordinal()) for step in data.steps]
    axes.axhline(0.0, color=GREY, lw=0.8, label="_forecast")
    axes.plot(day, off, "o", color=GREY, ms=2.5, label="nights")
    for first, last in zip([-np.inf, *steps], [*steps, np.inf], strict=True):
        part = (first <= day) & (day < last)
        low, high = (level - sd)[part], (level + sd)[part]
        axes.fill_between(
            day[part], low, high, color=SKY, alpha=0.5, lw=0, label=_once(first, "how sure")
        )
        axes.plot(day[part], level[part], color=BLUE, lw=2.0, label=_once(first, "learned"))
    given = [] if data.given_k is None else [data.units.difference(data.given_k)[0]]
    for value in given:
        axes.axhline(value, color=INK, lw=1.1, ls=(0, (1, 1.5)), label="_given")
    unit = data.units.temperature
    _frame(axes, f"above forecast [{unit}]", data.nights[0].night, data.nights[-1].night)
    _fit(axes, np.concatenate([off, level + sd, level - sd, [0.0], given]))
    _draw_steps(axes, steps)
    _name_levels(axes, [(0.0, "forecast"), *((value, "your offset") for value in given)])
    legend(axes)
    return figure_of_axes(axes)


def _draw_steps(axes: Axes, steps: Sequence[float]) -> None:
    """Draw a line at each sudden change, with a word beside it where there is room."""
    first, last = axes.get_xlim()
    free_from = first
    for step in steps:
        axes.axvline(step, color=VERMILLION, lw=1.3, ls=(0, (6, 2)), label="_step")
        ends = step + STEP_WORD * (last - first)
        if step < free_from:
            continue
        on_left = ends > last
        axes.annotate(
            "changed", (step, 0.02), (-3 if on_left else 3, 0), xycoords=("data", "axes fraction"),
            textcoords="offset points", size=SMALL, color=VERMILLION,
            ha="right" if on_left else "left",
        )  # fmt: skip
        free_from = ends


def _once(first: float, label: str) -> str:
    """Return the label of the first part of a line; others are not in the legend again."""
    return label if first == -np.inf else f"_{label}"


def _name_levels(axes: Axes, levels: Sequence[tuple[float, str]]) -> None:
    """Write the names of levels at their right ends."""
    low, high = axes.get_ylim()
    levels = sorted(levels, reverse=True)
    wanted = [(value - low) / (high - low) for value, _ in levels]
    placed = spread_out(wanted, [LINE_PT / 72 / HEIGHT_IN] * len(levels))
    for (_, name), y in zip(levels, placed, strict=True):
        axes.text(1.02, y, name, transform=axes.transAxes, size=SMALL, va="center")


def _fit(axes: Axes, values: np.ndarray) -> None:
    """Set the scale so that all values are within it, with room at both ends."""
    margin = max(0.08 * float(np.ptp(values)), 0.5)
    axes.set_ylim(values.min() - margin, values.max() + margin)
    axes.yaxis.set_major_locator(MaxNLocator("auto", steps=[1, 2, 5, 10], integer=True))


def _frame(axes: Axes, title: str, first: date, last: date) -> None:
    """Draw the title of a panel, and dates along it, without a box around it."""
    axes.set_title(title, loc="left", size=SMALL, pad=4, x=-0.3 / PANEL_IN)
    last = max(last, first + timedelta(days=FEWEST_DAYS))
    axes.set_xlim(first.toordinal() - 0.7, last.toordinal() + 0.7)
    days = (last - first).days
    step = -(-days // MOST_DATES)
    dates = [first + timedelta(days=number) for number in range(0, days + 1, step)]
    names = [f"{day:%d %b}" if days < 100 else f"{day:%d %b\n%Y}" for day in dates]
    axes.set_xticks([day.toordinal() for day in dates], names)
    axes.tick_params(axis="x", pad=2)
    axes.grid(axis="y", color="#D5D5D5", lw=0.6)
    axes.set_axisbelow(True)
    axes.spines[["top", "right"]].set_visible(False)
