"""What readings have taught, applied to the nights of a forecast."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from sillward_rules.weather import sun
from sillward_rules.weather.climate import climate_by_night, climate_of
from sillward_rules.weather.forecast_nights import forecast_nights
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.learned_nights import LearnedNights
from sillward_rules.weather.night_error import UNTAUGHT, Circumstances
from sillward_rules.weather.night_summary import nights_of
from sillward_rules.weather.spot import Spot
from sillward_rules.weather.spot_nights import spot_nights
from tests.support.core import MENDOZA, OPEN_BENCH, WARM_ROOM, daily_curve, utc, weather

START = utc("2026-05-13T00:00")
NIGHT = sun.night_of(MENDOZA, date(2026, 5, 14))


def sky(**series: object) -> Weather:
    return weather(START, daily_curve(8.0, 20.0, 96, warmest_utc=20), **series)


def taught(*bias_k: float) -> LearnedNights:
    """Level, and what calm, dry and warm nights add to it."""
    bias = np.zeros(4)
    bias[: len(bias_k)] = bias_k
    error = replace(UNTAUGHT, bias=bias, low_c=8.0)
    level_k, usual = bias_k[0], error.expect(Circumstances(1.3))
    return LearnedNights(error, usual, 23, date(2026, 5, 12), level_k, level_k, 5.0)


def bench(*bias_k: float, said_k: float = 0.0) -> Spot:
    return replace(OPEN_BENCH, night_offset_k=said_k, learned=taught(*bias_k))


def low_of(spot: Spot, air: Weather) -> float:
    """The lowest air temperature of the night at a spot."""
    hourly = climate_of(MENDOZA, (spot, WARM_ROOM), air)
    climate = climate_by_night(MENDOZA, hourly, air)
    at = (climate.times >= NIGHT.start.timestamp()) & (climate.times <= NIGHT.end.timestamp())
    return float(climate.temp_c[at, 0].min())


def test_nights_are_those_of_the_archive() -> None:
    air = sky(wind_m_s=2.5, dew_point_c=1.0, cloud=0.3)
    nights = forecast_nights(MENDOZA, air)

    for told in nights_of(MENDOZA, air, START - timedelta(days=2)):
        row = nights.row_of(sun.night_of(MENDOZA, told.night))
        assert nights.low_c[row] == told.low_c
        assert nights.wind_m_s[row] == 2.5
        assert nights.cloud[row] == 0.3
        assert nights.above_dew_point_k[row] == told.low_c - 1.0


def test_nothing_learned_changes_nothing() -> None:
    found = spot_nights(MENDOZA, (OPEN_BENCH, WARM_ROOM), sky())

    assert not found.bias_k.any()
    assert (found.own == 1).all()
    assert not found.unsure_k2.any()


@pytest.mark.parametrize("level_k", [-1.5, 0.8])
def test_a_level_is_added_to_the_nights(level_k: float) -> None:
    air = sky()

    assert low_of(bench(level_k), air) - low_of(OPEN_BENCH, air) == pytest.approx(level_k)


def test_it_is_added_to_what_the_grower_said() -> None:
    air = sky(wind_m_s=8.0)
    said = replace(OPEN_BENCH, night_offset_k=-2.0)

    both = low_of(bench(-0.7, said_k=-2.0), air) - low_of(said, air)

    assert both == pytest.approx(-0.7)


def test_no_night_is_taken_to_be_warmer_than_can_be() -> None:
    air = sky(wind_m_s=0.0)
    warm = low_of(bench(3.5, 1.5), air) - low_of(OPEN_BENCH, air)

    assert warm == pytest.approx(5.0), "3.5 + 2 x 1.5 K on the calmest nights"


def test_by_day_nothing_is_added() -> None:
    air = sky()
    noon = int(np.searchsorted(air.times, utc("2026-05-14T17:00").timestamp()))

    with_level, without = (
        climate_of(MENDOZA, (spot,), air).temp_c[noon, 0] for spot in (bench(-2.0), OPEN_BENCH)
    )

    assert with_level == without


@pytest.mark.parametrize(("wind_m_s", "calm"), [(2.0, 1.0), (4.0, 0.0), (20.0, -2.0)])
def test_calm_nights_are_corrected_as_calm_nights_were(wind_m_s: float, calm: float) -> None:
    """4 +/- 2 m/s are usual."""
    air = sky(wind_m_s=wind_m_s)

    off = low_of(bench(-0.5, -0.6), air) - low_of(OPEN_BENCH, air)

    assert off == pytest.approx(-0.5 - 0.6 * calm)


def test_where_the_weather_is_not_known_the_colder_case_counts() -> None:
    air = sky(wind_m_s=np.nan, dew_point_c=np.nan)
    found = spot_nights(MENDOZA, (bench(-0.5, 0.4, -0.3),), air)

    assert found.bias_k[0, 0] == pytest.approx(-0.5 - 0.4 - 0.3)
    assert found.bias_k[-1, 0] == pytest.approx(-0.5 - 0.4 - 0.3)


def test_indoors_nothing_is_learned_of_nights_outdoors() -> None:
    porch = Spot("porch", indoors=True, night_offset_k=2.0, learned=taught(-1.0))

    assert not spot_nights(MENDOZA, (porch,), sky()).bias_k.any()
