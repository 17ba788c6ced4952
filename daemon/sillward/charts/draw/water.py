"""The water chart: VPD, film life, and the mistings."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from sillward.charts.data import MAX_FILM_MIN, ChartData
from sillward.charts.draw.limits import draw_limits
from sillward.charts.draw.panels import (
    array,
    figure_of_axes,
    frame,
    label_days,
    panels,
    plot_line,
    seconds,
)
from sillward.charts.draw.style import BLUE, GREEN, GREY, INK, PANEL_IN, SMALL

VPD_IN, FILM_IN, LANE_IN, PANEL_GAP_IN = 1.35, 1.1, 0.17, 0.28
"""Heights of the panels, of a lane of mistings, and between the panels [in]."""

MIN_LANES = 2
"""Lanes of the misting panel, at least. Judgement: one alone looks like an axis."""

FILM_TICKS_MIN = (5, 15, 60, 180, 480)
MIN_FILM_MIN = 3.0
"""Lower end of the axis of film life [min], unless a film is shorter."""


def water_figure(data: ChartData) -> Figure:
    """Return a water chart, without its title and footer."""
    bars = misting_bars(data)
    lanes = max([MIN_LANES, *(bar.lane + 1 for bar in bars)])
    vpd, film, mist = panels([VPD_IN, FILM_IN, lanes * LANE_IN], PANEL_GAP_IN)
    _draw_vpd(vpd, data)
    _draw_film(film, data)
    _draw_mistings(mist, data, bars, lanes)
    for axes in (vpd, film):
        label_days(axes, data, noon=True)
        axes.tick_params(axis="x", which="both", labelbottom=False)
    label_days(mist, data, noon=True)
    return figure_of_axes(mist)


def _draw_vpd(axes: Axes, data: ChartData) -> None:
    """Draw VPD with the limits of the plants."""
    vpd = array(data.series["vpd_kpa"])
    plot_line(axes, seconds(data.times), vpd, label="VPD", color=BLUE, lw=2.0)
    limits = [limit for limit in data.limits if limit.series == "vpd_kpa"]
    shown = np.concatenate([vpd, [limit.value for limit in limits], [1.0]])
    axes.set_ylim(0, 1.12 * np.nanmax(shown))
    frame(axes, data, "VPD of the air [kPa]")
    draw_limits(axes, limits, data.units, digits=1)


def _draw_film(axes: Axes, data: ChartData) -> None:
    """Draw how long a leaf stays wet, on a logarithmic axis."""
    film = array(data.series["film_min"])
    times = seconds(data.times)
    plot_line(axes, times, film, label="film", color=GREEN, lw=1.6, marker="o", ms=2.6)
    axes.set_yscale("log")
    axes.set_ylim(np.nanmin([*(0.7 * film), MIN_FILM_MIN]), MAX_FILM_MIN * 1.25)
    names = [f"{tick}+" if tick == MAX_FILM_MIN else f"{tick}" for tick in FILM_TICKS_MIN]
    axes.set_yticks(FILM_TICKS_MIN, names)
    axes.set_yticks([], minor=True)
    frame(axes, data, "how long a leaf stays wet, by hour of wetting [min]")
    limits = [limit for limit in data.limits if limit.series == "film_min"]
    draw_limits(axes, limits, data.units, digits=0)


@dataclass(frozen=True, slots=True)
class MistingBar:
    """A text in the misting panel, after a bar from `opens` to `closes` if something is planned."""

    opens: datetime
    closes: datetime
    lane: int
    text: str
    has_bar: bool


def misting_bars(data: ChartData) -> list[MistingBar]:
    """Return each misting with its hours and number of plants, and the days that have none.

    Those that would touch are in different lanes.
    """
    per_character = (data.end - data.start) * (SMALL * 0.6 / 72 / PANEL_IN)
    wanted = []
    for window in data.windows:
        count = "" if data.plant else f" ({len(window.plants)})"
        text = f"{data.units.span(window.opens, window.closes, '–')}{count}"
        wanted.append((window.opens, window.closes, text, True))
    for day in data.days:
        if any(day.start <= window.closes and window.opens <= day.end for window in data.windows):
            continue
        text = "none" if day.planned else "not known"
        at = day.start + (day.end - day.start) / 2 - per_character * len(text) / 2
        at = max(at, data.start + per_character)
        wanted.append((at, at, text, False))
    lane_ends: list[datetime] = []
    bars = []
    for opens, closes, text, has_bar in sorted(wanted):
        free = (number for number, end in enumerate(lane_ends) if end <= opens)
        lane = next(free, len(lane_ends))
        lane_ends[lane : lane + 1] = [closes + per_character * (len(text) + 1)]
        bars.append(MistingBar(opens, closes, lane, text, has_bar))
    return bars


def _draw_mistings(axes: Axes, data: ChartData, bars: Sequence[MistingBar], lanes: int) -> None:
    """Draw a bar and a text for each misting."""
    axes.set_yticks([])
    frame(axes, data, "mist, hours" if data.plant else "mist, hours (plants)", grid=False)
    axes.set_ylim(lanes, 0)
    for bar in bars:
        opens, closes = bar.opens.timestamp(), bar.closes.timestamp()
        if bar.has_bar:
            axes.barh(bar.lane + 0.5, closes - opens, left=opens, height=0.72, color=BLUE)
        axes.annotate(
            bar.text,
            (closes, bar.lane + 0.5),
            (2, 0),
            textcoords="offset points",
            size=SMALL,
            color=INK if bar.has_bar else GREY,
            ha="left",
            va="center",
        )
