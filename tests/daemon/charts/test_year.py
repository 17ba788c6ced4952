"""The calendar of a replay: which letter a night has, and what is drawn of it."""

import re
from collections import Counter
from dataclasses import replace
from datetime import date
from functools import cache

import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from sillward.charts import draw, process
from sillward.charts.data import YearChart, from_plain, to_plain, year_chart
from sillward.charts.data.year import MEANINGS, NightMark, mark_of
from sillward_rules.replay.records import Cause, NightRecord
from tests.support.replays import FIRST, LAST, exposure, year


@cache
def calendar() -> YearChart:
    result = year()
    nights = list(result.nights)
    for number, cause in enumerate((Cause.LATE, Cause.NOT_DONE, Cause.NO_COVER)):
        day = nights[number].night
        nights[number] = replace(nights[number], exposures=(exposure(day, "A", cause=cause),))
    nights[3] = replace(nights[3], unjudged=1)
    nights[4] = replace(nights[4], away=True, exposures=())
    return year_chart(
        replace(result, nights=tuple(nights)),
        "Sun 01 Jun 2025 to Sun 31 May 2026",
        ["forecasts with invented errors: typically 1 °C at once (--seed 7)"],
    )


@cache
def figure() -> Figure:
    return draw.figure_of(calendar())


@pytest.mark.parametrize(
    ("night", "mark"),
    [
        (NightRecord(FIRST, {}), NightMark.MILD),
        (NightRecord(FIRST, {}, needless=2), NightMark.NEEDLESS),
        (NightRecord(FIRST, {}, needed=1, needless=2), NightMark.IN),
        (NightRecord(FIRST, {}, needed=1, needless=2, away=True), NightMark.AWAY),
        (NightRecord(FIRST, {}, needed=1, unjudged=1), NightMark.UNJUDGED),
        *(
            (NightRecord(FIRST, {}, needed=1, exposures=(exposure(FIRST, "A", cause=cause),)), mark)
            for cause, mark in (
                (Cause.MISSED, NightMark.MISSED),
                (Cause.LATE, NightMark.LATE),
                (Cause.OUT_TOO_EARLY, NightMark.LATE),
                (Cause.NOT_DONE, NightMark.NOT_DONE),
                (Cause.NO_COVER, NightMark.NO_COVER),
            )
        ),
    ],
)
def test_a_night_has_the_letter_of_what_fared_worst(night: NightRecord, mark: NightMark) -> None:
    assert mark_of(night) is mark


def test_of_several_plants_the_missed_one_counts() -> None:
    late, missed = (exposure(FIRST, "A", cause=cause) for cause in (Cause.LATE, Cause.MISSED))

    assert mark_of(NightRecord(FIRST, {}, exposures=(late, missed))) is NightMark.MISSED


def test_every_mark_has_words_and_a_letter_of_its_own() -> None:
    assert set(MEANINGS) == set(NightMark)
    assert all(len(mark.value) == 1 for mark in NightMark)


def test_the_drawing_process_gets_the_calendar_whole() -> None:
    assert from_plain(to_plain(calendar())) == calendar()


def test_each_night_is_a_cell_with_its_letter() -> None:
    (axes,) = figure().axes
    letters = Counter(
        text.get_text() for text in axes.texts if text.get_text() in {m.value for m in NightMark}
    )
    cells = [patch for patch in axes.patches if isinstance(patch, Rectangle)]

    # Each mark once more in the legend.
    assert len(cells) == (LAST - FIRST).days + 1 + len(calendar().counts)
    assert letters == {mark.value: count + 1 for mark, count in calendar().counts.items()}
    assert len(calendar().counts) == len(NightMark)


def test_marks_have_colours_of_their_own() -> None:
    (axes,) = figure().axes
    colours = {to_rgb(patch.get_facecolor()) for patch in axes.patches}

    assert len(colours) == len(NightMark)


def test_no_text_leaves_the_picture_or_covers_another() -> None:
    canvas = figure().canvas
    assert isinstance(canvas, FigureCanvasAgg)
    renderer = canvas.get_renderer()  # type: ignore[no-untyped-call]
    (axes,) = figure().axes
    boxes = [text.get_window_extent(renderer) for text in [*axes.texts, *figure().texts]]
    width, height = canvas.get_width_height()

    assert all(box.x0 >= 0 and box.x1 <= width for box in boxes)
    assert all(box.y0 >= 0 and box.y1 <= height for box in boxes)
    covered = [
        (one, other)
        for number, one in enumerate(boxes)
        for other in boxes[:number]
        if min(one.x1, other.x1) - max(one.x0, other.x0) > 1
        and min(one.y1, other.y1) - max(one.y0, other.y0) > 1
    ]
    assert covered == []


def test_of_many_years_the_last_are_drawn() -> None:
    many = year_chart(year(date(2016, 1, 1), date(2025, 12, 31)), "ten years", [])

    (axes,) = draw.figure_of(many).axes
    names = [text.get_text() for text in axes.texts if re.search(r" \d{4}$", text.get_text())]

    assert names[0].endswith("2023")
    assert names[-1] == "Dec 2025"


def test_the_child_process_draws_it() -> None:
    image = process.picture(calendar(), "svg")

    assert image.startswith(b"<?xml")
    assert process.is_ours(image[: process.HEAD])
