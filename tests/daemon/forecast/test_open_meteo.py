"""The forecast client: what it asks for, what it reads, what it refuses, over which wires."""

import json
import math
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pytest
import responses
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import SecretStr

from sillward.errors import SourceError
from sillward.forecast import parsing
from sillward.forecast.ensemble import Ensemble
from sillward.forecast.sources.open_meteo import VARIABLES, OpenMeteo, parse
from sillward.net import fetch
from sillward.net.http import Answer
from sillward_rules.weather.hourly import CLOUD_LAYERS, SERIES, Weather
from sillward_rules.weather.site import Site
from tests.support.bodies import HOUR_S, SITE, START, USUAL, body, dumped
from tests.support.fakes import remarked
from tests.support.mutations import changed_anywhere

NOW = START + timedelta(hours=44)
KEY = "very-secret-key"


def read(document: object) -> Weather:
    return parse(document if isinstance(document, bytes) else dumped(document), SITE, NOW)


def refused(document: object) -> str:
    with pytest.raises(SourceError) as caught:
        read(document)
    text = str(caught.value)
    assert text.startswith("Open-Meteo: ")
    return text


def changed(name: str, row: int, value: object, **series: Any) -> dict[str, Any]:
    """A body with a single value exchanged."""
    made = body(hours=48, **series)
    made["hourly"][name][row] = value
    return made


# -- what a body says


def test_a_good_body_is_read_without_a_remark() -> None:
    weather = read(body())

    assert weather.remarks == ()
    assert (weather.source, weather.fetched_at, weather.issued_at) == ("Open-Meteo", NOW, None)
    assert weather.times[0] == START.timestamp()
    assert weather.times.size == 216
    assert {weather.temp_c[0], weather.dew_point_c[0], weather.wind_m_s[0]} == {15.0, 3.8, 2.0}
    assert (weather.gust_m_s[0], weather.rain_mm[0]) == (4.0, 0.0)
    assert (weather.direct_w_m2[0], weather.diffuse_w_m2[0]) == (100.0, 50.0)


def test_cloud_arrives_as_a_share() -> None:
    assert read(body(cloud_cover=25)).cloud[0] == 0.25


def test_cloud_is_read_by_height() -> None:
    weather = read(body(cloud_cover_low=10, cloud_cover_mid=20, cloud_cover_high=75))

    layers = weather.cloud_low[0], weather.cloud_middle[0], weather.cloud_high[0]
    assert layers == pytest.approx((0.1, 0.2, 0.75))
    assert (weather.remarks, weather.notes) == ((), ())


@pytest.mark.parametrize("missing", ["cloud_cover_low", "cloud_cover_mid", "cloud_cover_high"])
def test_a_layer_of_cloud_that_is_missing_is_unknown_and_no_fault(missing: str) -> None:
    layers: dict[str, Any] = dict.fromkeys(
        ("cloud_cover_low", "cloud_cover_mid", "cloud_cover_high"), 20
    )

    weather = read(body(**layers | {missing: None}))

    assert (weather.remarks, weather.notes) == ((), ())
    unknown = [np.isnan(getattr(weather, name)).all() for name in CLOUD_LAYERS]
    assert unknown == [name == missing for name in layers]


def test_impossible_cloud_at_a_height_is_unknown_and_named() -> None:
    made = body(hours=48, cloud_cover_low=0, cloud_cover_mid=0, cloud_cover_high=20)
    made["hourly"]["cloud_cover_low"][5] = -5
    made["hourly"]["cloud_cover_mid"][6] = None
    made["hourly"]["cloud_cover_high"][7] = 140

    weather = read(made)

    unknown = [np.flatnonzero(np.isnan(getattr(weather, name))).tolist() for name in CLOUD_LAYERS]
    assert unknown == [[5], [6], [7]]
    assert [text.split()[0] for text in remarked(weather)] == [
        "cloud_cover_low",
        "cloud_cover_high",
    ]
    assert np.isfinite(weather.cloud).all()


@pytest.mark.parametrize(
    ("name", "unit"),
    [
        ("wind_speed_10m", "km/h"),
        ("wind_gusts_10m", "mp/h"),
        ("temperature_2m", "°F"),
        ("precipitation", "inch"),
        ("direct_radiation", "MJ/m²"),
        ("relative_humidity_2m", ""),
        ("cloud_cover", None),
        ("cloud_cover_high", "oktas"),
        ("dew_point_2m", ["°C"]),
    ],
)
def test_another_unit_than_asked_for_is_refused(name: str, unit: object) -> None:
    made = body(cloud_cover_high=20)
    made["hourly_units"][name] = unit

    assert f"gives {name} in " in refused(made)


def test_kilometres_an_hour_are_named_in_the_refusal() -> None:
    made = body()
    made["hourly_units"]["wind_speed_10m"] = "km/h"

    expected = 'Open-Meteo: the answer gives wind_speed_10m in "km/h", not in m/s'
    assert refused(made) == expected


def test_a_variable_that_the_model_lacks_is_unknown_whatever_its_unit() -> None:
    """Then the API answers 200, nulls all along, and "undefined" for the unit."""
    made = body(wind_gusts_10m=[None] * 216)
    made["hourly_units"]["wind_gusts_10m"] = "undefined"

    weather = read(made)

    assert np.isnan(weather.gust_m_s).all()
    assert remarked(weather) == ("the forecast has no wind_gusts_10m",)


@pytest.mark.parametrize(
    "name",
    [
        variable
        for variable in VARIABLES
        if variable in USUAL and variable not in ("temperature_2m", "weather_code")
    ],
)
def test_a_missing_variable_is_named(name: str) -> None:
    made = body()
    del made["hourly"][name], made["hourly_units"][name]

    weather = read(made)

    wet_nights = (parsing.NO_RAIN,) if name == "precipitation" else ()
    assert remarked(weather) == (f"the forecast has no {name}", *wet_nights)


def test_all_missing_variables_are_named_at_once() -> None:
    remarks = remarked(read(body(cloud_cover=None, wind_speed_10m=None)))

    assert remarks == ("the forecast has no cloud_cover, wind_speed_10m",)


def test_without_temperatures_there_is_no_forecast() -> None:
    assert "has no temperatures" in refused(body(temperature_2m=None))
    assert "has no temperatures" in refused(body(temperature_2m=[None] * 216))
    assert "has no temperatures" in refused(body(temperature_2m=99.0))


# -- what is not known


def test_a_null_is_unknown_and_never_zero() -> None:
    weather = read(changed("temperature_2m", 5, None))

    assert math.isnan(weather.temp_c[5])
    assert np.isfinite(np.delete(weather.temp_c, 5)).all()


def test_an_hour_of_nulls_is_an_unknown_hour() -> None:
    made = body(hours=48)
    for name in USUAL:
        made["hourly"][name][7] = None

    weather = read(made)

    assert all(math.isnan(getattr(weather, name)[7]) for name in SERIES)
    assert weather.times.size == 48


def test_missing_rows_become_unknown_hours() -> None:
    made = body(hours=48)
    for values in made["hourly"].values():
        del values[10:14]

    weather = read(made)

    assert weather.times.size == 48
    assert np.flatnonzero(np.isnan(weather.temp_c)).tolist() == [10, 11, 12, 13]
    assert np.flatnonzero(np.isnan(weather.rain_mm)).tolist() == [10, 11, 12, 13]


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_literals_that_are_no_json_numbers_are_unknown(value: float) -> None:
    assert math.isnan(read(changed("temperature_2m", 3, value)).temp_c[3])


# -- impossible values


def test_a_thousand_miles_an_hour_are_ignored_and_named() -> None:
    """1,048 mph, once delivered by a weather service, is 468 m/s."""
    weather = read(changed("wind_speed_10m", 20, 468.5))

    assert math.isnan(weather.wind_m_s[20])
    assert remarked(weather) == (
        "wind_speed_10m of 468.5 m/s at 2026-05-13 20:00 UTC is impossible: ignored",
    )


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("temperature_2m", 61),
        ("temperature_2m", -91),
        ("relative_humidity_2m", 106),
        ("relative_humidity_2m", -1),
        ("dew_point_2m", 41),
        ("cloud_cover", 101),
        ("wind_speed_10m", -0.1),
        ("wind_gusts_10m", 121),
        ("precipitation", 401),
        ("direct_radiation", 1501),
        ("diffuse_radiation", -5),
        ("surface_pressure", 0),
    ],
)
def test_an_impossible_value_is_ignored_and_named(name: str, value: float) -> None:
    remarks = remarked(read(changed(name, 6, value)))

    assert len(remarks) == 1
    assert remarks[0].startswith(f"{name} of {value} ")
    assert remarks[0].endswith(" at 2026-05-13 06:00 UTC is impossible: ignored")


def test_many_impossible_values_are_counted_after_the_third() -> None:
    made = body(hours=48)
    made["hourly"]["wind_speed_10m"][10:20] = [999.0] * 10

    remarks = remarked(read(made))

    assert len(remarks) == 4
    assert remarks[-1] == "7 more impossible values of wind_speed_10m: ignored"


def test_a_dew_point_above_the_temperature_gives_way_to_the_humidity() -> None:
    weather = read(changed("dew_point_2m", 4, 20.0))

    assert weather.dew_point_c[4] == pytest.approx(3.8, abs=0.3)
    assert remarked(weather) == (
        "dew point above the temperature in 1 hour, first 2026-05-13 04:00 UTC: ignored",
    )


def test_a_dew_point_a_rounding_error_above_the_temperature_is_the_temperature() -> None:
    weather = read(changed("dew_point_2m", 4, 15.3))

    assert weather.dew_point_c[4] == 15.0
    assert weather.remarks == ()


def test_from_humidity_alone_follows_the_dew_point() -> None:
    weather = read(body(dew_point_2m=None, temperature_2m=20.0, relative_humidity_2m=50))

    # 9.27 °C: Magnus, Alduchov and Eskridge 1996.
    assert weather.dew_point_c[0] == pytest.approx(9.27, abs=0.05)
    assert remarked(weather) == ("the forecast has no dew_point_2m",)


def test_bone_dry_air_still_has_a_dew_point() -> None:
    weather = read(body(dew_point_2m=None, relative_humidity_2m=0))

    assert np.isfinite(weather.dew_point_c).all()


def test_without_humidity_and_dew_point_the_moisture_is_unknown() -> None:
    assert np.isnan(read(body(dew_point_2m=None, relative_humidity_2m=None)).dew_point_c).all()


@pytest.mark.parametrize(("cloud", "direct"), [(0, 80.0), (100, 0.0), (50, 40.0)])
def test_shortwave_radiation_alone_is_split_by_the_cloud(cloud: float, direct: float) -> None:
    made = body(
        direct_radiation=None, diffuse_radiation=None, shortwave_radiation=100.0, cloud_cover=cloud
    )

    weather = read(made)

    assert weather.direct_w_m2[0] == pytest.approx(direct)
    assert weather.direct_w_m2[0] + weather.diffuse_w_m2[0] == pytest.approx(100.0)
    assert weather.remarks == ()


# -- where and when


@pytest.mark.parametrize(
    ("latitude", "longitude"),
    [(-33.6, -68.85), (-32.89, -69.7), (32.89, -68.85), (-32.89, 68.85), (-32.89, 291.2)],
)
def test_another_place_is_refused_unless_it_is_the_same_on_the_globe(
    latitude: float, longitude: float
) -> None:
    made = body() | {"latitude": latitude, "longitude": longitude}

    if longitude > 180:
        assert read(made).times.size
    else:
        assert "is for another place" in refused(made)


def test_the_date_line_is_no_distance() -> None:
    taveuni = replace(SITE, latitude=-16.8, longitude=179.95)
    made = body() | {"latitude": -16.75, "longitude": -179.9}

    assert parse(dumped(made), taveuni, NOW).times.size
    with pytest.raises(SourceError, match="another place"):
        parse(dumped(made | {"longitude": -179.0}), taveuni, NOW)


def test_near_a_pole_longitude_hardly_matters() -> None:
    pole = replace(SITE, latitude=89.9, longitude=0.0)
    made = body() | {"latitude": 89.9, "longitude": 20.0}

    assert parse(dumped(made), pole, NOW).times.size


@pytest.mark.parametrize("value", [None, "32", True, [], {}])
@pytest.mark.parametrize("key", ["latitude", "longitude"])
def test_a_body_without_a_place_is_refused(key: str, value: object) -> None:
    assert "does not say for which place" in refused(body() | {key: value})


@pytest.mark.parametrize(
    "place", [{"latitude": math.nan}, {"longitude": math.nan}, {"longitude": math.inf}]
)
def test_nowhere_is_another_place(place: dict[str, float]) -> None:
    refused(body() | place)


@pytest.mark.parametrize("key", ["latitude", "longitude"])
def test_a_place_of_four_hundred_digits_is_refused(key: str) -> None:
    refused(body() | {key: 10**400})


def test_a_value_of_four_hundred_digits_is_refused_or_ignored() -> None:
    read(changed("temperature_2m", 3, 10**400))


def torn(times: Callable[[list[int]], list[Any]]) -> dict[str, Any]:
    made = body(hours=48)
    made["hourly"]["time"] = times(made["hourly"]["time"])
    return made


@pytest.mark.parametrize(
    ("times", "told"),
    [
        (lambda t: t[::-1], "full hours in order"),
        (lambda t: [*t[:5], t[4], *t[6:]], "full hours in order"),
        (lambda t: [second + 1800 for second in t], "full hours in order"),
        (lambda t: [*t[:5], t[5] + 1, *t[6:]], "full hours in order"),
        (lambda t: [str(second) for second in t], "has no list of times"),
        (lambda t: [float(second) for second in t], "has no list of times"),
        (lambda t: [None, *t[1:]], "has no list of times"),
        (lambda t: [True, *t[1:]], "has no list of times"),
        (lambda t: [], "has no list of times"),
        (lambda t: [-HOUR_S, *t[1:]], "has impossible times"),
        (lambda t: [*t[:-1], 10**400], "has no list of times"),
        (lambda t: [second * 1000 for second in t], "has impossible times"),
        (lambda t: [0, *t[1:]], "covers an impossible length of time"),
        (lambda t: t[:-1], "has another number of values"),
    ],
)
def test_torn_times_are_refused(times: Callable[[list[int]], list[Any]], told: str) -> None:
    assert told in refused(torn(times))


def test_times_in_words_are_refused() -> None:
    made = body()
    made["hourly_units"]["time"] = "iso8601"

    assert "does not give its times as unixtime" in refused(made)


# -- shapes


@pytest.mark.parametrize(
    ("values", "told"),
    [
        (["15.0"] * 48, 'has temperature_2m that are not numbers ("15.0")'),
        ([True] * 48, 'has temperature_2m that are not numbers ("True")'),
        ([[15.0]] * 48, "that are not numbers"),
        ([15.0] * 47, "another number of values for temperature_2m than of times"),
        ([15.0] * 49, "another number of values for temperature_2m than of times"),
        ({"a": 1}, "another number of values for temperature_2m than of times"),
        (15.0, "another number of values for temperature_2m than of times"),
        ("15.0", "another number of values for temperature_2m than of times"),
    ],
)
def test_values_of_another_kind_are_refused(values: object, told: str) -> None:
    made = body(hours=48)
    made["hourly"]["temperature_2m"] = values

    assert told in refused(made)


@pytest.mark.parametrize(
    ("raw", "told"),
    [
        (b"<!DOCTYPE html><title>502 Bad Gateway</title>", "is a web page, not a forecast"),
        (b"\r\n  <html><body>log in</body></html>", "is a web page, not a forecast"),
        (b"", "is not whole JSON"),
        (b"\xff\xfe\x00", "is not whole JSON"),
        (b"Something went wrong.", "is not whole JSON"),
        (dumped(body())[:-200], "is not whole JSON"),
        (dumped(body()) + b"Unexpected error while streaming data: timeout", "is not whole JSON"),
        (b"[" * 100_000, "is not whole JSON"),
        (b"9" * 5_000, "is not one forecast"),
        (b"null", "is not one forecast"),
        (b'"text"', "is not one forecast"),
        (b"17", "is not one forecast"),
        (b"[]", "is not one forecast"),
        (b"[5]", "is not one forecast"),
        (b"[{}, {}]", "is not one forecast"),
        (b"{}", "does not say for which place"),
    ],
)
def test_what_is_no_forecast_is_refused(raw: bytes, told: str) -> None:
    assert refused(raw) == f"Open-Meteo: the answer {told}" or told in refused(raw)


def test_an_error_is_told_with_its_reason() -> None:
    text = refused({"error": True, "reason": "Daily API request limit exceeded."})

    assert text == 'Open-Meteo: the answer is an error: "Daily API request limit exceeded."'
    assert "no reason given" in refused({"error": True})


def test_the_reason_of_an_error_is_cut_to_a_line() -> None:
    assert len(refused({"error": True, "reason": "x" * 5_000})) < 200


def test_a_list_of_one_is_that_one() -> None:
    assert read([body()]).times.size == 216


@pytest.mark.parametrize("key", ["hourly", "hourly_units"])
@pytest.mark.parametrize("value", [None, [], "x", 5])
def test_a_body_without_hours_is_refused(key: str, value: object) -> None:
    assert "has no hourly values" in refused(body() | {key: value})


# -- any body at all


LIKELY = ("undefined", "km/h", "°C", "m/s", "unixtime", 468.0, 10**12, HOUR_S)


@settings(
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow],
)
@given(data=st.data())
def test_a_body_with_anything_changed_is_weather_or_a_source_error(data: st.DataObject) -> None:
    made = changed_anywhere(data, body(hours=6, shortwave_radiation=140.0), *LIKELY)

    try:
        weather = read(made)
    except SourceError as error:
        told = str(error)
    else:
        told = "Open-Meteo: "
        assert np.isfinite(weather.temp_c).any()

    assert told.startswith("Open-Meteo: ")
    assert "\n" not in told


# -- the call

OTHER = Site("Far yard", -31.4, -64.2, 400.0, SITE.zone)


def test_the_query_asks_for_utc_unix_time_and_metres_a_second() -> None:
    query = OpenMeteo().query([SITE])
    params = query.params

    assert query.url == "https://api.open-meteo.com/v1/forecast"
    assert params["timezone"] == "GMT"
    assert params["timeformat"] == "unixtime"
    assert params["wind_speed_unit"] == "ms"
    assert (params["past_days"], params["forecast_days"]) == ("7", "8")
    assert (params["latitude"], params["longitude"]) == ("-32.8900", "-68.8500")
    assert params["elevation"] == "780"
    assert params["hourly"].split(",") == list(VARIABLES)
    assert "apikey" not in params


def test_several_sites_are_one_call() -> None:
    params = OpenMeteo().query([SITE, OTHER]).params

    assert params["latitude"] == "-32.8900,-31.4000"
    assert params["longitude"] == "-68.8500,-64.2000"
    assert params["elevation"] == "780,400"


def test_the_answer_for_several_sites_is_one_body_for_each() -> None:
    far = body(temperature_2m=9.0) | {"latitude": OTHER.latitude, "longitude": OTHER.longitude}
    together = dumped([body(), far])

    first, second = OpenMeteo().split(together, [SITE, OTHER])

    assert read(first).temp_c[0] == 15.0
    assert parse(second, OTHER, NOW).temp_c[0] == 9.0
    assert OpenMeteo().split(b"whatever it is", [SITE]) == [b"whatever it is"]


@pytest.mark.parametrize(
    "answer", [dumped(body()), b"[]", dumped([body()]), dumped([body()] * 3), b"7"]
)
def test_an_answer_for_another_number_of_sites_is_refused(answer: bytes) -> None:
    with pytest.raises(SourceError, match="is not a list of 2 forecasts"):
        OpenMeteo().split(answer, [SITE, OTHER])


def test_an_api_key_is_sent_to_the_host_for_those_who_have_one() -> None:
    client = OpenMeteo(api_key=SecretStr(KEY))
    query = client.query([SITE])

    assert query.params["apikey"] == KEY
    assert query.url == "https://customer-api.open-meteo.com/v1/forecast"
    assert KEY not in repr(client) + repr(query)


@pytest.mark.parametrize(
    ("base", "url"),
    [
        ("https://api.example", "https://api.example/v1/forecast"),
        ("https://api.example/", "https://api.example/v1/forecast"),
        ("http://own.example/v1/forecast", "http://own.example/v1/forecast"),
        ("http://own.example/meteo", "http://own.example/meteo/v1/forecast"),
    ],
)
def test_another_server_is_asked_in_the_same_way(base: str, url: str) -> None:
    with responses.RequestsMock() as mock:
        mock.get(url, body=dumped(body()))

        answer = fetch.ask(OpenMeteo(base).query([SITE]), source="Open-Meteo")

        (sent,) = [call.request for call in mock.calls]
    assert read(answer.body).fetched_at == NOW
    assert str(sent.headers["User-Agent"]).startswith("sillward/")
    assert parse_qs(urlsplit(str(sent.url)).query)["hourly"] == [",".join(VARIABLES)]


def refusal(status: int, reason: str, key: str = "") -> SourceError:
    said = dumped({"error": True, "reason": reason})
    client = OpenMeteo(api_key=SecretStr(key))
    with pytest.raises(SourceError) as caught:
        client.accept(Answer(status, {}, said), NOW)
    return caught.value


@pytest.mark.parametrize(
    ("reason", "least", "most"),
    [
        ("Minutely API request limit exceeded. Please try again in one minute.", 1, 60),
        ("Hourly API request limit exceeded. Please try again in the next hour.", 60, 60),
        # NOW is 20:00 UTC: the quota of the day is counted anew at midnight.
        ("Daily API request limit exceeded. Please try again tomorrow.", 240, 260),
        ("Too many concurrent requests", 1, 60),
        ("", 1, 60),
    ],
)
def test_a_quota_that_is_used_up_is_waited_for(reason: str, least: float, most: float) -> None:
    refused_ = refusal(429, reason)

    assert refused_.wait is not None
    assert timedelta(minutes=least) <= refused_.wait <= timedelta(minutes=most)
    assert not refused_.passing


def test_a_reason_is_passed_on_but_not_where_it_may_hold_our_key() -> None:
    assert 'answered 400: "Cannot find it"' in str(refusal(400, "Cannot find it"))
    assert str(refusal(400, f"{KEY} is no key", KEY)) == "Open-Meteo: answered 400"


def test_a_server_that_stumbles_is_asked_again_and_one_that_refuses_is_not() -> None:
    assert refusal(502, "").passing
    assert not refusal(400, "").passing


def test_the_clock_is_read_in_utc() -> None:
    made = body(start=datetime(2026, 1, 1, tzinfo=UTC), hours=3)

    assert read(made).times.tolist() == [1767225600, 1767229200, 1767232800]
    assert json.loads(dumped(made))["hourly"]["time"] == read(made).times.tolist()


def test_an_error_that_comes_with_200_does_not_repeat_the_key() -> None:
    body_ = dumped({"error": True, "reason": f"apikey={KEY} is used up"})

    with pytest.raises(SourceError) as told:
        OpenMeteo(api_key=SecretStr(KEY)).read(body_, SITE, NOW)
    assert str(told.value) == "Open-Meteo: the answer is an error"
    with pytest.raises(SourceError, match="is used up"):
        OpenMeteo().read(body_, SITE, NOW)
    with pytest.raises(SourceError) as of_members:
        Ensemble(api_key=SecretStr(KEY)).read(body_, SITE, np.empty(0))
    assert KEY not in str(of_members.value)
