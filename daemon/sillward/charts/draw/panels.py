"""Panels, and what all of them share: a time axis, shaded nights, lines with gaps."""

from collections.abc import Iterable, Sequence
from datetime import datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from sillward.charts.data import ChartData
from sillward.charts.draw.style import (
    DPI,
    FOOT_IN,
    HEAD_IN,
    INK,
    LEFT_IN,
    NIGHT,
    PANEL_IN,
    SMALL,
    WIDTH_IN,
)


def panels(heights_in: Sequence[float], gap_in: float) -> list[Axes]:
    """Return the panels of a new figure, from the top down. Heights and gap in inches."""
    total = HEAD_IN + sum(heights_in) + gap_in * (len(heights_in) - 1) + FOOT_IN
    figure = Figure(figsize=(WIDTH_IN, total), dpi=DPI)
    FigureCanvasAgg(figure)
    top, axes = total - HEAD_IN, []
    for height in heights_in:
        box = (LEFT_IN / WIDTH_IN, (top - height) / total, PANEL_IN / WIDTH_IN, height / total)
        axes.append(figure.add_axes(box))
        top -= height + gap_in
    return axes


def figure_of_axes(axes: Axes) -> Figure:
    """Return the figure that a panel belongs to."""
    figure = axes.get_figure()
    assert isinstance(figure, Figure)
    return figure


def array(values: Iterable[float | None]) -> np.ndarray:
    """Return the values as an array, with NaN for those that are not known."""
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)


def seconds(moments: Iterable[datetime]) -> np.ndarray:
    """Return moments on the time axis [unix s]."""
    return np.array([moment.timestamp() for moment in moments])


def plot_line(axes: Axes, times: np.ndarray, values: np.ndarray, **look: Any) -> None:
    """Draw a line with gaps where a value is not known, and a dot for a value by itself."""
    axes.plot(times, values, solid_capstyle="round", **look)
    known = np.isfinite(values)
    alone = known & ~np.append(known[1:], False) & ~np.append(False, known[:-1])
    if alone.any():
        axes.plot(times[alone], values[alone], "o", color=look["color"], ms=3, label="_alone")


def frame(axes: Axes, data: ChartData, title: str, *, grid: bool = True) -> None:
    """Draw the title of a panel, grey nights and a line for now, without a box around it."""
    axes.set_title(title, loc="left", size=SMALL, pad=4, x=-0.3 / PANEL_IN)
    axes.set_xlim(data.start.timestamp(), data.end.timestamp())
    for night in data.nights:
        axes.axvspan(night.start.timestamp(), night.end.timestamp(), color=NIGHT, lw=0, zorder=0)
    if data.start + timedelta(hours=1) <= data.now <= data.end:
        axes.axvline(data.now.timestamp(), color=INK, lw=0.8, ls=":", label="_now")
    if grid:
        axes.grid(axis="y", color="#D5D5D5", lw=0.6)
    axes.set_axisbelow(True)
    axes.spines[["top", "right"]].set_visible(False)


def legend(axes: Axes) -> None:
    """Draw a legend above the panel, where no curve can be."""
    axes.legend(
        loc="lower right",
        bbox_to_anchor=(1.0, 0.98),
        ncols=3,
        frameon=False,
        fontsize=SMALL,
        handlelength=1.8,
        columnspacing=1.2,
        borderaxespad=0.2,
    )


def label_days(axes: Axes, data: ChartData, *, noon: bool) -> None:
    """Label each midnight with its hour and each noon with the date; noon: with its hour too."""
    zone = ZoneInfo(data.zone)
    day, midnights, noons = data.start.date(), [], []
    while day <= data.end.date():
        midnights.append(datetime.combine(day, time(0), tzinfo=zone))
        noons.append(datetime.combine(day, time(12), tzinfo=zone))
        day += timedelta(days=1)
    midnights = [at for at in midnights if data.start <= at <= data.end]
    noons = [at for at in noons if data.start <= at <= data.end]
    hour = data.units.full_hour(time(12)) if noon else ""
    axes.set_xticks(seconds(midnights), [data.units.full_hour(time(0))] * len(midnights))
    axes.set_xticks(seconds(noons), [f"{hour}\n{at:%a %d}" for at in noons], minor=True)
    axes.tick_params(axis="x", which="minor", length=3 if noon else 0, labelsize=SMALL)
    axes.tick_params(axis="x", which="both", pad=2)
