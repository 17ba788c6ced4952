"""The nowcast: which readings it believes, and how far off it is where it was not made."""

from collections.abc import Iterator
from datetime import date, datetime, timedelta

import numpy as np
import pandas as pd
import pytest

from sillward_rules.arrays import Array
from sillward_rules.readings.hourly_readings import HourlyReadings, by_the_hour
from sillward_rules.readings.nowcast import nowcast
from sillward_rules.weather import sun
from sillward_rules.weather.night_course import NightCourse
from sillward_rules.weather.site import Site
from tests.support import airport
from tests.support.core import MENDOZA
from tests.support.night_pairs import AIRPORT_PAIRS, HESSE, evening_rule, without_spikes

NIGHT = sun.night_of(MENDOZA, date(2026, 5, 13))
SUNSET = NIGHT.start.timestamp()
TIMES = np.arange(SUNSET // 3600 * 3600 - 86400, SUNSET + 86400, 3600)
AIR = np.full(TIMES.shape, 15.0)


def every(minutes: int, until: datetime, read_c: float, since_h: float = 0.2) -> HourlyReadings:
    """A sensor that shows the same from shortly after sunset on, or from before it."""
    at = np.arange(SUNSET + since_h * 3600, until.timestamp() + 1, minutes * 60)
    return by_the_hour(at, np.full(at.shape, read_c))


def told(now: datetime, **sensors: HourlyReadings) -> NightCourse | None:
    return nowcast(MENDOZA, sensors, TIMES, AIR, now)


def after_sunset(hours: float) -> datetime:
    return NIGHT.start + timedelta(hours=hours)


def test_a_colder_night_decays_towards_the_forecast_and_gets_less_sure() -> None:
    now = after_sunset(3)
    course = told(now, a=every(10, now, 13.0))

    assert course is not None
    assert course.read_c == 13.0
    assert course.told_c == 15.0
    assert not course.falling
    assert now - course.read_at < timedelta(minutes=10)
    departure, sd = np.array(course.departure_k), np.array(course.sd_k)
    assert -2.0 < departure[0] < -1.7
    assert np.all(np.diff(departure) > 0)
    assert np.all(np.diff(sd) > 0)
    assert 0.3 < sd[0] < 0.5
    assert sd[-1] == pytest.approx(1.2, abs=0.1)
    assert course.at[-1] == NIGHT.cold_until.timestamp()


def test_nothing_is_said_of_a_night_that_is_as_told_or_warmer() -> None:
    now = after_sunset(3)
    for read_c in (14.7, 15.0, 18.0):
        assert told(now, a=every(10, now, read_c)) is None


def test_neither_by_day_nor_of_the_sun() -> None:
    """Before sunset a sensor may be in the sun: only what is colder than told counts, and only in
    the last hour."""
    day = NIGHT.start - timedelta(minutes=61)
    assert told(day, a=every(10, day, 10.0, since_h=-5)) is None
    before, soon = NIGHT.start - timedelta(minutes=5), after_sunset(0.2)
    assert told(before, a=every(10, before, 10.0, since_h=-5)) is not None
    sunny = every(10, before, 20.0, since_h=-5)
    assert told(before, a=sunny) is None
    shaded = every(10, soon, 12.0, since_h=0.1)
    after = sunny.at(sunny.hour < shaded.hour[0])
    assert told(soon, a=shaded.after(after)) is None, "a single reading without those in the sun"
    assert told(NIGHT.end + timedelta(minutes=1), a=every(10, NIGHT.end, 10.0)) is None


def test_a_stale_reading_and_a_single_one_are_not_believed() -> None:
    read = every(10, after_sunset(3), 12.0)
    assert told(after_sunset(3.6), a=read) is not None
    assert told(after_sunset(4), a=read) is None
    assert told(after_sunset(3), a=every(240, after_sunset(3), 12.0, since_h=2.9)) is None


def test_a_jump_is_believed_once_it_lasts() -> None:
    steady = every(10, after_sunset(3), 15.0)
    jumped = after_sunset(3.2).timestamp()
    one = by_the_hour(np.array([jumped]), np.array([9.0])).after(steady)
    one = one.at(np.argsort(one.hour))
    assert told(after_sunset(3.2), a=one) is None
    lasting = np.arange(jumped, jumped + 6000, 600)
    more = by_the_hour(lasting, np.full(lasting.shape, 9.0))
    more = steady.at(steady.hour < more.hour[0])
    known = by_the_hour(lasting, np.full(lasting.shape, 9.0)).at(slice(0, 2))
    assert told(after_sunset(4.8), a=known.after(more)) is not None


def test_of_several_sensors_the_middle_one_counts_and_of_two_the_colder() -> None:
    """One that was taken indoors must not silence the other."""
    now = after_sunset(3)
    cold, cool, warm = (every(10, now, read_c) for read_c in (5.0, 13.0, 15.0))
    both = told(now, a=cool, b=warm)
    assert both is not None
    assert both.read_c == 13.0
    course = told(now, a=cold, b=warm, c=cool)
    assert course is not None
    assert course.read_c == 13.0


def test_what_is_not_known_says_nothing() -> None:
    now = after_sunset(3)
    read = every(10, now, 13.0)
    assert nowcast(MENDOZA, {"a": read}, TIMES, np.full(TIMES.shape, np.nan), now) is None
    assert nowcast(MENDOZA, {"a": read}, TIMES[:0], AIR[:0], now) is None
    assert nowcast(MENDOZA, {}, TIMES, AIR, now) is None


# -- how far off it is


def ahead(site: Site, forecast: pd.Series, came: pd.Series, days: list[date]) -> Iterator[Array]:
    """Yield the error of the nowcast, its standard deviation and the error of the forecast.

    For each hour of the nights that are colder than forecast by then, 1 to 8 hours ahead.
    """
    times = np.array([int(at.timestamp()) for at in forecast.index])
    fc, obs = forecast.to_numpy(), came.to_numpy()
    for day in days:
        night = sun.night_of(site, day)
        first, last = np.searchsorted(times, [night.start.timestamp(), night.end.timestamp()])
        for row in range(first + 1, last):
            read = by_the_hour(times[first : row + 1], obs[first : row + 1])
            now = datetime.fromtimestamp(times[row], night.start.tzinfo)
            course = nowcast(site, {"a": read}, times, fc, now)
            if course is None:
                continue
            for lead in (1, 2, 3, 4, 6, 8):
                at = row + lead
                if at < times.size and times[at] <= course.at[-1]:
                    added = course.departures_k(times[at : at + 1])[0]
                    sd = np.interp(times[at], course.at, course.sd_k)
                    yield np.array([obs[at] - fc[at] - added, sd, obs[at] - fc[at]])


def test_errors_at_other_airports_months() -> None:
    """Every third night of the even months, over which nothing was chosen."""
    days = [
        day for day in (date(2013, 2, 1) + timedelta(days=3 * n) for n in range(108))
        if day.month % 2 == 0
    ]  # fmt: skip
    found = np.array(
        [
            row
            for here, there in AIRPORT_PAIRS[:3]
            for row in ahead(
                airport.NEWARK,
                without_spikes(airport.hourly(here)).temperature_2m,
                without_spikes(airport.hourly(there)).temperature_2m,
                days,
            )
        ]
    )
    found = found[np.isfinite(found).all(axis=1)]
    error, sd, alone = found.T
    assert error.size > 3000
    rmse = float(np.sqrt(np.mean(error**2)))
    assert rmse < 0.75 * float(np.sqrt(np.mean(alone**2)))
    assert np.std(error / np.hypot(sd, 0.5)) == pytest.approx(1.0, abs=0.2)


def test_errors_at_a_station_under_a_forecasters_rule() -> None:
    pairs = evening_rule()
    count, better = 0, []
    for day, forecast, came in zip(
        pairs.days[::6], pairs.forecast[::6], pairs.came[::6], strict=True
    ):
        start = int(np.ceil(sun.night_of(HESSE, day).start.timestamp() / 3600)) * 3600
        hours = pd.to_datetime(start + 3600 * np.arange(forecast.size), unit="s", utc=True)
        rows = list(ahead(HESSE, pd.Series(forecast, hours), pd.Series(came, hours), [day]))
        better += [(row[0] ** 2, row[2] ** 2) for row in rows]
        count += bool(rows)
    nowcast_k, forecast_k = np.sqrt(np.mean(better, axis=0))
    assert count > 30
    assert nowcast_k < 0.85 * forecast_k
