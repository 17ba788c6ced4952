"""The chart of skill: lines, marks and words, in colour and without."""

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.colors import to_rgb

from sillward.charts import draw
from sillward.charts.data import SkillChart, SourceLine, from_plain, to_plain
from sillward.charts.draw.skill import LOOKS
from sillward.text.units import SI, Units
from tests.support.chart_pictures import contrast, require_readable, said

US = Units("°F", "12 h", "mph")


def chart(count: int = 2) -> SkillChart:
    days = tuple(range(1, 8))
    sources = [
        SourceLine(
            f"Source {number} of the whole world",
            number == 0,
            days,
            tuple(1.0 + 0.3 * day - 0.05 * number for day in days),
            tuple(0.5 - 0.4 * number for _ in days),
            tuple(number > 0 and day < 4 for day in days),
        )
        for number in range(count)
    ]
    return SkillChart(
        "Yard: how good forecasts of the low are",
        "40 nights at pergola",
        tuple(sources),
        (1.0, 1.4, 1.6, 1.8, 2.0, 2.2, 2.5),
        ("one", "two"),
    )


@pytest.mark.parametrize("units", [SI, US])
@pytest.mark.parametrize("count", [1, 2, 4])
def test_every_text_is_readable_and_names_are_beside_their_lines(count: int, units: Units) -> None:
    data = replace(chart(count), units=units)
    figure = draw.figure_of(data)

    require_readable(figure)
    told = said(figure)
    for number in range(count):
        assert f"Source {number} of" in told
    assert "(in use)" in told
    assert "usual" in told
    assert ("°F" in told, "°C" in told) == (units is US, units is SI)
    for part in (data.title, data.subtitle, *data.footer):
        assert part in told


def test_the_lines_are_the_numbers_in_the_growers_unit() -> None:
    data = chart()
    error, bias = draw.figure_of(replace(data, units=US)).axes

    for axes, name in ((error, "error_k"), (bias, "bias_k")):
        drawn = [line for line in axes.get_lines() if str(line.get_label()).startswith("Source")]
        for source, line in zip(data.sources, drawn, strict=True):
            assert np.asarray(line.get_xdata()).tolist() == list(source.days)
            shown = [1.8 * value for value in getattr(source, name)]
            assert np.asarray(line.get_ydata()).tolist() == pytest.approx(shown)


def test_marks_are_filled_where_a_source_clearly_differs() -> None:
    error, _ = draw.figure_of(chart()).axes

    marks = [line for line in error.get_lines() if line.get_label() == "_mark"]
    filled = [to_rgb(mark.get_markerfacecolor()) != (1, 1, 1) for mark in marks]
    assert filled == [True] * 7 + [True] * 3 + [False] * 4


def test_sources_differ_by_more_than_colour_and_stand_out_from_white() -> None:
    colours, marks, dashes = zip(*LOOKS, strict=True)

    assert len(set(marks)) == len(set(dashes)) == len(LOOKS)
    assert all(contrast(colour, "white") >= 3.0 for colour in colours)


def test_the_drawing_process_gets_the_chart_whole() -> None:
    assert from_plain(to_plain(chart())) == chart()
