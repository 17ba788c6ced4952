"""The drawing of water: the day that is shown, its mistings, and what is not known."""

from datetime import timedelta
from itertools import pairwise

import numpy as np

from sillward.page.drawings.layout import WIDTH
from sillward.page.drawings.water import (
    days_shown,
    is_planned,
    water_drawing,
    water_numbers,
    water_words,
    windows_shown,
)
from sillward.text.units import SI, Units
from sillward.wording.voice import Voice
from tests.support.chart_examples import NOW, US, bench_weather, example, on_bench
from tests.support.core import MENDOZA


def voice(units: Units = SI) -> Voice:
    return Voice(MENDOZA, units)


def test_a_morning_shows_its_day_and_an_evening_the_next_one_too() -> None:
    morning = example("water", "dry-summer", "pergola")
    evening = on_bench("water", bench_weather(20.0))

    assert days_shown(morning) == [morning.days[0].start.date()]
    assert evening.days[0].end - evening.now < timedelta(hours=3)
    assert days_shown(evening) == [day.start.date() for day in evening.days[:2]]


def test_mistings_of_the_day_are_bars_inside_the_panel_and_told_in_words() -> None:
    data = example("water", "dry-summer", "pergola")
    drawing, windows = water_drawing(data, data.now, voice()), windows_shown(data)

    assert windows
    assert len(drawing.mistings) == len(windows)
    for x, width in drawing.mistings:
        assert drawing.vpd_panel.left <= float(x) <= drawing.vpd_panel.right
        assert float(width) >= 3
    assert SI.span(windows[0].opens, windows[0].closes) in water_words(data, voice())


def test_nothing_to_mist_and_not_known_are_told_apart() -> None:
    mild = example("water", "cold-snap", "pergola")
    dark = on_bench("water", bench_weather(np.nan))

    assert (is_planned(mild), is_planned(dark)) == (True, False)
    assert "nothing to mist" in water_words(mild, voice())
    assert "not known" in water_words(dark, voice())
    drawing = water_drawing(dark, NOW, voice())
    assert (drawing.vpd, drawing.film) == ("", "")


def test_hours_stand_apart_inside_the_drawing_and_in_the_growers_clock() -> None:
    data = example("water", "dry-summer", "pergola")
    for units, noon in ((SI, "12:00"), (US, "12 pm")):
        hours = water_drawing(data, data.now, voice(units)).hours
        assert noon in [tick.text for tick in hours]
        gaps = [b.at - a.at for a, b in pairwise(hours)]
        assert min(gaps) >= 45
        assert all(0 <= tick.at <= WIDTH for tick in hours)


def test_numbers_are_those_of_the_hours_of_light() -> None:
    data = example("water", "dry-summer", "pergola")
    rows = water_numbers(data, voice())

    day = days_shown(data)[0]
    lit = [
        at
        for at, film in zip(data.times, data.series["film_min"], strict=True)
        if film is not None and at.date() == day
    ]
    assert [row.at for row in rows] == [SI.hour(at) for at in lit]
    assert all(row.vpd.endswith(" kPa") for row in rows)
