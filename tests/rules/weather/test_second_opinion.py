"""Two forecasts, one night: when the colder counts, what it changes, what is said."""

from dataclasses import replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sillward_rules.arrays import Array
from sillward_rules.chore import ChoreKind
from sillward_rules.remark import ForecastsDisagree, Plain
from sillward_rules.sheet import Round, draw_up
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import EXPIRED_AFTER, SERIES, Weather, bridge_gaps
from sillward_rules.weather.second_opinion import MAX_APART_K, second_opinion
from sillward_rules.weather.site import Site
from tests.support.core import MENDOZA, collection, fetched, utc, weather

repeatable = settings(deadline=None, derandomize=True)

START = utc("2026-05-13T00:00")
NOW = utc("2026-05-14T20:00")  # 17:00 at the site
# Sunset 18:42, sunrise 08:17 at the site (21:42 and 11:17 UTC), and the cold of the morning counts:
NIGHT = np.arange(46, 62)
"""Rows of the coming night, 19:00 to 10:00 at the site."""
NEXT = NIGHT + 24
LAST = NIGHT - 24
HOURS = 96

levels = st.floats(-10, 30)
curves = st.lists(st.floats(-8, 30).map(lambda c: round(c, 1)), min_size=HOURS, max_size=HOURS)
amounts = st.sampled_from([0.0, 0.5, 2.0, 4.0])


def source(name: str, temp: Array | list[float], **series: object) -> Weather:
    return replace(fetched(weather(START, temp, **series), NOW), source=name)


def flat(name: str, level: float, **hours: float) -> Weather:
    """The same temperature at all hours, but for rows such as r50=3.2."""
    temp = np.full(HOURS, level)
    for row, value in hours.items():
        temp[int(row[1:])] = value
    return source(name, temp)


def asked(one: Weather, other: Weather, now: datetime = NOW, k: float = MAX_APART_K) -> Weather:
    return second_opinion(MENDOZA, one, other, now, k)


def changed(before: Weather, after: Weather) -> list[int]:
    return np.flatnonzero(~np.isclose(before.temp_c, after.temp_c, equal_nan=True)).tolist()


def lows(of: Weather) -> list[float]:
    """Of every night that is wholly in the weather, gaps bridged."""
    temp = bridge_gaps(of.temp_c)
    return [float(temp[rows].min()) for rows in (LAST, NIGHT, NEXT)]


def test_these_rows_are_the_nights() -> None:
    times = weather(START, np.zeros(HOURS)).times
    inside = sun.is_night(MENDOZA, times, after=timedelta(hours=2))

    rest = [row for row in np.flatnonzero(inside) if 14 <= row < 94]
    assert rest == [*LAST, *NIGHT, *NEXT]


# -- what is taken


def test_the_colder_is_taken_hour_by_hour_in_the_night_alone() -> None:
    own = flat("Open-Meteo", 8.0, r50=2.0)
    other = flat("MET Norway", 5.5, r51=-3.0)

    taken = asked(own, other)

    expected = own.temp_c.copy()
    for rows in (LAST, NIGHT, NEXT):
        expected[rows] = 5.5 if rows is not NIGHT else np.minimum(5.5, own.temp_c[rows])
    expected[51] = -3.0
    assert taken.temp_c.tolist() == expected.tolist()
    assert taken.source == "Open-Meteo"


def test_a_sheet_carries_in_by_the_colder() -> None:
    own, other = flat("Open-Meteo", 15.0), flat("MET Norway", 15.0, r52=11.0)

    def carried(by: Weather) -> list[float | None]:
        sheet = draw_up(Round.DUSK, collection(), by, {}, NOW)
        carry_in = [chore for chore in sheet.chores if chore.kind is ChoreKind.CARRY_IN]
        return [chore.because[0].value for chore in carry_in]

    assert carried(own) == []
    assert carried(asked(own, other)) == [11.0]


@pytest.mark.parametrize("apart", [0.0, 1.9, 2.0])
@pytest.mark.parametrize("low", [5.1, 5.3, 6.3, 8.3])  # 6.3 - 4.3 is a little less than 2, 8.3 more
def test_lows_up_to_the_amount_apart_change_nothing(low: float, apart: float) -> None:
    own = flat("Open-Meteo", 12.0, r50=low)
    other = flat("MET Norway", 12.0, r53=round(low - apart, 1))

    assert asked(own, other) is own
    assert asked(other, own) is other


def test_a_forecast_that_runs_late_does_not_disagree() -> None:
    ramp = 2.0 + np.abs(np.arange(HOURS) - 54.0)
    own, late = source("Open-Meteo", ramp), source("MET Norway", np.roll(ramp, 4))

    assert np.abs(ramp - np.roll(ramp, 4))[NIGHT].max() > MAX_APART_K
    assert asked(own, late).temp_c[NIGHT].tolist() == ramp[NIGHT].tolist()


def test_each_night_is_decided_by_itself() -> None:
    own = flat("Open-Meteo", 10.0)
    other = flat("MET Norway", 10.0, r48=9.0, r75=4.0)

    assert changed(own, asked(own, other)) == [75]
    assert changed(own, asked(own, other, k=0.5)) == [48, 75]


def test_the_dew_point_stays_under_the_temperature_and_all_else_is_kept() -> None:
    dew_point = np.full(HOURS, 6.0)
    dew_point[55] = np.nan
    own = source(
        "Open-Meteo", np.full(HOURS, 10.0), dew_point_c=dew_point, cloud=0.3, cloud_high=0.3
    )
    other = source(
        "MET Norway",
        np.full(HOURS, 4.0),
        dew_point_c=-9.0,
        cloud=0.9,
        cloud_low=0.9,
        cloud_middle=0.0,
        cloud_high=0.0,
        wind_m_s=7.0,
    )

    taken = asked(own, other)

    night = np.isin(np.arange(HOURS), NIGHT)
    assert set(taken.dew_point_c[NIGHT[:9]]) == {4.0}
    assert np.isnan(taken.dew_point_c[55])
    assert set(taken.dew_point_c[~np.isin(np.arange(HOURS), [*LAST, *NIGHT, *NEXT])]) == {6.0}
    for name in set(SERIES) - {"temp_c", "dew_point_c"}:
        np.testing.assert_array_equal(getattr(taken, name), getattr(own, name), err_msg=name)
    assert np.all(taken.dew_point_c[night & (np.arange(HOURS) != 55)] <= 4.0)


# -- what cannot be held against each other


@pytest.mark.parametrize("rows", [[46], [59], [50, 51, 52]])
def test_a_night_that_only_one_knows_stays_as_it_is(rows: list[int]) -> None:
    """At the ends of the forecast no gap can be bridged."""
    own = flat("Open-Meteo", 10.0)
    temp = np.full(HOURS, 4.0)
    temp[rows] = np.nan
    if rows == [46]:
        temp[:46] = np.nan
    if rows == [59]:
        temp[60:] = np.nan
    other = source("MET Norway", temp)

    assert not set(changed(own, asked(own, other))) & set(NIGHT)
    assert not set(changed(other, asked(other, own))) & set(NIGHT)


@pytest.mark.parametrize("missing", ["own", "other"])
def test_short_gaps_are_bridged(missing: str) -> None:
    own, other = np.full(HOURS, 10.0), np.full(HOURS, 4.0)
    (own if missing == "own" else other)[[50, 51]] = np.nan

    taken = asked(source("Open-Meteo", own), source("MET Norway", other))

    assert set(taken.temp_c[NIGHT]) == {4.0}


def test_a_gap_by_day_stays_a_gap() -> None:
    temp = np.full(HOURS, 10.0)
    temp[[44, 45]] = np.nan

    taken = asked(source("Open-Meteo", temp), flat("MET Norway", 4.0))

    assert np.flatnonzero(np.isnan(taken.temp_c)).tolist() == [44, 45]


def test_forecasts_of_other_hours_are_held_together_by_the_hour() -> None:
    own = flat("Open-Meteo", 10.0)
    temp = np.arange(60, dtype=np.float64) / 100 + 4.0
    other = replace(weather(START + timedelta(hours=40), temp), source="MET Norway", fetched_at=NOW)

    taken = asked(own, other)

    assert taken.temp_c[NIGHT].tolist() == temp[NIGHT - 40].tolist()
    assert changed(own, taken) == [*NIGHT, *NEXT]


def test_of_the_night_that_goes_on_the_hours_ahead_decide() -> None:
    """A source without history does not know the evening of the night any more."""
    own = flat("Open-Meteo", 10.0, r47=1.0)
    midnight = START + timedelta(hours=51, minutes=20)
    temp = np.full(HOURS, 6.0)
    temp[:51] = np.nan
    temp[51] = 5.0
    other = replace(source("MET Norway", temp), fetched_at=midnight)

    taken = asked(fetched(own, midnight), other, midnight)

    assert changed(own, taken) == [*range(52, 62), *NEXT]
    assert taken.remarks == (disagree(10.0, 6.0, "2026-05-15T04:00"),)


def test_a_forecast_too_old_to_judge_by_is_not_asked() -> None:
    own, other = flat("Open-Meteo", 10.0), flat("MET Norway", 4.0)
    on_the_edge = fetched(other, NOW - EXPIRED_AFTER)
    too_old = fetched(other, NOW - EXPIRED_AFTER - timedelta(seconds=1))
    old_run = replace(other, issued_at=NOW - timedelta(hours=25))

    assert asked(own, on_the_edge).temp_c[50] == 4.0
    assert asked(own, too_old) is own
    assert asked(own, old_run) is own


def test_nothing_known_on_either_side_is_borne() -> None:
    own, nothing = flat("Open-Meteo", 10.0), source("MET Norway", [])
    unknown = source("MET Norway", np.full(HOURS, np.nan))

    assert asked(own, nothing) is own
    assert asked(nothing, own) is nothing
    assert asked(own, unknown) is own
    assert asked(unknown, own) is unknown


@pytest.mark.parametrize(("latitude", "at"), [(78.22, "2026-06-20"), (78.22, "2026-12-20")])
def test_a_site_without_sunset_or_sunrise_has_nights_too(latitude: float, at: str) -> None:
    site = Site("far north", latitude, 15.65, 0, ZoneInfo("Arctic/Longyearbyen"))
    now = utc(f"{at}T09:00")
    own = replace(weather(now - timedelta(hours=24), np.full(HOURS, 10.0)), fetched_at=now)
    other = replace(own, temp_c=np.full(HOURS, 4.0))
    night = sun.night_at_or_after(site, now)

    taken = second_opinion(site, own, other, now)

    inside = (own.times >= night.start.timestamp()) & (own.times <= night.cold_until.timestamp())
    assert 7 <= inside.sum() <= 21
    assert np.all(taken.temp_c[inside] == 4.0)
    assert np.any(taken.temp_c == 10.0)


# -- what is said


def disagree(own_c: float, other_c: float, at: str) -> ForecastsDisagree:
    return ForecastsDisagree("Open-Meteo", own_c, "MET Norway", other_c, utc(at))


def test_the_grower_is_told_of_the_coming_night() -> None:
    own = flat("Open-Meteo", 12.0, r58=6.1, r56=5.9)
    other = flat("MET Norway", 12.0, r58=3.2, r75=1.0)

    taken = asked(replace(own, remarks=(Plain("something else"),)), other)

    assert taken.remarks == (
        Plain("something else"),
        disagree(6.1, 3.2, "2026-05-15T10:00"),
    )


def test_it_is_said_as_well_when_the_first_is_the_colder_and_nothing_changes() -> None:
    own = flat("Open-Meteo", 12.0, r58=3.2)  # colder in its low, not at every hour
    other = flat("MET Norway", 12.0, r50=8.0, r58=6.1)

    taken = asked(own, other)

    assert taken.remarks == (disagree(3.2, 6.1, "2026-05-15T10:00"),)
    assert changed(own, taken) == []


def test_of_other_nights_nothing_is_said() -> None:
    own, other = flat("Open-Meteo", 10.0), flat("MET Norway", 10.0, r30=4.0, r75=4.0)

    taken = asked(own, other)

    assert changed(own, taken) == [30, 75]
    assert taken.remarks == ()


@pytest.mark.parametrize(
    ("zone", "latitude", "longitude", "cold", "said"),
    [
        ("Asia/Kathmandu", 27.7, 85.3, "2026-01-14T21:00", "02:45"),  # UTC+5:45
        ("America/St_Johns", 47.56, -52.71, "2026-01-15T04:00", "00:30"),  # UTC-3:30
        ("Australia/Lord_Howe", -31.55, 159.08, "2026-01-14T15:00", "02:00"),  # UTC+11
        ("Australia/Lord_Howe", -31.55, 159.08, "2026-07-14T15:00", "01:30"),  # UTC+10:30
    ],
)
def test_the_hour_is_in_the_sites_own_time(
    zone: str, latitude: float, longitude: float, cold: str, said: str
) -> None:
    site = Site(zone, latitude, longitude, 0, ZoneInfo(zone))
    at = utc(cold)
    now = at - timedelta(hours=11)
    own = fetched(weather(now.replace(minute=0) - timedelta(hours=12), np.full(72, 10.0)), now)
    other = replace(own, temp_c=np.where(own.times == at.timestamp(), 1.0, own.temp_c))

    (remark,) = second_opinion(site, own, other, now).remarks
    assert isinstance(remark, ForecastsDisagree)
    assert f"{remark.at:%H:%M}" == said


# -- whatever the two say


def own_and_other(one: list[float], two: list[float]) -> tuple[Weather, Weather]:
    return source("Open-Meteo", one), source("MET Norway", two)


@repeatable
@given(curves, curves, amounts)
def test_it_never_gets_warmer_and_never_colder_than_the_colder(
    one: list[float], two: list[float], k: float
) -> None:
    own, other = own_and_other(one, two)

    taken = asked(own, other, k=k)

    assert np.all(taken.temp_c <= own.temp_c)
    assert np.all(taken.temp_c >= np.minimum(own.temp_c, other.temp_c))
    assert np.all(taken.dew_point_c <= np.maximum(own.dew_point_c, taken.temp_c))


@repeatable
@given(curves, curves, amounts)
def test_days_are_left_alone(one: list[float], two: list[float], k: float) -> None:
    own, other = own_and_other(one, two)

    taken = asked(own, other, k=k)

    assert set(changed(own, taken)) <= {*LAST, *NIGHT, *NEXT}


@repeatable
@given(curves, levels, amounts)
def test_nights_within_the_amount_are_left_alone(one: list[float], shift: float, k: float) -> None:
    own, other = own_and_other(one, [value + shift for value in one])

    taken = asked(own, other, k=k)

    assert (taken is own) == (abs(round(shift, 6)) <= k)


@repeatable
@given(curves, curves, amounts)
def test_whichever_is_asked_first_the_lows_are_the_colder_ones(
    one: list[float], two: list[float], k: float
) -> None:
    own, other = own_and_other(one, two)

    taken, swapped = asked(own, other, k=k), asked(other, own, k=k)

    for first, second, here, there in zip(
        lows(own), lows(other), lows(taken), lows(swapped), strict=True
    ):
        if abs(round(first - second, 6)) > k:
            assert here == there == min(first, second)
        else:
            assert (here, there) == (first, second)


@repeatable
@given(curves, curves, amounts)
def test_asking_again_changes_nothing(one: list[float], two: list[float], k: float) -> None:
    own, other = own_and_other(one, two)
    taken = asked(own, other, k=k)

    again = asked(taken, other, k=k)

    assert changed(taken, again) == []
