"""The drawing, by its matplotlib artists: what is on the axes, the words beside it, its looks."""

import re
import struct
import xml.etree.ElementTree as ET
from dataclasses import replace
from datetime import datetime, time, timedelta
from functools import cache
from itertools import combinations, pairwise
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib import rcParams
from matplotlib.axes import Axes
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from matplotlib.text import Annotation
from matplotlib.transforms import Bbox

from sillward.charts import draw, process
from sillward.charts.data import KINDS, ChartData, Kind, LimitLine, Window, chart_of
from sillward.charts.draw import style
from sillward.charts.draw.limits import labels, spread_out
from sillward.charts.draw.water import misting_bars
from sillward.text.units import SI, Units
from sillward_rules.weather.hourly import no_weather
from sillward_rules.weather.site import Site
from tests.support.chart_examples import (
    EXAMPLES,
    HOURS,
    NOW,
    US,
    bench_weather,
    example,
    on_bench,
    row,
)
from tests.support.chart_pictures import contrast, laid_out, require_readable, said, words
from tests.support.core import collection, daily_curve, fetched, plant, utc


@cache
def picture(kind: Kind, name: str, spot: str, units: Units = SI) -> Figure:
    return draw.figure_of(replace(example(kind, name, spot), units=units))


def seconds(at: datetime) -> float:
    return at.timestamp()


def line(axes: Axes, label: str) -> Line2D:
    (found,) = [line for line in axes.get_lines() if line.get_label() == label]
    return found


def points(of: Line2D) -> tuple[list[float], list[float]]:
    """Return the x and y values of a line."""
    return np.asarray(of.get_xdata()).tolist(), np.asarray(of.get_ydata()).tolist()


def bounds(axes: Axes) -> list[float]:
    """Return the values at which limit lines are drawn."""
    return [points(line)[1][0] for line in axes.get_lines() if line.get_label() == "_limit"]


def boxes(axes: Axes, colour: str) -> list[Bbox]:
    """Return the rectangles of a colour."""
    found = [patch for patch in axes.patches if isinstance(patch, Rectangle)]
    return [patch.get_bbox() for patch in found if to_rgb(patch.get_facecolor()) == to_rgb(colour)]


def shaded(axes: Axes) -> list[tuple[float, float]]:
    """Return the spans that are shaded as nights."""
    return [(box.x0, box.x1) for box in boxes(axes, style.NIGHT)]


# -- the night chart


@pytest.mark.parametrize(
    ("kind", "name", "spot"), [case for case in EXAMPLES if case[0] == "night"]
)
def test_the_lines_are_the_data_and_the_nights_are_grey(kind: Kind, name: str, spot: str) -> None:
    data = example(kind, name, spot)
    (axes,) = picture(kind, name, spot).axes

    for label, key in (("leaf", "leaf_c"), ("air", "air_c")):
        drawn = line(axes, label)
        times = [seconds(at) for at in data.times]
        assert points(drawn) == (times, list(data.series[key]))
    assert axes.get_xlim() == (seconds(data.start), seconds(data.end))
    assert shaded(axes) == [(seconds(night.start), seconds(night.end)) for night in data.nights]
    assert bounds(axes) == [limit.value for limit in data.limits]
    low, high = axes.get_ylim()
    for values in data.series.values():
        assert all(low < value < high for value in values if value is not None)
    assert all(low < limit.value < high for limit in data.limits)


@pytest.mark.parametrize(
    ("kind", "name", "spot"), [case for case in EXAMPLES if case[0] == "night"]
)
def test_every_night_has_its_lowest_point_with_its_value(kind: Kind, name: str, spot: str) -> None:
    data = example(kind, name, spot)
    (axes,) = picture(kind, name, spot).axes

    marks = [points(line) for line in axes.get_lines() if line.get_label() == "_low"]
    assert marks == [
        ([seconds(night.low_at)], [night.low_c])
        for night in data.nights
        if night.low_at is not None
    ]
    assert len(marks) == 7
    for night in data.nights:
        assert night.low_c is not None
        (note,) = [
            text
            for text in axes.texts
            if isinstance(text, Annotation)
            and night.low_at is not None
            and text.xy == (seconds(night.low_at), night.low_c)
        ]
        assert note.get_text() == f"{night.low_c:.1f}"


def test_the_leaf_line_is_heavier_than_the_air_line() -> None:
    (axes,) = picture("night", "cold-snap", "pergola").axes
    leaf, air = line(axes, "leaf"), line(axes, "air")

    assert leaf.get_linewidth() > air.get_linewidth()
    assert contrast(leaf.get_color(), "white") > contrast(air.get_color(), "white") * 0.9
    assert leaf.get_linestyle() != air.get_linestyle()


def test_limits_are_named_in_words_at_their_right_end() -> None:
    figure = picture("night", "cold-snap", "pergola")
    box = laid_out(figure)
    (axes,) = figure.axes
    right = axes.get_window_extent().x1

    labels = {
        text.get_text().replace("\n", " "): text for text in axes.texts if "°C" in text.get_text()
    }
    assert list(labels) == [
        "14 °C Blue basket",
        "13 °C 4 plants",
        "10 °C Grey curls",
        "8 °C Cork-slab laelia",
    ]
    assert all(box(label).x0 > right for label in labels.values())


def test_the_band_is_drawn_where_it_is_known_and_not_elsewhere() -> None:
    data = on_bench("night", bench_weather())
    (axes,) = draw.figure_of(data).axes

    (band,) = [area for area in axes.collections if area.get_label() == "likely range"]
    covered = [path.get_extents() for path in band.get_paths()]
    assert len(covered) == 7
    for box, night in zip(covered, data.nights, strict=True):
        assert night.start.timestamp() - 3600 < box.x0 < box.x1 < night.end.timestamp() + 3 * 3600
    at_dawn = data.times.index(utc("2026-05-15T10:00"))
    low, high = (data.series[name][at_dawn] for name in ("band_low_c", "band_high_c"))
    assert low is not None
    assert high is not None
    assert covered[0].y0 <= low < 10.0 < high <= covered[0].y1


def test_no_line_crosses_a_gap_and_the_night_has_a_question_mark() -> None:
    temp = np.full(HOURS, 10.0)
    temp[row("2026-05-16T02:00") : row("2026-05-16T07:00")] = np.nan
    figure = draw.figure_of(on_bench("night", bench_weather(temp)))
    (axes,) = figure.axes

    drawn = line(axes, "leaf")
    at, values = np.asarray(drawn.get_xdata()), np.asarray(drawn.get_ydata())
    inside = (at >= seconds(utc("2026-05-16T02:00"))) & (at < seconds(utc("2026-05-16T07:00")))
    assert inside.sum() == 5
    assert np.isnan(values[inside]).all()
    assert np.isfinite(values[~inside]).all()
    assert [text.get_text() for text in axes.texts].count("?") == 1


def test_an_hour_that_is_known_alone_is_a_dot() -> None:
    temp = np.full(HOURS, 10.0)
    temp[row("2026-05-16T02:00") : row("2026-05-16T14:00")] = np.nan
    temp[row("2026-05-16T08:00")] = 7.0
    (axes,) = draw.figure_of(on_bench("night", bench_weather(temp))).axes

    dots = [line for line in axes.get_lines() if line.get_label() == "_alone"]
    alone = [seconds(utc("2026-05-16T08:00"))], [7.0]
    assert [points(dot) for dot in dots] == [alone] * 2  # of the air, and of the leaf


# -- the water chart


@pytest.mark.parametrize(
    ("kind", "name", "spot"), [case for case in EXAMPLES if case[0] == "water"]
)
def test_water_has_a_panel_for_each_unit(kind: Kind, name: str, spot: str) -> None:
    data = example(kind, name, spot)
    deficit, film, mist = picture(kind, name, spot).axes

    assert "[kPa]" in deficit.get_title(loc="left")
    assert "[min]" in film.get_title(loc="left")
    for axes, label, key in ((deficit, "VPD", "vpd_kpa"), (film, "film", "film_min")):
        values = np.array(data.series[key], dtype=np.float64)
        drawn = line(axes, label)
        np.testing.assert_array_equal(np.asarray(drawn.get_ydata()), values)
        known = values[np.isfinite(values)]
        low, high = axes.get_ylim()
        assert low <= known.min()
        assert known.max() < high
        of_panel = [limit.value for limit in data.limits if limit.series == key]
        assert bounds(axes) == of_panel
        assert all(low < line < high for line in of_panel)
    for axes in (deficit, film, mist):
        assert axes.get_xlim() == (seconds(data.start), seconds(data.end))
        assert len(shaded(axes)) == len(data.nights)


@pytest.mark.parametrize(
    ("kind", "name", "spot"), [case for case in EXAMPLES if case[0] == "water"]
)
def test_each_misting_is_a_bar_with_its_hours(kind: Kind, name: str, spot: str) -> None:
    data = example(kind, name, spot)
    mist = picture(kind, name, spot).axes[-1]

    bars = boxes(mist, style.BLUE)
    assert sorted(box.x0 for box in bars) == sorted(
        seconds(window.opens) for window in data.windows
    )
    assert sorted(box.x1 for box in bars) == sorted(
        seconds(window.closes) for window in data.windows
    )
    hours = [text.get_text() for text in mist.texts]
    for window in data.windows:
        told = f"{window.opens:%H:%M}–{window.closes:%H:%M} ({len(window.plants)})"
        assert told in hours
    without = sum(
        not any(window.opens.date() == day.start.date() for window in data.windows)
        for day in data.days
    )
    assert hours.count("none") == without
    assert len(hours) == len(data.windows) + without


def test_mistings_of_one_hour_stand_one_under_the_other() -> None:
    data = example("water", "dry-summer", "pergola")
    placed = misting_bars(data)

    assert len({bar.lane for bar in placed}) > 1
    for bar, other in combinations([bar for bar in placed if bar.has_bar], 2):
        if bar.lane == other.lane:
            first, second = sorted((bar, other), key=lambda walk: walk.opens)
            assert first.closes < second.opens


def test_a_day_of_which_too_little_is_known_says_so() -> None:
    figure = draw.figure_of(on_bench("water", no_weather("test", NOW)))

    assert said(figure).count("not known") == 3
    assert "none" not in said(figure)
    assert "no forecast: nothing is known" in said(figure)


# -- both


@pytest.mark.parametrize("units", [SI, US])
@pytest.mark.parametrize(("kind", "name", "spot"), EXAMPLES)
def test_every_text_is_readable_and_none_covers_another(
    kind: Kind, name: str, spot: str, units: Units
) -> None:
    require_readable(picture(kind, name, spot, units))


@pytest.mark.parametrize("kind", KINDS)
def test_a_picture_tells_spot_dates_source_age_and_zone(kind: Kind) -> None:
    data = example(kind, "dry-summer", "wall bench")
    told = said(picture(kind, "dry-summer", "wall bench"))

    for part in (data.title, data.subtitle, data.forecast, data.made):
        assert part in told
    assert ("2 nights in 3" in told) == (kind == "night")


@pytest.mark.parametrize("kind", KINDS)
def test_hours_are_those_of_the_sites_clocks(kind: Kind) -> None:
    zone = ZoneInfo("Europe/Berlin")
    site = Site("North", 52.5, 13.4, 50.0, zone)
    start = utc("2026-10-22T00:00")  # the clocks go back on the 25th
    forecast = replace(
        bench_weather(daily_curve(5.0, 20.0, HOURS)),
        times=int(start.timestamp()) + 3600 * np.arange(HOURS, dtype=np.int64),
    )
    now = utc("2026-10-24T12:00")
    data = chart_of(kind, "bench", collection(site=site), fetched(forecast, now), {}, now)
    axes = draw.figure_of(data).axes[-1]

    axes.figure.draw_without_rendering()  # type: ignore[union-attr]
    midnights = [
        datetime.combine(data.start.date() + timedelta(days=n), time(0), zone) for n in range(1, 8)
    ]
    expected = [seconds(midnight) for midnight in midnights if midnight <= data.end]
    assert axes.get_xticks().tolist() == expected
    assert {label.get_text() for label in axes.get_xticklabels()} == {"00:00"}
    assert 25 * 3600 in np.diff(expected)
    noons = [label.get_text().split("\n") for label in axes.get_xticklabels(minor=True)]
    assert noons[0][1] == ("Sun 25")
    assert {hour for hour, _ in noons} == {"" if kind == "night" else "12:00"}


def test_now_is_marked_where_it_lies_within() -> None:
    inside = draw.figure_of(on_bench("night", bench_weather(), now=utc("2026-05-15T05:00")))
    at_its_start = draw.figure_of(on_bench("night", bench_weather()))

    assert line(inside.axes[0], "_now").get_xdata() == [seconds(utc("2026-05-15T05:00"))] * 2
    assert "_now" not in [line.get_label() for line in at_its_start.axes[0].get_lines()]


@pytest.mark.parametrize("kind", KINDS)
def test_names_are_shown_as_they_are(kind: Kind) -> None:
    other = plant(r"\frac{a}", night_low=5.0, vpd_high=3.0)
    data = on_bench(kind, bench_weather(), plant("$5 fern $x^2$"), other)

    assert "$5 fern $x^2$" in said(draw.figure_of(data)).replace("\n", " ")
    assert draw.image(data, "png").startswith(b"\x89PNG")


@pytest.mark.parametrize("count", [1, 12, 300])
def test_any_number_of_limits_can_be_read(count: int) -> None:
    plants = [plant(f"Plant number {n}", night_low=2.0 + 14.0 * n / count) for n in range(count)]
    figure = draw.figure_of(on_bench("night", bench_weather(), *plants))
    box = laid_out(figure)
    (axes,) = figure.axes

    labels = [text for text in axes.texts if "°C" in text.get_text()]
    assert len(bounds(axes)) == count
    assert labels
    for label, other in combinations(labels, 2):
        common = Bbox.intersection(box(label), box(other))
        assert common is None or common.height < 2.5
    counted = [re.search(r"(\d+) plants?$", label.get_text()) for label in labels]
    assert sum(1 if label is None else int(label[1]) for label in counted) == count


# -- in the grower's units


def fahrenheit(value_c: float) -> float:
    return value_c * 9 / 5 + 32


def twelve(at: datetime) -> str:
    """Return a time as "5:05 pm"."""
    return f"{at:%I:%M %p}".lower().removeprefix("0")


@pytest.mark.parametrize(
    ("kind", "name", "spot"), [case for case in EXAMPLES if case[0] == "night"]
)
def test_a_night_in_fahrenheit_has_the_same_lines_elsewhere(
    kind: Kind, name: str, spot: str
) -> None:
    data = example(kind, name, spot)
    (axes,) = picture(kind, name, spot, US).axes

    assert axes.get_title(loc="left") == "temperature [°F]"
    for label, key in (("leaf", "leaf_c"), ("air", "air_c")):
        known = [fahrenheit(value) for value in data.series[key] if value is not None]
        values = np.array(points(line(axes, label))[1])
        assert values[np.isfinite(values)] == pytest.approx(known)
    (band,) = [area for area in axes.collections if area.get_label() == "likely range"]
    highest = max(value for value in data.series["band_high_c"] if value is not None)
    tops = [path.get_extents().y1 for path in band.get_paths()]
    assert max(tops) == pytest.approx(fahrenheit(highest))
    assert bounds(axes) == pytest.approx([fahrenheit(limit.value) for limit in data.limits])
    for night in data.nights:
        assert night.low_c is not None
        assert night.low_at is not None
        (note,) = [
            text
            for text in axes.texts
            if isinstance(text, Annotation) and text.xy[0] == seconds(night.low_at)
        ]
        assert note.xy[1] == pytest.approx(fahrenheit(night.low_c))
        assert float(note.get_text()) == pytest.approx(fahrenheit(night.low_c), abs=0.0501)


@pytest.mark.parametrize("units", [SI, US])
@pytest.mark.parametrize(
    ("kind", "name", "spot"), [case for case in EXAMPLES if case[0] == "night"]
)
def test_the_scale_of_temperatures_is_in_round_numbers(
    kind: Kind, name: str, spot: str, units: Units
) -> None:
    (axes,) = picture(kind, name, spot, units).axes

    low, high = axes.get_ylim()
    ticks = [tick for tick in axes.get_yticks().tolist() if low <= tick <= high]
    steps = set(np.diff(ticks).tolist())
    assert 3 <= len(ticks) <= 10
    assert len(steps) == 1
    (step,) = steps
    assert step in (1, 2, 5, 10, 20)
    assert all(tick % step == 0 for tick in ticks)
    axes.figure.draw_without_rendering()  # type: ignore[union-attr]
    written = [label.get_text().replace("\N{MINUS SIGN}", "-") for label in axes.get_yticklabels()]
    assert {f"{tick:.0f}" for tick in ticks} <= set(written)


def test_limits_are_named_in_the_growers_unit() -> None:
    (axes,) = picture("night", "cold-snap", "pergola", US).axes

    labels = [text.get_text().replace("\n", " ") for text in axes.texts if "°F" in text.get_text()]
    assert labels == [
        "57.2 °F Blue basket",
        "55.4 °F 4 plants",
        "50 °F Grey curls",
        "46.4 °F Cork-slab laelia",
    ]


def test_limits_that_share_a_label_are_told_from_the_lowest_to_the_highest() -> None:
    limits = [LimitLine("leaf_c", 10 + 0.5 * n, "°C", (f"plant {n}",)) for n in range(3)]

    (made,) = labels(limits, [0.3, 0.3, 0.3], 0.6, 0, US)

    assert made.text == "50–52 °F\n3 plants"


@pytest.mark.parametrize(
    ("kind", "name", "spot"), [case for case in EXAMPLES if case[0] == "water"]
)
def test_mistings_are_told_by_the_clock_of_12_hours(kind: Kind, name: str, spot: str) -> None:
    data = example(kind, name, spot)
    deficit, _, mist = picture(kind, name, spot, US).axes

    hours = [text.get_text() for text in mist.texts]
    for window in data.windows:
        first, last = twelve(window.opens), twelve(window.closes)
        if first[-2:] == last[-2:]:
            first = first[:-3]
        assert f"{first}–{last} ({len(window.plants)})" in hours
    assert deficit.get_title(loc="left") == "VPD of the air [kPa]"
    assert bounds(deficit) == [limit.value for limit in data.limits if limit.series == "vpd_kpa"]


def test_the_longest_words_of_the_last_misting_stay_on_the_page() -> None:
    data = replace(example("water", "dry-summer", "pergola"), units=US)
    day = data.days[-1]
    opens, closes = day.start.replace(hour=10, minute=35), day.end
    late = Window(opens, closes, tuple(f"plant {number}" for number in range(100)))
    figure = draw.figure_of(replace(data, windows=(*data.windows, late)))
    box = laid_out(figure)

    (words_,) = [text for text in figure.axes[-1].texts if text.get_text().endswith("(100)")]
    assert words_.get_text() == f"10:35 am–{twelve(closes)} (100)"
    assert box(words_).x1 < figure.bbox.x1


@pytest.mark.parametrize(("kind", "name", "spot"), EXAMPLES)
def test_nothing_in_a_picture_is_in_another_unit(kind: Kind, name: str, spot: str) -> None:
    data = example(kind, name, spot)
    figure = picture(kind, name, spot, US)
    told = said(figure)

    assert "°C" not in told
    assert not re.search(r"\b(0\d|1[3-9]|2\d):\d\d", told)
    assert f"made {data.now:%a %d %b} {twelve(data.now)}, times of " in told
    axes = figure.axes[-1]
    assert {label.get_text() for label in axes.get_xticklabels()} == {"12 am"}
    noons = {label.get_text().split("\n")[0] for label in axes.get_xticklabels(minor=True)}
    assert noons == {"" if kind == "night" else "12 pm"}


def test_the_child_draws_in_the_growers_units() -> None:
    data = replace(example("night", "cold-snap", "pergola"), units=US)

    assert process.picture(data, "svg") == draw.image(data, "svg")
    assert process.picture(data, "svg") != draw.image(replace(data, units=SI), "svg")


def test_a_matplotlibrc_does_not_change_the_look() -> None:
    before = rcParams["font.size"]
    rcParams["font.size"] = 31.0
    try:
        figure = draw.figure_of(on_bench("night", bench_weather()))
        assert rcParams["font.size"] == 31.0
    finally:
        rcParams["font.size"] = before

    assert max(float(text.get_fontsize()) for text in words(figure)) == style.LARGE


# -- labels


HEIGHTS = st.lists(st.floats(0, 1), min_size=1, max_size=12).map(lambda x: sorted(x, reverse=True))


@given(HEIGHTS, st.lists(st.floats(0.01, 0.2), min_size=12, max_size=12))
def test_labels_spread_out_keep_their_order_and_do_not_touch(
    wanted: list[float], sizes: list[float]
) -> None:
    tall = sizes[: len(wanted)]

    placed = spread_out(wanted, tall)

    for (high, low), (above, below) in zip(pairwise(placed), pairwise(tall), strict=True):
        assert high - low >= (above + below) / 2 - 1e-9
    room = all(
        middle - other >= (above + below) / 2
        for middle, other, above, below in zip(wanted, wanted[1:], tall, tall[1:], strict=False)
    )
    if room:
        assert placed == pytest.approx(wanted)


def test_labels_that_touch_move_half_of_the_way_each() -> None:
    assert spread_out([0.52, 0.48], [0.1, 0.1]) == pytest.approx([0.55, 0.45])


def test_limits_too_close_to_tell_apart_share_a_label() -> None:
    limits = [LimitLine("vpd_kpa", 1.4 + 0.05 * n, "kPa", (f"plant {n}",)) for n in range(5)]

    made = labels(limits, [0.3 + 0.01 * n for n in range(5)], 0.08, 1)

    assert len(made) < 5
    assert [limit for label in made for limit in label.limits] == limits[::-1]
    joint = max(made, key=lambda label: len(label.limits))
    assert re.fullmatch(r"1\.\d–1\.\d kPa\n\d plants", joint.text)


# -- colours


def test_the_formula_of_contrast_gives_what_wcag_says() -> None:
    assert contrast("black", "white") == pytest.approx(21.0)
    # #767676 is the lightest grey with 4.5:1 on white (from memory).
    assert contrast("#767676", "white") == pytest.approx(4.54, abs=0.01)


@pytest.mark.parametrize("kind", KINDS)
def test_lines_stand_out_from_white_and_letters_more(kind: Kind) -> None:
    """WCAG 2.1 asks for 3:1 of graphics (1.4.11) and for 4.5:1 of letters (1.4.3)."""
    figure = picture(kind, "dry-summer", "pergola")

    drawn = [line for axes in figure.axes for line in axes.get_lines()]
    assert len(drawn) > 5
    for curve in drawn:
        assert contrast(curve.get_color(), "white") >= 3.0, curve.get_label()
    for text in words(figure):
        assert contrast(text.get_color(), "white") >= 4.5, text.get_text()
        assert contrast(text.get_color(), style.NIGHT) >= 4.5, text.get_text()
    for colour in (style.BLUE, style.VERMILLION, style.GREY):  # those that cross the nights
        assert contrast(colour, style.NIGHT) >= 3.0
    assert contrast(style.NIGHT, "white") > 1.1


def test_the_colours_are_those_of_okabe_and_ito() -> None:
    # Okabe and Ito (2008), "Color universal design": red, green, blue of 255, from memory.
    assert [tuple(round(255 * part) for part in to_rgb(colour)) for colour in PALETTE] == [
        (0, 114, 178),
        (86, 180, 233),
        (213, 94, 0),
        (0, 158, 115),
    ]


PALETTE = (style.BLUE, style.SKY, style.VERMILLION, style.GREEN)


# -- pictures


@pytest.mark.parametrize("kind", KINDS)
def test_a_png_has_its_signature_and_size(kind: Kind) -> None:
    made = draw.image(example(kind, "mild-week", "pergola"), "png")

    # PNG (RFC 2083): signature, then the header chunk with width and height.
    assert made[:8] == b"\x89PNG\r\n\x1a\n"
    width, height = struct.unpack(">II", made[16:24])
    assert width == 6 * draw.PNG_DPI
    assert 0.6 * width < height < 1.1 * width
    assert 20_000 < len(made) < 400_000


@pytest.mark.parametrize("kind", KINDS)
def test_an_svg_refers_to_nothing_outside(kind: Kind) -> None:
    made = draw.image(example(kind, "mild-week", "pergola"), "svg")
    root = ET.fromstring(made)

    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    assert b"<!DOCTYPE" not in made
    names = 0
    for element in root.iter():
        assert not element.tag.endswith(("script", "image", "foreignObject", "style}"))
        for key, value in element.attrib.items():
            if key.endswith("href"):
                names += 1
                assert value.startswith("#")
            assert "http" not in value, (element.tag, key)
            assert re.findall(r"url\(([^#][^)]*)\)", value) == []
    assert names > 50
    assert re.findall(rb"https?://[^\"]*", made) == [
        b"http://www.w3.org/1999/xlink",
        b"http://www.w3.org/2000/svg",
    ]


def test_the_same_data_give_the_same_svg() -> None:
    data: ChartData = example("night", "mild-week", "pergola")

    assert draw.image(data, "svg") == draw.image(data, "svg")
