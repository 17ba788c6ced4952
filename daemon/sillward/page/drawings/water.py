"""The drawing of a day's water: how dry the air is, how long a leaf stays wet, when to mist."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from sillward.charts.data import MAX_FILM_MIN, ChartData, Window
from sillward.page.drawings.layout import (
    LINE,
    WIDTH,
    Panel,
    Span,
    Tick,
    apart,
    line,
    number,
    ticks,
)
from sillward.wording.voice import Voice

VPD_TOP, VPD_BOTTOM = 22.0, 104.0
FILM_TOP, FILM_BOTTOM = 132.0, 204.0
MIST_TOP, MIST_BOTTOM = 212.0, 226.0
HEIGHT = MIST_BOTTOM + LINE + 6.0
"""Edges of the panels, each under the line of letters that names it, and of the bars of misting."""

MOST_TICKS = 3

LEAST_BAR_WIDTH = 3.0
"""Of a misting, which may last some minutes only."""

FILM_TICKS_MIN = (5, 15, 60, 180, 480)
LEAST_FILM_MIN = 3.0
"""Lower end of the scale of film life, which is logarithmic, unless a film is shorter [min]."""

ENOUGH_LIGHT = timedelta(hours=3)
"""With less left of a day the next one is drawn too. Judgement: a morning is planned the evening
before."""

HOUR_ROOM = 48.0
"""What the hour under a drawing needs at least ("12:00", "11 am")."""


@dataclass(frozen=True, slots=True)
class WaterDrawing:
    """Where everything is drawn. vpd, film: the `d` of paths, empty if nothing is known.

    nights: left edge and width of each. limits, film_limits: the lines across the panels; labels:
    those that have room for their value. mistings: left edge and width of each.
    """

    vpd_panel: Panel
    film_panel: Panel
    vpd_scale: Sequence[Tick]
    film_scale: Sequence[Tick]
    hours: Sequence[Tick]
    nights: Sequence[tuple[str, str]]
    limits: Sequence[float]
    film_limits: Sequence[float]
    labels: Sequence[Tick]
    vpd: str
    film: str
    mistings: Sequence[tuple[str, str]]
    now: float
    mist_top: float = MIST_TOP
    mist_height: float = MIST_BOTTOM - MIST_TOP
    width: float = WIDTH
    height: float = HEIGHT


def water_drawing(data: ChartData, now: datetime, voice: Voice) -> WaterDrawing:
    """Lay out a chart of water, from its first hour to the end of its last day that is shown."""
    shown = [place for place, at in enumerate(data.times) if at <= _end(data)]
    times = [data.times[place] for place in shown]
    vpd_panel = Panel(VPD_TOP, VPD_BOTTOM, times[0], times[-1])
    film_panel = Panel(FILM_TOP, FILM_BOTTOM, times[0], times[-1])
    limits = [limit.value for limit in data.limits if limit.series == "vpd_kpa"]
    uptake = [limit.value for limit in data.limits if limit.series == "film_min"]
    vpd = [data.series["vpd_kpa"][place] for place in shown]
    film = [data.series["film_min"][place] for place in shown]
    highest = max([1.0, *limits, *(value for value in vpd if value is not None)])
    vpd_y = Span(0.0, highest, VPD_BOTTOM, VPD_TOP + 4.0)
    film_y = _film_scale(film)
    xs = [vpd_panel.x(at) for at in times]
    heights = [vpd_y(limit) for limit in limits]
    film_heights = [film_y(math.log(each)) for each in uptake]
    values = zip(limits, heights, apart(heights), strict=True)
    return WaterDrawing(
        vpd_panel,
        film_panel,
        [Tick(vpd_y(value), f"{value:g}") for value in ticks(0.0, highest, MOST_TICKS)],
        [
            Tick(film_y(math.log(value)), f"{value}+" if value == MAX_FILM_MIN else f"{value}")
            for value in FILM_TICKS_MIN
        ],
        _hours(vpd_panel, voice),
        [_bar(vpd_panel, night.start, night.end) for night in data.nights],
        heights,
        film_heights,
        [
            *(Tick(y, f"{value:.1f}") for value, y, fits in values if fits),
            *(Tick(y, f"{value:.0f}") for value, y in zip(uptake, film_heights, strict=True)),
        ],
        line(xs, [None if value is None else vpd_y(value) for value in vpd]),
        line(xs, [None if value is None else film_y(math.log(max(value, 0.1))) for value in film]),
        [_bar(vpd_panel, each.opens, each.closes, LEAST_BAR_WIDTH) for each in windows_shown(data)],
        vpd_panel.x(now),
    )


def _bar(panel: Panel, start: datetime, end: datetime, least: float = 0.0) -> tuple[str, str]:
    """Return the left edge and the width of what lasts from start to end."""
    left = panel.x(start)
    return number(left), number(max(panel.x(end) - left, least))


def days_shown(data: ChartData) -> list[date]:
    """Return the days that are drawn: the first one, and the next if little is left of it."""
    first = data.days[0]
    short = first.end - max(first.start, data.now) < ENOUGH_LIGHT
    return [day.start.date() for day in data.days[: 2 if short else 1]]


def windows_shown(data: ChartData) -> list[Window]:
    """Return the mistings of the days that are drawn."""
    days = days_shown(data)
    return [window for window in data.windows if window.opens.date() in days]


def is_planned(data: ChartData) -> bool:
    """Whether enough is known of the days that are drawn to plan their misting."""
    return all(day.planned for day in data.days[: len(days_shown(data))])


def _end(data: ChartData) -> datetime:
    """Return the midnight that ends the last day that is drawn."""
    last = days_shown(data)[-1]
    return next((at for at in data.times if at.date() > last), data.times[-1])


def _film_scale(film: Sequence[float | None]) -> Span:
    """Return the scale of the logarithm of film life."""
    shortest = min([LEAST_FILM_MIN, *(value for value in film if value is not None)])
    low = math.log(max(shortest, 0.1))
    return Span(low, math.log(1.25 * MAX_FILM_MIN), FILM_BOTTOM, FILM_TOP)


def _hours(panel: Panel, voice: Voice) -> Sequence[Tick]:
    """Return the hours under a drawing, as close as there is room for them."""
    length = (panel.end - panel.start) / timedelta(hours=1)
    room = (panel.right - panel.left) / max(length, 1.0)
    step = next((step for step in (1, 2, 3, 6, 12) if step * room >= HOUR_ROOM), 24)
    found, at = [], panel.start
    while at <= panel.end:
        local = voice.local(at)
        if local.minute == 0 and local.hour % step == 0:
            found.append(Tick(panel.x(at), voice.units.full_hour(local)))
        at += timedelta(hours=1)
    return found


# -- in words


def water_words(data: ChartData, voice: Voice) -> str:
    """Return what a chart of water shows, for those who do not see it."""
    days = ", ".join(voice.day(day) for day in days_shown(data))
    known = [
        (value, at)
        for at, value in zip(data.times, data.series["vpd_kpa"], strict=True)
        if value is not None and at.date() in days_shown(data)
    ]
    if not known:
        return f"Water at {data.spot}, {days}: not known."
    driest, at = max(known)
    hours = [voice.units.span(window.opens, window.closes) for window in windows_shown(data)]
    nothing = "nothing to mist" if is_planned(data) else "misting not known"
    mist = f"mist {', '.join(hours)}" if hours else nothing
    return f"Water at {data.spot}, {days}: driest {driest:.1f} kPa at {voice.hour(at)}; {mist}."


@dataclass(frozen=True, slots=True)
class WaterNumbers:
    """An hour of a day: how dry the air is, and how long a leaf stays wet that is wetted then."""

    at: str
    vpd: str
    film: str


def water_numbers(data: ChartData, voice: Voice) -> list[WaterNumbers]:
    """Return the hours of the days that are drawn as numbers; nights without film are left out."""
    days, rows = days_shown(data), list[WaterNumbers]()
    for at, vpd, film in zip(
        data.times, data.series["vpd_kpa"], data.series["film_min"], strict=True
    ):
        if at.date() in days and film is not None:
            wet = f"{film:.0f} min" if film < MAX_FILM_MIN else f"{MAX_FILM_MIN / 60:.0f} h or more"
            when = voice.hour(at) if len(days) == 1 else voice.day_and_hour(at)
            rows.append(WaterNumbers(when, voice.measure(vpd, "kPa", 2), wet))
    return rows
