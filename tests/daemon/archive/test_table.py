"""What is found in the hours of a file: gaps, missing nights, values that cannot be."""

from datetime import UTC, datetime

import numpy as np
import pytest

from sillward.archive import table as tables
from tests.daemon.archive.conftest import Read, Refused
from tests.support.past_files import Hours, body, dumped, hours, in_iso

ONE_MONTH = hours()
NO_GUSTS = "the file has no gusts"


def unknown(of: Hours, rows: slice | list[int], name: str = "temperature_2m") -> Hours:
    values = of.series[name].copy()
    values[rows] = np.nan
    return Hours(of.times, {**of.series, name: values})


def remarks(read: Read, of: Hours) -> tuple[str, ...]:
    found = read(dumped(body(of))).remarks
    assert NO_GUSTS in found
    return tuple(text for text in found if text != NO_GUSTS)


# -- gaps and nights


def test_a_gap_is_told_with_its_length_and_the_nights_that_it_takes(read: Read) -> None:
    """The cold mornings there end about 13:00 UTC, so that three nights are in the gap."""
    assert remarks(read, unknown(ONE_MONTH, slice(60, 120))) == (
        "temperature is missing for 60 hours from 2021-03-03 12:00 UTC",
        "3 of 29 nights are not wholly known, and are not judged",
    )


def test_hours_that_are_not_there_are_missing_like_unknown_ones(read: Read) -> None:
    mask = np.ones(ONE_MONTH.times.size, dtype=bool)
    mask[60:120] = False

    assert remarks(read, ONE_MONTH.rows(mask))[:1] == (
        "temperature is missing for 60 hours from 2021-03-03 12:00 UTC",
    )


def test_short_gaps_are_counted_and_cost_no_night(read: Read) -> None:
    assert remarks(read, unknown(ONE_MONTH, [30, 31, 78])) == (
        "temperature is missing for at most 2 hours 2 times: filled in between",
    )


def test_many_gaps_are_told_in_few_lines(read: Read) -> None:
    rows = [48 + 24 * day + hour for day in range(6) for hour in range(3)]

    assert remarks(read, unknown(ONE_MONTH, rows)) == (
        "temperature is missing for 3 hours from 2021-03-03 00:00 UTC",
        "temperature is missing for 3 hours from 2021-03-04 00:00 UTC",
        "temperature is missing for 3 hours from 2021-03-05 00:00 UTC",
        "temperature is missing in 3 more gaps, 9 hours in all",
        "6 of 29 nights are not wholly known, and are not judged",
    )


def test_gaps_of_other_series_take_one_line_each(read: Read) -> None:
    gaps = unknown(unknown(ONE_MONTH, slice(10, 15), "wind_speed_10m"), [99], "wind_speed_10m")

    assert remarks(read, gaps) == (
        "wind is missing in 6 more hours, for longest (5) from 2021-03-01 10:00 UTC",
    )


def test_a_leap_day_that_is_left_out_is_named(read: Read) -> None:
    february = hours(60, datetime(2020, 2, 1, tzinfo=UTC))
    local_day = np.floor((february.times - 3 * 3600) / 86400)
    leap_day = datetime(2020, 2, 29, tzinfo=UTC).timestamp() / 86400

    found = remarks(read, february.rows(local_day != leap_day))

    assert found[:1] == ("29 February 2020 is missing: the file leaves out the leap day",)


def test_a_leap_year_is_read_like_any_other(read: Read) -> None:
    leap_year = hours(366, datetime(2020, 1, 1, tzinfo=UTC))

    assert remarks(read, leap_year) == ()


def test_a_file_without_a_whole_night_is_refused(refused: Refused) -> None:
    by_day = np.flatnonzero((ONE_MONTH.times / 3600 - 4.6) % 24 > 18)
    no_night = "the file has no night that is wholly known"

    assert refused(dumped(body(unknown(ONE_MONTH, by_day.tolist())))) == no_night
    assert refused(dumped(body(hours(1)))) == no_night


def test_values_hours_apart_are_named(read: Read) -> None:
    every_third = ONE_MONTH.rows(np.arange(ONE_MONTH.times.size) % 3 == 0)

    found = remarks(read, every_third)

    assert found[0] == "the file has a value every 3 hours only: the lows in between are missed"
    assert "filled in between" in found[1]


# -- times


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ([0, 1, 2, 2, 3], "the file has an hour more than once: 2021-03-01 02:00 UTC"),
        (
            [0, 1, 2, 1, 2, 3],
            "the file has an hour more than once: 2021-03-01 01:00 UTC, and 1 more",
        ),
        (
            [0, 1, 3, 2, 4],
            "the file has times out of order: 2021-03-01 02:00 UTC comes after"
            " 2021-03-01 03:00 UTC",
        ),
    ],
)
def test_hours_twice_or_out_of_order_are_refused(
    refused: Refused, rows: list[int], said: str
) -> None:
    order = np.concatenate([rows, np.arange(5, ONE_MONTH.times.size)])

    assert refused(dumped(body(ONE_MONTH.rows(order)))) == said


def test_times_that_are_not_full_hours_are_refused(refused: Refused) -> None:
    made = body(ONE_MONTH)
    made["hourly"]["time"][7] += 600

    assert refused(dumped(made)) == (
        "the file has times that are not full hours, such as 2021-03-01 07:10 UTC"
    )


def test_an_impossible_length_is_refused(refused: Refused) -> None:
    made = body(hours(2, datetime(1950, 1, 1, tzinfo=UTC)))
    made["hourly"]["time"][-1] += 3600 * tables.MAX_HOURS

    assert refused(dumped(made)) == "the file covers an impossible length of time"


@pytest.mark.parametrize("second", [-(10**9), 2**33])
def test_times_that_cannot_be_are_refused(refused: Refused, second: int) -> None:
    made = body(ONE_MONTH)
    made["hourly"]["time"] = [second + 3600 * row for row in range(ONE_MONTH.times.size)]

    assert "times" in refused(dumped(made))


def test_times_before_1970_are_read(read: Read) -> None:
    of_1960 = hours(30, datetime(1960, 5, 1, tzinfo=UTC))

    assert read(dumped(in_iso(body(of_1960)))).weather.times.tolist() == of_1960.times.tolist()


# -- what cannot be


def test_a_course_that_cannot_be_is_named_with_its_year(read: Read) -> None:
    stuck = hours(800).only("temperature_2m", "cloud_cover", "precipitation", "wind_speed_10m")
    stuck.series["temperature_2m"][100:150] = 11.1

    found = read(dumped(body(stuck))).remarks

    assert found[-1] == (
        "2021-03-01 to 2022-03-01 cannot be right: it says 11.1 °C for 50 hours on end"
    )


def test_a_few_hours_out_of_season_are_named(read: Read) -> None:
    hot = hours(800, datetime(2021, 7, 1, tzinfo=UTC))
    hot.series["temperature_2m"][98:106] = [35, 45, 58, 59, 59, 45, 30, 20]

    (found,) = [text for text in remarks(read, hot) if "cannot be right" in text]

    assert "it says 59.0 °C, but here this season brings at most" in found


def test_moisture_that_cannot_be_is_named(read: Read) -> None:
    dry = dict(ONE_MONTH.series)
    dry["relative_humidity_2m"] = np.full(ONE_MONTH.times.shape, 99.0)

    (found,) = remarks(read, Hours(ONE_MONTH.times, dry))

    assert found.startswith("cannot be right: its humidity is 99 % where its temperature and dew")


def test_a_sun_that_is_highest_in_the_evening_is_named(read: Read) -> None:
    late = dict(ONE_MONTH.series)
    for name in ("direct_radiation", "diffuse_radiation"):
        late[name] = np.roll(late[name], 4)

    assert remarks(read, Hours(ONE_MONTH.times, late)) == (
        "its sunlight has its middle 4.0 hours after the sun's noon here: is its zone right?",
    )


def test_a_year_without_rain_is_named(read: Read) -> None:
    year = hours(365)
    year.series["precipitation"][:] = 0.0

    assert remarks(read, year) == (
        "there is no rain in the whole file: perhaps it was not recorded",
    )


def test_without_sunlight_it_is_estimated_from_cloud(read: Read) -> None:
    dark = ONE_MONTH.only("temperature_2m", "dew_point_2m", "cloud_cover", "precipitation")
    past = read(dumped(body(dark)))

    light = past.weather.direct_w_m2 + past.weather.diffuse_w_m2
    assert np.isfinite(light).all()
    assert 300 < light.max() < 1200
    assert past.remarks == (
        "the file has no wind, gusts",
        "sunlight is estimated from cloud",
    )


def test_without_cloud_nothing_is_known_of_sunlight(read: Read) -> None:
    past = read(dumped(body(ONE_MONTH.only("temperature_2m"))))

    assert np.isnan(past.weather.direct_w_m2).all()
    assert past.remarks[0] == "the file has no humidity, wind, gusts, cloud, rain"
    assert past.remarks[-1] == "nothing is known of sunlight: without cloud it is not estimated"
