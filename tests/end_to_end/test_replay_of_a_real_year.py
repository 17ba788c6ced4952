"""The replay over a real year: what the airport's thermometer says of the plants, minute by minute,
against what the replay recorded.

The plants are those of `test_year_of_forecast_errors`: one for each limit, at a spot that changes
nothing. Where they stood is read from the run; what they went through there is told by pandas.
"""

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pandas as pd
import pytest

from sillward_rules.replay.engine import Plan, Run, nights
from sillward_rules.replay.forecasts import ErringForecasts, Forecasts, PerfectForecasts
from sillward_rules.replay.records import NightRecord
from sillward_rules.replay.summary import Totals, totals
from sillward_rules.weather.hourly import Weather
from tests.end_to_end.test_year_of_forecast_errors import LIMITS_C, six
from tests.support.airport import hourly, in_steps

SPRING, AUTUMN = date(2013, 4, 15), date(2013, 9, 20)
SPAN = 25
"""Nights of each: when most of the limits are near."""


def truth() -> Weather:
    """The airport's year as past weather; what it did not measure is not known."""
    rows = hourly()
    unknown = np.full(len(rows), np.nan)
    return Weather(
        times=np.array([int(moment.timestamp()) for moment in rows.index], dtype=np.int64),
        temp_c=rows.temperature_2m.to_numpy(),
        dew_point_c=np.fmin(rows.dew_point_2m, rows.temperature_2m).to_numpy(),
        wind_m_s=rows.wind_speed_10m.to_numpy(),
        gust_m_s=unknown,
        cloud=unknown,
        rain_mm=rows.precipitation.to_numpy(),
        direct_w_m2=unknown,
        diffuse_w_m2=unknown,
        hail_pct=unknown,
        source="airport",
        fetched_at=datetime(2013, 1, 1, tzinfo=UTC),
    )


def plan(first: date, span: int, forecasts: Forecasts | None = None) -> Plan:
    weather = truth()
    made = forecasts or PerfectForecasts(weather)
    return Plan(six(), weather, made, first, first + timedelta(days=span - 1))


def missing() -> set[date]:
    """The evenings of nights in which more than two hours in a row are missing."""
    steps = in_steps()
    return set(steps[steps.counts & steps.temperature_2m.isna()].evening)


def judged(records: Iterator[NightRecord]) -> Totals:
    found = list(records)
    gaps = missing()
    assert all(record.unjudged for record in found if record.night in gaps)
    return totals([record for record in found if record.night not in gaps])


def is_clean(found: Totals) -> None:
    """What must hold with perfect forecasts."""
    assert found.unwarned == found.late == found.out_too_early == found.not_done == 0
    assert found.no_cover == found.corrections == 0
    assert found.deadline_kept == 1.0


@pytest.mark.parametrize("first", [SPRING, AUTUMN])
def test_perfect_forecasts_leave_nobody_unwarned_or_late(first: date) -> None:
    found = judged(nights(plan(first, SPAN)))

    is_clean(found)
    assert found.needed > 45
    assert found.carried_in > 20
    assert found.unjudged == 0


@pytest.mark.slow
def test_perfect_forecasts_all_year() -> None:
    found = judged(nights(plan(date(2013, 1, 3), 360)))

    is_clean(found)
    assert found.needed > 1200
    assert found.carried_in > 200


def test_what_the_thermometer_says_of_an_erring_autumn() -> None:
    """Each plant's hours under its limit while it stood on the step, from steps of ten minutes."""
    weather = truth()
    error_k = (0.0, 72.0), (3.0, 4.0)
    rare = ErringForecasts(weather, seed=5, every=timedelta(hours=24), error_k=error_k)
    asked = plan(AUTUMN, SPAN, rare)
    steps = in_steps()[in_steps().counts]
    by_night = dict(iter(steps.groupby("evening").temperature_2m))
    run, in_the_cold = Run(asked), 0
    for offset in range(-6, SPAN):
        day = AUTUMN + timedelta(days=offset)
        record = run.night(day)
        night = by_night[day]
        if night.isna().any():
            continue
        for limit in LIMITS_C:
            name = f"from {limit:g}"
            under = night[outside(run, name, night.index) & (night < limit)]
            hours = sum(one.hours for one in record.exposures if name in one.plants)
            assert hours == pytest.approx(len(under) / 6, abs=0.5)
            in_the_cold += bool(hours)
    assert in_the_cold >= 3, "some forecasts erred so much that plants were left out"


def outside(run: Run, name: str, index: pd.DatetimeIndex) -> np.ndarray:
    """Whether a plant stood on the step, by the moves of the grower."""
    row, places = run.places.index[name], run.places
    out = np.full(len(index), places.at_start[row] == 0)
    for step in places.steps:
        if row in step.plants:
            out[index >= pd.Timestamp(step.at, unit="s", tz="UTC")] = step.column == 0
    return out
