"""The drawing of nights: what is in its data is where it belongs, and nothing else is drawn."""

import re
from dataclasses import replace

import numpy as np
import pytest

from sillward.page.drawings.layout import WIDTH
from sillward.page.drawings.night import (
    give_or_take_k,
    hours_of_night,
    night_drawing,
    night_numbers,
    night_words,
)
from sillward.text.units import SI, Units
from sillward.wording.voice import Voice
from sillward_rules.plants.limits import Limit, Limits
from sillward_rules.plants.plant import Plant
from tests.support.chart_examples import HOURS, NOW, US, bench_weather, example, on_bench
from tests.support.core import MENDOZA


def voice(units: Units = SI) -> Voice:
    return Voice(MENDOZA, units)


def pot(name: str, night_low_c: float) -> Plant:
    return Plant(name, "bench", None, "pot", Limits(night_low=Limit(night_low_c, "own")))


def points(path: str) -> list[tuple[float, float]]:
    """The points of a path."""
    found = re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", path)
    return [(float(x), float(y)) for x, y in found]


def test_every_known_hour_is_a_point_of_the_leaf_and_all_are_inside_the_panel() -> None:
    data = example("night", "cold-snap", "pergola")
    drawing = night_drawing(data, data.now, voice())

    known = [value for value in data.series["leaf_c"] if value is not None]
    assert len(points(drawing.leaf)) == len(known) > 100
    for x, y in points(drawing.leaf + drawing.air + drawing.likely):
        assert drawing.panel.left <= x <= drawing.panel.right
        assert drawing.panel.top <= y <= drawing.panel.bottom


def test_colder_is_lower_and_limits_stand_at_their_values() -> None:
    temp = np.where(np.arange(HOURS) % 24 < 12, 4.0, 12.0)
    data = on_bench("night", bench_weather(temp), pot("Blue", 12.0), pot("Red", 4.0))
    drawing = night_drawing(data, NOW, voice())

    ys = sorted({y for _, y in points(drawing.leaf)})
    assert len(ys) == 2
    assert drawing.limits == pytest.approx(ys, abs=0.06)


def test_lows_under_a_limit_are_marked_so() -> None:
    data = on_bench("night", bench_weather(10.0), pot("Blue", 12.0))
    assert all(low.under for low in night_drawing(data, NOW, voice()).lows)

    data = on_bench("night", bench_weather(10.0), pot("Blue", 10.0))
    drawing = night_drawing(data, NOW, voice())
    assert [low.text for low in drawing.lows] == ["10.0"] * len(data.nights)
    assert not any(low.under for low in drawing.lows)


def test_a_night_that_is_not_known_has_a_question_mark_and_no_low() -> None:
    temp = np.full(HOURS, 10.0)
    temp[24 + 20 : 24 + 44] = np.nan
    data = on_bench("night", bench_weather(temp), pot("Blue", 12.0))
    drawing = night_drawing(data, NOW, voice())

    assert drawing.unknown
    assert len(drawing.unknown) + len(drawing.lows) == len(data.nights)
    rows = night_numbers(data, voice())
    assert [row.low for row in rows if row.under is None] == ["not known"] * len(drawing.unknown)
    assert "not known" in night_words(data, voice())


def test_where_nothing_is_known_nothing_is_drawn() -> None:
    data = on_bench("night", bench_weather(np.nan))
    drawing = night_drawing(data, NOW, voice())

    assert (drawing.leaf, drawing.air, drawing.likely, drawing.lows) == ("", "", "", [])
    assert len(drawing.unknown) == len(data.nights)
    assert drawing.scale


def test_labels_do_not_leave_the_drawing() -> None:
    data = on_bench("night", bench_weather(-30.0), pot("Blue", 12.5))
    drawing = night_drawing(data, NOW, voice(US))

    assert [low.text for low in drawing.lows] == ["-22.0"] * len(data.nights)
    assert [tick.text for tick in drawing.limit_labels] == ["54.5°"]
    for low in drawing.lows:
        half = 0.3 * 13 * len(low.text)
        assert half <= low.text_x <= WIDTH - half


def test_numbers_and_words_say_what_the_drawing_shows_in_the_growers_units() -> None:
    data = on_bench("night", bench_weather(10.0), pot("Blue", 12.0), pot("Red", 4.0))
    first = night_numbers(data, voice(US))[0]

    assert re.fullmatch(r"50\.0 ± \d\.\d °F", first.low)
    assert first.under == 1
    assert "50.0 °F" in night_words(data, voice(US))
    hours = hours_of_night(data, voice(US))
    assert {hour.leaf for hour in hours} == {"50.0 °F"}
    assert {hour.under for hour in hours} == {1}
    assert hours[0].at.endswith("pm")


def test_give_or_take_is_half_of_the_likely_range() -> None:
    data = example("night", "cold-snap", "pergola")
    at = data.nights[0].low_at
    assert at is not None
    row = data.times.index(min(data.times, key=lambda time: abs(time - at)))
    low, high = data.series["band_low_c"][row], data.series["band_high_c"][row]
    assert low is not None
    assert high is not None
    assert give_or_take_k(data, at) == pytest.approx((high - low) / 2)

    bare = replace(data, series=data.series | {"band_low_c": (None,) * len(data.times)})
    assert give_or_take_k(bare, at) is None
