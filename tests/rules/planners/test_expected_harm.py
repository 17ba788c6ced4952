"""The harm that a night is expected to do, against courses of the night drawn one by one.

The reference shares no arithmetic with the core: it draws errors with NumPy's generator, puts each
course together from the forecast by the hour, adds up the area under the limit in its own trapezia
of ten minutes, and takes the harm of each course by the formulas of the manual.
"""

import math
from dataclasses import replace
from datetime import date, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sillward_rules.arrays import Array
from sillward_rules.planners.nights import find_night_needs
from sillward_rules.planners.scene.scene import Scene
from sillward_rules.plants.collection import Habits
from sillward_rules.plants.limits import Limit
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.state import ColdHistory, PlantState, State
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.spot import Spot
from sillward_rules.weather.uncertainty import Spread
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
DUSK = utc("2026-05-14T20:00")  # 17:00 at the site; the sun sets at 18:42 and rises at 08:17
DAY = date(2026, 5, 14)
HOURS = 96
NIGHT = sun.night_of(MENDOZA, DAY)

few = settings(deadline=None, derandomize=True, max_examples=40)


def sky(low: float, high: float | None = None, **series: object) -> Weather:
    """A forecast of this low with the usual errors."""
    curve = daily_curve(low, low + 11.0 if high is None else high, HOURS, warmest_utc=20)
    return uncertain(fetched(weather(START, curve, **series), DUSK))


def with_limits(name: str, night_low: float, brief_low: float | None, **more: str) -> Plant:
    one = plant(name, night_low=night_low, **more)  # type: ignore[arg-type]
    brief = None if brief_low is None else Limit(brief_low, "test")
    return replace(one, limits=replace(one.limits, brief_low=brief))


def scene_of(
    air: Weather,
    *plants: Plant,
    state: State | None = None,
    spots: tuple[Spot, ...] = (OPEN_BENCH, WARM_ROOM),
    caution: float = 60.0,
    now: datetime = DUSK,
) -> Scene:
    made = collection(*plants, spots=spots, habits=Habits(caution=caution))
    return Scene(made, air, state or {}, now)


def harm_of(scene: Scene) -> dict[str, float]:
    """The expected harm of the night, by plant."""
    needs = find_night_needs(scene, NIGHT)
    return {
        name: float(needs.harm[cohort.index]) for cohort in scene.cohorts for name in cohort.names
    }


# -- the reference


FINE_S = 600
DRAWS = 20_000


def fine_times(now: datetime = DUSK) -> Array:
    """Every ten minutes of what is left of the night, the hour before this moment included."""
    first = max(NIGHT.start, now - timedelta(hours=1)).timestamp()
    last = NIGHT.cold_until.timestamp()
    return np.linspace(first, last, int((last - first) / FINE_S) + 1)


def usual_k(at: Array) -> Array:
    """The usual error: 1 K at the issue, then the table of the manual."""
    hours = [0, 18, 42, 66, 90, 114, 138, 162]
    return np.interp(
        (at - DUSK.timestamp()) / 3600, hours, [1.0, 1.3, 1.7, 2.0, 2.2, 2.5, 2.8, 3.1]
    )


def area_of(under_k: Array, at: Array) -> Array:
    """Degree-hours of each course: (course, time) under the limit."""
    deep = np.maximum(under_k, 0.0)
    return np.asarray(((deep[:, 1:] + deep[:, :-1]) / 2 * np.diff(at) / 3600).sum(axis=1))


def harm_by_hand(
    area: Array, span_k: float, *, carried: float = 0.0, hardened: float = 0.0
) -> float:
    dose = np.minimum(area / (4.0 * span_k), 1.0)
    return float(np.minimum((1 - 0.4 * hardened) * dose * (1 + carried), 1.0).mean())


def hours_of(under_k: Array, at: Array) -> Array:
    """Hours of each course under the limit: shares of the straight lines between the moments."""
    here, there = under_k[:, :-1], under_k[:, 1:]
    steep = np.where(here == there, 1.0, there - here)
    crossing = np.clip(-here / steep, 0.0, 1.0)
    share = np.where(here > 0, np.where(there > 0, 1.0, crossing), 1.0 - crossing)
    share = np.where((here <= 0) & (there <= 0), 0.0, share)
    return np.asarray((share * np.diff(at) / 3600).sum(axis=1))


def drawn(forecast_c: Array, error_k: Array, members: Array | None = None) -> Array:
    """Courses (course, time): a member each if there are any, and an error all night long."""
    random = np.random.default_rng(20260514)
    score = random.standard_normal((DRAWS, 1))
    courses = forecast_c + score * error_k
    if members is not None:
        courses = courses + members[random.integers(0, len(members), DRAWS)]
    return np.asarray(courses)


def leaf_by_hand(air: Weather, at: Array) -> Array:
    """At the open bench leaf and forecast are one; between the hours lie straight lines."""
    return np.interp(at, air.times, air.temp_c)


@pytest.mark.parametrize("margin", [-2.0, -0.5, 0.5, 1.5, 3.0])
@pytest.mark.parametrize("span", [1.5, 4.0, 7.0])
def test_with_the_usual_error_it_is_that_of_drawn_courses(margin: float, span: float) -> None:
    air, at = sky(9.0), fine_times()
    limit = 9.0 - margin

    told = harm_of(scene_of(air, with_limits("Pot", limit, limit - span)))["Pot"]

    under = limit - drawn(leaf_by_hand(air, at), usual_k(at))
    borne = (hours_of(under, at) <= 1) & (margin > 0)  # by the forecast the other nights are mild
    expected = harm_by_hand(np.where(borne, 0.0, area_of(under, at)), span)
    assert told == pytest.approx(expected, rel=0.04, abs=0.0005)


@pytest.mark.parametrize("error", [0.3, 1.0])
def test_with_members_it_is_that_of_drawn_members(error: float) -> None:
    air, at = sky(9.0), fine_times()
    random = np.random.default_rng(7)
    walks = random.standard_normal((20, HOURS)) * 0.5
    walks = np.cumsum(walks, axis=1) - np.cumsum(walks, axis=1).mean(axis=0)
    known = replace(air, spread=Spread(walks, np.full(HOURS, error), "members of a test"))

    told = harm_of(scene_of(known, *(with_limits(f"{low}", low, low - 4) for low in (7.0, 9.0))))

    # Members are held against the hours of the night and the one before; the core holds the end
    # values outside of them.
    inside = air.times[(air.times >= NIGHT.start.timestamp() - 3600)]
    members = np.array([np.interp(at, inside, walk[-inside.size :]) for walk in walks])
    courses = drawn(leaf_by_hand(air, at), np.full(at.shape, error), members)
    for limit in (7.0, 9.0):
        expected = harm_by_hand(area_of(limit - courses, at), 4.0)
        assert told[f"{limit}"] == pytest.approx(expected, rel=0.06), limit


def test_the_nights_before_and_what_a_plant_is_used_to_count() -> None:
    """Carried into the third night after: 0.5 x 2^(-3/5); used to 11 °C, 2 K above its limit."""
    air, at = sky(9.0), fine_times()
    cold = ColdHistory(DAY - timedelta(days=3), 0.5, 11.0)
    before = {"Pot": PlantState("bench", cold=cold)}

    told = harm_of(scene_of(air, with_limits("Pot", 9.0, 5.0), state=before))["Pot"]

    courses = drawn(leaf_by_hand(air, at), usual_k(at))
    carried, hardened = 0.5 * 2 ** (-2 / 5), 1 - 2 / 6
    expected = harm_by_hand(area_of(9.0 - courses, at), 4.0, carried=carried, hardened=hardened)
    assert told == pytest.approx(expected, rel=0.03)


def test_a_wet_crown_is_held_against_a_higher_bound_while_it_is_wet() -> None:
    """Rain from noon on: 1.5 K more all night for a plant that rots, nothing for one that does not.

    The air is saturated at 9 °C or more, so that the wet leaf is never colder than the air.
    """
    rain = np.where(np.arange(HOURS) >= 39, 1.0, 0.0)
    flat = np.full(HOURS, 9.0)
    air = uncertain(fetched(weather(START, flat, rain_mm=rain, dew_point_c=9.0, cloud=1.0), DUSK))
    rots = with_limits("Rots", 9.0, 5.0)
    hardy = replace(rots, name="Hardy", limits=replace(rots.limits, rot=None))

    told = harm_of(scene_of(air, rots, hardy))

    at = fine_times()
    courses = drawn(leaf_by_hand(air, at), usual_k(at))
    for name, limit in (("Rots", 10.5), ("Hardy", 9.0)):
        assert told[name] == pytest.approx(
            harm_by_hand(area_of(limit - courses, at), 4.0), rel=0.03
        )


@pytest.mark.parametrize("borne", [0, 1, 3])
def test_courses_that_dip_under_the_limit_for_a_while_do_no_harm_to_who_stands_it(
    borne: int,
) -> None:
    """A night of 12 °C that sinks to 9.5 towards one hour, between nights of 12 °C."""
    temp = np.full(HOURS, 12.0)
    temp[55:62] = [11.5, 11.0, 10.0, 9.5, 10.0, 11.0, 11.5]
    air, at = uncertain(fetched(weather(START, temp), DUSK)), fine_times()
    stands, does_not = with_limits("Stands", 9.0, 5.0), with_limits("Does not", 9.0, None)
    habits = Habits(brief_cold=timedelta(hours=borne))
    made = collection(stands, does_not, habits=habits)

    told = harm_of(Scene(made, air, {}, DUSK))

    under = 9.0 - drawn(leaf_by_hand(air, at), usual_k(at))
    area, counts = area_of(under, at), (hours_of(under, at) > borne) | (under.max(axis=1) > 4.0)
    every, counted = harm_by_hand(area, 4.0), harm_by_hand(np.where(counts, area, 0.0), 4.0)
    assert told["Does not"] == pytest.approx(every, rel=0.05)
    assert told["Stands"] == pytest.approx(counted, rel=0.08)
    assert counted == every if borne == 0 else counted < every


@pytest.mark.parametrize(("low", "harmed"), [(8.1, False), (7.9, True)])
def test_a_dip_under_the_limit_of_injury_is_never_borne(low: float, harmed: bool) -> None:
    """From 20 °C straight to this and back within an hour each, by a forecast that is right."""
    temp = np.full(HOURS, 20.0)
    temp[57] = low
    sure = fetched(weather(START, temp), DUSK)

    told = harm_of(scene_of(sure, with_limits("Pot", 13.0, 8.0)))["Pot"]

    at = fine_times()
    area = area_of(13.0 - leaf_by_hand(sure, at)[None, :], at)
    expected = harm_by_hand(area, 5.0) if harmed else 0.0
    assert told == pytest.approx(expected, rel=0.1)


def test_a_dip_of_a_night_after_one_as_cold_counts_in_full() -> None:
    temp = np.full(HOURS, 12.0)
    temp[57] = 8.5
    twice = temp.copy()
    twice[57 - 24] = 8.5
    pot = with_limits("Pot", 9.0, 5.0)

    once, again = (
        harm_of(scene_of(uncertain(fetched(weather(START, of), DUSK)), pot))["Pot"]
        for of in (temp, twice)
    )

    assert again > once > 0


def test_what_is_left_of_a_night_counts_alone() -> None:
    late = utc("2026-05-15T09:00")
    air = replace(sky(9.0), fetched_at=DUSK)
    whole = harm_of(scene_of(air, with_limits("Pot", 9.0, 5.0)))["Pot"]

    told = harm_of(scene_of(air, with_limits("Pot", 9.0, 5.0), now=late))["Pot"]

    at = fine_times(late)
    courses = drawn(leaf_by_hand(air, at), usual_k(at))
    assert told == pytest.approx(harm_by_hand(area_of(9.0 - courses, at), 4.0), rel=0.03)
    assert told < whole


def test_a_forecast_that_is_known_to_be_right_does_its_own_harm() -> None:
    sure = fetched(weather(START, daily_curve(7.0, 18.0, HOURS, warmest_utc=20)), DUSK)
    at = fine_times()

    told = harm_of(scene_of(sure, with_limits("Pot", 8.0, 4.0), with_limits("Hardy", 6.9, 2.0)))

    area = area_of(8.0 - leaf_by_hand(sure, at)[None, :], at)
    assert told["Pot"] == pytest.approx(harm_by_hand(area, 4.0), rel=0.01)
    assert told["Hardy"] == 0.0


def test_a_later_night_is_weighed_as_the_forecast_of_its_own_evening_will_be() -> None:
    """The third night ahead with 1.3 K of error, the usual one of a first night, and not 2 K."""
    days = 5
    curve = daily_curve(9.0, 20.0, 24 * days, warmest_utc=20)
    air = uncertain(fetched(weather(START, curve), DUSK))
    scene = scene_of(air, with_limits("Pot", 8.0, None))
    later = sun.night_of(MENDOZA, DAY + timedelta(days=2))

    told = float(find_night_needs(scene, later).harm[0])

    at = np.linspace(later.start.timestamp(), later.cold_until.timestamp(), 95)
    under = 8.0 - drawn(leaf_by_hand(air, at), np.full(at.shape, 1.3))
    assert told == pytest.approx(harm_by_hand(area_of(under, at), 4.0), rel=0.05)


# -- what is not known, and where nothing can happen


@pytest.mark.parametrize(("size", "known"), [(1, True), (2, True), (3, False), (6, False)])
def test_an_hour_that_is_missing_is_bridged_and_a_longer_gap_is_not_known(
    size: int, known: bool
) -> None:
    temp = daily_curve(9.0, 20.0, HOURS, warmest_utc=20)
    temp[54 : 54 + size] = np.nan
    air = uncertain(fetched(weather(START, temp), DUSK))
    scene = scene_of(air, with_limits("Pot", 9.0, 5.0))

    harm = harm_of(scene)["Pot"]

    needs = find_night_needs(scene, NIGHT)
    assert np.isfinite(harm) == known
    assert bool(needs.fully_known[0]) == known
    assert bool(needs.must_be_in[0]), "unknown is cold"
    if known:
        filled = replace(air, temp_c=np.interp(air.times, air.times[~np.isnan(temp)],
                                               temp[~np.isnan(temp)]))  # fmt: skip
        assert harm == pytest.approx(harm_of(scene_of(filled, with_limits("Pot", 9.0, 5.0)))["Pot"])


def test_a_night_beyond_the_forecast_has_no_harm_that_is_known() -> None:
    air = sky(9.0)
    short = uncertain(fetched(weather(START, air.temp_c[:56]), DUSK))

    assert np.isnan(harm_of(scene_of(short, with_limits("Pot", 9.0, 5.0)))["Pot"])


def test_a_spot_with_a_climate_of_its_own_does_no_harm_and_one_that_follows_does() -> None:
    porch = Spot("porch", indoors=True, night_offset_k=3.0, day_offset_k=3.0)
    cold_room = Spot("cold room", indoors=True, night_low_c=4.0, day_low_c=10.0)
    at = fine_times()
    air = sky(9.0)

    told = harm_of(
        scene_of(
            air,
            with_limits("Held", 9.0, 5.0, home="cold room"),
            with_limits("Follows", 12.0, 8.0, home="porch"),
            spots=(OPEN_BENCH, porch, cold_room, WARM_ROOM),
        )
    )

    assert told["Held"] == 0.0
    courses = drawn(leaf_by_hand(air, at) + 3.0, usual_k(at))
    expected = harm_by_hand(area_of(12.0 - courses, at), 4.0)
    assert told["Follows"] == pytest.approx(expected, rel=0.03)


def test_of_a_plant_without_a_comfort_limit_no_harm_is_known() -> None:
    assert math.isnan(harm_of(scene_of(sky(-5.0), plant("Pot", night_low=None)))["Pot"])


def test_other_plants_of_the_household_change_nothing() -> None:
    air = sky(9.0)
    many = [with_limits(f"Pot {n}", 6.0 + n / 10, 6.0 + n / 10 - 1.5 - n / 7) for n in range(30)]

    together = harm_of(scene_of(air, *many))

    for one in many[::7]:
        assert together[one.name] == pytest.approx(harm_of(scene_of(air, one))[one.name], rel=1e-9)


# -- always


@few
@given(
    low=st.floats(0, 16),
    limits=st.tuples(st.floats(4, 16), st.floats(0, 4)),
    caution=st.tuples(st.floats(0, 300), st.floats(1, 20)),
    worth=st.tuples(st.floats(0.01, 100), st.floats(1, 20)),
)
def test_more_caution_worth_or_a_higher_limit_never_mean_less(
    low: float,
    limits: tuple[float, float],
    caution: tuple[float, float],
    worth: tuple[float, float],
) -> None:
    air, (limit, by) = sky(low), limits
    base = replace(plant("Pot", night_low=limit), worth=worth[0])
    tenderer = replace(plant("Pot", night_low=limit + by), worth=worth[0])
    dearer = replace(base, worth=worth[0] * worth[1])

    def gain_of(one: Plant, trips: float) -> tuple[float, float, bool]:
        needs = find_night_needs(scene_of(air, one, caution=trips), NIGHT)
        return float(needs.harm[0]), float(needs.gain[0]), bool(needs.must_be_in[0])

    harm, gain, goes_in = gain_of(base, caution[0])
    more_careful = gain_of(base, caution[0] * caution[1])
    more_tender, more_dear = gain_of(tenderer, caution[0]), gain_of(dearer, caution[0])

    assert 0.0 <= harm <= 1.0
    assert gain == pytest.approx(harm * caution[0] * worth[0])
    assert more_careful[0] == more_dear[0] == harm
    assert more_tender[0] >= harm
    for other in (more_careful, more_tender, more_dear):
        assert other[1] >= gain - 1e-12
        assert other[2] >= goes_in


@few
@given(st.floats(0, 6), st.floats(4, 12), st.floats(0.2, 3.0))
def test_of_a_mild_night_a_forecast_that_is_less_sure_never_does_less_harm(
    above: float, limit: float, error: float
) -> None:
    """Above the limit, that is: a colder course does harm and a warmer one undoes none."""
    air = sky(limit + above)

    def harm(error_k: float) -> float:
        spread = Spread(np.zeros((1, HOURS)), np.full(HOURS, error_k), "test")
        return harm_of(scene_of(replace(air, spread=spread), plant("Pot", night_low=limit)))["Pot"]

    assert harm(error) <= harm(error * 1.5) + 1e-9 <= 1.0


# -- under cover


def warmer_wall(offset_k: float) -> Spot:
    """A shelter outdoors that is so much warmer than the bench all night."""
    return replace(OPEN_BENCH, name="wall", night_offset_k=offset_k)


@pytest.mark.parametrize("offset_k", [0.3, 1.0])
@pytest.mark.parametrize("low", [9.0, 10.2, 11.0])
def test_what_the_night_does_in_the_shelter_is_no_gain_of_carrying(
    low: float, offset_k: float
) -> None:
    """Gain is the harm at home less the harm at the wall, which is that of a plant that stays there
    and has nowhere to go."""
    spots = (OPEN_BENCH, warmer_wall(offset_k))
    moved = with_limits("Moved", 10.0, 5.0, shelter="wall")
    stays = {
        "Bench": replace(moved, name="Bench", shelter=None),
        "Wall": replace(moved, name="Wall", home="wall", shelter=None),
    }
    whole = {name: harm_of(scene_of(sky(low), one, spots=spots)) for name, one in stays.items()}

    spared = harm_of(scene_of(sky(low), moved, spots=spots))["Moved"]

    assert whole["Wall"]["Wall"] > 0
    assert spared == pytest.approx(whole["Bench"]["Bench"] - whole["Wall"]["Wall"])


def test_a_short_dip_that_is_borne_at_home_is_borne_in_the_shelter() -> None:
    """One cold hour between mild nights: the deeper courses do harm outside, and none at the wall,
    where even these keep the limit of injury."""
    temp = np.full(HOURS, 18.0)
    temp[58] = 6.0
    air = uncertain(fetched(weather(START, temp), DUSK))
    spots = (OPEN_BENCH, warmer_wall(1.5))

    def harm(home: str, shelter: str | None) -> float:
        one = with_limits("Pot", 10.0, 5.0)
        one = replace(one, home=home, shelter=shelter)
        made = collection(one, spots=spots, habits=Habits(brief_cold=timedelta(hours=3)))
        return harm_of(Scene(made, air, {}, DUSK))["Pot"]

    assert harm("bench", "wall") == pytest.approx(harm("bench", None) - harm("wall", None))
    assert harm("wall", None) < 0.2 * harm("bench", None)


def test_nobody_is_sent_to_a_shelter_that_is_hardly_better() -> None:
    def goes_in(offset_k: float) -> bool:
        spots = (OPEN_BENCH, warmer_wall(offset_k))
        scene = scene_of(sky(11.0), with_limits("Pot", 10.0, 5.0, shelter="wall"), spots=spots)
        return bool(find_night_needs(scene, NIGHT).must_be_in[0])

    assert not goes_in(0.3)
    assert goes_in(5.0)


# -- a short dip, and the limit of injury


@pytest.mark.parametrize(("brief_low", "harmed"), [(9.5, True), (8.7, True), (8.5, False)])
def test_a_short_dip_is_borne_only_down_to_the_limit_of_injury(
    brief_low: float, harmed: bool
) -> None:
    """8.6 °C for an hour, between mild nights, also where the two limits are close together."""
    temp = np.full(HOURS, 14.0)
    temp[58] = 8.6
    air = fetched(weather(START, temp), DUSK)
    made = collection(
        with_limits("Pot", 10.0, brief_low), habits=Habits(brief_cold=timedelta(hours=2))
    )

    harm = harm_of(Scene(made, air, {}, DUSK))["Pot"]

    assert (harm > 0) == harmed
