"""The drawing of a plant's years: a strip for each, with its flowers and what was noted of it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from sillward.ledger.tables.diary import EntryKind
from sillward.page.drawings.layout import LETTER, WIDTH, Span, Tick, number
from sillward.reports.plant_years import PlantYear

MAX_YEARS = 8
"""Years that are drawn, the last ones. Judgement: a screen of a phone; the table has them all."""

LEFT, RIGHT = 40.0, 6.0
"""Room for the number of the year, and for a mark on the last day of December."""

TOP, ROW, BAR = LETTER + 6.0, 34.0, 10.0
"""Height of the line of months, of a strip, and of the bar of its flowers."""

LEAST_BAR_WIDTH = 4.0
"""Of a blooming, which may last a day, or of which only the first day is known."""

MARKS = {
    EntryKind.SPIKE: "spike",
    EntryKind.GROWTH: "growth",
    EntryKind.ROOT: "growth",
    EntryKind.REPOTTED: "repotted",
    EntryKind.DAMAGE: "damage",
}
"""How days on which something was noted are marked."""


@dataclass(frozen=True, slots=True)
class Strip:
    """A year: where its strip begins, left edge and width of each blooming, and marks by kind.

    y: the top of its bar. bars, marks: in units of the drawing; marks as kind and x.
    """

    year: int
    y: float
    bars: Sequence[tuple[str, str]]
    marks: Sequence[tuple[str, float]]


@dataclass(frozen=True, slots=True)
class YearsDrawing:
    """Where everything is drawn. months: the number of each, in the middle of it."""

    strips: Sequence[Strip]
    months: Sequence[Tick]
    edges: Sequence[float]
    height: float
    width: float = WIDTH
    left: float = LEFT
    right: float = WIDTH - RIGHT
    bar: float = BAR

    @property
    def is_worth_it(self) -> bool:
        """Whether there is anything to see."""
        return any(strip.bars or strip.marks for strip in self.strips)


def years_drawing(years: Sequence[PlantYear], today: date) -> YearsDrawing:
    """Lay out the last years, the last one first."""
    shown = years[:MAX_YEARS]
    firsts = [date(2001, month, 1) for month in range(1, 13)]
    edges = [_x(first) for first in firsts]
    months = [
        Tick((left + right) / 2, str(place))
        for place, (left, right) in enumerate(
            zip(edges, [*edges[1:], WIDTH - RIGHT], strict=True), 1
        )
    ]
    strips = [
        Strip(
            year.year,
            TOP + place * ROW,
            list(_bars(year.year, years, today)),
            sorted({(MARKS[kind], _x(day)) for day, kind in year.days if kind in MARKS}),
        )
        for place, year in enumerate(shown)
    ]
    return YearsDrawing(strips, months, edges, TOP + len(shown) * ROW)


def _x(day: date) -> float:
    """Return where a day of a year is drawn."""
    span = Span(1.0, 366.0, LEFT, WIDTH - RIGHT)
    return round(span(float(day.timetuple().tm_yday)), 1)


def _bars(year: int, years: Sequence[PlantYear], today: date) -> Iterator[tuple[str, str]]:
    """Yield left edge and width of what was in flower in a year, also since the year before."""
    begins, ends = date(year, 1, 1), date(year, 12, 31)
    for blooming in (each for year_ in years for each in year_.bloomings):
        unknown = blooming.first + timedelta(days=1)
        last = blooming.last or (today if blooming.lasts else unknown)
        if blooming.first <= ends and last >= begins:
            left = _x(max(blooming.first, begins))
            width = max(_x(min(last, ends)) - left, LEAST_BAR_WIDTH)
            yield number(left), number(width)
