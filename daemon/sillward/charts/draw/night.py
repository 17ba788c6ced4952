"""The night chart: leaf and air temperature, the likely range, the limits and the lows."""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patheffects import withStroke
from matplotlib.ticker import MaxNLocator

from sillward.charts.data import ChartData
from sillward.charts.draw.limits import draw_limits
from sillward.charts.draw.panels import (
    array,
    figure_of_axes,
    frame,
    label_days,
    legend,
    panels,
    plot_line,
    seconds,
)
from sillward.charts.draw.style import BLUE, GREY, SKY, SMALL
from sillward.text.units import fixed

NIGHT_IN = 2.24
"""Height of the panel [in]."""


def night_figure(data: ChartData) -> Figure:
    """Return a night chart, without its title and footer."""
    (axes,) = panels([NIGHT_IN], 0.0)

    def shown(value_c: float | None) -> float | None:
        return None if value_c is None else data.units.shown(value_c, "°C")[0]

    leaf, air, low, high = (
        array(map(shown, data.series[name]))
        for name in ("leaf_c", "air_c", "band_low_c", "band_high_c")
    )
    times = seconds(data.times)
    if data.band_origin is not None:
        axes.fill_between(times, low, high, color=SKY, alpha=0.35, lw=0, label="likely range")
    plot_line(axes, times, air, label="air", color=GREY, lw=1.1, ls=(0, (4, 2)))
    plot_line(axes, times, leaf, label="leaf", color=BLUE, lw=2.0)
    limits = [limit for limit in data.limits if limit.series == "leaf_c"]
    known = np.concatenate([leaf, air, low, high, array(shown(limit.value) for limit in limits)])
    known = known[np.isfinite(known)]
    ends = known if known.size else array(map(shown, (0.0, 20.0)))
    bottom, top = ends.min(), ends.max()
    # Room for the value beneath the lowest point.
    margin = max(0.12 * (top - bottom), data.units.difference(1.0)[0])
    axes.set_ylim(bottom - margin, top + margin / 2)
    axes.yaxis.set_major_locator(MaxNLocator("auto", steps=[1, 2, 5, 10], integer=True))
    frame(axes, data, f"temperature [{data.units.temperature}]")
    draw_limits(axes, limits, data.units, digits=0)
    _draw_lows(axes, data)
    label_days(axes, data, noon=False)
    legend(axes)
    return figure_of_axes(axes)


def _draw_lows(axes: Axes, data: ChartData) -> None:
    """Draw the lowest point of each night with its value; a question mark if it is not known."""
    for night in data.nights:
        if night.low_c is None or night.low_at is None:
            axes.annotate(
                "?",
                ((night.start + (night.end - night.start) / 2).timestamp(), 0.5),
                xycoords=("data", "axes fraction"),
                ha="center",
                size=SMALL,
                color=GREY,
                annotation_clip=True,
            )
            continue
        at, lowest = night.low_at.timestamp(), data.units.shown(night.low_c, "°C")[0]
        axes.plot([at], [lowest], "o", color=BLUE, ms=4.5, label="_low")
        note = axes.annotate(
            fixed(lowest, 1),
            (at, lowest),
            (0, -5),
            textcoords="offset points",
            ha="center",
            va="top",
            size=SMALL,
            weight="bold",
        )
        note.set_path_effects([withStroke(linewidth=2.5, foreground="white")])
