"""EPW files: their hours and zone, typical years, and what is missing in them."""

import sys
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pvlib
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sillward.archive.epw import LEAP_YEAR, TYPICAL_YEAR
from sillward.archive.epw import read as read_table
from sillward.forecast.parsing import Reading
from sillward_rules.weather.site import Site
from tests.daemon.archive.conftest import Read, Refused, check_read_or_refused
from tests.support.past_files import SITE, EpwHour, Hours, epw, epw_hours, hours

READER = Reading("past", "the file")
# The first hour of 2021 by Mendoza's standard time ends at 04:00 UTC.
YEAR = hours(365, datetime(2021, 1, 1, 4, tzinfo=UTC))
MANY_YEARS = (1990, 1987, 2003, 1996, 1990, 1999, 2001, 1985, 1994, 1992, 2000, 1998)


def is_same(found: np.ndarray, expected: np.ndarray) -> bool:
    return bool(np.allclose(found, expected, atol=1e-9, equal_nan=True))


def test_hours_end_at_their_time_by_the_local_standard_time(read: Read) -> None:
    past = read(epw(epw_hours(YEAR)))

    weather = past.weather
    assert weather.times.tolist() == YEAR.times.tolist()
    assert is_same(weather.temp_c, YEAR.series["temperature_2m"])
    assert is_same(weather.dew_point_c, YEAR.series["dew_point_2m"])
    assert is_same(weather.wind_m_s, YEAR.series["wind_speed_10m"])
    assert is_same(weather.cloud, YEAR.series["cloud_cover"] / 100)
    assert is_same(weather.rain_mm, YEAR.series["precipitation"])
    assert is_same(weather.direct_w_m2, YEAR.series["direct_radiation"])
    assert is_same(weather.diffuse_w_m2, YEAR.series["diffuse_radiation"])
    assert past.remarks == ("the file has no gusts",)
    assert weather.source == "EPW file"


def test_a_typical_year_is_one_year_without_gaps(read: Read) -> None:
    past = read(epw(epw_hours(YEAR, years=MANY_YEARS)))

    times = past.weather.times
    assert times.size == 8760
    first = datetime(TYPICAL_YEAR, 1, 1, 4, tzinfo=UTC)
    assert times[0] == first.timestamp()
    assert is_same(past.weather.temp_c, YEAR.series["temperature_2m"])
    assert past.remarks[0] == (
        "a typical year: its months are of 1985 to 2003, and are replayed as 2023"
    )


def test_a_typical_year_of_366_days_is_named(read: Read) -> None:
    leap = hours(366, datetime(2020, 1, 1, 4, tzinfo=UTC))

    past = read(epw(epw_hours(leap, years=MANY_YEARS)))

    assert past.weather.times.size == 366 * 24
    assert past.remarks[0] == (
        "a typical year, of 366 days: its months are of 1985 to 2003, and are replayed as 2024"
    )
    assert past.weather.times[0] == datetime(LEAP_YEAR, 1, 1, 4, tzinfo=UTC).timestamp()


def test_a_real_year_keeps_its_date_and_says_that_its_leap_day_is_missing(read: Read) -> None:
    leap = hours(366, datetime(2020, 1, 1, 4, tzinfo=UTC))
    short = [hour for hour in epw_hours(leap) if (hour.month, hour.day) != (2, 29)]

    assert read(epw(epw_hours(leap))).weather.times.tolist() == leap.times.tolist()
    assert "29 February 2020 is missing: the file leaves out the leap day" in (
        read(epw(short)).remarks
    )


def test_a_leap_day_in_another_year_is_refused(refused: Refused) -> None:
    leap = hours(366, datetime(2020, 1, 1, 4, tzinfo=UTC))

    assert refused(epw(epw_hours(leap, years=[2021] * 12))) == (
        "the file has a 29 February in 2021, a year of 365 days"
    )


def test_two_real_years_are_both_read(read: Read) -> None:
    two = hours(2 * 365, datetime(2021, 1, 1, 4, tzinfo=UTC))

    assert read(epw(epw_hours(two))).weather.times.tolist() == two.times.tolist()


def test_months_are_placed_in_one_year_although_some_are_missing(read: Read) -> None:
    typical = epw_hours(YEAR, years=MANY_YEARS)
    short = [hour for hour in typical if hour.month != 4]

    past = read(epw(short))

    assert "temperature is missing for 720 hours from 2023-04-01 04:00 UTC" in past.remarks


def test_codes_for_missing_are_unknown_and_not_numbers(read: Read) -> None:
    made = epw_hours(YEAR)
    for field, code in {
        "temp": 99.9,
        "dew": 99.9,
        "ghi": 9999,
        "dhi": 9999,
        "wind": 999,
        "sky": 99,
        "rain": 999,
    }.items():
        setattr(made[40], field, code)

    weather = read(epw(made)).weather

    for series in (
        weather.temp_c, weather.wind_m_s, weather.cloud, weather.rain_mm, weather.direct_w_m2,
        weather.diffuse_w_m2, weather.dew_point_c,
    ):  # fmt: skip
        assert np.flatnonzero(np.isnan(series)).tolist() == [40]


def test_a_sum_of_several_hours_of_rain_is_unknown(read: Read) -> None:
    made = epw_hours(YEAR)
    made[50].rain, made[50].rain_hours = 6.0, 6

    assert np.flatnonzero(np.isnan(read(epw(made)).weather.rain_mm)).tolist() == [50]


def test_a_file_of_the_other_hemisphere_is_refused(refused: Refused) -> None:
    assert refused(epw(epw_hours(YEAR), latitude=32.89)) == (
        "the file is of the other hemisphere: its latitude is 32.89, not -32.89"
    )


def test_a_file_of_another_place_is_refused(refused: Refused) -> None:
    assert refused(epw(epw_hours(YEAR), latitude=-34.6, longitude=-58.4)) == (
        "the file is for another place: -34.6, -58.4, not -32.89, -68.85"
    )


def test_another_height_is_named(read: Read) -> None:
    past = read(epw(epw_hours(YEAR), elevation=620.0))

    assert (
        "the file is for a height of 620 m, the site is at 780 m: nothing is corrected for that"
        in past.remarks
    )


def test_a_zone_that_the_sun_does_not_fit_is_named(read: Read) -> None:
    past = read(epw(epw_hours(YEAR), zone=3.0))

    assert any("is its zone right?" in text for text in past.remarks)


def test_several_values_an_hour_are_refused(refused: Refused) -> None:
    assert refused(epw(epw_hours(YEAR), per_hour=4)) == (
        "the file is an EPW file that has not one value an hour"
    )


def test_a_half_hour_zone_is_refused(refused: Refused) -> None:
    said = refused(epw(epw_hours(YEAR), zone=-3.5))

    assert said.startswith("the file has no full hours of UTC: its first is 2021-01-01 04:30 UTC")


def test_without_pvlib_it_says_how_to_install_it(
    refused: Refused, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "pvlib.iotools", None)

    assert refused(epw(epw_hours(YEAR))) == (
        "the file is an EPW file, for which pvlib is needed: pip install '.[epw]' in the checkout"
    )


# -- a real typical year


@pytest.fixture(scope="module")
def greensboro() -> pd.DataFrame:
    """The typical year of Greensboro, North Carolina: TMY3 723170 (National Renewable Energy
    Laboratory), which comes with pvlib.
    """
    path = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"
    return pvlib.iotools.read_tmy3(path, map_variables=True)[0]


def test_a_typical_year_of_a_real_station_comes_as_pvlib_reads_its_own_format(
    greensboro: pd.DataFrame, read: Read
) -> None:
    """TMY3 and EPW both give each hour at its end by standard time."""
    site = Site("Greensboro", 36.1, -79.95, 273.0, ZoneInfo("America/New_York"))
    made = []
    for _, row in greensboro.iterrows():
        month, day, year = map(int, row["Date (MM/DD/YYYY)"].split("/"))
        number = int(row["Time (HH:MM)"].split(":")[0])
        hour = EpwHour(year, month, day, number, row.temp_air, row.temp_dew)
        hour.humidity, hour.wind = row.relative_humidity, row.wind_speed
        hour.ghi, hour.dni, hour.dhi = row.ghi, row.dni, row.dhi
        made.append(hour)

    past = read(epw(made, latitude=36.1, longitude=-79.95, zone=-5, elevation=273), site)

    weather = past.weather
    assert (weather.times[0] - 5 * 3600) % 86400 == 3600
    assert is_same(weather.temp_c, greensboro.temp_air.to_numpy())
    assert is_same(
        weather.direct_w_m2 + weather.diffuse_w_m2,
        np.maximum(greensboro.ghi, greensboro.dhi).to_numpy(),
    )
    assert past.remarks[0].startswith("a typical year: its months are of 19")
    assert not any("cannot be right" in text or "zone" in text for text in past.remarks)


# -- any content


def few_days() -> Hours:
    return hours(3, datetime(2021, 1, 1, 4, tzinfo=UTC))


@settings(suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_a_file_with_anything_in_it_is_read_or_refused(data: st.DataObject) -> None:
    lines = epw(epw_hours(few_days())).splitlines()
    for _ in range(data.draw(st.integers(1, 4))):
        row = data.draw(st.integers(0, len(lines) - 1))
        cells = lines[row].split(",")
        cell = data.draw(st.integers(0, len(cells) - 1))
        cells[cell] = data.draw(
            st.one_of(
                st.text(st.characters(max_codepoint=255), max_size=8),
                st.sampled_from(["", "nan", "inf", "-1", "9" * 30, "2", "29", '"', "1e400"]),
            )
        )
        lines[row] = ",".join(cells[: data.draw(st.integers(1, len(cells)))])
    content = "\n".join(lines).encode("latin-1")
    check_read_or_refused(lambda: read_table(content, SITE, READER))
