"""Bodies of Open-Meteo's archive and of its previous runs."""

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sillward.archive.open_meteo_body import read as read_table
from sillward.archive.table import past_weather
from sillward.errors import SourceError
from sillward.forecast.parsing import Reading
from tests.daemon.archive.conftest import Read, Refused, check_read_or_refused
from tests.support.mutations import changed_anywhere
from tests.support.past_files import SITE, body, dumped, hours, in_iso, with_leads

READER = Reading("past", "the file")
ONE_MONTH = hours()


def close(found: np.ndarray, expected: np.ndarray) -> bool:
    return bool(np.allclose(found, expected, atol=1e-9, equal_nan=True))


def test_every_hour_and_variable_comes_as_it_is(read: Read) -> None:
    past = read(dumped(body(ONE_MONTH)))

    weather = past.weather
    assert weather.times.tolist() == ONE_MONTH.times.tolist()
    for name, api in {
        "temp_c": "temperature_2m",
        "dew_point_c": "dew_point_2m",
        "wind_m_s": "wind_speed_10m",
        "rain_mm": "precipitation",
        "direct_w_m2": "direct_radiation",
        "diffuse_w_m2": "diffuse_radiation",
    }.items():
        assert close(getattr(weather, name), ONE_MONTH.series[api])
    assert close(weather.cloud, ONE_MONTH.series["cloud_cover"] / 100)
    assert (past.by_lead_day, past.remarks) == ({}, ("the file has no gusts",))
    assert weather.source == "Open-Meteo's archive"


def test_years_are_one_weather(read: Read) -> None:
    three_years = hours(3 * 365 + 1, datetime(2019, 1, 1, tzinfo=UTC))

    past = read(dumped(body(three_years)))

    assert past.weather.times.size == 24 * (3 * 365 + 1)
    assert past.remarks == ("the file has no gusts",)


@pytest.mark.parametrize("offset_h", [0.0, -3.0, 9.0])
def test_times_in_iso_are_local_times_of_one_offset(read: Read, offset_h: float) -> None:
    local = in_iso(body(ONE_MONTH), offset_h)

    assert read(dumped(local)).weather.times.tolist() == ONE_MONTH.times.tolist()


def test_half_hours_of_utc_are_refused_with_what_to_ask_for(refused: Refused) -> None:
    half = in_iso(body(ONE_MONTH)) | {"utc_offset_seconds": 19800}

    assert refused(dumped(half)) == (
        "the file has no full hours of UTC: its first is 2021-02-28 18:30 UTC; ask for hours in UTC"
    )


def test_units_that_are_told_are_converted_and_named(read: Read) -> None:
    made = body(ONE_MONTH)
    for name, unit, factor, added in (
        ("temperature_2m", "°F", 1.8, 32.0),
        ("wind_speed_10m", "km/h", 3.6, 0.0),
        ("precipitation", "inch", 1 / 25.4, 0.0),
    ):
        made["hourly_units"][name] = unit
        made["hourly"][name] = (ONE_MONTH.series[name] * factor + added).tolist()

    past = read(dumped(made))

    assert close(past.weather.temp_c, ONE_MONTH.series["temperature_2m"])
    assert close(past.weather.wind_m_s, ONE_MONTH.series["wind_speed_10m"])
    assert close(past.weather.rain_mm, ONE_MONTH.series["precipitation"])
    assert past.remarks[:3] == (
        "temperature_2m is in °F: converted",
        "wind_speed_10m is in km/h: converted",
        "precipitation is in inch: converted",
    )


def test_a_unit_that_is_not_known_is_refused(refused: Refused) -> None:
    made = body(ONE_MONTH)
    made["hourly_units"]["wind_speed_10m"] = "furlongs"

    said = refused(dumped(made))

    assert said.startswith('the file gives "wind_speed_10m" in an unknown unit; known are m/s,')


def test_former_names_of_variables_are_known(read: Read) -> None:
    made = body(ONE_MONTH)
    for former, name in (("windspeed_10m", "wind_speed_10m"), ("cloudcover", "cloud_cover")):
        made["hourly"][former] = made["hourly"].pop(name)
        made["hourly_units"][former] = made["hourly_units"].pop(name)

    past = read(dumped(made))

    assert close(past.weather.wind_m_s, ONE_MONTH.series["wind_speed_10m"])
    assert close(past.weather.cloud, ONE_MONTH.series["cloud_cover"] / 100)


def test_several_models_are_refused(refused: Refused) -> None:
    made = body(ONE_MONTH)
    for place in ("hourly", "hourly_units"):
        made[place]["temperature_2m_era5"] = made[place].pop("temperature_2m")

    assert refused(dumped(made)) == (
        'the file has no "temperature_2m", but "temperature_2m_era5": ask for one model'
    )


def test_one_impossible_value_is_named_and_ignored(read: Read) -> None:
    made = body(ONE_MONTH)
    made["hourly"]["temperature_2m"][5] = 999.0

    past = read(dumped(made))

    assert np.isnan(past.weather.temp_c).sum() == 1
    assert "temperature_2m of 999 °C at 2021-03-01 05:00 UTC is impossible: ignored" in past.remarks


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"latitude": 32.9}, "the file is for another place: 32.9, -68.8, not -32.89, -68.85"),
        ({"longitude": None}, "the file does not say for which place it is"),
        ({"hourly": None}, "the file has no hourly values"),
        ({"error": True, "reason": "No data"}, 'the file is an error: "No data"'),
        ({"hourly": {"time": []}}, "the file has no list of times"),
    ],
)
def test_what_cannot_be_used_is_refused(
    refused: Refused, changes: dict[str, object], said: str
) -> None:
    assert refused(dumped(body(ONE_MONTH, **changes))) == said


def test_times_without_their_offset_are_refused(refused: Refused) -> None:
    made = in_iso(body(ONE_MONTH))
    del made["utc_offset_seconds"]

    assert "utc_offset_seconds" in refused(dumped(made))


@pytest.mark.parametrize("time", ["2021-13-01T00:00", "now", "2021-03-01", 7, None])
def test_times_that_are_none_are_refused(refused: Refused, time: object) -> None:
    made = in_iso(body(ONE_MONTH))
    made["hourly"]["time"][3] = time

    assert "times" in refused(dumped(made))


# -- previous runs


def test_previous_runs_give_what_was_forecast_by_day(read: Read) -> None:
    runs = with_leads(ONE_MONTH, range(1, 8), ["temperature_2m", "dew_point_2m"])

    past = read(dumped(body(runs)))

    assert past.weather.source == "Open-Meteo's previous runs"
    assert list(past.by_lead_day) == [1, 2, 3, 4, 5, 6, 7]
    assert close(past.weather.temp_c, ONE_MONTH.series["temperature_2m"])
    for day, lead in past.by_lead_day.items():
        assert close(lead.temp_c, runs.series[f"temperature_2m_previous_day{day}"])
        assert close(lead.dew_point_c, runs.series[f"dew_point_2m_previous_day{day}"])
        assert lead.times.tolist() == past.weather.times.tolist()
    assert past.remarks[-2:] == (
        "what came is the newest forecast of each hour: nothing was measured",
        "forecasts by day give temperature, humidity; all else counts as it came",
    )


def test_what_is_not_given_by_day_counts_as_it_came(read: Read) -> None:
    past = read(dumped(body(with_leads(ONE_MONTH, [2], ["temperature_2m"]))))

    lead = past.by_lead_day[2]
    assert close(lead.wind_m_s, past.weather.wind_m_s)
    assert close(lead.rain_mm, past.weather.rain_mm)
    assert close(lead.dew_point_c, np.minimum(past.weather.dew_point_c, lead.temp_c))


def test_hours_that_a_forecast_lacks_stay_unknown(read: Read) -> None:
    runs = with_leads(ONE_MONTH, [1], ["temperature_2m", "wind_speed_10m"])
    runs.series["temperature_2m_previous_day1"][:72] = np.nan
    runs.series["wind_speed_10m_previous_day1"][:36] = np.nan

    past = read(dumped(body(runs)))

    lead = past.by_lead_day[1]
    assert np.isnan(lead.temp_c[:72]).all()
    assert np.isnan(lead.dew_point_c[:72]).all()
    assert np.isnan(lead.wind_m_s[:36]).all()
    assert np.isfinite(lead.temp_c[72:]).all()
    assert "forecasts of the day before: temperature is missing in 10 % of the hours" in (
        past.remarks
    )


def test_days_beyond_the_horizon_of_a_model_are_left_out(read: Read) -> None:
    runs = with_leads(ONE_MONTH, [1, 7], ["temperature_2m"])
    runs.series["temperature_2m_previous_day7"][:] = np.nan

    assert list(read(dumped(body(runs))).by_lead_day) == [1]


def test_a_day_without_temperature_is_named(read: Read) -> None:
    runs = with_leads(ONE_MONTH, [3], ["wind_speed_10m"])

    past = read(dumped(body(runs)))

    assert past.by_lead_day == {}
    assert "forecasts of 3 days before have no temperature: not used" in past.remarks


# -- any content


@settings(suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_a_body_with_anything_in_it_is_read_or_refused(data: st.DataObject) -> None:
    runs = with_leads(hours(3), [1], ["temperature_2m"])
    made = body(runs)
    if data.draw(st.booleans()):
        made = in_iso(made, -3.0)
    document = changed_anywhere(data, made, "°F", "iso8601", 2**31, 1e300, "2021-03-01T00:00")
    check_read_or_refused(lambda: read_table(dumped(document), SITE, READER))


@settings(max_examples=30)
@given(st.integers(0, 5000))
def test_a_body_that_is_cut_off_is_refused(length: int) -> None:
    whole = dumped(body(replace(hours(3))))
    with pytest.raises(SourceError):
        past_weather(read_table(whole[: min(length, len(whole) - 1)], SITE, READER), SITE, READER)
