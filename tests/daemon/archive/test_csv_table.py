"""CSV files: heads, units, zones, dates and numbers as people write them, and what stays open."""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sillward.archive.csv_table import read as read_table
from sillward.archive.table import past_weather
from sillward.forecast.parsing import NO_RAIN, Reading
from sillward_rules.arrays import Array
from sillward_rules.physics import air
from sillward_rules.weather.hourly import Weather
from tests.daemon.archive.conftest import Read, Refused, check_read_or_refused
from tests.support.past_files import SITE, START, Hours, hours, iso, table

READER = Reading("past", "the file")
MADRID = replace(SITE, name="Patio", latitude=40.4, longitude=-3.7, zone=ZoneInfo("Europe/Madrid"))
ONE_MONTH = hours()
NAMED = {
    "temperature_2m": "temperature",
    "dew_point_2m": "dew_point",
    "wind_speed_10m": "wind (m/s)",
    "cloud_cover": "cloud",
    "precipitation": "rain",
    "direct_radiation": "direct_radiation",
    "diffuse_radiation": "diffuse_radiation",
}
NO_PLACE = "the file does not say for which place it is"


def equals(weather: Weather, of: Hours, tolerance: float = 1e-9) -> bool:
    found = {
        "temperature_2m": weather.temp_c,
        "dew_point_2m": weather.dew_point_c,
        "wind_speed_10m": weather.wind_m_s,
        "cloud_cover": weather.cloud * 100,
        "precipitation": weather.rain_mm,
    }
    return weather.times.tolist() == of.times.tolist() and all(
        np.allclose(found[name], values, atol=tolerance, equal_nan=True)
        for name, values in of.series.items()
        if name in found
    )


def temperatures(
    times: list[str], head: str = "time (UTC)", of: Callable[[int], float] = lambda row: row % 7.0
) -> str:
    """A file with nothing but these times and some temperatures."""
    rows = [f"{time},{12 + of(row):.1f}" for row, time in enumerate(times)]
    return "\n".join([f"{head},temperature", *rows]) + "\n"


# -- heads and units


def test_plain_names_have_their_usual_units(read: Read) -> None:
    past = read(table(ONE_MONTH, NAMED))

    assert equals(past.weather, ONE_MONTH)
    assert past.remarks == (NO_PLACE, "the file has no gusts")
    assert past.weather.source == "CSV file"


def test_the_names_of_the_forecast_api_are_known(read: Read) -> None:
    heads = {name: name for name in NAMED} | {"wind_speed_10m": "wind_speed_10m (m/s)"}

    assert equals(read(table(ONE_MONTH, heads)).weather, ONE_MONTH)


@pytest.mark.parametrize(
    ("head", "name", "from_read"),
    [
        ("temp_f", "temperature_2m", lambda values: values * 1.8 + 32),
        ("Temp, °F (LGR S/N: 1, SEN S/N: 2)", "temperature_2m", lambda values: values * 1.8 + 32),
        ("Temperature [K]", "temperature_2m", lambda values: values + 273.15),
        ("temperature_c", "temperature_2m", lambda values: values),
        ("Wind speed (km/h)", "wind_speed_10m", lambda values: values * 3.6),
        ("wind_mph", "wind_speed_10m", lambda values: values / 0.44704),
        ("windspeed (kn)", "wind_speed_10m", lambda values: values * 3600 / 1852),
        ("wind_m_s", "wind_speed_10m", lambda values: values),
        ("cloud (0..1)", "cloud_cover", lambda values: values / 100),
        ("cloud (oktas)", "cloud_cover", lambda values: values / 12.5),
        ("rain (inch)", "precipitation", lambda values: values / 25.4),
        ("precipitation_mm", "precipitation", lambda values: values),
    ],
)
def test_units_in_heads_are_converted(
    read: Read, head: str, name: str, from_read: Callable[[Array], Array]
) -> None:
    units = {
        "temperature_2m": "temperature (°C)",
        "wind_speed_10m": "wind (m/s)",
        "precipitation": "rain (mm)",
        "cloud_cover": "cloud (%)",
    }
    given_hours = Hours(
        ONE_MONTH.times, {**ONE_MONTH.series, name: from_read(ONE_MONTH.series[name])}
    )
    quoted = f'"{head}"' if "," in head else head

    past = read(table(given_hours, units | {name: quoted}))

    # cells have one decimal, which may be worth more in another unit
    assert equals(past.weather, ONE_MONTH.only(*units), tolerance=5.1)
    assert abs(past.weather.temp_c - ONE_MONTH.series["temperature_2m"]).max() < 0.06


def test_humidity_takes_the_place_of_a_dew_point(read: Read) -> None:
    temp = ONE_MONTH.series["temperature_2m"]
    vapour = air.saturation_vapour_pressure(ONE_MONTH.series["dew_point_2m"])
    humid = Hours(
        ONE_MONTH.times,
        {"temperature_2m": temp, "relative_humidity_2m": air.relative_humidity(temp, vapour)},
    )

    weather = read(
        table(humid, {"temperature_2m": "temp", "relative_humidity_2m": "RH (%)"})
    ).weather

    assert np.allclose(weather.dew_point_c, ONE_MONTH.series["dew_point_2m"], atol=0.1)


def test_what_is_not_read_is_named(read: Read) -> None:
    content = table(ONE_MONTH, NAMED | {"cloud_cover": "clouds", "precipitation": "Battery"})

    past = read(content)

    assert past.remarks[:2] == ("columns that are not used: Battery", NO_PLACE)
    assert NO_RAIN in past.remarks


def test_precipitation_counts_before_rain(read: Read) -> None:
    heads = {
        "temperature_2m": "temperature",
        "cloud_cover": "rain",
        "precipitation": "precipitation",
    }

    past = read(table(ONE_MONTH, heads))

    assert past.weather.rain_mm.max() == 0.4
    assert "columns that are not used: rain" in past.remarks


def test_two_columns_of_the_same_are_refused(refused: Refused) -> None:
    heads = {"temperature_2m": "temp", "dew_point_2m": "air_temperature"}

    assert refused(table(ONE_MONTH, heads)) == (
        'the file has two columns of the same: "temp" and "air_temperature"'
    )


@pytest.mark.parametrize(
    ("heads", "factor", "said"),
    [
        (
            {"wind_speed_10m": "wind"},
            1.0,
            'the file does not say the unit of "wind": its highest value may be 4.5 m/s or'
            ' 4.5 km/h; write the unit in the head, such as "wind (m/s)"',
        ),
        (
            {"cloud_cover": "cloud"},
            0.1,
            'the file does not say the unit of "cloud": its highest value may be 9.9 % or 9.9'
            ' eighths, tenths or a share; write the unit in the head, such as "cloud (%)"',
        ),
        (
            {"precipitation": "rain", "wind_speed_10m": "wind (mph)"},
            1.0,
            'the file does not say the unit of "rain": its highest value may be 0.4 mm or 0.4'
            ' inches; write the unit in the head, such as "rain (mm)"',
        ),
    ],
)
def test_a_unit_that_may_be_another_is_refused_with_both(
    refused: Refused, heads: dict[str, str], factor: float, said: str
) -> None:
    series = {name: values * factor for name, values in ONE_MONTH.series.items()}
    content = table(Hours(ONE_MONTH.times, series), {"temperature_2m": "temperature (°C)"} | heads)

    assert refused(content) == said


def test_no_cloud_at_all_needs_no_unit(read: Read) -> None:
    clear = Hours(ONE_MONTH.times, {**ONE_MONTH.series, "cloud_cover": 0.0 * ONE_MONTH.times})

    assert not read(table(clear, NAMED)).weather.cloud.any()


@pytest.mark.parametrize("warmer_k", [0.0, 15.0])
def test_fahrenheit_without_its_unit_is_refused(refused: Refused, warmer_k: float) -> None:
    """Of an autumn that brings 6 to 25 °C, and of a hot one: 43 to 77 and 70 to 104 °F."""
    warm = Hours(
        ONE_MONTH.times,
        {"temperature_2m": (ONE_MONTH.series["temperature_2m"] + warmer_k) * 1.8 + 32},
    )

    said = refused(table(warm, {"temperature_2m": "temperature"}))

    assert said.startswith('the file does not say the unit of "temperature": its highest value may')
    assert " °F; " in said


def test_celsius_that_is_fahrenheit_is_refused(refused: Refused) -> None:
    warm = Hours(ONE_MONTH.times, {"temperature_2m": ONE_MONTH.series["temperature_2m"] * 1.8 + 32})

    said = refused(table(warm, {"temperature_2m": "temperature (°C)"}))

    assert said.startswith("the file does not fit this place: it says nights no cooler than ")
    assert said.endswith("is its unit right, is it of this half of the world, and are its dates?")


# -- times


def test_a_time_without_zone_is_refused_with_both_readings(refused: Refused) -> None:
    assert refused(table(ONE_MONTH, NAMED, time_head="time")) == (
        'the file does not say its zone: "2021-03-01T00:00" may be by the clocks of'
        " America/Argentina/Mendoza, or UTC, when these showed 2021-02-28 21:00: write"
        ' "time (UTC)", "time (local)" or "time (UTC+02:00)" in the head'
    )


@pytest.mark.parametrize(
    ("head", "zone"),
    [
        ("time (UTC)", UTC),
        ("time_utc", UTC),
        ("time (local)", SITE.zone),
        ("local_time", SITE.zone),
        ('"Date Time, GMT+02:00"', timezone(timedelta(hours=2))),
        ("timestamp (UTC-3)", timezone(timedelta(hours=-3))),
        ("time (America/Argentina/Mendoza)", SITE.zone),
    ],
)
def test_a_zone_in_the_head_holds(read: Read, head: str, zone: timezone) -> None:
    past = read(table(ONE_MONTH, NAMED, time_head=head, zone=zone))

    assert past.weather.times.tolist() == ONE_MONTH.times.tolist()


@pytest.mark.parametrize(
    "written",
    [
        lambda at: at.isoformat(),
        lambda at: f"{at:%Y-%m-%d %H:%M:%S}Z",
        lambda at: f"{at:%Y/%m/%d %H:%M} +0000",
        lambda at: f"{at:%d.%m.%Y %H:%M} UTC",
        lambda at: f"{at:%m/%d/%Y %I:%M %p} +00:00",
        lambda at: f"{at:%Y-%m-%dT%H:%M:%S.000}+00",
    ],
)
def test_times_with_their_offset(read: Read, written: Callable[[datetime], str]) -> None:
    past = read(table(ONE_MONTH, NAMED, time_head="time", written=written))

    assert past.weather.times.tolist() == ONE_MONTH.times.tolist()


def test_unix_seconds_that_are_called_so(read: Read, refused: Refused) -> None:
    def unix(at: datetime) -> str:
        return str(int(at.timestamp()))

    past = read(table(ONE_MONTH, NAMED, time_head="time (unix)", written=unix))

    assert past.weather.times.tolist() == ONE_MONTH.times.tolist()
    assert refused(table(ONE_MONTH, NAMED, time_head="time", written=unix)) == (
        'the file has "1614556800" in line 2, which is not a time: for unix seconds write'
        ' "time (unix)" in the head'
    )


def test_a_date_and_an_hour_in_two_columns(read: Read) -> None:
    content = table(
        ONE_MONTH, NAMED, time_head="date;hour (UTC)", written=lambda at: f"{at:%Y-%m-%d;%H}",
        delimiter=";",
    )  # fmt: skip

    assert read(content).weather.times.tolist() == ONE_MONTH.times.tolist()


def test_days_without_hours_are_refused(refused: Refused) -> None:
    days = [f"2021-03-{day:02d}" for day in range(1, 31)]

    assert refused(temperatures(days, "date (UTC)")) == ("the file has dates without hours")
    assert refused(temperatures([f"{day} 00:00" for day in days])) == (
        "the file has one value a day; only hourly values can be replayed"
    )


@pytest.mark.parametrize("style", ["%d/%m/%Y %H:%M", "%m/%d/%Y %H:%M", "%d.%m.%Y %H:%M"])
def test_the_order_of_day_and_month_follows_from_all_dates(read: Read, style: str) -> None:
    past = read(table(ONE_MONTH, NAMED, written=lambda at: at.strftime(style)))

    assert past.weather.times.tolist() == ONE_MONTH.times.tolist()


def test_an_order_that_stays_open_is_refused_with_both_readings(refused: Refused) -> None:
    ten_days = hours(10, datetime(2021, 3, 2, tzinfo=UTC))

    said = refused(table(ten_days, NAMED, written=lambda at: f"{at:%d/%m/%Y %H:%M}"))

    assert said == (
        'the file has dates such as "02/03/2021", which may be 2 March 2021 or 3 February 2021:'
        " write them as 2024-05-14"
    )


def test_two_orders_and_short_years_are_refused(refused: Refused) -> None:
    times = [f"{START + timedelta(hours=hour):%d/%m/%Y %H:%M}" for hour in range(400)]

    assert refused(temperatures([*times, "03/18/2021 00:00"])) == (
        "the file has dates with the day first and others with the month first"
    )
    assert "the year may be 21 or 08" in refused(temperatures(["21.04.08 00:00"] * 3))


def test_from_new_to_old_is_turned_around(read: Read) -> None:
    head, *lines = table(ONE_MONTH, NAMED).splitlines()

    past = read("\n".join([head, *reversed(lines)]))

    assert equals(past.weather, ONE_MONTH)


# -- local time where clocks change


def european(first: datetime, days: int = 4) -> Hours:
    return hours(days, first)


@pytest.mark.parametrize("backwards", [False, True])
@pytest.mark.parametrize(
    "first", [datetime(2021, 3, 26, tzinfo=UTC), datetime(2021, 10, 29, tzinfo=UTC)]
)
def test_local_hours_over_a_change_of_clocks(read: Read, first: datetime, backwards: bool) -> None:
    content = table(
        european(first), {"temperature_2m": "temp"}, time_head="time (local)", zone=MADRID.zone
    )
    if backwards:
        head, *lines = content.splitlines()
        content = "\n".join([head, *reversed(lines)])

    assert read(content, MADRID).weather.times.tolist() == european(first).times.tolist()


def test_an_hour_that_is_shown_twice_and_there_once_is_refused(refused: Refused) -> None:
    autumn = european(datetime(2021, 10, 29, tzinfo=UTC))
    head, *lines = table(
        autumn, {"temperature_2m": "temp"}, time_head="time (local)", zone=MADRID.zone
    ).splitlines()
    lines.remove(next(line for line in lines if line.startswith("2021-10-31T02:00")))

    assert refused("\n".join([head, *lines]), MADRID) == (
        "the file has 2021-10-31 02:00 once, which clocks of Europe/Madrid show twice: it may be"
        " 2021-10-31 00:00 UTC or 2021-10-31 01:00 UTC. Is it standard time all year? Then write"
        ' its offset in the head, such as "time (UTC+01:00)"'
    )


def test_an_hour_that_clocks_skip_is_refused(refused: Refused) -> None:
    spring = european(datetime(2021, 3, 26, tzinfo=UTC))
    content = table(
        spring,
        {"temperature_2m": "temp"},
        time_head="time (local)",
        zone=timezone(timedelta(hours=1)),
    )

    said = refused(content, MADRID)

    assert said.startswith("the file has 2021-03-28 02:00, which clocks of Europe/Madrid skip")


# -- numbers and lines


def test_semicolons_decimal_commas_and_a_byte_order_mark(read: Read) -> None:
    content = table(ONE_MONTH, NAMED, delimiter=";", comma=True)

    assert equals(read(b"\xef\xbb\xbf" + content.encode()).weather, ONE_MONTH)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "cp1252"])
def test_encodings(read: Read, encoding: str) -> None:
    content = table(ONE_MONTH, NAMED | {"temperature_2m": "Temperature (°C)"})

    assert equals(read(content.encode(encoding)).weather, ONE_MONTH)


def test_a_comma_that_may_be_of_thousands_is_refused(refused: Refused) -> None:
    lines = [f"{iso(at)};{12 + at.hour % 7},125" for at in ONE_MONTH.moments]

    assert refused("\n".join(["time (UTC);temp", *lines])) == (
        'the file has "12,125", which may be 12.125 or 12125'
    )


def test_points_and_commas_together_are_refused(refused: Refused) -> None:
    lines = [f"{iso(at)};12,5;0.2" for at in ONE_MONTH.moments]

    assert refused("\n".join(["time (UTC);temp;rain", *lines])) == (
        'the file has numbers with a point and others with a comma ("12,5")'
    )


@pytest.mark.parametrize("missing", ["", "NA", "NaN", "null", "--", " "])
def test_missing_values_are_unknown(read: Read, missing: str) -> None:
    content = table(ONE_MONTH, NAMED).splitlines()
    content[30] = content[30].split(",")[0] + ("," + missing) * len(NAMED)

    past = read("\n".join(content))

    assert np.flatnonzero(np.isnan(past.weather.temp_c)).tolist() == [29]
    assert np.isnan(past.weather.rain_mm).sum() == 1


@pytest.mark.parametrize("cell", ["warm", "1_0", "٣", "12 °C", "0x10", "inf", "1e", "."])
def test_what_is_no_number_is_refused_with_its_line(refused: Refused, cell: str) -> None:
    content = table(ONE_MONTH, NAMED).replace("2021-03-01T05:00,", f"2021-03-01T05:00,{cell}")
    line = content.splitlines()[6].split(",")
    content = content.replace(",".join(line), ",".join([line[0], cell, *line[2:]]))

    assert refused(content) == f'the file has "{cell}" as "temperature" in line 7: no number'


def test_a_line_that_is_too_short_is_refused(refused: Refused) -> None:
    content = table(ONE_MONTH, NAMED) + "2021-03-31T00:00,12.0\n"

    assert refused(content) == "the file has 2 cells in line 722, 8 are needed"


def test_lines_of_a_logger_before_the_heads(read: Read) -> None:
    content = '"Plot Title: patio"\n\n' + table(ONE_MONTH, NAMED)

    assert equals(read(content).weather, ONE_MONTH)


# -- Open-Meteo's own CSV

PLACE = "latitude,longitude,elevation,utc_offset_seconds,timezone,timezone_abbreviation\n"


def test_the_csv_of_open_meteo_tells_place_zone_and_units(read: Read) -> None:
    heads = {
        "temperature_2m": "temperature_2m (°C)",
        "wind_speed_10m": "wind_speed_10m (km/h)",
        "cloud_cover": "cloud_cover (%)",
    }
    fast = Hours(
        ONE_MONTH.times,
        {**ONE_MONTH.series, "wind_speed_10m": ONE_MONTH.series["wind_speed_10m"] * 3.6},
    )
    zone = timezone(timedelta(hours=-3))
    place = PLACE + "-32.9,-68.8,620.0,-10800,America/Argentina/Mendoza,GMT-3\n\n"
    daily = "\ntime,temperature_2m_max (°C)\n2021-03-01,25.0\n"

    past = read(place + table(fast, heads, time_head="time", zone=zone) + daily)

    assert equals(past.weather, ONE_MONTH.only("temperature_2m", "cloud_cover"))
    assert np.allclose(past.weather.wind_m_s, ONE_MONTH.series["wind_speed_10m"], atol=0.05)
    assert past.remarks[:2] == (
        "a second table begins in line 726: it is not read",
        "wind_speed_10m (km/h): converted to m/s",
    )
    assert (
        "the file is for a height of 620 m, the site is at 780 m: nothing is corrected for that"
        in past.remarks
    )


def test_the_csv_of_another_place_is_refused(refused: Refused) -> None:
    place = PLACE + "52.5,13.4,38.0,0,GMT,GMT\n\n"

    assert refused(place + table(ONE_MONTH, NAMED, time_head="time")) == (
        "the file is for another place: 52.5, 13.4, not -32.89, -68.85"
    )


def test_the_csv_of_previous_runs(read: Read) -> None:
    runs = Hours(
        ONE_MONTH.times,
        {
            **ONE_MONTH.series,
            "temperature_2m_previous_day2": ONE_MONTH.series["temperature_2m"] + 1,
        },
    )
    heads = {name: f"{name} (°C)" for name in ("temperature_2m", "temperature_2m_previous_day2")}

    past = read(table(runs, heads))

    assert list(past.by_lead_day) == [2]
    assert np.allclose(past.by_lead_day[2].temp_c, past.weather.temp_c + 1)


# -- any content


@st.composite
def layouts(draw: st.DrawFn) -> tuple[str, Hours]:
    """A file in any of the layouts that are known, and the hours that it holds."""
    of = hours(draw(st.integers(14, 20)), START + timedelta(days=draw(st.integers(0, 700))))
    values = draw(
        st.lists(
            st.one_of(st.just(np.nan), st.integers(-50, 350).map(lambda tenths: tenths / 10)),
            min_size=5,
            max_size=5,
        )
    )
    temp = of.series["temperature_2m"].copy()
    temp[20:120:20] = values
    given_hours = Hours(
        of.times, {"temperature_2m": temp, "wind_speed_10m": of.series["wind_speed_10m"]}
    )
    delimiter = draw(st.sampled_from([",", ";", "\t"]))
    head, zone = draw(
        st.sampled_from(
            [
                ("time (UTC)", UTC),
                ("datetime (local)", SITE.zone),
                ("Date Time (GMT+05:00)", timezone(timedelta(hours=5))),
            ]
        )
    )
    style = draw(st.sampled_from(["%Y-%m-%d %H:%M", "%d.%m.%Y %H:%M:%S", "%m/%d/%Y %I:%M %p"]))
    content = table(
        given_hours,
        {"temperature_2m": "Temp [°C]", "wind_speed_10m": "wind_m_s"},
        time_head=head,
        zone=zone,
        written=lambda at: at.strftime(style),
        delimiter=delimiter,
        comma=draw(st.booleans()) and delimiter != ",",
    )
    return content, given_hours


@settings(max_examples=40, suppress_health_check=[HealthCheck.too_slow])
@given(layouts())
def test_every_layout_comes_back_as_it_was(made: tuple[str, Hours]) -> None:
    content, of = made

    past = past_weather(read_table(content.encode(), SITE, READER), SITE, READER)

    assert past.weather.times.tolist() == of.times.tolist()
    assert np.allclose(past.weather.temp_c, of.series["temperature_2m"], equal_nan=True)
    assert np.allclose(past.weather.wind_m_s, of.series["wind_speed_10m"])


@settings(suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_a_file_with_anything_in_it_is_read_or_refused(data: st.DataObject) -> None:
    lines = table(hours(3), NAMED).splitlines()
    junk = st.one_of(
        st.text(max_size=12),
        st.sampled_from(
            ["", '"', ";" * 9, "time,temperature", "9999-12-31T23:00,1", "0001-01-01T00:00,1,2,3"]
        ),
    )
    for _ in range(data.draw(st.integers(1, 4))):
        row = data.draw(st.integers(0, len(lines) - 1))
        cells = lines[row].split(",")
        cell = data.draw(st.integers(0, len(cells) - 1))
        cells[cell] = data.draw(junk)
        lines[row] = data.draw(st.sampled_from([",".join(cells), data.draw(junk)]))
    content = "\n".join(lines).encode("utf-8", "surrogatepass")
    check_read_or_refused(lambda: read_table(content, SITE, READER))
