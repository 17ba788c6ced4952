"""Invented past weather and small collections for the tests of replays."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np

from sillward_rules.plants.collection import Collection, Habits
from sillward_rules.plants.limits import Limit, Limits
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.rule_reading import standard_rules
from sillward_rules.replay.engine import Plan
from sillward_rules.replay.forecasts import Forecasts, PerfectForecasts
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import Spot
from tests.support.core import MENDOZA, OPEN_BENCH, WARM_ROOM

LIMITS_C = (4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0)

BENCH = replace(OPEN_BENCH, rain=0.0)
"""It changes nothing of the forecast, and under its roof no leaf is wet: the leaf is as warm as the
air of the weather."""

COLD_FRAME = Spot("frame", indoors=True, night_offset_k=4.0, day_offset_k=6.0)
"""A cover that follows the weather, and so does not hold every night."""


def past_weather(first: date, days: int, *, site: Site = MENDOZA, seed: int = 1) -> Weather:
    """Weather of so many days from the midnight (UTC) of a date on, with warm and cold spells.

    By the calendar of the site's hemisphere; some cloud, now and then rain.
    """
    rng = np.random.default_rng(seed)
    hours = 24 * days
    start = datetime(first.year, first.month, first.day, tzinfo=UTC)
    times = int(start.timestamp()) + 3600 * np.arange(hours, dtype=np.int64)
    of_year = times / 86400 / 365.25 * 2 * np.pi
    clock = (times / 86400 + site.longitude / 360) % 1.0
    summer = -np.cos(of_year - 0.3) * (1 if site.latitude > 0 else -1)
    knots = np.arange(0, hours + 30, 30)
    spells = np.interp(np.arange(hours), knots, _spells(rng, knots.size))
    cloud = np.clip(0.35 + 0.3 * np.roll(spells, 40), 0.0, 1.0)
    by_day = np.cos(2 * np.pi * (clock - 15 / 24))
    temp = 11.0 + 6.0 * summer + 2.5 * spells + (7.0 - 4.0 * cloud) * by_day
    height = np.maximum(np.cos(2 * np.pi * (clock - 0.5)), 0.0)
    return Weather(
        times=times,
        temp_c=temp,
        dew_point_c=np.minimum(2.0 + 3.0 * summer + 1.5 * spells, temp - 0.5),
        wind_m_s=1.0 + 2.0 * cloud + np.maximum(by_day, 0.0),
        gust_m_s=2.0 + 4.0 * cloud,
        cloud=cloud,
        rain_mm=np.where((cloud > 0.75) & (rng.random(hours) < 0.3), 0.8, 0.0),
        direct_w_m2=650.0 * height * (1 - cloud),
        diffuse_w_m2=(70.0 + 120.0 * cloud) * height,
        hail_pct=np.zeros(hours),
        source="invented",
        fetched_at=start,
    )


def _spells(rng: np.random.Generator, count: int) -> np.ndarray:
    steps = rng.standard_normal(count)
    for index in range(1, count):
        steps[index] = 0.7 * steps[index - 1] + 0.7 * steps[index]
    return steps


def some_plants(*, site: Site = MENDOZA, habits: Habits | None = None) -> Collection:
    """Two plants for each limit, one of them with a limit of injury, one in a cold frame, one
    without a shelter. Unless habits are given, the grower takes forecasts at their word."""
    plants = [
        Plant(f"from {limit:g}", "bench", "room", "pot", Limits(night_low=Limit(limit, "own")))
        for limit in LIMITS_C
    ]
    plants += [
        Plant(
            f"hurt at {limit - 4:g}",
            "bench",
            "room",
            "pot",
            Limits(night_low=Limit(limit, "own"), brief_low=Limit(limit - 4, "own")),
        )
        for limit in LIMITS_C
    ]
    tender = Limits(night_low=Limit(10.0, "own"))
    plants += [
        Plant("framed", "bench", "frame", "pot", tender),
        Plant("unsheltered", "bench", None, "pot", tender),
    ]
    spots = (BENCH, WARM_ROOM, COLD_FRAME)
    return Collection(site, spots, tuple(plants), standard_rules(), habits or Habits(caution=0.0))


def plan(
    collection: Collection,
    truth: Weather,
    first: date,
    nights: int,
    forecasts: Forecasts | None = None,
    **more: object,
) -> Plan:
    """The replay of so many nights."""
    last = first + timedelta(days=nights - 1)
    made = forecasts or PerfectForecasts(truth)
    return Plan(collection, truth, made, first, last, **more)  # type: ignore[arg-type]
