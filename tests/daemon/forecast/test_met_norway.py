"""MET Norway: what is asked for, what a body says, what becomes of six hours, what is refused."""

import json
import logging
import math
from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sillward.errors import SourceError
from sillward.forecast.parsing import NO_RAIN
from sillward.forecast.source import SourceOptions
from sillward.forecast.sources import known, met_norway
from sillward.forecast.sources.met_norway import MetNorway, build, parse
from sillward.net.http import Answer
from sillward_rules.sheet import Round, draw_up
from sillward_rules.weather import radiation, sun
from sillward_rules.weather.hourly import SERIES, Weather
from sillward_rules.weather.site import Site
from tests.support import core
from tests.support.bodies import HOUR_S, SITE, START, dumped
from tests.support.fakes import remarked
from tests.support.met_bodies import HOURLY, STEPS, met_body
from tests.support.mutations import changed_anywhere

NOW = START + timedelta(minutes=25)
CONTACT = "grower@example.org"
TIMES = HOURLY + STEPS + 1
HOURS = HOURLY + 6 * STEPS + 1
NOTES = (
    "no past: what rain has fallen before is not known",
    "sunlight is estimated from cloud",
    "cloud is not told by height: thin high cloud counts like any other",
    "from Fri 15 May 12:00 UTC on in steps of six hours: the step's own lowest temperature counts",
)


def read(document: object, now: datetime = NOW) -> Weather:
    return parse(document if isinstance(document, bytes) else dumped(document), SITE, now)


def refused(document: object, now: datetime = NOW) -> str:
    with pytest.raises(SourceError) as caught:
        read(document, now)
    text = str(caught.value)
    assert text.startswith("MET Norway: the answer ")
    return text


def series_of(made: dict[str, Any]) -> list[dict[str, Any]]:
    given: list[dict[str, Any]] = made["properties"]["timeseries"]
    return given


def details(made: dict[str, Any], row: int, period: str = "instant") -> dict[str, Any]:
    found: dict[str, Any] = series_of(made)[row]["data"][period]["details"]
    return found


def changed(name: str, row: int, value: object, period: str = "instant") -> dict[str, Any]:
    """A body with a single value exchanged."""
    made = met_body()
    details(made, row, period)[name] = value
    return made


def without(name: str, period: str = "instant") -> dict[str, Any]:
    """A body that has a variable nowhere."""
    made = met_body()
    for entry in series_of(made):
        entry["data"].get(period, {}).get("details", {}).pop(name, None)
    del made["properties"]["meta"]["units"][name]
    return made


def two_steps(a: float, b: float, c: float, **given: Any) -> Weather:
    """Two steps of six hours after a single hourly time; a and b are the ends of the first."""
    return read(met_body(hourly=1, steps=2, air_temperature=[a, a, b, c], **given))


# -- what a body says


def test_a_good_body_is_read_without_a_remark() -> None:
    weather = read(met_body())

    assert weather.remarks == ()
    assert weather.notes == NOTES
    assert (weather.source, weather.fetched_at) == ("MET Norway", NOW)
    assert weather.issued_at == START + timedelta(minutes=4, seconds=26)
    assert weather.times[0] == START.timestamp()
    assert weather.times.size == HOURS
    assert {weather.temp_c[0], weather.dew_point_c[0], weather.wind_m_s[0]} == {15.0, 3.8, 2.0}
    assert (weather.gust_m_s[0], weather.cloud[0]) == (4.0, 0.2)
    assert np.isfinite(weather.temp_c).all()
    assert np.isnan(weather.hail_pct).all()


def test_the_hour_that_is_over_is_taken_to_have_the_rain_of_the_next() -> None:
    wet = read(met_body(rain_1=[1.2] + [0.0] * (TIMES - 1))).rain_mm
    unknown = read(met_body(rain_1=[None] * TIMES, rain_6=None)).rain_mm

    assert wet[:3].tolist() == [1.2, 1.2, 0.0]
    assert np.isnan(unknown).all()


@pytest.mark.parametrize("hour", [16, 18, 20, 21, 23])
def test_an_evening_that_is_told_from_the_present_hour_on_is_judged(hour: int) -> None:
    """Sunset is at 21:46 UTC. The plant's crown may rot: what wets it must be known."""
    start = START + timedelta(hours=hour)
    now = start + timedelta(minutes=25)

    sheet = draw_up(Round.DUSK, core.collection(), read(met_body(start), now), {}, now)

    assert sheet.warnings == ()
    assert sheet.chores == ()


def test_sunlight_is_that_of_the_cloud() -> None:
    weather = read(met_body(cloud_area_fraction=60))

    expected = radiation.estimate(SITE, weather.times, np.full(HOURS, 0.6))
    np.testing.assert_array_equal((weather.direct_w_m2, weather.diffuse_w_m2), expected)
    assert weather.direct_w_m2.max() > 100


@pytest.mark.parametrize(
    ("name", "unit"),
    [
        ("air_temperature", "fahrenheit"),
        ("air_temperature_min", "K"),
        ("precipitation_amount", "inch"),
        ("wind_speed", "knots"),
        ("wind_speed_of_gust", "km/h"),
        ("relative_humidity", "1"),
        ("cloud_area_fraction", None),
        ("dew_point_temperature", ["celsius"]),
    ],
)
def test_another_unit_than_expected_is_refused(name: str, unit: object) -> None:
    made = met_body()
    made["properties"]["meta"]["units"][name] = unit

    assert f"gives {name} in " in refused(made)


def test_fahrenheit_is_named_in_the_refusal() -> None:
    made = met_body()
    made["properties"]["meta"]["units"]["air_temperature"] = "fahrenheit"

    told = 'MET Norway: the answer gives air_temperature in "fahrenheit", not in celsius'
    assert refused(made) == told


def test_without_gusts_and_dew_point_it_is_noted_not_remarked() -> None:
    """They are not given everywhere."""
    weather = read(without("wind_speed_of_gust"))
    assert np.isnan(weather.gust_m_s).all()
    assert (weather.remarks, weather.notes) == ((), (*NOTES, "no gusts"))

    weather = read(without("dew_point_temperature"))
    assert (weather.remarks, weather.notes) == ((), (*NOTES, "no dew point"))
    # 3.75 °C: Magnus, Alduchov and Eskridge 1996, for 15 °C and 47 %.
    assert weather.dew_point_c[0] == pytest.approx(3.75, abs=0.05)


@pytest.mark.parametrize("name", ["wind_speed", "relative_humidity"])
def test_what_is_given_everywhere_else_is_remarked(name: str) -> None:
    assert remarked(read(without(name))) == (f"the forecast has no {name}",)


def test_cloud_is_read_by_height_and_lies_on_lines_within_steps() -> None:
    layers = ("cloud_area_fraction_low", "cloud_area_fraction_medium", "cloud_area_fraction_high")
    high = [40.0] * (HOURLY + 1) + [100.0] * STEPS
    made: dict[str, Any] = dict(zip(layers, (10.0, 20.0, high), strict=True))

    weather = read(met_body(**made))

    assert (weather.cloud_low == 0.1).all()
    assert (weather.cloud_middle == 0.2).all()
    step = weather.cloud_high[HOURLY : HOURLY + 7]
    np.testing.assert_allclose(step, np.linspace(0.4, 1.0, 7))
    assert (weather.remarks, weather.notes) == ((), (*NOTES[:2], NOTES[3]))
    for layer in layers:
        lacking = read(met_body(**made | {layer: None}))
        assert (lacking.remarks, lacking.notes) == ((), NOTES)


@pytest.mark.parametrize("value", [-5.0, 140.0, None])
def test_impossible_cloud_at_a_height_is_unknown_and_the_whole_cover_is_kept(
    value: float | None,
) -> None:
    layers: dict[str, Any] = dict.fromkeys(
        ("cloud_area_fraction_low", "cloud_area_fraction_medium", "cloud_area_fraction_high"), 10.0
    )
    made = met_body(**layers)
    details(made, 5)["cloud_area_fraction_high"] = value

    weather = read(made)

    assert np.flatnonzero(np.isnan(weather.cloud_high)).tolist() == [5]
    assert np.isfinite(weather.cloud).all()
    assert len(weather.remarks) == (value is not None)


def test_without_cloud_nothing_is_said_of_sunlight_by_day() -> None:
    weather = read(without("cloud_area_fraction"))

    night = sun.is_night(SITE, weather.times) & sun.is_night(SITE, weather.times - HOUR_S)
    assert remarked(weather) == ("the forecast has no cloud_area_fraction",)
    assert weather.notes == (NOTES[0], NOTES[3])
    assert (weather.direct_w_m2[night] == 0).all()
    assert np.isnan(weather.direct_w_m2).any()


def test_without_any_rain_it_is_unknown_not_none() -> None:
    weather = read(met_body(rain_1=None, rain_6=None))

    assert np.isnan(weather.rain_mm).all()
    assert remarked(weather) == ("the forecast has no precipitation_amount", NO_RAIN)


def test_without_moisture_the_dew_point_is_unknown() -> None:
    made = met_body(dew_point_temperature=None, relative_humidity=None)

    assert np.isnan(read(made).dew_point_c).all()


@pytest.mark.parametrize(
    "made",
    [
        without("air_temperature"),
        met_body(air_temperature=99.0),
        met_body(air_temperature=math.nan),
    ],
)
def test_without_temperatures_there_is_no_forecast(made: dict[str, Any]) -> None:
    assert "has no temperatures" in refused(made)


# -- rain: of the hours that follow


def test_rain_of_the_next_hour_belongs_to_the_hour_that_ends_then() -> None:
    told = [0.0] * TIMES
    told[4] = 2.5

    rain = read(met_body(rain_1=told)).rain_mm

    assert np.flatnonzero(rain > 0).tolist() == [5]
    assert rain[5] == 2.5


def test_rain_of_six_hours_is_spread_over_the_six_that_follow() -> None:
    told = [0.0] * TIMES
    told[HOURLY] = 3.0

    rain = read(met_body(rain_6=told)).rain_mm

    assert np.flatnonzero(rain > 0).tolist() == [HOURLY + hour for hour in range(1, 7)]
    assert rain[HOURLY + 1 : HOURLY + 7].tolist() == [0.5] * 6


def test_rain_of_six_hours_says_nothing_where_hours_are_told() -> None:
    rain = read(met_body(rain_6=6.0)).rain_mm

    assert (rain[1 : HOURLY + 1] == 0.0).all()
    assert (rain[HOURLY + 1 :] == 1.0).all()


def test_an_hour_whose_rain_is_not_told_has_its_sixth() -> None:
    told: list[float | None] = [0.0] * TIMES
    told[7] = None

    rain = read(met_body(rain_1=told, rain_6=3.0)).rain_mm

    assert (rain[7], rain[8], rain[9]) == (0.0, 0.5, 0.0)


def test_rain_is_neither_lost_nor_doubled() -> None:
    told = [0.1 * (row % 7) for row in range(TIMES)]

    rain = read(met_body(rain_1=told, rain_6=told)).rain_mm

    assert rain[1:].sum() == pytest.approx(sum(told[:-1]))


# -- steps of six hours


def test_between_the_ends_of_a_step_lines_are_straight() -> None:
    weather = two_steps(
        12.0,
        6.0,
        6.0,
        low=6.0,
        high=12.0,
        dew_point_temperature=[2.0, 2.0, -4.0, -4.0],
        wind_speed=[1.0, 1.0, 4.0, 4.0],
        cloud_area_fraction=[0, 0, 60, 60],
    )

    assert weather.temp_c[1:8].tolist() == [12.0, 11.0, 10.0, 9.0, 8.0, 7.0, 6.0]
    assert weather.dew_point_c[1:8].tolist() == [2.0, 1.0, 0.0, -1.0, -2.0, -3.0, -4.0]
    assert weather.wind_m_s[1:8].tolist() == [1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0]
    np.testing.assert_allclose(weather.cloud[1:8], np.arange(7) / 10)


def test_gusts_are_told_for_the_ends_of_a_step_only() -> None:
    gust = two_steps(12.0, 6.0, 6.0, low=6.0).gust_m_s

    assert np.flatnonzero(np.isfinite(gust)).tolist() == [0, 1, 7, 13]


def test_the_lowest_of_a_step_holds_in_all_its_hours_if_it_is_lower_than_both_ends() -> None:
    weather = two_steps(9.0, 8.0, 8.0, low=[9.0, 4.0, 8.0, None], high=20.0)

    assert weather.temp_c[1:8].tolist() == [9.0, 4.0, 4.0, 4.0, 4.0, 4.0, 8.0]
    assert weather.temp_c[8] == 8.0


@pytest.mark.parametrize("low", [8.0, 7.95, 11.0])
def test_a_lowest_that_is_an_end_changes_nothing(low: float) -> None:
    weather = two_steps(14.0, 8.0, 8.0, low=[14.0, low, 8.0, None], high=14.0)

    assert weather.temp_c[1:8].tolist() == [14.0, 13.0, 12.0, 11.0, 10.0, 9.0, 8.0]


def test_the_highest_of_a_step_is_reached_in_its_middle() -> None:
    weather = two_steps(20.0, 26.0, 26.0, low=20.0, high=[20.0, 29.5, 26.0, None])

    assert weather.temp_c[1:8].tolist() == [20.0, 21.0, 22.0, 29.5, 24.0, 25.0, 26.0]


def test_a_highest_that_is_an_end_changes_nothing() -> None:
    weather = two_steps(20.0, 26.0, 26.0, low=20.0, high=26.05)

    assert weather.temp_c[4] == 23.0


def test_the_dew_point_is_never_above_a_lowered_temperature() -> None:
    weather = two_steps(
        9.0, 8.0, 8.0, low=[9.0, 2.0, 8.0, None], dew_point_temperature=5.0, relative_humidity=None
    )

    assert weather.dew_point_c[1:8].tolist() == [5.0, 2.0, 2.0, 2.0, 2.0, 2.0, 5.0]


def test_a_step_without_its_lowest_is_unknown_inside_and_named() -> None:
    """A straight line would miss the low of the night."""
    low: list[float | None] = [15.0] * TIMES
    low[HOURLY + 2] = low[HOURLY + 5] = None

    weather = read(met_body(low=low))

    first, second = HOURLY + 12, HOURLY + 30
    inner = [*range(first + 1, first + 6), *range(second + 1, second + 6)]
    assert np.flatnonzero(np.isnan(weather.temp_c)).tolist() == inner
    assert remarked(weather) == (
        "no lowest temperature in 2 steps of several hours, first from 2026-05-16 00:00 UTC: "
        "unknown in between",
    )
    assert weather.notes == NOTES


def test_without_any_lowest_no_note_says_that_it_counts() -> None:
    weather = read(met_body(low=None))

    assert weather.notes == NOTES[:3]
    assert remarked(weather)[0].startswith("no lowest temperature in 28 steps of several hours")


def test_an_impossible_lowest_is_none() -> None:
    made = changed("air_temperature_min", HOURLY, -300.0, "next_6_hours")

    remarks = remarked(read(made))

    assert remarks[0].startswith("air_temperature_min of -300 celsius at 2026-05-15 12:00 UTC")
    assert remarks[1].startswith("no lowest temperature in 1 step ")


def test_a_step_with_an_unknown_end_is_unknown_inside() -> None:
    weather = read(met_body(air_temperature=[15.0] * (HOURLY + 1) + [None] + [15.0] * (STEPS - 1)))

    unknown = np.flatnonzero(np.isnan(weather.temp_c))
    assert unknown.tolist() == list(range(HOURLY + 1, HOURLY + 12))


def test_the_last_time_has_no_periods_and_ends_the_series() -> None:
    made = met_body()
    assert list(series_of(made)[-1]["data"]) == ["instant"]

    weather = read(made)

    assert weather.times[-1] == START.timestamp() + HOUR_S * (HOURLY + 6 * STEPS)
    assert weather.temp_c[-1] == 15.0


def test_a_step_of_three_hours_is_read_like_one_of_six() -> None:
    made = met_body(hourly=1, steps=2, air_temperature=[12.0, 12.0, 9.0, 9.0], low=9.0, high=None)
    for row, hour in ((2, 4), (3, 7)):
        series_of(made)[row]["time"] = f"2026-05-13T{hour:02}:00:00Z"

    weather = read(made)

    assert weather.temp_c.tolist() == [12.0, 12.0, 11.0, 10.0, 9.0, 9.0, 9.0, 9.0]
    assert weather.notes[-1].startswith("from Wed 13 May 01:00 UTC on in steps of three hours")


def test_steps_of_several_lengths_are_noted_by_the_longest() -> None:
    made = met_body(hourly=1, steps=3)
    del series_of(made)[0]["data"]["next_1_hours"]
    series_of(made)[1]["time"] = "2026-05-13T03:00:00Z"
    series_of(made)[2]["time"] = "2026-05-13T09:00:00Z"

    told = read(made).notes[-1]

    assert told.startswith("from Wed 13 May 00:00 UTC on in steps of up to six hours")


def test_a_step_longer_than_its_periods_is_unknown_inside() -> None:
    made = met_body()
    del series_of(made)[HOURLY + 1]

    weather = read(made)

    assert np.flatnonzero(np.isnan(weather.temp_c)).tolist() == [HOURLY + h for h in range(1, 12)]
    assert np.flatnonzero(np.isnan(weather.rain_mm[1:])).tolist() == [
        HOURLY + h - 1 for h in range(7, 13)
    ]


def test_a_time_without_periods_tells_nothing_of_what_follows() -> None:
    made = met_body()
    series_of(made)[HOURLY]["data"] = {"instant": {"details": {"air_temperature": 15.0}}}

    weather = read(made)

    assert np.isnan(weather.temp_c[HOURLY + 1 : HOURLY + 6]).all()
    assert np.isnan(weather.rain_mm[HOURLY + 1 : HOURLY + 7]).all()
    assert np.isfinite(weather.temp_c[HOURLY + 6 :]).all()


def test_hours_that_are_missing_among_hourly_ones_stay_missing() -> None:
    made = met_body()
    del series_of(made)[10:14]

    weather = read(made)

    assert weather.times.size == HOURS
    assert np.flatnonzero(np.isnan(weather.temp_c)).tolist() == [10, 11, 12, 13]
    assert np.flatnonzero(np.isnan(weather.wind_m_s)).tolist() == [10, 11, 12, 13]
    # The time before the gap told its own next hour.
    assert np.flatnonzero(np.isnan(weather.rain_mm[1:])).tolist() == [10, 11, 12, 13]


def test_the_low_of_a_night_in_steps_is_the_steps_lowest() -> None:
    """A night of the sixth day: the instants at 06 and 12 UTC say 10 and 12, between them 4.5."""
    curve = [15.0] * HOURLY + [18.0, 17.0, 12.0, 10.0] * 7 + [18.0]
    low = [15.0] * HOURLY + [17.0, 12.0, 10.0, 10.0] * 7 + [None]
    # Rows begin at 12 UTC on the 15th; 06 UTC on the 19th is the fourth of the fourth day.
    row = HOURLY + 4 * 3 + 3
    low[row] = 4.5
    weather = read(met_body(air_temperature=curve, low=low, high=None, wind_speed=2.0))
    assert series_of(met_body())[row]["time"] == "2026-05-19T06:00:00Z"

    ahead = draw_up(Round.WEEK, core.collection(), weather, {}, NOW).outlook

    assert ahead is not None
    lows = {night.day: night.lows["bench"] for night in ahead.nights}
    assert lows[date(2026, 5, 18)] == pytest.approx(4.5)
    assert lows[date(2026, 5, 17)] == pytest.approx(10.0)
    assert [night.judged for night in ahead.nights] == [True] * 7


# -- what is not known, and what is impossible


def test_a_null_is_unknown_and_never_zero() -> None:
    weather = read(changed("air_temperature", 5, None))

    assert math.isnan(weather.temp_c[5])
    assert np.isfinite(np.delete(weather.temp_c, 5)).all()


def test_an_hour_without_details_is_an_unknown_hour() -> None:
    made = met_body()
    series_of(made)[7]["data"] = {"next_1_hours": {"summary": {"symbol_code": "fog"}}}

    weather = read(made)

    instants = ("temp_c", "dew_point_c", "wind_m_s", "gust_m_s", "cloud")
    assert all(math.isnan(getattr(weather, name)[7]) for name in instants)
    assert math.isnan(weather.rain_mm[8])


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("air_temperature", 61),
        ("air_temperature", -91),
        ("relative_humidity", 106),
        ("relative_humidity", -1),
        ("dew_point_temperature", 41),
        ("cloud_area_fraction", 101),
        ("wind_speed", -0.1),
        ("wind_speed_of_gust", 121),
    ],
)
def test_an_impossible_value_is_ignored_and_named(name: str, value: float) -> None:
    remarks = remarked(read(changed(name, 6, value)))

    assert len(remarks) == 1
    assert remarks[0].startswith(f"{name} of {value} ")
    assert remarks[0].endswith(" at 2026-05-13 06:00 UTC is impossible: ignored")


def test_impossible_rain_is_unknown() -> None:
    made = changed("precipitation_amount", 6, -1.0, "next_1_hours")
    details(made, 6, "next_6_hours")["precipitation_amount"] = 401

    weather = read(made)

    assert math.isnan(weather.rain_mm[7])
    assert len(weather.remarks) == 2


def test_a_dew_point_above_the_temperature_gives_way_to_the_humidity() -> None:
    weather = read(changed("dew_point_temperature", 4, 20.0))

    assert weather.dew_point_c[4] == pytest.approx(3.8, abs=0.3)
    assert remarked(weather) == (
        "dew point above the temperature in 1 hour, first 2026-05-13 04:00 UTC: ignored",
    )


@pytest.mark.parametrize("value", [10**400, math.inf, math.nan])
def test_numbers_that_are_none_are_unknown(value: float) -> None:
    assert math.isnan(read(changed("air_temperature", 3, value)).temp_c[3])


# -- where and when


@pytest.mark.parametrize(
    ("north", "east"),
    [(-33.6, -68.85), (-32.89, -69.7), (32.89, -68.85), (-32.89, 68.85), (-68.85, -32.89)],
)
def test_another_place_is_refused(north: float, east: float) -> None:
    made = met_body()
    made["geometry"]["coordinates"] = [east, north, 780]

    assert "is for another place" in refused(made)


@pytest.mark.parametrize(
    "geometry",
    [
        None,
        [],
        {},
        {"coordinates": None},
        {"coordinates": {}},
        {"coordinates": [-68.85]},
        {"coordinates": ["-68.85", "-32.89"]},
        {"coordinates": [True, -32.89]},
        {"coordinates": [[-68.85, -32.89]]},
    ],
)
def test_a_body_without_a_place_is_refused(geometry: object) -> None:
    assert "does not say for which place" in refused(met_body() | {"geometry": geometry})


@pytest.mark.parametrize("number", [math.nan, math.inf, 10**400])
def test_nowhere_is_refused(number: float) -> None:
    made = met_body()
    made["geometry"]["coordinates"][1] = number

    assert "is for no place on earth" in refused(made)


def torn(times: Callable[[list[str]], list[Any]]) -> dict[str, Any]:
    made = met_body()
    given = series_of(made)
    for made_entry, time in zip(given, times([entry["time"] for entry in given]), strict=True):
        made_entry["time"] = time
    return made


@pytest.mark.parametrize(
    ("times", "told"),
    [
        (lambda t: t[::-1], "full hours in order"),
        (lambda t: [*t[:5], t[4], *t[6:]], "full hours in order"),
        (lambda t: [*t[:5], t[5].replace(":00:00Z", ":30:00Z"), *t[6:]], "full hours in order"),
        (lambda t: [*t[:5], t[5].replace(":00Z", ":01Z"), *t[6:]], "full hours in order"),
        (lambda t: [time.replace("Z", "+02:00") for time in t], "has impossible times"),
        (lambda t: [time.rstrip("Z") for time in t], "has impossible times"),
        (lambda t: [time.replace("T", " ") for time in t], "has impossible times"),
        (lambda t: [f"{time[:11]}24{time[13:]}" for time in t], "has impossible times"),
        (lambda t: [1778630400 + HOUR_S * row for row in range(len(t))], "has impossible times"),
        (lambda t: [None, *t[1:]], "has impossible times"),
        (lambda t: ["", *t[1:]], "has impossible times"),
        (lambda t: ["0001" + t[0][4:], *t[1:]], "has impossible times"),
        (lambda t: [*t[:-1], "9999" + t[-1][4:]], "has impossible times"),
        (lambda t: ["2025" + t[0][4:], *t[1:]], "covers an impossible length of time"),
    ],
)
def test_torn_times_are_refused(times: Callable[[list[str]], list[Any]], told: str) -> None:
    assert told in refused(torn(times))


@pytest.mark.parametrize("text", [None, 5, "", "yesterday", "2026-05-13", "2026-05-13T00:04:26"])
def test_a_body_that_does_not_say_when_it_was_updated_is_refused(text: object) -> None:
    made = met_body()
    made["properties"]["meta"]["updated_at"] = text

    assert "does not say when it was updated" in refused(made)


def test_a_forecast_from_the_future_has_no_age_and_says_so() -> None:
    made = met_body()
    made["properties"]["meta"]["updated_at"] = "2026-05-13T01:30:00Z"

    weather = read(made)

    assert weather.issued_at is None
    assert remarked(weather) == (
        "updated in the future (2026-05-13 01:30 UTC), so a clock is wrong: its age is unsure",
    )


def test_a_clock_that_is_minutes_slow_makes_no_negative_age() -> None:
    made = met_body()
    made["properties"]["meta"]["updated_at"] = "2026-05-13T01:20:00Z"

    weather = read(made)

    assert (weather.issued_at, weather.remarks) == (NOW, ())


# -- how sure it is


def test_percentiles_become_the_spread() -> None:
    """A tenth is below the first, a tenth above the second: 2.56 deviations of a Gaussian apart
    (tables of the normal distribution)."""
    weather = read(met_body())

    assert weather.spread is not None
    assert weather.spread.origin == "percentiles of MET Norway"
    rows = np.arange(HOURLY)
    assert weather.spread.sd_k[rows] == pytest.approx((16.2 - 14.1) / 2.563, abs=0.02)
    assert weather.spread_in(rows) is weather.spread


def test_where_there_are_no_percentiles_the_usual_errors_hold() -> None:
    """As everywhere outside the north, and beyond the hours that have them."""
    made = met_body()
    for row in range(TIMES):
        for name in ("air_temperature_percentile_10", "air_temperature_percentile_90"):
            details(made, row).pop(name, None)

    weather = read(made)

    assert weather.spread is None
    assert weather.spread_in(np.arange(5)).origin == "usual errors by lead time"


# -- shapes


@pytest.mark.parametrize("value", ["15.0", True, [15.0], {}])
@pytest.mark.parametrize(
    ("name", "period"),
    [
        ("air_temperature", "instant"),
        ("precipitation_amount", "next_1_hours"),
        ("air_temperature_min", "next_6_hours"),
    ],
)
def test_values_that_are_no_numbers_are_refused(name: str, period: str, value: object) -> None:
    assert f"has {name} that are not numbers" in refused(changed(name, 3, value, period))


@pytest.mark.parametrize("value", [None, [], "x", 5])
@pytest.mark.parametrize(
    ("path", "told"),
    [
        (("properties",), "has no properties"),
        (("properties", "meta"), "has no meta"),
        (("properties", "meta", "units"), "has no units"),
        (("properties", "timeseries"), "has no list of times"),
        (("properties", "timeseries", 0), "has times without values"),
        (("properties", "timeseries", 0, "data"), "has no data"),
    ],
)
def test_a_body_with_a_part_that_is_none_is_refused(
    path: tuple[Any, ...], told: str, value: object
) -> None:
    made = met_body()
    holder: Any = made
    for key in path[:-1]:
        holder = holder[key]
    holder[path[-1]] = value

    expected = "has times without values" if path[-1] == "timeseries" and value == [5] else told
    assert expected in refused(made)


@pytest.mark.parametrize("value", [[], "x", 5])
@pytest.mark.parametrize("period", ["instant", "next_1_hours", "next_6_hours"])
def test_a_period_that_is_no_object_is_refused(period: str, value: object) -> None:
    made = met_body()
    series_of(made)[3]["data"][period] = value
    assert f"has a {period} without values" in refused(made)

    made = met_body()
    series_of(made)[3]["data"][period]["details"] = value
    assert "has details that are not values" in refused(made)


@pytest.mark.parametrize(
    ("raw", "told"),
    [
        (b"<!DOCTYPE html><title>400 Bad Request</title>", "is a web page, not a forecast"),
        (b"", "is not whole JSON"),
        (b"\xff\xfe\x00", "is not whole JSON"),
        (dumped(met_body())[:-200], "is not whole JSON"),
        (b"[" * 100_000, "is not whole JSON"),
        (b"9" * 5_000, "is not one forecast"),
        (b"null", "is not one forecast"),
        (b"[]", "is not one forecast"),
        (b"{}", "is not one forecast"),
        (b'{"type": "FeatureCollection", "features": []}', "is not one forecast"),
        (b'{"type": "Feature"}', "does not say for which place"),
    ],
)
def test_what_is_no_forecast_is_refused(raw: bytes, told: str) -> None:
    assert told in refused(raw)


# -- any body at all


LIKELY = ("celsius", "km/h", "Feature", "2026-05-13T07:00:00Z", 468.0, -90.0, 10**12)


@settings(
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow],
)
@given(data=st.data())
def test_a_body_with_anything_changed_is_weather_or_a_source_error(data: st.DataObject) -> None:
    made = changed_anywhere(data, met_body(hourly=3, steps=3), *LIKELY)

    try:
        weather = read(made)
    except SourceError as error:
        told = str(error)
    else:
        told = "MET Norway: "
        assert np.isfinite(weather.temp_c).any()
        assert not np.isinf([getattr(weather, name) for name in SERIES]).any()
        assert not np.any(weather.dew_point_c > weather.temp_c)

    assert told.startswith("MET Norway: ")
    assert "\n" not in told


temperatures = st.floats(-20, 40).map(lambda value: round(value, 1))


@settings(deadline=None, derandomize=True)
@given(
    ends=st.tuples(temperatures, temperatures),
    low=temperatures,
    high=temperatures,
)
def test_within_a_step_it_gets_as_cold_as_its_lowest_and_never_colder_than_told(
    ends: tuple[float, float], low: float, high: float
) -> None:
    weather = two_steps(*ends, ends[1], low=low, high=high, dew_point_temperature=-25.0)

    inside = weather.temp_c[1:8]

    told = min(*ends, low)
    assert inside.min() == pytest.approx(told, abs=met_norway.BEYOND_K + 1e-9)
    assert inside.min() >= told - 1e-9
    assert inside.max() <= max(*ends, high) + 1e-9


# -- the call


def client(base_url: str | None = None) -> MetNorway:
    return MetNorway(CONTACT, base_url)


def test_it_is_one_of_the_known_sources() -> None:
    source = known()["met-norway"](SourceOptions(contact=CONTACT))

    assert source.name == "MET Norway"
    assert source.max_sites == 1
    assert "CC BY 4.0" in source.attribution


def test_the_query_has_four_decimals_whole_metres_and_a_contact() -> None:
    site = replace(SITE, latitude=-32.8900004, longitude=-68.8499996, elevation_m=780.4)

    query = client().query([site])

    assert query.url == "https://api.met.no/weatherapi/locationforecast/2.0/complete"
    assert query.params == {"lat": "-32.8900", "lon": "-68.8500", "altitude": "780"}
    agent = query.headers["User-Agent"]
    assert agent.startswith("sillward/")
    assert agent.endswith(f" {CONTACT}")
    assert query.follow


def test_a_site_just_below_the_sea_is_at_no_minus_zero() -> None:
    polder = Site("polder", 52.6, 4.8, -0.4, ZoneInfo("Europe/Amsterdam"))

    assert client().query([polder]).params["altitude"] == "0"


@pytest.mark.parametrize(
    ("base", "url"),
    [
        ("http://own.example", "http://own.example/weatherapi/locationforecast/2.0/complete"),
        (
            "http://own.example/met/",
            "http://own.example/met/weatherapi/locationforecast/2.0/complete",
        ),
        (
            "http://own.example/weatherapi/locationforecast/2.0/complete",
            "http://own.example/weatherapi/locationforecast/2.0/complete",
        ),
    ],
)
def test_another_server_may_speak_the_same(base: str, url: str) -> None:
    source = build(SourceOptions(base_url=base, contact=CONTACT))

    assert source.query([SITE]).url == url


@pytest.mark.parametrize("contact", [None, "", "  "])
def test_without_a_contact_there_is_no_source(contact: str | None) -> None:
    with pytest.raises(ValueError, match=r"needs a contact .*SILLWARD_FORECAST__CONTACT"):
        build(SourceOptions(contact=contact))


@pytest.mark.parametrize(
    "contact",
    [
        "a@example.org\r\nHost: other.example",
        "a@example.org\nX-Forwarded-For: 1.2.3.4",
        "a@example.org\x00",
        "a@example.org\tb",
        "gärtner@example.org",
        "a@example.org\u2028b",
        f"{'a' * 200}@example.org",
    ],
)
def test_a_contact_that_could_break_the_header_is_refused(contact: str) -> None:
    with pytest.raises(ValueError, match="must be one line") as caught:
        build(SourceOptions(contact=contact))

    assert "\n" not in str(caught.value)


def test_a_word_is_no_contact() -> None:
    with pytest.raises(ValueError, match="must be a mail address or a web page"):
        build(SourceOptions(contact="me"))


def test_a_contact_is_stripped() -> None:
    source = build(SourceOptions(contact=f" {CONTACT}\n"))

    assert source.query([SITE]).headers["User-Agent"].endswith(f" {CONTACT}")


# -- statuses


def answer(status: int, body: bytes = b"", **headers: str) -> Answer:
    return Answer(status, headers, body)


def failure(status: int, body: bytes = b"", **headers: str) -> SourceError:
    with pytest.raises(SourceError) as caught:
        client().accept(answer(status, body, **headers), NOW)
    return caught.value


def test_200_is_fine_and_nothing_is_logged(caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.DEBUG, met_norway.__name__):
        client().accept(answer(200, dumped(met_body())), NOW)

    assert caplog.text == ""


def test_203_is_fine_and_logged(caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.WARNING, met_norway.__name__):
        client().accept(answer(203, dumped(met_body())), NOW)

    assert "forecast.deprecated source=MET Norway status=203" in caplog.text


@pytest.mark.parametrize("status", [404, 422])
def test_a_place_that_is_not_covered_is_left_alone_for_a_day(status: int) -> None:
    error = failure(status)

    assert str(error) == f"MET Norway: has no forecast for this place ({status})"
    assert error.wait == timedelta(hours=24)


def test_403_asks_whether_the_contact_is_true_and_waits_long() -> None:
    error = failure(403, b"<html>Forbidden</html>")

    assert str(error) == "MET Norway: turns us away (403); is the contact a true one?"
    assert error.wait is not None
    assert error.wait >= timedelta(hours=6)


def test_429_keeps_away_for_an_hour_at_least() -> None:
    error = failure(429)

    assert str(error).startswith("MET Norway: ")
    assert "429" in str(error)
    assert error.wait is not None
    assert error.wait >= timedelta(hours=1)
    assert not error.passing


@pytest.mark.parametrize("status", [400, 401, 500, 502, 503])
def test_other_statuses_are_told_without_their_web_page(status: int) -> None:
    text = str(failure(status, b"<html><body>Bad Request: lat</body></html>"))

    assert text.startswith("MET Norway: ")
    assert str(status) in text
    assert "<" not in text


def test_one_site_has_the_whole_body() -> None:
    body = json.dumps(met_body()).encode()

    assert client().split(body, [SITE]) == [body]
    assert client().read(body, SITE, NOW).fetched_at == NOW
