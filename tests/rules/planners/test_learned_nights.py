"""What readings have taught about a spot, in the decisions of a night.

A spot with a learned correction and doubt must be decided exactly as the same spot would be by a
forecast that is colder by the correction, and in doubt by both together.
"""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from sillward_rules.planners.nights import NightNeeds, find_night_needs
from sillward_rules.planners.scene.night_risk import chance_in
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.planners.scene.spot_doubt import doubt_factor
from sillward_rules.plants.collection import Habits
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.learned_nights import LearnedNights
from sillward_rules.weather.night_course import NightCourse
from sillward_rules.weather.spot import Spot
from sillward_rules.weather.uncertainty import Spread, usual_spread
from tests.support.core import (
    MENDOZA,
    OPEN_BENCH,
    WARM_ROOM,
    collection,
    daily_curve,
    fetched,
    plant,
    uncertain,
    utc,
    weather,
)

START = utc("2026-05-13T00:00")
DUSK = utc("2026-05-14T20:00")
NIGHT = sun.night_of(MENDOZA, date(2026, 5, 14))
MEMBERS = np.linspace(-1.2, 1.2, 7)


def learned(level_k: float, sd_k: float, factor: float) -> LearnedNights:
    last = date(2026, 5, 13)
    return LearnedNights(23, last, level_k, 0.0, sd_k**2, 0.0, 0.0, factor, factor, level_k)


def sky(low: float, *, members: bool) -> Weather:
    air = uncertain(fetched(weather(START, daily_curve(low, low + 11.0, 96, warmest_utc=20)), DUSK))
    if not members:
        return air
    error = np.full(air.times.size, 0.8)
    deviations = np.repeat(MEMBERS[:, None], air.times.size, axis=1)
    return replace(air, spread=Spread(deviations, error, "members"))


def in_doubt(air: Weather, sd_k: float, factor: float) -> Weather:
    """The same forecast, as much in doubt as the spot is."""
    spread = air.spread or usual_spread(air.times, DUSK)
    share = np.sqrt(factor**2 + (sd_k / spread.sd_k) ** 2)
    scaled = Spread(spread.deviations * share, spread.error_k * share, spread.origin)
    return replace(air, spread=scaled)


def scene_of(air: Weather, spot: Spot) -> Scene:
    plants = [plant(f"limit {limit}", night_low=limit) for limit in (7.0, 9.0, 11.0, 13.0)]
    made = collection(*plants, spots=(spot, WARM_ROOM), habits=Habits(caution=120.0))
    return Scene(made, air, {}, DUSK)


def decided(scene: Scene) -> tuple[NightNeeds, np.ndarray]:
    limit = scene.traits.limits["night_low"]
    home = np.zeros(limit.size, dtype=np.int64)
    return find_night_needs(scene, NIGHT), chance_in(scene, NIGHT, home, limit)


@pytest.mark.parametrize("members", [False, True])
@pytest.mark.parametrize("level_k", [-1.3, 0.0, 0.9])
@pytest.mark.parametrize(("sd_k", "factor"), [(0.0, 1.0), (0.6, 1.0), (0.4, 1.5), (1.0, 0.6)])
def test_a_learned_spot_is_decided_as_by_a_forecast_of_its_own(
    members: bool, level_k: float, sd_k: float, factor: float
) -> None:
    air = sky(10.0, members=members)
    spot = replace(OPEN_BENCH, night_offset_k=None, learned=learned(level_k, sd_k, factor))
    # Wind at 10 m and cloud leave the whole of an offset here.
    reference = in_doubt(replace(air, temp_c=air.temp_c), sd_k, factor)

    needs, chance = decided(scene_of(air, spot))
    expected, expected_chance = decided(
        scene_of(reference, replace(OPEN_BENCH, night_offset_k=level_k))
    )

    np.testing.assert_allclose(needs.harm, expected.harm, atol=2e-6)
    np.testing.assert_allclose(chance, expected_chance, atol=2e-6)
    np.testing.assert_allclose(needs.deadline, expected.deadline, atol=2.0)
    np.testing.assert_array_equal(needs.must_be_in, expected.must_be_in)
    assert 0.0 < chance[1] < 1.0


def test_doubt_about_the_correction_sends_more_plants_in() -> None:
    air = sky(11.5, members=False)
    sure, unsure = (
        find_night_needs(scene_of(air, replace(OPEN_BENCH, learned=learned(0.0, sd_k, 1.0))), NIGHT)
        for sd_k in (0.1, 1.5)
    )

    assert (unsure.harm >= sure.harm).all()
    assert unsure.must_be_in.sum() > sure.must_be_in.sum()


def test_a_forecast_that_is_known_to_be_right_stays_so() -> None:
    air = fetched(weather(START, daily_curve(10.0, 21.0, 96, warmest_utc=20)), DUSK)
    spot = replace(OPEN_BENCH, learned=learned(0.0, 0.0, 2.0))

    _, chance = decided(scene_of(air, spot))

    assert set(chance.tolist()) <= {0.0, 1.0}


def test_calm_nights_are_doubted_by_what_calm_nights_have_shown() -> None:
    air = sky(10.0, members=False)
    windy = replace(air, wind_m_s=np.full(air.times.size, 12.0), cloud=np.ones(air.times.size))
    known = replace(learned(0.0, 0.0, 1.0), calm_factor=2.0, other_factor=0.7)
    spot = replace(OPEN_BENCH, learned=known)

    for of, factor in ((air, 2.0), (windy, 0.7)):
        climate = scene_of(of, spot).by_night
        told = np.full(climate.times.size, 1.3)
        found = doubt_factor(climate, climate.times, told)
        np.testing.assert_allclose(found[:, 0], factor)
        np.testing.assert_allclose(found[:, 1], 1.0)


def test_the_rest_of_this_night_is_as_doubtful_as_its_course() -> None:
    air = sky(10.0, members=False)
    at = tuple(NIGHT.start.timestamp() + 3600.0 * hour for hour in range(5))
    course = NightCourse(NIGHT.start, 12.0, 14.0, True, at, (-2.0,) * 5, (0.2, 0.4, 0.6, 0.8, 1.0))
    climate = scene_of(air, replace(OPEN_BENCH, tonight=course)).by_night
    told = np.full(climate.times.size, 2.0)

    found = doubt_factor(climate, climate.times, told)[:, 0]

    within = (climate.times >= at[0]) & (climate.times <= at[-1])
    assert found[within].min() == pytest.approx(0.1, abs=0.02)
    assert found[within].max() == pytest.approx(0.5, abs=0.06)
    np.testing.assert_array_equal(found[~within], 1.0)
