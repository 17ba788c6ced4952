"""What a forecast says of each night: lows, their hours, and which nights are told at all."""

from collections import defaultdict
from dataclasses import replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from sillward_rules.weather import sun
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.night_summary import NightForecast, nights_of
from sillward_rules.weather.site import Site
from sillward_rules.weather.sun import Daylight
from tests.support.core import MENDOZA, uncertain, utc, weather

HOUR = timedelta(hours=1)
DAY = date(2026, 5, 14)
START = utc("2026-05-14T05:00")
"""The first of the 24 hours around Mendoza's mean noon, 16:35 UTC; the sun sets between 21 and 22
UTC and rises between 11 and 12; the cold of the morning counts until between 13 and 14."""
FETCHED = utc("2026-05-14T12:30")
LOW_ROW = 29
"""10:00 UTC on the 15th: shortly before sunrise."""

SITES = {
    "Mendoza": MENDOZA,
    "Lisbon": Site("Lisbon", 38.7223, -9.1393, 0, ZoneInfo("Europe/Lisbon")),
    "Los Angeles": Site("Los Angeles", 34.0522, -118.2437, 90, ZoneInfo("America/Los_Angeles")),
    "Adelaide": Site("Adelaide", -34.9285, 138.6007, 50, ZoneInfo("Australia/Adelaide")),
    "Kolkata": Site("Kolkata", 22.57, 88.36, 9, ZoneInfo("Asia/Kolkata")),
    "Kathmandu": Site("Kathmandu", 27.72, 85.32, 1400, ZoneInfo("Asia/Kathmandu")),
    "Auckland": Site("Auckland", -36.85, 174.76, 20, ZoneInfo("Pacific/Auckland")),
    "Kiritimati": Site("Kiritimati", 1.87, -157.4, 3, ZoneInfo("Pacific/Kiritimati")),
    "St John's": Site("St John's", 47.56, -52.71, 50, ZoneInfo("America/St_Johns")),
}
LONGYEARBYEN = Site("Longyearbyen", 78.22, 15.65, 0, ZoneInfo("Arctic/Longyearbyen"))


def one_night(**series: object) -> Weather:
    """Two days of 12 degrees; 3.1 at the low of the first night, 24 in its afternoon."""
    temp = np.full(44, 12.0)
    temp[[14, LOW_ROW]] = 24.0, 3.1
    return weather(START, temp, **series)


def without(of: Weather, rows: list[int], series: str = "temp_c") -> Weather:
    values = getattr(of, series).copy()
    values[rows] = np.nan
    return replace(of, **{series: values})


def lows(of: Weather, fetched_at: datetime = FETCHED) -> list[tuple[date, float]]:
    return [(night.night, night.low_c) for night in nights_of(MENDOZA, of, fetched_at)]


# -- one night by hand


def test_a_night_in_numbers() -> None:
    dew_point, wind, cloud = np.full(44, -5.0), np.full(44, 3.0), np.full(44, 0.9)
    dew_point[LOW_ROW], wind[LOW_ROW], cloud[LOW_ROW] = 1.2, 0.6, 0.25

    (night,) = nights_of(
        MENDOZA,
        uncertain(one_night(dew_point_c=dew_point, wind_m_s=wind, cloud=cloud)),
        FETCHED,
    )

    assert night == NightForecast(
        night=DAY,
        lead_h=21.5,
        low_c=3.1,
        low_at=utc("2026-05-15T10:00"),
        dew_point_c=1.2,
        wind_m_s=0.6,
        cloud=0.25,
        high_c=24.0,
        sd_k=None,
        warming=0.25,
    )


def test_of_two_hours_that_are_equally_cold_the_first_is_told() -> None:
    forecast = one_night()
    forecast.temp_c[LOW_ROW - 3] = 3.1

    (night,) = nights_of(MENDOZA, forecast, FETCHED)

    assert night.low_at == utc("2026-05-15T07:00")


@pytest.mark.parametrize(
    ("fetched", "told"),
    [("2026-05-15T09:59:59", True), ("2026-05-15T10:00", False), ("2026-05-15T10:30", False)],
)
def test_a_night_whose_low_is_over_is_left_out(fetched: str, told: bool) -> None:
    assert bool(lows(one_night(), utc(fetched))) is told


def test_what_is_not_known_at_the_low_is_none() -> None:
    long_gap = list(range(LOW_ROW - 1, LOW_ROW + 2))
    forecast = one_night()
    for series in ("dew_point_c", "wind_m_s", "cloud"):
        forecast = without(forecast, long_gap, series)

    (night,) = nights_of(MENDOZA, forecast, FETCHED)

    assert (night.dew_point_c, night.wind_m_s, night.cloud) == (None, None, None)
    assert (night.low_c, night.high_c) == (3.1, 24.0)


def test_a_short_gap_at_the_low_is_bridged_in_the_other_series() -> None:
    forecast = without(one_night(wind_m_s=0.6), [LOW_ROW], "wind_m_s")

    (night,) = nights_of(MENDOZA, forecast, FETCHED)

    assert night.wind_m_s == pytest.approx(0.6)


# -- which nights are told


@pytest.mark.parametrize(
    ("gap", "told"),
    [([23, 24], True), ([23, 24, 25], False), ([17, 18], True), ([16, 17, 18], False)],
    ids=["two hours", "three hours", "two at sunset", "three at sunset"],
)
def test_a_night_with_a_gap_of_more_than_two_hours_is_left_out(gap: list[int], told: bool) -> None:
    assert lows(without(one_night(), gap)) == ([(DAY, 3.1)] if told else [])


def test_a_gap_by_day_costs_no_night_but_its_high() -> None:
    (night,) = nights_of(MENDOZA, without(one_night(), [9, 10, 11]), FETCHED)

    assert (night.low_c, night.high_c) == (3.1, None)


def test_a_forecast_that_begins_after_midnight_does_not_know_the_high() -> None:
    assert nights_of(MENDOZA, one_night(), FETCHED)[0].high_c == 24.0

    begun = weather(START + HOUR, one_night().temp_c[1:])

    assert nights_of(MENDOZA, begun, FETCHED)[0].high_c is None


@pytest.mark.parametrize(
    ("first", "last", "told"),
    [("22:00", "13:00", True), ("23:00", "13:00", False), ("22:00", "12:00", False)],
)
def test_every_full_hour_from_sunset_until_the_cold_is_over_must_be_there(
    first: str, last: str, told: bool
) -> None:
    start, end = utc(f"2026-05-14T{first}"), utc(f"2026-05-15T{last}")
    temp = np.linspace(9.0, 4.0, int((end - start) / HOUR) + 1)

    assert lows(weather(start, temp)) == ([(DAY, 4.0)] if told else [])


def test_a_forecast_of_nothing_tells_of_no_night() -> None:
    assert nights_of(MENDOZA, weather(START, []), FETCHED) == []
    assert nights_of(MENDOZA, weather(START, np.full(60, np.nan)), FETCHED) == []


def test_a_time_without_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="no zone"):
        nights_of(MENDOZA, one_night(), FETCHED.replace(tzinfo=None))


def test_a_night_without_a_full_hour_is_that_of_the_morning_after_it() -> None:
    """Near the polar circle the sun is down for half an hour only, from 22:16 UTC on."""
    site = Site("Short", 65.7, 20.5, 0, ZoneInfo("Europe/Stockholm"))
    night = sun.night_of(site, date(2026, 6, 18))
    assert night.start.hour == night.end.hour
    assert night.start > utc("2026-06-18T22:00")

    told = nights_of(site, weather(utc("2026-06-18T00:00"), np.arange(30.0)), START)

    assert [(order.night, order.low_c) for order in told] == [(night.day, 23.0)]


# -- many nights against a plain loop over the hours


def by_hand(site: Site, of: Weather, fetched_at: datetime) -> list[tuple[date, datetime, float]]:
    """Evening, hour and low of each night: dark hours by the sun's elevation and the two after
    them, from local noon to local noon. No sun sets within seconds of a full hour."""
    known = dict(zip(of.times.tolist(), of.temp_c.tolist(), strict=True))
    start = datetime.fromtimestamp(of.times[0], fetched_at.tzinfo) - 24 * HOUR
    dark = defaultdict[date, list[datetime]](list)
    for hour in range(len(known) + 48):
        at = start + hour * HOUR
        wall = at.astimezone(site.zone)
        evening = wall.date() if wall.hour >= 12 else wall.date() - timedelta(days=1)
        if min(sun.elevation(site, moment) for moment in (at, at - 2 * HOUR)) < sun.HORIZON_DEG:
            dark[evening].append(at)
    told = []
    for evening, hours in dark.items():
        if all(at.timestamp() in known for at in hours):
            low_c, low_at = min((known[int(at.timestamp())], at) for at in hours)
            if low_at > fetched_at:
                told.append((evening, low_at, low_c))
    return told


@pytest.mark.parametrize("start", ["2026-03-03", "2026-03-26", "2026-10-30", "2026-12-18"])
@pytest.mark.parametrize("name", SITES)
def test_nights_everywhere_agree_with_a_plain_loop(name: str, start: str) -> None:
    """Half-hour zones, both hemispheres, nights across midnight UTC, clocks set on and back."""
    site, first = SITES[name], utc(start)
    temps = np.random.default_rng(len(name)).normal(8.0, 4.0, 24 * 12)
    forecast, fetched_at = weather(first, temps), first + 31 * HOUR

    told = nights_of(site, forecast, fetched_at)

    assert [(night.night, night.low_at, night.low_c) for night in told] == by_hand(
        site, forecast, fetched_at
    )
    assert len(told) >= 9
    assert [night.night for night in told] == [
        told[0].night + timedelta(days=n) for n in range(len(told))
    ]
    for night in told:
        assert night.lead_h == (night.low_at - fetched_at) / HOUR


@pytest.mark.parametrize("name", SITES)
def test_highs_everywhere_agree_with_a_plain_loop(name: str) -> None:
    site, first = SITES[name], utc("2026-03-26")
    temps = np.random.default_rng(len(name)).normal(18.0, 4.0, 24 * 12)

    told = nights_of(site, weather(first, temps), first)

    east = timedelta(hours=site.longitude / 15)
    of_day = defaultdict[date, list[float]](list)
    for hour, temp in enumerate(temps.tolist()):
        by_the_sun = first + hour * HOUR + east
        noon = by_the_sun.replace(hour=12, minute=0, second=0, microsecond=0) - east
        of_day[noon.astimezone(site.zone).date()].append(temp)
    whole = {day: max(values) for day, values in of_day.items() if len(values) == 24}
    assert {night.night: night.high_c for night in told} == {
        order.night: whole.get(order.night) for order in told
    }
    assert sum(order.high_c is not None for order in told) >= 9


@pytest.mark.parametrize(
    ("start", "daylight", "night_from", "night_to"),
    [
        ("2026-12-10", Daylight.ALWAYS_DOWN, 15, 9),
        ("2026-06-10", Daylight.ALWAYS_UP, 21, 3),
    ],
    ids=["polar night", "midnight sun"],
)
def test_where_the_sun_stays_down_or_up_the_stand_in_nights_are_told(
    start: str, daylight: Daylight, night_from: int, night_to: int
) -> None:
    """By the mean sun: all but three hours either side of noon; three either side of midnight. Two
    hours are added in the morning."""
    site, first = LONGYEARBYEN, utc(start)
    assert sun.day_events(site, first.date()).daylight is daylight
    temps = np.random.default_rng(7).normal(-12.0, 5.0, 24 * 8)

    told = nights_of(site, weather(first, temps), first)

    east = timedelta(hours=site.longitude / 15)
    of_night = defaultdict[date, list[float]](list)
    for hour, temp in enumerate(temps.tolist()):
        by_the_sun = first + hour * HOUR + east
        if not night_to + 2 <= by_the_sun.hour < night_from:
            of_night[(by_the_sun - 12 * HOUR).date()].append(temp)
    whole = {
        day: min(values)
        for day, values in of_night.items()
        if len(values) == (night_to + 2 - night_from) % 24
    }
    assert {night.night: night.low_c for night in told} == whole
    assert len(told) == 7
