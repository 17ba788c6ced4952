"""Charts drawn with matplotlib: the only module that needs it (`pip install 'sillward[charts]'`).

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
from itertools import pairwise
from typing import Literal, TypeAlias
from zoneinfo import ZoneInfo

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patheffects import withStroke

from sillward.charts.data import FILM_MOST_MIN, ChartData, LimitLine
from sillward.notices import phrases

Form: TypeAlias = Literal["png", "svg"]

BLUE, SKY, VERMILLION, GREEN = "#0072B2", "#56B4E9", "#D55E00", "#009E73"
"""Of the palette of Okabe and Ito, "Color universal design" (2008); values from memory."""

GREY, INK = "#6B6B6B", "#1A1A1A"
NIGHT = "#EDEDED"

SIZE_IN = {"night": (6.0, 4.0), "water": (6.0, 5.0)}
DPI = 100
PNG_DPI = 200
"""Twice as fine as it is laid out: sharp on a phone."""

SMALL, USUAL, LARGE = 9.0, 9.5, 12.0
"""Sizes of letters [points]."""

LINE_PT = 11.5
"""Height of a line of small letters [points]."""

LABEL_WIDTH = 20
"""Signs in a line of a limit's label."""

MOST_MOVED = 1.6
"""Lines of letters that a label may stand off its limit. Judgement: further is misread."""

FILM_TICKS_MIN = (15, 30, 60, 120, 240, 480)

_STYLE = {
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
            figure.savefig(picture, format="png", dpi=PNG_DPI, metadata={"Title": data.title})
            return picture.getvalue()
        figure.savefig(picture, format="svg", metadata={"Date": None})
    return _METADATA.sub(b"", _DOCTYPE.sub(b"", picture.getvalue()))


def figure_of(data: ChartData) -> Figure:
    """The chart as a figure, for whoever wants to add to it."""
    with _style():
        figure = Figure(figsize=SIZE_IN[data.kind], dpi=DPI)
        FigureCanvasAgg(figure)
        figure.text(0.02, 0.975, data.title, size=LARGE, weight="bold", va="top")
        below = 0.975 - 18 / (72 * SIZE_IN[data.kind][1])
        figure.text(0.02, below, data.subtitle, size=USUAL, va="top")
        figure.text(0.02, 0.015, "\n".join(_footer(data)), size=SMALL, color=GREY, va="bottom")
        if data.kind == "night":
            _night(figure, data)
        else:
            _water(figure, data)
        return figure


@contextmanager
def _style() -> Iterator[None]:
    """Our own look, whatever a matplotlibrc says."""
    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(_STYLE)
        yield


def _footer(data: ChartData) -> list[str]:
    band = [] if data.band_origin is None else [f"band: right 2 times in 3, {data.band_origin}"]
    return [*data.footer, *band][::-1] if not band else [*band, "; ".join(data.footer)]


# -- night


def _night(figure: Figure, data: ChartData) -> None:
    axes = figure.add_axes((0.085, 0.24, 0.645, 0.56))
    leaf, air = _array(data.series["leaf_c"]), _array(data.series["air_c"])
    low, high = _array(data.series["band_low_c"]), _array(data.series["band_high_c"])
    times = _seconds(data.times)
    axes.fill_between(times, low, high, color=SKY, alpha=0.35, lw=0, label="likely range")
    _line(axes, times, air, label="air", color=GREY, lw=1.1, ls=(0, (4, 2)))
    _line(axes, times, leaf, label="leaf", color=BLUE, lw=2.0)
    limits = [one for one in data.limits if one.series == "leaf_c"]
    shown = np.concatenate([leaf, air, low, high, [one.value for one in limits]])
    shown = shown[np.isfinite(shown)]
    bottom, top = (shown.min(), shown.max()) if shown.size else (0.0, 20.0)
    axes.set_ylim(bottom - 3.0, top + 1.5)  # room for the value beneath the lowest point
    axes.set_ylabel("[°C]", rotation=0, ha="left", va="bottom")
    axes.yaxis.set_label_coords(-0.125, 1.02)
    _frame(axes, data)
    _limits(axes, limits, digits=0)
    for night in data.nights:
        if night.low_c is None or night.low_at is None:
            middle = night.start + (night.end - night.start) / 2
            _text_within(axes, middle, "?")
            continue
        at = night.low_at.timestamp()
        axes.plot([at], [night.low_c], "o", color=BLUE, ms=4.5, label="_low")
        note = axes.annotate(
            phrases.fixed(night.low_c, 1),
            (at, night.low_c),
            (0, -5),
            textcoords="offset points",
            ha="center",
            va="top",
            size=SMALL,
            weight="bold",
        )
        note.set_path_effects([withStroke(linewidth=2.5, foreground="white")])
    _days_along(axes, data, noon=False)
    _legend(axes)


# -- water


def _water(figure: Figure, data: ChartData) -> None:
    times = _seconds(data.times)
    left, width = 0.105, 0.625
    deficit = figure.add_axes((left, 0.575, width, 0.27))
    film = figure.add_axes((left, 0.315, width, 0.215))
    mist = figure.add_axes((left, 0.185, width, 0.105))

    vpd = _array(data.series["vpd_kpa"])
    _line(deficit, times, vpd, label="VPD", color=BLUE, lw=2.0)
    limits = [one for one in data.limits if one.series == "vpd_kpa"]
    shown = np.concatenate([vpd, [one.value for one in limits], [1.0]])
    deficit.set_ylim(0, 1.12 * np.nanmax(shown))
    deficit.set_ylabel("VPD [kPa]")
    _frame(deficit, data)
    _limits(deficit, limits, digits=1)

    lives = _array(data.series["film_min"])
    _line(film, times, lives, label="film", color=GREEN, lw=1.6, marker="o", ms=2.6)
    film.set_yscale("log")
    film.set_ylim(FILM_TICKS_MIN[0] * 0.75, FILM_MOST_MIN * 1.25)
    names = [f"{tick}+" if tick == FILM_MOST_MIN else f"{tick}" for tick in FILM_TICKS_MIN]
    film.set_yticks(FILM_TICKS_MIN, names)
    film.set_yticks([], minor=True)
    film.set_ylabel("film life [min]")
    _frame(film, data)
    _limits(film, [one for one in data.limits if one.series == "film_min"], digits=0)

    _mist(mist, data)
    for axes in (deficit, film):
        axes.tick_params(axis="x", which="both", labelbottom=False)
    _days_along(mist, data, noon=True)
    figure.align_ylabels([deficit, film])


def _mist(axes: Axes, data: ChartData) -> None:
    """The mistings as bars, each with its hours, one under the other where they would touch."""
    axes.set_ylabel("mist", rotation=0, ha="right", va="center")
    axes.set_yticks([])
    _frame(axes, data, top=True)
    span = data.end.timestamp() - data.start.timestamp()
    per_sign = span * SMALL * 0.6 / (72 * axes.figure.get_figwidth() * axes.get_position().width)
    lanes: list[float] = []
    placed = []
    for window in sorted(data.windows, key=lambda one: one.opens):
        words = f"{window.opens:%H:%M}–{window.closes:%H:%M}"
        opens, closes = window.opens.timestamp(), window.closes.timestamp()
        middle, half = (opens + closes) / 2, per_sign * len(words) / 2
        left, right = min(opens, middle - half), max(closes, middle + half)
        lane = next((i for i, end in enumerate(lanes) if end <= left), len(lanes))
        lanes[lane : lane + 1] = [right + per_sign]
        placed.append((opens, closes, lane, words))
    count = max(len(lanes), 2)
    axes.set_ylim(count, 0)
    for opens, closes, lane, words in placed:
        axes.barh(lane + 0.5, closes - opens, left=opens, height=0.86, color=SKY, label=words)
        axes.text((opens + closes) / 2, lane + 0.5, words, size=SMALL, ha="center", va="center")
    for day in data.days:
        if any(day.start <= one.closes and one.opens <= day.end for one in data.windows):
            continue
        middle = day.start + (day.end - day.start) / 2
        _text_within(axes, middle, "none" if day.planned else "not known")


# -- what all panels share


def _array(values: Iterable[float | None]) -> np.ndarray:
    return np.array([np.nan if one is None else one for one in values], dtype=np.float64)


def _seconds(moments: Iterable[datetime]) -> np.ndarray:
    return np.array([one.timestamp() for one in moments])


def _line(axes: Axes, times: np.ndarray, values: np.ndarray, **look: object) -> None:
    """A line with gaps where a value is not known; what stands alone is a dot."""
    axes.plot(times, values, solid_capstyle="round", **look)  # type: ignore[arg-type]
    known = np.isfinite(values)
    alone = known & ~np.append(known[1:], False) & ~np.append(False, known[:-1])
    if alone.any():
        axes.plot(times[alone], values[alone], "o", color=look["color"], ms=3, label="_alone")  # type: ignore[arg-type]


def _frame(axes: Axes, data: ChartData, *, top: bool = False) -> None:
    """Nights in grey, now as a line, no box."""
    axes.set_xlim(data.start.timestamp(), data.end.timestamp())
    for night in data.nights:
        axes.axvspan(night.start.timestamp(), night.end.timestamp(), color=NIGHT, lw=0, zorder=0)
    if data.start + timedelta(hours=1) <= data.now <= data.end:
        axes.axvline(data.now.timestamp(), color=INK, lw=0.8, ls=":", label="_now")
    if not top:
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
    axes.set_xticks(_seconds(midnights), ["00:00"] * len(midnights))
    hour = "12:00" if noon else ""
    axes.set_xticks(_seconds(noons), [f"{hour}\n{one:%a %d}" for one in noons], minor=True)
    axes.tick_params(axis="x", which="minor", length=3 if noon else 0, labelsize=SMALL)
    axes.tick_params(axis="x", which="both", pad=2)


def _text_within(axes: Axes, at: datetime, words: str) -> None:
    axes.annotate(
        words,
        (at.timestamp(), 0.5),
        xycoords=("data", "axes fraction"),
        ha="center",
        va="center",
        size=SMALL,
        color=GREY,
        annotation_clip=True,
    )


# -- limits and their labels


@dataclass(frozen=True, slots=True)
class Label:
    """What stands beside some limits: lines of words, and the height of their middle."""

    limits: tuple[LimitLine, ...]
    text: str
    y: float

    @property
    def lines(self) -> int:
        """How many lines of words."""
        return self.text.count("\n") + 1


def _limits(axes: Axes, limits: Sequence[LimitLine], *, digits: int) -> None:
    """The limits as lines, named at their right ends."""
    for one in limits:
        axes.axhline(one.value, color=VERMILLION, lw=1.3, ls=(0, (6, 2)), label="_limit")
    if not limits:
        return
    axes.apply_aspect()
    line = LINE_PT / 72 / (axes.figure.get_figheight() * axes.get_position().height)
    to_axes = axes.transData + axes.transAxes.inverted()

    def height(value: float) -> float:
        return float(to_axes.transform((data_x, value))[1])

    data_x = axes.get_xlim()[1]
    for label in labels(limits, [height(one.value) for one in limits], line, digits):
        middle = float(np.mean([height(one.value) for one in label.limits]))
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
            arrowprops={"arrowstyle": "-", "color": VERMILLION, "lw": 0.8, "shrinkA": 1, "shrinkB": 0},
        )


def labels(
    limits: Sequence[LimitLine], heights: Sequence[float], line: float, digits: int
) -> list[Label]:
    """The labels of limits, highest first, so that none covers another.

    heights: of the limits, and line: of a line of words, as shares of the panel. Limits whose
    labels would stand too far off them share one.
    """
    order = sorted(range(len(limits)), key=lambda index: -heights[index])
    groups = [[index] for index in order]
    while True:
        texts = [_words([limits[index] for index in group], digits) for group in groups]
        wanted = [float(np.mean([heights[index] for index in group])) for group in groups]
        tall = [line * (text.count("\n") + 1) for text in texts]
        at = spread_out(wanted, tall)
        moved = [abs(one - other) for one, other in zip(at, wanted, strict=True)]
        if len(groups) == 1 or max(moved) <= MOST_MOVED * line:
            return [
                Label(tuple(limits[index] for index in group), text, y)
                for group, text, y in zip(groups, texts, at, strict=True)
            ]
        nearest = min(
            range(len(groups) - 1), key=lambda one: wanted[one] - wanted[one + 1]
        )
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
            above = np.concatenate([[0.0], np.cumsum([tall[i] for i in members])[:-1]])
            top = float(
                np.mean([wanted[i] + tall[i] / 2 + a for i, a in zip(members, above, strict=True)])
            )
        blocks.append((members, top))
    placed = [0.0] * len(wanted)
    for members, top in blocks:
        for index in members:
            placed[index] = top - tall[index] / 2
            top -= tall[index]
    return placed


def _words(limits: Sequence[LimitLine], digits: int) -> str:
    """ "14 °C Blue basket", "1.4 to 1.6 kPa 4 plants": at most two lines."""
    unit = limits[0].unit
    names = [name for one in limits for name in one.plants]
    values = [limits[0].value, limits[-1].value]
    if len(limits) > 1:
        low, high = (phrases.fixed(one, digits) for one in sorted(values))
        shown = low if low == high else f"{low}–{high}"
        return f"{shown} {unit}\n{phrases.plants(len(names))}"
    bound = f"{values[0]:g} {unit}"
    lines = textwrap.wrap(f"{bound} {', '.join(' '.join(one.split()) for one in names)}", LABEL_WIDTH)
    return "\n".join(lines) if len(lines) <= 2 else f"{bound} {phrases.plants(len(names))}"
