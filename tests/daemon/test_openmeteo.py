"""The forecast client: what it asks for, what it reads, what it refuses, over which wires."""

import json
import math
import socket
import struct
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pytest
import requests
import responses
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import SecretStr

from sillward.errors import SourceError
from sillward.forecast import fetch
from sillward.forecast.openmeteo import VARIABLES, OpenMeteo, parse
from sillward_rules.weather import SERIES, Weather
from tests.daemon.bodies import HOUR_S, SITE, START, body, dumped

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
        ("dew_point_2m", ["°C"]),
    ],
)
def test_another_unit_than_asked_for_is_refused(name: str, unit: object) -> None:
    made = body()
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
    assert weather.remarks == ("the forecast has no wind_gusts_10m",)


@pytest.mark.parametrize(
    "name", [one for one in VARIABLES if one not in ("temperature_2m", "weather_code")]
)
def test_a_missing_variable_is_named(name: str) -> None:
    made = body()
    del made["hourly"][name], made["hourly_units"][name]

    weather = read(made)

    assert weather.remarks == (f"the forecast has no {name}",)


def test_all_missing_variables_are_named_at_once() -> None:
    remarks = read(body(cloud_cover=None, wind_speed_10m=None)).remarks

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
    for name in VARIABLES:
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
    assert weather.remarks == (
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
    remarks = read(changed(name, 6, value)).remarks

    assert len(remarks) == 1
    assert remarks[0].startswith(f"{name} of {value} ")
    assert remarks[0].endswith(" at 2026-05-13 06:00 UTC is impossible: ignored")


def test_many_impossible_values_are_counted_after_the_third() -> None:
    made = body(hours=48)
    made["hourly"]["wind_speed_10m"][10:20] = [999.0] * 10

    remarks = read(made).remarks

    assert len(remarks) == 4
    assert remarks[-1] == "7 more impossible values of wind_speed_10m: ignored"


def test_a_dew_point_above_the_temperature_gives_way_to_the_humidity() -> None:
    weather = read(changed("dew_point_2m", 4, 20.0))

    assert weather.dew_point_c[4] == pytest.approx(3.8, abs=0.3)
    assert weather.remarks == (
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
    assert weather.remarks == ("the forecast has no dew_point_2m",)


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
        (lambda t: [one + 1800 for one in t], "full hours in order"),
        (lambda t: [*t[:5], t[5] + 1, *t[6:]], "full hours in order"),
        (lambda t: [str(one) for one in t], "has no list of times"),
        (lambda t: [float(one) for one in t], "has no list of times"),
        (lambda t: [None, *t[1:]], "has no list of times"),
        (lambda t: [True, *t[1:]], "has no list of times"),
        (lambda t: [], "has no list of times"),
        (lambda t: [-HOUR_S, *t[1:]], "has impossible times"),
        (lambda t: [*t[:-1], 10**400], "has no list of times"),
        (lambda t: [one * 1000 for one in t], "has impossible times"),
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
        (["15.0"] * 48, 'has temperature_2m that are no numbers ("15.0")'),
        ([True] * 48, 'has temperature_2m that are no numbers ("True")'),
        ([[15.0]] * 48, "that are no numbers"),
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


def places_of(value: Any, at: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    if isinstance(value, dict):
        for key, one in value.items():
            yield from places_of(one, (*at, key))
    elif isinstance(value, list):
        for index, one in enumerate(value):
            yield from places_of(one, (*at, index))
    if at:
        yield at


junk = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**30), 10**30),
    st.floats(),
    st.text(st.characters(exclude_categories=["Cs"]), max_size=8),
    st.just([]),
    st.just({}),
    st.lists(st.none() | st.floats(), max_size=4),
    st.sampled_from(["undefined", "km/h", "°C", "m/s", "unixtime", 468.0, 10**12, HOUR_S]),
)
GONE = object()


@settings(
    max_examples=300,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow],
)
@given(data=st.data())
def test_a_body_with_anything_changed_is_weather_or_a_source_error(data: st.DataObject) -> None:
    made = body(hours=6, shortwave_radiation=140.0)
    for _ in range(data.draw(st.integers(1, 4))):
        *path, last = data.draw(st.sampled_from(list(places_of(made))))
        new = data.draw(junk | st.just(GONE))
        holder: Any = made
        for key in path:
            holder = holder[key]
        if new is GONE:
            del holder[last]
        else:
            holder[last] = new

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


def test_the_query_asks_for_utc_unix_time_and_metres_a_second() -> None:
    query = OpenMeteo().query(SITE)

    assert query["timezone"] == "GMT"
    assert query["timeformat"] == "unixtime"
    assert query["wind_speed_unit"] == "ms"
    assert (query["past_days"], query["forecast_days"]) == ("7", "8")
    assert (query["latitude"], query["longitude"]) == ("-32.8900", "-68.8500")
    assert query["elevation"] == "780"
    assert query["hourly"].split(",") == list(VARIABLES)
    assert "apikey" not in query


def test_an_api_key_is_sent_if_there_is_one() -> None:
    client = OpenMeteo(api_key=SecretStr(KEY))

    assert client.query(SITE)["apikey"] == KEY
    assert KEY not in repr(client)


@pytest.mark.parametrize(
    ("base", "url"),
    [
        ("https://api.example", "https://api.example/v1/forecast"),
        ("https://api.example/", "https://api.example/v1/forecast"),
        ("http://own.example/v1/forecast", "http://own.example/v1/forecast"),
        ("http://own.example/meteo", "http://own.example/meteo/v1/forecast"),
    ],
)
def test_one_call_fetches_everything(base: str, url: str) -> None:
    with responses.RequestsMock() as mock:
        mock.get(url, body=dumped(body()))

        forecast = OpenMeteo(base).fetch(SITE, NOW)

        assert len(mock.calls) == 1
        sent = mock.calls[0].request
    assert forecast.body == dumped(body())
    assert forecast.weather.fetched_at == NOW
    assert str(sent.headers["User-Agent"]).startswith("sillward/")
    assert parse_qs(urlsplit(str(sent.url)).query)["hourly"] == [",".join(VARIABLES)]


def failure() -> str:
    """The words of a fetch that fails; no secret is among them."""
    with pytest.raises(SourceError) as caught:
        OpenMeteo("http://own.example", SecretStr(KEY)).fetch(SITE, NOW)
    text = str(caught.value)
    assert KEY not in text
    assert "own.example" not in text
    assert caught.value.__cause__ is None
    return text


URL = "http://own.example/v1/forecast"


@pytest.mark.parametrize(
    ("status", "told", "calls"),
    [
        (400, "answered 400", 1),
        (401, "answered 401", 1),
        (403, "answered 403", 1),
        (404, "answered 404", 1),
        (429, "too many requests (429)", 1),
        (500, "answered 500", 3),
        (502, "answered 502", 3),
        (503, "answered 503", 3),
    ],
)
def test_a_status_is_told_and_only_a_broken_server_asked_again(
    status: int, told: str, calls: int
) -> None:
    with responses.RequestsMock() as mock:
        mock.get(URL, status=status, body=dumped({"error": True, "reason": KEY}))

        text = failure()

        assert len(mock.calls) == calls
    assert text == f"Open-Meteo: {told}", "a reason may repeat our key: with one, none is passed on"


def test_too_many_requests_with_a_retry_after_does_not_make_us_wait() -> None:
    with responses.RequestsMock() as mock:
        mock.get(URL, status=429, headers={"Retry-After": "3600"})

        assert failure() == "Open-Meteo: too many requests (429)"
        assert len(mock.calls) == 1


def test_a_server_that_recovers_is_believed() -> None:
    with responses.RequestsMock() as mock:
        mock.get(URL, status=502, body="<html>Bad Gateway</html>")
        mock.get(URL, body=dumped(body()))

        assert OpenMeteo("http://own.example").fetch(SITE, NOW).weather.times.size == 216


@pytest.mark.parametrize("status", [301, 302, 307, 308])
def test_a_redirect_to_a_login_page_is_not_followed(status: int) -> None:
    with responses.RequestsMock() as mock:
        mock.get(URL, status=status, headers={"Location": f"http://portal.example/?k={KEY}"})

        text = failure()

        assert len(mock.calls) == 1
    assert text == f"Open-Meteo: sends us elsewhere ({status}); a login page in between?"


def test_a_web_page_with_status_200_is_told_as_one() -> None:
    with responses.RequestsMock() as mock:
        mock.get(URL, body="<html><body>Welcome to the hotel</body></html>")

        assert failure() == "Open-Meteo: the answer is a web page, not a forecast"


@pytest.mark.parametrize(
    ("error", "told"),
    [
        (requests.exceptions.SSLError, "its certificate cannot be trusted"),
        (requests.exceptions.ConnectTimeout, "cannot be reached in time"),
        (requests.exceptions.ReadTimeout, "stopped answering"),
        (requests.exceptions.ChunkedEncodingError, "broke off in the middle of its answer"),
        (requests.exceptions.ContentDecodingError, "sent an answer that cannot be unpacked"),
        (requests.exceptions.ConnectionError, "cannot be reached"),
        (requests.exceptions.InvalidURL, "has no usable address"),
    ],
)
def test_a_failure_is_told_in_words_without_addresses(
    error: type[requests.RequestException], told: str
) -> None:
    with responses.RequestsMock() as mock:
        mock.get(URL, body=error(f"{URL}?apikey={KEY}"))

        assert failure() == f"Open-Meteo: {told}"


@pytest.mark.parametrize("base", ["http://[::1", "http://a b", "http://own.example:x", "http://."])
def test_an_address_that_is_none_is_a_source_error(base: str) -> None:
    with pytest.raises(SourceError, match="Open-Meteo: has no usable address"):
        OpenMeteo(base).fetch(SITE, NOW)


@pytest.mark.parametrize("host", ["own..example", "a" * 70 + ".example"])
def test_a_host_name_that_is_none_is_a_source_error(host: str) -> None:
    with pytest.raises(SourceError):
        OpenMeteo(f"http://{host}").fetch(SITE, NOW)


# -- a real server on loopback

Answer = Callable[[BaseHTTPRequestHandler], None]


@contextmanager
def serving(answer: Answer) -> Iterator[str]:
    """A server in a thread that answers every GET in this way; gives its address."""

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            answer(self)

        def log_message(self, format: str, *args: object) -> None:
            pass

    class Server(ThreadingHTTPServer):
        daemon_threads = False

        def handle_error(self, request: object, client_address: object) -> None:
            """A client that hangs up is what these tests are about."""

    server = Server(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}"
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


def answering(content: bytes, *, length: int | None = None, kind: str = "text/html") -> Answer:
    """Status 200 and this content, with a true or an untrue length."""

    def answer(handler: BaseHTTPRequestHandler) -> None:
        handler.send_response(200)
        handler.send_header("Content-Type", kind)
        handler.send_header("Content-Length", str(len(content) if length is None else length))
        handler.end_headers()
        handler.wfile.write(content)

    return answer


@pytest.fixture
def _at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Try again without a pause."""
    monkeypatch.setattr(fetch, "_RETRY", fetch._RETRY.new(backoff_factor=0, backoff_jitter=0))


def test_a_body_comes_over_a_real_wire() -> None:
    asked: list[str] = []

    def answer(handler: BaseHTTPRequestHandler) -> None:
        asked.append(handler.path)
        answering(dumped(body()))(handler)

    with serving(answer) as base:
        forecast = OpenMeteo(base, SecretStr(KEY)).fetch(SITE, NOW)

    assert forecast.weather.times.size == 216
    assert len(asked) == 1
    assert asked[0].startswith("/v1/forecast?latitude=-32.8900&")
    assert asked[0].endswith(f"apikey={KEY}")


def real_failure(answer: Answer) -> str:
    with serving(answer) as base, pytest.raises(SourceError) as caught:
        OpenMeteo(base, SecretStr(KEY)).fetch(SITE, NOW)
    assert KEY not in str(caught.value)
    assert "127.0.0.1" not in str(caught.value)
    return str(caught.value)


def test_a_login_page_over_a_real_wire() -> None:
    assert real_failure(answering(b"<html>log in</html>")).endswith("is a web page, not a forecast")


def test_a_body_shorter_than_announced_is_no_body() -> None:
    whole = dumped(body())

    text = real_failure(answering(whole[:3_000], length=len(whole)))

    assert text == "Open-Meteo: broke off in the middle of its answer"


def test_a_whole_forecast_shorter_than_announced_is_no_body_either() -> None:
    whole = dumped(body())

    assert "broke off" in real_failure(answering(whole, length=len(whole) + 1))


@pytest.mark.usefixtures("_at_once")
def test_a_connection_that_is_reset_is_tried_three_times() -> None:
    tries = []

    def reset(handler: BaseHTTPRequestHandler) -> None:
        tries.append(handler.path)
        # Linger for no time: the close becomes a reset.
        handler.connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        handler.connection.close()

    assert real_failure(reset) == "Open-Meteo: cannot be reached"
    assert len(tries) == 3


@pytest.mark.usefixtures("_at_once")
def test_a_server_that_is_not_there_cannot_be_reached() -> None:
    with serving(answering(b"")) as base:
        pass

    with pytest.raises(SourceError, match="Open-Meteo: cannot be reached"):
        OpenMeteo(base).fetch(SITE, NOW)


def test_a_body_over_the_cap_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fetch, "MOST_BYTES", 2_000_000)

    text = real_failure(answering(b" " * 2_100_000))

    assert text == "Open-Meteo: the answer is larger than 2 MB"


def test_a_body_that_cannot_be_unpacked_is_told() -> None:
    def answer(handler: BaseHTTPRequestHandler) -> None:
        handler.send_response(200)
        handler.send_header("Content-Encoding", "gzip")
        handler.send_header("Content-Length", "5")
        handler.end_headers()
        handler.wfile.write(b"plain")

    assert real_failure(answer) == "Open-Meteo: sent an answer that cannot be unpacked"


class Steps:
    """A monotonic clock that moves on by so many seconds at each look."""

    def __init__(self, step: float) -> None:
        self.now, self.step = 0.0, step

    def __call__(self) -> float:
        self.now += self.step
        return self.now


def drip(pieces: int, *, chunked: bool, sent: list[int], gone: threading.Event) -> Answer:
    """A kilobyte, then the next as soon as the last is out, until the client hangs up."""

    def answer(handler: BaseHTTPRequestHandler) -> None:
        handler.protocol_version = "HTTP/1.1"
        handler.send_response(200)
        if chunked:
            handler.send_header("Transfer-Encoding", "chunked")
        else:
            handler.send_header("Content-Length", str(1_000 * pieces))
        handler.end_headers()
        handler.close_connection = True
        for _ in range(pieces):
            piece = b" " * 1_000
            try:
                handler.wfile.write(b"3e8\r\n" + piece + b"\r\n" if chunked else piece)
            except OSError:
                return
            sent.append(1)
            if gone.wait(0.01):
                return

    return answer


def test_a_drip_in_chunks_is_given_up_at_the_deadline() -> None:
    sent: list[int] = []
    gone = threading.Event()
    with serving(drip(30, chunked=True, sent=sent, gone=gone)) as base:
        with pytest.raises(SourceError) as caught:
            fetch.get(base, {}, source="Open-Meteo", monotonic=Steps(15.0))
        gone.set()

    assert str(caught.value) == "Open-Meteo: no whole answer within 40 s"
    assert len(sent) < 30


def test_a_drip_of_known_length_is_given_up_at_the_deadline() -> None:
    """At one byte every nine seconds a read of 16 KiB takes 41 hours."""
    sent: list[int] = []
    gone = threading.Event()
    with serving(drip(15, chunked=False, sent=sent, gone=gone)) as base:
        with pytest.raises(SourceError, match="no whole answer within"):
            fetch.get(base, {}, source="Open-Meteo", monotonic=Steps(50.0))
        gone.set()

    assert len(sent) < 15


def test_the_clock_is_read_in_utc() -> None:
    made = body(start=datetime(2026, 1, 1, tzinfo=UTC), hours=3)

    assert read(made).times.tolist() == [1767225600, 1767229200, 1767232800]
    assert json.loads(dumped(made))["hourly"]["time"] == read(made).times.tolist()
