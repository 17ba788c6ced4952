"""The calendar of a replay: for each night a cell in the colour and with the letter of its mark."""

import textwrap
from collections.abc import Mapping
from datetime import date
from typing import Any

from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from sillward.charts.data.year import MEANINGS, NightMark, YearChart
from sillward.charts.draw.style import (
    DPI,
    GREY,
    INK,
    LINE_PT,
    ORANGE,
    PURPLE,
    SKY,
    SMALL,
    VERMILLION,
    WIDTH_IN,
    YELLOW,
)

CELL_IN = 0.162
"""Width of a night [in]: 31 of them fit beside the names of the months."""

ROW_IN = 0.185
"""Height of a month [in]."""

LEFT_IN, TOP_IN = 0.8, 0.62
"""What is left of the first night, and above the first month [in]."""

LEGEND_ROW_IN = 0.2

MAX_MONTHS = 26
"""Months that are drawn, the last ones. Judgement: two years fit on a screen."""

_FOOTER_WIDTH = 88
"""Characters of a line of the footer."""

_COLOURS: Mapping[NightMark, str] = {
    NightMark.MISSED: VERMILLION,
    NightMark.LATE: PURPLE,
    NightMark.NOT_DONE: ORANGE,
    NightMark.NO_COVER: "#BFA2DB",
    NightMark.UNJUDGED: "#C8C8C8",
    NightMark.AWAY: "#E3DCCB",
    NightMark.IN: SKY,
    NightMark.NEEDLESS: YELLOW,
    NightMark.MILD: "#F4F4F4",
}


def year_figure(data: YearChart) -> Figure:
    """Return a calendar with its legend, without its title and footer."""
    months = sorted({(night.year, night.month) for night, _ in data.nights})[-MAX_MONTHS:]
    rows = {month: number for number, month in enumerate(months)}
    height = TOP_IN + ROW_IN * (len(rows) + 1) + LEGEND_ROW_IN * len(data.counts) + 0.16
    height += (LINE_PT / 72) * len(footer_lines(data)) + 0.1
    figure = Figure(figsize=(WIDTH_IN, height), dpi=DPI)
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set_xlim(0, WIDTH_IN)
    axes.set_ylim(height, 0)  # inches from the top
    axes.set_axis_off()
    for day in (1, 5, 10, 15, 20, 25, 30):
        axes.text(_left(day) + CELL_IN / 2, TOP_IN + ROW_IN / 2, f"{day}", **_CENTRED)
    for (year, month), row in rows.items():
        top = TOP_IN + ROW_IN * (row + 1)
        name = f"{date(year, month, 1):%b %Y}"
        axes.text(0.12, top + ROW_IN / 2, name, size=SMALL, va="center", color=INK)
    for night, mark in data.nights:
        if (night.year, night.month) in rows:
            top = TOP_IN + ROW_IN * (rows[night.year, night.month] + 1)
            _cell(axes, _left(night.day), top, ROW_IN, mark)
    _legend(axes, data, TOP_IN + ROW_IN * (len(rows) + 1) + 0.16)
    return figure


def footer_lines(data: YearChart) -> list[str]:
    """Return the lines beneath a calendar, broken to its width."""
    return [line for text in data.footer for line in textwrap.wrap(text, _FOOTER_WIDTH)]


_CENTRED: dict[str, Any] = {"size": SMALL, "ha": "center", "va": "center", "color": GREY}


def _left(day: int) -> float:
    return LEFT_IN + CELL_IN * (day - 1)


def _cell(axes: Axes, left: float, top: float, height: float, mark: NightMark) -> None:
    """Draw a night: its colour, and its letter so that no colour stands alone."""
    box = Rectangle(
        (left + 0.006, top + 0.008), CELL_IN - 0.012, height - 0.016, color=_COLOURS[mark], lw=0
    )
    axes.add_patch(box)
    at = (left + CELL_IN / 2, top + height / 2)
    axes.text(*at, mark.value, size=SMALL, ha="center", va="center", color=INK)


def _legend(axes: Axes, data: YearChart, top: float) -> None:
    """Draw the marks that occur, in words, with the number of nights of each."""
    for number, (mark, count) in enumerate(data.counts.items()):
        at = top + LEGEND_ROW_IN * number
        _cell(axes, LEFT_IN, at, LEGEND_ROW_IN, mark)
        middle = at + LEGEND_ROW_IN / 2
        axes.text(LEFT_IN - 0.1, middle, f"{count}", size=SMALL, ha="right", va="center")
        words = MEANINGS[mark]
        axes.text(LEFT_IN + CELL_IN + 0.1, middle, words, size=SMALL, va="center", color=INK)
