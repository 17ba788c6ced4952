"""The drawing of the nights ahead: leaf and air, the likely range, the limits, the lows."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sillward.charts.data import ChartData, LimitLine
from sillward.charts.data.model import NightSpan
from sillward.page.drawings.layout import (
    LETTER,
    LINE,
    WIDTH,
    Panel,
    Span,
    Tick,
    apart,
    band,
    line,
    number,
    ticks,
)
from sillward.text.columns import cut
from sillward.text.units import fixed
from sillward.wording.voice import Voice

HEIGHT = 210.0
"""Of the drawing. Judgement: two of them on a phone that is held upright."""

TOP, BOTTOM = 8.0 + LETTER, HEIGHT - LINE - 6.0
"""Edges of the panel: above it is the word "now", under it the days."""

MOST_TICKS = 5

NOTHING_C = (0.0, 15.0)
"""The scale where nothing is known [°C]."""

SAME_K = 0.05
"""Temperatures that are shown as the same [K]."""

DAY_LETTERS = 4
"""Letters of a day that fit under a night."""


@dataclass(frozen=True, slots=True)
class Low:
    """The lowest leaf of a night, with its value as text, which stands at `text_x`.

    under: whether it is under a limit.
    """

    x: float
    y: float
    text_x: float
    text: str
    under: bool


@dataclass(frozen=True, slots=True)
class NightDrawing:
    """Where everything is drawn. leaf, air, likely: the `d` of paths, empty if nothing is known.

    nights: left edge and width of each; unknown: the middles of those of which too little is known.
    limits: the lines across the panel; limit_labels: those of them that have room for their value.
    """

    panel: Panel
    scale: Sequence[Tick]
    nights: Sequence[tuple[str, str]]
    days: Sequence[Tick]
    limits: Sequence[float]
    limit_labels: Sequence[Tick]
    leaf: str
    air: str
    likely: str
    lows: Sequence[Low]
    unknown: Sequence[float]
    now: float
    width: float = WIDTH
    height: float = HEIGHT


def night_drawing(data: ChartData, now: datetime, voice: Voice) -> NightDrawing:
    """Lay out a chart of nights."""
    panel = Panel(TOP, BOTTOM, data.start, data.end)
    limits = [limit for limit in data.limits if limit.series == "leaf_c"]
    scale = _scale(data, limits, panel)
    xs = [panel.x(at) for at in data.times]

    def ys(name: str) -> list[float | None]:
        return [None if value is None else scale(value) for value in data.series[name]]

    heights = [scale(limit.value) for limit in limits]
    has_room = apart(heights)
    known = [night for night in data.nights if night.low_c is not None]
    return NightDrawing(
        panel,
        _ticks(scale, voice),
        [(number(x), number(wide)) for x, wide in (_edges(panel, night) for night in data.nights)],
        [
            Tick(_middle(panel, night), cut(voice.weekday(night.start), DAY_LETTERS))
            for night in data.nights
        ],
        heights,
        [
            Tick(y, _value(limit, voice))
            for limit, y, fits in zip(limits, heights, has_room, strict=True)
            if fits
        ],
        leaf=line(xs, ys("leaf_c")),
        air=line(xs, ys("air_c")),
        likely=band(xs, ys("band_low_c"), ys("band_high_c")),
        lows=[_low(data, night, panel, scale, voice) for night in known],
        unknown=[_middle(panel, night) for night in data.nights if night.low_c is None],
        now=panel.x(now),
    )


def _scale(data: ChartData, limits: Sequence[LimitLine], panel: Panel) -> Span:
    """Return the scale of temperatures, with room for a text under the lowest point."""
    values = [limit.value for limit in limits]
    for name in ("leaf_c", "air_c", "band_low_c", "band_high_c"):
        values += [value for value in data.series[name] if value is not None]
    low, high = (min(values), max(values)) if values else NOTHING_C
    if high - low < 1.0:
        low, high = low - 1.0, high + 1.0
    return Span(low, high, panel.bottom - LINE - 6.0, panel.top + 4.0)


def _ticks(scale: Span, voice: Voice) -> list[Tick]:
    """Return round temperatures in the grower's unit."""
    low, high = (voice.units.shown(end, "°C")[0] for end in (scale.low, scale.high))
    shown = Span(low, high, scale.at_low, scale.at_high)
    return [Tick(shown(value), f"{fixed(value, 0)}°") for value in ticks(low, high, MOST_TICKS)]


def _edges(panel: Panel, night: NightSpan) -> tuple[float, float]:
    left = panel.x(night.start)
    return left, panel.x(night.end) - left


def _middle(panel: Panel, night: NightSpan) -> float:
    left, wide = _edges(panel, night)
    return left + wide / 2


def _value(limit: LimitLine, voice: Voice) -> str:
    return f"{voice.bare(limit.value, '°C', 1)}°"


def _low(data: ChartData, night: NightSpan, panel: Panel, scale: Span, voice: Voice) -> Low:
    assert night.low_c is not None
    assert night.low_at is not None
    # A room that holds its temperature is at its lowest all night: the middle of that is marked.
    lowest = [
        at
        for at, leaf in zip(data.times, data.series["leaf_c"], strict=True)
        if leaf is not None and leaf < night.low_c + SAME_K and night.start <= at <= night.end
    ] or [night.low_at]
    x = (panel.x(lowest[0]) + panel.x(lowest[-1])) / 2
    text = fixed(voice.units.shown(night.low_c, "°C")[0], 1)
    half = 0.3 * LETTER * len(text)
    under = any(night.low_c < limit.value for limit in data.limits)
    return Low(
        x, scale(night.low_c), min(max(x, panel.left + half), panel.right - half), text, under
    )


# -- in words


def night_words(data: ChartData, voice: Voice) -> str:
    """Return what a chart of nights shows, for those who do not see it."""
    lows = [
        f"{voice.day(night.start)} {voice.degrees(night.low_c)}"
        if night.low_c is not None
        else f"{voice.day(night.start)} not known"
        for night in data.nights
    ]
    limits = [f"{voice.bound(limit.value)} ({len(limit.plants)})" for limit in data.limits]
    bounds = f" Limits and how many plants have each: {', '.join(limits)}." if limits else ""
    return f"Lowest leaf temperatures at {data.spot}: {', '.join(lows)}.{bounds}"


@dataclass(frozen=True, slots=True)
class NightNumbers:
    """The numbers of a night: its low with its give or take, when that is, and how many plants have
    a higher limit."""

    day: str
    low: str
    at: str
    under: int | None


def night_numbers(data: ChartData, voice: Voice) -> list[NightNumbers]:
    """Return the same nights as numbers."""
    rows = []
    for night in data.nights:
        if night.low_c is None or night.low_at is None:
            rows.append(NightNumbers(voice.day(night.start), "not known", "", None))
            continue
        off = give_or_take_k(data, night.low_at)
        under = sum(len(limit.plants) for limit in data.limits if night.low_c < limit.value)
        rows.append(
            NightNumbers(
                voice.day(night.start),
                _low_within(night.low_c, off, voice),
                voice.hour(night.low_at),
                under,
            )
        )
    return rows


def _low_within(low_c: float, off_k: float | None, voice: Voice) -> str:
    """Return "4.0 ± 1.4 °C", or "4.0 °C" where nothing is known of its give or take."""
    if off_k is None:
        return voice.degrees(low_c)
    return f"{fixed(voice.units.shown(low_c, '°C')[0], 1)} ± {voice.kelvins(off_k)}"


def give_or_take_k(data: ChartData, at: datetime) -> float | None:
    """Return how far off the forecast is likely to be at a moment [K]: in two nights of three it is
    no further off. None if that is not known."""
    row = min(range(len(data.times)), key=lambda place: abs(data.times[place] - at))
    low, high = data.series["band_low_c"][row], data.series["band_high_c"][row]
    return None if low is None or high is None else (high - low) / 2


@dataclass(frozen=True, slots=True)
class HourNumbers:
    """An hour of the coming night: leaf and air, and how many plants have a higher limit."""

    at: str
    leaf: str
    air: str
    under: int | None


def hours_of_night(data: ChartData, voice: Voice) -> list[HourNumbers]:
    """Return the coming night hour by hour, until its cold is over."""
    night, rows = data.nights[0], list[HourNumbers]()
    for at, leaf, air in zip(data.times, data.series["leaf_c"], data.series["air_c"], strict=True):
        if not night.start - timedelta(hours=1) < at < night.end + timedelta(hours=2):
            continue
        under = None
        if leaf is not None:
            under = sum(len(limit.plants) for limit in data.limits if leaf < limit.value)
        rows.append(HourNumbers(voice.hour(at), voice.degrees(leaf), voice.degrees(air), under))
    return rows
