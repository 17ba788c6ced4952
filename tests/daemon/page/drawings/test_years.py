"""The drawing of a plant's years: bars for what was in flower, marks for what was noted."""

from datetime import date, timedelta
from itertools import pairwise

from sillward.ledger.tables.diary import DiaryEntry, EntryKind
from sillward.page.drawings.years import MAX_YEARS, YearsDrawing, years_drawing
from sillward.reports.plant_years import years_from
from tests.support.desks import SITE, local

NOW = local("17:00")
TODAY = SITE.local_date(NOW)


def drawn(*noted: tuple[EntryKind, date]) -> YearsDrawing:
    entries = [
        DiaryEntry("Strap", at, at, kind, "")
        for kind, day in sorted(noted, key=lambda each: each[1])
        for at in [local("12:00", day)]
    ]
    return years_drawing(years_from(entries, [], [], SITE, NOW), TODAY)


def test_a_blooming_over_new_year_is_a_bar_in_both_years() -> None:
    drawing = drawn(
        (EntryKind.FLOWER, date(2024, 12, 20)),
        (EntryKind.FADED, date(2025, 1, 10)),
        (EntryKind.DAMAGE, date(2025, 7, 1)),
    )

    later, earlier = drawing.strips
    ((x, width),), ((first_x, first_width),) = later.bars, earlier.bars
    assert float(x) == drawing.left
    assert 4 < float(width) < 10
    assert abs(float(first_x) + float(first_width) - drawing.right) < 1.0
    ((kind, at),) = later.marks
    assert (kind, drawing.edges[6] <= at < drawing.edges[7]) == ("damage", True)


def test_a_blooming_goes_on_to_today_and_one_without_an_end_is_its_first_day() -> None:
    begun = TODAY - timedelta(days=60)
    (strip,) = drawn((EntryKind.FLOWER, begun)).strips
    ((_, width),) = strip.bars
    assert 40 < float(width) < 50  # 60 of 365 days on 274 units
    (strip,) = drawn((EntryKind.FLOWER, TODAY.replace(year=2019))).strips
    ((_, width),) = strip.bars
    assert float(width) == 4.0


def test_all_stays_inside_and_only_the_last_years_are_drawn() -> None:
    drawing = drawn(*((EntryKind.GROWTH, date(year, 12, 31)) for year in range(1999, 2026)))

    assert [strip.year for strip in drawing.strips] == list(range(2025, 2025 - MAX_YEARS, -1))
    assert all(x <= drawing.right for strip in drawing.strips for _, x in strip.marks)
    assert drawing.strips[-1].y < drawing.height
    assert all(one < other for one, other in pairwise(drawing.edges))
    assert not drawn((EntryKind.OBSERVATION, TODAY)).is_worth_it
