"""The charts of what was read at a spot: the last nights, and how its correction was learned."""

import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from functools import cache

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from sillward.charts import draw
from sillward.charts.data import (
    CorrectionChart,
    ReadingsChart,
    correction_chart,
    document,
    from_plain,
    readings_chart,
    to_plain,
)
from sillward.charts.data.spot_nights import LAST_NIGHTS, SuddenStep
from sillward.text.units import SI, Units
from sillward_rules.arrays import Array
from sillward_rules.readings.night_correction import CorrectionCourse, Nights, learn
from sillward_rules.readings.night_lows import NightLow
from tests.support.chart_pictures import contrast, require_readable, said
from tests.support.core import plant

US = Units("°F", "12 h", "mph")
FIRST = date(2026, 2, 1)
PLANTS = plant("Blue basket", night_low=13.0), plant("Grey curls", night_low=8.0)
MADE = "made Thu 14 May 17:00, times of America/Argentina/Mendoza"


@cache
def spot_year(nights: int = 90, moved: int = 60) -> tuple[list[NightLow], CorrectionCourse]:
    """Nights that are 1.2 K colder than forecast, and 4 K warmer once the thermometer moved."""
    rng = np.random.default_rng(8)
    day = FIRST.toordinal() + np.arange(nights)
    off_k = np.where(np.arange(nights) < moved, -1.2, 4.0) + rng.normal(0.0, 0.6, nights)
    came_c = 10.0 + rng.normal(0.0, 3.0, nights) + off_k
    said_k = np.full(nights, 0.8)
    unknown = np.full(nights, np.nan)
    usual_k, members_k = np.full(nights, 1.3), np.zeros(nights)
    course = learn(
        Nights(day, off_k - said_k, said_k, unknown, unknown, unknown, usual_k, members_k)
    )
    return [
        NightLow(date.fromordinal(number), low_c, None, "logger")
        for number, low_c in zip(day.tolist(), came_c.tolist(), strict=True)
    ], course


def of_nights(nights: int = 90, units: Units = SI) -> ReadingsChart:
    return readings_chart("wall bench", *spot_year(nights), PLANTS, MADE, units)


def of_correction(nights: int = 90, units: Units = SI) -> CorrectionChart:
    return correction_chart("wall bench", 1.0, spot_year(nights)[1], MADE, units)


def drawn(axes: Axes, label: str) -> list[tuple[list[float], list[float]]]:
    return [
        (np.asarray(line.get_xdata()).tolist(), np.asarray(line.get_ydata()).tolist())
        for line in axes.get_lines()
        if line.get_label() in (label, f"_{label}")
    ]


def test_the_last_nights_are_as_they_were_expected_before_they_came() -> None:
    lows, course = spot_year()
    chart = of_nights()

    assert len(chart.nights) == LAST_NIGHTS
    assert (chart.first, chart.last) == (FIRST + timedelta(days=60), FIRST + timedelta(days=89))
    last = chart.nights[-1]
    assert last.read_c == pytest.approx(lows[-1].low_c, abs=0.01)
    forecast_c = lows[-1].low_c - course.nights.error_k[-1] - 0.8
    assert last.expected_c == pytest.approx(forecast_c + 0.8 + course.expected_k[-1], abs=0.011)
    half = 1.2816 * course.expected_sd_k[-1]
    assert last.high_c - last.expected_c == pytest.approx(half, abs=0.011)
    assert last.expected_c - last.low_c == pytest.approx(half, abs=0.011)
    within = sum(night.low_c <= night.read_c <= night.high_c for night in chart.nights)
    assert f"{within} of 30 came within it" in chart.footer[1]


def test_each_low_is_drawn_by_where_it_came() -> None:
    chart = of_nights()
    (axes,) = draw.figure_of(chart).axes

    sides = {
        "read": [n for n in chart.nights if n.low_c <= n.read_c <= n.high_c],
        "below": [n for n in chart.nights if n.read_c < n.low_c],
        "above": [n for n in chart.nights if n.read_c > n.high_c],
    }
    assert sum(map(len, sides.values())) == len(chart.nights)
    assert sides["above"], "those after the move"
    for label, nights in sides.items():
        expected = [n.night.toordinal() for n in nights], [n.read_c for n in nights]
        assert drawn(axes, label) == [expected]
    bars = [(bar.get_y(), bar.get_y() + bar.get_height()) for bar in axes.patches]  # type: ignore[attr-defined]
    ranges = [(night.low_c, night.high_c) for night in chart.nights]
    assert np.array(bars) == pytest.approx(np.array(ranges))
    assert "13 °C Blue basket" in said(draw.figure_of(chart)).replace("\n", " ")


def test_a_correction_is_what_was_known_after_each_night_with_a_break_at_a_step() -> None:
    _, course = spot_year()
    chart = of_correction()
    (axes,) = draw.figure_of(chart).axes

    assert [night.night for night in chart.nights] == [FIRST + timedelta(days=n) for n in range(90)]
    levels: Array = np.array([night.level_k for night in chart.nights])
    assert levels == pytest.approx(course.level_k + 0.8, abs=0.001)
    (step,) = chart.steps
    assert abs((step.night - FIRST).days - 60) <= 2
    assert not step.explained
    before, after = drawn(axes, "learned")
    assert max(before[0]) < step.night.toordinal() == min(after[0])
    assert before[1] + after[1] == pytest.approx(levels.tolist())
    assert drawn(axes, "step")[0][0] == [step.night.toordinal()] * 2
    assert drawn(axes, "nights")[0][1] == [night.off_k for night in chart.nights]
    told = said(draw.figure_of(chart))
    assert all(words in told for words in ("changed", "your offset", "forecast", "learned"))
    assert (
        chart.subtitle
        == f"changed all at once on {step.night:%d %b %Y}: was the thermometer moved?"
    )
    explained = learn(course.nights, [step.night])
    now = correction_chart("wall bench", 1.0, explained, MADE)
    assert re.fullmatch(
        r"4\.\d °C warmer than forecast, give or take 0\.\d °C; from \d\d nights", now.subtitle
    )
    assert now.steps[0].explained


def test_changes_that_follow_each_other_have_one_word() -> None:
    chart = of_correction()
    steps = tuple(SuddenStep(FIRST + timedelta(days=day), day > 50) for day in (40, 43, 60, 88))
    figure = draw.figure_of(replace(chart, steps=steps))

    require_readable(figure)
    assert said(figure).split("\n").count("changed") == 3
    assert len(drawn(figure.axes[0], "step")) == 4


def test_without_an_offset_of_the_growers_own_none_is_shown() -> None:
    chart = replace(of_correction(), given_k=None)

    assert "your offset" not in said(draw.figure_of(chart)).split("\n")


def in_fahrenheit(values_c: Sequence[float]) -> list[float]:
    return [value * 1.8 for value in values_c]


def test_in_fahrenheit_all_is_elsewhere_and_no_celsius_is_left() -> None:
    (axes,) = draw.figure_of(of_correction(units=US)).axes

    ours = [night.off_k for night in of_correction().nights]
    assert drawn(axes, "nights")[0][1] == pytest.approx(in_fahrenheit(ours))
    for chart in (of_nights(units=US), of_correction(50, US)):
        assert "°C" not in said(draw.figure_of(chart))
        assert "°F" in said(draw.figure_of(chart))


@pytest.mark.parametrize("units", [SI, US])
@pytest.mark.parametrize("nights", [1, 2, 12, 90])
def test_every_text_is_readable(nights: int, units: Units) -> None:
    for chart in (of_nights(nights, units), of_correction(nights, units)):
        figure: Figure = draw.figure_of(chart)
        require_readable(figure)
        for part in (chart.title, chart.subtitle, *chart.footer):
            assert part in said(figure)
        for axes in figure.axes:
            for line in axes.get_lines():
                assert contrast(line.get_color(), "white") >= 3.0, line.get_label()


def test_a_machine_gets_dates_and_numbers_in_si() -> None:
    told = document(of_nights(units=US))

    assert (told["schema"], told["kind"], told["spot"]) == (1, "readings", "wall bench")
    assert told["nights"][-1]["night"] == str(FIRST + timedelta(days=89))
    assert told["nights"] == document(of_nights())["nights"]
    assert "units" not in told
    assert document(of_correction())["steps"] == [
        {"night": str(of_correction().steps[0].night), "explained": False}
    ]


def test_the_drawing_process_gets_the_charts_whole() -> None:
    for chart in (of_nights(), of_correction()):
        assert from_plain(to_plain(chart)) == chart
