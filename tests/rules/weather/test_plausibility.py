"""Forecasts that cannot be true, one kind of fault at a time, and true ones that look odd."""

from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import pytest

from sillward_rules.arrays import Array
from sillward_rules.physics import air
from sillward_rules.weather.doubt import (
    DewPointAbove,
    Doubt,
    HumidityMisfit,
    Jump,
    Leap,
    NoDayAndNight,
    OutOfSeason,
    WarmerThanAnother,
)
from sillward_rules.weather.hourly import Weather, withheld
from sillward_rules.weather.plausibility import (
    COLDER_HOLDS,
    WARMER_HOLDS,
    agree,
    believed_at_last,
    doubts_about,
    moisture_doubts,
)
from tests.support.core import MENDOZA, daily_curve, fetched, utc, weather

START = utc("2026-05-14T00:00")
NOW = START + timedelta(hours=17)
HOURS = 216
FROST = daily_curve(-7, 7, HOURS)
MILD = daily_curve(8, 20, HOURS)


def forecast(temp: Array, at: datetime = NOW) -> Weather:
    return fetched(weather(START, temp), at)


def kinds(*doubts: Doubt) -> set[type[Doubt]]:
    return {type(doubt) for doubt in doubts}


# -- by itself and by the season


@pytest.mark.parametrize(
    ("temp", "kind"),
    [
        (np.full(HOURS, 59.9), OutOfSeason),
        (daily_curve(59.9, 60, HOURS), OutOfSeason),
        (np.where(np.arange(HOURS) % 24 < 12, 59.9, 15.0), OutOfSeason),
        (32 + 1.8 * FROST, OutOfSeason),
        (32 + 1.8 * MILD, OutOfSeason),
        (MILD + 273.15 - 250, OutOfSeason),
        (MILD - 60, OutOfSeason),
        (np.full(HOURS, 15.0), NoDayAndNight),
        (np.full(HOURS, 0.0), NoDayAndNight),
        (15 + 0.0001 * np.arange(HOURS), NoDayAndNight),
        (15 + 0.04 * (-1.0) ** np.arange(HOURS), NoDayAndNight),
        (np.tile([12.0, 15.0], HOURS // 2), NoDayAndNight),
        (np.tile([9.0, 12.0, 14.0, 15.0, 13.0, 10.0], HOURS // 6), NoDayAndNight),
        (np.where(np.arange(HOURS) % 24 < 3, 39.0, MILD), Leap),
    ],
)
def test_what_cannot_be_true_is_doubted_without_any_other_forecast(
    temp: Array, kind: type[Doubt]
) -> None:
    assert kind in kinds(*doubts_about(MENDOZA, forecast(temp), now=NOW))


def test_what_is_doubted_is_told_with_its_value_and_the_bound() -> None:
    doubts = doubts_about(MENDOZA, forecast(daily_curve(40, 60, HOURS)), now=NOW)

    nights, hours, days = (doubt for doubt in doubts if isinstance(doubt, OutOfSeason))
    assert [leap.what for leap in (nights, hours, days)] == ["nights", "hours", "days"]
    assert [leap.value_c for leap in (nights, hours, days)] == pytest.approx([40, 60, 50])
    assert days.bound_c < nights.bound_c < 40 < hours.bound_c < 50


@pytest.mark.parametrize(
    "temp",
    [
        FROST,
        MILD,
        daily_curve(14.8, 15.2, HOURS),  # fog by day and night
        np.where(np.arange(HOURS) % 24 == 12, 45.0, MILD)[:30],  # a slip of single hours
        np.full(HOURS, np.nan),
        MILD[:5],
        MILD[:0],
        np.where(np.arange(HOURS) % 7 == 0, np.nan, MILD),
    ],
)
def test_ordinary_days_fog_slips_and_gaps_are_not(temp: Array) -> None:
    given = [
        doubt for doubt in doubts_about(MENDOZA, forecast(temp), now=NOW) if type(doubt) is not Leap
    ]

    assert given == []


def test_under_a_strong_sun_half_a_kelvin_is_no_day_and_night() -> None:
    nearly = forecast(daily_curve(14.9, 15.1, HOURS))
    sunny = replace(nearly, direct_w_m2=np.maximum(0, daily_curve(-600, 600, HOURS)))

    assert doubts_about(MENDOZA, nearly, now=NOW) == ()
    assert kinds(*doubts_about(MENDOZA, sunny, now=NOW)) == {NoDayAndNight}


def test_how_long_it_stays_the_same_is_told() -> None:
    temp = np.where((np.arange(HOURS) >= 50) & (np.arange(HOURS) < 90), 15.0, MILD)

    assert doubts_about(MENDOZA, forecast(temp), now=NOW) == (NoDayAndNight(15.0, 40, 1),)


# -- by its moisture


def moist(temp: Array, dew: Array, humidity: Array) -> list[Doubt]:
    return list(moisture_doubts(temp, dew, humidity))


def humidity_of(temp: Array, dew: Array) -> Array:
    return air.relative_humidity(temp, air.saturation_vapour_pressure(dew))


DEW = np.full(HOURS, -9.0)
WET = humidity_of(FROST, DEW)


def test_a_fahrenheit_temperature_beside_a_dew_point_in_celsius_fits_no_humidity() -> None:
    (doubt,) = moist(32 + 1.8 * FROST, DEW, WET)

    assert isinstance(doubt, HumidityMisfit)
    assert doubt.given_pct > 40 > 15 > doubt.computed_pct


def test_a_dew_point_above_the_temperature_is_doubted_if_it_is_no_slip() -> None:
    above = np.where(np.arange(HOURS) < 5, 20.0, DEW)

    assert moist(FROST, np.full(HOURS, 20.0), WET) == [DewPointAbove(HOURS)]
    assert moist(FROST, above, WET) == []


def test_moisture_that_fits_or_is_missing_raises_no_doubt() -> None:
    nothing = np.full(HOURS, np.nan)
    rounded = np.round(WET)

    assert moist(FROST, np.minimum(DEW, FROST), np.clip(rounded + 2, 0, 100)) == []
    assert moist(32 + 1.8 * FROST, nothing, WET) == []
    assert moist(32 + 1.8 * FROST, DEW, nothing) == []
    assert moist(nothing, DEW, WET) == []
    assert moist(FROST[:0], DEW[:0], WET[:0]) == []


def test_humidity_over_ice_is_no_misfit() -> None:
    siberia = daily_curve(-48, -38, HOURS)

    assert moist(siberia, siberia - 4.0, np.full(HOURS, 100.0)) == []


def test_what_was_found_when_it_was_read_counts() -> None:
    wrong = replace(forecast(MILD), doubts=(DewPointAbove(100),))

    assert doubts_about(MENDOZA, wrong, now=NOW) == (DewPointAbove(100),)


# -- against the one before


def jump(by: Array | float, *, hours_ago: float = 1.5) -> tuple[Doubt, ...]:
    before = forecast(MILD, NOW - timedelta(hours=hours_ago))
    return doubts_about(MENDOZA, forecast(MILD + by), before, now=NOW)


@pytest.mark.parametrize("by", [12.0, 20.0, -18.0, -25.0])
def test_a_jump_at_the_same_hours_is_doubted_and_told_in_kelvins(by: float) -> None:
    (doubt,) = (found for found in jump(by) if isinstance(found, Jump))

    assert doubt.warmer_k == pytest.approx(by)


@pytest.mark.parametrize("by", [0.0, 3.0, -3.0, 7.0, -9.0, -13.0])
def test_a_revision_is_not(by: float) -> None:
    assert jump(by) == ()


def test_a_front_that_comes_twelve_hours_sooner_is_not() -> None:
    hours = np.arange(HOURS)
    late, soon = (np.where(hours < front, 0.0, -15.0) for front in (66, 54))
    before = forecast(MILD + 8 + late, NOW - timedelta(hours=6))

    assert doubts_about(MENDOZA, forecast(MILD + 8 + soon), before, now=NOW) == ()


def test_tomorrow_alone_is_enough() -> None:
    tomorrow = np.where(np.arange(HOURS) < 17 + 24, 14.0, 0.0)

    assert kinds(*jump(tomorrow)) == {Jump}


def test_only_the_hours_ahead_count_and_days_later_more_is_allowed() -> None:
    past = np.where(np.arange(HOURS) <= 17, 20.0, 0.0)

    assert Jump not in kinds(*jump(past))
    assert kinds(*jump(12.0)) == {Jump}
    assert jump(12.0, hours_ago=72) == ()


def test_day_for_night_is_doubted_although_the_mean_is_right() -> None:
    before = forecast(daily_curve(-4, 24, HOURS), NOW - timedelta(hours=1))
    turned = forecast(daily_curve(-4, 24, HOURS, warmest_utc=7))

    (doubt,) = doubts_about(MENDOZA, turned, before, now=NOW)

    assert isinstance(doubt, Jump)
    assert abs(doubt.warmer_k) > 8


def test_with_hardly_an_hour_in_common_there_is_no_telling() -> None:
    before = replace(forecast(MILD, NOW - timedelta(hours=1)))
    short = Weather(
        **{
            name: getattr(before, name)[:28]
            for name in (
                "times", "temp_c", "dew_point_c", "wind_m_s", "gust_m_s", "cloud", "rain_mm",
                "direct_w_m2", "diffuse_w_m2", "hail_pct",
            )
        },
        source="test",
        fetched_at=before.fetched_at,
    )  # fmt: skip

    assert doubts_about(MENDOZA, forecast(MILD + 14), short, now=NOW) == ()
    assert doubts_about(MENDOZA, forecast(MILD + 14), withheld(before), now=NOW) == ()


# -- against another source


def test_another_source_that_agrees_clears_a_jump() -> None:
    before = forecast(MILD - 8, NOW - timedelta(hours=1.5))
    warm, beside, far = forecast(MILD + 5), forecast(MILD + 3), forecast(MILD - 1)

    assert kinds(*doubts_about(MENDOZA, warm, before, now=NOW)) == {Jump}
    assert doubts_about(MENDOZA, warm, before, beside, now=NOW) == ()
    assert kinds(*doubts_about(MENDOZA, warm, before, far, now=NOW)) == {Jump}


def test_it_clears_nothing_else() -> None:
    flat = forecast(np.full(HOURS, 15.0))

    assert kinds(*doubts_about(MENDOZA, flat, None, flat, now=NOW)) == {NoDayAndNight}


def test_much_warmer_than_another_is_doubted_and_much_colder_is_not() -> None:
    """Of two the colder counts: that is safe by itself."""
    other = replace(forecast(MILD), source="Another")
    warm, cold = forecast(MILD + 12), forecast(MILD - 20)

    (doubt,) = doubts_about(MENDOZA, warm, None, other, now=NOW)
    assert isinstance(doubt, WarmerThanAnother)
    assert doubt.source == "Another"
    assert doubt.warmer_k == pytest.approx(12.0)
    assert doubts_about(MENDOZA, cold, None, other, now=NOW) == ()


# -- how long


@pytest.mark.parametrize(
    ("doubts", "holds"),
    [((Jump(20.0),), WARMER_HOLDS), ((Jump(-20.0),), COLDER_HOLDS)],
)
def test_a_jump_alone_is_believed_once_it_has_lasted(
    doubts: tuple[Doubt, ...], holds: timedelta
) -> None:
    assert not believed_at_last(doubts, NOW, NOW + holds - timedelta(minutes=1))
    assert believed_at_last(doubts, NOW, NOW + holds)


@pytest.mark.parametrize(
    "doubts",
    [
        (),
        (Jump(20.0), OutOfSeason("nights", 59.9, 40.0)),
        (Jump(20.0), WarmerThanAnother("Another", 20.0)),
        (NoDayAndNight(15.0, 216, 1),),
        (HumidityMisfit(69.0, 9.0),),
    ],
)
def test_nothing_else_ever_is(doubts: tuple[Doubt, ...]) -> None:
    assert not believed_at_last(doubts, NOW, NOW + timedelta(days=365))


def test_the_colder_jump_is_believed_sooner() -> None:
    assert COLDER_HOLDS < WARMER_HOLDS < timedelta(hours=24)


def test_two_that_say_much_the_same_agree() -> None:
    assert agree(forecast(MILD), forecast(MILD + 3), NOW)
    assert not agree(forecast(MILD), forecast(MILD + 20), NOW)
    assert not agree(forecast(MILD), withheld(forecast(MILD)), NOW)
