"""A real year is believed on every day of it, with forecasts that err and are revised as real ones
do; each of its forecasts told wrongly is not.

The weather is that of `test_year_of_airport_weather`. Errors are drawn: a standard deviation that
grows with the lead as in `uncertainty.USUAL_ERROR_K`, correlated by exp(-dt / 12 h), again every
day.
"""

import json
from datetime import UTC, date, datetime, timedelta
from functools import cache

import numpy as np

from sillward.forecast.sources.open_meteo import parse
from sillward_rules.weather import sun
from sillward_rules.weather.doubt import Doubt, HumidityMisfit, Jump, NoDayAndNight, OutOfSeason
from sillward_rules.weather.hourly import Weather, bridge_gaps, covers
from sillward_rules.weather.plausibility import doubts_about
from sillward_rules.weather.uncertainty import usual_error_k
from tests.support.airport import NEWARK, UNITS, days, errors, hourly

AHEAD_H, PAST_H = 168, 24
TEMP, DEW, HUMIDITY = "temperature_2m", "dew_point_2m", "relative_humidity_2m"


def made_at(day: date) -> datetime:
    return datetime(day.year, day.month, day.day, 20, tzinfo=UTC)


def told(day: date, temp: np.ndarray, dew: np.ndarray, humidity: np.ndarray) -> Weather:
    start = int(made_at(day).timestamp()) - 3600 * PAST_H
    values = {TEMP: temp, DEW: dew, HUMIDITY: humidity}
    hours = {
        name: [None if np.isnan(value) else round(float(value), 1) for value in series]
        for name, series in values.items()
    }
    hours["time"] = [start + 3600 * row for row in range(temp.size)]
    document = {
        "latitude": NEWARK.latitude,
        "longitude": NEWARK.longitude,
        "hourly_units": UNITS,
        "hourly": hours,
    }
    return parse(json.dumps(document).encode(), NEWARK, made_at(day))


def truth(day: date) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Temperature, dew point, humidity of the hours of a day's forecast."""
    start = made_at(day) - timedelta(hours=PAST_H)
    first = int((start - hourly().index[0]) / timedelta(hours=1))
    rows = slice(max(0, first), first + PAST_H + AHEAD_H)
    temp, dew, humidity = (hourly()[name].to_numpy()[rows] for name in (TEMP, DEW, HUMIDITY))
    return temp, dew, humidity


@cache
def forecasts() -> list[Weather]:
    """One for each day, each with errors of its own."""
    rng = np.random.default_rng(2013)
    made = []
    for day in list(days())[1:-8]:
        temp, dew, humidity = truth(day)
        lead_h = np.arange(temp.size) - PAST_H
        off = errors(rng, lead_h, usual_error_k(lead_h))
        made.append(told(day, temp + off, np.minimum(dew, temp) + off, humidity))
    return made


def test_a_whole_year_of_daily_revisions_raises_no_doubt() -> None:
    before: Weather | None = None
    for weather in forecasts():
        assert doubts_about(NEWARK, weather, before, now=weather.fetched_at) == ()
        before = weather
    assert len(forecasts()) > 340


def test_nor_does_a_second_source_that_errs_by_itself() -> None:
    rng = np.random.default_rng(7)
    for weather in forecasts():
        lead = (weather.times - weather.fetched_at.timestamp()) / 3600
        other = parse_with(weather, weather.temp_c + errors(rng, lead, usual_error_k(lead)) + 1.5)
        assert doubts_about(NEWARK, other, None, weather, now=weather.fetched_at) == ()


def parse_with(weather: Weather, temp: np.ndarray) -> Weather:
    return told(weather.fetched_at.date(), temp, weather.dew_point_c, np.full(temp.shape, np.nan))


def any_night_known(weather: Weather) -> bool:
    first = sun.night_at_or_after(NEWARK, weather.fetched_at)
    nights = [sun.night_of(NEWARK, first.day + timedelta(days=later)) for later in range(6)]
    return any(covers(weather, night.start, night.end) for night in nights)


def wrong(weather: Weather, temp: np.ndarray) -> set[type[Doubt]]:
    """What is said of the weather with this temperature instead, after the right one."""
    return {
        type(doubt)
        for doubt in doubts_about(
            NEWARK, parse_with(weather, temp), weather, now=weather.fetched_at + timedelta(hours=1)
        )
    }


def test_the_year_told_wrongly_is_doubted_on_every_day() -> None:
    judged = 0
    for weather in forecasts()[::5]:
        temp = weather.temp_c
        known = bridge_gaps(temp, 48)
        fahrenheit = 32 + 1.8 * temp
        possible = np.where(fahrenheit > 60, np.nan, fahrenheit)  # as it will be read
        if np.isfinite(possible).any() and any_night_known(parse_with(weather, possible)):
            assert wrong(weather, fahrenheit) & {Jump, OutOfSeason}
            judged += 1
        assert wrong(weather, np.where(known < np.nanmedian(known), 59.9, temp))
        assert NoDayAndNight in wrong(weather, np.full(temp.shape, 12.3))
    assert judged > 30


def test_in_frost_the_label_alone_is_found_without_any_forecast_before() -> None:
    """Every day on which it freezes, in °F, next to a dew point in °C and its humidity."""
    found = 0
    for day in list(days())[1:-8]:
        temp, dew, humidity = truth(day)
        if np.nanmean(temp) < 0:
            weather = told(day, 32 + 1.8 * temp, dew, humidity)
            kinds = {type(doubt) for doubt in doubts_about(NEWARK, weather, now=weather.fetched_at)}
            assert kinds & {HumidityMisfit, OutOfSeason}
            found += 1
    assert found > 10
