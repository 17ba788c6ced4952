"""Replays with thermometers at the spots: what they call in, and what would have been without."""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

import numpy as np
import pytest

from sillward_rules.replay.engine import Plan, Run, first_day, replay
from sillward_rules.replay.forecasts import PerfectForecasts
from sillward_rules.replay.summary import totals
from sillward_rules.weather.hourly import SERIES, Weather
from tests.end_to_end.test_year_of_forecast_errors import LIMITS_C
from tests.support.night_pairs import Airport
from tests.support.watched_year import past_weather, plan

FIRST = date(2013, 9, 29)


def autumn(nights: int, **changes: object) -> Plan:
    """Some nights of autumn at La Guardia's forecasts for Newark, told without caution.

    The weather begins three days before, so that little is replayed in advance.
    """
    asked = plan("LGA", "EWR", FIRST, FIRST + timedelta(days=nights - 1), caution=0.0)
    forecasts = PerfectForecasts(lately("LGA"))
    return replace(asked, truth=lately("EWR"), forecasts=forecasts, **changes)  # type: ignore[arg-type]


def lately(station: Airport) -> Weather:
    weather = past_weather(station)
    start = datetime.combine(FIRST - timedelta(days=3), time(), tzinfo=UTC).timestamp()
    rows = np.flatnonzero(weather.times >= start)
    series = {name: getattr(weather, name)[rows] for name in SERIES}
    return replace(weather, times=weather.times[rows], **series)


def test_thermometers_catch_what_the_dusk_round_leaves() -> None:
    """Over the year and all pairs, `tests.bench.thermometers` has the figures."""
    watched = replay(autumn(14))
    blind = totals(replay(autumn(14, sensors=frozenset())).nights)
    found = totals(watched.nights)

    assert watched.sensors == ("step",)
    assert blind.deep >= 5
    assert found.deep_left < blind.deep, "what was learned of the spot leaves less to be caught"
    assert found.alarms >= 1
    assert found.caught_share == found.caught / found.deep_left > 0.0
    assert found.false_alarms <= 1
    assert found.harm < 0.4 * blind.harm
    assert blind.alarms == blind.alarmed == blind.deep_alarmed == 0


def test_nothing_is_said_where_forecasts_come_true() -> None:
    asked = replace(autumn(5), forecasts=PerfectForecasts(lately("EWR")))
    assert totals(replay(asked).nights).alarms == 0


def test_who_is_away_hears_alarms_and_does_nothing() -> None:
    asked = autumn(5)
    away = frozenset(FIRST + timedelta(days=days) for days in range(5))
    found = replay(replace(asked, away=away)).nights
    alarmed = [night for night in found if night.alarms]
    assert alarmed
    assert all(night.caught == night.eased == 0 for night in alarmed)
    assert all(night.carried_in == 0 for night in found)


def test_an_alarm_is_told_once_for_a_plant_and_carries_it_in() -> None:
    asked = autumn(14)
    run, called = Run(asked), 0
    for days in range((first_day(asked) - FIRST).days, 14):
        night = run.night(FIRST + timedelta(days=days))
        in_by_alarm = [int(row) for _, rows in run._heard.alarms for row in rows]
        assert len(in_by_alarm) == len(set(in_by_alarm)) == night.alarmed
        for at, rows in run._heard.alarms:
            carried = [step for step in run.places.steps if np.isin(rows, step.plants).all()]
            assert any(step.at == pytest.approx(at, abs=3600) for step in carried)
        called += night.alarmed
    assert 0 < called < 15 * len(LIMITS_C)
