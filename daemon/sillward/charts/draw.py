"""Charts drawn with matplotlib: the only module that needs it (`pip install '.[charts]'`).

Made for a phone: what is read has at least 9 points at a width of 600 pixels. Lines differ in
dashes and weight beside their colours, and every line is named in words.
"""

import io
import re
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from functools import partial
from itertools import accumulate, pairwise
from statistics import fmean
from typing import Any
from zoneinfo import ZoneInfo

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patheffects import withStroke
from matplotlib.ticker import MaxNLocator
from PIL import Image
from PIL.PngImagePlugin import PngInfo

from sillward.charts.data import FILM_MOST_MIN, ChartData, LimitLine
from sillward.charts.process import MADE_BY, Form
from sillward.text.units import SI, Units, fixed

BLUE, SKY, VERMILLION, GREEN = "#0072B2", "#56B4E9", "#D55E00", "#009E73"
"""Of the palette of Okabe and Ito, "Color universal design" (2008); values from memory."""

GREY, INK = "#6B6B6B", "#1A1A1A"
NIGHT = "#EDEDED"

WIDTH_IN = 6.0
LEFT_IN, PANEL_IN = 0.5, 3.9
"""Left edge and width of every panel [in]; what is right of it is for the limits' labels."""

HEAD_IN, FOOT_IN = 0.78, 0.98
"""Above the first panel: title, dates, what it shows. Beneath the last one: hours, footer [in]."""

DPI = 100
PNG_DPI = 150
"""Finer than it is laid out: sharp on a phone. Judgement."""

COLOURS = 64
"""Of a PNG, blends at the edges of letters included. Judgement, by looking at them."""

SMALL, USUAL, LARGE = 9.0, 9.5, 12.0
"""Sizes of letters [points]."""

NIGHT_IN, DEFICIT_IN, FILM_IN, LANE_IN, PANEL_GAP_IN = 2.24, 1.35, 1.1, 0.17, 0.28
"""Heights of the panels, of a row of mistings, and between the panels [in]."""

LEAST_LANES = 2

LINE_PT = 11.5
"""Height of a line of small letters [points]."""

LABEL_WIDTH = 20
"""Signs in a line of a limit's label."""

MOST_NAMED = 3
"""Plants that are named in a label; more are counted."""

MOST_MOVED = 1.6
"""Lines of letters that a label may stand off its limit. Judgement: further is misread."""

FILM_TICKS_MIN = (5, 15, 60, 180, 480)
FILM_LEAST_MIN = 3.0

_STYLE: dict[Any, Any] = {
    "font.family": "DejaVu Sans",
    "font.size": USUAL,
    "text.parse_math": False,  # a plant may be called "$5 fern"
    "text.color": INK,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.8,
    "xtick.labelsize": SMALL,
    "ytick.labelsize": SMALL,
    "svg.fonttype": "path",
    "svg.hashsalt": "sillward",
}

_DOCTYPE = re.compile(rb"<!DOCTYPE.*?>\s*", re.DOTALL)
_METADATA = re.compile(rb"\s*<metadata>.*?</metadata>", re.DOTALL)


def image(data: ChartData, form: Form) -> bytes:
    """The chart as a picture. An SVG refers to nothing outside of itself."""
    with _style():
        figure, picture = figure_of(data), io.BytesIO()
        if form == "png":
            figure.savefig(picture, format="png", dpi=PNG_DPI)
            return _in_few_colours(picture, data.title)
        figure.savefig(picture, format="svg", metadata={"Date": None})
    drawn = _METADATA.sub(b"", _DOCTYPE.sub(b"", picture.getvalue()))
    return drawn.replace(b"?>\n", f"?>\n<!-- {MADE_BY} -->\n".encode(), 1)


def _in_few_colours(picture: io.BytesIO, title: str) -> bytes:
    """The same PNG with a palette, in a third of the bytes: it goes by mail."""
    about = PngInfo()
    about.add_itxt("Software", MADE_BY)
    about.add_itxt("Title", title)
    few = Image.open(picture).convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE)
    made = io.BytesIO()
    few.save(made, format="png", optimize=True, pnginfo=about)
    return made.getvalue()


def figure_of(data: ChartData) -> Figure:
    """The chart as a figure, for whoever wants to add to it."""
    with _style():
        figure = _night(data) if data.kind == "night" else _water(data)
        down = 1 / figure.get_figheight()
        figure.text(0.02, 1 - 0.1 * down, data.title, size=LARGE, weight="bold", va="top")
        figure.text(0.02, 1 - 0.33 * down, data.subtitle, size=USUAL, va="top")
        foot = "\n".join(_footer(data))
        figure.text(0.02, 0.06 * down, foot, size=SMALL, color=GREY, va="bottom")
        return figure


@contextmanager
def _style() -> Iterator[None]:
    """Our own look, whatever a matplotlibrc says."""
    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(_STYLE)
        yield


def _footer(data: ChartData) -> list[str]:
    band = [] if data.band_origin is None else [f"likely range: 2 nights in 3; {data.band_origin}"]
    return [data.forecast, *band, data.made]


def _panels(heights_in: Sequence[float], gap_in: float) -> list[Axes]:
    """A new figure with panels of these heights, from the top down."""
    total = HEAD_IN + sum(heights_in) + gap_in * (len(heights_in) - 1) + FOOT_IN
    figure = Figure(figsize=(WIDTH_IN, total), dpi=DPI)
    FigureCanvasAgg(figure)
    top, made = total - HEAD_IN, []
    for height in heights_in:
        box = (LEFT_IN / WIDTH_IN, (top - height) / total, PANEL_IN / WIDTH_IN, height / total)
        made.append(figure.add_axes(box))
        top -= height + gap_in
    return made


# -- night


def _night(data: ChartData) -> Figure:
    (axes,) = _panels([NIGHT_IN], 0.0)
    shown = partial(_shown, data.units, unit="°C")
    leaf, air, low, high = (
        _array(map(shown, data.series[name]))
        for name in ("leaf_c", "air_c", "band_low_c", "band_high_c")
    )
    times = _seconds(data.times)
    if data.band_origin is not None:
        axes.fill_between(times, low, high, color=SKY, alpha=0.35, lw=0, label="likely range")
    _line(axes, times, air, label="air", color=GREY, lw=1.1, ls=(0, (4, 2)))
    _line(axes, times, leaf, label="leaf", color=BLUE, lw=2.0)
    limits = [one for one in data.limits if one.series == "leaf_c"]
    known = np.concatenate([leaf, air, low, high, _array(shown(one.value) for one in limits)])
    known = known[np.isfinite(known)]
    ends = known if known.size else _array(map(shown, (0.0, 20.0)))
    bottom, top = ends.min(), ends.max()
    # For the value beneath the lowest point.
    room = max(0.12 * (top - bottom), data.units.difference(1.0)[0])
    axes.set_ylim(bottom - room, top + room / 2)
    axes.yaxis.set_major_locator(MaxNLocator("auto", steps=[1, 2, 5, 10], integer=True))
    _frame(axes, data, f"temperature [{data.units.temperature}]")
    _limits(axes, limits, data.units, digits=0)
    _lows(axes, data)
    _days_along(axes, data, noon=False)
    _legend(axes)
    return _figure(axes)


def _lows(axes: Axes, data: ChartData) -> None:
    """The lowest point of each night with its value; a question mark where it is not known."""
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


# -- water


def _water(data: ChartData) -> Figure:
    placed = walks(data)
    lanes = max([LEAST_LANES, *(one.lane + 1 for one in placed)])
    heights = [DEFICIT_IN, FILM_IN, lanes * LANE_IN]
    deficit, film, mist = _panels(heights, PANEL_GAP_IN)
    times = _seconds(data.times)

    vpd = _array(data.series["vpd_kpa"])
    _line(deficit, times, vpd, label="VPD", color=BLUE, lw=2.0)
    limits = [one for one in data.limits if one.series == "vpd_kpa"]
    shown = np.concatenate([vpd, [one.value for one in limits], [1.0]])
    deficit.set_ylim(0, 1.12 * np.nanmax(shown))
    _frame(deficit, data, "VPD of the air [kPa]")
    _limits(deficit, limits, data.units, digits=1)

    lives = _array(data.series["film_min"])
    _line(film, times, lives, label="film", color=GREEN, lw=1.6, marker="o", ms=2.6)
    film.set_yscale("log")
    film.set_ylim(np.nanmin([*(0.7 * lives), FILM_LEAST_MIN]), FILM_MOST_MIN * 1.25)
    names = [f"{tick}+" if tick == FILM_MOST_MIN else f"{tick}" for tick in FILM_TICKS_MIN]
    film.set_yticks(FILM_TICKS_MIN, names)
    film.set_yticks([], minor=True)
    _frame(film, data, "how long a leaf stays wet, by hour of wetting [min]")
    of_film = [one for one in data.limits if one.series == "film_min"]
    _limits(film, of_film, data.units, digits=0)

    _mist(mist, data, placed, lanes)
    for axes in (deficit, film):
        _days_along(axes, data, noon=True)
        axes.tick_params(axis="x", which="both", labelbottom=False)
    _days_along(mist, data, noon=True)
    return _figure(mist)


@dataclass(frozen=True, slots=True)
class Walk:
    """A row of words in the mist panel, with a bar in front of it unless nothing is planned."""

    opens: datetime
    closes: datetime
    lane: int
    words: str
    bar: bool


def walks(data: ChartData) -> list[Walk]:
    """Each misting with its hours and for how many plants, and of days without any why.

    One under the other where they would touch.
    """
    per_sign = (data.end - data.start) * (SMALL * 0.6 / 72 / PANEL_IN)
    wanted = []
    for window in data.windows:
        count = "" if data.plant else f" ({len(window.plants)})"
        words = f"{data.units.span(window.opens, window.closes, '–')}{count}"
        wanted.append((window.opens, window.closes, words, True))
    for day in data.days:
        if any(day.start <= one.closes and one.opens <= day.end for one in data.windows):
            continue
        words = "none" if day.planned else "not known"
        at = day.start + (day.end - day.start) / 2 - per_sign * len(words) / 2
        at = max(at, data.start + per_sign)
        wanted.append((at, at, words, False))
    lanes: list[datetime] = []
    placed = []
    for opens, closes, words, bar in sorted(wanted):
        free = (number for number, end in enumerate(lanes) if end <= opens)
        lane = next(free, len(lanes))
        lanes[lane : lane + 1] = [closes + per_sign * (len(words) + 1)]
        placed.append(Walk(opens, closes, lane, words, bar))
    return placed


def _mist(axes: Axes, data: ChartData, placed: Sequence[Walk], lanes: int) -> None:
    axes.set_yticks([])
    _frame(axes, data, "mist, hours" if data.plant else "mist, hours (plants)", grid=False)
    axes.set_ylim(lanes, 0)
    for one in placed:
        opens, closes = one.opens.timestamp(), one.closes.timestamp()
        if one.bar:
            axes.barh(one.lane + 0.5, closes - opens, left=opens, height=0.72, color=BLUE)
        axes.annotate(
            one.words,
            (closes, one.lane + 0.5),
            (2, 0),
            textcoords="offset points",
            size=SMALL,
            color=INK if one.bar else GREY,
            ha="left",
            va="center",
        )


# -- what all panels share


def _shown(units: Units, value: float | None, unit: str) -> float | None:
    return None if value is None else units.shown(value, unit)[0]


def _array(values: Iterable[float | None]) -> np.ndarray:
    return np.array([np.nan if one is None else one for one in values], dtype=np.float64)


def _seconds(moments: Iterable[datetime]) -> np.ndarray:
    return np.array([one.timestamp() for one in moments])


def _line(axes: Axes, times: np.ndarray, values: np.ndarray, **look: Any) -> None:
    """A line with gaps where a value is not known; what stands alone is a dot."""
    axes.plot(times, values, solid_capstyle="round", **look)
    known = np.isfinite(values)
    alone = known & ~np.append(known[1:], False) & ~np.append(False, known[:-1])
    if alone.any():
        axes.plot(times[alone], values[alone], "o", color=look["color"], ms=3, label="_alone")


def _figure(axes: Axes) -> Figure:
    figure = axes.get_figure()
    assert isinstance(figure, Figure)
    return figure


def _frame(axes: Axes, data: ChartData, shows: str, *, grid: bool = True) -> None:
    """What it shows, nights in grey, now as a line, no box."""
    axes.set_title(shows, loc="left", size=SMALL, pad=4, x=-0.3 / PANEL_IN)
    axes.set_xlim(data.start.timestamp(), data.end.timestamp())
    for night in data.nights:
        axes.axvspan(night.start.timestamp(), night.end.timestamp(), color=NIGHT, lw=0, zorder=0)
    if data.start + timedelta(hours=1) <= data.now <= data.end:
        axes.axvline(data.now.timestamp(), color=INK, lw=0.8, ls=":", label="_now")
    if grid:
        axes.grid(axis="y", color="#D5D5D5", lw=0.6)
    axes.set_axisbelow(True)
    axes.spines[["top", "right"]].set_visible(False)


def _legend(axes: Axes) -> None:
    # Above the panel, where no curve can be.
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


def _days_along(axes: Axes, data: ChartData, *, noon: bool) -> None:
    """Midnights as hours, and the date at each noon; noon: its hour too."""
    zone = ZoneInfo(data.zone)
    day, midnights, noons = data.start.date(), [], []
    while day <= data.end.date():
        midnights.append(datetime.combine(day, time(0), tzinfo=zone))
        noons.append(datetime.combine(day, time(12), tzinfo=zone))
        day += timedelta(days=1)
    midnights = [one for one in midnights if data.start <= one <= data.end]
    noons = [one for one in noons if data.start <= one <= data.end]
    hour = data.units.full_hour(time(12)) if noon else ""
    axes.set_xticks(_seconds(midnights), [data.units.full_hour(time(0))] * len(midnights))
    axes.set_xticks(_seconds(noons), [f"{hour}\n{one:%a %d}" for one in noons], minor=True)
    axes.tick_params(axis="x", which="minor", length=3 if noon else 0, labelsize=SMALL)
    axes.tick_params(axis="x", which="both", pad=2)


# -- limits and their labels


@dataclass(frozen=True, slots=True)
class Label:
    """What stands beside some limits: lines of words, and the height of their middle."""

    limits: tuple[LimitLine, ...]
    text: str
    y: float


def _limits(axes: Axes, limits: Sequence[LimitLine], units: Units, *, digits: int) -> None:
    """The limits as lines, named at their right ends."""

    def shown(limit: LimitLine) -> float:
        return units.shown(limit.value, limit.unit)[0]

    for one in limits:
        axes.axhline(shown(one), color=VERMILLION, lw=1.3, ls=(0, (6, 2)), label="_limit")
    if not limits:
        return
    line = LINE_PT / 72 / (_figure(axes).get_figheight() * axes.get_position().height)
    to_axes = axes.transData + axes.transAxes.inverted()

    def height(limit: LimitLine) -> float:
        return float(to_axes.transform((data_x, shown(limit)))[1])

    data_x = axes.get_xlim()[1]
    for label in labels(limits, [height(one) for one in limits], line, digits, units):
        middle = fmean(height(one) for one in label.limits)
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
    """The labels of limits, highest first, so that none covers another.

    heights: of the limits, and line: of a line of words, as shares of the panel. Limits whose
    labels would stand too far off them share one.
    """
    order = sorted(range(len(limits)), key=lambda index: -heights[index])
    groups = [[index] for index in order]
    while True:
        wanted = [fmean(heights[index] for index in group) for group in groups]
        if len(groups) * line <= 1.0:
            texts = [_words([limits[index] for index in group], digits, units) for group in groups]
            at = spread_out(wanted, [line * (text.count("\n") + 1) for text in texts])
            moved = [abs(one - other) for one, other in zip(at, wanted, strict=True)]
            if len(groups) == 1 or max(moved) <= MOST_MOVED * line:
                return [
                    Label(tuple(limits[index] for index in group), text, y)
                    for group, text, y in zip(groups, texts, at, strict=True)
                ]
        apart = [one - other for one, other in pairwise(wanted)]
        nearest = apart.index(min(apart))
        groups[nearest : nearest + 2] = [groups[nearest] + groups[nearest + 1]]


def spread_out(wanted: Sequence[float], tall: Sequence[float]) -> list[float]:
    """Middles as near as may be to the wanted ones, from the top down, that do not overlap.

    Those that touch are moved together, half of the way each.
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


def _words(limits: Sequence[LimitLine], digits: int, units: Units) -> str:
    """ "14 °C Blue basket", "1.4 to 1.6 kPa 4 plants": at most two lines."""
    its = limits[0].unit
    names = [name for one in limits for name in one.plants]
    values = [limits[0].value, limits[-1].value]
    shown = [units.shown(value, its)[0] for value in values]
    unit = units.shown(values[0], its)[1]
    if len(limits) > 1:
        low, high = (fixed(one, digits) for one in sorted(shown))
        span = low if low == high else f"{low}–{high}"
        return f"{span} {unit}\n{_plants(names)}"
    bound = f"{units.bare(values[0], its)} {unit}"
    told = f"{bound} {', '.join(' '.join(name.split()) for name in names[:MOST_NAMED])}"
    lines = textwrap.wrap(told, LABEL_WIDTH)
    if len(lines) > 2 or len(names) > MOST_NAMED:
        return f"{bound} {_plants(names)}"
    return "\n".join(lines)


def _plants(names: Sequence[str]) -> str:
    return "1 plant" if len(names) == 1 else f"{len(names)} plants"
