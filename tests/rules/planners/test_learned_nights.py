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
from sillward_rules.plants.collection import Habits
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.learned_nights import LearnedNights
from sillward_rules.weather.lows import tonight
from sillward_rules.weather.night_course import NightCourse
from sillward_rules.weather.night_error import DRIFT_K, UNTAUGHT_ALIKE, Circumstances
from sillward_rules.weather.spot import Spot
from sillward_rules.weather.spot_doubt import doubt_factor
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
    """A correction that is the same on all nights; factor : on the standard deviation."""
    none = np.zeros((4, 4))
    variance = none.copy()
    variance[0, 0] = max(sd_k**2 - DRIFT_K[0] ** 2, 0.0)
    error = replace(
        UNTAUGHT_ALIKE,
        bias=np.array([level_k, 0.0, 0.0, 0.0]),
        bias_variance=variance,
        spreads=np.array([factor**2, 0.0, factor**2]),
    )
    usual = error.expect(Circumstances(1.3))
    return LearnedNights(error, usual, 23, date(2026, 5, 13), level_k, level_k, 5.0)


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
@pytest.mark.parametrize(("sd_k", "factor"), [(0.05, 1.0), (0.6, 1.0), (0.4, 1.5), (1.0, 0.6)])
def test_a_learned_spot_is_decided_as_by_a_forecast_of_its_own(
    members: bool, level_k: float, sd_k: float, factor: float
) -> None:
    air = sky(10.0, members=members)
    spot = replace(OPEN_BENCH, night_offset_k=None, learned=learned(level_k, sd_k, factor))
    # Wind at 10 m and cloud leave the whole of an offset here.
    reference = in_doubt(air, sd_k, factor)

    needs, chance = decided(scene_of(air, spot))
    expected, expected_chance = decided(
        scene_of(reference, replace(OPEN_BENCH, night_offset_k=level_k))
    )

    np.testing.assert_allclose(needs.harm, expected.harm, atol=2e-6)
    np.testing.assert_allclose(chance, expected_chance, atol=2e-6)
    np.testing.assert_allclose(needs.deadline, expected.deadline, atol=2.0)
    np.testing.assert_array_equal(needs.must_be_in, expected.must_be_in)
    assert 0.0 < chance[1] < 1.0


def test_at_a_spot_that_was_read_a_learned_table_does_not_count_as_well() -> None:
    """What is learned at a spot is beside the usual errors. A table of larger errors, from the same
    readings, would count them twice."""
    air = sky(10.0, members=False)
    usual = usual_spread(air.times, DUSK)
    table = replace(air, spread=replace(usual, error_k=1.5 * usual.error_k))
    spot = replace(OPEN_BENCH, learned=learned(-0.5, 0.3, 1.5))

    one, other = (decided(scene_of(of, spot)) for of in (air, table))

    np.testing.assert_allclose(one[0].harm, other[0].harm, atol=1e-9)
    np.testing.assert_allclose(one[1], other[1], atol=1e-9)


@pytest.mark.parametrize(("share", "counts"), [(0.6, 1.0), (1.5, 1.5)])
def test_what_was_learned_at_other_spots_makes_no_forecast_surer_here(
    share: float, counts: float
) -> None:
    """Errors that are left after a correction, at a spot that has none."""
    air = sky(10.0, members=False)
    usual = usual_spread(air.times, DUSK)
    learned_there = replace(usual, error_k=share * usual.error_k, corrected=True)
    as_told = replace(usual, error_k=counts * usual.error_k)

    found, expected = (
        decided(scene_of(replace(air, spread=of), OPEN_BENCH)) for of in (learned_there, as_told)
    )

    np.testing.assert_allclose(found[0].harm, expected[0].harm, atol=1e-9)
    np.testing.assert_allclose(found[1], expected[1], atol=1e-9)
    np.testing.assert_allclose(found[0].deadline, expected[0].deadline, atol=2.0)


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


def factor_of(scene: Scene) -> np.ndarray:
    """The factor at each step of the night at each spot, beside the usual error."""
    climate = scene.by_night
    spread = usual_spread(climate.times, DUSK)
    return doubt_factor(climate, climate.times, spread, spread.error_k)


def test_calm_nights_are_doubted_by_what_calm_nights_have_shown() -> None:
    air = sky(10.0, members=False)
    windy = replace(air, wind_m_s=np.full(air.times.size, 12.0))
    known = learned(0.0, 0.0, 0.7)
    error = replace(known.error, spreads=np.array([0.49, 1.2, 1.0]))
    spot = replace(OPEN_BENCH, learned=replace(known, error=error))

    calm, other = (factor_of(scene_of(of, spot)) for of in (air, windy))

    # 1 m/s is one and a half deviations below the usual 4 m/s.
    assert calm[:, 0].max() == pytest.approx(np.sqrt(0.49 + 1.5 * 1.2), abs=0.01)
    np.testing.assert_allclose(other[:, 0], 0.7, atol=0.01)
    np.testing.assert_array_equal(calm[:, 1], 1.0)


def test_the_rest_of_this_night_is_as_doubtful_as_its_course() -> None:
    air = sky(10.0, members=False)
    at = tuple(NIGHT.start.timestamp() + 3600.0 * hour for hour in range(5))
    errors = (0.2, 0.4, 0.6, 0.8, 1.0)
    course = NightCourse(NIGHT.start, 12.0, 14.0, True, at, (-2.0,) * 5, errors)
    scene = scene_of(air, replace(OPEN_BENCH, tonight=course))
    times = scene.by_night.times

    found = factor_of(scene)[:, 0] * usual_spread(times, DUSK).error_k

    within = (times >= at[0]) & (times <= at[-1])
    np.testing.assert_allclose(found[within], np.interp(times[within], at, errors))
    np.testing.assert_array_equal(factor_of(scene)[~within, 0], 1.0)


def test_what_is_shown_of_a_low_has_the_doubt_of_its_spot() -> None:
    air = sky(10.0, members=False)
    spots = (OPEN_BENCH, replace(OPEN_BENCH, name="wall", learned=learned(-1.0, 0.8, 1.5)))

    plain, wall = tonight(MENDOZA, spots, air, DUSK).lows

    assert plain.sd_k is not None
    assert wall.sd_k == pytest.approx(np.hypot(1.5 * plain.sd_k, 0.8), rel=1e-4)
    assert wall.air_c == pytest.approx((plain.air_c or 0.0) - 1.0)
